"""What other writers' pages have besides music and words: page numbers, running heads, lines where a page of the print
ends, the signs of two hands. All of it is set aside and named, so that it is read neither as words nor as notes.

Sources: MBC 2015, sections 1 and 28 to 30 (page numbers in the corners, a line of dots 3 6 with the print's page number
at its end, the signs of right hand, left hand and solo at the beginning of a line); music21.braille.lookup for the signs
of the hands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from companion.braille import signs as S
from companion.braille.groups import read_signature
from companion.braille.model import Meaning, MeaningKind, Problem, ProblemCode, Said
from companion.braille.text import read_words

_DIGITS = "".join(S.UPPER_DIGITS.values())
_NUMBER = f"{S.NUMBER}[{_DIGITS}]{{1,3}}"
#: A page of the print ends: hyphens over the line, then the number of the next page (MBC 2015, section 1).
_PRINT_PAGE = re.compile(f"{S.cells('36')}{{5,}}(?P<page>.*)")
_ALONE = re.compile(_NUMBER)
_CORNER = re.compile(f"(?P<left>{_NUMBER}){S.SPACE}{{3,}}(?P<after>.*)|(?P<text>.*?){S.SPACE}{{3,}}(?P<right>{_NUMBER})")
#: Signs of parts at the beginning of a line, after a bar number or not; a dot 3 keeps them from what follows.
RIGHT_HAND, LEFT_HAND, SOLO = S.cells("46-345"), S.cells("456-345"), S.cells("5-345")
_PART = re.compile(f"(?:{_NUMBER}{S.SPACE}+)?(?P<sign>{RIGHT_HAND}|{LEFT_HAND}|{SOLO}){S.DOT}?")
_BEGINS = (S.NUMBER, S.cells("36"))  # what page numbers and lines of hyphens begin with
_GAP = S.SPACE * 3
HEAD_INDENT = 4  # a running head is centred: it begins further in than music


@dataclass
class Row:
    """A line that has cells. number: from 1. skip: cells at its beginning that were set aside."""

    number: int
    indent: int
    cells: str
    skip: int = 0

    @property
    def middle(self) -> int:
        return 2 * self.indent + len(self.cells)

    @property
    def column(self) -> int:
        """Of its first cell, from 1."""
        return self.indent + self.skip + 1


@dataclass(frozen=True)
class Lines:
    """The lines that hold music and words, what was set aside, and what must be said of it."""

    rows: list[Row]
    said: list[Said]
    problems: list[Problem]


def music_lines(rows: list[Row]) -> Lines:
    """Lines without page numbers, running heads, print pages and all but one of several parts."""
    said: list[Said] = []
    kept: list[Row] = []
    title = ""
    width = max((row.indent + len(row.cells) for row in rows), default=0)
    for row in rows:
        if row.cells[0] not in _BEGINS and _GAP not in row.cells and row.indent < HEAD_INDENT:
            kept.append(row)  # as most lines are
        elif match := _PRINT_PAGE.fullmatch(row.cells):
            said.append(_say(row, 0, len(row.cells), MeaningKind.PRINT_PAGE, read_words(match["page"])))
        elif _ALONE.fullmatch(row.cells) and (row.indent == 0 or row.indent + len(row.cells) >= max(width - 1, 20)):
            said.append(_say(row, 0, len(row.cells), MeaningKind.PAGE_NUMBER, read_words(row.cells)))
        else:
            row = _without_corner(row, said)
            if kept and row.indent >= HEAD_INDENT and row.cells == title:
                said.append(_say(row, 0, len(row.cells), MeaningKind.HEADING, read_words(row.cells)))
                continue
            if not kept and read_signature(row.cells.rsplit(S.SPACE, 1)[-1]) is None:
                title = row.cells
            kept.append(row)
    return _one_part(kept, said)


def _say(row: Row, at: int, length: int, kind: MeaningKind, text: str) -> Said:
    return Said(row.number, row.column + at, length, Meaning(kind, text=text))


def _without_corner(row: Row, said: list[Said]) -> Row:
    """A line without the page number that stands in a corner, three empty cells away from what else there is."""
    match = _CORNER.fullmatch(row.cells) if _GAP in row.cells else None
    if not match:
        return row
    name = "left" if match["left"] else "right"
    said.append(_say(row, match.start(name), len(match[name]), MeaningKind.PAGE_NUMBER, read_words(match[name])))
    if name == "right":
        return replace(row, cells=match["text"])
    after = match["after"].lstrip(S.SPACE)
    return Row(row.number, row.indent + len(row.cells) - len(after), after)


def _one_part(rows: list[Row], said: list[Said]) -> Lines:
    """Of several parts line over line the solo, else the right hand; what is set in below a line belongs to it."""
    signs = {match["sign"] for row in rows if S.WORD in row.cells and (match := _PART.match(row.cells))}
    if not signs:
        return Lines(rows, said, [])
    wanted = next(sign for sign in (SOLO, RIGHT_HAND, LEFT_HAND) if sign in signs)
    kept: list[Row] = []
    problems: list[Problem] = []
    taken = True
    for row in rows:
        match = _PART.match(row.cells)
        if match:
            taken = match["sign"] == wanted
            kind = {SOLO: MeaningKind.SOLO, RIGHT_HAND: MeaningKind.RIGHT_HAND, LEFT_HAND: MeaningKind.LEFT_HAND}[match["sign"]]
            said.append(_say(row, match.start("sign"), len(match["sign"]), kind, ""))
            if not taken and not problems:
                code = ProblemCode.ACCOMPANIMENT if wanted == SOLO else ProblemCode.TWO_HANDS
                problems.append(Problem(row.number, row.column, code))
            cells = row.cells[match.end():].lstrip(S.SPACE)
            row = replace(row, cells=cells, skip=row.skip + len(row.cells) - len(cells))
        if taken and row.cells:
            kept.append(row)
    return Lines(kept, said, problems)
