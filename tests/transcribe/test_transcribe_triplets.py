"""Triplets, against values that are like them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from companion.braille import decode, encode
from companion.ear import SungNote
from companion.transcribe import TIMES, Given, ScoreNote, lay_out
from companion.transcribe.rhythm import Evidence, Reading
from companion.transcribe.score import write
from companion.transcribe.triplets import triplets
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


def test_in_compound_time_three_quavers_are_a_beat_and_no_triplet() -> None:
    """Six-eight has three quavers to the beat (common practice); four semiquavers' time in three even notes is no part of it."""
    third, ticks = 4 / 3, np.array([*[4] * 9, 1, 1, 2, 2, 2, 1, 1, 2, 6])
    n, place = len(ticks), np.array([*[0, 4, 8] * 3, 0, 1, 2, 4, 6, 8, 9, 10, 0])
    lengths = [*[4.0] * 9, third, third, third, 2, 2, third, third, third, 6]
    onset, unknown = 0.1 * np.concatenate([[0.0], np.cumsum(lengths)]), np.full(n, -1)
    evidence = Evidence(onset, unknown, unknown, np.zeros(n, dtype=bool))
    reading = Reading(TIMES["6/8"], place, ticks, np.full(n, 0.4), np.zeros((n, 30)), 0.0, 0.0)
    assert triplets(evidence, reading) == []
    assert triplets(evidence, replace(reading, time=TIMES["3/4"])) == [9, 14], "in three-four they are two triplets"
