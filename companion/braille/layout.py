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
from companion.braille.model import Hand, Meaning, MeaningKind, PartName, Said
from companion.braille.text import read_words

_DIGITS = "".join(S.UPPER_DIGITS.values())
_NUMBER = f"{S.NUMBER}[{_DIGITS}]{{1,3}}"
#: A page of the print ends: hyphens over the line, then the number of the next page (MBC 2015, section 1).
_PRINT_PAGE = re.compile(f"{S.cells('36')}{{5,}}(?P<page>.*)")
_ALONE = re.compile(_NUMBER)
_CORNER = re.compile(f"(?P<left>{_NUMBER}){S.SPACE}{{3,}}(?P<after>.*)|(?P<text>.*?){S.SPACE}{{3,}}(?P<right>{_NUMBER})")
#: Signs of parts at the beginning of a line, after a bar number or not; a dot 3 keeps them from what follows.
RIGHT_HAND, LEFT_HAND, SOLO = S.cells("46-345"), S.cells("456-345"), S.cells("5-345")
_HANDS = {SOLO: PartName(Hand.SOLO), RIGHT_HAND: PartName(Hand.RIGHT), LEFT_HAND: PartName(Hand.LEFT)}
_KINDS = {Hand.SOLO: MeaningKind.SOLO, Hand.RIGHT: MeaningKind.RIGHT_HAND, Hand.LEFT: MeaningKind.LEFT_HAND,
          Hand.VOICE: MeaningKind.VOICE}
_ORDER = (Hand.SOLO, Hand.VOICE, Hand.RIGHT, Hand.LEFT)
#: A voice in the list under the heading: its letters between word sign and dot 3, and its name.
_LISTED = re.compile(f"(?P<label>{S.WORD}[^{S.SPACE}{S.DOT}]{{1,4}}{S.DOT}){S.SPACE}(?P<name>.+)")
#: What music has and words have not, which may begin with the cells of a hand (a bracket): an octave mark before a note.
_MUSIC = re.compile(f"[{''.join(S.OCTAVES[n] for n in range(1, 7))}][{''.join(sorted(set(S.NOTE_CELLS.values())))}]")
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
    """The lines that hold music and words, and what was set aside. parts: of several parts the lines of each, the main one
    first; then `rows` are the heading alone."""

    rows: list[Row]
    said: list[Said]
    parts: list[tuple[PartName, list[Row]]]


def music_lines(rows: list[Row]) -> Lines:
    """Lines without page numbers, running heads and print pages, by parts where there are several."""
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
    head, parts = _parts(kept, said)
    return Lines(head, said, parts)


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


def _parts(rows: list[Row], said: list[Said]) -> tuple[list[Row], list[tuple[PartName, list[Row]]]]:
    """The heading and the rows of each of several parts; all rows and no parts where there is one part alone.

    A line of a part begins with its sign, or with the letters that are listed with its name under the heading. Words belong
    to the voices whose lines follow until other words come; what is set in below a line belongs to it.
    """
    names = dict(_HANDS)
    first = _voice_list(rows, names, said)
    signs = re.compile(f"(?:{S.NUMBER}?[{_DIGITS}]{{1,3}}{S.SPACE}+)?(?P<sign>{'|'.join(map(re.escape, names))}){S.DOT}?")
    signed = [k for k, row in enumerate(rows) if k >= first and S.WORD in row.cells and signs.match(row.cells)]
    if not signed or (len(signed) == 1 and not _MUSIC.search(rows[signed[0]].cells)):
        return rows, []
    begun = signed[0]
    if not first:
        first = begun
        while first > 1 and rows[first - 1].indent <= 1:
            first -= 1
    splitter = _Splitter(names, signs, said)
    for row in rows[first:]:
        splitter.take(row)
    head = [row for row in rows[:first] if not _LISTED.fullmatch(row.cells)]
    listed = list(names.values())
    order = sorted(splitter.rows, key=lambda part: (_ORDER.index(part.hand), listed.index(part)))
    return head, [(part, _as_one(splitter.rows[part])) for part in order]


def _voice_list(rows: list[Row], names: dict[str, PartName], said: list[Said]) -> int:
    """Takes the voices that are listed under the heading, and gives where the list ends; 0 where there is none."""
    for k in range(len(rows) - 1):
        found: list[re.Match[str]] = []
        while k + len(found) < len(rows) and (match := _LISTED.fullmatch(rows[k + len(found)].cells)):
            found.append(match)
        if len(found) > 1 and len({match["label"] for match in found}) == len(found):
            for row, match in zip(rows[k:], found, strict=False):
                names[match["label"][:-1]] = PartName(Hand.VOICE, read_words(match["name"]))
                said.append(_say(row, 0, len(row.cells), MeaningKind.VOICE, read_words(match["name"])))
            return k + len(found)
    return 0


class _Splitter:
    """Deals rows out to the parts that they belong to: words (True) and music."""

    def __init__(self, names: dict[str, PartName], signs: re.Pattern[str], said: list[Said]) -> None:
        self.names, self.signs, self.said = names, signs, said
        self.rows: dict[PartName, list[tuple[bool, Row]]] = {}
        self.seen: set[PartName] = set()
        self.words: list[Row] = []  # over what comes next
        self.current: list[Row] = []  # those of the lines under way
        self.last: PartName | None = None

    def take(self, row: Row) -> None:
        match = self.signs.match(row.cells)
        if match:
            self._music(row, match)
        elif row.indent <= 1:
            self.words = [*self.words, row]
        elif self.words:
            self.words.append(row)
        elif self.last is not None:
            self.rows[self.last].append((False, row))

    def _music(self, row: Row, match: re.Match[str]) -> None:
        part = self.names[match["sign"]]
        kind = _KINDS[part.hand]
        self.said.append(_say(row, match.start("sign"), len(match["sign"]), kind, part.name))
        if part in self.seen:
            self.seen, self.current = set(), []
        if self.words:
            self.current, self.words = self.words, []
        self.seen.add(part)
        self.last = part
        mine = self.rows.setdefault(part, [])
        if part.hand in (Hand.VOICE, Hand.SOLO):
            mine += [(True, words) for words in self.current]
        cells = row.cells[match.end():].lstrip(S.SPACE)
        if cells:
            mine.append((False, Row(row.number, 0, cells, row.column - 1 + len(row.cells) - len(cells))))


def _as_one(rows: list[tuple[bool, Row]]) -> list[Row]:
    """A part's rows as a page of its own has them: under words its music begins in cell 3."""
    vocal = any(words for words, _row in rows)
    out = []
    for words, row in rows:
        indent = row.indent
        if vocal and not words:
            indent = 4 if row.indent else 2
        out.append(replace(row, indent=indent, skip=row.skip + row.indent - indent))
    return out
