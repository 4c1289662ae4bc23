"""A line to follow with the finger: the phrase rises and falls on paper as the voice does.

For swell paper in true millimetres (SVG and PDF), for an embosser without graphics in cells (.brf), and in words.
Sizes after the Guidelines and Standards for Tactile Graphics (BANA and CBA, 2010); each constant says whether it
was taken from memory.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from companion.braille import BraillePage, to_brf
from companion.braille import words as in_braille
from companion.braille.encode import wrap
from companion.cue.wording import bare
from companion.errors import Trouble
from companion.notate.doubts import pitch_words
from companion.notate.drawing import CELL_MM, DOT_MM, DOT_PITCH_MM, LINE_MM, Page, to_pdf, to_svg
from companion.places import write_whole
from companion.tune.catalogue import kind_of
from companion.tune.model import LineNote, Tune

# Guidelines and Standards for Tactile Graphics 2010, from memory:
GAP_MM = 3.2  # an eighth of an inch: least space between parts, and between a part and braille
POINT_MM = 6.4  # a quarter of an inch: diameter of a point symbol
STROKE_MM = 1.5  # a main line on swell paper: clearly thicker than a braille dot is wide
LEAST_LINE_MM = 12.7  # half an inch: a shorter line is not felt as one
MARGIN_MM = 19.0  # three quarters of an inch: the fingers want paper around the picture

SEMITONE_MM = 5.0  # so that a step (10 mm) is clearly less than a skip (15 to 20 mm); common practice, no source
LEAST_SEMITONE_MM = 3.2  # a wide tune is drawn closer, but never so that a semitone is less than GAP_MM
NOTE_MM = POINT_MM + LEAST_LINE_MM  # least distance from note to note along the page
A4 = (297.0, 210.0)
FULL_CELL = "⠿"
LEVEL_LINE, UPRIGHT = "⠒", "⠸"


@dataclass(frozen=True)
class Place:
    """A note on the page: its centre in mm, its label in cells and where the label begins."""

    note: LineNote
    x: float
    y: float
    label: str
    label_x: float
    label_y: float


@dataclass(frozen=True)
class FingerLine:
    """A tune as a tactile picture. pages: drawings; places: notes page by page; says: the picture in words."""

    title: str
    pages: tuple[Page, ...]
    places: tuple[tuple[Place, ...], ...]
    says: tuple[str, ...]


def _label(note: LineNote) -> str:
    return in_braille(bare(note.syllable)) if note.syllable else ""


def rows_of(line: Sequence[LineNote], room_mm: float) -> list[list[LineNote]]:
    """Notes in rows that fit the page, cut at phrases first, then where the row is full."""
    rows: list[list[LineNote]] = []
    for note in line:
        new = not rows or (rows[-1][-1].phrase != note.phrase) or _width([*rows[-1], note]) > room_mm
        if new:
            rows.append([])
        rows[-1].append(note)
    # A row of one note would have no line; it is joined by the last of the row before.
    for k in range(1, len(rows)):
        if len(rows[k]) == 1 and len(rows[k - 1]) > 2:
            rows[k].insert(0, rows[k - 1].pop())
    return rows


def _step(a: LineNote) -> float:
    """From this note to the next: room for its label and a free cell after it, and for the line."""
    return max(NOTE_MM, (len(_label(a)) + 1) * CELL_MM)


def _width(row: Sequence[LineNote]) -> float:
    return sum(_step(n) for n in row[:-1]) + max(POINT_MM, len(_label(row[-1])) * CELL_MM)


def finger_line(tune: Tune, phrase: int | None = None) -> FingerLine:
    """The picture of a tune, or of one phrase of it (from 1). Raises Trouble where there is no such phrase."""
    line = tune.line()
    if phrase is not None:
        chosen = tuple(n for n in line if n.phrase == phrase)
        if not chosen:
            last = max((n.phrase for n in line), default=0)
            raise Trouble(f"There is no phrase {phrase}; {tune.title or 'this tune'} has phrases 1 to {last}.")
        line = chosen
    low, high = min(n.midi for n in line), max(n.midi for n in line)
    rows = rows_of(line, A4[0] - 2 * MARGIN_MM)
    room = A4[1] - 2 * MARGIN_MM - LINE_MM - 2 * GAP_MM - 3 * DOT_PITCH_MM
    semitone = max(LEAST_SEMITONE_MM, min(SEMITONE_MM, (room - POINT_MM) / max(1, high - low)))
    row_mm = (high - low) * semitone + POINT_MM + 2 * GAP_MM + 3 * DOT_PITCH_MM
    pages: list[Page] = []
    places: list[list[Place]] = []
    top = A4[1]
    for row in rows:
        if top + row_mm > A4[1] - MARGIN_MM:
            pages.append(Page(*A4))
            places.append([])
            top = MARGIN_MM
            if len(pages) == 1 and tune.title:
                title = wrap(in_braille(tune.title), int((A4[0] - 2 * MARGIN_MM) / CELL_MM))[0]
                pages[0].braille(MARGIN_MM, top, title)
                top += LINE_MM + GAP_MM
        _draw_row(pages[-1], places[-1], row, top, high, semitone)
        top += row_mm + LINE_MM
    return FingerLine(tune.title, tuple(pages), tuple(tuple(p) for p in places), tuple(in_words(line)))


def _draw_row(page: Page, places: list[Place], row: Sequence[LineNote], top: float, high: int,
              semitone: float) -> None:
    x = MARGIN_MM + POINT_MM / 2
    lowest = max((high - n.midi) * semitone for n in row) + POINT_MM
    label_y = top + lowest + GAP_MM + DOT_MM / 2
    here: list[Place] = []
    for note in row:
        y = top + POINT_MM / 2 + (high - note.midi) * semitone
        here.append(Place(note, x, y, _label(note), x - DOT_PITCH_MM / 2, label_y))
        x += _step(note)
    for a, b in itertools.pairwise(here):
        if a.note.rest_after == 0:
            # The voice holds the note, then moves on: level first, then straight to the next.
            hold = a.x + (b.x - a.x) * 0.5
            page.line(a.x, a.y, hold, a.y, STROKE_MM)
            page.line(hold, a.y, b.x, b.y, STROKE_MM)
    for p in here:
        page.disc(p.x, p.y, POINT_MM)
        if p.label:
            page.braille(p.label_x, p.label_y, p.label)
    places += here


def in_words(line: Sequence[LineNote]) -> list[str]:
    """The picture in words, a plain line a phrase: where the finger goes from note to note."""
    out: list[str] = []
    said: list[str] = []
    for i, n in enumerate(line):
        name = bare(n.syllable) or pitch_words(n.pitch)
        if not said:
            said.append(f"{name} is the first")
        else:
            size = n.midi - line[i - 1].midi
            kind = kind_of(size)
            went = "stays" if size == 0 else f"{'up' if size > 0 else 'down'} a {'half step' if kind == 'semitone' else kind}"
            said.append(f"{went} to {name}" if size else f"{went} for {name}")
        if i + 1 == len(line) or line[i + 1].phrase != n.phrase:
            text = ", ".join(said)
            out.append(text[:1].upper() + text[1:] + ".")
            said = []
    return out


def in_cells(tune: Tune, width: int = 40, height: int = 25, phrase: int | None = None) -> list[list[str]]:
    """The picture for an embosser that has no graphics: pages of lines of cells.

    Each step of the scale is one line of the page, a note is a full cell, the line between is drawn in
    dots 2 5 where it is level and in dots 4 5 6 where it rises or falls; the words stand below their notes.
    """
    line = [n for n in tune.line() if phrase is None or n.phrase == phrase]
    if not line:
        raise Trouble(f"There is no phrase {phrase} in {tune.title or 'this tune'}.")
    rows: list[list[LineNote]] = []
    for n in line:
        if not rows or rows[-1][-1].phrase != n.phrase or _columns([*rows[-1], n]) > width:
            rows.append([])
        rows[-1].append(n)
    blocks = [_block(row, width) for row in rows]
    pages: list[list[str]] = []
    page: list[str] = [x.rstrip() for x in wrap(in_braille(tune.title), width)[:1]] if tune.title else []
    for block in blocks:
        if len(page) + len(block) + 1 > height and page:
            pages.append(page)
            page = []
        page += ([""] if page else []) + block
    return [*pages, page]


def _advance(n: LineNote) -> int:
    return max(4, len(_label(n)) + 1)


def _columns(row: Sequence[LineNote]) -> int:
    return sum(_advance(n) for n in row[:-1]) + max(1, len(_label(row[-1])))


def _block(row: Sequence[LineNote], width: int) -> list[str]:
    low, high = min(n.pitch.diatonic for n in row), max(n.pitch.diatonic for n in row)
    grid = [["⠀"] * width for _ in range(high - low + 1)]
    words = ["⠀"] * width
    x = 0
    for i, n in enumerate(row):
        y = high - n.pitch.diatonic
        grid[y][x] = FULL_CELL
        for k, cell in enumerate(_label(n)):
            if x + k < width:
                words[x + k] = cell
        if i + 1 < len(row):
            following = x + _advance(n)
            to = high - row[i + 1].pitch.diatonic
            if n.rest_after == 0:
                turn = following - 2
                for c in range(x + 1, turn + (0 if to != y else 2)):
                    grid[y][c] = LEVEL_LINE
                if to != y:
                    for r in range(min(y, to), max(y, to) + 1):
                        grid[r][turn] = UPRIGHT
                    grid[to][turn + 1] = LEVEL_LINE
            x = following
    lines = ["".join(r).rstrip("⠀") for r in grid]
    label = "".join(words).rstrip("⠀")
    return [*lines, *([label] if label else [])]


def cells_brf(pages: Sequence[Sequence[str]], height: int = 25) -> bytes:
    """Pages of cells as a .brf file, each on a sheet of its own."""
    lines: list[str] = []
    for k, page in enumerate(pages):
        if k:
            lines += [""] * (-len(lines) % height)
        lines += page
    return to_brf(BraillePage(tuple(lines), ()), height)


def save(tune: Tune, path: str | Path, phrase: int | None = None, width: int = 40, height: int = 25) -> list[str]:
    """Write the picture as .svg (one file a page), .pdf, .brf or .txt (in words). Returns the names written."""
    path = Path(path)
    kind = path.suffix.lower()
    if kind == ".brf":
        write_whole(path, cells_brf(in_cells(tune, width, height, phrase), height))
        return [str(path)]
    picture = finger_line(tune, phrase)
    if kind == ".txt":
        write_whole(path, ("\n".join([picture.title, *picture.says]) + "\n").encode("utf-8"))
        return [str(path)]
    if kind == ".pdf":
        write_whole(path, to_pdf(list(picture.pages), picture.title))
        return [str(path)]
    if kind != ".svg":
        raise Trouble(f"{path} ends in {kind or 'nothing'}; the line is written as .svg, .pdf, .brf or .txt.")
    names = []
    for k, page in enumerate(picture.pages, 1):
        name = path if len(picture.pages) == 1 else path.with_name(f"{path.stem}-{k}{path.suffix}")
        write_whole(name, to_svg(page, picture.title, " ".join(picture.says)))
        names.append(str(name))
    return names


def space_between(places: Sequence[Place]) -> float:
    """The least free space, in mm, between two discs, or between a disc and the braille below; for checks."""
    least = float("inf")
    for i, a in enumerate(places):
        for b in places[i + 1:]:
            least = min(least, ((a.x - b.x) ** 2 + (a.y - b.y) ** 2) ** 0.5 - POINT_MM)
        for b in places:
            if not b.label:
                continue
            left, right = b.label_x - DOT_MM / 2, b.label_x + len(b.label) * CELL_MM
            if left - GAP_MM < a.x < right + GAP_MM and b.label_y > a.y:
                least = min(least, b.label_y - DOT_MM / 2 - a.y - POINT_MM / 2)
    return least
