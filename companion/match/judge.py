"""The verdict of each move, from the evidence for up, level and down.

Two things must hold before a move is called: that both notes are rightly placed in the take, and that the
interval between their steady parts lies clearly on one side of the boundary. A move of up to half a semitone
is level (half the step of equal temperament), and near that edge nothing is certain. What speaks for a fault
of the tracker's and not the child's (an octave, a fifth above it) is doubt, never "not that way".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from companion.match.align import CELL, Alignment
from companion.match.model import LEVEL, RIGHT, UNSURE, WRONG, direction
from companion.match.steady import Steady

F = NDArray[np.float64]

EDGE = 0.5  # semitones: half of equal temperament's step parts "level" from "up" and "down"
NEAR = 1.2  # semitones: an alignment supports a measured interval when it lies this near
PITCH_BLUR = 0.1  # semitones: what a steady pitch is uncertain by at best
LEEWAY = 0.1  # semitones by which the edge is moved in the child's favour before "not that way"
#: Offsets from the take's own key (semitones) at which a tracker errs and a child hardly ever does:
#: octave, octave and fifth, two octaves.
TRACKER_FAULTS = (12.0, 19.0, 24.0)
SAY_RIGHT = 0.80  # probability needed to say "right"
SAY_WRONG = 0.95  # and for "not that way": it costs more, so it needs more


@dataclass(frozen=True)
class Evidence:
    """For one move: probabilities of what was sung, and doubts."""

    interval: float | None
    up: float
    level: float
    down: float
    placed: float
    doubt: bool


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def move_evidence(aligned: Alignment, steady: Steady, key: F, written: F, i: int) -> Evidence:
    """Evidence for the move from note i to i + 1 (counted from 0). key: sung minus written, locally, N."""
    q = aligned.intervals[i]
    p = len(aligned.grid)
    sung = np.arange(-(p - 1), p) * CELL
    interval = steady.midi[i + 1] - steady.midi[i]
    q_up, q_down = float(q[sung > EDGE].sum()), float(q[sung < -EDGE].sum())
    q_level = float(q[np.abs(sung) <= EDGE].sum())
    if math.isnan(interval):
        return Evidence(None, q_up, q_level, q_down, 0.0, True)
    near = np.abs(sung - interval) <= NEAR
    placed = float(q[near].sum())
    blur = math.hypot(
        *(math.hypot(PITCH_BLUR, 0.6 * steady.spread[k] / math.sqrt(max(1.0, steady.seconds[k] / 0.06)))
          for k in (i, i + 1)))
    up = placed * _phi((interval - EDGE) / blur) + float(q[~near & (sung > EDGE)].sum())
    down = placed * _phi((-interval - EDGE) / blur) + float(q[~near & (sung < -EDGE)].sum())
    level = placed * (1 - _phi((interval - EDGE) / blur) - _phi((-interval - EDGE) / blur))
    level += float(q[~near & (np.abs(sung) <= EDGE)].sum())
    doubt = False
    for k in (i, i + 1):
        away = abs(steady.midi[k] - written[k] - key[k])
        tracked = abs(steady.midi[k] + 12 * steady.octave_off[k] - written[k] - key[k])
        if any(abs(x - fault) < 1.0 for x in (away, tracked) for fault in TRACKER_FAULTS):
            doubt = True
    return Evidence(float(interval), up, level, down, placed, doubt)


def features(e: Evidence, wanted: str) -> F:
    """What the calibrated probability of a move being right rests on (see `calibrate`)."""
    good = {"up": e.up, "down": e.down, "level": e.level}[wanted]
    return np.array([good, 1.0 - e.placed])


def call(e: Evidence, wanted: str) -> tuple[str, str | None, float]:
    """(verdict, heard direction, how sure) of one move."""
    chances = {"up": e.up, "down": e.down, "level": e.level}
    good = chances[wanted]
    if e.interval is None:
        return UNSURE, None, 0.5
    heard = max(chances, key=lambda k: chances[k])
    if good >= SAY_RIGHT and not (e.doubt and direction(e.interval) != wanted):
        return RIGHT, wanted, good
    bad = sum(chances.values()) - good
    lean = e.interval if wanted == "up" else -e.interval if wanted == "down" else EDGE - abs(e.interval)
    clear = lean < (EDGE if wanted != LEVEL else 0.0) - LEEWAY
    if bad >= SAY_WRONG and not e.doubt and clear:
        return WRONG, heard, bad
    return UNSURE, None if chances[heard] < SAY_RIGHT else heard, max(good, bad)
