"""What was counted on folk tunes (`counts.json`, made by `tests/benchmarks/notate_counts.py`), as probabilities.

Lengths are in ticks, a quarter of a crotchet each. A place is where in its bar a note begins, in ticks.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from enum import StrEnum
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.tune import Time

F = NDArray[np.float64]


class Style(StrEnum):
    """What was counted on: tunes that are sung, and tunes that are danced to, whose bars are filled otherwise."""

    SONG = "song"
    DANCE = "dance"


TICKS = 4  # to a crotchet: a semiquaver is the shortest value written
MOST_TICKS = 32  # the longest time from a note to the next: two bars of four
#: Time signatures that can be written, by their names.
TIMES = {t.name: t for t in (Time((2,), 4), Time((3,), 4), Time((4,), 4), Time((6,), 8), Time((9,), 8), Time((12,), 8))}
#: The same by how many beats are counted aloud: "in three".
BY_BEATS = {sum(t.upper): t for t in TIMES.values()}
#: Those that are weighed where none is given. In 9/8 and 12/8 there are too few folk tunes to count; they are read, when
#: they are given, by what was counted in 6/8: its first beat stands for their first (12/8: and third), else its second.
GUESSED = tuple(TIMES[name] for name in ("2/4", "3/4", "4/4", "6/8"))
#: Pseudocounts: how many observations smoothing is worth, in tables of values, of last values, and of degrees, moves and
#: phrases by place.
VALUE_SMOOTHING, ENDING_SMOOTHING, PLACE_SMOOTHING = 3.0, 2.0, 20.0


def ticks_of(quarters: Fraction) -> int:
    """Whole ticks of a length in crotchets."""
    return int(TICKS * quarters)


@cache
def counts() -> dict[str, Any]:
    """The table of counts as it is in the file."""
    data: dict[str, Any] = json.loads((Path(__file__).parent / "counts.json").read_text(encoding="utf-8"))
    return data


def counted(time: Time, style: Style = Style.SONG) -> dict[str, Any]:
    """What was counted in a time signature, or in the one that stands for it (see GUESSED)."""
    found: dict[str, Any] = counts()["metres"][style][time.name if time in GUESSED else "6/8"]
    return found


@dataclass(frozen=True, eq=False)
class Prior:
    """Logarithms of probabilities in one time signature of B ticks a bar, by place.

    value: B x (MOST_TICKS + 1), of each length from a note to the next; ending: the same of the last note.
    first, last: B, of the place of the first and of the last note.
    degree (B x 12), move (B x 5), phrase (B x 2): against how frequent each is at any place.
    """

    value: F
    ending: F
    first: F
    last: F
    degree: F
    move: F
    phrase: F

    def at(self, places: NDArray[np.int64]) -> Prior:
        """The same for other places, each standing for one of these."""
        return Prior(**{f.name: getattr(self, f.name)[places] for f in fields(self)})


@cache
def prior(time: Time, style: Style = Style.SONG) -> Prior:
    """The prior of a time signature, smoothed."""
    bar = ticks_of(time.quarters)
    if time not in GUESSED:
        at = np.arange(bar)
        return prior(TIMES["6/8"], style).at(at % 12 if time.name == "12/8" else np.where(at < 6, at, 6 + at % 6))
    c = counted(time, style)
    return Prior(
        value=_values(_by_place(c["value"], bar)), ending=_endings(_by_place(c["ending"], bar)),
        first=_places(c["first"], bar), last=_places(c["last"], bar),
        degree=_by_kind(c["degree"], bar, 12), move=_by_kind(c["move"], bar, 5), phrase=_by_kind(c["phrase"], bar, 2))


def _by_place(rows: dict[str, dict[str, int]], bar: int) -> F:
    table = np.zeros((bar, MOST_TICKS + 1))
    for place, row in rows.items():
        for ticks, n in row.items():
            table[int(place), min(int(ticks), MOST_TICKS)] += n
    return table


def _values(count: F) -> F:
    """Smoothed towards how frequent a value is in this time signature wherever it stands, then towards anything."""
    bar = len(count)
    overall = count.sum(axis=0)
    landing = count.sum(axis=1) / count.sum()  # how often a note begins at a place
    anywhere = np.zeros_like(count)
    for p in range(bar):
        for d in range(1, MOST_TICKS + 1):
            anywhere[p, d] = (overall[d] / overall.sum() + 1e-4) * (landing[(p + d) % bar] + 1e-3)
        anywhere[p] /= anywhere[p].sum()
    table = (count + VALUE_SMOOTHING * anywhere) / (count.sum(axis=1, keepdims=True) + VALUE_SMOOTHING)
    table[:, 0] = 0
    return _log(table)


def _endings(count: F) -> F:
    """The last note has values of its own, whatever follows a bar line."""
    overall = (count.sum(axis=0) + 0.2) / (count.sum() + 0.2 * (MOST_TICKS + 1))
    return _log((count + ENDING_SMOOTHING * overall) / (count.sum(axis=1, keepdims=True) + ENDING_SMOOTHING))


def _log(p: F) -> F:
    return np.asarray(np.log(p + 1e-12))


def _places(count: dict[str, int], bar: int) -> F:
    table = np.array([count.get(str(p), 0) for p in range(bar)], dtype=float)
    return np.asarray(np.log((table + 0.3) / (table + 0.3).sum()))


def _by_kind(count: list[int], bar: int, kinds: int) -> F:
    table = np.array(count, dtype=float).reshape(bar, kinds)
    overall = table.sum(axis=0) / table.sum()
    smooth = (table + PLACE_SMOOTHING * overall) / (table.sum(axis=1, keepdims=True) + PLACE_SMOOTHING)
    return np.asarray(np.log(smooth / overall))


#: Modes of a key that were counted, in the order of their tables.
MODES = ("major", "minor")


@dataclass(frozen=True, eq=False)
class DegreePrior:
    """Logarithms of the probability of degrees (semitones above the keynote), for each of MODES.

    first, last: 2 x 12, of the first and last note of a tune; following: 2 x 12 x 12, of the next after each.
    """

    first: F
    following: F
    last: F


@cache
def degree_prior() -> DegreePrior:
    """The prior of degrees in major and minor, smoothed."""
    c = counts()["degrees"]
    first, following, last = [], [], []
    for mode in MODES:
        one = np.array(c[mode]["first"], dtype=float)
        two = np.array(c[mode]["next"], dtype=float).reshape(12, 12)
        end = np.array(c[mode]["last"], dtype=float)
        usual = (two.sum(axis=0) + 2.0) / (two.sum() + 24.0)
        first.append(np.log((one + 10 * usual) / (one + 10 * usual).sum()))
        mixed = two + 10.0 * usual
        following.append(np.log(mixed / mixed.sum(axis=1, keepdims=True)))
        last.append(np.log((end + usual) / (end + usual).sum()))
    return DegreePrior(np.array(first), np.array(following), np.array(last))
