"""`companion wall`: a card with the hand's height for each note."""

from __future__ import annotations

import argparse

from companion.command.parser import page_arguments, page_size_of, part_argument
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--shoulder", type=float, required=True, metavar="CM",
                        help=_("height of the pupil's shoulder above the floor, in centimetres"))
    parser.add_argument("--out", metavar="FILE", help=_("write .html or .pdf (large print), .brf, .pef, .txt, or spoken .wav"))
    page_arguments(parser)
    parser.add_argument("--speak", action="store_true", help=_("say it aloud"))
    part_argument(parser)
    parser.add_argument("--american", action="store_true", help=_("American spelling (centimeters)"))


def run(options: argparse.Namespace) -> int:
    from companion.paper import save_wall_card, to_sound, to_text, wall_card_sheet
    from companion.tune import load

    card = wall_card_sheet(load(options.tune, part=options.part), options.shoulder, options.language)
    size = page_size_of(options)
    if options.out:
        save_wall_card(card, options.out, options.language, size)
        print(_("{path} written.").format(path=options.out))
    else:
        print("\n".join(to_text(card, options.language)), flush=True)
    if options.speak:
        from companion.audio import play

        play(to_sound(card, options.language))
    return 0
