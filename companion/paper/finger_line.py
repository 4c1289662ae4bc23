"""A line to follow with the finger: the phrase rises and falls on paper as the voice does.

For swell paper in true millimetres (SVG and PDF), for an embosser without graphics in cells (.brf), and in words.
Sizes after the Guidelines and Standards for Tactile Graphics (BANA and CBA, 2010); each constant says whether it
was taken from memory.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from companion.braille import SPACE, check_width, needs_octave, note_cells, wrap
from companion.braille import words as in_braille
from companion.errors import Trouble
from companion.language import Language, bare, finger_line_in_words
from companion.messages import _
from companion.paper.braille_pages import WIDTH, page_head
from companion.paper.drawing import (
    CELL_MM,
    DOT_MM,
    DOT_PITCH_MM,
    LINE_MM,
    Drawing,
    drawing_svg,
    drawings_pdf,
    save_svgs,
)
from companion.paper.forms import save_sheet
from companion.paper.page_sizes import USUAL, PageSize
from companion.paper.sheet import Paragraph, Picture, Sheet
from companion.places import write_whole
from companion.tune import Key, LineNote, Tune

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
FEWEST_IN_ROW = 3  # notes: a rise and a fall want three
FORMS = (".svg", ".pdf", ".brf", ".pef", ".txt")
FULL_CELL = "⠿"
MOST_LINES = 20  # of a picture in cells: with its words, title and number it goes on a page of 25
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
    """A tune as a tactile picture. pages: drawings; places: notes page by page."""

    title: str
    pages: tuple[Drawing, ...]
    places: tuple[tuple[Place, ...], ...]


def _labels(line: Sequence[LineNote], key: Key) -> dict[int, str]:
    """What stands below each note, by its number: its syllable; its music cell, a quaver, in a tune without words."""
    if any(n.syllable for n in line):
        return {n.number: in_braille(bare(n.syllable)) if n.syllable else "" for n in line}
    before = [None, *(n.pitch for n in line)]
    return {n.number: note_cells(n.pitch, Fraction(1, 2), octave=needs_octave(last, n.pitch),
                                 accidental=n.pitch.alter if n.pitch.alter != key.alter(n.pitch.step) else None)
            for last, n in zip(before, line, strict=False)}


def rows_of(line: Sequence[LineNote], width: Callable[[Sequence[LineNote]], float],
            room: float) -> list[list[LineNote]]:
    """Notes in rows: a row a phrase. A phrase too wide for the page is cut into rows of about one width; one of
    fewer than FEWEST_IN_ROW notes, in which no line could be felt, goes on in the row before where it has room."""
    phrases = [list(notes) for _, notes in itertools.groupby(line, lambda n: n.phrase)]
    rows: list[list[LineNote]] = []
    for phrase in phrases:
        if rows and min(len(phrase), len(rows[-1])) < FEWEST_IN_ROW and width([*rows[-1], *phrase]) <= room:
            rows[-1] += phrase
            continue
        cut = _cut(phrase, width, room)
        for part in range(1, 20):
            narrower = _cut(phrase, width, room * part / 20)
            if len(narrower) == len(cut):
                cut = narrower
                break
        rows += cut
    return rows


def _cut(notes: Sequence[LineNote], width: Callable[[Sequence[LineNote]], float], room: float) -> list[list[LineNote]]:
    rows: list[list[LineNote]] = [[]]
    for note in notes:
        if rows[-1] and width([*rows[-1], note]) > room:
            rows.append([])
        rows[-1].append(note)
    return rows


def _step(label: str) -> float:
    """From a note to the next: room for its label and a free cell after it, and for the line."""
    return max(NOTE_MM, (len(label) + 1) * CELL_MM)


def _chosen(tune: Tune, phrase: int | None) -> tuple[LineNote, ...]:
    line = tune.line()
    chosen = line if phrase is None else tuple(n for n in line if n.phrase == phrase)
    if not chosen:
        last = max((n.phrase for n in line), default=0)
        if tune.title:
            raise Trouble(_("There is no phrase {phrase}; {tune} has phrases 1 to {last}.").format(
                                phrase=phrase, tune=tune.title, last=last))
        raise Trouble(_("There is no phrase {phrase}; this tune has phrases 1 to {last}.").format(phrase=phrase, last=last))
    return chosen


def finger_line_picture(tune: Tune, phrase: int | None = None) -> FingerLine:
    """The picture of a tune, or of one phrase of it (from 1). Raises Trouble where there is no such phrase."""
    line = _chosen(tune, phrase)
    labels = _labels(line, tune.key)

    def width(row: Sequence[LineNote]) -> float:
        return sum(_step(labels[n.number]) for n in row[:-1]) + max(POINT_MM, len(labels[row[-1].number]) * CELL_MM)

    rows = rows_of(line, width, A4[0] - 2 * MARGIN_MM)
    around = POINT_MM + GAP_MM + DOT_MM + 2 * DOT_PITCH_MM  # what a row takes besides its rise and fall
    room = A4[1] - 2 * MARGIN_MM - LINE_MM - GAP_MM - around
    rises = [max(n.midi for n in row) - min(n.midi for n in row) for row in rows]
    semitone = max(LEAST_SEMITONE_MM, min(SEMITONE_MM, room / max(1, *rises, 1)))
    pages: list[Drawing] = []
    places: list[list[Place]] = []
    top = A4[1]
    for row, rise in zip(rows, rises, strict=True):
        height = rise * semitone + around
        if top + height > A4[1] - MARGIN_MM:
            pages.append(Drawing(*A4))
            places.append([])
            top = MARGIN_MM + LINE_MM + GAP_MM
        _draw_row(pages[-1], places[-1], row, labels, top, semitone)
        top += height + LINE_MM
    across = int((A4[0] - 2 * MARGIN_MM) / CELL_MM)
    for k, page in enumerate(pages, 1):
        page.braille(MARGIN_MM, MARGIN_MM, _head(tune.title, across, k if len(pages) > 1 else 0))
    return FingerLine(tune.title, tuple(pages), tuple(tuple(p) for p in places))


def _head(title: str, width: int, number: int) -> str:
    """The line above a drawing: its title and, where there are several pages, the page's number (else 0)."""
    if number:
        return page_head(in_braille(title), number, width)
    return wrap(in_braille(title), width)[0] if title else ""


