"""A tune fitted to a voice."""

import pytest

from companion.errors import Trouble
from companion.tune import Key, fit, load, spell
from companion.tune.voice import reach, transposed_key


@pytest.mark.parametrize("name", ["snail-wall", "mole", "rocking-boat"])
@pytest.mark.parametrize("low", [43, 52, 60, 65])
def test_a_fitted_tune_lies_in_the_range_with_its_moves(name: str, low: int) -> None:
    tune = load(name)
    found = fit(tune, low, low + 16)
    bottom, top = reach(found.tune.line())
    assert found.fits
    assert low <= bottom <= top <= low + 16
    assert [b.midi - a.midi for a, b in zip(found.tune.line(), tune.line(), strict=True)] == \
        [-found.semitones] * len(tune.line())
    assert found.start == found.tune.line()[0].pitch


def test_a_tune_that_lies_well_stays() -> None:
    assert fit(load("snail-wall"), 57, 72).semitones == 0


def test_too_wide_a_tune_is_said_so() -> None:
    assert not fit(load("kite"), 60, 70).fits


def test_an_empty_range_is_refused() -> None:
    with pytest.raises(Trouble, match="empty"):
        fit(load("mole"), 70, 60)


@pytest.mark.parametrize("fifths", range(-6, 7))
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_scale_notes_are_spelled_by_the_signature(fifths: int, mode: str) -> None:
    """music21's scale of the key is the reference."""
    from music21 import key

    reference = key.KeySignature(fifths).asKey(mode)
    for p in reference.getPitches()[:7]:
        assert spell(int(p.midi), Key(fifths, mode)).step == p.step


def test_a_raised_seventh_is_spelled_as_one() -> None:
    assert spell(68, Key(0, "minor")).name == "G#4"
    assert spell(61, Key(-1, "minor")).name == "C#4"


def test_keys_move_by_fifths() -> None:
    assert transposed_key(Key(0), 7).fifths == 1
    assert transposed_key(Key(0), 5).fifths == -1
    assert transposed_key(Key(-1, "minor"), 2) == Key(1, "minor")
