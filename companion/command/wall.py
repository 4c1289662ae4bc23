"""`companion wall`: a card with the hand's height for each note."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--shoulder", type=float, required=True, metavar="CM",
                        help=_("height of the pupil's shoulder above the floor, in centimetres"))
    parser.add_argument("--out", metavar="FILE", help=_("write .html (large print) or .brf"))
    parser.add_argument("--speak", action="store_true", help=_("say it aloud"))
    parser.add_argument("--part", metavar="PART", help=_("which part of a score with several, by number or name"))
    parser.add_argument("--american", action="store_true", help=_("American spelling (centimeters)"))


def run(options: argparse.Namespace) -> int:
    from companion.paper import wall_card as wallcard
    from companion.tune import load

    card = wallcard.wall_card(load(options.tune, part=options.part), options.shoulder, options.american)
    if options.out:
        wallcard.save(card, options.out)
        print(f"{options.out} written.")
    else:
        print("\n".join(card.lines()), flush=True)
    if options.speak:
        from companion.audio import play, speak

        play(speak(" ".join(card.lines()), options.language))
    return 0