def _draw_row(page: Drawing, places: list[Place], row: Sequence[LineNote], labels: dict[int, str], top: float,
              semitone: float) -> None:
    x = MARGIN_MM + POINT_MM / 2
    high, low = max(n.midi for n in row), min(n.midi for n in row)
    label_y = top + (high - low) * semitone + POINT_MM + GAP_MM + DOT_MM / 2
    here: list[Place] = []
    for note in row:
        y = top + POINT_MM / 2 + (high - note.midi) * semitone
        here.append(Place(note, x, y, labels[note.number], x - DOT_PITCH_MM / 2, label_y))
        x += _step(labels[note.number])
    for a, b in itertools.pairwise(here):
        if a.note.rest_after == 0 and a.note.phrase == b.note.phrase:
            # The voice holds the note, then moves on: level first, then straight to the next.
            hold = a.x + (b.x - a.x) * 0.5
            page.line(a.x, a.y, hold, a.y, STROKE_MM)
            page.line(hold, a.y, b.x, b.y, STROKE_MM)
    for p in here:
        page.disc(p.x, p.y, POINT_MM)
        if p.label:
            page.braille(p.label_x, p.label_y, p.label)
    places += here


def finger_line_words(tune: Tune, language: Language, phrase: int | None = None) -> list[str]:
    """The picture in words, a plain line a phrase: where the finger goes from note to note.

    Raises Trouble where there is no such phrase.
    """
    return finger_line_in_words(language, _chosen(tune, phrase))


