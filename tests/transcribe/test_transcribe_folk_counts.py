"""Counts on folk tunes as probabilities."""

from __future__ import annotations

import numpy as np
import pytest

from companion.transcribe import TIMES
from companion.transcribe.folk_counts import GUESSED, MOST_TICKS, degree_prior, prior, ticks_of
from companion.tune import Time


@pytest.mark.parametrize("time", list(TIMES.values()), ids=lambda t: t.name)
def test_priors_are_probabilities(time: Time) -> None:
    p, bar = prior(time), ticks_of(time.quarters)
    assert p.value.shape == (bar, MOST_TICKS + 1)
    assert np.exp(p.value).sum(axis=1) == pytest.approx([1.0] * bar, abs=1e-6)
    assert np.exp(p.ending).sum(axis=1) == pytest.approx([1.0] * bar, abs=1e-6)
    if time in GUESSED:
        assert np.exp(p.first).sum() == pytest.approx(1.0)


def test_nine_and_twelve_quavers_are_read_by_what_was_counted_in_six() -> None:
    six, nine, twelve = (prior(TIMES[name]) for name in ("6/8", "9/8", "12/8"))
    assert (nine.value[:12] == six.value).all()
    assert (nine.value[12:] == six.value[6:]).all()  # the third beat is as the second
    assert (twelve.value == np.concatenate([six.value, six.value])).all()


def test_a_long_note_begins_a_bar_more_often_than_it_stands_between_beats() -> None:
    p = prior(TIMES["4/4"])
    assert p.value[0, 8] > p.value[1, 8]


def test_degrees_follow_each_other_with_probabilities() -> None:
    d = degree_prior()
    assert np.exp(d.following).sum(axis=2) == pytest.approx(np.ones((2, 12)))
    assert d.last[0].argmax() == d.last[1].argmax() == 0  # tunes end on the keynote
