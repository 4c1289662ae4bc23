"""Triplets, metres of nine and twelve quavers, counting in, and what is told from its sound and its rhythm together."""

from __future__ import annotations

import numpy as np
import pytest
from notate_takes import as_sound, as_track, performance

from companion.braille import decode, encode
from companion.ear.model import PitchTrack, SungNote
from companion.ear.tracker import track
from companion.errors import Trouble
from companion.transcribe import TIMES, Given, ScoreNote, lay_out, notate, sung_notes
from companion.transcribe.count_in import find_counts, without_counts
from companion.transcribe.rests import rest_ticks
from companion.transcribe.score import write
from companion.tune import Key, load, save

THIRD = 1 / 3
WITH_TRIPLETS = [1, 1, THIRD, THIRD, THIRD, 1, 1, 1, THIRD, THIRD, THIRD, 1, 0.5, 0.5, 1, THIRD, THIRD, THIRD, 1, 1, 1, 2]
TUNE = [60, 62, 64, 65, 64, 62, 60, 64, 67, 65, 64, 62, 60, 62, 64, 65, 67, 65, 64, 62, 62, 60]


def sung(values: list[float], midi: list[int], quarter_s: float, spread_s: float = 0.006, seed: int = 1) -> list[SungNote]:
    rng = np.random.default_rng(seed)
    onset = 0.3 + np.concatenate([[0.0], np.cumsum(values)]) * quarter_s + rng.normal(0, spread_s, len(values) + 1)
    return [SungNote(float(a), 0.98 * float(b - a), float(m), 0.05, 0.9)
            for a, b, m in zip(onset, onset[1:], midi, strict=False)]


def test_triplets_are_written_and_come_back(tmp_path) -> None:
    n = write(sung(WITH_TRIPLETS, TUNE, 0.5), "x", Given(time=TIMES["4/4"]))
    assert [float(x.quarters) for x in n.tune.line()] == pytest.approx(WITH_TRIPLETS)
    assert all(b.quarters == 4 for b in n.tune.bars[1:-1])
    save(n.tune, tmp_path / "x.musicxml")
    for back in (load(tmp_path / "x.musicxml"), decode(list(encode(n.tune).lines)).tune):
        assert [(x.midi, x.quarters) for x in back.line()] == [(x.midi, x.quarters) for x in n.tune.line()]


def test_quavers_and_semiquavers_are_no_triplets() -> None:
    values = [v for x in WITH_TRIPLETS for v in [x]]
    values[2:5] = values[8:11] = values[15:18] = [0.5, 0.25, 0.25]
    n = write(sung(values, TUNE, 0.5), "x", Given(time=TIMES["4/4"]))
    assert not any(e.triplet for e in n.notes)
    assert [float(x.quarters) for x in n.tune.line()] == values


def test_a_triplet_that_a_correction_has_broken_is_laid_out_by_its_ticks() -> None:
    notes = [ScoreNote(60, 4), ScoreNote(62, 1, triplet=1), ScoreNote(64, 2, triplet=2), ScoreNote(65, 4, triplet=3),
             ScoreNote(60, 5)]
    assert [float(x.quarters) for x in lay_out(notes, TIMES["4/4"], 0, Key()).line()] == [1, 0.25, 0.5, 1, 1.25]


@pytest.mark.parametrize("metre", ["9/8", "12/8"])
def test_nine_and_twelve_quavers_are_read_where_they_are_given(metre: str) -> None:
    values = [1.5, 1, 0.5, 1.5, 1, 0.5, 1, 0.5, 1.5] * 4
    n = write(sung(values, ([60, 62, 64, 65, 67, 65, 64, 62, 60] * 4), 0.35), "x", Given(time=TIMES[metre]))
    assert n.time.name == metre
    assert [e.ticks for e in n.notes[:-1]] == [int(4 * v) for v in values[:-1]]
    bars = n.tune.bars
    assert all(b.quarters == n.tune.time.quarters for b in bars[1:-1])
    back = decode(list(encode(n.tune).lines))
    assert [x.quarters for x in back.tune.line()] == [x.quarters for x in n.tune.line()]


def test_whether_a_silence_is_a_rest_all_silences_of_the_tune_tell() -> None:
    # 0.27 s after a crotchet and a half, where a crotchet is 0.5 s: once among short breaths, once among sure rests.
    breaths = rest_ticks([0.27, *[0.13] * 9], [6, *[6] * 9], [0.5] * 10, TIMES["4/4"])
    rests = rest_ticks([0.27, *[0.55] * 9], [6, *[12] * 9], [0.5] * 10, TIMES["4/4"])
    assert breaths[0][0] == 0
    assert rests[0][0] == 2
    assert [r for r, _ in rests[1:]] == [4] * 9


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
    assert len(sung_notes(rest)) == len(load("rain-down").line())


def test_a_fall_at_the_end_of_a_note_is_no_note_of_its_own() -> None:
    tune = load("lantern")
    plain = len(tune.line())
    for fall in (1.0, 1.6):
        for seed in (1, 2):
            assert len(sung_notes(track(as_sound(performance(tune, seed, fall=fall, legato=0.6))))) == plain
