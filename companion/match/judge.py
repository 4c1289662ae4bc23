"""The verdict of each move, from the evidence for up, level and down.

Two things must be so before a move is called: that both notes are rightly placed in the take, and that the
interval between their steady parts lies clearly on one side of the boundary. A move of up to half a semitone
is level (half the step of equal temperament), and near that edge nothing is certain. What speaks for a fault
of the tracker's and not the child's (an octave, a fifth above it) is doubt, never "not that way".

How sure is a calibrated probability: a logistic regression on the evidence, fitted on synthesised singers of
two makers and reported on others (`tests/benchmarks/singers.py`, which fits it anew with `--fit`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from companion.match.align import Alignment
from companion.match.model import Verdict
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.steady import Steady
from companion.tune import Direction, direction_of

F = NDArray[np.float64]


@dataclass(frozen=True)
class Evidence:
    """For one move: probabilities of what was sung, and doubts.

    interval: between the steady parts, semitones, None where a note has none. placed: probability that the
    alignment supports it. seconds: of voice in the shorter note. fault: an end lies where trackers err.
    folded: the same evidence with octaves folded away, where that changes it. bare: of an unknown tracker. repeated: the
    move is one of several level ones in a row, of which none can be told from its neighbour.
    error: standard deviation of the interval, semitones. edge: semitones up to which a move is level.
    """

    interval: float | None
    up: float
    level: float
    down: float
    placed: float
    seconds: float = 1.0
    fault: bool = False
    bare: bool = False
    folded: Evidence | None = None
    error: float = 0.0
    repeated: bool = False
    edge: float = PARAMETERS.level_within

    @property
    def probability(self) -> dict[Direction, float]:
        """Of each direction; they sum to the probability that both notes were sung."""
        return {Direction.UP: self.up, Direction.DOWN: self.down, Direction.LEVEL: self.level}


class Call(NamedTuple):
    """A verdict, the direction that was heard (None where it cannot be told), and how sure."""

    verdict: Verdict
    heard: Direction | None
    sure: float


DOUBT = Call(Verdict.UNSURE, None, 0.5)


def normal_cdf(x: float) -> float:
    """Cumulative distribution of the standard normal law."""
    return 0.5 * math.erfc(-x / math.sqrt(2))


def directions_of(posterior: F, sung: F, edge: float) -> tuple[float, float, float]:
    """(up, level, down): what an interval posterior gives to each direction. sung: its intervals, semitones."""
    return (float(posterior[sung > edge].sum()), float(posterior[np.abs(sung) <= edge].sum()),
            float(posterior[sung < -edge].sum()))


def weigh(interval: float, posterior: F, sung: F, near: NDArray[np.bool_], error: float, seconds: float,
          edge: float) -> Evidence:
    """Evidence of a measured interval whose error is normal with the deviation `error` (semitones).

    What of the posterior lies near the interval is weighed by it; the rest counts by its own direction.
    """
    placed = float(posterior[near].sum())
    above, below = normal_cdf((interval - edge) / error), normal_cdf((-interval - edge) / error)
    up, level, down = directions_of(np.where(near, 0.0, posterior), sung, edge)
    return Evidence(interval, placed * above + up, placed * (1 - above - below) + level, placed * below + down, placed,
                    seconds, error=error, edge=edge)


def interval_error(steady: Steady, i: int, params: MatchParameters) -> float:
    """Standard deviation (semitones) of the interval measured between the steady parts of notes i and i + 1."""
    return math.hypot(*(math.hypot(params.pitch_error, params.spread_error * steady.spread[k]
                                   / math.sqrt(max(1.0, steady.seconds[k] / params.independent_s))) for k in (i, i + 1)))


def tracker_fault(steady: Steady, off: tuple[float, float], i: int, bare: bool, params: MatchParameters) -> bool:
    """Whether one of the notes i and i + 1 lies where a tracker errs. off: from the singer's key, semitones."""
    if not bare and any(abs(off[k]) > params.other_octave and steady.octave_unclear[i + k] > params.octave_unclear
                        for k in (0, 1)):
        return True
    tracked = [off[k] + 12 * steady.octave_off[i + k] for k in (0, 1)]
    faults = params.tracker_faults_bare if bare else params.tracker_faults
    return any(abs(abs(x) - fault) < params.fault_within for x in (*off, *tracked) for fault in faults)


def octave_slip(steady: Steady, written: F, i: int, params: MatchParameters) -> bool:
    """Whether the sung pitch leaps by an octave in or beside the move from note i to i + 1 where none is written.

    A tracker that slips in mid-note parts that note: its halves are taken for two notes, and a repeated note before or
    after it for one, so that a neighbouring move seems to go another way.
    """
    for k in range(max(0, i - 1), min(len(written) - 1, i + 2)):
        leap = abs(float(steady.midi[k + 1] - steady.midi[k]))
        if abs(leap - 12.0) < params.slip_within and abs(written[k + 1] - written[k]) < params.other_octave:
            return True
    return False


