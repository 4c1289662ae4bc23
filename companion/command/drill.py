"""`companion drill`: one drill, from a stage or from any tune."""

from __future__ import annotations

import argparse
from datetime import datetime
from typing import TYPE_CHECKING

from companion.messages import _

if TYPE_CHECKING:
    from companion.course import Item
    from companion.diary import Settings
    from companion.language import Language
    from companion.lesson import SittingIO


def arguments(parser: argparse.ArgumentParser) -> None:
    from companion.command.course import common
    from companion.command.parser import part_argument

    parser.add_argument("kind", metavar="KIND", nargs="?",
                        help=_("what is asked, such as 'name the cell'; without it all kinds are listed"))
    parser.add_argument("--stage", metavar="N", help=_("from the notes and the tune of this stage"))
    parser.add_argument("--tune", metavar="TUNE", help=_("from this tune: a file, or the name of one that ships"))
    part_argument(parser)
    parser.add_argument("--leave-out", metavar="WHAT", action="append", default=[],
                        help=_("what is left out of the tune: values, octave marks, bars, key, time, words ..."))
    parser.add_argument("--fact", metavar="NAME", action="append", default=[],
                        help=_("about this note or sign only, such as 'C crotchet' or sharp; may be given again"))
    parser.add_argument("--order", choices=("up", "down", "up and down", "mixed"), default="mixed",
                        help=_("up or down the scale, there and back, or mixed"))
    parser.add_argument("--count", type=int, default=8, metavar="N", help=_("how many questions (8)"))
    parser.add_argument("--seed", type=int, metavar="N", help=_("the same number gives the same questions again"))
    parser.add_argument("--pupil", metavar="PUPIL", help=_("remember the answers for this pupil in the diary"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the usual one"))
    common(parser)


def run(options: argparse.Namespace) -> int:
    from companion.command.course import moment, pupils_language, say, spoken
    from companion.course import KeptProgress, Progress
    from companion.diary import Diary, default_settings
    from companion.language import drill_kind_lines
    from companion.lesson import drill_sitting, question_json, terminal

    if not options.kind:
        return say(drill_kind_lines(options.language))
    items = _items(options)
    if options.json:
        return say([], [question_json(options.language, i) for i in items])

    def io(language: Language, settings: Settings) -> SittingIO:
        return terminal(spoken(options, settings), language, silent=options.silent, listens=options.listen,
                        cells_as=options.form)

    def now() -> datetime:
        return moment(options.on)

    if not options.pupil:
        drill_sitting(items, Progress(), now, io(options.language, default_settings()))
        return 0
    with Diary(options.diary) as diary:
        pupil = diary.pupil(options.pupil)
        settings = diary.settings(pupil)
        drill_sitting(items, KeptProgress(diary, pupil), now, io(pupils_language(options, settings), settings))
    return 0


def _items(options: argparse.Namespace) -> list[Item]:
    """The questions that are asked for: of a stage, of any tune, or about named facts; of stage 2 if nothing is named."""
    from companion.course import Order, drill_items, find_stage, material, question_kind

    kind = question_kind(options.kind)
    stage = find_stage(options.stage) if options.stage else None
    if stage is None and not options.tune and not options.fact:
        stage = find_stage(2)
    m = material(options.tune, options.leave_out, options.part) if options.tune else stage.material if stage else None
    facts = options.fact or (stage.facts_of(kind) if stage is not None and not options.tune else ())
    return drill_items(kind, m, facts, Order(options.order), options.count, options.seed)
