"""Triplets: three notes in the time of two, which the grid of ticks has read as uneven values."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from companion.transcribe.folk_counts import TICKS, prior, ticks_of
from companion.transcribe.rhythm import Evidence, Reading

F = NDArray[np.float64]

#: Probability that a tune has triplets, and that in such a tune three notes that fill a beat or two are one: few have any.
WITH_TRIPLETS, TRIPLET = 0.05, 0.5
EVEN_S = (0.02, 0.06)  # seconds: no singer is taken for more even, or for less, than this
MOST_ODDS = 20.0  # one three alone makes no tune one with triplets
WHOLE = (4, 8)  # ticks that a triplet fills: one of quavers, one of crotchets


def triplets(e: Evidence, r: Reading) -> list[int]:
    """Which notes begin a triplet: three in the time of two quavers or crotchets, on the beat, in simple time.

    The values that were read for such notes fill the same time unevenly (2, 1 and 1 ticks, say). How much better even
    lengths fit is weighed over all such threes of the tune together.
    """
    if r.time.compound:
        return []
    spread_s = _spread_s(e, r)
    odds = {i: _odds(e, r, i, whole, spread_s) for i, whole in _candidates(r)}
    tune = WITH_TRIPLETS / (1 - WITH_TRIPLETS) * float(np.prod([1 - TRIPLET + TRIPLET * x for x in odds.values()]))
    found: list[int] = []
    for i, x in odds.items():
        if tune > 1 and TRIPLET * x > 1 - TRIPLET and not (found and i < found[-1] + 3):
            found.append(i)
    return found


def _candidates(r: Reading) -> list[tuple[int, int]]:
    """Notes that could begin a triplet, and how many ticks it would fill."""
    bar = ticks_of(r.time.quarters)
    threes = [(i, int(r.ticks[i:i + 3].sum())) for i in range(len(r.ticks) - 3)]
    return [(i, whole) for i, whole in threes
            if whole in WHOLE and not r.place[i] % TICKS and r.place[i] + whole <= bar]


def _spread_s(e: Evidence, r: Reading) -> float:
    """How evenly notes of up to a crotchet are sung, which says how closely lengths are to be taken."""
    expected = r.ticks * r.quarter_s / TICKS
    off = np.abs(np.diff(e.onset_s) - expected)[r.ticks <= TICKS]
    # 1.48 times the median absolute deviation estimates the standard deviation of a normal distribution.
    return float(np.clip(1.48 * np.median(off) if len(off) else 1.0, *EVEN_S))


def _odds(e: Evidence, r: Reading, i: int, whole: int, spread_s: float) -> float:
    """How much likelier three even lengths are than the uneven values that could stand there, at most MOST_ODDS."""
    bar, value = ticks_of(r.time.quarters), np.exp(prior(r.time, r.style).value)
    sung_s, quarter_s = np.diff(e.onset_s[i:i + 4]), float(r.quarter_s[i])
    uneven = {(2 * whole // 4, whole // 4, whole // 4), (whole // 4, 2 * whole // 4, whole // 4),
              (whole // 4, whole // 4, 2 * whole // 4), tuple(int(t) for t in r.ticks[i:i + 3])}
    likelihood = total = 0.0
    for ticks in uneven:
        usual = float(np.prod([value[(int(r.place[i]) + sum(ticks[:k])) % bar, t] for k, t in enumerate(ticks)]))
        total += usual
        likelihood += usual * _density(sung_s - np.array(ticks) * quarter_s / TICKS, spread_s)
    even = _density(sung_s - whole / 3 * quarter_s / TICKS, spread_s)
    return min(even / max(likelihood / total, 1e-12), MOST_ODDS)


def _density(off_s: F, spread_s: float) -> float:
    """Of lengths that are so far off, but for a constant."""
    return float(np.exp(-0.5 * ((off_s / spread_s) ** 2).sum()))
