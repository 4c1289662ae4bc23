"""Several takes of one tune made into one score: where they agree it is sure, where not it asks.

Every take is written down by itself; the clearest leads. The notes of the others are laid against its notes
(least cost over pitch within each take's own tuning, and length at each take's own tempo). A note stays if at least
half of the takes have it; its pitch and length are the median of theirs. Where takes differ, it is unsure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack, SungNote
from companion.transcribe.score import Given, Notation, notate, write

F = NDArray[np.float64]

PITCH_COST = 1.0  # for each semitone by which two notes differ ...
LENGTH_COST = 1.2  # ... and for each factor of e between their lengths
ALONE_COST = 1.6  # a note that the other take has not
SAME_PITCH = 0.5  # semitones: nearer takes agree
SAME_LENGTH = 0.3  # of the logarithm of lengths: nearer takes agree (a crotchet and its dotted form are 0.41 apart)


@dataclass(frozen=True)
class Together:
    """The score of several takes. agree: one a note, the share of takes that have it so. takes: how many."""

    notation: Notation
    agree: tuple[float, ...]
    takes: int


def _contour(n: Notation) -> tuple[F, F]:
    """For each note: pitch in semitones against the take's own tuning and keynote, and length in crotchets."""
    tonic = (7 * n.key.fifths + (9 if n.key.mode == "minor" else 0)) % 12
    base = 12 * round((np.mean([e.midi for e in n.events]) - tonic) / 12) + tonic
    pitch = np.array([s.midi - t for s, t in zip(n.sung, n.tuning, strict=True)]) - base
    onset = np.array([s.onset_s for s in n.sung] + [n.sung[-1].onset_s + n.sung[-1].duration_s])
    return pitch, np.diff(onset) / np.array(n.quarter_s)


def laid_against(a: tuple[F, F], b: tuple[F, F]) -> list[tuple[int | None, int | None]]:
    """Notes of two takes side by side, None where one has none: the way of least cost (Needleman, Wunsch 1970).

    The second take may stand in another key; the shift that costs least is used.
    """
    best: tuple[float, list[tuple[int | None, int | None]]] | None = None
    middle = round(float(np.median(a[0]) - np.median(b[0])))
    scale = float(np.median(a[1]) / max(np.median(b[1]), 1e-6))
    for shift in range(middle - 3, middle + 4):
        cost, pairs = _align(a, (b[0] + shift, b[1] * scale))
        if best is None or cost < best[0]:
            best = cost, pairs
    assert best is not None
    return best[1]


def _align(a: tuple[F, F], b: tuple[F, F]) -> tuple[float, list[tuple[int | None, int | None]]]:
    n, m = len(a[0]), len(b[0])
    pair = PITCH_COST * np.minimum(np.abs(a[0][:, None] - b[0][None, :]), 3.0) + LENGTH_COST * np.minimum(
        np.abs(np.log(a[1][:, None] / b[1][None, :])), 1.5)
    total = np.full((n + 1, m + 1), np.inf)
    total[0, :] = ALONE_COST * np.arange(m + 1)
    total[:, 0] = ALONE_COST * np.arange(n + 1)
    for i in range(1, n + 1):
        for j in range(1, m + 1):
            total[i, j] = min(total[i - 1, j - 1] + pair[i - 1, j - 1], total[i - 1, j] + ALONE_COST,
                              total[i, j - 1] + ALONE_COST)
    i, j = n, m
    out: list[tuple[int | None, int | None]] = []
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


def clearness(n: Notation) -> float:
    """How sure a score is of itself: the mean certainty of its notes."""
    return float(np.mean([v * p for v, p in zip(n.sure_value, n.sure_pitch, strict=True)]))


def notate_together(tracks: Sequence[PitchTrack], title: str = "", given: Given | None = None) -> Together:
    """One score of several takes (at least one)."""
    given = given or Given()
    alone = replace(given, beats_s=())
    each = [notate(t, title, alone if len(tracks) > 1 else given) for t in tracks]
    if len(each) == 1:
        return Together(each[0], tuple(1.0 for _ in each[0].events), 1)
    lead = max(range(len(each)), key=lambda k: clearness(each[k]))
    first = each[lead]
    contour = _contour(first)
    sides = {k: laid_against(contour, _contour(n)) for k, n in enumerate(each) if k != lead}
    count = len(each)
    notes: list[SungNote] = []
    agree: list[float] = []
    onset = first.sung[0].onset_s
    slots = _slots(len(first.events), sides)
    for slot in slots:
        members = {**({lead: slot.lead} if slot.lead is not None else {}), **slot.others}
        if 2 * len(members) < count or (2 * len(members) == count and lead not in members):
            continue
        pitch, length, sound = [], [], []
        for k, i in members.items():
            own = _contour(each[k])
            shift = _shift(contour, own, sides[k]) if k != lead else 0.0
            scale = _scale(contour, own, sides[k]) if k != lead else 1.0
            pitch.append(own[0][i] + shift)
            length.append(own[1][i] * scale)
            sound.append(each[k].sung[i].duration_s / (own[1][i] * each[k].quarter_s[i]))
        middle, long = float(np.median(pitch)), float(np.exp(np.median(np.log(length))))
        same = sum(abs(p - middle) < SAME_PITCH and abs(np.log(x / long)) < SAME_LENGTH
                   for p, x in zip(pitch, length, strict=True))
        at = slot.lead if slot.lead is not None else slot.near
        seconds = long * first.quarter_s[at]
        reference = first.sung[at].midi - first.tuning[at] - contour[0][at]
        notes.append(SungNote(onset, max(0.05, seconds * min(1.0, float(np.median(sound)))),
                              middle + reference, 0.1, float(np.mean([each[k].sung[i].sure
                                                                      for k, i in members.items()]))))
        agree.append(same / count)
        onset += seconds
    made = write(notes, title, replace(given, beats_s=()), sharpness=min(3.0, float(count)))
    # What the takes do not agree on is unsure, whatever the reading thinks of it.
    made = replace(made, sure_value=tuple(min(s, a if a < 1 else 1.0) for s, a in
                                          zip(made.sure_value, agree, strict=True)))
    return Together(made, tuple(agree), count)


@dataclass
class _Slot:
    lead: int | None
    near: int
    others: dict[int, int]


def _slots(n: int, sides: dict[int, list[tuple[int | None, int | None]]]) -> list[_Slot]:
    """Places for notes: those of the leading take, and between them those that other takes have."""
    slots = [_Slot(i, i, {}) for i in range(n)]
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
                between.setdefault((at, extra), _Slot(None, max(at, 0), {})).others[k] = j
    out: list[_Slot] = []
    for i in range(-1, n):
        if i >= 0:
            out.append(slots[i])
        out += [between[key] for key in sorted(between) if key[0] == i]
    return out


def _shift(a: tuple[F, F], b: tuple[F, F], pairs: list[tuple[int | None, int | None]]) -> float:
    both = [(i, j) for i, j in pairs if i is not None and j is not None]
    return float(np.round(np.median([a[0][i] - b[0][j] for i, j in both]))) if both else 0.0


def _scale(a: tuple[F, F], b: tuple[F, F], pairs: list[tuple[int | None, int | None]]) -> float:
    """Two takes may have been read with values twice as long: brought together by the nearest plain factor."""
    both = [(i, j) for i, j in pairs if i is not None and j is not None]
    if not both:
        return 1.0
    return float(np.exp(np.median([np.log(a[1][i] / b[1][j]) for i, j in both])))
