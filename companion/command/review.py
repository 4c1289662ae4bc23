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
    tracker_argument(parser)
    parser.add_argument("--american", action="store_true", help=_("American names (measure)"))
    parser.add_argument("--json", action="store_true", help=_("one JSON object a line"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.lesson import review_line, review_list

    language = options.language
    failed = total = 0
    for found in review_list(options.list, language, options.jobs, options.tracker, options.tune):
        print(json.dumps(found.as_json(language), ensure_ascii=False) if options.json else review_line(language, found),
              flush=True)
        total, failed = total + 1, failed + (found.answer is None)
    return 2 if failed == total else 0
