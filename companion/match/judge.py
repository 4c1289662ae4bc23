"""The verdict of each move, from the evidence for up, level and down.

Two things must hold before a move is called: that both notes are rightly placed in the take, and that the
interval between their steady parts lies clearly on one side of the boundary. A move of up to half a semitone
is level (half the step of equal temperament), and near that edge nothing is certain. What speaks for a fault
of the tracker's and not the child's (an octave, a fifth above it) is doubt, never "not that way".

How sure is a calibrated probability: a logistic regression on the evidence, fitted on synthesised singers of
two makers and reported on others (`tests/benchmarks/singers.py`, which fits it anew with `--fit`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.match.align import CELL, Alignment
from companion.match.model import Verdict
from companion.match.steady import Steady
from companion.tune.model import Direction, direction_of

F = NDArray[np.float64]

EDGE = 0.5  # semitones: half of equal temperament's step parts "level" from "up" and "down"
NEAR = 1.2  # semitones: an alignment supports a measured interval when it lies this near
PITCH_BLUR = 0.1  # semitones: what a steady pitch is uncertain by at best
SHORT_S = 0.1  # seconds: a note of this length has hardly a steady part
LEAN_CAP = (-1.5, 1.0)  # semitones beyond the edge, against and with the tune, that count
LEAST_CHANCE = 1e-3  # odds are taken no further than this
#: For lean, log odds, log of what is misplaced, shortness, and the constant (see `evidence_row`).
WEIGHTS = (0.83, 0.79, -0.36, -1.88, -0.33)
#: Offsets from the take's own key (semitones) at which a tracker errs and a child hardly ever does:
#: octave, octave and fifth, two octaves; a fifth too, in a track whose tracker is not known.
TRACKER_FAULTS = (12.0, 19.0, 24.0)
BARE_FAULTS = (7.0, *TRACKER_FAULTS)
FAULT_WITHIN = 1.0  # semitones
#: A note this far from the singer's key is nearer to it in another octave (half of one); it is doubted where
#: the sound itself leaves at least this share of the probability to that octave.
OTHER_OCTAVE = 6.0  # semitones
OCTAVE_UNCLEAR = 0.22
SAY_RIGHT = 0.8  # probability needed to say "right"
SAY_WRONG = 0.92  # and for "not that way": it costs more, so it needs more
LEEWAY = 0.1  # semitones short of the edge at which "right" may still be said, in the child's favour
FOLDED_SURE = 0.9  # no more than this is claimed for a move seen only with an octave folded away


@dataclass(frozen=True)
class Evidence:
    """For one move: probabilities of what was sung, and doubts.

    interval: between the steady parts, semitones, None where a note has none. placed: probability that the
    alignment supports it. seconds: of voice in the shorter note. fault: an end lies where trackers err.
    folded: the same evidence with octaves folded away, where that changes it. bare: of an unknown tracker.
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


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def move_evidence(aligned: Alignment, steady: Steady, key: F, written: F, i: int, bare: bool = False) -> Evidence:
    """Evidence for the move from note i to i + 1 (counted from 0).

    key: sung minus written, locally, N. bare: the track has no level and an unknown tracker.
    """
    q = aligned.intervals[i]
    p = len(aligned.grid)
    sung = np.arange(-(p - 1), p) * CELL
    interval = steady.midi[i + 1] - steady.midi[i]
    if math.isnan(interval):
        up, down = float(q[sung > EDGE].sum()), float(q[sung < -EDGE].sum())
        return Evidence(None, up, float(q[np.abs(sung) <= EDGE].sum()), down, 0.0, 0.0, True)
    blur = math.hypot(
        *(math.hypot(PITCH_BLUR, 0.6 * steady.spread[k] / math.sqrt(max(1.0, steady.seconds[k] / 0.06)))
          for k in (i, i + 1)))
    seconds = float(min(steady.seconds[i], steady.seconds[i + 1]))

    def weigh(interval: float, near: NDArray[np.bool_]) -> Evidence:
        placed = float(q[near].sum())
        up = placed * _phi((interval - EDGE) / blur) + float(q[~near & (sung > EDGE)].sum())
        down = placed * _phi((-interval - EDGE) / blur) + float(q[~near & (sung < -EDGE)].sum())
        level = placed * (1 - _phi((interval - EDGE) / blur) - _phi((-interval - EDGE) / blur))
        level += float(q[~near & (np.abs(sung) <= EDGE)].sum())
        return Evidence(interval, up, level, down, placed, seconds)

    near = np.abs(sung - interval) <= NEAR
    found = weigh(float(interval), near)
    off = [steady.midi[k] - written[k] - key[k] for k in (i, i + 1)]
    tracked = [off[0] + 12 * steady.octave_off[i], off[1] + 12 * steady.octave_off[i + 1]]
    faults = BARE_FAULTS if bare else TRACKER_FAULTS
    unclear = not bare and any(abs(off[k]) > OTHER_OCTAVE and steady.octave_share[i + k] > OCTAVE_UNCLEAR for k in (0, 1))
    if not unclear and not any(abs(abs(x) - fault) < FAULT_WITHIN for x in (*off, *tracked) for fault in faults):
        return found
    octaves = 12 * (round(off[1] / 12) - round(off[0] / 12))
    folded = weigh(float(interval) - octaves, near) if octaves else None
    return replace(found, fault=True, folded=folded, bare=bare)


