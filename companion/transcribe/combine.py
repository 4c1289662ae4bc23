"""Several takes of one tune made into one score: where they agree it is sure, where not it is doubtful.

Every take is written down by itself; the clearest leads. The notes of the others are aligned with its notes
(least cost over pitch within each take's own tuning, and length at each take's own tempo). A note stays if at least
half of the takes have it; its pitch and length are the median of theirs. Where takes differ, it is unsure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack, SungNote
from companion.transcribe.notation import Given, Notation, WrittenNote
from companion.transcribe.score import notate, write

F = NDArray[np.float64]

PITCH_COST = 1.0  # for each semitone by which two notes differ ...
LENGTH_COST = 1.2  # ... and for each factor of e between their lengths
ALONE_COST = 1.6  # a note that the other take has not
SAME_PITCH = 0.5  # semitones: nearer takes agree
SAME_LENGTH = 0.3  # of the logarithm of lengths: nearer takes agree (a crotchet and its dotted form are 0.41 apart)
SHORTEST_S, SPREAD = 0.05, 0.1  # of a note that is made from those of several takes
WRONG_TOO = 0.3  # share of one take's mistakes that another of the same singer has too; set by hand
MOST_SHARPNESS = 3.0  # takes that count for the sharpness of onsets

Pairs = list[tuple[int | None, int | None]]  # notes of two takes side by side, None where one has none


@dataclass(frozen=True)
class Combined:
    """The score of several takes. agreement: for each note the share of takes that have it so. takes: how many."""

    notation: Notation
    agreement: tuple[float, ...]
    takes: int


@dataclass(frozen=True, eq=False)
class _Contour:
    """For each of N notes: pitch in semitones against the take's own tuning and keynote, and length in crotchets."""

    pitch: F
    length: F


def _contour(n: Notation) -> _Contour:
    tonic = n.key.tonic.midi % 12
    base = 12 * round((np.mean([note.midi for note in n.notes]) - tonic) / 12) + tonic
    pitch = np.array([note.sung.midi - note.tuning for note in n.notes]) - base
    last = n.notes[-1].sung
    onset = np.array([*(note.sung.onset_s for note in n.notes), last.onset_s + last.duration_s])
    return _Contour(pitch, np.diff(onset) / np.array([note.quarter_s for note in n.notes]))


def _side_by_side(a: _Contour, b: _Contour) -> Pairs:
    """The alignment of least cost (Needleman, Wunsch 1970).

    The second take may stand in another key; the shift that costs least is used.
    """
    middle = round(float(np.median(a.pitch) - np.median(b.pitch)))
    scale = float(np.median(a.length) / max(np.median(b.length), 1e-6))
    tried = [_align(a, _Contour(b.pitch + shift, b.length * scale)) for shift in range(middle - 3, middle + 4)]
    return min(tried, key=lambda t: t[0])[1]


def _align(a: _Contour, b: _Contour) -> tuple[float, Pairs]:
    n, m = len(a.pitch), len(b.pitch)
    pair = PITCH_COST * np.minimum(np.abs(a.pitch[:, None] - b.pitch[None, :]), 3.0) + LENGTH_COST * np.minimum(
        np.abs(np.log(a.length[:, None] / b.length[None, :])), 1.5)
    total = np.full((n + 1, m + 1), np.inf)
    total[0, :] = ALONE_COST * np.arange(m + 1)
    total[:, 0] = ALONE_COST * np.arange(n + 1)
    for i in range(1, n + 1):
        for j in range(1, m + 1):
            total[i, j] = min(total[i - 1, j - 1] + pair[i - 1, j - 1], total[i - 1, j] + ALONE_COST,
                              total[i, j - 1] + ALONE_COST)
    i, j = n, m
    out: Pairs = []
    while i or j:
        if i and j and total[i, j] == total[i - 1, j - 1] + pair[i - 1, j - 1]:
            i, j = i - 1, j - 1
            out.append((i, j))
        elif i and total[i, j] == total[i - 1, j] + ALONE_COST:
            i -= 1
            out.append((i, None))
        else:
            j -= 1
            out.append((None, j))
    return float(total[n, m]), out[::-1]


def _confidence(n: Notation) -> float:
    """How sure a score is of itself: the mean over its notes."""
    return float(np.mean([note.confidence for note in n.notes]))


def notate_together(tracks: Sequence[PitchTrack], title: str = "", given: Given | None = None) -> Combined:
    """One score of several takes (at least one)."""
    given = given or Given()
    if len(tracks) == 1:
        alone = notate(tracks[0], title, given)
        return Combined(alone, tuple(1.0 for _ in alone.notes), 1)
    given = replace(given, beats_s=())
    takes = [notate(t, title, given) for t in tracks]
    notes, agreement = _merged(takes)
    made = write(notes, title, given, sharpness=min(MOST_SHARPNESS, float(len(takes))))
    made = replace(made, notes=tuple(_agreed(note, agree, len(takes)) for note, agree in zip(made.notes, agreement, strict=True)))
    return Combined(made, tuple(agreement), len(takes))


