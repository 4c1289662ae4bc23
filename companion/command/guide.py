"""`companion guide`: how all of this is used, for teacher, helper and pupil, and what a parent wants to know."""

from __future__ import annotations

import argparse

from companion.command.parser import page_arguments, page_size_of
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("part", metavar="PART", nargs="?", choices=("teacher", "helper", "pupil", "privacy"),
                        help=_("for whom: teacher, helper or pupil; privacy is for parents; all of it if not given"))
    parser.add_argument("--out", metavar="FILE", help=_("write .html or .pdf (large print), .brf, .pef, .txt, or spoken .wav"))
    page_arguments(parser)
    parser.add_argument("--speak", action="store_true", help=_("read it out"))
    parser.add_argument("--american", action="store_true", help=_("American spelling and names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.paper import save_sheet, to_sound, to_text
    from companion.workbook import GuidePart, guide_sheet

    sheet = guide_sheet(options.language, [GuidePart(options.part)] if options.part else list(GuidePart))
    size = page_size_of(options)
    if options.out:
        save_sheet(sheet, options.out, options.language, size=size)
        print(_("{path} written.").format(path=options.out))
    elif not options.speak:
        print("\n".join(to_text(sheet, options.language)))
    if options.speak:
        from companion.audio import play

        play(to_sound(sheet, options.language))
    return 0
