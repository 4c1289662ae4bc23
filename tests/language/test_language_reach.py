"""The hand's way on the wall in words: they agree with the heights, and take their names from the language."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loud import Loud

from companion.language import English, Variety, hand_for_helper, hand_for_pupil
from companion.tune import heights_cm, wall_for
from companion.tune.reach import PALM_CM

TUNES = st.lists(st.integers(30, 90), min_size=1, max_size=30)
SHOULDERS = st.floats(60, 160)
NUMBERS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
           "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen")
WORDS = {"half a": 0.5, "a": 1.0} | {f"{name}{half}": n + (0.5 if half else 0) for n, name in enumerate(NUMBERS)
                                     for half in ("", " and a half")}
BRITISH = English()


def said(sentence: str) -> tuple[float, float]:
    """(palms, centimetres) as a helper's sentence says them."""
    found = re.fullmatch(r"The tune .+ here\. \w+ the hand by (?:about )?(.+) palm'?s'? width?s?, ([\d.]+) "
                         r"centimetres?\.", sentence)
    assert found, sentence
    return WORDS[found[1]], float(found[2])


def test_the_words_of_the_brief() -> None:
    assert hand_for_helper(BRITISH, 2) == "The tune climbs here. Lift the hand by a palm's width, 7 centimetres."
    assert hand_for_helper(BRITISH, -1) == ("The tune comes down here. Lower the hand by half a palm's width, "
                                            "3.5 centimetres.")
    assert hand_for_pupil(BRITISH, -5) == "Hand down the wall, two and a half palms' widths."
    assert hand_for_pupil(BRITISH, 2) == "Hand up the wall, a palm's width."
    assert hand_for_pupil(BRITISH, 0) == "Hand still: the note stays."
    assert hand_for_helper(BRITISH, 0) == "The tune stays here. Keep the hand where it is."


def test_american_spelling() -> None:
    assert hand_for_helper(English(Variety.AMERICAN), 7) == (
        "The tune climbs here. Lift the hand by three and a half palms' widths, 24.5 centimeters.")


def test_every_sentence_comes_through_the_language() -> None:
    closer = wall_for([48, 78])
    for semitones in (-12, -7, -2, -1, 0, 1, 2, 4, 9):
        for text in (hand_for_pupil(Loud(), semitones), hand_for_helper(Loud(), semitones),
                     hand_for_helper(Loud(), semitones, closer)):
            assert text == text.upper()


@given(TUNES, SHOULDERS)
def test_words_and_heights_agree_for_every_move_of_every_tune(midi: list[int], shoulder: float) -> None:
    wall, heights = wall_for(midi, shoulder), heights_cm(midi, shoulder)
    for a, b, low, high in zip(midi, midi[1:], heights, heights[1:], strict=False):
        if a == b:
            assert low == high
            continue
        sentence = hand_for_helper(BRITISH, b - a, wall)
        assert ("Lift" if high > low else "Lower") in sentence
        width, cm = said(sentence)
        assert cm == pytest.approx(abs(high - low), abs=0.051)
        assert abs(width * PALM_CM - cm) <= PALM_CM / 4 + 0.051 or width == 0.5
        assert wall.palms(b - a) == width
