"""A braille page: lines of cells, with links between notes and cells both ways."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from companion.braille import signs as S
from companion.braille.text import spaced_dots, to_ascii


@dataclass(frozen=True, slots=True)
class Link:
    """Where a note stands: `note` counts the written notes (rests and grace notes not) from 1.

    line and column from 1; cells: how many, its own signs before and after it included.
    """

    note: int
    line: int
    column: int
    cells: int


@dataclass(frozen=True, slots=True)
class Said:
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
    said: tuple[Said, ...]

    def at(self, line: int, column: int) -> str:
        """What the cell at a place says: "fourth octave, dots 5". Lines and columns from 1.

        Raises IndexError outside the page.
        """
        if line < 1 or column < 1:
            raise IndexError((line, column))
        cell = self.lines[line - 1][column - 1]
        for s in self.said:
            if s.line == line and s.column <= column < s.column + s.cells:
                return f"{s.words}, {'dots' if len(S.dots_of(cell)) > 1 else 'dot'} {spaced_dots(cell)}"
        return "space" if cell == S.SPACE else f"dots {spaced_dots(cell)}"

    def as_json(self) -> dict[str, Any]:
        return {"lines": list(self.lines),
                "links": [{"note": k.note, "line": k.line, "column": k.column, "cells": k.cells}
                          for k in self.links]}


def to_brf(page: BraillePage, height: int = 25) -> bytes:
    """Braille ASCII with CRLF line ends and a form feed after every `height` lines."""
    lines = [to_ascii(line).rstrip() for line in page.lines]
    sheets = [lines[i:i + height] for i in range(0, len(lines), height)] or [[]]
    return ("\r\n\f".join("\r\n".join(sheet) for sheet in sheets) + "\r\n").encode("ascii", "replace")


def from_brf(data: bytes) -> list[str]:
    """The lines of a .brf file as Unicode cells; form feeds part pages, control characters are dropped."""
    from companion.braille.text import to_cells

    text = data.decode("ascii", "replace").replace("\x1a", "").replace("\f", "")
    return [to_cells(line) for line in text.splitlines()]
