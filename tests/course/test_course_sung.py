"""Sung answers judged by direction, size and length: gross misreadings are found, and a learner's voice is none."""

import json
import random
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from course_pupil import BRITISH, EVERY
from made_matches import made_line, made_match
from singers import LineItem, Style, perform
from singers.performance import STEP_S

from companion.course import Drill, Item, Misread, Misreading, Order, QuestionKind, check_take, line_of, make
from companion.course.answer import _sung_cards, misread
from companion.course.drill import card
from companion.ear import PitchTrack
from companion.language import reply_text
from companion.match import Length, MoveKind, Verdict, match_take
from companion.tune import Bar, Note, Pitch, Tune

ROOT = Path(__file__).resolve().parents[2]


def sung_as(pitches: list[int], lengths: list[float], seed: int, shrink: float = 0.95, quarter_s: float = 0.5) -> PitchTrack:
    """A learner who sings these pitches and lengths (in crotchets) in a key of its own."""
    rng = np.random.default_rng(seed)
    style = Style(shift=float(rng.uniform(-4, 4)), quarter_s=quarter_s, miss=0.15, shrink=shrink)
    done = perform([LineItem(p, n, "la", 0.0) for p, n in zip(pitches, lengths, strict=True)], style, rng)
    contour = done.contour[::EVERY]
    hz = np.where(np.isnan(contour), 0.0, 440.0 * 2 ** ((np.nan_to_num(contour) - 69) / 12))
    there, hop = hz > 0, EVERY * STEP_S
    return PitchTrack(np.arange(len(hz)) * hop, hz, np.where(there, 0.95, 0.0), np.where(there, -20.0, -70.0),
                      np.where(there, 0.9, 0.1), hop, len(hz) * hop)


def c_to_e() -> Item:
    return make(Drill(QuestionKind.SING_THE_CELL, ("C", "E"), Order.UP, 2), None, random.Random(1))[1]


def test_a_fifth_sung_for_a_third_is_told_and_a_third_is_right() -> None:
    item = c_to_e()
    wrong = check_take(item, sung_as([60, 67], [1, 1], 1))
    assert wrong.verdict is Verdict.WRONG
    # E of the standard's table is dots 1 2 4.
    assert reply_text(BRITISH, item, wrong) == (
        "You sang a leap; from C to E is a skip. Feel the upper part of the second note: dots 1 2 4.")
    assert set(wrong.cards.values()) == {Verdict.WRONG}
    assert check_take(item, sung_as([60, 64], [1, 1], 1)).verdict is Verdict.RIGHT


def test_a_leap_sung_far_too_wide_is_told_in_a_sentence_of_its_own() -> None:
    line = line_of([Pitch(s, 4) for s in "CFCFC"])
    item = Item(QuestionKind.READ_AND_SING, cells="x", sung=line)
    found = check_take(item, sung_as([60, 65, 60, 69, 60], [1] * 5, 2))
    assert (found.verdict, found.misread is not None and found.misread.longer) == (Verdict.WRONG, True)
    assert reply_text(BRITISH, item, found).startswith("From C to F the voice went too far.")


def test_values_are_judged_in_short_bars_too() -> None:
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(v)) for s, v in (("C", 1), ("D", 1), ("E", 2)))
    item = Item(QuestionKind.READ_AND_SING, cells="x", sung=Tune("", (Bar(number=1, notes=notes),), phrase_starts=()).line())
    right = check_take(item, sung_as([60, 62, 64], [1, 1, 2], 1))
    assert right.verdict is Verdict.RIGHT
    found = check_take(item, sung_as([60, 62, 64], [1, 4, 2], 1))
    assert found.verdict is Verdict.WRONG
    assert "was sung too long" in reply_text(BRITISH, item, found)


def test_where_a_voice_goes_on_upon_one_pitch_nothing_is_said_of_the_two_lengths() -> None:
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(1)) for s in "CEEDCD")
    item = Item(QuestionKind.READ_AND_SING, cells="x", sung=Tune("", (Bar(number=1, notes=notes),), phrase_starts=()).line())
    match = match_take(sung_as([60, 64, 64, 62, 60, 62], [1] * 6, 3), item.sung)
    begins = [0.0, 0.5, 1.35, 1.5, 2.0, 2.5]  # the two E have the time of two, parted where nothing parts them

    def of(gap_s: float) -> Misread | None:
        ends = [*begins[1:], 3.0]
        placed = tuple(replace(n, onset_s=b, duration_s=e - b - gap_s) for n, b, e in zip(match.notes, begins, ends, strict=True))
        return misread(item, replace(match, notes=placed))

    assert of(0.0) is None
    found = of(0.06)  # with a gap between them the first is plainly too long
    assert found is not None
    assert (found.what, found.verdict) == (Misreading.LENGTH, Verdict.WRONG)


def test_a_length_that_the_match_tells_of_notes_that_run_on_is_not_said() -> None:
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(1)) for s in "CEEDCD")
    item = Item(QuestionKind.READ_AND_SING, cells="x", sung=Tune("", (Bar(number=1, notes=notes),), phrase_starts=()).line())
    match = match_take(sung_as([60, 64, 64, 62, 60, 62], [1] * 6, 3), item.sung)
    for gap_s, wanted in ((0.0, None), (0.06, Misreading.LENGTH)):
        placed = tuple(replace(n, onset_s=i * 0.5, duration_s=0.5 - gap_s, length=Length.TOO_SHORT if i == 2 else Length.RIGHT)
                       for i, n in enumerate(match.notes))
        found = misread(item, replace(match, notes=placed))
        assert (found.what if found else None) is wanted


@pytest.mark.parametrize("takes", [pytest.param(8, marks=pytest.mark.slow), pytest.param(40, marks=pytest.mark.overnight)])
def test_sung_answers_of_every_stage_as_the_benchmark_measures_them(takes: int) -> None:
    done = subprocess.run([sys.executable, "tests/benchmarks/course_sung.py", "--takes", str(takes)], cwd=ROOT,
                          capture_output=True, text=True, check=True)
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["true"]["asked"] >= 6 * takes
    assert found["true"]["false"] <= 0.005
    for kind in ("direction", "size", "length"):
        assert found[kind]["found"] >= 0.8, found


def test_a_kind_of_move_that_was_missed_once_in_a_take_is_not_known() -> None:
    line = made_line("la", "la", "la", "la", pitches="CDCD")  # a step up, a step down, a step up
    item = replace(c_to_e(), cards=())
    for wrong in (0, 2):
        cards = _sung_cards(item, made_match(line, {wrong: Verdict.WRONG}), Verdict.WRONG)
        assert cards == {card(MoveKind.STEP_UP, item.way): Verdict.WRONG, card(MoveKind.STEP_DOWN, item.way): Verdict.RIGHT}
