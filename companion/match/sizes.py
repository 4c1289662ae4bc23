"""Beyond the direction: whether each move has its written size and each note its written length.

Untrained singers shrink their intervals (Pfordresher and Brown 2007), drift, and keep a pace of their own: all
three are the singer's and no fault. So a size is held against the written one and against the written one as
the take shrinks it, and a length against the pace of the notes around it. Where the sound does not show, "not sure".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.match.judge import Evidence
from companion.match.model import HeardNote, Length, Move, Size, Verdict
from companion.tune import Direction

F = NDArray[np.float64]


@dataclass(frozen=True)
class SizeParameters:
    """Fitted on `tests/benchmarks/sizes.py`, set "fit", seed 41; figures for others stand in the README there.

    right_within, wrong_from: semitones off the written size (and off it as the take shrinks it). factors: how small and
    large the take's own interval factor may be; the first where there are too few moves to tell. placed: probability
    that both notes lie where they were measured. spread: semitones, steady_s: seconds of voice of a note steady
    enough. drift: semitones of the key a move.

    A length is measured three times: from beginning to beginning, from end to end, and as it sounds against the notes
    around it; the whole is the mean of the last and of the mean of the others. right_times: of the written length, by
    the nearer of the first two; right_whole: by the whole. short_times, long_times: of the whole; short_each, long_each:
    of each. wider: both are wider by this share of the spread of pace and sounding (logarithm). neighbours: notes to
    each side that give the pace; fewest: notes without which there is none. together_times: two notes on one
    pitch that have their length together may be parted at the wrong place.
    """

    right_within: float = 1.0
    wrong_from: float = 1.5
    factors: tuple[float, float] = (0.6, 1.1)
    placed: float = 0.45
    spread: float = 0.6
    steady_s: float = 0.06
    drift: float = 0.3
    right_times: float = 1.3
    right_whole: float = 1.45
    short_times: float = 1.61
    short_each: float = 1.25
    long_times: float = 1.7
    long_each: float = 1.2
    wider: float = 0.25
    neighbours: int = 4
    fewest: int = 3
    together_times: float = 1.35


PARAMETERS = SizeParameters()


def with_sizes(moves: Sequence[Move], evidence: Sequence[Evidence], spread: F, notes: Sequence[HeardNote],
               params: SizeParameters = PARAMETERS) -> tuple[Move, ...]:
    """The n - 1 moves with their sizes. evidence: of each move; spread: of each of the n notes, semitones."""
    drift = _drift(notes, params)
    return tuple(replace(m, size=_size(moves, i, evidence[i], float(np.max(spread[i:i + 2])), drift, params))
                 for i, m in enumerate(moves))


def _drift(notes: Sequence[HeardNote], params: SizeParameters) -> float:
    """Semitones by which the key moves from one note to the next: the median of slopes (Theil and Sen)."""
    sung = [(i, n.midi - n.written.midi) for i, n in enumerate(notes) if n.midi is not None]
    slopes = [(y - x) / (j - i) for a, (i, x) in enumerate(sung) for j, y in sung[a + 1:]]
    return float(np.clip(np.median(slopes), -params.drift, params.drift)) if len(sung) > params.fewest else 0.0


def _size(moves: Sequence[Move], i: int, evidence: Evidence, spread: float, drift: float, params: SizeParameters) -> Size:
    move = moves[i]
    if move.verdict is not Verdict.RIGHT or move.sung_semitones is None:
        return Size.UNSURE
    if move.wanted is Direction.LEVEL:
        return Size.RIGHT
    off = abs(size_off(moves, i, drift, params))
    if off <= params.right_within:
        return Size.RIGHT
    steady = (spread <= params.spread and evidence.seconds >= params.steady_s and evidence.placed >= params.placed
              and not evidence.fault)
    return Size.WRONG if steady and off >= params.wrong_from else Size.UNSURE


def size_off(moves: Sequence[Move], i: int, drift: float, params: SizeParameters = PARAMETERS) -> float:
    """Semitones by which move i is too large (positive) or too small, at the interval factor that suits it best.

    Any factor between 1 and that of the other moves of the take will do. drift: of the key, semitones a move.
    """
    others = [m for k, m in enumerate(moves) if k != i and m.sung_semitones is not None and m.verdict is Verdict.RIGHT
              and m.wanted_semitones]
    # The median, not least squares: another wrong size must not be taken for the singer's way.
    factors = [((m.sung_semitones or 0.0) - drift) / m.wanted_semitones for m in others]
    factor = float(np.clip(np.median(factors), *params.factors)) if len(factors) >= params.fewest else \
        params.factors[0]
    wanted = abs(moves[i].wanted_semitones)
    way = 1 if moves[i].wanted_semitones > 0 else -1
    sung = way * ((moves[i].sung_semitones or 0.0) - drift)
    least, most = sorted((wanted * factor, float(wanted)))
    return sung - most if sung > most else sung - least if sung < least else 0.0


def with_lengths(notes: Sequence[HeardNote], moves: Sequence[Move],
                 params: SizeParameters = PARAMETERS) -> tuple[HeardNote, ...]:
    """The n notes with their lengths: against the notes around them, in the singer's own pace. moves: n - 1."""
    taken = [_taken(notes, i) for i in range(len(notes))]
    sure = [all(m.verdict is Verdict.RIGHT for m in moves[max(0, i - 1):i + 1]) for i in range(len(notes))]
    return tuple(replace(n, length=_length(notes, taken, i, params) if sure[i] else Length.UNSURE) for i, n in enumerate(notes))


