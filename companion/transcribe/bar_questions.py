"""The bar about which an answer settles most, in its likeliest readings: which of them was sung is told by ear.

Each other reading differs in one thing: a value (with what it draws along in its bar), a rest held or left, a pitch, or whether
something heard was a note of its own. What is alike elsewhere (the same doubtful pitch, the ends of lines with the same silence)
goes with it, so that one answer mends it everywhere. That is asked about of which an answer is expected to remove most slips:
the probability of each reading that is played, times the slips that it mends.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from companion.transcribe.doubts import bar_chances
from companion.transcribe.folk_counts import TICKS
from companion.transcribe.notation import Notation, WrittenNote
from companion.transcribe.rhythm import Reading, read
from companion.transcribe.score import Changed, evidence_of, joined, parted

LEAST_REMOVED = 0.06  # slips: less than this is not worth a question
MOST_BARS = 6  # the bars with the least sure notes that are weighed against each other
MOST_OTHERS = 2  # readings that are played beside the one that stands: an ear keeps three bars apart
LEAST_PLAYED = 0.04  # slips that a third reading must be expected to remove, else two are enough
LEAST_REST_S = 0.12  # a shorter silence is no rest
ALIKE_S = 0.35  # of the logarithm of two silences: nearer ones are alike
SURE_PITCH = 0.97  # a pitch surer than this is not drawn along by another


class Difference(StrEnum):
    """In what another reading differs."""

    PITCH = "pitch"
    VALUE = "value"
    LAST_VALUE = "last value"
    REST = "rest"
    PARTED = "parted"
    JOINED = "joined"


#: Odds (logarithm) that another reading is the true one: a constant for what it differs in, and so much for the odds of its
#: weight and of its bar's being wrong, each within its edges. A logistic regression on 1,832 readings of 42 takes of counted
#: tunes, of which 39 were true; the model is too sure of a pitch and knows little of rests.
CHANCE = {Difference.PITCH: -3.2, Difference.VALUE: -2.1, Difference.LAST_VALUE: -1.5, Difference.REST: -1.0,
          Difference.PARTED: -2.6, Difference.JOINED: -2.0}
WEIGHT, BAR = 0.49, 0.33
EDGE, BAR_EDGE = 0.001, 0.01


@dataclass(frozen=True)
class Other:
    """Another reading. weight: its probability beside the one that stands, as the model of the take has it. alike: notes of
    other bars that it says the same of."""

    difference: Difference
    weight: float
    notation: Notation
    alike: tuple[int, ...] = ()


@dataclass(frozen=True)
class BarQuestion:
    """A bar; the score in the other readings of it, worth most first; the probability that the bar is wrong as it is written;
    and how many slips an answer is expected to remove. alike: notes of other bars that the answer settles too."""

    bar: int
    others: tuple[Notation, ...]
    wrong: float
    removed: float
    alike: tuple[int, ...] = ()


def bar_question(n: Notation, asked: Collection[int] = ()) -> BarQuestion | None:
    """About the bar that is worth most and was not asked about; None where too little is left to be settled."""
    chances = bar_chances(n)
    doubt = {bar: max(chances[bar], *(1 - note.confidence for note, b in zip(n.notes, n.bars, strict=True)
                                      if b == bar and not (note.value_given and note.pitch_given)), 0.0) for bar in chances}
    least_sure = sorted((b for b in chances if b not in asked), key=lambda b: -doubt[b])[:MOST_BARS]
    found = [q for bar in least_sure if doubt[bar] >= LEAST_REMOVED for q in [_question(n, bar, chances[bar])] if q]
    best = max(found, key=lambda q: q.removed, default=None)
    return best if best is not None and best.removed >= LEAST_REMOVED else None


def _question(n: Notation, bar: int, wrong: float) -> BarQuestion | None:
    """About one bar; None where it has no other reading."""
    written = [_written(n)]
    others: list[tuple[float, Other]] = []
    found = [(chance(o, wrong) * slips_mended(n, o), o) for o in other_readings(n, bar)]
    for worth, other in sorted(found, key=lambda x: -x[0]):
        if _written(other.notation) not in written:
            written.append(_written(other.notation))
            others.append((worth, other))
    if not others:
        return None
    played = [x for k, x in enumerate(others[:MOST_OTHERS]) if k == 0 or x[0] >= LEAST_PLAYED]
    alike = tuple(sorted({i for _, o in played for i in o.alike}))
    return BarQuestion(bar, tuple(o.notation for _, o in played), wrong, sum(w for w, _ in played), alike)


def chance(other: Other, wrong: float) -> float:
    """Probability that another reading is the true one. wrong: that its bar is wrong as it stands. See CHANCE."""
    weight, bar = (float(np.log(p / (1 - p))) for p in (min(max(other.weight, EDGE), 1 - EDGE),
                                                       min(max(wrong, BAR_EDGE), 1 - BAR_EDGE)))
    fitted = float(1 / (1 + np.exp(-CHANCE[other.difference] - WEIGHT * weight - BAR * bar)))
    return max(fitted, 2 * other.weight - 1)  # what stands though it is the less likely was never seen by the fit


def slips_mended(n: Notation, other: Other) -> int:
    """Slips that the score has less if another reading is the true one: notes that it has otherwise."""
    if len(n.notes) != len(other.notation.notes):
        return 2  # the note, and the value of the one beside it
    return sum(a != b for a, b in zip(_written(n), _written(other.notation), strict=True))


def _written(n: Notation) -> tuple[tuple[int, int, int], ...]:
    return tuple((note.midi, note.ticks, note.rest) for note in n.notes)


def settled(n: Notation, asked: BarQuestion, version: int) -> Notation:
    """The score with the bar as it was heard, which holds from then on. version: 1 as it is written, 2 the first other, ..."""
    chosen = (n, *asked.others)[version - 1]
    alike = {n.notes[i].sung.onset_s for i in asked.alike}
    return replace(chosen, notes=tuple(
        replace(note, value_given=True, pitch_given=True, value_confidence=1.0, pitch_confidence=1.0, agreement=1.0)
        if bar == asked.bar else replace(note, value_confidence=1.0, pitch_confidence=1.0) if note.sung.onset_s in alike else note
        for note, bar in zip(chosen.notes, chosen.bars, strict=True)),
        doubtful=tuple(d for d in chosen.doubtful if not _within(chosen, asked.bar, d.time_s)))


def _within(n: Notation, bar: int, time_s: float) -> bool:
    inside = [note.sung for note, b in zip(n.notes, n.bars, strict=True) if b == bar]
    return bool(inside) and inside[0].onset_s - 0.05 <= time_s <= inside[-1].onset_s + inside[-1].duration_s + 0.05


def other_readings(n: Notation, bar: int) -> Iterator[Other]:
    """Other readings of a bar."""
    for i, b in enumerate(n.bars):
        if b == bar:
            yield from _of_a_note(n, i)
    for doubt in n.doubtful:
        if _within(n, bar, doubt.time_s):
            notes, midi = list(n.sung), [note.midi for note in n.notes]
            split = parted(notes, midi, doubt)
            changed = split or joined(notes, midi, doubt)
            other = _with_notes(n, changed, bar) if changed else None
            if other is not None:
                odds = doubt.odds if split else -doubt.odds  # of the reading that does not stand
                yield Other(Difference.PARTED if split else Difference.JOINED, float(1 / (1 + np.exp(-odds))), other)


def _of_a_note(n: Notation, i: int) -> Iterator[Other]:
    """Readings in which one note has another pitch, value or rest."""
    note = n.notes[i]
    if not note.pitch_given and note.pitch_confidence < 1:
        alike = [k for k, x in enumerate(n.notes) if k == i or (not x.pitch_given and x.pitch_confidence < SURE_PITCH and (
            x.midi, x.other_midi) == (note.midi, note.other_midi))]
        other = _with(n, {k: replace(n.notes[k], midi=note.other_midi, other_midi=note.midi) for k in alike})
        yield Other(Difference.PITCH, 1 - note.pitch_confidence, other, _elsewhere(n, i, alike))
    if note.value_given or note.triplet:
        return
    if (revalued := _other_values(n, i)) is not None:
        kind = Difference.LAST_VALUE if i + 1 == len(n.notes) else Difference.VALUE
        yield Other(kind, 1 - min(note.value_confidence, note.agreement), revalued)
    if _other_rest(n, i) is not None:
        alike = [k for k in range(len(n.notes)) if k == i or _same_silence(n, i, k)]
        changed = {k: replace(n.notes[k], ticks=n.notes[k].length - rest, rest=rest, breath=rest == 0)
                   for k in alike if (rest := _other_rest(n, k)) is not None}
        yield Other(Difference.REST, 1 - note.value_confidence, _with(n, changed), _elsewhere(n, i, alike))


def _elsewhere(n: Notation, i: int, alike: Collection[int]) -> tuple[int, ...]:
    return tuple(k for k in alike if n.bars[k] != n.bars[i])


def _silence_s(n: Notation, i: int) -> float:
    """Seconds of silence after a note that is not the last."""
    return n.notes[i + 1].sung.onset_s - n.notes[i].sung.onset_s - n.notes[i].sung.duration_s


def _same_silence(n: Notation, i: int, k: int) -> bool:
    """Whether note k ends as note i does: as long, with as long a silence, and written with a rest or without as that is."""
    a, b = n.notes[i], n.notes[k]
    if k + 1 >= len(n.notes) or b.value_given or b.triplet or a.length != b.length or (a.rest > 0) != (b.rest > 0):
        return False
    both = _silence_s(n, i), _silence_s(n, k)
    return min(both) >= LEAST_REST_S and abs(float(np.log(both[0] / both[1]))) < ALIKE_S


def _with(n: Notation, changed: dict[int, WrittenNote]) -> Notation:
    return replace(n, notes=tuple(changed.get(k, note) for k, note in enumerate(n.notes)))


def _other_rest(n: Notation, i: int) -> int | None:
    """Ticks of rest that note i has in its other reading: none where there is one, else the silence heard; None if none was."""
    if i + 1 == len(n.notes):
        return None
    note, silence_s = n.notes[i], _silence_s(n, i)
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
