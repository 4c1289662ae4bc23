"""`companion braille`: a tune in music braille."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--out", metavar="FILE", help=_("write a .brf file instead of printing"))
    parser.add_argument("--width", type=int, default=40, metavar="N", help=_("cells in a line, 12 to 120 (40)"))
    parser.add_argument("--pitch-only", action="store_true",
                        help=_("a reading exercise: every note as a quaver, no values and no rests"))
    parser.add_argument("--as", dest="form", choices=("cells", "ascii", "dots"), default="cells",
                        help=_("Unicode cells, Braille ASCII, or dot numbers"))
    parser.add_argument("--contracted", action="store_true", help=_("words in contracted braille (needs liblouis)"))
    parser.add_argument("--numbered", action="store_true",
                        help=_("in a .brf file, title and page number at the top of every page after the first"))
    parser.add_argument("--verses", choices=("after", "under"), default="after",
                        help=_("further verses after the song, or under each line of words over their music"))
    parser.add_argument("--american", action="store_true", help=_("American names of note values"))
    parser.add_argument("--part", metavar="PART", help=_("which part of a score with several, by number or name"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.braille import Habits, encode, to_ascii, to_brf, to_dots
    from companion.places import write_whole
    from companion.tune import load

    page = encode(load(options.tune, part=options.part), width=options.width, pitch_only=options.pitch_only,
                  contracted=options.contracted, habits=Habits(verses_under=options.verses == "under"))
    if options.out:
        write_whole(options.out, to_brf(page, numbered=options.numbered))
        if not options.json:
            print(_("{path} written.").format(path=options.out))
    if options.json:
        print(json.dumps(page.as_json(), ensure_ascii=False))
    elif not options.out:
        forms: dict[str, Callable[[str], str]] = {"cells": str, "ascii": to_ascii, "dots": to_dots}
        print("\n".join(forms[options.form](line) for line in page.lines))
    return 0
