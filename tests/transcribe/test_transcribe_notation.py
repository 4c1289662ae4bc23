"""A notation as data."""

from __future__ import annotations

import pytest
from notate_takes import as_track, performance

from companion.language import English, score_json
from companion.transcribe import notate
from companion.tune import load


def test_bars_are_numbered_as_they_are_printed() -> None:
    n = notate(as_track(performance(load("lantern"))), "x")
    assert list(n.bars) == [x.bar for x in n.tune.line()]
    assert [place for bar, place in n.positions if bar == 1] == list(range(1, n.bars.count(1) + 1))


def test_json_has_what_the_contract_names() -> None:
    data = score_json(English(), notate(as_track(performance(load("rain-down"))), "x"))
    assert data["key"] == "C major"
    assert data["time"] == "3/4"
    assert data["quarter_bpm"] == pytest.approx(120, rel=0.1)
    assert {"midi", "quarters", "bar"} <= set(data["notes"][0])
    assert sum(n["quarters"] for n in data["notes"] if n["bar"] == 1) == 3
    assert isinstance(data["problems"], list)
