"""Triplets, against values that are like them."""

from __future__ import annotations

import numpy as np
import pytest

from companion.braille import decode, encode
from companion.ear import SungNote
from companion.transcribe import TIMES, Given, ScoreNote, lay_out
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
