"""Whether the line is in the take at all: the odds of the finder weighed with how well the match came out."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.attempts import Stretch
from companion.match.closeness import closeness, take_features
from companion.match.model import HeardNote, Move, Presence, Verdict
from companion.match.singing import frame_odds

F64 = NDArray[np.float64]

#: Logarithmic odds that the line was sung: see `presence_row`. A logistic regression on the takes of
#: `tests/benchmarks/everyday.py`, set "fit", seed 41, both kinds of take (with the line and without) weighing the same.
WEIGHTS = (1.24, -0.32, 2.59, 1.93, -0.50, -2.83, -0.16, -0.14, 2.44, -4.21)
PRESENT = -0.5  # from here on the moves are judged
BEGUN = -1.1  # the same where the line's beginning, all right so far, is all that was sung
ALONE = -0.9  # the same where nothing else was sung
ALL_SINGING = 0.9
ABSENT = -1.7  # below, the line is said not to be there; between the two nothing is said of it
FEWEST = 5  # a line of fewer notes is found by chance in many others: it is never said to be absent
LEAST_S = 1.0  # seconds of voice: of less it is not said that it was another tune
TALK_ODDS = -1.6  # mean odds of singing in what would be judged: below, it is talk


def sung_odds(track: PitchTrack) -> float:
    """The mean logarithmic odds of singing against talk over the voiced frames of a take."""
    voiced = track.f0_hz > 0
    return float(frame_odds(track)[voiced].mean()) if voiced.any() else 0.0


def presence_row(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int, odds: float) -> F64:
    """What the odds rest on, 10 numbers: the finder's odds and the same for each note; closeness; right and wrong moves
    (shares, weighed by the root of their number); rhythm; share of notes sung; odds of singing; share of the line; 1.

    notes, moves: of the stretch alone. size: notes of the whole line. odds: `sung_odds` of the stretch.
    """
    count = stretch.last - stretch.first + 1
    weight = math.sqrt(max(1, len(moves))) / 2
    shares = [sum(m.verdict == v for m in moves) / max(1, len(moves)) * weight for v in (Verdict.RIGHT, Verdict.WRONG)]
    return np.array([min(stretch.odds, 20.0) / 5, min(stretch.odds / count, 3.0), closeness(notes), *shares,
                     take_features(notes)[3], sum(n.sung for n in notes) / count, odds / 2, count / size, 1.0])


def presence_odds(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int,
                  track: PitchTrack) -> float:
    """Logarithmic odds that a line of `size` notes was sung, of whose notes those of the stretch were matched."""
    return float(np.dot(WEIGHTS, presence_row(stretch, notes, moves, size, sung_odds(track))))


def presence(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int,
             track: PitchTrack) -> Presence:
    """Whether a line of `size` notes was sung in the stretch of a take, of which `track` is the part judged."""
    odds = sung_odds(track)
    if odds < TALK_ODDS:
        return Presence.ABSENT
    if size < FEWEST:
        return Presence.PRESENT
    value = presence_odds(stretch, notes, moves, size, track)
    begun = stretch.first == 0 and stretch.share >= ALL_SINGING and not any(m.verdict == Verdict.WRONG for m in moves)
    alone = stretch.share >= ALL_SINGING and (stretch.first, stretch.last) == (0, size - 1)
    if value >= (BEGUN if begun else ALONE if alone else PRESENT):
        return Presence.PRESENT
    voice_s = float(np.count_nonzero(track.f0_hz > 0)) * track.hop_s
    return Presence.ABSENT if value < ABSENT and voice_s >= LEAST_S else Presence.DOUBTFUL
