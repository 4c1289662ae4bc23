"""How well a whole take matches, 0 to 1, ordered as experts order takes.

Four plain features of the notes, weighted by a logistic regression on the graded takes of the MAST melody
set (majority grade 3 or 4 against 1 or 2; `tests/benchmarks/graded.py --fit` makes the weights anew and
reports them with each melody held out). ScoreDirection alone says little about a grade; pitch error carries it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.match.model import HeardNote

F = NDArray[np.float64]

CAP = 3.0  # semitones: a note farther off is wrong and no more than wrong
LEFT_OUT = 2.0  # semitones that a note left out counts as
RHYTHM_CAP = 1.5  # spread of the logarithm of lengths beyond which it is no rhythm any more
RHYTHM_UNKNOWN = 0.3  # where too few notes were sung to tell
#: Per feature, and the constant; see the module's head.
WEIGHTS = (-1.70, -1.52, -1.87, -4.11)
CONSTANT = 4.62
#: Fixed split: takes at or above are such as experts grade 3 or 4.
SPLIT = 0.63


def take_features(notes: Sequence[HeardNote]) -> F:
    """Four numbers for a take of N notes, 0 = as written:

    mean and root mean square distance of the notes from the take's own key (semitones, octaves folded,
    capped), mean error of the intervals (semitones, capped), spread of sung against written lengths (log).
    """
    off = np.array([n.midi - n.written.midi if n.midi is not None else np.nan for n in notes])
    sung = ~np.isnan(off)
    if not sung.any():
        return np.array([LEFT_OUT, LEFT_OUT, LEFT_OUT, RHYTHM_CAP])
    off = off - 12 * np.round((off - np.nanmedian(off)) / 12)
    off = off - np.nanmedian(off)
    away = np.where(sung, np.minimum(CAP, np.abs(off)), LEFT_OUT)
    steps = np.minimum(CAP, np.abs(np.diff(np.where(sung, off, LEFT_OUT))))
    onset = np.array([n.onset_s if n.onset_s is not None else np.nan for n in notes])[sung]
    beat = np.array([float(n.written.onset_quarters) for n in notes])[sung]
    rhythm = RHYTHM_UNKNOWN
    if sung.sum() > 3:
        ratio = np.maximum(np.diff(onset), 0.02) / np.maximum(np.diff(beat), 0.05)
        rhythm = min(RHYTHM_CAP, float(np.std(np.log(ratio))))
    return np.array([away.mean(), np.sqrt((away**2).mean()), steps.mean() if len(steps) else 0.0, rhythm])


def closeness(notes: Sequence[HeardNote]) -> float:
    """How well a take matches its tune: 0 (another tune) to 1 (as written, in the singer's own key)."""
    score = CONSTANT + float(np.dot(WEIGHTS, take_features(notes)))
    return round(1.0 / (1.0 + float(np.exp(-score))), 4)
