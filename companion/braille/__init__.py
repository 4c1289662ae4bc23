"""Music braille: a tune to cells and back, both from the same tables. Facts only: `companion.language.braille` makes
the sentences."""

from companion.braille import signs
from companion.braille.chord_cells import chord_cells, read_chord
from companion.braille.decode import decode, lines_of, read_file
from companion.braille.encode import check_width, encode, pitch_only_tune
from companion.braille.expressions import key_cells, time_cells
from companion.braille.groups import time_name
from companion.braille.lines import wrap
from companion.braille.literary import WordLanguage
from companion.braille.model import Hand, Link, Meaning, MeaningKind, PartName, Problem, ProblemCode, Said
from companion.braille.page import BraillePage, from_brf, paged
from companion.braille.pieces import Habits, needs_octave
from companion.braille.reading import Reading
from companion.braille.signs import FINAL_BAR, SPACE, Role, dots_of
from companion.braille.text import (
    chord,
    contracted,
    from_dots,
    letter_of,
    note_cells,
    pitch_only_heading,
    read_words,
    to_ascii,
    to_cells,
    to_dots,
    typed,
    words,
)
from companion.braille.together import Part, encode_parts

__all__ = [
    "FINAL_BAR",
    "SPACE",
    "BraillePage",
    "Habits",
    "Hand",
    "Link",
    "Meaning",
    "MeaningKind",
    "Part",
    "PartName",
    "Problem",
    "ProblemCode",
    "Reading",
    "Role",
    "Said",
    "WordLanguage",
    "check_width",
    "chord",
    "chord_cells",
    "contracted",
    "decode",
    "dots_of",
    "encode",
    "encode_parts",
    "from_brf",
    "from_dots",
    "key_cells",
    "letter_of",
    "lines_of",
    "needs_octave",
    "note_cells",
    "paged",
    "pitch_only_heading",
    "pitch_only_tune",
    "read_chord",
    "read_file",
    "read_words",
    "signs",
    "time_cells",
    "time_name",
    "to_ascii",
    "to_cells",
    "to_dots",
    "typed",
    "words",
    "wrap",
]
