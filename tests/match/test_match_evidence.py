"""What a verdict rests on, and which rule made it "not sure"."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tracked import track

from companion.ear import read_sound
from companion.match import Doubt, Verdict, match_take, unjudged
from companion.match.evidence import doubt_of
from companion.match.judge import Evidence, call, weigh
from companion.match.parameters import PARAMETERS
from companion.places import shipped
from companion.tune import Direction, load

UP, LEVEL, DOWN = Direction.UP, Direction.LEVEL, Direction.DOWN


def measured(interval: float, placed: float = 0.99, error: float = 0.15, seconds: float = 0.4, other: float = -3.0) -> Evidence:
    """Evidence as the match makes it: so much of it lies at the interval, the rest at another one."""
    import numpy as np

    sung = np.array([interval, other])
    return weigh(interval, np.array([placed, 1 - placed]), sung, np.array([True, False]), error, seconds, PARAMETERS.level_within)


@pytest.mark.parametrize(("e", "wanted", "doubt"), [
    (measured(2.0), UP, None),
    (measured(-2.0), UP, None),
    (Evidence(None, 0.9, 0.05, 0.05, 0.0), UP, Doubt.NO_PITCH),
    (replace(measured(-2.0), fault=True), UP, Doubt.OCTAVE),
    (replace(measured(10.0), fault=True, folded=measured(-2.0)), UP, Doubt.OCTAVE),
    (measured(-2.0, placed=0.5, other=4.0), UP, Doubt.PLACE),
    (measured(0.7, placed=0.95, seconds=0.05), UP, Doubt.SHORT),
    (measured(0.3), UP, Doubt.EDGE),
    (measured(0.52, placed=0.4, error=0.5, seconds=0.05), UP, Doubt.WEAK)])
def test_the_rule_that_made_it_not_sure(e: Evidence, wanted: Direction, doubt: Doubt | None) -> None:
    assert doubt_of(e, wanted) == doubt
    assert (call(e, wanted).verdict is Verdict.UNSURE) == (doubt is not None)


def test_every_move_of_a_take_has_its_evidence_and_only_unsure_ones_a_doubt() -> None:
    notes = load("snail-wall").line()
    for name in ("one-move-turned", "note-left-out", "stopped-early"):
        match = match_take(track(read_sound(shipped("recordings") / f"snail-wall-{name}.flac").samples), notes)
        assert len(match.evidence) == len(match.moves)
        for move, known in zip(match.moves, match.evidence, strict=True):
            assert (known.doubt is not None) == (move.verdict is Verdict.UNSURE)
            assert 0 <= known.up + known.level + known.down <= 1.002
            if move.verdict is not Verdict.UNSURE:
                most = max((known.up, UP), (known.level, LEVEL), (known.down, DOWN))
                assert most[1] == move.heard
                assert None not in (*known.spread, *known.voice_s, known.error)
        if name != "one-move-turned":
            assert {e.doubt for e in match.evidence} == {None, Doubt.NOT_SUNG}
    assert {e.doubt for e in unjudged(match).evidence} == {Doubt.NOT_FOUND}