def _taken(notes: Sequence[HeardNote], i: int) -> tuple[float, float] | None:
    """(seconds to the next onset, quarters written), None where that is not known."""
    if i + 1 >= len(notes) or not (notes[i].sung and notes[i + 1].sung):
        return None
    seconds = (notes[i + 1].onset_s or 0.0) - (notes[i].onset_s or 0.0)
    quarters = float(notes[i + 1].written.onset_quarters - notes[i].written.onset_quarters)
    return (seconds, quarters) if seconds > 0 and quarters > 0 else None


def _length(notes: Sequence[HeardNote], taken: Sequence[tuple[float, float] | None], i: int,
            params: SizeParameters) -> Length:
    mine, note = taken[i], notes[i]
    near = [k for k in range(max(0, i - params.neighbours), min(len(notes), i + params.neighbours + 1)) if k != i]
    paces = np.array([math.log(t[0] / t[1]) for k in near if (t := taken[k]) is not None and not notes[k].written.rest_after])
    if mine is None or note.duration_s is None or note.written.rest_after or len(paces) < params.fewest or (
            i and not notes[i - 1].sung):
        return Length.UNSURE
    pace = float(np.median(paces))
    both = _differences(notes, i, mine, pace)
    sounding, spread = _sounding(notes, i, near, pace)
    whole = (sounding + float(np.mean(both))) / 2
    if abs(min(both, key=abs)) <= math.log(params.right_times) and abs(whole) <= math.log(params.right_whole):
        return Length.RIGHT
    wider = params.wider * max(float(np.median(np.abs(paces - pace))), spread)
    if _parted(notes, taken, i, pace, params):
        return Length.UNSURE
    if whole < -math.log(params.short_times) - wider and max(*both, sounding) < -math.log(params.short_each):
        return Length.TOO_SHORT
    at_end = note.written.phrase != notes[i + 1].written.phrase
    long = whole > math.log(params.long_times) + wider and min(*both, sounding) > math.log(params.long_each)
    return Length.TOO_LONG if long and not at_end else Length.UNSURE


def _sounding(notes: Sequence[HeardNote], i: int, near: Sequence[int], pace: float) -> tuple[float, float]:
    """(how much longer note i sounds than the notes near it, for its written length; their spread): logarithms."""
    def of(k: int) -> float:
        return math.log(max(notes[k].duration_s or 0.0, 0.02) / float(notes[k].written.quarters)) - pace

    others = np.array([of(k) for k in near if notes[k].sung and k < len(notes) - 1])  # the last may ring
    middle = float(np.median(others)) if len(others) else 0.0
    return of(i) - middle, float(np.median(np.abs(others - middle))) if len(others) else 0.0


def _differences(notes: Sequence[HeardNote], i: int, taken: tuple[float, float], pace: float) -> list[float]:
    """How much longer than written the note is, logarithms: by its beginnings and, where they are known, by its ends.

    A consonant moves the beginning of the voice: where the end says otherwise, the length may be the written one.
    """
    note = notes[i]
    both = [math.log(taken[0] / taken[1]) - pace]
    if i and not notes[i - 1].written.rest_after:
        before = (notes[i - 1].onset_s or 0.0) + (notes[i - 1].duration_s or 0.0)
        ends = (note.onset_s or 0.0) + (note.duration_s or 0.0) - before
        both.append(math.log(max(ends, 0.01) / float(note.written.quarters)) - pace)
    return both


def _parted(notes: Sequence[HeardNote], taken: Sequence[tuple[float, float] | None], i: int, pace: float,
            params: SizeParameters) -> bool:
    """Whether the note and one beside it, on the same pitch, have their written length together."""
    for k in (i - 1, i + 1):
        mine, other = taken[i], taken[k] if 0 <= k < len(taken) else None
        if mine is None or other is None:
            continue
        one, two = notes[i].midi, notes[k].midi
        if one is None or two is None or abs(one - two) > 1.0:
            continue
        together = math.log((mine[0] + other[0]) / (mine[1] + other[1])) - pace
        if abs(together) <= math.log(params.together_times):
            return True
    return False
