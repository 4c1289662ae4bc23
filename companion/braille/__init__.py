"""Music braille: a tune to cells and back, both from the same tables."""

from companion.braille.decode import decode, lines_of, read_file
from companion.braille.encode import Habits, encode, needs_octave, pitch_only_tune, wrap
from companion.braille.page import BraillePage, Link, Said, from_brf, to_brf
from companion.braille.reading import Problem, Reading
from companion.braille.signs import FINAL_BAR, SPACE, dots_of
from companion.braille.text import (
    chord,
    from_dots,
    letter_of,
    note_cells,
    say_dots,
    say_note,
    to_ascii,
    to_cells,
    to_dots,
    typed,
    words,
)

__all__ = ["FINAL_BAR", "SPACE", "BraillePage", "Habits", "Link", "Problem", "Reading", "Said", "chord", "decode",
           "dots_of", "encode", "from_brf", "from_dots", "letter_of", "lines_of", "needs_octave",
           "note_cells", "pitch_only_tune", "read_file", "say_dots", "say_note", "to_ascii", "to_brf",
           "to_cells", "to_dots", "typed", "words", "wrap"]
