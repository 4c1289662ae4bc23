"""The course for programs: questions, stages and progress as JSON. Keys and identifiers are English in every language."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from companion.braille import to_ascii, to_dots
from companion.course import Item, Progress, QuestionKind, Stage
from companion.language import (
    Language,
    evidence_line,
    group_said,
    question_text,
    stage_text,
    stage_title,
    standing_lines,
    trouble_texts,
)


def question_json(language: Language, item: Item) -> dict[str, Any]:
    """A question with its answer."""
    answer = item.answer
    if item.kind in (QuestionKind.READ_AND_SING, QuestionKind.SING_AT_SIGHT) and item.group is not None:
        answer = group_said(language, item.group)
    elif item.kind is QuestionKind.WHOLE_TUNE:
        answer = item.title
    return {"kind": item.kind, "way": item.way, "ask": question_text(language, item), "wants": item.wants, "answer": answer,
            "cells": item.cells, "dots": to_dots(item.cells), "ascii": to_ascii(item.cells), "choices": list(item.choices),
            "first_midi": item.first, "played": [n.pitch.name for n in item.played],
            "sung": [n.pitch.name for n in item.sung], "cards": list(item.cards)}


def stage_json(language: Language, s: Stage) -> dict[str, Any]:
    """A stage with its texts as they are said."""
    return {"number": s.number, "name": s.name, "title": stage_title(language, s), "aim": stage_text(language, s.aim),
            "introduces": list(s.introduces), "tune": s.tune, "leave_out": sorted(s.leave_out),
            "need": [stage_text(language, t) for t in s.need], "adult": [stage_text(language, t) for t in s.adult],
            "pupil": [stage_text(language, t) for t in s.pupil],
            "terms": {language.message(t.word): stage_text(language, t.means) for t in s.terms},
            "drills": [{"kind": d.kind, "facts": list(d.facts), "order": d.order, "count": d.count} for d in s.drills],
            "known": [evidence_line(language, e) for e in s.known],
            "troubles": [list(trouble_texts(language, t)) for t in s.troubles]}


def glossary_json(language: Language, stages: Sequence[Stage]) -> dict[str, Any]:
    """Every word of the trade, what it means, and the stage that brings it in."""
    return {language.message(t.word): {"means": stage_text(language, t.means), "stage": s.number}
            for s in stages for t in s.terms}


def progress_json(language: Language, progress: Progress, stages: Sequence[Stage], now: datetime) -> dict[str, Any]:
    """Where a pupil is."""
    standing = progress.standing(stages, now)
    return {"stage": standing.here.number, "name": standing.here.name, "finished": standing.finished,
            "passed": progress.passed, "notes_a_minute": standing.fluency.this_week, "due": progress.due(stages, now),
            "evidence": [{"way": s.evidence.way, "right": s.right, "answers": s.answers, "days": s.days, "met": s.met}
                         for s in standing.shown],
            "say": standing_lines(language, standing, now)}
