"""Pitch, keys, values; checked against music21 and ISO 16."""

from fractions import Fraction

import pytest

from companion.tune import Key, Note, Pitch, Time, Tuplet, interval_kind
from companion.tune.model import VALUES

LETTERS = "CDEFGAB"


@pytest.mark.parametrize("step", LETTERS)
@pytest.mark.parametrize("alter", [-2, -1, 0, 1, 2])
@pytest.mark.parametrize("octave", [1, 4, 7])
def test_midi_numbers_are_music21s(step: str, alter: int, octave: int) -> None:
    from music21 import pitch

    name = step + {-2: "--", -1: "-", 0: "", 1: "#", 2: "##"}[alter] + str(octave)
    assert Pitch(step, octave, alter).midi == pitch.Pitch(name).midi


def test_octave_belongs_to_the_letter() -> None:
    assert Pitch("C", 4, -1).midi == Pitch("B", 3).midi
    assert Pitch("C", 4, -1).octave == 4
    assert Pitch("B", 3, 1).midi == Pitch("C", 4).midi


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_key_names_and_signs_are_music21s(fifths: int, mode: str) -> None:
    from music21 import key

    reference = key.KeySignature(fifths).asKey(mode)
    name = reference.tonic.name.replace("-", " flat").replace("#", " sharp")
    assert Key(fifths, mode).name == f"{name} {mode}"
    altered = {p.step: int(p.alter) for p in key.KeySignature(fifths).alteredPitches}
    assert {s: Key(fifths).alter(s) for s in LETTERS} == {s: altered.get(s, 0) for s in LETTERS}


@pytest.mark.parametrize("base", list(VALUES))
@pytest.mark.parametrize("dots", [0, 1, 2])
def test_lengths_are_music21s(base: Fraction, dots: int) -> None:
    from music21 import duration

    name = {8: "breve", 4: "whole", 2: "half", 1: "quarter"}.get(float(base)) or \
        {0.5: "eighth", 0.25: "16th", 0.125: "32nd", 0.0625: "64th", 0.03125: "128th"}[float(base)]
    reference = duration.Duration(type=name, dots=dots)
    assert Note(pitch=None, base=base, dots=dots).quarters == Fraction(reference.quarterLength)


def test_a_triplet_quaver_is_a_third_of_a_crotchet() -> None:
    assert Note(pitch=None, base=Fraction(1, 2), tuplet=Tuplet(3, 2)).quarters == Fraction(1, 3)


@pytest.mark.parametrize(("time", "compound", "beat"), [
    (Time((4,), 4), False, Fraction(1)), (Time((2,), 2), False, Fraction(2)), (Time((3,), 4), False, Fraction(1)),
    (Time((6,), 8), True, Fraction(3, 2)), (Time((9,), 8), True, Fraction(3, 2)), (Time((12,), 8), True, Fraction(3, 2)),
    (Time((3,), 8), True, Fraction(3, 2)), (Time((6,), 16), True, Fraction(3, 4)), (Time((5,), 8), False, Fraction(1, 2)),
    (Time((3, 3), 8), False, Fraction(1, 2)), (Time((6,), 4), False, Fraction(1))])
def test_beats_of_a_time_signature(time: Time, compound: bool, beat: Fraction) -> None:
    """Common practice; 6/4 is read in crotchets here, since its beat is not told by its figures."""
    assert (time.compound, time.beat) == (compound, beat)


@pytest.mark.parametrize(("time", "name"), [(Time((6,), 8), "6/8"), (Time((3, 2), 8), "3+2/8"), (Time(), "4/4")])
def test_a_time_signature_has_its_figures_for_a_name(time: Time, name: str) -> None:
    assert time.name == name


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", ["major", "minor", "dorian"])
def test_the_tonic_is_that_of_music21(fifths: int, mode: str) -> None:
    """Outside reference: music21's key signatures."""
    from music21.key import KeySignature

    assert Key(fifths, mode).tonic_class == KeySignature(fifths).asKey(mode).tonic.pitchClass


@pytest.mark.parametrize(("semitones", "kind"), [
    (0, "level"), (1, "semitone"), (-1, "semitone"), (2, "step"), (3, "skip"), (-4, "skip"), (5, "leap"), (-12, "leap")])
def test_moves_are_of_a_kind_by_their_size(semitones: int, kind: str) -> None:
    assert interval_kind(semitones) == kind
