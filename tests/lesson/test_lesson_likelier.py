"""What is said to have been sung instead: a name only where the other tune's own moves bear it out."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from companion.ear import hear_pitch
from companion.lesson import answer
from companion.match import Verdict
from companion.places import shipped
from companion.tune import load


@pytest.mark.parametrize(("right", "wrong", "odds", "found"), [
    (12, 0, 6.0, (True, "Kite")),
    (12, 0, 2.4, (True, "")),  # as likely as a line that was not sung may come out
    (11, 1, 6.0, (True, "")),  # it fits better than the tune asked for, and one of its moves was not sung
    (7, 0, 6.0, (True, "")),  # more than half of it, and too little to name it
    (3, 0, 6.0, (False, ""))])
def test_a_tune_is_named_only_where_its_moves_bear_it_out(
        monkeypatch: pytest.MonkeyPatch, right: int, wrong: int, odds: float, found: tuple[bool, str]) -> None:
    kite, line = load("kite"), load("kite").line()[:13]
    monkeypatch.setattr(answer, "catalogue", lambda: [SimpleNamespace(name="kite")])
    monkeypatch.setattr(answer, "load", lambda name: SimpleNamespace(title=kite.title, line=lambda: line))
    monkeypatch.setattr(answer, "line_odds", lambda pitch, line: 12.0)
    counts = {Verdict.RIGHT: right, Verdict.WRONG: wrong, Verdict.UNSURE: 12 - right - wrong}
    monkeypatch.setattr(answer, "match_take", lambda pitch, line: SimpleNamespace(counts=counts, presence_odds=odds))
    pitch = hear_pitch(shipped("recordings") / "snail-wall-right.flac")
    assert answer.likelier_tune(pitch, load("snail-wall")) == found
