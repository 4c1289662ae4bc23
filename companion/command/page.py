"""`companion page`: the companion in a browser, on this machine alone."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, metavar="N", help=_("the port to listen on (8017, or a free one if that is taken)"))
    parser.add_argument("--no-browser", action="store_true", help=_("only say the address"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))
    parser.add_argument("--desktop", metavar="FOLDER", nargs="?", const="",
                        help=_("put a file on the desktop (or into a folder) that starts this by double click, then end"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    if options.desktop is not None:
        return _put_on_desktop(options)
    from companion.page import run_page

    run_page(options.language, options.port, not options.no_browser, options.diary, lambda text: print(text, flush=True))
    return 0


def _put_on_desktop(options: argparse.Namespace) -> int:
    from companion.page import save_starters, starter_lines

    kept = ["--american"] if options.american else []
    if options.diary:
        kept += ["--diary", str(Path(options.diary).resolve())]
    if options.port is not None:
        kept += ["--port", str(options.port)]
    paths = save_starters(options.language, kept, Path(options.desktop) if options.desktop else None)
    print("\n".join(starter_lines(paths)))
    return 0


def start() -> int:
    """`companion page`, as a program of its own, which on Windows opens no terminal."""
    from companion.command import main

    return main(["page", *sys.argv[1:]])