def _agreed(note: WrittenNote, agree: float, takes: int) -> WrittenNote:
    """What the takes do not agree on is unsure, whatever the reading says; what all agree on is surer with each of them, as if
    each of the others were wrong there by chance as often as WRONG_TOO."""
    if agree < 1.0:
        return replace(note, value_confidence=min(note.value_confidence, agree))
    left = WRONG_TOO ** (takes - 1)
    return replace(note, value_confidence=1 - (1 - note.value_confidence) * left,
                   pitch_confidence=1 - (1 - note.pitch_confidence) * left, agreement=1 - (1 - note.agreement) * left)


@dataclass(frozen=True)
class _Member:
    """A note of one take, brought to the key and the values of the leading take.

    sounding: the share of its length that sounds. sure: see SungNote.
    """

    pitch: float
    length: float
    sounding: float
    sure: float


def _merged(takes: Sequence[Notation]) -> tuple[list[SungNote], list[float]]:
    """Sung notes such as most of the takes have them, and the share of takes that have each so."""
    lead = max(range(len(takes)), key=lambda k: _confidence(takes[k]))
    first, contour = takes[lead], _contour(takes[lead])
    contours = {k: _contour(n) for k, n in enumerate(takes)}
    sides = {k: _side_by_side(contour, contours[k]) for k in contours if k != lead}
    shifts = {k: _shift(contour, contours[k], pairs) for k, pairs in sides.items()}
    scales = {k: _scale(contour, contours[k], pairs) for k, pairs in sides.items()}

    def member(k: int, i: int) -> _Member:
        note, own = takes[k].notes[i], contours[k]
        return _Member(own.pitch[i] + shifts.get(k, 0.0), own.length[i] * scales.get(k, 1.0),
                       note.sung.duration_s / (own.length[i] * note.quarter_s), note.sung.sure)

    notes: list[SungNote] = []
    agreement: list[float] = []
    onset_s = first.notes[0].sung.onset_s
    for slot in _slots(len(first.notes), sides):
        have = {**({lead: slot.lead} if slot.lead is not None else {}), **slot.others}
        if 2 * len(have) < len(takes) or (2 * len(have) == len(takes) and lead not in have):
            continue
        members = [member(k, i) for k, i in have.items()]
        leader = first.notes[slot.near]
        pitch, length = _middle(members)
        seconds = length * leader.quarter_s
        reference = leader.sung.midi - leader.tuning - contour.pitch[slot.near]
        sounding = min(1.0, float(np.median([m.sounding for m in members])))
        notes.append(SungNote(onset_s, max(SHORTEST_S, seconds * sounding), pitch + reference, SPREAD,
                              float(np.mean([m.sure for m in members]))))
        agreement.append(sum(abs(m.pitch - pitch) < SAME_PITCH and abs(np.log(m.length / length)) < SAME_LENGTH
                             for m in members) / len(takes))
        onset_s += seconds
    return notes, agreement


def _middle(members: Sequence[_Member]) -> tuple[float, float]:
    """Median pitch and length."""
    return (float(np.median([m.pitch for m in members])),
            float(np.exp(np.median(np.log([m.length for m in members])))))


@dataclass
class _Slot:
    """A place for a note. lead: the leading take's note or None; near: its nearest; others: take to its note."""

    lead: int | None
    near: int
    others: dict[int, int] = field(default_factory=dict)


def _slots(n: int, sides: dict[int, Pairs]) -> list[_Slot]:
    """Places for notes: those of the leading take, and between them those that other takes have."""
    slots = [_Slot(i, i) for i in range(n)]
    between: dict[tuple[int, int], _Slot] = {}
    for k, pairs in sides.items():
        at, extra = -1, 0
        for i, j in pairs:
            if i is not None:
                at, extra = i, 0
                if j is not None:
                    slots[i].others[k] = j
            elif j is not None:
                extra += 1
                between.setdefault((at, extra), _Slot(None, max(at, 0))).others[k] = j
    out: list[_Slot] = []
    for i in range(-1, n):
        if i >= 0:
            out.append(slots[i])
        out += [between[key] for key in sorted(between) if key[0] == i]
    return out


def _shift(a: _Contour, b: _Contour, pairs: Pairs) -> float:
    """Whole semitones between two takes."""
    both = [(i, j) for i, j in pairs if i is not None and j is not None]
    return float(np.round(np.median([a.pitch[i] - b.pitch[j] for i, j in both]))) if both else 0.0


def _scale(a: _Contour, b: _Contour, pairs: Pairs) -> float:
    """Two takes may have been read with values twice as long: the factor that brings them together."""
    both = [(i, j) for i, j in pairs if i is not None and j is not None]
    return float(np.exp(np.median([np.log(a.length[i] / b.length[j]) for i, j in both]))) if both else 1.0
