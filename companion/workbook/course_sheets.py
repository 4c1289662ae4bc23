"""Sheets of the course by what is asked for: a stage, a tune, drills, a key, or a pupil's week."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from companion.course import (
    Order,
    QuestionKind,
    Stage,
    check_count,
    drill_items,
    find_stage,
    load_progress,
    material,
    question_kind,
)
from companion.diary import Diary, tune_title
from companion.errors import Trouble
from companion.language import Language, kind_title, stage_title
from companion.messages import _
from companion.paper import Sheet
from companion.workbook.sheets import (
    drill_sheet,
    fingers_sheet,
    key_sheet,
    stage_drill_sheet,
    stage_sheet,
    tune_sheet,
    week_sheet,
)


class SheetOf(StrEnum):
    """What a sheet is of. The values are what is typed."""

    STAGE = "stage"
    FINGERS = "fingers"
    TUNE = "tune"
    DRILL = "drill"
    KEY = "key"
    WEEK = "week"


@dataclass(frozen=True)
class WantedSheet:
    """What is asked for. name: of the stage, tune or pupil. kind, tune, leave_out, count, seed: of drills.
    part: of a tune's file, as `load` takes it. bar_numbers: of a tune."""

    of: SheetOf
    name: str | None = None
    kind: str | None = None
    tune: str | None = None
    leave_out: Sequence[str] = ()
    count: int = 20
    seed: int = 1
    part: str | None = None
    bar_numbers: bool = False


def sheet_of(language: Language, wanted: WantedSheet, stages: Sequence[Stage], diary: Callable[[], Diary],
             now: datetime) -> Sheet:
    """The sheet that is asked for. Raises Trouble where a name is missing or is none. diary: opened only for a week."""
    if wanted.of is SheetOf.STAGE:
        return stage_sheet(find_stage(_name(wanted), stages), language)
    if wanted.of is SheetOf.FINGERS:
        return fingers_sheet(find_stage(_name(wanted), stages), language)
    if wanted.of is SheetOf.TUNE:
        return tune_sheet(material(_name(wanted), wanted.leave_out, wanted.part), language, wanted.bar_numbers)
    if wanted.of is SheetOf.KEY:
        return key_sheet(stages, language, find_stage(wanted.name, stages) if wanted.name else None)
    if wanted.of is SheetOf.DRILL:
        return _drills(language, wanted, stages)
    name = _name(wanted)
    with diary() as open_diary:
        pupil = open_diary.pupil(name)
        titles = [tune_title(w.tune) for w in open_diary.work(pupil)]
        return week_sheet(pupil.nickname, load_progress(open_diary, pupil), stages, now, language, titles)


def _name(wanted: WantedSheet) -> str:
    if wanted.name:
        return wanted.name
    raise Trouble({
        SheetOf.FINGERS: _("A sheet for fingers needs a stage, as in companion sheet fingers 2."),
        SheetOf.STAGE: _("A sheet of a stage needs a number, as in companion sheet stage 4."),
        SheetOf.TUNE: _("A sheet of a tune needs a tune, as in companion sheet tune snail-wall."),
        SheetOf.WEEK: _("A sheet of a week needs a pupil, as in companion sheet week Robin.")}[wanted.of])


def _drills(language: Language, wanted: WantedSheet, stages: Sequence[Stage]) -> Sheet:
    """Drills of a stage, or one kind of them from a stage or a tune."""
    if wanted.tune is None and wanted.name is None:
        raise Trouble(_("A sheet of drills needs a stage, as in companion sheet drill 3, or a --tune."))
    check_count(wanted.count)
    stage = find_stage(wanted.name, stages) if wanted.name else None
    if wanted.kind is None and wanted.tune is None and stage is not None:
        return stage_drill_sheet(stage, random.Random(wanted.seed), language, wanted.count)
    kind = question_kind(wanted.kind) if wanted.kind else QuestionKind.NAME_THE_CELL
    m = material(wanted.tune, wanted.leave_out, wanted.part) if wanted.tune else stage.material if stage else None
    facts = stage.facts_of(kind) if stage is not None and not wanted.tune else ()
    items = drill_items(kind, m, facts, Order.MIXED, wanted.count, wanted.seed)
    about = m.tune.title if m is not None and wanted.tune else stage_title(language, stage) if stage else ""
    return drill_sheet(kind_title(language, kind, about), items, language)
