"""The tables, against tables that others have made."""

from fractions import Fraction

import pytest

from companion.braille import (
    chord,
    from_dots,
    key_cells,
    letter_of,
    needs_octave,
    note_cells,
    signs,
    time_cells,
    to_ascii,
    to_cells,
    to_dots,
    typed,
)
from companion.braille.text import read_words, words
from companion.tune import Barline, Key, Mark, Pitch, Time

lookup = pytest.importorskip("music21.braille.lookup")

VALUES = {"whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2),
          "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16), "128th": Fraction(1, 32)}


def test_notes_and_rests_of_every_value_against_music21() -> None:
    for step, cells in lookup.pitchNameToNotes.items():
        for name, value in VALUES.items():
            assert note_cells(Pitch(step, 4), value, octave=False) == cells[name]
        assert note_cells(Pitch(step, 4), Fraction(8), octave=False) == cells["breve"]
    for name, value in VALUES.items():
        assert note_cells(None, value) == lookup.rests[name]
    assert note_cells(None, Fraction(8)) == lookup.rests["breve"]


def test_octave_marks_and_accidentals_against_music21() -> None:
    assert lookup.octaves == signs.OCTAVES
    names = {2: "double-sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "double-flat"}
    for alter, cells in signs.ACCIDENTALS.items():
        assert cells == lookup.accidentals[names[alter]]


def test_key_and_time_signatures_against_music21() -> None:
    for fifths in range(-7, 8):
        assert key_cells(Key(fifths)) == lookup.keySignatures[fifths]
    assert time_cells(Time((4,), 4, "common")) == lookup.symbols["common"]
    assert time_cells(Time((2,), 2, "cut")) == lookup.symbols["cut"]
    # De Garmo, chapter 2: number sign, upper figure in upper cells, lower figure in lowered cells.
    assert to_dots(time_cells(Time((6,), 8))) == "3456-124-236"
    assert to_dots(time_cells(Time((12,), 8))) == "3456-1-12-236"


def test_other_signs_against_music21() -> None:
    s = lookup.symbols
    names = ("tie", "opening_single_slur", "triplet", "dot", "number", "word", "music_hyphen")
    ours = (signs.TIE, signs.SLUR, signs.TRIPLET, signs.DOT, signs.NUMBER, signs.WORD, signs.HYPHEN)
    assert tuple(s[n] for n in names) == ours
    assert (s["opening_bracket_slur"], s["closing_bracket_slur"]) == (signs.SLUR_OPEN, signs.SLUR_CLOSE)
    assert s["tuplet_prefix"] == signs.GROUP
    assert s["repeat"] == signs.BAR_REPEAT
    assert s["metronome"] == signs.METRONOME
    assert s["full_inaccord"] == signs.IN_ACCORD
    assert s["braille-music-parenthesis"] == signs.EDITORIAL
    assert lookup.fermatas["shape"]["normal"] == Mark.FERMATA.sign.cells
    bars = {"final": signs.FINAL_BAR, "double": signs.DOUBLE_BAR, "dashed": Barline.DOTTED.sign.cells}
    assert all(lookup.barlines[name] == cells for name, cells in bars.items())
    sizes = {"larger": signs.LARGER_VALUES, "smaller": signs.SMALLER_VALUES}
    assert all(lookup.lengthPrefixes[name] == cells for name, cells in sizes.items())
    articulations = {"staccato": "staccato", "accent": "accent", "tenuto": "tenuto", "staccatissimo": "staccatissimo",
                     "strong accent": "strong accent", "detached legato": "staccato-tenuto"}
    for theirs, ours in articulations.items():
        assert Mark(ours).sign.cells == lookup.beforeNoteExpr[theirs]


def test_braille_ascii_against_the_published_table() -> None:
    """All 64 cells of North American Braille ASCII, cell by cell in order of Unicode (as in Wikipedia's and the
    Library of Congress's table, and in music21.braille.lookup)."""
    published = (" A1B'K2L@CIF/MSP" "\"E3H9O6R^DJG>NTQ" ",*5<-U8V.%[$+X!&" ";:4\\0Z7(_?W]#Y)=")
    assert to_ascii("".join(chr(0x2800 + i) for i in range(64))) == published
    for cell, character in lookup.ascii_chars.items():
        assert to_ascii(cell) == character
        assert to_cells(character) == cell
        assert to_cells(character.lower()) == cell


def test_unicode_dot_numbering() -> None:
    """Unicode 1991 and later, block Braille Patterns: dot n is bit n - 1 above U+2800."""
    for dots in range(1, 7):
        assert ord(from_dots(str(dots))) == 0x2800 + (1 << (dots - 1))
    assert from_dots("123456") == "\u283f"
    assert [ord(lookup.brailleDotDict[n]) - 0x2800 for n in (1, 12, 145, 245)] == [1, 3, 0b11001, 0b11010]
    assert from_dots("145") == lookup.brailleDotDict[145]


def test_typed_cells_come_back() -> None:
    for code in range(1, 64):
        cell = chr(0x2800 + code)
        assert from_dots(signs.dots_of(cell)) == cell
        assert chord({int(d) for d in signs.dots_of(cell)}) == cell
    assert to_dots(from_dots("5-145 0 14")) == "5-145   14" or from_dots("5-145") == "⠐⠙"
    with pytest.raises(ValueError, match="dot numbers"):
        from_dots("1x")
    with pytest.raises(ValueError, match="not dots 1 to 6"):
        chord({7})


def test_cells_as_people_type_them() -> None:
    wanted = from_dots("5-145-15")
    for text in ("5-145-15", "5 145 15", '"DE', '"de', wanted, f" {wanted}"):
        assert typed(text) == (wanted, ""), text
    assert typed("5-541") == (to_cells("5-541"), "")  # no dot numbers: they are not in order
    assert typed(f"{wanted}é") == (wanted, "é")
    assert typed('"DEé') == (wanted, "é")
    assert typed("") == ("", "")


def test_the_letter_trap() -> None:
    """C has the cell of d, and so on to G as h; A and B are i and j (common practice of the teaching room)."""
    for step, letter in zip("CDEFGAB", "defghij", strict=True):
        assert letter_of(note_cells(Pitch(step, 4), Fraction(1, 2), octave=False)) == letter


@pytest.mark.parametrize(("before", "after", "mark"), [
    # MBC 2015, 3.2.2: second and third never, sixth and more always, fourth and fifth where the octave changes.
    ("C4", "E4", False), ("B4", "D5", False), ("C4", "F4", False), ("C4", "G4", False), ("G4", "C5", True),
    ("F4", "C5", True), ("C4", "A4", True), ("E4", "C5", True), ("D5", "A4", True), ("G4", "C4", False),
    # De Garmo, chapter 7: the written letter decides, whatever the accidental.
    ("B3", "Cb4", False), ("G4", "B#4", False), ("F4", "Cb5", True),
])
def test_octave_rule(before: str, after: str, mark: bool) -> None:
    def pitch(name: str) -> Pitch:
        return Pitch(name[0], int(name[-1]), {"#": 1, "b": -1}.get(name[1], 0))

    assert needs_octave(pitch(before), pitch(after)) is mark
    assert needs_octave(None, pitch(after))


def test_words_and_back() -> None:
    for text in ("Snail on the wall", "it's 3 o'clock", "NO, no!", "bar 12"):
        assert read_words(words(text)) == text