def finger_line_sheet(tune: Tune, language: Language, phrase: int | None = None, width: int = WIDTH) -> Sheet:
    """The same without graphics: a sentence a phrase, for the helper and to be spoken, and the picture in cells.

    In cells each semitone is one line of the page, so that a tone lies twice as far as a semitone and nothing that rises
    is level (in a row wider than MOST_LINES each pitch that is sung has its line). A note is a full cell, the line between
    is drawn in dots 2 5 where it is level and in dots 4 5 6 where it rises or falls; the words stand below their notes.
    width: of a line of cells. Raises Trouble where there is no such phrase, or no page is so wide.
    """
    check_width(width)
    line = _chosen(tune, phrase)
    labels = _labels(line, tune.key)

    def columns(row: Sequence[LineNote]) -> int:
        return sum(_advance(labels[n.number]) for n in row[:-1]) + max(1, len(labels[row[-1].number]))

    return Sheet(tune.title, (
        *(Paragraph(text, helper=True) for text in finger_line_words(tune, language, phrase)),
        *(Picture(tuple(_in_cells(row, labels, width))) for row in rows_of(line, columns, width))))


def _advance(label: str) -> int:
    return max(4, len(label) + 1)


def _in_cells(row: Sequence[LineNote], labels: dict[int, str], width: int) -> list[str]:
    """A row of notes as lines of cells, without empty ends."""
    heights = _heights(row)
    grid = [[SPACE] * width for _ in range(max(heights.values()) + 1)]
    words = [SPACE] * width
    x = 0
    for n, following in itertools.zip_longest(row, row[1:]):
        y = heights[n.midi]
        grid[y][x] = FULL_CELL
        label = labels[n.number][:width - x]
        words[x:x + len(label)] = label
        if following is None:
            break
        end = x + _advance(labels[n.number])
        if n.rest_after == 0 and n.phrase == following.phrase:
            _draw_move(grid, x + 1, end, y, heights[following.midi])
        x = end
    lines = ["".join(r).rstrip(SPACE) for r in [*grid, words]]
    return lines if lines[-1] else lines[:-1]


def _heights(row: Sequence[LineNote]) -> dict[int, int]:
    """Lines below the highest note of a row, by pitch (MIDI number)."""
    pitches = sorted({n.midi for n in row}, reverse=True)
    if pitches[0] - pitches[-1] < MOST_LINES:
        return {midi: pitches[0] - midi for midi in pitches}
    return {midi: k for k, midi in enumerate(pitches)}


def _draw_move(grid: list[list[str]], start: int, end: int, y: int, to: int) -> None:
    """The line from a note in row y, from column `start` on, to the note in row `to`, before column `end`."""
    turn = end - 2
    for column in range(start, end if to == y else turn):
        grid[y][column] = LEVEL_LINE
    if to != y:
        for row in range(min(y, to), max(y, to) + 1):
            grid[row][turn] = UPRIGHT
        grid[to][turn + 1] = LEVEL_LINE


def save_finger_line(tune: Tune, path: str | Path, language: Language, phrase: int | None = None,
                     size: PageSize = USUAL) -> list[str]:
    """Write the picture as .svg (one file a page), .pdf, .brf, .pef or .txt (in words). Returns the names written.

    size: of a braille page.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMS:
        if kind:
            raise Trouble(_("{path} ends in {ending}; the line is written as .svg, .pdf, .brf, .pef or .txt.").format(
                                path=path, ending=kind))
        raise Trouble(_("{path} ends in nothing; the line is written as .svg, .pdf, .brf, .pef or .txt.").format(path=path))
    if kind in (".brf", ".pef", ".txt"):
        save_sheet(finger_line_sheet(tune, language, phrase, size.width), path, language, size=size)
        return [str(path)]
    picture = finger_line_picture(tune, phrase)
    if kind == ".pdf":
        write_whole(path, drawings_pdf(picture.pages, picture.title))
        return [str(path)]
    says = " ".join(finger_line_words(tune, language, phrase))
    return save_svgs([drawing_svg(page, picture.title, says) for page in picture.pages], path)
