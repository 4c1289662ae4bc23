"""Whether the line is in the take at all: the odds of the finder weighed with how well the match came out.

What speaks for the line beside the finder: each sung interval, likelier by the written one or by what is sung in any
tune; each length, likelier by the written one in the singer's own pace or by any rhythm; how much of the voice lies at
the pitch of a note that was found; moves and closeness as judged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.match.attempts import Stretch
from companion.match.closeness import closeness_of_notes, take_features
from companion.match.model import HeardNote, Move, Presence, Verdict
from companion.match.singing import frame_odds

F64 = NDArray[np.float64]

#: Logarithmic odds that the line was sung, for the numbers of `presence_row`, fitted by `tests/benchmarks/presence_fit.py`.
WEIGHTS = (
    1.85,  # odds of the finder, a fifth of the nats, at most 4
    -2.00,  # the same for each note
    1.37,  # closeness of the notes
    0.79,  # share of moves that are right, times half the root of their number
    -0.41,  # share of those that are not, likewise
    -2.45,  # rhythm: spread of sung against written lengths
    1.46,  # share of the notes sung, from the first to the last of them
    4.12,  # the same of the whole line
    2.70,  # gain of the intervals, a fifth of the nats
    -0.40,  # the same, of each on average
    0.47,  # of those that speak against the line, a third of the nats
    0.89,  # gain of the lengths, a third of the nats
    1.53,  # the same, of each on average
    5.07,  # share of the voice in the stretch that is explained
    1.67,  # share of all singing that lies in the stretch
    0.64,  # whether it was begun and not sung to its end, and nothing else was sung
    1.67,  # the same, times how nearly all of the voice is explained
    2.52,  # ... times how few notes were sung
    2.21,  # whether it was begun late and sung to its end
    2.34,  # of the whole line, where nothing else was sung: how few notes were sung, times how nearly all is explained
    0.53,  # of any other part: how few notes were sung
    -16.18)
FEW = 6  # notes: fewer say little
MOST_EXPLAINED = 0.8  # of another tune hardly more than this is explained by the beginning of the line
PRESENT = -0.7  # from here on the moves are judged
PART_PRESENT = 1.2  # the same of a part of the line, where other singing is in the take
ALL_SINGING = 0.9
ABSENT = -3.0  # below, the line is said not to be there; between the two nothing is said of it
MEAN_GAIN, AGAINST = 9, -0.3  # place in `presence_row`, and nats: intervals that are so much likelier in any other tune ...
OTHER_PITCHES = -1.0  # ... leave it open at most whether it is this line in its rhythm
SUPPORT = 2.5  # nats for a part of a line, about what two right steps say, without which none of its moves is wrong
LEAST_S = 1.0  # seconds of voice: of less it is not said that it was another tune
TALK_ODDS = -1.6  # mean odds of singing in what would be judged: below, it is talk ...
QUICK = 1.5  # ... but for a quick line, short note for short note, which looks like talk and is this line at such odds;
# from `ABSENT` to these odds nothing is said of it

# The laws of intervals (semitones) and of lengths (logarithms), Laplace: those of the line have a spread about the
# written value, of which a share is left for anything; those of any tune are broad. Choices; the weights are fitted.
SHRINK = ((1.0, 0.6), (0.85, 0.25), (0.68, 0.15))  # as in `companion.match.align`
WRITTEN_SPREAD, WRITTEN_SPREAD_PER, ANY_INTERVAL, ANY_SPREAD = 0.35, 0.05, 0.2, 8.0
LEVEL_SHARE, LEVEL_SPREAD, FREE_SPREAD = 0.25, 0.35, 3.5  # of any tune: repeated notes, and the others
PACE_SPREAD, ANY_LENGTH, LENGTH_SPREAD, FREE_LENGTH = 0.15, 0.15, 0.8, 0.45
ONE_PITCH, ONE_SOUND_S = 0.5, 0.03  # semitones and seconds between two notes, within which they may be one
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
    """(of the intervals, of the lengths): nats for the line in each pair of sung notes that follow each other.

    Two notes on one pitch without any silence between them say nothing: they may be one.
    """
    sung = [n for n in notes if n.midi is not None]
    intervals = [0.0 if _may_be_one(a, b) else interval_gain((b.midi or 0.0) - (a.midi or 0.0), b.written.midi - a.written.midi)
                 for a, b in pairwise(sung)]
    taken = [(max((b.onset_s or 0.0) - (a.onset_s or 0.0), 0.03), float(b.written.onset_quarters - a.written.onset_quarters))
             for a, b in pairwise(notes) if a.midi is not None and b.midi is not None]
    taken = [(s, q) for s, q in taken if q > 0]
    lengths = length_gains(*zip(*taken, strict=True)) if len(taken) > 1 else []
    return intervals, lengths


def _may_be_one(a: HeardNote, b: HeardNote) -> bool:
    """Whether two notes that are written on one pitch, and sung on one, follow each other without any silence."""
    between = (b.onset_s or 0.0) - (a.onset_s or 0.0) - (a.duration_s or 0.0)
    return (a.written.midi == b.written.midi and abs((b.midi or 0.0) - (a.midi or 0.0)) < ONE_PITCH and between < ONE_SOUND_S)


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


class _Part(NamedTuple):
    """What was sung of a line: places (from 0) of its first and last note sung, and the notes and moves between them.

    Of notes left out those are not counted that stand beside a sung one of the same pitch: whoever holds that one for two
    has left out nothing that could be heard. held: how many these are.
    """

    first: int
    last: int
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    held: int


def sung_part(first: int, notes: Sequence[HeardNote], moves: Sequence[Move]) -> _Part | None:
    """Of notes from the place `first` (from 0) of a line on, and the moves between them, what was sung; None if nothing."""
    sung = [i for i, n in enumerate(notes) if n.sung]
    if not sung:
        return None
    a, b = sung[0], sung[-1]
    held = {i for i in range(a + 1, b) if not notes[i].sung and any(
        notes[k].sung and notes[k].written.midi == notes[i].written.midi for k in (i - 1, i + 1))}
    return _Part(first + a, first + b, tuple(notes[i] for i in range(a, b + 1) if i not in held),
                 tuple(m for i, m in enumerate(moves[a:b], a) if i not in held and i + 1 not in held), len(held))


def presence_row(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int, track: PitchTrack) -> F64:
    """What the odds rest on, one number for each of `WEIGHTS`, in their order.

    notes, moves: of the stretch alone. size: notes of the whole line. track: what would be judged.
    """
    part = sung_part(stretch.first, notes, moves)
    if part is None:
        return np.append(np.zeros(len(WEIGHTS) - 1), 1.0)
    count, sung = len(part.notes), sum(n.sung for n in part.notes)
    weight = math.sqrt(max(1, len(part.moves))) / 2
    right, wrong = (sum(m.verdict == v for m in part.moves) / max(1, len(part.moves)) * weight
                    for v in (Verdict.RIGHT, Verdict.WRONG))
    intervals, lengths = note_gains(part.notes)
    to_end = part.last == size - 1
    alone = stretch.share >= ALL_SINGING
    begun, whole = (float(part.first == 0 and to_end == ended and alone) for ended in (False, True))
    few = max(0, FEW - sung) / 3
    voice = explained(notes, track)
    only = max(0.0, voice * stretch.share - MOST_EXPLAINED) / (1 - MOST_EXPLAINED)
    return np.array([
        min(stretch.odds, 20.0) / 5, min(max(stretch.odds / count, -3.0), 3.0), closeness_of_notes(part.notes), right, wrong,
        take_features(part.notes)[3], sung / count, sung / (size - part.held),
        sum(intervals) / 5, sum(intervals) / max(1, len(intervals)), sum(min(0.0, g) for g in intervals) / 3,
        sum(lengths) / 3, sum(lengths) / max(1, len(lengths)), voice, stretch.share,
        begun, begun * only, begun * only * few, float(part.first > 0 and to_end), whole * only * few,
        (1 - begun - whole) * few, 1.0])


def presence_odds(stretch: Stretch, notes: Sequence[HeardNote], moves: Sequence[Move], size: int,
                  track: PitchTrack) -> float:
    """Logarithmic odds that a line of `size` notes was sung, of whose notes those of the stretch were matched.

    Where the sung intervals speak against the line, no rhythm makes it the line.
    """
    row = presence_row(stretch, notes, moves, size, track)
    odds = float(np.dot(WEIGHTS, row))
    return min(odds, OTHER_PITCHES) if row[MEAN_GAIN] < AGAINST else odds


def supported(first: int, notes: Sequence[HeardNote], size: int) -> bool:
    """Whether the intervals alone speak for the notes from the place `first` (from 0) of a line of `size` notes.

    Part of another tune is like some part of this one with a wrong move: the more of them there are that may have been sung,
    the more the intervals must say. A singer who begins elsewhere than at the beginning might do so in any place.
    """
    part = sung_part(first, notes, ())
    if part is None:
        return False
    places = size - (part.last - part.first) if part.first else 1
    return sum(note_gains(part.notes)[0]) - math.log(places) >= SUPPORT


def presence(value: float, stretch: Stretch, size: int, track: PitchTrack, weighed_from: int) -> Presence:
    """Whether a line of `size` notes was sung in the stretch of a take, of which `track` is the part judged.

    value: its `presence_odds`. weighed_from: of how many notes a line must be for that to be asked.
    """
    talk = sung_odds(track) < TALK_ODDS
    if size < weighed_from:
        return Presence.ABSENT if talk else Presence.PRESENT
    if talk and value < QUICK:
        return Presence.ABSENT if value < ABSENT else Presence.DOUBTFUL
    part = stretch.share < ALL_SINGING and (stretch.first, stretch.last) != (0, size - 1)
    if value >= (PART_PRESENT if part else PRESENT):
        return Presence.PRESENT
    voice_s = float(np.count_nonzero(track.f0_hz > 0)) * track.hop_s
    return Presence.ABSENT if value < ABSENT and voice_s >= LEAST_S else Presence.DOUBTFUL
