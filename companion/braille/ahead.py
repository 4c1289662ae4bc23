"""What must be known before the first note is written: slurs, syllables and runs of one mark reach over many notes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from companion.tune import Mark, Note, Tune

LONG_SLUR = 5  # a slur of so many notes is written with brackets (De Garmo, chapter 12: up to four notes singly)
DOUBLED_FROM = 4  # so many notes in a row with one mark: the sign doubled at the first, once at the last (ch. 14)
LONGEST_MELISMA = 64  # notes on one syllable; more is an interlude without rests, not a melisma
#: Marks that are doubled where they go on for four notes and more.
_RUNNING = tuple(mark for mark in Mark if mark.sign.doubled)
_DETACHED = frozenset((Mark.STACCATO, Mark.TENUTO))

Place = tuple[int, int]  # index of the bar, index of the note in it
_NOWHERE = (-1, -1)
Span = tuple[int, int]  # first and last note, counted over the notes with pitch


@dataclass(slots=True)
class Slurs:
    """What slurs put to one note: brackets, the single sign, the doubled one."""

    opens: int = 0
    closes: int = 0
    short: bool = False
    doubled: bool = False


@dataclass
class Ahead:
    """What was found, by place. signs: how many times a mark's sign stands, where that is not once. untied: notes
    whose tie is written as a slur."""

    slurs: dict[Place, Slurs] = field(default_factory=dict)
    signs: dict[Place, dict[Mark, int]] = field(default_factory=dict)
    untied: set[Place] = field(default_factory=set)


def look_ahead(tune: Tune, vocal: bool, doubled_slurs: bool, slurs_with_ties: bool) -> Ahead:
    """Slurs, the slurs of syllables (vocal), runs of marks. For the last two see `Habits`."""
    found = Ahead()
    slurred = False
    times: Counter[Mark] = Counter()
    for bar in tune.bars:
        for note in bar.notes:
            if note.slur_starts:
                slurred = True
            if note.marks:
                times.update(note.marks)
    if not (slurred or times or vocal):
        return found
    notes = [((b, n), note) for b, n, note in tune.written() if note.pitch is not None and not note.grace]
    spans = list(_written_slurs(notes))
    if not _DETACHED.isdisjoint(times):
        spans += _detached(notes, found)
    for mark in _RUNNING:
        if times[mark] >= DOUBLED_FROM:
            _runs(notes, mark, found)
    if vocal:
        _sung_slurs(tune, notes, spans, found, slurs_with_ties)
        return found
    for span in spans:
        _slur(notes, span, found, doubled_slurs, slurs_with_ties)
    return found


def _sung_slurs(tune: Tune, notes: list[tuple[Place, Note]], spans: list[Span], found: Ahead, slurs_with_ties: bool) -> None:
    """Slurs over words. The sign between notes means one syllable on them, doubled for more than four notes, and never
    the brackets; those are for phrases of several syllables, however short (New International Manual 16-7; MBC 35.2)."""
    melismas = list(_melismas(tune))
    for first, last in spans:
        if any(any(note.syllables) for _place, note in notes[first + 1:last + 1]):
            found.slurs.setdefault(notes[first][0], Slurs()).opens += 1
            found.slurs.setdefault(notes[last][0], Slurs()).closes += 1
        elif not any(a <= first and last <= b for a, b in melismas):
            melismas.append((first, last))  # without words: humming, a part that plays
    for span in melismas:
        _slur(notes, span, found, True, slurs_with_ties)


def _written_slurs(notes: list[tuple[Place, Note]]) -> Iterator[Span]:
    """The slurs of the score: the one that began last ends first, so that one within another stays within it."""
    begun: list[int] = []
    for i, (_place, note) in enumerate(notes):
        for _unused in range(note.slur_stops):
            if begun:
                yield begun.pop(), i
        begun += [i] * note.slur_starts


def _detached(notes: list[tuple[Place, Note]], found: Ahead) -> list[Span]:
    """Repeated notes that look tied but are parted by staccato or tenuto count as slurred (De Garmo, chapter 14)."""
    spans = []
    for i, (place, note) in enumerate(notes[:-1]):
        if note.tie and not _DETACHED.isdisjoint((*note.marks, *notes[i + 1][1].marks)):
            found.untied.add(place)
            spans.append((i, i + 1))
    return spans


def _runs(notes: list[tuple[Place, Note]], mark: Mark, found: Ahead) -> None:
    """Runs of one mark: the sign doubled at the first note, none at those within, once at the last."""
    first = 0
    for i, (_place, note) in enumerate([*notes, (_NOWHERE, None)]):
        if note and mark in note.marks:
            continue
        if i - first >= DOUBLED_FROM:
            for k in range(first, i - 1):
                found.signs.setdefault(notes[k][0], {})[mark] = 2 if k == first else 0
        first = i + 1


def _slur(notes: list[tuple[Place, Note]], span: Span, found: Ahead, doubled_slurs: bool, slurs_with_ties: bool) -> None:
    """Puts a slur to its notes."""
    first, last = span
    long = last - first + 1 >= LONG_SLUR
    both = slurs_with_ties if not long else not doubled_slurs
    if not both:
        # A tie at either end stands for that part of the slur (De Garmo, chapter 12).
        first += notes[first][1].tie and notes[first][0] not in found.untied
        last -= notes[last - 1][1].tie and notes[last - 1][0] not in found.untied
    at = [found.slurs.setdefault(place, Slurs()) for place, _ in notes[first:last + 1]]
    if last <= first:
        return
    if not long:
        for here in at[:-1]:
            here.short = True
    elif doubled_slurs:
        at[0].doubled = True
        at[-2].short = True
    else:
        at[0].opens += 1
        at[-1].closes += 1


def _melismas(tune: Tune) -> Iterator[Span]:
    """Runs of notes sung on one syllable: on which no verse has another. Within a word a run goes on over rests."""
    first = last = i = -1
    tied = True  # nothing in the run but one tied note
    held = unfinished = False
    for _unused, _unused, note in tune.written():
        if note.grace:
            continue
        begins = any(note.syllables)
        if ((note.pitch is None and not unfinished) or begins) and last > first and not tied:
            yield first, last
        if note.pitch is None:
            if not unfinished:
                first = last = -1
            held = False
            continue
        i += 1
        if begins:
            first, last, tied, held = i, i, True, note.tie
            unfinished = any(said and said.place in ("begin", "middle") for said in note.syllables)
        elif first >= 0:
            tied, held = tied and held, note.tie
            last = i if unfinished or i - first < LONGEST_MELISMA else first
    if first >= 0 and last > first and not tied:
        yield first, last
