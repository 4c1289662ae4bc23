"""The bar about which an answer settles most, in its likeliest readings: which of them was sung is told by ear.

Each other reading differs in one thing: a value (with what it draws along in its bar), a rest held or left, a pitch, or whether
something heard was a note of its own. Of the bars that are least sure, that is asked about of which an answer is expected to
remove most slips: the probability that the bar is wrong, and that one of the readings that are played is then the true one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from companion.transcribe.doubts import bar_chances
from companion.transcribe.folk_counts import TICKS
from companion.transcribe.notation import Notation, WrittenNote
from companion.transcribe.rhythm import Reading, read
from companion.transcribe.score import Changed, evidence_of, joined, parted

LEAST_REMOVED = 0.1  # slips: less than this is not worth a question
MOST_BARS = 3  # the least sure bars that are weighed against each other
MOST_OTHERS = 2  # readings that are played beside the one that stands: an ear keeps three bars apart
LEAST_PLAYED = 0.05  # weight of a third reading, below which two are enough
NONE_OF_THESE = 0.3  # weight of readings that nobody thought of
LEAST_REST_S = 0.12  # a shorter silence is no rest


@dataclass(frozen=True)
class BarQuestion:
    """A bar; the score in the other readings of it, likeliest first; the probability that the bar is wrong as it is written;
    and how many slips an answer is expected to remove."""

    bar: int
    others: tuple[Notation, ...]
    wrong: float
    removed: float


def bar_question(n: Notation, asked: Collection[int] = ()) -> BarQuestion | None:
    """About the bar that is worth most and was not asked about; None where too little is left to be settled."""
    chances = bar_chances(n)
    least_sure = sorted((b for b in chances if b not in asked), key=lambda b: -chances[b])[:MOST_BARS]
    found = [q for bar in least_sure if chances[bar] >= LEAST_REMOVED for q in [_question(n, bar, chances[bar])] if q]
    best = max(found, key=lambda q: q.removed, default=None)
    return best if best is not None and best.removed >= LEAST_REMOVED else None


def _question(n: Notation, bar: int, wrong: float) -> BarQuestion | None:
    """About one bar; None where it has no other reading."""
    written = [_written(n)]
    others: list[tuple[float, Notation]] = []
    for weight, other in sorted(_others(n, bar), key=lambda found: -found[0]):
        if _written(other) not in written:
            written.append(_written(other))
            others.append((weight, other))
    if not others:
        return None
    played = [x for k, x in enumerate(others[:MOST_OTHERS]) if k == 0 or x[0] >= LEAST_PLAYED]
    total = sum(weight for weight, _ in others) + NONE_OF_THESE
    removed = wrong * sum(weight / total * _differing(n, other) for weight, other in played)
    return BarQuestion(bar, tuple(other for _, other in played), wrong, removed)


def _written(n: Notation) -> tuple[tuple[int, int, int], ...]:
    return tuple((note.midi, note.ticks, note.rest) for note in n.notes)


def _differing(n: Notation, other: Notation) -> int:
    """Notes that two readings have differently."""
    if len(n.notes) != len(other.notes):
        return 1
    return sum(a != b for a, b in zip(_written(n), _written(other), strict=True))


def settled(n: Notation, asked: BarQuestion, version: int) -> Notation:
    """The score with the bar as it was heard, which holds from then on. version: 1 as it is written, 2 the first other, ..."""
    chosen = (n, *asked.others)[version - 1]
    return replace(chosen, notes=tuple(
        replace(note, value_given=True, pitch_given=True, value_confidence=1.0, pitch_confidence=1.0, agreement=1.0)
        if bar == asked.bar else note for note, bar in zip(chosen.notes, chosen.bars, strict=True)),
        doubtful=tuple(d for d in chosen.doubtful if not _within(chosen, asked.bar, d.time_s)))


def _within(n: Notation, bar: int, time_s: float) -> bool:
    inside = [note.sung for note, b in zip(n.notes, n.bars, strict=True) if b == bar]
    return bool(inside) and inside[0].onset_s - 0.05 <= time_s <= inside[-1].onset_s + inside[-1].duration_s + 0.05


def _others(n: Notation, bar: int) -> Iterator[tuple[float, Notation]]:
    """Other readings of a bar, each with a weight: how likely it is beside the one that stands."""
    for i, b in enumerate(n.bars):
        note = n.notes[i]
        if b != bar:
            continue
        if not note.pitch_given and note.pitch_confidence < 1:
            yield 1 - note.pitch_confidence, _with(n, i, replace(note, midi=note.other_midi, other_midi=note.midi))
        if not note.value_given and not note.triplet and (other := _other_values(n, i)) is not None:
            yield 1 - min(note.value_confidence, note.agreement), other
        if not note.value_given and not note.triplet and (rest := _other_rest(n, i)) is not None:
            yield 1 - note.value_confidence, _with(n, i, replace(note, ticks=note.length - rest, rest=rest,
                                                                breath=rest == 0))
    for doubt in n.doubtful:
        if _within(n, bar, doubt.time_s):
            notes, midi = list(n.sung), [note.midi for note in n.notes]
            split = parted(notes, midi, doubt)
            changed = split or joined(notes, midi, doubt)
            other = _with_notes(n, changed, bar) if changed else None
            if other is not None:
                odds = doubt.odds if split else -doubt.odds  # of the reading that does not stand
                yield float(1 / (1 + np.exp(-odds))), other


def _with(n: Notation, i: int, note: WrittenNote) -> Notation:
    return replace(n, notes=(*n.notes[:i], note, *n.notes[i + 1:]))


def _other_rest(n: Notation, i: int) -> int | None:
    """Ticks of rest that note i has in its other reading: none where there is one, else the silence heard; None if none was."""
    if i + 1 == len(n.notes):
        return None
    note, sung = n.notes[i], n.notes[i].sung
    silence_s = n.notes[i + 1].sung.onset_s - sung.onset_s - sung.duration_s
    if note.rest:
        return 0
    if silence_s < LEAST_REST_S or note.length < 2:
        return None
    rest = round(silence_s / note.quarter_s * TICKS)
    return min(max(rest - rest % 2, 1 if note.length == 2 else 2), note.length - 1)


def _reading(n: Notation, notes: Notation, fixed: list[int], forbidden: tuple[tuple[int, int], ...] = ()) -> Reading | None:
    """The likeliest reading of some notes in the time signature and from the place that stand; None where there is none."""
    e = replace(evidence_of(notes.sung, [x.midi for x in notes.notes], n.key.tonic.midi % 12, fixed), forbidden=forbidden)
    quarter = float(np.median([x.quarter_s for x in n.notes]))
    beats = n.given.beats_s
    return next((r for r in read(e, n.time, quarter, beats, style=n.style) if r.place[0] == n.place), None)


def _other_values(n: Notation, i: int) -> Notation | None:
    """The likeliest reading in which note i has another value, the other bars as they are; None where the bars would shift."""
    bars = n.bars
    fixed = [0 if abs(k - i) <= 2 and bars[k] == bars[i] and not note.value_given and not note.triplet else note.length
             for k, note in enumerate(n.notes)]
    r = _reading(n, n, fixed, ((i, n.notes[i].length),))
    if r is None or int(r.ticks[i]) == n.notes[i].length or any(
            k not in range(i - 2, i + 3) and int(t) != note.length for k, (t, note) in enumerate(zip(r.ticks[:-1], n.notes,
                                                                                                   strict=False))):
        return None
    other = _revalued(n, r)
    return other if sum(x.length for x in other.notes[:-1]) == sum(x.length for x in n.notes[:-1]) or i + 1 == len(
        n.notes) else None


def _revalued(n: Notation, r: Reading) -> Notation:
    """With the values of a reading; a note whose length stays keeps its rest."""
    return replace(n, notes=tuple(
        note if int(t) == note.length else replace(note, ticks=int(t), rest=0, breath=note.breath or note.rest > 0)
        for t, note in zip(r.ticks, n.notes, strict=True)))


def _with_notes(n: Notation, changed: Changed, bar: int) -> Notation | None:
    """With a note of a bar parted, or two joined: the values of that bar are read anew, the others stay."""
    sung, midi, _ = changed
    old = {note.sung.onset_s: note for note in n.notes}
    here = [note for note, b in zip(n.notes, n.bars, strict=True) if b == bar]
    notes: list[WrittenNote] = []
    for s, m in zip(sung, midi, strict=True):
        like = old.get(s.onset_s) or replace(min(here, key=lambda x: abs(x.sung.onset_s - s.onset_s)), syllable=None,
                                            slur_starts=0, slur_stops=0)
        notes.append(replace(like, sung=s, midi=m))
    draft = replace(n, notes=tuple(notes))
    begin, end = here[0].sung.onset_s, here[-1].sung.onset_s + here[-1].sung.duration_s
    inside = [begin - 1e-6 <= note.sung.onset_s < end for note in notes]
    r = _reading(n, draft, [0 if free else note.length for free, note in zip(inside, notes, strict=True)])
    if r is None:
        return None
    other = _revalued(draft, r)
    before, after = (sum(x.length for x in some[:-1]) for some in (n.notes, other.notes))
    return other if before == after or here[-1] is n.notes[-1] else None
