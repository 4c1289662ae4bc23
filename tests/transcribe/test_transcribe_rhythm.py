"""The hidden Markov model of values and tempo."""

from __future__ import annotations

import numpy as np
import pytest

from companion.transcribe import TIMES
from companion.transcribe.folk_counts import MOST_TICKS, Style
from companion.transcribe.rhythm import Evidence, _backward, _forward, _model, likelihood, moves, read, smoothed


def evidence(values: list[float], quarter_s: float, late: float = 0.0) -> Evidence:
    at = np.concatenate([[0.0], np.cumsum(values)]) * quarter_s + late
    degrees = np.array([0, 4, 7, 4] * 20)[:len(values)]
    return Evidence(at, degrees, moves([60 + d for d in degrees]), np.zeros(len(values), dtype=bool))


def test_values_of_exact_times_are_exact() -> None:
    values = [1, 0.5, 0.5, 1, 1, 1.5, 0.5, 2, 1, 1, 0.5, 0.5, 1, 4]
    best = max(read(evidence(values, 0.5), TIMES["4/4"]), key=lambda r: r.log_likelihood)
    assert (best.ticks / 4).tolist() == values
    assert best.quarter_s == pytest.approx([0.5] * len(values), rel=0.05)
    assert best.value_posterior.sum(axis=1) == pytest.approx([1.0] * len(values))
    assert min(best.value_posterior[i, t] for i, t in enumerate(best.ticks[:-1])) > 0.8


def test_tapped_beats_lead_where_the_tempo_alone_would_say_otherwise() -> None:
    values = [1.0] * 12 + [2.0]
    # A crotchet every 0.36 s is sung; beats are tapped twice as slowly, so what is sung are quavers.
    e = evidence(values, 0.36)
    free = max(read(e, TIMES["2/4"]), key=lambda r: r.log_likelihood)
    taps = [0.72 * k + 0.01 * (-1) ** k for k in range(7)]
    led = max(read(e, TIMES["2/4"], beats_s=taps), key=lambda r: r.log_likelihood)
    assert led.ticks[:-1].tolist() == [2] * 12
    assert free.ticks[:-1].tolist() != led.ticks[:-1].tolist() or led.quarter_s[0] > 0.6


def test_taps_are_smoothed_and_stay_in_order() -> None:
    taps = np.arange(8) * 0.5 + np.array([0.02, -0.02] * 4)
    out = smoothed(taps)
    assert np.abs(np.diff(out) - 0.5).max() < np.abs(np.diff(taps) - 0.5).max() / 2
    assert (np.diff(out) > 0).all()


def test_forward_and_backward_sum_over_all_readings() -> None:
    """Against a plain sum over every path of two notes."""
    e = evidence([1.0, 2.0], 0.5)
    m = _model(e, TIMES["3/4"], Style.SONG, None, (), 1.0)
    bar, values = 12, range(MOST_TICKS)
    joint = np.zeros(MOST_TICKS)  # by the value of the first note
    start = np.exp(m.first_log + m.place_log[0])[:, None] * np.exp(m.tempo_prior)[None, :]
    for place in range(bar):
        for d in values:
            to = (place + d + 1) % bar
            arrived = start[place] * m.value_p[place, d] * m.emission[0][d] @ m.tempo_transition[0] * np.exp(m.place_log[1][to])
            joint[d] += sum(float(arrived @ m.emission[1][k]) * m.last_p[to] * m.ending_p[to, k] for k in values)
    forward = _forward(m)
    assert forward.log_likelihood == pytest.approx(np.log(joint.sum()), rel=1e-9)
    assert _backward(m, forward).value[0, 1:] == pytest.approx(joint / joint.sum(), rel=1e-6)


def test_a_tempo_that_is_given_leads() -> None:
    e = evidence([1, 1, 1, 1, 2, 2], 0.4)
    assert read(e, TIMES["4/4"], 0.4)[0].ticks[:-1].tolist() == [4, 4, 4, 4, 8]
    assert read(e, TIMES["4/4"], 0.8)[0].ticks[:-1].tolist() == [2, 2, 2, 2, 4]
    assert likelihood(e, TIMES["4/4"], 0.4) != likelihood(e, TIMES["4/4"], 0.8)


def test_moves_by_category() -> None:
    assert moves([60, 60, 62, 61, 65, 60]).tolist() == [-1, 0, 1, 2, 3, 4]
