"""`companion practise`: alone at home, without a key from start to end."""

from __future__ import annotations

import argparse

from companion.command.lesson import common, session_options
from companion.command.parser import part_argument
from companion.errors import Trouble
from companion.lesson import run_practise
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("pupil", metavar="PUPIL", help=_("the pupil's nickname"))
    parser.add_argument("--tune", metavar="TUNE", help=_("practise this tune, whatever is set for the week"))
    part_argument(parser)
    parser.add_argument("--minutes", type=float, metavar="N", help=_("how long, up to 20 (10 if nobody has said)"))
    parser.add_argument("--no-warm-up", action="store_true", help=_("begin with the tune"))
    parser.add_argument("--find-range", action="store_true",
                        help=_("find the comfortable range instead, in about two minutes"))
    common(parser)


def run(options: argparse.Namespace) -> int:
    if options.part and not options.tune:
        raise Trouble(_("--part {part} names a part of a score; say which score with --tune.").format(part=options.part))
    run_practise(options.pupil, session_options(options), options.tune, warm_up=not options.no_warm_up,
                 find_range=options.find_range, part=options.part)
    return 0
