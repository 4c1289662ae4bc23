"""How well a whole take matches, 0 to 1, ordered as experts order takes.

Plain features of the notes, of the moves as judged and of what else was sung, weighted by a logistic regression on the
graded takes of the MAST melody set (majority grade 3 or 4 against 1 or 2; `tests/benchmarks/graded.py --fit` makes
the weights anew and reports them with each melody held out). Direction alone says little about a grade; pitch error
carries most of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.match.model import HeardNote, Move, Verdict
from companion.match.parameters import PARAMETERS, MatchParameters

F = NDArray[np.float64]


def take_features(notes: Sequence[HeardNote], params: MatchParameters = PARAMETERS) -> F:
    """Four numbers for a take of N notes, 0 = as written:

    mean and root mean square distance of the notes from the take's own key (semitones, octaves folded,
    capped), mean error of the intervals (semitones, capped), spread of sung against written lengths (log).
    """
    off = np.array([n.midi - n.written.midi if n.midi is not None else np.nan for n in notes])
    sung = ~np.isnan(off)
    if not sung.any():
        return np.array([params.closeness_left_out, params.closeness_left_out, params.closeness_left_out, params.rhythm_cap])
    off = off - 12 * np.round((off - np.nanmedian(off)) / 12)
    off = off - np.nanmedian(off)
    away = np.where(sung, np.minimum(params.closeness_cap, np.abs(off)), params.closeness_left_out)
    steps = np.minimum(params.closeness_cap, np.abs(np.diff(np.where(sung, off, params.closeness_left_out))))
    onset = np.array([n.onset_s if n.onset_s is not None else np.nan for n in notes])[sung]
    beat = np.array([float(n.written.onset_quarters) for n in notes])[sung]
    rhythm = params.rhythm_unknown
    if sung.sum() > 3:
        ratio = np.maximum(np.diff(onset), 0.02) / np.maximum(np.diff(beat), 0.05)
        rhythm = min(params.rhythm_cap, float(np.std(np.log(ratio))))
    return np.array([away.mean(), np.sqrt((away**2).mean()), steps.mean() if len(steps) else 0.0, rhythm])


def closeness_of_notes(notes: Sequence[HeardNote], params: MatchParameters = PARAMETERS) -> float:
    """The same as `closeness` from the notes alone, before the moves are judged."""
    score = params.notes_constant + float(np.dot(params.notes_weights, take_features(notes, params)))
    return round(1.0 / (1.0 + float(np.exp(-score))), 4)


def closeness_features(notes: Sequence[HeardNote], moves: Sequence[Move], explained: float,
                       params: MatchParameters = PARAMETERS) -> F:
    """Six numbers, 0 = as written: the four of `take_features`; the share of the voice that is none of the notes; the
    share of moves that are not right.

    explained: share of the voice at the pitch of the note that was found there (see `companion.match.presence`).
    """
    right = sum(m.verdict is Verdict.RIGHT for m in moves) / len(moves) if moves else 1.0
    return np.append(take_features(notes, params), [1.0 - explained, 1.0 - right])


def closeness(notes: Sequence[HeardNote], moves: Sequence[Move], explained: float,
              params: MatchParameters = PARAMETERS) -> float:
    """How well a take matches its tune: 0 (another tune) to 1 (as written, in the singer's own key)."""
    score = params.closeness_constant + float(np.dot(params.closeness_weights,
                                                     closeness_features(notes, moves, explained, params)))
    return round(1.0 / (1.0 + float(np.exp(-score))), 4)
