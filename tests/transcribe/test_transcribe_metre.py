"""Which time signature is chosen."""

from __future__ import annotations

import numpy as np
import pytest

from companion.braille import decode, encode
from companion.ear import SungNote
from companion.errors import Trouble
from companion.transcribe import TIMES, Given
from companion.transcribe.folk_counts import counts
from companion.transcribe.metre import choose, features
from companion.transcribe.rhythm import Evidence, moves, read
from companion.transcribe.score import write
from companion.tune import Time


def sung(values: list[float], midi: list[int], quarter_s: float, spread_s: float = 0.006, seed: int = 1) -> list[SungNote]:
    rng = np.random.default_rng(seed)
    onset = 0.3 + np.concatenate([[0.0], np.cumsum(values)]) * quarter_s + rng.normal(0, spread_s, len(values) + 1)
    return [SungNote(float(a), 0.98 * float(b - a), float(m), 0.05, 0.9)
            for a, b, m in zip(onset, onset[1:], midi, strict=False)]


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


def test_there_is_a_weight_for_every_feature() -> None:
    at = np.concatenate([[0.0], np.cumsum([1.0] * 8)]) * 0.5
    e = Evidence(at, np.array([0, 4, 7, 4] * 2), moves([60, 64, 67, 64] * 2), np.zeros(8, dtype=bool))
    for reading in read(e, TIMES["3/4"]):
        assert len(features(reading, [60, 64, 67, 64] * 2, e.phrase)) == len(counts()["weights"])


def test_as_many_beats_as_were_counted_are_likelier() -> None:
    at = np.concatenate([[0.0], np.cumsum([1.0] * 12)]) * 0.5
    midi = [60] * 12
    e = Evidence(at, np.zeros(12, dtype=np.int64), moves(midi), np.zeros(12, dtype=bool))
    for count, name in ((3, "3/4"), (2, "2/4")):
        chosen = choose(e, midi, bpm=120, downbeat_s=0.0, counted_in=count)
        assert chosen.reading.time == TIMES[name]
        assert chosen.confidence > chosen.runner_up_confidence


def test_a_time_signature_that_is_not_written_here_is_refused() -> None:
    e = Evidence(np.arange(5) * 0.5, np.zeros(4, dtype=np.int64), moves([60] * 4), np.zeros(4, dtype=bool))
    with pytest.raises(Trouble, match="Time 5/4 was given"):
        choose(e, [60] * 4, Time((5,), 4))
