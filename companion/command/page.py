"""`companion page`: the companion in a browser, on this machine alone."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, metavar="N", help=_("the port to listen on (8017, or a free one if that is taken)"))
    parser.add_argument("--no-browser", action="store_true", help=_("only say the address"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.page import run_page

    run_page(options.language, options.port, not options.no_browser, options.diary, lambda text: print(text, flush=True))
    return 0
