"""Sung answers judged by direction, size and length: gross misreadings are found, and a learner's voice is none."""

import itertools
import random
from collections import Counter

import numpy as np
import pytest
from course_pupil import BRITISH, EVERY
from singers import LineItem, Style, perform
from singers.performance import STEP_S

from companion.course import Drill, Item, Order, QuestionKind, check_take, make, stages
from companion.ear import PitchTrack
from companion.language import reply_text
from companion.match import Verdict
from companion.tune import LineNote


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


def _lines() -> list[Item]:
    drill = Drill(QuestionKind.READ_AND_SING, order=Order.UP, count=12)
    return [i for s in stages() for i in make(drill, s.material, random.Random(1))
            if 2 <= len(i.sung) <= 8]


def _wide(line: tuple[LineNote, ...], at: int) -> list[int]:
    """The line with one move a third wider, the same way; what follows keeps its own moves."""
    midis = [n.midi for n in line]
    more = 4 if midis[at + 1] > midis[at] else -4
    return [m + (more if i > at else 0) for i, m in enumerate(midis)]


@pytest.mark.slow
def test_two_hundred_sung_answers_with_truth_size_and_length() -> None:
    rng, found, asked = random.Random(3), Counter[str](), Counter[str]()
    items = _lines()
    for n in range(200):
        item = items[n % len(items)]
        midis, lengths = [x.midi for x in item.sung], [float(x.quarters) for x in item.sung]
        quarter = 1.0 if max(lengths) <= 0.5 else 0.5
        true = check_take(item, sung_as(midis, lengths, n, rng.uniform(0.8, 1.1), quarter))
        asked["true"] += 1
        found["true"] += true.verdict is Verdict.WRONG
        moving = [i for i, (a, b) in enumerate(itertools.pairwise(midis)) if 0 < abs(a - b) < 5]
        if moving:
            asked["size"] += 1
            found["size"] += check_take(item, sung_as(_wide(item.sung, rng.choice(moving)), lengths, n, 1.0, quarter)
                                        ).verdict is Verdict.WRONG
        if len(lengths) > 2 and max(lengths) > 0.5 and not any(x.rest_after for x in item.sung):
            at = rng.randrange(len(lengths) - 1)
            other = [x * 4 if i == at else x for i, x in enumerate(lengths)]
            asked["length"] += 1
            found["length"] += check_take(item, sung_as(midis, other, n, 1.0, quarter)).verdict is not Verdict.RIGHT
    print(asked, found)
    assert found["true"] / asked["true"] <= 0.005
    assert found["size"] / asked["size"] >= 0.8
    assert found["length"] / asked["length"] >= 0.8
