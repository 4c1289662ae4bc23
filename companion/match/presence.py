"""Whether the line is in the take at all: the odds of the finder weighed with how well the match came out.

What speaks for the line beside the finder: each sung interval, likelier by the written one or by what is sung in any
tune; each length, likelier by the written one in the singer's own pace or by any rhythm; how much of the voice lies at
the pitch of a note that was found; moves and closeness as judged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.attempts import Stretch
from companion.match.closeness import closeness_of_notes, take_features
from companion.match.model import HeardNote, Move, Presence, Verdict
from companion.match.singing import frame_odds

F64 = NDArray[np.float64]

#: Logarithmic odds that the line was sung: see `presence_row`. A logistic regression on the takes of
#: `tests/benchmarks/everyday.py`, set "fit", seed 41, and of `singers.py`, seeds 11 to 14, with their own lines and with
#: others'; of each take the stretch that is chosen by these odds. The two thresholds are those at which, each fifth of
#: the takes held out, 1.4 % of the lines lie below the first and 0.5 % below the second, and 4 % of other tunes above.
WEIGHTS = (0.38, 0.25, 2.51, 0.79, -1.15, -4.36, 1.29, 7.81, 0.49, 1.04, 0.27, 1.37, 3.44, 1.48, -13.11)
PRESENT = -0.7  # from here on the moves are judged
PART_PRESENT = 1.2  # the same of a part of the line, where other singing is in the take
ALL_SINGING = 0.9
ABSENT = -1.4  # below, the line is said not to be there; between the two nothing is said of it
MEAN_GAIN, AGAINST = 9, -0.3  # place in `presence_row`, and nats: intervals that are so much likelier in any other tune ...
OTHER_PITCHES = -1.0  # ... leave it open at most whether it is this line in its rhythm
FEWEST = 5  # a line of fewer notes is found by chance in many others: it is never said to be absent
LEAST_S = 1.0  # seconds of voice: of less it is not said that it was another tune
TALK_ODDS = -1.6  # mean odds of singing in what would be judged: below, it is talk ...
QUICK = 2.5  # ... but for a quick line, short note for short note, which looks like talk and is this line at such odds;
# from `ABSENT` to these odds nothing is said of it

# The laws of intervals (semitones) and of lengths (logarithms), Laplace: those of the line have a spread about the
# written value, of which a share is left for anything; those of any tune are broad. Choices; the weights are fitted.
SHRINK = ((1.0, 0.6), (0.85, 0.25), (0.68, 0.15))  # as in `companion.match.align`
WRITTEN_SPREAD, WRITTEN_SPREAD_PER, ANY_INTERVAL, ANY_SPREAD = 0.35, 0.05, 0.2, 8.0
LEVEL_SHARE, LEVEL_SPREAD, FREE_SPREAD = 0.25, 0.35, 3.5  # of any tune: repeated notes, and the others
PACE_SPREAD, ANY_LENGTH, LENGTH_SPREAD, FREE_LENGTH = 0.15, 0.15, 0.8, 0.45
AT_PITCH = 0.8  # semitones off its note within which a voice is explained by it


def _laplace(x: float, spread: float) -> float:
    return math.exp(-abs(x) / spread) / (2 * spread)


def interval_gain(sung: float, written: float) -> float:
    """Nats by which a sung interval is likelier as the written one (both in semitones) than in any tune."""
    spread = WRITTEN_SPREAD + WRITTEN_SPREAD_PER * abs(written)
    near = sum(w * _laplace(sung - f * written, spread) for f, w in SHRINK)
    free = LEVEL_SHARE * _laplace(sung, LEVEL_SPREAD) + (1 - LEVEL_SHARE) * _laplace(sung, FREE_SPREAD)
    return math.log(((1 - ANY_INTERVAL) * near + ANY_INTERVAL * _laplace(sung, ANY_SPREAD)) / free)


def length_gains(taken_s: Sequence[float], quarters: Sequence[float]) -> list[float]:
    """Nats by which each length (s, of n) is likelier as written (quarters, n) at their median pace than by any rhythm."""
    pace = np.log(np.array(taken_s) / np.array(quarters))
    free = np.log(np.array(taken_s))
    return [math.log((1 - ANY_LENGTH) * _laplace(x, PACE_SPREAD) + ANY_LENGTH * _laplace(x, LENGTH_SPREAD))
            - math.log(_laplace(y, FREE_LENGTH)) for x, y in zip(pace - np.median(pace), free - np.median(free), strict=True)]


def note_gains(notes: Sequence[HeardNote]) -> tuple[list[float], list[float]]:
    """(of the intervals, of the lengths): nats for the line in each pair of sung notes that follow each other."""
    sung = [n for n in notes if n.midi is not None]
    intervals = [interval_gain((b.midi or 0.0) - (a.midi or 0.0), b.written.midi - a.written.midi) for a, b in pairwise(sung)]
    taken = [(max((b.onset_s or 0.0) - (a.onset_s or 0.0), 0.03), float(b.written.onset_quarters - a.written.onset_quarters))
             for a, b in pairwise(notes) if a.midi is not None and b.midi is not None]
    taken = [(s, q) for s, q in taken if q > 0]
    lengths = length_gains(*zip(*taken, strict=True)) if len(taken) > 1 else []
    return intervals, lengths


def explained(notes: Sequence[HeardNote], track: PitchTrack) -> float:
    """The share of the voice of a track that lies at the pitch of the note that was found there, octaves folded."""
    midi, weight = track.midi, np.where(track.f0_hz > 0, np.maximum(track.sure, 0.1), 0.0)
    good = 0.0
    for n in notes:
        if n.midi is not None and n.onset_s is not None and n.duration_s is not None:
            here = (track.time_s >= n.onset_s) & (track.time_s <= n.onset_s + n.duration_s) & (track.f0_hz > 0)
            off = np.abs(midi[here] - n.midi)
            good += float(weight[here][np.minimum(off, np.abs(off - 12)) <= AT_PITCH].sum())
    return good / max(float(weight.sum()), 1e-6)


def sung_odds(track: PitchTrack) -> float:
    """The mean logarithmic odds of singing against talk over the voiced frames of a take."""
    voiced = track.f0_hz > 0
    return float(frame_odds(track)[voiced].mean()) if voiced.any() else 0.0


def presence_row(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int, track: PitchTrack) -> F64:
    """What the odds rest on, 15 numbers.

    The finder's odds and the same for each note; closeness; right and wrong moves (shares, weighed by the root of their
    number); rhythm; share of notes sung; share of the line; gains of intervals,
    whole and each, and of lengths; share of all voice that is explained; whether only the line's beginning was sung; 1.
    notes, moves: of the stretch alone. size: notes of the whole line. track: what would be judged.
    """
    count = stretch.last - stretch.first + 1
    weight = math.sqrt(max(1, len(moves))) / 2
    shares = [sum(m.verdict == v for m in moves) / max(1, len(moves)) * weight for v in (Verdict.RIGHT, Verdict.WRONG)]
    intervals, lengths = note_gains(notes)
    begun = stretch.first == 0 and count < size and stretch.share >= ALL_SINGING
    return np.array([
        min(stretch.odds, 20.0) / 5, min(stretch.odds / count, 3.0), closeness_of_notes(notes), *shares, take_features(notes)[3],
        sum(n.sung for n in notes) / count, count / size, sum(intervals) / 5,
        sum(intervals) / max(1, len(intervals)), sum(lengths) / 3, sum(lengths) / max(1, len(lengths)),
        explained(notes, track) * stretch.share, float(begun), 1.0])


def presence_odds(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int,
                  track: PitchTrack) -> float:
    """Logarithmic odds that a line of `size` notes was sung, of whose notes those of the stretch were matched.

    Where the sung intervals speak against the line, no rhythm makes it the line.
    """
    row = presence_row(stretch, notes, moves, size, track)
    odds = float(np.dot(WEIGHTS, row))
    return min(odds, OTHER_PITCHES) if row[MEAN_GAIN] < AGAINST else odds


def presence(value: float, stretch: Stretch, size: int, track: PitchTrack) -> Presence:
    """Whether a line of `size` notes was sung in the stretch of a take, of which `track` is the part judged.

    value: its `presence_odds`.
    """
    talk = sung_odds(track) < TALK_ODDS
    if size < FEWEST:
        return Presence.ABSENT if talk else Presence.PRESENT
    if talk and value < QUICK:
        return Presence.ABSENT if value < ABSENT else Presence.DOUBTFUL
    part = stretch.share < ALL_SINGING and (stretch.first, stretch.last) != (0, size - 1)
    if value >= (PART_PRESENT if part else PRESENT):
        return Presence.PRESENT
    voice_s = float(np.count_nonzero(track.f0_hz > 0)) * track.hop_s
    return Presence.ABSENT if value < ABSENT and voice_s >= LEAST_S else Presence.DOUBTFUL
