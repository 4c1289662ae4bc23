"""A clapped rhythm held against the written one: right, not that rhythm, or not sure. Facts only.

Claps tell where notes begin, not how long the last one lasts. They are laid over the written beginnings at whatever tempo
near the given one, and wherever in time, fits best; what is left over, and what is far from its place, is a misreading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from companion.ear import Claps
from companion.match import Verdict
from companion.tune import LineNote

F = NDArray[np.float64]

FEWEST_NOTES = 3  # with two there is one length, and nothing to compare it with
#: How much slower or quicker than the given beat: people who clap with a metronome keep within a few per cent; a child that
#: has lost the beat is still told the rhythm.
TEMPI = np.exp(np.linspace(np.log(0.7), np.log(1.43), 27))
TEMPO_SPREAD = 0.2  # natural logarithm: of two tempi that fit as well the nearer one is meant
NEAR_S = 0.12  # from its place, that is surely the right one: children of eight vary by some 0.05 s
FAR = 0.36  # of a crotchet: what lies so far from its place is not in it (a quaver is a half)
LOST = 1.6  # price of a clap with no place, or a place with no clap, where a clap at the edge of its place costs 1
#: How many times as long as written, or as short, a space between two claps must be to be misread: half as long again is what
#: a dot makes of a note, and a learner's clap may be that late; twice as long is another value.
MISREAD_TIMES = 1.6
MISREAD_S = 0.17  # and by so much at least: between quick claps less is a slip of the hand
SURE_EXTRA_DB = 9.0  # a clap that is not written must be nearly as loud as the others: else it may be an echo
#: Of a clap over the room: then a softer one is at least heard as something faint. Of 100 rhythms clapped as written in noise
#: and over the beat a clap was lost in 10, and was heard as something faint in all ten (tests/benchmarks/claps.py).
AUDIBLE_DB = 17.0
OFF_BEAT = 0.4  # of a beat away from it, though the rhythm is right
FEWEST_SHORT = 0.75  # share of the sounds that fall off at once, in what was clapped


class RhythmFinding(StrEnum):
    """What was found of a clapped rhythm."""

    RIGHT = "right"
    TOO_LONG = "too long"  # at: the note after which one waited too long
    TOO_SHORT = "too short"
    EXTRA = "extra"  # at: the note after which a clap came that is not written
    MISSING = "missing"  # at: the note that was not clapped
    OFF_BEAT = "off beat"  # the rhythm is right, and does not lie on the beat
    UNCLEAR = "unclear"
    NO_CLAPS = "no claps"


@dataclass(frozen=True)
class Rhythm:
    """A clapped rhythm judged. at: the place of a note in the line, from 0. times: how many times as slow as the given beat."""

    verdict: Verdict
    finding: RhythmFinding
    at: int = 0
    times: float = 1.0


def judge_rhythm(claps: Claps, line: Sequence[LineNote], quarter_s: float, first_s: float | None = None,
                 beat_s: float | None = None) -> Rhythm:
    """Claps judged against the beginnings of a line's notes, `quarter_s` seconds a crotchet as it was counted in.

    first_s: when the first note was due, None where that is not known; then, and where `beat_s` is not given, nothing is
    said of the beat. A line has at least FEWEST_NOTES notes.
    """
    onsets = np.array([float(n.onset_quarters - line[0].onset_quarters) for n in line])
    if not len(claps.time_s):
        return Rhythm(Verdict.UNSURE, RhythmFinding.NO_CLAPS)
    if len(claps.time_s) < 2 or claps.short.mean() < FEWEST_SHORT:
        return Rhythm(Verdict.UNSURE, RhythmFinding.UNCLEAR)
    laid = _laid(claps.time_s, onsets, quarter_s)
    quarter = quarter_s * laid.times
    found = _left_over(claps, laid, onsets, quarter_s) or _spaces(claps.time_s, onsets, quarter)
    if found is None and not (laid.of_note < 0).any():
        off = claps.time_s[laid.of_note] - laid.start_s - onsets * quarter
        right = bool((np.abs(off) <= min(NEAR_S, 0.4 * quarter * _least_space(onsets))).all())
        found = (Verdict.RIGHT if right else Verdict.UNSURE, RhythmFinding.RIGHT if right else RhythmFinding.UNCLEAR, 0)
    verdict, finding, at = found or (Verdict.UNSURE, RhythmFinding.UNCLEAR, 0)
    if verdict is Verdict.RIGHT and first_s is not None and beat_s is not None \
            and abs(laid.start_s - first_s) > OFF_BEAT * beat_s:
        return Rhythm(Verdict.UNSURE, RhythmFinding.OFF_BEAT, 0, laid.times)
    return Rhythm(verdict, finding, at, laid.times)


@dataclass(frozen=True, eq=False)
class _Laid:
    """Claps laid over a line. times: of the given tempo. start_s: of the first note. of_note: the clap of each note, -1 for
    none, shape (notes,). left: claps that are of no note."""

    times: float
    start_s: float
    of_note: NDArray[np.int64]
    left: NDArray[np.int64]


def _laid(times_s: F, onsets: F, quarter_s: float) -> _Laid:
    """The tempo and beginning at which most claps lie on notes, and nearest to them."""
    best: tuple[float, _Laid] | None = None
    for times in TEMPI:
        places = onsets * quarter_s * times
        far = FAR * quarter_s * times
        starts = np.unique(np.round((times_s[:, None] - places[None, :]).ravel(), 2))
        off = np.abs(times_s[None, :, None] - places[None, None, :] - starts[:, None, None])  # (starts, claps, notes)
        nearest_clap, nearest_note = off.argmin(axis=1), off.argmin(axis=2)
        own = np.take_along_axis(nearest_note, nearest_clap, axis=1) == np.arange(len(onsets))
        least = np.take_along_axis(off, nearest_clap[:, None, :], axis=1)[:, 0, :]
        there = own & (least <= far)
        cost = np.where(there, (least / far) ** 2, LOST).sum(axis=1) + LOST * (len(times_s) - there.sum(axis=1)) \
            + (np.log(times) / TEMPO_SPREAD) ** 2 / 2
        at = int(np.argmin(cost))
        if best is None or cost[at] < best[0]:
            of_note = np.where(there[at], nearest_clap[at], -1)
            best = float(cost[at]), _Laid(float(times), float(starts[at]), of_note,
                                          np.setdiff1d(np.arange(len(times_s)), of_note))
    assert best is not None
    return _refined(best[1], times_s, onsets, quarter_s)


def _refined(laid: _Laid, times_s: F, onsets: F, quarter_s: float) -> _Laid:
    """The same with tempo and beginning by least squares, as far as they stay where tempi are looked for."""
    there = laid.of_note >= 0
    if there.sum() < 3 or len(set(onsets[there])) < 2:
        return laid
    slope, start = np.polyfit(onsets[there], times_s[laid.of_note[there]], 1)
    if not TEMPI[0] <= slope / quarter_s <= TEMPI[-1]:
        return laid
    return _Laid(float(slope / quarter_s), float(start), laid.of_note, laid.left)


def _left_over(claps: Claps, laid: _Laid, onsets: F, quarter_s: float) -> tuple[Verdict, RhythmFinding, int] | None:
    """A clap with no note, or a note with no clap, where there are not as many of both."""
    quarter = quarter_s * laid.times
    if len(claps.time_s) == len(onsets):
        return None
    lost = np.flatnonzero(laid.of_note < 0)
    if len(claps.time_s) > len(onsets):
        loud = claps.level_db[laid.left] >= np.median(claps.level_db) - SURE_EXTRA_DB
        sure = bool(loud.any()) and len(lost) <= 1
        first = claps.time_s[laid.left[loud][0] if loud.any() else laid.left[0]]
        at = int(np.searchsorted(laid.start_s + onsets * quarter, first)) - 1
        return (Verdict.WRONG if sure else Verdict.UNSURE, RhythmFinding.EXTRA, max(0, min(at, len(onsets) - 1)))
    # A clap that was too faint may have been there.
    place = laid.start_s + onsets[lost] * quarter
    heard = [bool((np.abs(claps.faint_s - p) <= FAR * quarter).any()) for p in place]
    # Nor is anything sure where a clap might be lost in the room's noise altogether.
    audible = float(np.median(claps.level_db)) - claps.floor_db >= AUDIBLE_DB
    sure = audible and not any(heard) and len(claps.time_s) * 2 >= len(onsets)
    if sure and len(claps.faint_s):
        # With too few claps they may lie on other notes than was meant: whole with what was faint, nothing is missing.
        sure = bool((_laid(np.sort(np.concatenate([claps.time_s, claps.faint_s])), onsets, quarter_s).of_note < 0).any())
    return (Verdict.WRONG if sure else Verdict.UNSURE, RhythmFinding.MISSING, int(lost[0]) if len(lost) else 0)


def _spaces(times_s: F, onsets: F, quarter: float) -> tuple[Verdict, RhythmFinding, int] | None:
    """The space between two claps that is farthest from the written one, where it is another value."""
    sung, written = np.diff(times_s), np.diff(onsets)
    # The tempo is that of all other spaces: one that is misread must not bend it.
    times = np.array([s / (w * float(np.median(np.delete(sung / written, i)))) if len(sung) > 1 else s / (w * quarter)
                      for i, (s, w) in enumerate(zip(sung, written, strict=True))])
    apart = np.maximum(times, 1 / times)
    at = int(np.argmax(apart))
    if apart[at] < MISREAD_TIMES:
        return None
    sure = abs(sung[at] - sung[at] / times[at]) >= MISREAD_S
    return (Verdict.WRONG if sure else Verdict.UNSURE, RhythmFinding.TOO_LONG if times[at] > 1 else RhythmFinding.TOO_SHORT, at)


def _least_space(onsets: F) -> float:
    return float(np.diff(onsets).min())
