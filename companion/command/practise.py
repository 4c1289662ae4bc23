"""`companion practise`: alone at home, without a key from start to end."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    from companion.command.lesson import common

    parser.add_argument("pupil", metavar="PUPIL", help=_("the pupil's nickname"))
    parser.add_argument("--tune", metavar="TUNE", help=_("practise this tune, whatever is set for the week"))
    parser.add_argument("--minutes", type=float, metavar="N", help=_("how long, up to 20 (10 if nobody has said)"))
    parser.add_argument("--no-warm-up", action="store_true", help=_("begin with the tune"))
    parser.add_argument("--find-range", action="store_true",
                        help=_("find the comfortable range instead, in about two minutes"))
    common(parser)


def run(options: argparse.Namespace) -> int:
    from companion.lesson.start import run_practise

    return run_practise(options)
