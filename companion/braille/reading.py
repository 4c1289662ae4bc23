"""What was read: the tune, what is amiss, where every note stands, and what every cell says."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from companion.braille import signs as S
from companion.braille.bars import Reader
from companion.braille.groups import (
    METRONOME_MARK,
    is_expression,
    meanings,
    metronome_meaning,
    read_signature,
    signature_meanings,
)
from companion.braille.hints import hints
from companion.braille.layout import Row
from companion.braille.model import Link, Meaning, MeaningKind, PartName, Problem, ProblemCode, Said
from companion.braille.signs import Role
from companion.braille.text import read_words
from companion.tune import Bar, Note, Tune


@dataclass(frozen=True, slots=True)
class Raw:
    """What places and words are worked out from when they are asked for. hints: those of the words."""

    reader: Reader
    heading: list[Row]
    texts: list[Said]
    hints: list[Problem]
    at: Callable[[int], tuple[int, int]]


@dataclass(frozen=True)
class Reading:
    """A page as it was read.

    pitch_only: a reading exercise: its notes have pitch but no values, whatever cells stand for them. parts: all parts of a
    page of several, each as a page of its own; the page itself is the first of them, with what is amiss in any.
    """

    tune: Tune
    problems: tuple[Problem, ...]
    pitch_only: bool = False
    parts: tuple[tuple[PartName, Reading], ...] = ()
    _raw: Raw | None = field(default=None, repr=False, compare=False)

    @cached_property
    def hints(self) -> tuple[Problem, ...]:
        """What is odd and cannot be proved wrong, in order of place."""
        raw = self._raw
        if raw is None:
            return ()
        if self.parts:  # bar over bar every bar has its octave mark (De Garmo, chapter 24)
            found = {p for _name, part in self.parts for p in part.hints if p.code is not ProblemCode.NEEDLESS_MARK}
            return tuple(sorted(found, key=lambda p: (p.line, p.column)))
        all_hints = [*hints(self.tune, raw.reader.written, raw.at), *raw.hints,
                 *(slip.at(*raw.at(offset)) for offset, slip in raw.reader.hints)]
        return tuple(sorted(all_hints, key=lambda p: (p.line, p.column)))

    def amiss_in(self, bars: range) -> tuple[tuple[Problem, ...], tuple[Problem, ...]]:
        """Problems and hints from the end of the bar before the bars of these numbers to the beginning of the one after."""
        start, stop = (0, 0), (sys.maxsize, 0)
        for bar, _note, line, column, cells in self.places:
            if self.tune.bars[bar].number < bars.start:
                start = max(start, (line, column + cells))
            elif self.tune.bars[bar].number >= bars.stop:
                stop = min(stop, (line, column))

        def within(found: tuple[Problem, ...]) -> tuple[Problem, ...]:
            return tuple(p for p in found if start <= (p.line, p.column) < stop)

        return within(self.problems), within(self.hints)

    @cached_property
    def places(self) -> tuple[tuple[int, int, int, int, int], ...]:
        """(bar index, note index, line, column, cells) for every written note and rest, in order."""
        out: list[tuple[int, int, int, int, int]] = []
        if self._raw:
            for written in self._raw.reader.written:
                n = 0
                for at, cells, u, again in written.placed():
                    if u.kind:
                        lead, length = (0, 1) if again else (u.lead, len(cells) - u.lead)
                        out.append((written.bar, n, *self._raw.at(at + lead), length))
                        n += 1
            for bar, at, length in self._raw.reader.repeated:
                out += [(bar, n, *self._raw.at(at), length) for n in range(len(self.tune.bars[bar].notes))]
        return tuple(sorted(out))

    def lengths(self) -> list[tuple[Bar, Note, Fraction | None]]:
        """Every note and rest with its bar and its length in quarters, None where the page gives pitch only."""
        out: list[tuple[Bar, Note, Fraction | None]] = []
        time = self.tune.time
        for bar in self.tune.bars:
            time = bar.time or time
            for note in bar.notes:
                length = time.quarters if note.whole_bar else note.quarters
                out.append((bar, note, None if self.pitch_only else length))
        return out

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """As `BraillePage.links`: notes counted from 1, rests and grace notes not."""
        out: list[Link] = []
        for bar, place, line, column, cells in self.places:
            note = self.tune.bars[bar].notes[place]
            if note.pitch is not None and not note.grace:
                out.append(Link(len(out) + 1, line, column, cells))
        return tuple(out)

    def _here(self, meaning: Meaning) -> Meaning:
        """What a sign says on this page: fingers 2 and 3 have the cells of merged syllables, which only songs have."""
        sign = meaning.sign
        if sign is None or not (sign in _FINGERS or (sign in _MERGED and self._raw and not self._raw.reader.vocal)):
            return meaning
        return Meaning(MeaningKind.FINGER, numbers=(_FINGERS.get(sign) or _MERGED[sign],))

    @cached_property
    def said(self) -> tuple[Said, ...]:
        """Every sign of the page and what it says, in order of place."""
        raw = self._raw
        if raw is None:
            return ()
        if self.parts:
            return tuple(sorted({s for _name, part in self.parts for s in part.said}, key=lambda s: (s.line, s.column)))
        out = [*_heading_said(raw.heading), *raw.texts]
        for at, cells in raw.reader.others:
            out += _group_said(raw, at, cells)
        for written in raw.reader.written:
            notes = iter(self.tune.bars[written.bar].notes)
            for at, cells, u, again in written.placed():
                note = next(notes, None) if u.kind else None
                if again:
                    continue
                if is_expression(cells):
                    out += _group_said(raw, at, cells)
                    continue
                line, column = raw.at(at)
                out += [Said(line, column + offset, length, self._here(meaning)) for offset, length, meaning in u.said]
                if note is not None:
                    offset, length = u.core
                    meaning = Meaning(MeaningKind.NOTE, note=note, pitch_only=self.pitch_only)
                    out.append(Said(line, column + offset, length, meaning))
        return tuple(sorted(out, key=lambda s: (s.line, s.column)))


_FINGERS = {S.sign_of(Role.FINGER, n): n for n in (1, 4)}
_MERGED = {S.sign_of(Role.MERGED, n): n for n in (2, 3)}


def _group_said(raw: Raw, place: int, cells: str) -> Iterator[Said]:
    """Signs that are no bar of notes; words may run over the end of a line."""
    for offset, length, meaning in meanings(cells.replace("\n", S.SPACE)):
        at = place + offset
        for part in cells[offset:offset + length].split("\n"):
            if part:
                yield Said(*raw.at(at), len(part), meaning)
            at += len(part) + 1


def _heading_said(rows: list[Row]) -> list[Said]:
    said: list[Said] = []
    for row in rows:
        column = row.column
        text: list[str] = []
        began = column
        for group in row.cells.split(S.SPACE):
            signature = read_signature(group)
            if signature:
                said += [Said(row.number, column + o, length, what)
                         for o, length, what in signature_meanings(group, *signature)]
            elif match := METRONOME_MARK.fullmatch(group):
                said.append(Said(row.number, column, len(group), metronome_meaning(match)))
            elif group:
                began = began if text else column
                text.append(group)
            column += len(group) + 1
        if text:
            cells = S.SPACE.join(text)
            said.append(Said(row.number, began, len(cells), Meaning(MeaningKind.HEADING, text=read_words(cells))))
    return said
