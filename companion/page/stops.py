"""Braille sign by sign, for the cursor: every stop has its cells, what they say, their dots, its bar, and its sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from companion.braille import MeaningKind, Problem, Reading
from companion.language import Language, say_dots, say_meaning, say_problem

MOST_STOPS = 4000  # more make no page that anybody reads


@dataclass(frozen=True)
class Stop:
    """One sign. line, column: from 1. bar: its index, that of the last note before it. midi: of a note, else None."""

    line: int
    column: int
    cells: str
    says: str
    dots: str
    bar: int
    midi: int | None

    @property
    def place(self) -> str:
        """Its name in the page."""
        return f"at-{self.line}-{self.column}"


@dataclass(frozen=True)
class Trouble:
    """Something amiss and the place in the page where it is."""

    says: str
    place: str


@dataclass(frozen=True)
class Rows:
    """A page of braille: its lines of stops, what is amiss, and what is odd and may be meant."""

    lines: list[list[Stop]]
    troubles: list[Trouble]
    hints: list[Trouble]


def stops_of(language: Language, reading: Reading, lines: list[str] | None = None) -> Rows:
    """The stops of a page as it was read. lines: its cells; worked out again from the meanings where not given."""
    bars = {(line, column): bar for bar, _note, line, column, _cells in reading.places}
    rows: dict[int, list[Stop]] = {}
    bar = 0
    for said in reading.said[:MOST_STOPS]:
        bar = bars.get((said.line, said.column), bar)
        row = (lines or [])[said.line - 1:said.line]
        cells = row[0][said.column - 1:said.column - 1 + said.cells] if row else ""
        note = said.meaning.note if said.meaning.kind is MeaningKind.NOTE else None
        rows.setdefault(said.line, []).append(Stop(
            said.line, said.column, cells, language.capitalised(say_meaning(language, said.meaning)), say_dots(language, cells),
            bar, note.pitch.midi if note is not None and note.pitch is not None else None))
    made = [rows[k] for k in sorted(rows)]

    def placed(problems: Sequence[Problem]) -> list[Trouble]:
        return [Trouble(language.message("Line {line}, cell {cell}: {problem}").format(
            line=p.line, cell=p.column, problem=say_problem(language, p)), _near(made, p.line, p.column)) for p in problems]

    return Rows(made, placed(reading.problems), placed(reading.hints))


def _near(rows: list[list[Stop]], line: int, column: int) -> str:
    """The stop at a place, else the last one before it, else the first."""
    stops = [s for row in rows for s in row]
    before = [s for s in stops if (s.line, s.column) <= (line, column)]
    return before[-1].place if before else stops[0].place if stops else "main"
