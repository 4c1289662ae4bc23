"""A braille page: lines of cells, with links between notes and cells both ways."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from companion.braille import signs as S
from companion.braille.text import spaced_dots, to_ascii, to_cells, words

HEIGHT = 25  # lines on a sheet of the usual size


class Link(NamedTuple):
    """Where a note stands: `note` counts the written notes (rests and grace notes not) from 1.

    line and column from 1; cells: how many, its own signs before and after it included. The notes of a bar that
    is written as a bar repeat all stand at that sign.
    """

    note: int
    line: int
    column: int
    cells: int


class Said(NamedTuple):
    """What stands at a place: some cells of one sign, and what they say."""

    line: int
    column: int
    cells: int
    words: str


@dataclass(frozen=True)
class BraillePage:
    """Lines of Unicode cells (an empty cell is U+2800), links from notes, and words for every sign."""

    lines: tuple[str, ...]
    links: tuple[Link, ...]
    title: str = ""
    american: bool = False

    @cached_property
    def said(self) -> tuple[Said, ...]:
        """What every sign says, as a reader finds it, in order of place: one source for speech, page and drills."""
        from companion.braille.decode import decode

        return decode(self.lines).said(self.american)

    def at(self, line: int, column: int) -> str:
        """What the cell at a place says: "fourth octave, dot 5". Lines and columns from 1.

        Raises IndexError outside the page.
        """
        if line < 1 or column < 1:
            raise IndexError((line, column))
        cell = self.lines[line - 1][column - 1]
        dots = f"{'dots' if len(S.dots_of(cell)) > 1 else 'dot'} {spaced_dots(cell)}"
        if cell == S.SPACE:
            return "space"
        for s in self.said:
            if s.line == line and s.column <= column < s.column + s.cells:
                return f"{s.words}, {dots}"
        return dots

    def note_at(self, line: int, column: int) -> int | None:
        """The number of the note whose cells hold this place, None where there is none."""
        return next((k.note for k in self.links
                     if k.line == line and k.column <= column < k.column + k.cells), None)

    def as_json(self) -> dict[str, Any]:
        return {"lines": list(self.lines),
                "links": [{"note": k.note, "line": k.line, "column": k.column, "cells": k.cells}
                          for k in self.links]}


def to_brf(page: BraillePage, height: int = HEIGHT, numbered: bool = False) -> bytes:
    """Braille ASCII with CRLF line ends, a form feed between sheets of `height` lines.

    numbered: every sheet after the first begins with a running head: the title, if it fits, and at the right
    margin, after three blank cells at least, the number of the sheet.
    """
    lines = [to_ascii(line).rstrip() for line in page.lines]
    width = max(map(len, lines), default=0)
    sheets: list[list[str]] = [lines[:height]]
    rest = lines[height:]
    while rest:
        head = [_running_head(page.title, len(sheets) + 1, width)] if numbered else []
        take = height - len(head)
        sheets.append(head + rest[:take])
        rest = rest[take:]
    return ("\r\n\f".join("\r\n".join(sheet) for sheet in sheets) + "\r\n").encode("ascii", "replace")


def _running_head(title: str, number: int, width: int) -> str:
    figures = to_ascii(S.NUMBER + "".join(S.UPPER_DIGITS[d] for d in str(number)))
    text = to_ascii(words(title)).strip()
    if len(text) + 3 + len(figures) > width:
        text = ""
    return text + figures.rjust(max(width, len(figures) + 4) - len(text))


def _is_running_head(line: str, number: int) -> bool:
    """Whether a sheet's first line is the head that `to_brf` gives to the sheet of this number."""
    figures = to_ascii("".join(S.UPPER_DIGITS[d] for d in str(number)))
    return line.upper().endswith(f"   #{figures}")


def from_brf(data: bytes) -> list[str]:
    """The lines of a .brf file as Unicode cells; running heads after a form feed and control characters are
    left out. Bytes that are no Braille ASCII come back as U+FFFD."""
    out: list[str] = []
    for sheet_number, sheet in enumerate(data.decode("ascii", "replace").replace("\x1a", "").split("\f")):
        lines = sheet.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        if lines and not lines[-1]:
            lines.pop()
        if sheet_number and lines and _is_running_head(lines[0], sheet_number + 1):
            lines.pop(0)
        out += [to_cells("".join(c for c in line if c >= " " or c == "\t")) for line in lines]
    return out
