"""Notes from their units: octaves, accidentals, ties, slurs and marks, which go on from note to note.

The octave comes back by the rule that left its marks out (MBC 2015, 3.2.2): a note without one lies within a second or
third, or within a fourth or fifth in the same octave.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache

from companion.braille.model import ProblemCode, Slip
from companion.braille.rhythm import BASES, Value
from companion.braille.units import Unit
from companion.tune import STEPS, Display, Key, Mark, Note, Pitch, ScoreDirection, Tuplet

#: Values of grace notes by row: they have no time of their own, so the commonest value of each row is meant.
GRACE_BASES = (Fraction(1, 4), Fraction(1, 8), Fraction(1), Fraction(1, 2), Fraction(8))
LOWEST, HIGHEST, USUAL = 0, 8, 4  # octaves that have a mark; where a first note without one is taken to lie

_Key = tuple[int, int, int, int, bool, Display]  # Pitch.diatonic (-1: a rest), alter, value, dots, tie, accidental
_note_cache: dict[_Key, Note] = {}
MOST_NOTES = 50_000  # kept in the cache
# Members of enums that are asked for at every note: on the enum itself they take ten times as long to look up.
_NEEDED, _SHOWN, _EDITORIAL = Display.NEEDED, Display.SHOWN, Display.EDITORIAL


def plain_note(key: _Key) -> Note:
    """Notes are frozen, so that equal ones can be one object; making them is what reading spends its time on."""
    note = _note_cache.get(key)
    if note is None:
        if len(_note_cache) > MOST_NOTES:
            _note_cache.clear()
        place, alter, value, dots, tie, accidental = key
        pitch = Pitch(STEPS[place % 7], place // 7, alter) if place >= 0 else None
        note = _note_cache[key] = Note(pitch=pitch, base=BASES[value], dots=dots, tie=tie, accidental=accidental)
    return note


@lru_cache(maxsize=16)
def _key_alter(fifths: int) -> tuple[int, ...]:
    key = Key(fifths)
    return tuple(key.alter(step) for step in STEPS)


def nearest_octave(before: int, index: int) -> int:
    """The octave of a letter (C 0 to B 6) without a mark after the note before (Pitch.diatonic)."""
    octave, last = divmod(before, 7)
    if index - last > 4:
        return octave - 1
    return octave + 1 if last - index > 4 else octave


class NoteReader:
    """What goes on from note to note. offset: where the unit of an index in the bar under way begins in the text."""

    def __init__(self, problems: list[tuple[int, Slip]], offset: Callable[[int], int]) -> None:
        self.problems, self.offset = problems, offset
        self.due: ProblemCode | None = ProblemCode.MARK_FOR_FIRST_NOTE  # why an octave mark is due, None where none is
        self.before: int | None = None  # the note before, as Pitch.diatonic
        self.tied: tuple[int, int] | None = None  # (Pitch.diatonic, alter) of a note that is tied to the next
        self.key_alter = _key_alter(0)
        self.in_force: dict[int, int] = {}  # accidentals of the bar under way, by Pitch.diatonic
        self.chain = False  # under a short slur
        self.doubled = 0  # under a doubled slur: 1, and 2 where the next note ends it
        self.brackets = 0  # long slurs open
        self.running: set[Mark] = set()  # marks that a doubled sign has set going

    def begin_bar(self, key: Key) -> None:
        self.key_alter = _key_alter(key.fifths)
        self.in_force = {}

    def wants_mark(self, reason: ProblemCode) -> None:
        """An octave mark is due at the next note, if it was not before."""
        self.due = self.due or reason

    @property
    def at_rest(self) -> bool:
        """Whether nothing that began earlier (a slur, a run of marks) waits for the next note."""
        return not (self.running or self.doubled or self.chain or self.brackets)

    # --- pitch ------------------------------------------------------------------------------------------------

    def plain(self, u: Unit, i: int, value: Value) -> Note:
        """A note with pitch and value alone. i: index of its unit."""
        index, octave, tie = u.index, u.octave, u.tie
        if octave is None:
            octave = self._octave(index, i)
        self.due = None
        self.before = place = 7 * octave + index
        if self.tied is None and u.alter is None:
            alter, display = self.in_force.get(place, self.key_alter[index]), _NEEDED
        else:
            alter, display, _held = self._alter(u, place, i)
        self.tied = (place, alter) if tie else None
        base, dots, tuplet = value
        if tuplet is None:
            key = (place, alter, base, dots, tie, display)
            return _note_cache.get(key) or plain_note(key)
        return Note(pitch=Pitch(u.step, place // 7, alter), base=BASES[base], dots=dots, tie=u.tie, tuplet=Tuplet(*tuplet),
                    accidental=display)

    def _octave(self, index: int, i: int) -> int:
        """The octave of a note without a mark."""
        if self.due:
            self._amiss(i, self.due)
        before = self.before
        if before is None:
            return USUAL
        octave = nearest_octave(before, index)
        if LOWEST <= octave <= HIGHEST:
            return octave
        self._amiss(i, ProblemCode.OUTSIDE_OCTAVES)
        return min(HIGHEST, max(LOWEST, octave))

    def _alter(self, u: Unit, place: int, i: int) -> tuple[int, Display, bool]:
        """What accidentals do to a note: its own, those of the bar, or that of the note which is tied to it; how it
        is printed; and whether a tie leads to it."""
        tied = None if u.grace else self.tied  # a tie goes on over grace notes
        if tied is not None and tied[0] != place:
            self._amiss(i, ProblemCode.TIE_TO_ANOTHER_PITCH)
            tied = None
        if tied is not None and u.alter not in (None, tied[1]):
            tied = None  # another pitch by its own sign
        current = tied[1] if tied is not None else self.in_force.get(place, self.key_alter[u.index])
        alter = current if u.alter is None else u.alter
        if tied is None:
            self.in_force[place] = alter
        display = _EDITORIAL if u.editorial else _SHOWN if u.alter == current else _NEEDED
        return alter, display, tied is not None

    # --- all that can stand at a note -------------------------------------------------------------------------

    def rich(self, u: Unit, i: int, value: Value | None, before: tuple[ScoreDirection, ...]) -> tuple[Note, bool]:
        """A note with all its signs, and whether a syllable may begin at it. value: None for a grace note. before:
        directions that wait for it."""
        octave = u.octave
        if octave is None:
            octave = self._octave(u.index, i)
        self.due = None
        self.before = place = 7 * octave + u.index
        alter, display, held = self._alter(u, place, i)
        base, dots, tuplet = value_of(u, value)
        self.own_problems(u, i)
        # The slur between notes keeps its syllable; brackets are phrases and move no words (NIM 16-7).
        under = self.chain or self.doubled > 0
        starts, stops = self._slurs(u, i)
        note = Note(pitch=Pitch(u.step, place // 7, alter), base=base, dots=dots, tuplet=tuplet, grace=u.grace, tie=u.tie,
                    accidental=display, slur_starts=starts, slur_stops=stops, marks=(*self._marks(u), *u.after),
                    before=(*before, *u.before))
        if not u.grace:
            self.tied = (place, alter) if u.tie else None
        return note, not (u.grace or held or under)

    def own_problems(self, u: Unit, i: int) -> None:
        """What is amiss in a unit by itself."""
        if u.problems:
            at = self.offset(i)
            self.problems += [(at + o, slip) for o, slip in u.problems]

    def _slurs(self, u: Unit, i: int) -> tuple[int, int]:
        """How many slurs begin and end at a note: brackets, doubled signs, single signs."""
        starts, stops = u.slur_opens, u.slur_closes
        if stops > self.brackets:
            if not u.slur_opens or stops > self.brackets + u.slur_opens:
                self._amiss(i, ProblemCode.SLUR_NEVER_BEGAN)
            stops = self.brackets
        if u.grace:
            return starts, stops
        self.brackets += starts - stops
        if self.doubled == 2:
            stops, self.doubled = stops + 1, 0
        if u.slur >= 2 and not self.chain:
            starts, self.doubled = starts + 1, 1
        elif self.doubled == 1 and u.slur == 1:
            self.doubled = 2
        elif u.slur and not self.chain:
            starts, self.chain = starts + 1, True
        elif not u.slur and self.chain:
            stops, self.chain = stops + 1, False
        return starts, stops

    def _marks(self, u: Unit) -> list[Mark]:
        """The marks of a note. A sign doubled goes on to the note where it stands once more (De Garmo, chapter 14)."""
        marks = list(dict.fromkeys(u.marks))
        if u.grace:
            return marks
        going = [mark for mark in Mark if mark in self.running and mark not in marks] if self.running else []
        for mark in marks:
            if u.marks.count(mark) > 1:
                self.running.add(mark)
            else:
                self.running.discard(mark)
        return marks + going

    def _amiss(self, i: int, code: ProblemCode) -> None:
        self.problems.append((self.offset(i), Slip(code)))


def value_of(u: Unit, value: Value | None) -> tuple[Fraction, int, Tuplet | None]:
    """Base value, dots, group. value: None for a grace note."""
    if value is None:
        return GRACE_BASES[u.row], 0, None
    return BASES[value.base], value.dots, Tuplet(*value.tuplet) if value.tuplet else None
