"""Several takes made into one score."""

from __future__ import annotations

import numpy as np
import pytest
from notate_takes import as_track, performance

from companion.transcribe import notate, notate_together
from companion.transcribe.combine import _align, _Contour
from companion.tune import load


def truth(name: str) -> list[tuple[int, float, float]]:
    return [(x.midi, float(x.quarters), float(x.rest_after)) for x in load(name).line()]


def test_takes_together_mend_each_other() -> None:
    tune = load("lantern")
    good = [as_track(performance(tune, seed)) for seed in (11, 12)]
    spoiled = as_track(performance(tune, 13, left_out=(5,)))  # one note left out, in another key
    lower = as_track(performance(tune, 14, shift=-3.0))
    alone = notate(spoiled, "x")
    assert len(alone.notes) == len(tune.line()) - 1
    together = notate_together([spoiled, lower, *good], "x")
    assert together.takes == 4
    intervals = np.diff([e.midi for e in together.notation.notes])
    assert intervals.tolist() == np.diff([m for m, *_ in truth("lantern")]).tolist()
    assert together.agreement[5] < 1.0  # and where one differs, it is not sure
    assert together.notation.notes[5].value_confidence < 1.0


def test_notes_side_by_side_with_one_left_out() -> None:
    a = _Contour(np.array([0.0, 2.0, 4.0, 5.0]), np.ones(4))
    b = _Contour(np.array([0.1, 3.9, 5.1]), np.ones(3))
    cost, pairs = _align(a, b)
    assert pairs == [(0, 0), (1, None), (2, 1), (3, 2)]
    assert cost == pytest.approx(0.1 + 1.6 + 0.1 + 0.1)


def test_one_take_is_itself() -> None:
    alone = notate_together([as_track(performance(load("rain-down")))], "x")
    assert alone.takes == 1
    assert set(alone.agreement) == {1.0}
