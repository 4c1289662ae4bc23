"""`companion review`: many takes, a line each."""

from __future__ import annotations

import argparse

from companion.command.parser import tracker_argument
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("list", metavar="LIST.csv",
                        help=_("CSV with a header line take,tune and, if wanted, phrase, part and verse, paths relative to "
                               "the list; or a folder of takes"))
    parser.add_argument("--tune", metavar="TUNE", help=_("the tune of all takes of a folder"))
    parser.add_argument("--jobs", type=int, metavar="N", help=_("how many at a time (all cores if not given)"))
    parser.add_argument("--resume", metavar="FILE",
                        help=_("keep each answer in FILE as it comes; after a stop the same line goes on where it was"))
    parser.add_argument("--progress", action="store_true", help=_("say on standard error, at each tenth, how many are done"))
    parser.add_argument("--dask", metavar="ADDRESS",
                        help=_("answer the takes on a Dask cluster that is running, such as tcp://127.0.0.1:8786; its workers "
                               "read the same files (needs the package distributed)"))
    tracker_argument(parser)
    parser.add_argument("--american", action="store_true", help=_("American names (measure)"))
    parser.add_argument("--json", action="store_true", help=_("one JSON object a line"))


def run(options: argparse.Namespace) -> int:
    import sys

    from companion.language import review_progress_line
    from companion.lesson import ReviewProgress, review_list

    language = options.language
    tenths = 0

    def say_progress(so_far: ReviewProgress) -> None:
        nonlocal tenths
        if so_far.done * 10 // so_far.total > tenths:
            tenths = so_far.done * 10 // so_far.total
            print(review_progress_line(language, so_far.done, so_far.total, so_far.failed), file=sys.stderr, flush=True)

    failed = total = 0
    for found in review_list(options.list, language, options.jobs, options.tracker, options.tune, resume=options.resume,
                             dask=options.dask, progress=say_progress if options.progress else None):
        print(found.json if options.json else found.line, flush=True)
        total, failed = total + 1, failed + found.failed
    return 2 if failed == total else 0
