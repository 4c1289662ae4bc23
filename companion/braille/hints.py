"""What is odd on a page and cannot be proved wrong: a proof-reader's hints, apart from its problems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import accumulate, pairwise
from typing import NamedTuple

from companion.braille.bars import WrittenBar
from companion.braille.model import Problem, ProblemCode
from companion.braille.pieces import needs_octave
from companion.braille.units import Unit
from companion.tune import Barline, Display, Note, Pitch, Tune

THIRD, SIXTH, OCTAVE = 2, 5, 7  # steps of the staff
USUAL, WIDE = 10, 12  # from the lowest to the highest note of a song, as a rule; and more than most have
#: What stands on a page more often than this is how the music goes, no slip: two leaps are one wrong octave mark, which
#: leads away and back.
_MOST = {ProblemCode.LEAP: 2, ProblemCode.SLUR_BETWEEN_EQUALS: 2, ProblemCode.OTHER_ACCIDENTAL: 1}
FEWEST = 3  # notes of a bar that is held against others
BOWED = 10  # so many other slurs: equal notes may be slurred too, even once


class _Placed(NamedTuple):
    """A note with its pitch, its unit, the index of its bar, line and column."""

    bar: int
    note: Note
    pitch: Pitch
    unit: Unit
    line: int
    column: int


def _notes(tune: Tune, bars: Iterable[WrittenBar], place: Callable[[int], tuple[int, int]]) -> Iterator[_Placed]:
    for written in bars:
        notes = iter(tune.bars[written.bar].notes)
        for at, _cells, u, again in written.placed():
            note = next(notes, None) if u.kind else None
            if note is not None and note.pitch is not None and not note.grace and not again:
                line, column = place(at + u.lead)
                yield _Placed(written.bar, note, note.pitch, u, line, column)


def hints(tune: Tune, bars: Iterable[WrittenBar], place: Callable[[int], tuple[int, int]]) -> tuple[Problem, ...]:
    """Leaps beyond an octave, octave marks that the rule leaves out (MBC 2015, 3.2.2), slurs between equal notes,
    accidentals that change nothing and recall nothing, and bars that differ from others by one accidental, in order of
    place; none of a kind that stands there often.

    bars: those of the tune as cells; place: line and column of an offset. In one piece, because each pair of notes is held
    against all the rules.
    """
    notes = list(_notes(tune, bars, place))
    strays = _strays(notes) | _leaping(notes)
    leaps = Counter((last.pitch, here.pitch) for i, (last, here) in enumerate(pairwise(notes), 1)
                    if i in strays)
    few = leaps.total() <= _MOST[ProblemCode.LEAP]
    melismas = _melismas(notes)
    found = [Problem(here.line, here.column, ProblemCode.NEEDLESS_ACCIDENTAL) for here in notes
             if here.note.accidental is Display.SHOWN and not _recalls(tune, here)]
    for i, (last, here) in enumerate(pairwise(notes), 1):
        leap = i in strays
        # The same leap twice is how the tune goes, and one to another part of it, behind a double bar, is no wonder.
        if leap and few and leaps[last.pitch, here.pitch] == 1 and not _parted(tune, last, here):
            found.append(Problem(here.line, here.column, ProblemCode.LEAP))
        elif not leap and here.unit.octave is not None and not needs_octave(
                last.pitch, here.pitch) and _goes_on(tune, last, here):
            found.append(Problem(here.line, here.column, ProblemCode.NEEDLESS_MARK))
        if not melismas and _tie_meant(last, here):
            found.append(Problem(last.line, last.column, ProblemCode.SLUR_BETWEEN_EQUALS))
    found += _unlike(notes, tune)
    found = _without_bowing(found, notes)
    often = {code for code, times in Counter(p.code for p in found).items() if times > _MOST.get(code, times)}
    return tuple(sorted((p for p in found if p.code not in often), key=lambda p: (p.line, p.column)))


def _melismas(notes: list[_Placed]) -> bool:
    """Whether three notes and more are sung on one syllable somewhere: then equal notes are too."""
    return any(n.note.syllables for n in notes) and any(
        a.unit.slur and b.unit.slur for a, b in pairwise(notes))


def _parted(tune: Tune, last: _Placed, here: _Placed) -> bool:
    """Whether a double bar or a repeat sign stands between two notes."""
    return any(tune.bars[k].barline in (Barline.DOUBLE, Barline.FINAL) or tune.bars[k].backward_repeat
               or tune.bars[k + 1].forward_repeat for k in range(last.bar, here.bar))


def _unlike(notes: list[_Placed], tune: Tune) -> Iterator[Problem]:
    """Bars that are as others are but for one accidental: the rarer of two forms, and of two as rare the one without it."""
    bars: dict[int, list[_Placed]] = {}
    for here in notes:
        bars.setdefault(here.bar, []).append(here)
    alike: dict[tuple[object, ...], dict[tuple[int, ...], list[int]]] = {}
    key = tune.key
    for index in sorted(bars):
        key = tune.bars[index].key or key
        shape = (key.fifths, *((h.pitch.diatonic, h.note.quarters) for h in bars[index]))
        if len(bars[index]) >= FEWEST:
            alike.setdefault(shape, {}).setdefault(tuple(h.pitch.alter for h in bars[index]), []).append(index)
    for forms in alike.values():
        if len(forms) != 2:
            continue
        rarer, other = sorted(forms, key=lambda alters: (len(forms[alters]), sum(
            h.unit.alter is not None for h in bars[forms[alters][0]])))
        odd = [k for k, (a, b) in enumerate(zip(rarer, other, strict=True)) if a != b]
        here = bars[forms[rarer][0]][odd[0]]
        if len({bars[forms[rarer][0]][k].pitch.diatonic for k in odd}) == 1:
            yield Problem(here.line, here.column, ProblemCode.OTHER_ACCIDENTAL, bar=tune.bars[here.bar].number,
                          numbers=(tune.bars[forms[other][0]].number,))


def _tie_meant(last: _Placed, here: _Placed) -> bool:
    """Whether a slur joins two equal notes and nothing else."""
    return last.pitch == here.pitch and last.unit.slur == 1 and not here.unit.slur and bool(
        last.note.slur_starts and here.note.slur_stops) and not (last.note.marks or here.note.marks)


def _strays(notes: list[_Placed]) -> set[int]:
    """Notes with a mark that leap a sixth or more away from notes which lie by themselves, above or below all others of a
    tune: a mark may be missing or wrong before them. What goes on from one octave mark to the next lies together."""
    places = [note.pitch.diatonic for note in notes]
    if not places or max(places) - min(places) <= WIDE:
        return set()
    marked = [i for i, note in enumerate(notes) if note.unit.octave is not None]
    before = list(accumulate(places, lambda a, b: (min(a[0], b), max(a[1], b)), initial=(places[0], places[0])))
    after = list(accumulate(reversed(places), lambda a, b: (min(a[0], b), max(a[1], b)), initial=(places[-1], places[-1])))
    found = set()
    for first, end in pairwise([0, *marked]):
        at = next((k for k in range(end - 1, first, -1) if abs(places[k] - places[k - 1]) > THIRD), first) if end else 0
        others = [before[at], after[len(places) - end]] if at else [after[len(places) - end]]
        if end and abs(places[end] - places[end - 1]) >= SIXTH and max(b for _a, b in others) - min(
                a for a, _b in others) <= USUAL:
            found.add(end)
    return found


def _without_bowing(found: list[Problem], notes: list[_Placed]) -> list[Problem]:
    """The hints without those on slurs between equal notes, where there are several among more other slurs, or one among many:
    who slurs so much may slur these too."""
    equals = [p for p in found if p.code is ProblemCode.SLUR_BETWEEN_EQUALS]
    others = sum(here.note.slur_starts for here in notes) - len(equals)
    if 1 < len(equals) < others or (equals and others >= BOWED):
        return [p for p in found if p not in equals]
    return found


def _leaping(notes: list[_Placed]) -> set[int]:
    """Notes that lie more than an octave from the one before, in a tune of no more than `USUAL` but for what stands from one
    octave mark to the next before them or after them: who plays over two octaves leaps often."""
    places = [note.pitch.diatonic for note in notes]
    found = set()
    for i, (last, here) in enumerate(pairwise(places), 1):
        if abs(here - last) > OCTAVE:
            begin = next((k for k in range(i - 1, -1, -1) if notes[k].unit.octave is not None), 0)
            end = next((k for k in range(i + 1, len(notes)) if notes[k].unit.octave is not None), len(notes))
            others = (places[:begin] + places[i:], places[:i] + places[end:])
            if any(not rest or max(rest) - min(rest) <= USUAL for rest in others):
                found.add(i)
    return found


def _goes_on(tune: Tune, last: _Placed, here: _Placed) -> bool:
    """Whether nothing stands between two notes after which a mark is due: a line's end, words, a double bar ..."""
    if here.line != last.line or here.note.before or here.bar - last.bar > 1:
        return False
    if here.bar == last.bar:
        return True
    before, bar = tune.bars[last.bar], tune.bars[here.bar]
    return not (before.barline is not Barline.PLAIN or before.backward_repeat or before.after or bar.forward_repeat
                or bar.ending or bar.key or bar.time)


def _recalls(tune: Tune, here: _Placed) -> bool:
    """Whether an accidental takes back, for the eye, another one of its letter in this bar or the one before."""
    return any(n.pitch is not None and n.pitch.step == here.pitch.step and n.pitch.alter != here.pitch.alter
               for bar in tune.bars[max(0, here.bar - 1):here.bar + 1] for n in bar.notes)