def evidence_row(e: Evidence, wanted: Direction) -> F:
    """What the probability of a right move rests on: 5 numbers (see WEIGHTS). e.interval is not None."""
    assert e.interval is not None
    chances = {Direction.UP: e.up, Direction.DOWN: e.down, Direction.LEVEL: e.level}
    good = chances[wanted]
    bad = sum(chances.values()) - good
    beyond = {Direction.UP: e.interval - EDGE, Direction.DOWN: -e.interval - EDGE,
              Direction.LEVEL: EDGE - abs(e.interval)}[wanted]
    odds = math.log(min(max(good, LEAST_CHANCE), 1 - LEAST_CHANCE) / min(max(bad, LEAST_CHANCE), 1 - LEAST_CHANCE))
    misplaced = math.log(1 + LEAST_CHANCE - min(e.placed, 1 - LEAST_CHANCE))
    short = math.copysign(math.exp(-e.seconds / SHORT_S), beyond)
    return np.array([min(max(beyond, LEAN_CAP[0]), LEAN_CAP[1]), odds, misplaced, short, 1.0])


def chance_right(e: Evidence, wanted: Direction) -> float:
    """Probability that a move went as wanted."""
    return 1 / (1 + math.exp(-float(np.dot(WEIGHTS, evidence_row(e, wanted)))))


def call(e: Evidence, wanted: Direction) -> tuple[Verdict, Direction | None, float]:
    """(verdict, heard direction, how sure) of one move."""
    if e.interval is None:
        return Verdict.UNSURE, None, 0.5
    chances = {Direction.UP: e.up, Direction.DOWN: e.down, Direction.LEVEL: e.level}
    heard = max(chances, key=lambda k: chances[k])
    right = chance_right(e, wanted)
    if e.fault and direction_of(e.interval) != wanted:
        # Slips of an octave are common in tracks of unknown make; in our own they are rare, so it stays doubt.
        if e.bare and e.folded is not None and (folded := chance_right(e.folded, wanted)) >= SAY_RIGHT:
            return Verdict.RIGHT, wanted, min(folded, FOLDED_SURE)
        return Verdict.UNSURE, None, 0.5
    if e.fault and not e.bare and e.folded is not None and direction_of(e.folded.interval or 0.0) != wanted:
        return Verdict.UNSURE, None, 0.5
    if right >= SAY_RIGHT and evidence_row(e, wanted)[0] >= -LEEWAY:
        return Verdict.RIGHT, wanted, right
    others = {k: v for k, v in chances.items() if k != wanted}
    if 1 - right >= SAY_WRONG and direction_of(e.interval) != wanted:
        return Verdict.WRONG, max(others, key=lambda k: others[k]), 1 - right
    return Verdict.UNSURE, None if chances[heard] < SAY_RIGHT else heard, max(right, 1 - right)