def move_evidence(aligned: Alignment, steady: Steady, key: F, written: F, i: int, bare: bool = False,
                  params: MatchParameters = PARAMETERS) -> Evidence:
    """Evidence for the move from note i to i + 1 (counted from 0).

    key: sung minus written, locally, N. bare: the track has no level and an unknown tracker.
    """
    posterior = aligned.intervals[i]
    p = len(aligned.grid)
    sung = np.asarray(np.arange(-(p - 1), p) * params.cell, dtype=np.float64)
    interval = float(steady.midi[i + 1] - steady.midi[i])
    edge = params.level_within_bare_step if bare and abs(written[i + 1] - written[i]) == 1 else params.level_within
    if math.isnan(interval):
        up, level, down = directions_of(posterior, sung, edge)
        return Evidence(None, up, level, down, 0.0, 0.0, True)
    error = interval_error(steady, i, params)
    seconds = float(min(steady.seconds[i], steady.seconds[i + 1]))
    near = np.abs(sung - interval) <= params.supports_within
    level = np.diff(written) == 0
    repeated = bool(level[i] and level[max(0, i - 1):i + 2].sum() > 1)
    found = replace(weigh(interval, posterior, sung, near, error, seconds, edge), repeated=repeated)
    first, second = (float(steady.midi[k] - written[k] - key[k]) for k in (i, i + 1))
    if not tracker_fault(steady, (first, second), i, bare, params):
        return replace(found, fault=True, bare=bare) if octave_slip(steady, written, i, params) else found
    octaves = 12 * (round(second / 12) - round(first / 12))
    folded = weigh(interval - octaves, posterior, sung, near, error, seconds, edge) if octaves else None
    return replace(found, fault=True, folded=folded, bare=bare)


def evidence_row(e: Evidence, wanted: Direction, params: MatchParameters = PARAMETERS) -> F:
    """What the probability of a right move rests on: 5 numbers, of which the weights are `params.verdict_weights`.

    How far beyond the edge the interval lies, with the tune positive (semitones); log odds of the wanted direction;
    log of what is not placed elsewhere; shortness, signed as the first; 1. e.interval is not None.
    """
    assert e.interval is not None
    good = e.probability[wanted]
    bad = sum(e.probability.values()) - good
    beyond = {Direction.UP: e.interval - e.edge, Direction.DOWN: -e.interval - e.edge,
              Direction.LEVEL: e.edge - abs(e.interval)}[wanted]
    least = params.least_probability
    odds = math.log(min(max(good, least), 1 - least) / min(max(bad, least), 1 - least))
    misplaced = math.log(1 + least - min(e.placed, 1 - least))
    short = math.copysign(math.exp(-e.seconds / params.short_s), beyond)
    return np.array([min(max(beyond, params.lean_range[0]), params.lean_range[1]), odds, misplaced, short, 1.0])


def probability_right(e: Evidence, wanted: Direction, params: MatchParameters = PARAMETERS) -> float:
    """Probability that a move went as wanted."""
    return 1 / (1 + math.exp(-float(np.dot(params.verdict_weights, evidence_row(e, wanted, params)))))


def call(e: Evidence, wanted: Direction, params: MatchParameters = PARAMETERS) -> Call:
    """The verdict of one move: the one rule that makes it."""
    if e.interval is None:
        return DOUBT
    as_wanted = direction_of(e.interval, e.edge) == wanted
    if e.fault and not as_wanted:
        return _call_of_fault(e, wanted, params)
    if e.fault and not e.bare and e.folded is not None and (
            direction_of(e.folded.interval or 0.0, e.edge) != wanted):
        return DOUBT
    right = probability_right(e, wanted, params)
    if right >= params.right_threshold and evidence_row(e, wanted, params)[0] >= -params.leeway:
        return Call(Verdict.RIGHT, wanted, right)
    others = {k: v for k, v in e.probability.items() if k != wanted}
    clear = e.seconds >= params.short_s and evidence_row(e, wanted, params)[0] <= -params.clear_by
    needed = params.wrong_threshold if clear else max(params.wrong_threshold, params.wrong_threshold_unclear)
    needed = max(needed, params.wrong_threshold_repeated) if e.repeated else needed
    if 1 - right >= needed and not as_wanted:
        return Call(Verdict.WRONG, max(others, key=lambda k: others[k]), 1 - right)
    heard = max(e.probability, key=lambda k: e.probability[k])
    return Call(Verdict.UNSURE, None if e.probability[heard] < params.right_threshold else heard, max(right, 1 - right))


def _call_of_fault(e: Evidence, wanted: Direction, params: MatchParameters) -> Call:
    """A move the other way that lies where trackers err: doubt, or right where only a bare track's octave is off.

    Slips of an octave are common in tracks of unknown make; in our own they are rare, so there it stays doubt.
    """
    if e.bare and e.folded is not None:
        folded = probability_right(e.folded, wanted, params)
        if folded >= params.right_threshold:
            return Call(Verdict.RIGHT, wanted, min(folded, params.folded_confidence))
    return DOUBT
