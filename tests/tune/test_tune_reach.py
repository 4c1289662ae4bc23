"""The hand's heights on the wall: nobody stretches or bends, and higher notes lie higher."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import Trouble
from companion.tune import PLAIN_WALL, catalogue, heights_cm, load, wall_for

TUNES = st.lists(st.integers(30, 90), min_size=1, max_size=30)
SHOULDERS = st.floats(60, 160)
#: Shares of the shoulder's height, as numbers, so that a change of them is noticed: about the crown and the hip.
ABOVE, BELOW = 0.25, 0.35


@given(TUNES, SHOULDERS)
def test_the_highest_stays_below_a_stretch_and_the_lowest_above_the_hip(midi: list[int], shoulder: float) -> None:
    heights = heights_cm(midi, shoulder)
    assert max(heights) <= shoulder * (1 + ABOVE)
    assert min(heights) >= shoulder * (1 - BELOW)


@given(TUNES, SHOULDERS)
def test_the_hand_goes_as_the_tune_does(midi: list[int], shoulder: float) -> None:
    heights = heights_cm(midi, shoulder)
    for (a, b), (low, high) in zip(pairwise(midi), pairwise(heights), strict=True):
        assert (high > low) == (b > a)
        assert (high == low) == (b == a)


def test_both_bounds_act() -> None:
    """A tune of two octaves fills the wall from the hip to the crown, and its middle leaves the shoulder."""
    wide = [48, 72]
    low, high = heights_cm(wide, 100)
    assert high == pytest.approx(100 * (1 + ABOVE), abs=0.5)
    assert low < 100 - 20
    assert low == pytest.approx(high - 24 * wall_for(wide, 100).cm_per_semitone)
    assert heights_cm([48, 84], 100)[0] == pytest.approx(100 * (1 - BELOW), abs=6)
    assert heights_cm([60, 72], 100) == [79, 121], "an octave is not drawn closer"


def test_palms_are_halves_and_never_nothing_for_a_move() -> None:
    # Two semitones a palm of 7 cm: a child's palm is 6 to 8 cm wide.
    assert [PLAIN_WALL.palms(s) for s in (0, 1, 2, 3, 4, -12)] == [0, 0.5, 1, 1.5, 2, 6]
    assert PLAIN_WALL.distance_cm(-2) == 7
    assert not PLAIN_WALL.palms_are_rough(3)
    closer = wall_for([48, 78])
    assert closer.palms(1) == 0.5
    assert closer.palms_are_rough(1)


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
