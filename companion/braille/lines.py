"""Pieces of braille put on lines, with links from notes to places; text cut into lines."""

from __future__ import annotations

from collections.abc import Callable, Container

from companion.braille import signs as S
from companion.braille.model import Link
from companion.braille.pieces import Piece
from companion.errors import Trouble
from companion.messages import _


class Lines:
    """Lines under way, with links gathered as cells are put down."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []
        self.links: list[Link] = []
        self.parts: list[str] = []  # of the line under way
        self.column = 0
        self.begun = False
        self.marked = True  # whether a note with its octave mark stands on the line, where one is due
        self.parallels: list[int] = []  # lines, from 0, at which words and their music begin
        self.chords = ""  # the line of chord symbols below the line under way
        self.chord_lines: list[int] = []  # such lines, from 0
        self.chord_last = 0  # the column at which the note after the last symbol may begin

    def end(self) -> None:
        if self.parts:
            line = "".join(self.parts).rstrip(S.SPACE)
            if line:
                self.lines.append(line)
            self.parts = []
            if self.chords:
                self.chord_lines.append(len(self.lines))
                self.lines.append(self.chords)
                self.chords = ""
        self.column = 0

    def new(self, indent: int = 0) -> None:
        self.end()
        self.parts = [S.SPACE * indent] if indent else []
        self.column = indent
        self.begun = self.marked = False

    def text(self, cells: str, indent: int = 0) -> None:
        """A line of its own."""
        self.end()
        self.lines.append(S.SPACE * indent + cells)

    def centred(self, cells: str) -> None:
        """In the middle of a line; what is too long runs on at its spaces."""
        for line in [cells] if len(cells) <= self.width else wrap(cells, self.width):
            self.text(line, (self.width - len(line)) // 2)

    def put(self, pieces: list[Piece]) -> None:
        column, parts, links, line = self.column, self.parts, self.links, len(self.lines) + 1
        for p in pieces:
            cells = p.head + p.mark + p.tail if p.due else p.head + p.tail
            if p.mark:
                self.marked = True
            if p.chords or (self.chords and p.tail):
                self._chord(p, column)
            if p.note:
                if p.all is None:
                    links.append(Link(p.note, line, column + 1, len(cells)))
                else:
                    links += [Link(n, line, column + 1, len(p.head)) for n in p.all]
            parts.append(cells)
            column += len(cells)
        self.column = column
        self.begun = True

    def _chord(self, piece: Piece, column: int) -> None:
        """Chord symbols below a piece that begins at a column, from 0; the second symbol of a note stands before the next."""
        free = len(self.chords) + 1 if piece.chords else self.chord_last
        if (self.chords and column < free) or column + len(piece.chords) > self.width:
            raise Trouble(_("A line of {width} cells has no room for the chord symbols below their notes; give a greater width, "
                            "or leave --chords out.").format(width=self.width))
        if piece.chords:
            self.chords = self.chords.ljust(column, S.SPACE) + piece.chords
            self.chord_last = column + piece.chords.rfind(S.SPACE) + 2 if S.SPACE in piece.chords else 0

    def space(self) -> None:
        self.parts.append(S.SPACE)
        self.column += 1


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Braille text cut at its spaces into lines of at most `width`; a longer word is cut where it must be, with a hyphen."""
    lines, line = [], ""
    room = width
    for word in text.split(S.SPACE):
        while len(word) > room - (len(line) + 1 if line else 0) and (len(word) > width - indent or not line):
            if line:
                lines.append(line)
                line, room = "", width - indent
                continue
            cut = _cut(word, room - 1)
            lines.append(word[:cut] + S.WORD_HYPHEN)
            word, room = word[cut:], width - indent
        if not line:
            line = word
        elif len(line) + 1 + len(word) <= room:
            line += S.SPACE + word
        else:
            lines.append(line)
            line, room = word, width - indent
    return [*lines, line] if line else lines


_LETTERS = frozenset(S.LETTERS.values())


def _cut(word: str, most: int) -> int:
    """Where a word is cut after so many cells at the most: between two letters, so that no sign is parted."""
    return next((k for k in range(most, 0, -1) if word[k - 1] in _LETTERS and word[k] in _LETTERS), most)


def length_of(pieces: list[Piece]) -> int:
    """How many cells pieces take as they stand."""
    total = 0
    for p in pieces:
        total += len(p.head) + len(p.tail) + (len(p.mark) if p.due else 0)
    return total


