"""The hand's way on the wall: words and heights agree, and nobody stretches or bends."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import Trouble
from companion.language.reach import (
    ABOVE_SHOULDER,
    BELOW_SHOULDER,
    PALM_CM,
    for_helper,
    for_pupil,
    heights_cm,
    palms,
    wall_for,
)
from companion.tune import catalogue, load

TUNES = st.lists(st.integers(30, 90), min_size=1, max_size=30)
SHOULDERS = st.floats(60, 160)
NUMBERS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
           "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen")
WORDS = {"half a": 0.5, "a": 1.0} | {f"{name}{half}": n + (0.5 if half else 0) for n, name in enumerate(NUMBERS)
                                     for half in ("", " and a half")}


def said(sentence: str) -> tuple[float, float]:
    """(palms, centimetres) as a helper's sentence says them."""
    found = re.fullmatch(r"The tune .+ here\. \w+ the hand by (?:about )?(.+) palm'?s'? width?s?, ([\d.]+) "
                         r"centimetres?\.", sentence)
    assert found, sentence
    return WORDS[found[1]], float(found[2])


def test_the_words_of_the_brief() -> None:
    assert for_helper("up", 2) == "The tune climbs here. Lift the hand by a palm's width, 7 centimetres."
    assert for_helper("down", -1) == ("The tune comes down here. Lower the hand by half a palm's width, "
                                      "3.5 centimetres.")
    assert for_helper("up", 7, american=True).endswith("three and a half palms' widths, 24.5 centimeters.")
    assert for_pupil("down", -5) == "Hand down the wall, two and a half palms' widths."
    assert for_pupil("level", 0) == "Hand still: the note stays."
    assert for_helper("level", 0) == "The tune stays here. Keep the hand where it is."


@given(TUNES, SHOULDERS)
def test_words_and_heights_agree_for_every_move_of_every_tune(midi: list[int], shoulder: float) -> None:
    wall, heights = wall_for(midi, shoulder), heights_cm(midi, shoulder)
    for a, b, low, high in zip(midi, midi[1:], heights, heights[1:], strict=False):
        if a == b:
            assert low == high
            continue
        way = "up" if b > a else "down"
        assert (high > low) == (way == "up")
        width, cm = said(for_helper(way, b - a, wall))
        assert cm == pytest.approx(abs(high - low), abs=0.051)
        assert abs(width * PALM_CM - cm) <= PALM_CM / 4 + 0.051 or width == 0.5
        assert palms(b - a, wall) == width


@given(TUNES, SHOULDERS)
def test_the_highest_stays_below_a_stretch_and_the_lowest_above_the_hip(midi: list[int], shoulder: float) -> None:
    heights = heights_cm(midi, shoulder)
    assert max(heights) <= shoulder * (1 + ABOVE_SHOULDER)
    assert min(heights) >= shoulder * (1 - BELOW_SHOULDER)


def test_both_bounds_act() -> None:
    """A tune of two octaves fills the wall from the hip to the crown, and its middle leaves the shoulder."""
    wide = [48, 72]
    low, high = heights_cm(wide, 100)
    assert high == pytest.approx(100 * (1 + ABOVE_SHOULDER), abs=0.5)
    assert low < 100 - 20
    assert low == pytest.approx(high - 24 * wall_for(wide, 100).cm_per_semitone)
    assert heights_cm([48, 84], 100)[0] == pytest.approx(100 * (1 - BELOW_SHOULDER), abs=6)
    assert heights_cm([60, 72], 100) == [79, 121], "an octave is not drawn closer"


def test_shipped_tunes_up_to_a_tenth_are_drawn_a_palm_to_a_tone() -> None:
    for entry in catalogue():
        midi = [n.midi for n in load(entry.name).line()]
        wall = wall_for(midi)
        assert wall.cm_per_semitone == 3.5 or max(midi) - min(midi) > 16, entry.name
        assert wall.cm_per_semitone >= 2.5, "the widest, an octave and a half and more, can still be told apart"


@pytest.mark.parametrize("shoulder", [0, -5, 39, 400, float("nan")])
def test_a_shoulder_that_cannot_be_is_one_sentence(shoulder: float) -> None:
    with pytest.raises(Trouble, match="measured from the floor"):
        wall_for([60, 62], shoulder)
