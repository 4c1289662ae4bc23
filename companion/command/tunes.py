"""`companion tunes`: what ships."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))
    parser.add_argument("--american", action="store_true", help=_("American names (half step, measure)"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.language import moves_explained, tune_line
    from companion.tune import catalogue

    entries = catalogue()
    if options.json:
        print(json.dumps([e.as_json() for e in entries], ensure_ascii=False))
    else:
        for entry in entries:
            print(tune_line(options.language, entry))
        print(moves_explained(options.language))
    return 0
