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

from companion.braille import needs_octave, note_cells
from companion.braille import words as in_braille
from companion.errors import Trouble
from companion.language.cues import bare, in_american
from companion.messages import _
from companion.paper.drawing import CELL_MM, DOT_MM, DOT_PITCH_MM, LINE_MM, Page, to_pdf, to_svg
from companion.paper.large_print import heading, pages_brf
from companion.places import write_whole
from companion.transcribe.doubts import pitch_words
from companion.tune import Key, LineNote, Tune, interval_kind

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
        raise Trouble(_("There is no phrase {phrase}; {tune} has phrases 1 to {last}.").format(
                            phrase=phrase, tune=tune.title or 'this tune', last=last))
    return chosen


def finger_line(tune: Tune, phrase: int | None = None, american: bool = False) -> FingerLine:
    """The picture of a tune, or of one phrase of it (from 1). Raises Trouble where there is no such phrase.

    american: half steps in its words, not semitones.
    """
    line = _chosen(tune, phrase)
    labels = _labels(line, tune.key)

    def width(row: Sequence[LineNote]) -> float:
        return sum(_step(labels[n.number]) for n in row[:-1]) + max(POINT_MM, len(labels[row[-1].number]) * CELL_MM)

    rows = rows_of(line, width, A4[0] - 2 * MARGIN_MM)
    around = POINT_MM + GAP_MM + DOT_MM + 2 * DOT_PITCH_MM  # what a row takes besides its rise and fall
    room = A4[1] - 2 * MARGIN_MM - LINE_MM - GAP_MM - around
    rises = [max(n.midi for n in row) - min(n.midi for n in row) for row in rows]
    semitone = max(LEAST_SEMITONE_MM, min(SEMITONE_MM, room / max(1, *rises, 1)))
    pages: list[Page] = []
    places: list[list[Place]] = []
    top = A4[1]
    for row, rise in zip(rows, rises, strict=True):
        height = rise * semitone + around
        if top + height > A4[1] - MARGIN_MM:
            pages.append(Page(*A4))
            places.append([])
            top = MARGIN_MM + LINE_MM + GAP_MM
        _draw_row(pages[-1], places[-1], row, labels, top, semitone)
        top += height + LINE_MM
    across = int((A4[0] - 2 * MARGIN_MM) / CELL_MM)
    for k, page in enumerate(pages, 1):
        page.braille(MARGIN_MM, MARGIN_MM, heading(tune.title, across, k if len(pages) > 1 else 0))
    says = tuple(in_american(x) if american else x for x in in_words(line))
    return FingerLine(tune.title, tuple(pages), tuple(tuple(p) for p in places), says)


def _draw_row(page: Page, places: list[Place], row: Sequence[LineNote], labels: dict[int, str], top: float,
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


def in_words(line: Sequence[LineNote]) -> list[str]:
    """The picture in words, a plain line a phrase: where the finger goes from note to note."""
    out: list[str] = []
    said: list[str] = []
    # Among words a note without one is named so that "A" is no word.
    note = "the note " if any(n.syllable for n in line) else ""
    for i, n in enumerate(line):
        name = bare(n.syllable) or note + pitch_words(n.pitch)
        if i == 0:
            said.append(f"{name} is the first")
        else:
            size = n.midi - line[i - 1].midi
            kind = interval_kind(size)
            went = "stays" if size == 0 else f"{'up' if size > 0 else 'down'} a {kind}"
            said.append(f"{'' if said else 'from there '}{went} {'to' if size else 'for'} {name}")
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
    line = _chosen(tune, phrase)
    labels = _labels(line, tune.key)

    def columns(row: Sequence[LineNote]) -> int:
        return sum(_advance(labels[n.number]) for n in row[:-1]) + max(1, len(labels[row[-1].number]))

    pages: list[list[str]] = []
    for block in (_block(row, labels, width) for row in rows_of(line, columns, width)):
        if not pages or len(pages[-1]) + 1 + len(block) > height:
            pages.append([""])  # for the heading
        pages[-1] += [*([""] if tune.title or len(pages[-1]) > 1 else []), *block]
    for k, page in enumerate(pages, 1):
        page[0] = heading(tune.title, width, k if len(pages) > 1 else 0)
    return [page if page[0] else page[1:] for page in pages]


def _advance(label: str) -> int:
    return max(4, len(label) + 1)


def _block(row: Sequence[LineNote], labels: dict[int, str], width: int) -> list[str]:
    low, high = min(n.pitch.diatonic for n in row), max(n.pitch.diatonic for n in row)
    grid = [["⠀"] * width for _ in range(high - low + 1)]
    words = ["⠀"] * width
    x = 0
    for i, n in enumerate(row):
        y = high - n.pitch.diatonic
        grid[y][x] = FULL_CELL
        for k, cell in enumerate(labels[n.number]):
            if x + k < width:
                words[x + k] = cell
        if i + 1 < len(row):
            following = x + _advance(labels[n.number])
            to = high - row[i + 1].pitch.diatonic
            if n.rest_after == 0 and n.phrase == row[i + 1].phrase:
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


def save(tune: Tune, path: str | Path, phrase: int | None = None, width: int = 40, height: int = 25,
         american: bool = False) -> list[str]:
    """Write the picture as .svg (one file a page), .pdf, .brf or .txt (in words). Returns the names written."""
    path = Path(path)
    kind = path.suffix.lower()
    if kind == ".brf":
        write_whole(path, pages_brf(in_cells(tune, width, height, phrase), height))
        return [str(path)]
    picture = finger_line(tune, phrase, american)
    if kind == ".txt":
        write_whole(path, ("\n".join([picture.title, *picture.says]) + "\n").encode("utf-8"))
        return [str(path)]
    if kind == ".pdf":
        write_whole(path, to_pdf(list(picture.pages), picture.title))
        return [str(path)]
    if kind != ".svg":
        raise Trouble(_("{path} ends in {nothing}; the line is written as .svg, .pdf, .brf or .txt.").format(
                            path=path, nothing=kind or 'nothing'))
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
