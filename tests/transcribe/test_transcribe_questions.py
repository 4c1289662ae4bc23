"""Questions about the metre, and the take read again with the answers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from notate_takes import as_track, performance

from companion.transcribe import (
    TIMES,
    Action,
    Answer,
    Correction,
    Notation,
    QuestionKind,
    answered,
    correct,
    notate,
    question,
)
from companion.transcribe.metre import Weighed
from companion.tune import load


@pytest.fixture(scope="module")
def take() -> Notation:
    return notate(as_track(performance(load("moon-sea"))), "x")


def weighed(n: Notation, *readings: tuple[str, int, float]) -> Notation:
    return replace(n, readings=tuple(Weighed(TIMES[name], place, weight) for name, place, weight in readings))


def test_what_is_sure_is_not_asked(take: Notation) -> None:
    assert sum(w.weight for w in take.readings) == pytest.approx(1)
    assert question(weighed(take, ("3/4", 0, 0.85), ("6/8", 0, 0.15))) is None


@pytest.mark.parametrize(("readings", "kind", "first"), [
    ((("3/4", 0, 0.5), ("6/8", 0, 0.5)), QuestionKind.GAIT, Answer.WALTZ),
    ((("2/4", 0, 0.4), ("4/4", 0, 0.6)), QuestionKind.BEATS, Answer.FOUR),
    ((("3/4", 8, 0.6), ("3/4", 0, 0.4)), QuestionKind.FIRST, Answer.BEFORE)])
def test_the_question_that_settles_most_is_asked(take: Notation, readings: tuple[tuple[str, int, float], ...],
                                                 kind: QuestionKind, first: Answer) -> None:
    asked = question(weighed(take, *readings))
    assert asked is not None
    assert (asked.kind, asked.answers[0]) == (kind, first)
    assert question(weighed(take, *readings), (kind,)) is None  # nothing else settles anything


def test_an_answer_is_kept_with_all_that_a_person_has_given(take: Notation) -> None:
    mended = correct(take, Correction(action=Action.PITCH, bar=1, note=2, step="G", alter=-1)).notation
    rocking = answered(mended, Answer.ROCK)
    assert (rocking.time.name, rocking.notes[1].pitch(rocking.key).name[:2]) == ("6/8", "Gb")
    later = answered(rocking, Answer.BEFORE)
    assert later.time.name == "6/8"
    assert later.place != 0
    assert answered(later, Answer.STRONG).place == 0
    assert answered(take, Answer.UNKNOWN) is take
    assert {w.time.name for w in answered(take, Answer.MARCH).readings} == {"2/4", "4/4"}
