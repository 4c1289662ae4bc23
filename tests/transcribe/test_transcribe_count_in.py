"""Takes that begin with counting in."""

from __future__ import annotations

import numpy as np
import pytest
from notate_takes import as_sound, as_track, performance
from tracked import track

from companion.ear import PitchTrack, find_notes
from companion.errors import Trouble
from companion.transcribe import TIMES, Given, notate
from companion.transcribe.count_in import CountIn, find_counts, without_counts
from companion.transcribe.score import after_counts
from companion.tune import load


def counted_in(number: int, beat_s: float, before_s: float = 0.0) -> tuple[np.ndarray, float]:
    """A tune with claps before it, the last a beat before the tune (less what an upbeat takes); and when it begins."""
    rng = np.random.default_rng(3)
    tune = as_sound(performance(load("rain-down"), quarter_s=beat_s))
    start = 0.4 + number * beat_s - before_s
    sound = np.zeros(int(22050 * start) + len(tune), dtype=np.float32)
    sound[-len(tune):] = tune
    for k in range(number):
        at = int(22050 * (0.4 + k * beat_s + rng.normal(0, 0.01)))
        sound[at:at + 1300] += rng.normal(0, 0.25, 1300) * np.exp(-np.arange(1300) / 260)
    return sound.astype(np.float32), start


def test_a_tune_that_was_counted_in() -> None:
    sound, start = counted_in(3, 0.5, before_s=0.3)  # the singers' takes begin with 0.3 s of silence
    heard = track(sound)
    found = find_counts(heard, 3)
    assert found.beat_s == pytest.approx(0.5, abs=0.02)
    assert found.downbeat_s == pytest.approx(start + 0.3, abs=0.05)
    n = notate(heard, "x", Given(counted_in=3))
    assert (n.time.name, n.place) == ("3/4", 0)
    assert [e.midi for e in n.notes] == [x.midi for x in load("rain-down").line()]
    assert n.quarter_bpm == pytest.approx(120, rel=0.05)


def test_counting_in_that_is_not_there_is_said() -> None:
    quiet = as_track(performance(load("lantern")))
    with pytest.raises(Trouble, match="from 2 to 8"):
        find_counts(quiet, 1)
    flat = PitchTrack(quiet.time_s, quiet.f0_hz, quiet.sure, np.full(len(quiet.f0_hz), np.nan), quiet.harmonic,
                      quiet.hop_s, quiet.duration_s)
    with pytest.raises(Trouble, match="holds no counts"):
        find_counts(flat, 4)
    still = PitchTrack(quiet.time_s, quiet.f0_hz, quiet.sure, np.full(len(quiet.f0_hz), -30.0), quiet.harmonic,
                       quiet.hop_s, quiet.duration_s)
    with pytest.raises(Trouble, match="No 4 even counts"):
        find_counts(still, 4)


def test_nothing_is_sung_before_the_last_count_has_died_away() -> None:
    sound, start = counted_in(4, 0.5)
    heard = track(sound)
    rest = without_counts(heard, find_counts(heard, 4))
    assert not rest.f0_hz[rest.time_s < start].any()
    assert len(find_notes(rest)) == len(load("rain-down").line())


def test_six_counts_are_quavers_of_a_beat_that_is_three_of_them() -> None:
    """Half a second a count is forty dotted crotchets a minute in six-eight, and 120 crotchets where another time was given."""
    counts = CountIn((0.0, 0.5, 1.0, 1.5, 2.0, 2.5), 0.5, 3.0)
    six = after_counts(Given(counted_in=6), counts)
    assert (six.bpm, six.time, six.downbeat_s) == (40.0, TIMES["6/8"], 3.0)
    three = after_counts(Given(counted_in=6, time=TIMES["3/4"]), counts)
    assert (three.bpm, three.time) == (120.0, TIMES["3/4"])
    assert after_counts(Given(counted_in=4, bpm=90.0), counts).bpm == 90.0, "what somebody has said stands"
