"""Takes at both ends of what is tracked, 60 to 2000 Hz: judged inside, doubted at the edge, never wrong."""

from __future__ import annotations

import pytest
from singers import line_of
from singers.whistle import ENDS, end_take
from tracked import track

from companion.errors import NothingSung
from companion.match import Verdict, match_take


def verdicts(name: str, seed: int, higher: float = 0.0) -> list[Verdict]:
    samples, performance = end_take(name, seed, higher)
    try:
        return [m.verdict for m in match_take(track(samples), line_of(performance)).moves]
    except NothingSung:
        return []


@pytest.mark.parametrize("name", ENDS)
@pytest.mark.parametrize("seed", [200, 201])
def test_a_line_at_an_end_of_the_range_is_all_right(name: str, seed: int) -> None:
    """Lines of six notes, all sung the right way."""
    assert verdicts(name, seed) == [Verdict.RIGHT] * 5


@pytest.mark.parametrize(("name", "higher"), [("whistle", 7.0), ("whistle", 9.0), ("squealing child", 6.0), ("low man", -5.0)])
def test_across_the_edge_of_the_range_nothing_is_called_wrong(name: str, higher: float) -> None:
    """The same lines moved, so that some of their notes lie above 2000 Hz or below 60."""
    for seed in (300, 302):
        assert Verdict.WRONG not in verdicts(name, seed, higher)
