"""Which silences are rests, and which are breaths or consonants."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from companion.transcribe.folk_counts import MOST_TICKS, TICKS, counted
from companion.tune import Time

#: Silence before the next note where no rest is written: a consonant, or a breath of a usual length. And how often
#: a breath is taken inside a phrase, and where one ends.
CLOSE_S, BREATH_USUAL_S, BREATH_SPREAD_S, BREATH_INSIDE, BREATH_AT_END = 0.04, 0.21, 0.09, 0.01, 0.85
#: A rest is heard at its length and a little more: consonants take from the next note.
REST_MORE_S, REST_SPREAD_S, REST_SPREAD = 0.03, 0.05, 0.06
SQRT_2_PI = 2.507


def rest_ticks(silence_s: Sequence[float], ticks: Sequence[int], quarter_s: Sequence[float],
               time: Time) -> list[tuple[int, float]]:
    """How many ticks of each of some lengths (from note to note) are a rest, and the probability of that.

    Weighed: how frequent such a rest is after such a length, at the end of a phrase and inside one, in tunes that are
    written with rests and in those that are not (counted on folk tunes), and how the silence heard fits it. Which
    of the two kinds a tune is, is weighed over all its silences together.
    """
    table = counted(time)["rest"]
    kinds = np.log(np.array(table["tunes"], dtype=float) + 1.0)  # without rests, with rests
    weights: list[dict[int, float]] = []  # of each rest in a tune with rests
    for silence, length, quarter in zip(silence_s, ticks, quarter_s, strict=True):
        for kind in (0, 1):
            inside, end = (table[where][kind].get(str(min(length, MOST_TICKS)), {}) for where in ("inside", "end"))
            weight = _weights(silence, length if kind else 1, quarter, inside, end)
            kinds[kind] += np.log(sum(weight.values()) + 1e-12)
        weights.append(weight)
    with_rests = float(1.0 / (1.0 + np.exp(np.clip(kinds[0] - kinds[1], -500, 500))))
    return [_best(weight, with_rests) for weight in weights]


def _weights(silence_s: float, length: int, quarter_s: float, inside: dict[str, int],
             end: dict[str, int]) -> dict[int, float]:
    """Probability of each rest shorter than a length, times the density of the silence heard. inside, end: counts."""
    close = float(np.exp(-silence_s / CLOSE_S)) / CLOSE_S
    breath = _normal(silence_s - BREATH_USUAL_S, BREATH_SPREAD_S)
    none_inside, none_at_end = ((1 - often) * close + often * breath for often in (BREATH_INSIDE, BREATH_AT_END))
    total = sum(inside.values()) + sum(end.values()) + 6.0
    out = {0: ((inside.get("0", 0) + 3.0) * none_inside + (end.get("0", 0) + 1.0) * none_at_end) / total}
    for rest in range(1, length):
        often = inside.get(str(rest), 0) + end.get(str(rest), 0) + (0.6 if rest % 2 == 0 else 0.1)
        rest_s = rest / TICKS * quarter_s
        out[rest] = often / total * _normal(silence_s - rest_s - REST_MORE_S, REST_SPREAD_S + REST_SPREAD * rest_s)
    return out


def _best(weight: dict[int, float], with_rests: float) -> tuple[int, float]:
    """The most probable rest, and its probability. with_rests: probability that the tune is written with rests."""
    total = sum(weight.values()) + 1e-12
    posterior = {rest: with_rests * w / total for rest, w in weight.items()}
    posterior[0] += 1.0 - with_rests
    best = max(posterior, key=lambda r: posterior[r])
    return best, posterior[best]


def _normal(off: float, spread: float) -> float:
    return float(np.exp(-0.5 * (off / spread) ** 2)) / (SQRT_2_PI * spread)
