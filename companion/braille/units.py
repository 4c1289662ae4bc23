"""A note with the signs that belong to it, as cells: taken apart by the same tables that write it.

A group of cells between spaces (a bar, as a rule) falls into units: signs that stand before a note, the note or
rest, signs that stand after it. `split` cuts a group, `unit` reads one; both never raise, whatever the cells.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from enum import StrEnum
from functools import lru_cache

from companion.braille import signs as S
from companion.braille.model import Meaning, MeaningKind, ProblemCode, Slip
from companion.braille.rhythm import BREVE, GROUP, LARGER, REST, SMALLER
from companion.braille.signs import Role
from companion.braille.text import read_words
from companion.tune import STEPS, Barline, DirectionKind, Grace, Jump, Mark, ScoreDirection, Sign, Stands

MOST_DOTS = 4  # print has three at most; one folk melody of the Essen collection has four
#: Cells that words are made of: six-dot cells with any of dots 1, 2, 3 (a word of music ends where dots 4, 5, 6
#: stand alone, since the octave mark of the next note is due there), dot 3 itself apart.
TEXT_CELLS = "".join(c for c in S.LEFT_CELLS if c not in (S.DOT, S.WORD))
_T = f"[{TEXT_CELLS}]"
_LOWER = "".join(S.LOWER_DIGITS.values())


def _standing(*places: Stands) -> dict[str, S.Entry]:
    """Signs by their cells, of those that stand in these places."""
    return {e.sign.cells: e for e in S.TABLE if e.sign.stands in places and e.sign.cells != S.SPACE}


HEAD = _standing(Stands.BEFORE, Stands.EITHER)
TAIL = _standing(Stands.AFTER, Stands.EITHER)
BARS = _standing(Stands.BAR)
_AFTER_NOTE = TAIL | BARS
#: Groups of so many notes: the group sign, lowered digits, dot 3.
GROUPS = {S.GROUP + "".join(S.LOWER_DIGITS[d] for d in str(n)) + S.DOT: n for n in range(2, 21)}
#: Notes by their cells: letter and row. Rests: row. A breve is two semibreves with a sign between.
NOTES: dict[str, tuple[str, int]] = {
    S.cells(upper + dots): (name, row) for row, dots in enumerate(S.ROW_DOTS) for name, upper in S.NAMES.items()}
RESTS: dict[str, int] = {S.cells(dots): row for row, dots in enumerate(S.ROW_RESTS)}
NOTES |= {cell + S.BREVE + cell: (name, BREVE) for cell, (name, row) in NOTES.items() if row == 0}
RESTS |= {S.WHOLE_REST + S.BREVE + S.WHOLE_REST: BREVE}


def _any(*tables: Iterable[str]) -> str:
    """A pattern for any key of these tables, the longest first."""
    return "|".join(map(re.escape, sorted({cell for table in tables for cell in table}, key=lambda c: (-len(c), c))))


_WORDS = f"{S.WORD}{_T}++{S.DOT}?"
_ENDING = f"{S.NUMBER}[{_LOWER}]++{S.DOT}?"
#: Signs that a dot 3 may follow, which keeps what comes next from running into them.
_DOTTED = (S.SEGNO, S.CODA, S.CRESCENDO_END, S.DIMINUENDO_END)
_HEADS = f"(?:{_any(_DOTTED)}){S.DOT}?|{_any(HEAD, GROUPS)}"
_CORE = _any(NOTES, RESTS)
_OCTAVE = _any(S.OCTAVES.values())
_THIRD, _FOURTH = (S.sign_of(Role.INTERVAL, steps).cells for steps in (3, 4))
#: The interval of a third has the cells of the segno (and with a finger those of the coda), after which a dot or an octave
#: mark comes; that of a fourth those of the number sign.
_DIGITS = "".join(S.UPPER_DIGITS.values()) + _LOWER
_MARKED = f"(?:(?!{_OCTAVE})(?:{_HEADS}|{_WORDS}))*+(?:{_OCTAVE})"
_TAILS = (f"{_any(cells for cells in TAIL if cells not in (_THIRD, _FOURTH))}|{_FOURTH}(?![{_DIGITS}])"
          f"|{_THIRD}(?!{S.cells('123')}?(?:{S.DOT}|{_MARKED}))")
_BARS = _any(BARS)
_UNIT = re.compile(
    f"(?:(?!{_BARS})(?:{_HEADS}|{_WORDS}|{_ENDING}))++(?:(?:{_CORE})(?:{_TAILS})*+(?:{_BARS})*+|(?:{_BARS})*+)"
    f"|(?:{_CORE})(?:{_TAILS})*+(?:{_BARS})*+|(?:{_BARS})++|.", re.DOTALL)
_HEAD_TOKEN = re.compile(f"(?!{_BARS})(?:{_HEADS}|{_WORDS}|{_ENDING})", re.DOTALL)
_CORE_TOKEN = re.compile(_CORE)
_TAIL_TOKEN = re.compile(f"{_TAILS}|{_BARS}")

split = _UNIT.findall


class UnitKind(StrEnum):
    """What a unit is."""

    NOTE = "note"
    REST = "rest"
    SIGNS = ""  # signs without a note


class Unit:
    """One unit of cells, read by itself: what the bar and the notes before must add is not in it.

    row: 0 to 3, or 4 for a breve. code: for `rhythm.read_bar`. octave, alter: None where no sign stands. slur: 0, 1,
    or 2 for a doubled one. merged: how many syllables are sung on it, 0 where no sign says so. fingers, intervals: how many
    such signs. goes_on: groups of this number follow without their sign. core: offset and cells of the note itself, its
    dots included. lead: cells at its beginning that are not the note's own (words, repeat signs, an ending's number).
    reset: something stands here after which an octave mark is due. problems and said: places are offsets in the unit.
    """

    __slots__ = ("after", "alter", "backward", "barline", "before", "code", "core", "dots", "editorial", "ending",
                 "fingers", "forward", "goes_on", "grace", "group", "index", "intervals", "kind", "lead", "marks", "merged",
                 "octave", "plain", "problems", "reset", "row", "said", "size", "slur", "slur_closes", "slur_opens", "step",
                 "tie", "unknown")

    def __init__(self) -> None:
        self.kind = UnitKind.SIGNS
        self.step = ""
        self.index = 0  # of the letter, C 0 to B 6
        self.row = self.dots = self.code = self.group = self.size = self.lead = 0
        self.slur = self.slur_opens = self.slur_closes = self.merged = self.fingers = self.intervals = 0
        self.core = (0, 0)
        self.octave: int | None = None
        self.alter: int | None = None
        self.grace = Grace.NONE
        self.barline = Barline.PLAIN
        self.editorial = self.goes_on = self.tie = self.forward = self.backward = self.reset = self.plain = self.unknown = False
        self.marks: tuple[Mark, ...] = ()
        self.after: tuple[Mark, ...] = ()
        self.before: tuple[ScoreDirection, ...] = ()
        self.ending: tuple[int, ...] = ()
        self.problems: tuple[tuple[int, Slip], ...] = ()
        self.said: tuple[tuple[int, int, Meaning], ...] = ()


def _name(entry: S.Entry) -> Sign | S.Role:
    """What a sentence about a sign calls it by: marks and accidentals by their own names, others by what they do."""
    return entry.sign if entry.role in (S.Role.MARK, S.Role.GRACE, S.Role.ACCIDENTAL) else entry.role


_JUMPS = {jump.short: jump for jump in Jump if not jump.sign}
#: The signs of hairpins are a word sign and one letter.
_HAIRPINS = {"c": DirectionKind.CRESCENDO, "d": DirectionKind.DIMINUENDO}
_HAIRPIN_SIGNS = {letter: S.sign_of(Role.HAIRPIN, kind) for letter, kind in _HAIRPINS.items()}


def direction(text: str) -> ScoreDirection:
    """Words as they stood after a word sign, as a direction: a dynamic, a hairpin, a jump or words."""
    if text in _HAIRPINS:
        return ScoreDirection(_HAIRPINS[text])
    if text in S.DYNAMICS:
        return ScoreDirection(DirectionKind.DYNAMIC, text)
    if text in _JUMPS:
        return ScoreDirection(DirectionKind.JUMP, _JUMPS[text])
    return ScoreDirection(DirectionKind.WORDS, S.LONG_WORDS.get(text, text))


def read_expression(cells: str) -> str:
    """Words within music back to text; dot 3 is the point of an abbreviation."""
    return "".join(read_words(part) if part != S.DOT else "." for part in re.split(f"({S.DOT})", cells))


#: What a sign does to its unit, by its role: its value is kept under a name, a flag is set, a count goes up.
_KEPT = {Role.OCTAVE: "octave", Role.ACCIDENTAL: "alter", Role.GRACE: "grace", Role.GROUP: "group",
         Role.BARLINE: "barline", Role.MERGED: "merged"}
_FLAGS = {Role.EDITORIAL: "editorial", Role.TIE: "tie", Role.FORWARD: "forward", Role.BACKWARD: "backward"}
_COUNTS = {Role.SLUR: "slur", Role.SLUR_OPENS: "slur_opens", Role.SLUR_CLOSES: "slur_closes",
           Role.FINGER: "fingers", Role.INTERVAL: "intervals"}
#: After these an octave mark is due.
_RESETS = frozenset((Role.FORWARD, Role.BACKWARD, Role.BARLINE, Role.JUMP, Role.HAIRPIN_END, Role.WORDS, Role.ENDING,
                     Role.SECOND_VOICE))
_SIZES = {S.Size.LARGER: LARGER, S.Size.SMALLER: SMALLER}
_LEAD, _SLURS, _OCTAVES = 1, 3, 7  # hundreds of `Sign.rank`: what belongs to the bar, slurs, octave marks


class _UnitReader:
    """Reads one unit from left to right: signs before, the note or rest, signs after."""

    def __init__(self, cells: str) -> None:
        self.cells = cells
        self.at = self.rank = 0
        self.previous: Sign | Role = Role.WORDS
        self.unit = Unit()
        self.marks: list[Mark] = []
        self.after: list[Mark] = []
        self.before: list[ScoreDirection] = []
        self.problems: list[tuple[int, Slip]] = []
        self.said: list[tuple[int, int, Meaning]] = []

    def read(self) -> Unit:
        u = self.unit
        while match := _HEAD_TOKEN.match(self.cells, self.at):
            self._before(match[0])
        if match := _CORE_TOKEN.match(self.cells, self.at):
            self._note(match[0])
            self._tail(_AFTER_NOTE)
        else:
            self._tail(BARS)
            if self.rank >= _SLURS and self.at == len(self.cells) and not (u.backward or u.barline):
                self._amiss(Slip(ProblemCode.NO_NOTE_AFTER, (self.previous,)), 0)
        if self.at < len(self.cells):
            u.unknown = True
            self._amiss(Slip(ProblemCode.UNKNOWN_SIGN, numbers=tuple(map(ord, self.cells[self.at:]))))
        if u.kind is UnitKind.REST and (u.octave is not None or u.alter is not None):
            self._amiss(Slip(ProblemCode.MARK_AT_A_REST), 0)
        return self._finished()

    def _before(self, token: str) -> None:
        """One sign before the note."""
        role: Role
        name: Sign | Role
        if token[0] == S.WORD and token.rstrip(S.DOT) not in HEAD:
            role, name, rank = Role.WORDS, Role.WORDS, _LEAD
            self._words(token)
        elif token[0] == S.NUMBER:
            role, name, rank = Role.ENDING, Role.ENDING, _LEAD
            self._ending(token)
        elif token in GROUPS:
            role, name, rank = Role.GROUP, Role.GROUP, HEAD[S.TRIPLET].sign.rank // 100
            self.unit.group = GROUPS[token]
            self._says(token, Meaning(MeaningKind.GROUP, numbers=(GROUPS[token],)))
        else:
            sign = token if token in HEAD else token[:-1]
            if sign != token:
                self.said.append((self.at + len(sign), 1, Meaning(MeaningKind.SIGN, S.sign_of(Role.APART_DOT))))
            entry = HEAD[sign]
            role, name, rank = entry.role, _name(entry), entry.sign.rank // 100
            self._does(entry)
            self._says(sign, Meaning(MeaningKind.SIGN, entry.sign))
        if role in _RESETS:
            self.unit.reset = True
        if rank < self.rank:
            self._amiss(Slip(ProblemCode.OUT_OF_ORDER, (name, self.previous)))
        elif rank == self.rank == _OCTAVES:
            self._amiss(Slip(ProblemCode.TWO_OCTAVE_MARKS))
        self.rank, self.previous = rank, name
        self.at += len(token)
        if rank <= _LEAD:
            self.unit.lead = self.at

    def _words(self, token: str) -> None:
        text = read_words(token[1:].rstrip(S.DOT))
        ends = self.at + len(token)
        # Dot 3 is an abbreviation's point where it need not keep what comes next from running into the word.
        point = text in S.ABBREVIATIONS or (ends < len(self.cells) and not S.is_left(self.cells[ends]))
        if token[-1] == S.DOT and point and len(text) > 1 and text not in S.DYNAMICS:
            text += "."
        self.before.append(direction(text))
        if hairpin := _HAIRPIN_SIGNS.get(text):
            self._says(token, Meaning(MeaningKind.SIGN, hairpin))
        else:
            self._says(token, Meaning(MeaningKind.DYNAMIC if text in S.DYNAMICS else MeaningKind.WORDS, text=text))

    def _ending(self, token: str) -> None:
        numbers = tuple(_LOWER.index(c) for c in token[1:].rstrip(S.DOT))
        self.unit.ending = tuple(n for n in numbers if n)
        self._says(token, Meaning(MeaningKind.ENDING, numbers=numbers))

    def _does(self, entry: S.Entry) -> None:
        """What a sign of the tables does. Raises KeyError for a role that nothing is known to do: tests read them all."""
        u, role = self.unit, entry.role
        if role is Role.GROUP and u.group == entry.value:
            u.goes_on = True
        if role in _KEPT:
            setattr(u, _KEPT[role], entry.value)
        elif role in _FLAGS:
            setattr(u, _FLAGS[role], True)
        elif role in _COUNTS:
            setattr(u, _COUNTS[role], getattr(u, _COUNTS[role]) + 1)
        else:
            _DOES[role](self, entry)

    def _mark(self, entry: S.Entry) -> None:
        if isinstance(entry.value, Mark):
            (self.after if self.unit.kind else self.marks).append(entry.value)

    def _size(self, entry: S.Entry) -> None:
        if isinstance(entry.value, S.Size):
            self.unit.size = _SIZES[entry.value]

    def _jump(self, entry: S.Entry) -> None:
        self.before.append(ScoreDirection(DirectionKind.JUMP, str(entry.value)))

    def _hairpin_end(self, entry: S.Entry) -> None:
        self.before.append(ScoreDirection(DirectionKind.HAIRPIN_END))

    def _second_voice(self, entry: S.Entry) -> None:
        self._amiss(Slip(ProblemCode.SECOND_VOICE))

    def _note(self, token: str) -> None:
        u = self.unit
        if token in NOTES:
            u.kind = UnitKind.NOTE
            u.step, u.row = NOTES[token]
            u.index = STEPS.index(u.step)
        else:
            u.kind, u.row = UnitKind.REST, RESTS[token]
        core = self.at
        self.at += len(token)
        while self.cells[self.at:self.at + 1] == S.DOT and u.dots < MOST_DOTS:
            u.dots += 1
            self.at += 1
        u.core = (core, self.at - core)

    def _tail(self, known: dict[str, S.Entry]) -> None:
        """Signs after the note, or at the end of the bar."""
        while (match := _TAIL_TOKEN.match(self.cells, self.at)) and (entry := known.get(match[0])):
            if entry.role is Role.DOT:
                begins, length = self.unit.core
                apart = self.at != begins + length
                self._amiss(Slip(ProblemCode.DOT_APART if apart else ProblemCode.TOO_MANY_DOTS))
            else:
                self._says(match[0], Meaning(MeaningKind.SIGN, entry.sign))
                self._does(entry)
                if entry.role in _RESETS:
                    self.unit.reset = True
            self.at += len(match[0])

    def _says(self, token: str, meaning: Meaning) -> None:
        self.said.append((self.at, len(token), meaning))

    def _amiss(self, slip: Slip, at: int | None = None) -> None:
        self.problems.append((self.at if at is None else at, slip))

    def _finished(self) -> Unit:
        u = self.unit
        u.marks, u.after, u.before = tuple(self.marks), tuple(self.after), tuple(self.before)
        u.problems, u.said = tuple(self.problems), tuple(self.said)
        u.code = u.row + 8 * u.dots + (REST if u.kind is UnitKind.REST else 0)
        more = (u.marks, u.after, u.before, u.grace, u.barline, u.slur, u.slur_opens, u.slur_closes, u.group, u.size, u.ending,
                u.forward, u.backward, u.editorial, u.merged, u.fingers, u.intervals, u.problems)
        u.plain = u.kind is not UnitKind.SIGNS and not any(more)
        return u


_DOES: dict[Role, Callable[[_UnitReader, S.Entry], None]] = {
    Role.MARK: _UnitReader._mark, Role.SIZE: _UnitReader._size, Role.JUMP: _UnitReader._jump,
    Role.HAIRPIN_END: _UnitReader._hairpin_end, Role.SECOND_VOICE: _UnitReader._second_voice,
}


@lru_cache(maxsize=20_000)
def unit(cells: str) -> Unit:
    """Read one unit. What is not understood is in its `problems`, never an error."""
    return _UnitReader(cells).read()


def shape_of(units: list[Unit]) -> tuple[int, ...]:
    """The cells of a bar as `rhythm.read_bar` wants them; grace notes have no time and are left out."""
    shape: list[int] = []
    for u in units:
        if u.kind and not u.grace:
            if u.size:
                shape.append(u.size)
            if u.group:
                shape.append(GROUP + u.group)
            shape.append(u.code)
    return tuple(shape)
