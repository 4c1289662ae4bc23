"""What a teacher may ask for beyond the verdicts: tuning, drift, size of moves, the highest note, lengths."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from companion.match.model import Detail, HeardNote, Highest, LengthFault, MissedLength, MissedSize, Move, Verdict
from companion.match.parameters import PARAMETERS, MatchParameters

F = NDArray[np.float64]


def detail(notes: Sequence[HeardNote], moves: Sequence[Move], key: F, params: MatchParameters = PARAMETERS) -> Detail:
    """`key`: sung minus written at each of the N notes, semitones."""
    return Detail(tuning_cents=tuning_cents(notes, key), drift_cents=drift_cents(notes, params),
                  interval_factor=interval_factor(moves), sizes=missed_sizes(moves, params), highest=highest(notes),
                  lengths=missed_lengths(notes, params))


def tuning_cents(notes: Sequence[HeardNote], key: F) -> tuple[float | None, ...]:
    """How far each note lies from the singer's own key there, None where not sung."""
    return tuple(None if n.midi is None else round(100 * float(n.midi - n.written.midi - k), 0)
                 for n, k in zip(notes, key, strict=True))


def interval_factor(moves: Sequence[Move]) -> float | None:
    """How much of each written interval was sung, by least squares through the origin."""
    pairs = [(m.wanted_semitones, m.sung_semitones) for m in moves
             if m.sung_semitones is not None and m.verdict != Verdict.UNSURE]
    square = sum(w * w for w, _ in pairs)
    return round(sum(w * s for w, s in pairs) / square, 2) if square else None


def missed_sizes(moves: Sequence[Move], params: MatchParameters = PARAMETERS) -> tuple[MissedSize, ...]:
    """Right moves whose size was missed by more than `params.size_tolerance` semitones."""
    return tuple(MissedSize(m.start, m.end, round(abs(m.sung_semitones) - abs(m.wanted_semitones), 1))
                 for m in moves if m.sung_semitones is not None and m.verdict == Verdict.RIGHT and m.wanted_semitones
                 and abs(m.sung_semitones - m.wanted_semitones) > params.size_tolerance)


def highest(notes: Sequence[HeardNote]) -> Highest | None:
    """The highest written and sung notes; None where nothing was sung."""
    sung = [n for n in notes if n.midi is not None]
    if not sung:
        return None
    top = max(n.written.midi for n in notes)
    return Highest(tuple(n.written.number for n in notes if n.written.midi == top),
                   max(sung, key=lambda n: n.midi or 0.0).written.number)


def drift_cents(notes: Sequence[HeardNote], params: MatchParameters = PARAMETERS) -> float | None:
    """How far the key moved over the phrase: the median of slopes (Theil and Sen) times the time. None if unknown."""
    sung = [n for n in notes if n.midi is not None]
    if len(sung) < params.least_notes:
        return None
    off = np.array([(n.midi or 0.0) - n.written.midi for n in sung])
    when = np.array([n.onset_s or 0.0 for n in sung])
    i, j = np.triu_indices(len(sung), 1)
    apart = when[j] - when[i]
    good = apart > 0.05
    if not good.any():
        return None
    slope = float(np.median((off[j] - off[i])[good] / apart[good]))
    return round(100 * slope * float(when[-1] - when[0]), 0)


def missed_lengths(notes: Sequence[HeardNote], params: MatchParameters = PARAMETERS) -> tuple[MissedLength, ...]:
    """Notes much too short or long: time to the next onset against the written, by the singer's own tempo.

    The last note is not judged: it may ring as long as the singer likes.
    """
    gaps = [(note, (after.onset_s or 0) - (note.onset_s or 0),
             float(after.written.onset_quarters - note.written.onset_quarters))
            for note, after in itertools.pairwise(notes) if note.sung and after.sung]
    if len(gaps) < params.least_notes:
        return ()
    tempo = float(np.median([s / quarters for _, s, quarters in gaps if quarters > 0]))
    out = []
    for note, seconds, quarters in gaps:
        ratio = seconds / max(quarters * tempo, 1e-3)
        if ratio > params.length_tolerance or ratio < 1 / params.length_tolerance:
            out.append(MissedLength(note.written.number, round(ratio, 2),
                                    LengthFault.TOO_LONG if ratio > 1 else LengthFault.TOO_SHORT))
    return tuple(out)
