"""A braille page: lines of cells with links between notes and cells, and its form as a .brf file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from companion.braille import signs as S
from companion.braille.model import Link
from companion.braille.text import to_ascii, to_cells


@dataclass(frozen=True)
class BraillePage:
    """Lines of Unicode cells (an empty cell is U+2800), and where each note stands."""

    lines: tuple[str, ...]
    links: tuple[Link, ...]
    title: str = ""
    parallels: tuple[int, ...] = ()  # lines, counted from 0, at which words and their music begin
    chord_lines: tuple[int, ...] = ()  # lines, counted from 0, of chord symbols for the music above them

    def as_json(self) -> dict[str, Any]:
        return {"lines": list(self.lines),
                "links": [{"note": k.note, "line": k.line, "column": k.column, "cells": k.cells}
                          for k in self.links]}


def paged(page: BraillePage, height: int, head: Callable[[int], str] | None = None) -> bytes:
    """Braille ASCII with CRLF line ends, a form feed between sheets of `height` lines. Words and their music stay on one
    sheet. head: the first line (cells or Braille ASCII) of each sheet after the first, by its number."""
    sheets: list[list[str]] = []
    at = 0
    while at < len(page.lines) or not sheets:
        first = [head(len(sheets) + 1)] if head and sheets else []
        end = _sheet_end(page, at, at + height - len(first), len(page.lines))
        sheets.append(first + list(page.lines[at:end]))
        at = end
    return ("\r\n\f".join("\r\n".join(to_ascii(line).rstrip() for line in sheet) for sheet in sheets) + "\r\n").encode(
        "ascii", "replace")


def _sheet_end(page: BraillePage, at: int, end: int, count: int) -> int:
    """Where the sheet that begins at a line ends: before words whose music would stand on the next sheet (MBC 2015,
    section 35). What is longer than a sheet is cut."""
    if end >= count:
        return count
    begun = max((k for k in page.parallels if k <= end), default=at)
    return begun if begun > at else end


def _is_running_head(line: str, number: int) -> bool:
    """Whether a sheet's first line ends in the number of the sheet, as a running head does."""
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
        first = next((k for k, line in enumerate(lines) if line.strip()), 0)  # below the empty lines of a margin
        if sheet_number and lines and _is_running_head(lines[first], sheet_number + 1):
            lines.pop(first)
        out += [to_cells("".join(c for c in line if c >= " " or c == "\t")) for line in lines]
    return out
