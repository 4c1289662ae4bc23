"""`companion drill`: one drill, from a stage or from any tune."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    from companion.command.course import common

    parser.add_argument("kind", metavar="KIND", nargs="?",
                        help=_("what is asked, such as 'name the cell'; without it all kinds are listed"))
    parser.add_argument("--stage", metavar="N", help=_("from the notes and the tune of this stage"))
    parser.add_argument("--tune", metavar="TUNE", help=_("from this tune: a file, or the name of one that ships"))
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
    import json

    from companion.command.course import clock, hands, say
    from companion.course import progress as kept
    from companion.course.drill import KINDS, WAY_WORDS
    from companion.course.stage import find_stage
    from companion.diary import Diary, default_settings
    from companion.lesson import course_door as door

    if not options.kind:
        return say([*(f"{kind}. {WAY_WORDS[way]}." for kind, way in KINDS.items()),
                    "To begin one: companion drill 'name the cell' --stage 2."])
    stage = find_stage(options.stage) if options.stage else None
    if stage is None and not options.tune and not options.fact:
        stage = find_stage(2)
    items = door.drill_items(options.kind, stage, options.tune, options.leave_out, options.fact, options.order,
                             options.count, options.seed)
    if options.json:
        print(json.dumps([i.as_json() for i in items], ensure_ascii=False))
        return 0
    if not options.pupil:
        door.drill_sitting(items, kept.Progress(), clock(options.on), hands(default_settings(), options))
        return 0
    with Diary(options.diary) as diary:
        pupil = diary.pupil(options.pupil)
        progress = kept.load(diary, pupil)
        door.drill_sitting(items, progress, clock(options.on), hands(diary.settings(pupil), options),
                           lambda: kept.save(diary, pupil, progress))
    return 0
