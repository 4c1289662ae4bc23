"""Lines of chord symbols below the music, read back; how they are written is said in `chord_cells`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from companion.braille import signs as S
from companion.braille.chord_cells import is_chord_line, read_chord
from companion.braille.layout import Row
from companion.braille.model import Meaning, MeaningKind, Said
from companion.braille.reading import Reading
from companion.tune import ChordSymbol

ChordLine = tuple[Row, int]  # a line of chord symbols, and the number of the line of music above it


def without_chords(rows: Sequence[Row]) -> tuple[list[Row], list[ChordLine]]:
    """The lines of a page without those of chord symbols, and those. Each stands below a line that is not a chord line and not
    a line of words, and begins no further to the left."""
    kept: list[Row] = []
    chords: list[ChordLine] = []
    for row in rows:
        if row.cells[0] == S.CAPITAL and kept and row.indent >= kept[-1].indent and is_chord_line(row.cells) and (
                not chords or chords[-1][1] != kept[-1].number) and _NOT_WORDS.search(kept[-1].cells):
            chords.append((row, kept[-1].number))
        else:
            kept.append(row)
    return kept, chords


#: What a line of music has and words have not: an octave mark before a note.
_NOT_WORDS = re.compile(f"[{S.cells('4')}{S.cells('45')}{S.cells('456')}{S.cells('5')}{S.cells('46')}{S.cells('56')}]"
                        f"[{''.join(S.NOTE_CELLS.values())}]")


def with_chords(reading: Reading, lines: Sequence[ChordLine]) -> Reading:
    """A reading whose notes have the chord symbols of the lines below them: each that of the note above it, or the last one
    before it."""
    if not lines:
        return reading
    below = {number: row for row, number in lines}
    places: dict[int, list[tuple[int, int, int]]] = {}  # by line: column, bar, note
    for bar, note, line, column, _cells in reading.places:
        if line in below:
            places.setdefault(line, []).append((column, bar, note))
    bars = [list(bar.notes) for bar in reading.tune.bars]
    for line, found in places.items():
        for column, chord, _length in _symbols(below[line]):
            _column, bar, note = max((p for p in found if p[0] <= column), default=min(found))
            if note < len(bars[bar]):
                bars[bar][note] = replace(bars[bar][note], chords=(*bars[bar][note].chords, chord))
    tune = replace(reading.tune, bars=tuple(replace(bar, notes=tuple(notes))
                                            for bar, notes in zip(reading.tune.bars, bars, strict=True)))
    return replace(reading, tune=tune, parts=tuple((name, with_chords(part, lines)) for name, part in reading.parts))


def _symbols(row: Row) -> list[tuple[int, ChordSymbol, int]]:
    """The symbols of a line: column, what it is, how many cells."""
    found = ((m.start(), m[0]) for m in re.finditer(f"[^{S.SPACE}]+", row.cells))
    return [(row.column + at, chord, len(cells)) for at, cells in found if (chord := read_chord(cells))]


def say_chords(lines: Sequence[ChordLine]) -> list[Said]:
    """What stands in lines of chord symbols."""
    return [Said(row.number, column, length, Meaning(MeaningKind.CHORD, text=chord.name))
            for row, _number in lines for column, chord, length in _symbols(row)]
