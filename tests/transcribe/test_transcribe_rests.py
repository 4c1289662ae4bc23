"""Which silences are rests."""

from __future__ import annotations

from companion.transcribe import TIMES
from companion.transcribe.rests import rest_ticks


def test_whether_a_silence_is_a_rest_is_weighed_over_the_whole_tune() -> None:
    # 0.27 s after a crotchet and a half, where a crotchet is 0.5 s: once among short breaths, once among sure rests.
    breaths = rest_ticks([0.27, *[0.13] * 9], [6, *[6] * 9], [0.5] * 10, TIMES["4/4"])
    rests = rest_ticks([0.27, *[0.55] * 9], [6, *[12] * 9], [0.5] * 10, TIMES["4/4"])
    assert breaths[0][0] == 0
    assert rests[0][0] == 2
    assert [r for r, _ in rests[1:]] == [4] * 9


def test_no_rest_where_nothing_is_silent() -> None:
    found = rest_ticks([0.0] * 6, [4] * 6, [0.5] * 6, TIMES["4/4"])
    assert [rest for rest, _ in found] == [0] * 6
    assert min(p for _, p in found) > 0.95
