"""`companion practise`: alone at home, without a key from start to end."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    from companion.command.lesson import common

    parser.add_argument("pupil", metavar="PUPIL", help="the pupil's nickname")
    parser.add_argument("--tune", metavar="TUNE", help="practise this tune, whatever is set for the week")
    parser.add_argument("--minutes", type=float, metavar="N", help="how long, up to 20 (10 if nobody has said)")
    parser.add_argument("--no-warm-up", action="store_true", help="begin with the tune")
    parser.add_argument("--find-range", action="store_true",
                        help="find the comfortable range instead, in about two minutes")
    common(parser)


def run(options: argparse.Namespace) -> int:
    from companion.lesson.start import run_practise

    return run_practise(options)
