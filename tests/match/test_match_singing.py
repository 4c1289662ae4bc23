"""Singing told from talk, frame by frame, on made pitch: steady, with vibrato, gliding, in short pieces."""

import numpy as np
import pytest

from companion.ear import PitchTrack
from companion.match.singing import LEAST_FRAMES, ODDS, frame_odds, run_seconds

HOP = 0.01


def track_of(midi: np.ndarray) -> PitchTrack:
    hz = np.where(np.isnan(midi), 0.0, 440.0 * 2 ** ((np.nan_to_num(midi) - 69) / 12))
    n = len(hz)
    known = np.where(hz > 0, 0.9, 0.0)
    return PitchTrack(np.arange(n) * HOP, hz, known, np.where(hz > 0, -20.0, -70.0), known, HOP, n * HOP)


def mean_odds(midi: np.ndarray) -> float:
    return float(frame_odds(track_of(midi))[~np.isnan(midi)].mean())


def pieces(midi: np.ndarray, length: int, gap: int) -> np.ndarray:
    """The same pitch with a silence of `gap` frames after each `length` frames."""
    out = [x for at in range(0, len(midi), length) for x in (*midi[at:at + length], *[np.nan] * gap)]
    return np.array(out)


def test_a_held_note_is_singing_and_a_falling_syllable_is_not() -> None:
    held, falling = np.full(100, 60.0), np.tile(np.linspace(62.0, 57.0, 12), 8)
    assert mean_odds(held) > 2
    assert mean_odds(pieces(falling, 12, 4)) < -1


def test_a_vibrato_is_singing() -> None:
    # Five and a half times a second by half a semitone, as trained singers do (Sundberg 1994).
    t = np.arange(150) * HOP
    assert mean_odds(60 + 0.5 * np.sin(2 * np.pi * 5.5 * t)) > 0


def test_slope_spread_and_stops_each_speak_for_talk() -> None:
    rng = np.random.default_rng(1)
    held = np.full(90, 60.0)
    sliding = 60 + 20 * np.arange(90) * HOP
    rough = held + rng.normal(0, 0.4, 90)
    for worse in (sliding, rough, pieces(held, 9, 3)):
        assert mean_odds(worse) < mean_odds(held) - 0.5


def test_the_odds_of_a_held_note_follow_the_formula() -> None:
    # No slope, no spread: the constants of the logarithms are what is left of them (1 and 0.03).
    at = frame_odds(track_of(np.full(60, 60.0)))[30]
    assert at == pytest.approx(ODDS[0] * np.log(1.0) + ODDS[1] * np.log(0.03) + ODDS[2] * np.log(0.6) + ODDS[3], abs=0.01)


def test_where_there_is_no_voice_or_hardly_any_nothing_is_said() -> None:
    midi = np.full(40, np.nan)
    midi[10:10 + LEAST_FRAMES - 1] = 60.0
    assert not frame_odds(track_of(midi)).any()


def test_the_length_of_each_run_of_voice() -> None:
    voiced = np.array([0, 1, 1, 0, 1, 1, 1, 0], dtype=bool)
    assert run_seconds(voiced, 0.5).tolist() == [0, 1.0, 1.0, 0, 1.5, 1.5, 1.5, 0]
    assert run_seconds(np.zeros(3, dtype=bool), HOP).tolist() == [0, 0, 0]
