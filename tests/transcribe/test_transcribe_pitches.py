"""Written pitches and key."""

from __future__ import annotations

import numpy as np
import pytest

from companion.transcribe import TIMES, ScoreNote, lay_out
from companion.transcribe.pitches import _forward as pitch_forward
from companion.transcribe.pitches import _model as pitch_model
from companion.transcribe.pitches import find_pitches
from companion.tune import Key


def test_key_is_found_with_a_runner_up_and_spelled() -> None:
    # A harmonic minor scale down and up in G minor: E flat and B flat, and F sharp as the raised seventh.
    midi = [67, 69, 70, 72, 74, 75, 74, 72, 70, 69, 67, 66, 67, 70, 69, 66, 67]
    p = find_pitches([m + 0.3 for m in midi], [0.5] * len(midi))
    assert p.midi.tolist() == midi
    assert p.key == Key(-2, "minor")
    assert p.confidence > p.runner_up_confidence > 0
    tune = lay_out([ScoreNote(m, 4) for m in midi], TIMES["4/4"], 0, p.key)
    assert {x.pitch.name for x in tune.line()} == {"G4", "A4", "Bb4", "C5", "D5", "Eb5", "F#4"}


def test_a_given_key_leads() -> None:
    midi = [60, 62, 64, 65, 67, 65, 64, 62, 60]
    assert find_pitches(midi, [0.5] * 9).key.name == "C major"
    assert find_pitches(midi, [0.5] * 9, tonic=9, mode="minor").key.name == "A minor"


def test_keys_are_weighed_by_all_readings() -> None:
    """Against a plain sum over every path of two notes."""
    m = pitch_model(np.array([60.1, 64.0]), [0.5, 0.5], None, None)
    _, key_log = pitch_forward(m)
    for key in (0, 13):
        first = m.first[:, None] * m.emission[0] * m.first_degree[key]
        total = sum(
            float(first[o, a] * m.degree_transition[0][key, a, b] * m.tuning_transition[0][p, o] * m.emission[1][p, b]
                  * m.last_degree[key, 0, b])
            for o, a in zip(*np.nonzero(first), strict=True) for p, b in zip(*np.nonzero(m.emission[1]), strict=True))
        assert key_log[key] == pytest.approx(np.log(total), rel=1e-9)


def test_a_singer_between_two_keys_has_that_tuning() -> None:
    midi = [60, 62, 64, 65, 67, 65, 64, 62, 60]
    p = find_pitches([m + 0.4 for m in midi], [0.5] * 9)
    assert p.midi.tolist() == midi
    assert p.tuning == pytest.approx([0.4] * 9, abs=0.1)
    assert (p.posterior <= 1.0 + 1e-9).all()