def mark_first(pieces: list[Piece], marks: bool) -> None:
    """The first note of a line has its octave mark. marks: whether there are octave marks at all."""
    if marks:
        for p in pieces:
            if p.mark:
                p.due = True
                return


def filled(first: int, end: int, take: Callable[[int], int], fits: Callable[[int], bool], agrees: Callable[[int], bool],
           ends: Container[int] = ()) -> int:
    """How many steps of bars from `first` make a line: as many as fit, of those the most whose words a reader puts under their
    notes; 0 where not even the first step's are. One step more than that may have been taken, or several.

    take: makes the bars of a step, which begins at a bar, and gives the bar after it; fits, agrees: of all that was taken up to
    a bar. ends: bars before which a line ends.
    """
    steps = right = 0
    at = first
    while at < end:
        at = take(at)
        if steps and not fits(at):
            break
        steps += 1
        if agrees(at):
            right = steps
        if at in ends:
            break
    return right


def place_bar(pieces: list[Piece], page: Lines, runover: int, again: Callable[[], list[Piece]],
               number: int, marks: bool) -> None:
    """Put a bar on the line, or on a new one where it does not fit, or in parts with music hyphens."""
    if not pieces:
        return
    if not page.marked:  # also after bars of rest
        mark_first(pieces, marks)
    gap = 1 if page.begun else 0
    if page.column + gap + _inked(pieces) <= page.width:
        if gap:
            page.space()
        page.put(pieces)
        return
    if page.begun:
        page.new(runover)
        mark_first(pieces, marks)
        if _inked(pieces) <= page.width - page.column:
            page.put(pieces)
            return
    if not _place_long(pieces, page, runover, marks):
        pieces = again()
        mark_first(pieces, marks)
        if not _place_long(pieces, page, runover, marks):
            raise Trouble(_("A line of {width} cells is too short for bar {number}; give a greater width.").format(
                                width=page.width, number=number))


def _inked(pieces: list[Piece]) -> int:
    """How many cells pieces take without the space that words and signatures have at their end, which may fall away."""
    last = pieces[-1]
    return length_of(pieces) - (last.flow and last.head.endswith(S.SPACE))


def _place_long(pieces: list[Piece], page: Lines, runover: int, marks: bool) -> bool:
    """A bar longer than a line, in parts: each but the last ends in a music hyphen, each begins with a mark.

    False, and nothing is put down, where a part that must stay whole does not fit.
    """
    parts = _parts([p for p in pieces if not p.room])
    if not all(_fits(part, page.width - runover, k == len(parts) - 1) for k, part in enumerate(parts)):
        return False
    for k, part in enumerate(parts):
        if part[0].flow:
            _flow(part[0].head, page, runover)
            continue
        following = parts[k + 1][0] if k + 1 < len(parts) else None
        if page.begun and page.column + length_of(part) + _hyphen_before(following) > page.width:
            if not (k and parts[k - 1][0].flow):  # after words that stand apart no hyphen is wanted
                page.parts.append(S.HYPHEN)
            page.new(runover)
            mark_first(part, marks)
        page.put(part)
    return True


def _parts(pieces: list[Piece]) -> list[list[Piece]]:
    """Pieces that no line may part, together."""
    parts: list[list[Piece]] = []
    for p in pieces:
        if p.joined and parts and not p.flow:
            parts[-1].append(p)
        else:
            parts.append([p])
    return parts


def _fits(part: list[Piece], room: int, last: bool) -> bool:
    """Whether a part fits in a line of `room` cells with its octave mark, and a hyphen after all but the last."""
    first = part[0]
    if first.flow:
        return all(len(word) <= room for word in first.head.split(S.SPACE))
    return length_of(part) + (0 if first.due else len(first.mark)) + (not last) <= room


def _hyphen_before(following: Piece | None) -> int:
    """1 where a music hyphen may follow: not where the bar ends, nor before words or a signature that stand apart."""
    return 0 if following is None or (following.flow and following.head[0] != S.HYPHEN) else 1


def _flow(cells: str, page: Lines, runover: int) -> None:
    """Words or signatures with spaces: a line may end at any of them."""
    words = cells.split(S.SPACE)
    for k, word in enumerate(words):
        if k:
            if page.column < page.width:
                page.space()
            elif word:
                page.new(runover)
        if word:
            if page.column + len(word) > page.width:
                page.new(runover)
            page.parts.append(word)
            page.column += len(word)
            page.begun = True
