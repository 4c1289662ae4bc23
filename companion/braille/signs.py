"""The signs of music braille as data: cells, and what each says. Encoder, decoder and words read these alone.

Sources: Music Braille Code 2015 (MBC, Braille Authority of North America); De Garmo, Introduction to Braille
Music Transcription (Library of Congress, 2005). The tests hold every sign that music21.braille.lookup has
against it, and Braille ASCII against the North American table.
"""

from __future__ import annotations

from fractions import Fraction

CELL_BASE = 0x2800  # Unicode: U+2800 is the empty cell; dot n is bit n - 1


def cells(dots: str) -> str:
    """Cells from dot numbers, a cell a group: cells("5-145") is "⠐⠙". Groups may be parted by "-" or space."""
    return "".join(chr(CELL_BASE + sum(1 << (int(d) - 1) for d in set(group) if d != "0"))
                   for group in dots.replace("-", " ").split())


def dots_of(cell: str) -> str:
    """Dot numbers of one cell in order, "0" for the empty one."""
    code = ord(cell) - CELL_BASE
    return "".join(str(i + 1) for i in range(8) if code >> i & 1) or "0"


SPACE = cells("0")

#: North American Braille ASCII: the 64 six-dot cells in order of Unicode, U+2800 to U+283F.
ASCII = " A1B'K2L@CIF/MSP\"E3H9O6R^DJG>NTQ,*5<-U8V.%[$+X!&;:4\\0Z7(_?W]#Y)="

#: Upper four dots of a note: its name. The letter trap: each is the letter after its name, since Louis
#: Braille counted from do (C as d ... G as h, then A and B as i and j).
NAMES = {"C": "145", "D": "15", "E": "124", "F": "1245", "G": "125", "A": "24", "B": "245"}
#: Dots 3 and 6: its value. Two values share each row; the bar tells which is meant.
VALUES: dict[Fraction, str] = {
    Fraction(4): "36", Fraction(2): "3", Fraction(1): "6", Fraction(1, 2): "",
    Fraction(1, 4): "36", Fraction(1, 8): "3", Fraction(1, 16): "6", Fraction(1, 32): "",
}
LARGER = (Fraction(4), Fraction(2), Fraction(1), Fraction(1, 2))
SMALLER = (Fraction(1, 4), Fraction(1, 8), Fraction(1, 16), Fraction(1, 32))
RESTS: dict[Fraction, str] = {
    Fraction(4): "134", Fraction(2): "136", Fraction(1): "1236", Fraction(1, 2): "1346",
    Fraction(1, 4): "134", Fraction(1, 8): "136", Fraction(1, 16): "1236", Fraction(1, 32): "1346",
}
BREVE = cells("45-14")  # between two semibreves: a breve (De Garmo, table of signs)

#: Rows of cells, by the larger values that they stand for: dots that they add to a note's name, and the rest.
ROW_DOTS = ("36", "3", "6", "")
ROW_RESTS = ("134", "136", "1236", "1346")

NOTE_CELLS = {(name, value): cells("".join(sorted(upper + VALUES[value])))
              for name, upper in NAMES.items() for value in VALUES}
REST_CELLS = {value: cells(d) for value, d in RESTS.items()}

OCTAVES = {0: cells("4-4"), 1: cells("4"), 2: cells("45"), 3: cells("456"), 4: cells("5"), 5: cells("46"),
           6: cells("56"), 7: cells("6"), 8: cells("6-6")}
OCTAVE_WORDS = ("octave below the first", "first octave", "second octave", "third octave", "fourth octave",
                "fifth octave", "sixth octave", "seventh octave", "octave above the seventh")

ACCIDENTALS = {2: cells("146-146"), 1: cells("146"), 0: cells("16"), -1: cells("126"), -2: cells("126-126")}
ACCIDENTAL_WORDS = {2: "double sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "double flat"}
EDITORIAL = cells("6-3")  # music parentheses around an accidental that an editor added (De Garmo, chapter 10)

DOT = cells("3")
NUMBER = cells("3456")
UPPER_DIGITS = {str(i): cells(d) for i, d in enumerate("245 1 12 14 145 15 124 1245 125 24".split())}
LOWER_DIGITS = {str(i): cells(d) for i, d in enumerate("356 2 23 25 256 26 235 2356 236 35".split())}
COMMON, CUT = cells("46-14"), cells("456-14")

TIE = cells("4-14")
SLUR = cells("14")
SLUR_OPEN, SLUR_CLOSE = cells("56-12"), cells("45-23")
TRIPLET = cells("23")
GROUP = cells("456")  # then a lowered digit and dot 3: a group of so many
LARGER_VALUES, SMALLER_VALUES = cells("45-126-2"), cells("6-126-2")

#: Marks before a note, in the order in which they stand there: ornaments, then staccato, then the other
#: articulations by name (De Garmo, chapter 14; MBC 2015).
BEFORE = {
    "appoggiatura": cells("5-26"), "short appoggiatura": cells("26"),
    "trill": cells("235"), "turn": cells("6-256"), "inverted turn": cells("6-256-123"),
    "mordent": cells("5-235-123"), "inverted mordent": cells("5-235"),
    "staccato": cells("236"), "staccatissimo": cells("6-236"), "accent": cells("46-236"),
    "strong accent": cells("56-236"), "staccato-tenuto": cells("5-236"), "tenuto": cells("456-236"),
}  # fmt: skip
#: Marks after a note.
AFTER = {"fermata": cells("126-123"), "breath": cells("345-2")}

FORWARD_REPEAT, BACKWARD_REPEAT = cells("126-2356"), cells("126-23")
FINAL_BAR, DOUBLE_BAR, DOTTED_BAR = cells("126-13"), cells("126-13-3"), cells("13")
BAR_REPEAT = cells("2356")  # the bar again; with a number, so many times; within a bar, the part before again
IN_ACCORD = cells("126-345")  # a second voice in the same bar: read only to say that it is out of scope
METRONOME = cells("2356")  # between a note and a number: so many of these a minute (De Garmo, chapter 13)
HYPHEN = cells("5")
HYPHEN_WORDS = "music hyphen"  # not in SIGN_WORDS, where this cell is the fourth octave
APART_WORDS = "dot that keeps signs apart"
WORD = cells("345")
SEGNO, CODA = cells("346"), cells("346-123")
PLUS = cells("346")  # between the figures of a combined time signature
CRESCENDO, DIMINUENDO = cells("345-14"), cells("345-145")
CRESCENDO_END, DIMINUENDO_END = cells("345-25"), cells("345-256")

#: Words of expression that have a short form of their own in braille, and what they are read back as.
SHORT_WORDS = {"crescendo": "cr.", "cresc.": "cr.", "decrescendo": "decr.", "decresc.": "decr."}
LONG_WORDS = {"cr.": "cresc.", "decr.": "decresc."}
#: Abbreviations that print ends with a point (common practice): the dot 3 after them is that point.
ABBREVIATIONS = frozenset("cr decr dim rit rall accel ten marc stacc espress cantab sost string allarg ad lib "
                          "poco accel mod leg rinf calm temp".split()) - {"poco", "ad"}
DYNAMICS = frozenset("pppp ppp pp p mp mf f ff fff ffff sf sfz sfp sfpp sffz fp fz rf rfz fpp".split())
JUMP_WORDS = {"da capo": "d.c.", "dal segno": "d.s.", "da capo al fine": "d.c. al fine",
              "dal segno al fine": "d.s. al fine", "da capo al coda": "d.c. al coda",
              "dal segno al coda": "d.s. al coda", "fine": "fine", "to coda": "to coda"}

#: Every sign that is not a note, a rest or a digit, and what it says.
SIGN_WORDS: dict[str, str] = {
    DOT: "dot", NUMBER: "number sign", COMMON: "common time", CUT: "cut time", TIE: "tie", SLUR: "slur",
    SLUR_OPEN: "long slur begins", SLUR_CLOSE: "long slur ends", TRIPLET: "triplet",
    LARGER_VALUES: "larger values", SMALLER_VALUES: "smaller values",
    FORWARD_REPEAT: "repeat from here", BACKWARD_REPEAT: "repeat to here", FINAL_BAR: "final double bar",
    DOUBLE_BAR: "double bar", DOTTED_BAR: "dotted bar line", BAR_REPEAT: "bar repeated",
    WORD: "word sign", SEGNO: "segno", CODA: "coda", CRESCENDO: "louder from here", DIMINUENDO: "softer from here",
    IN_ACCORD: "second voice",
    CRESCENDO_END: "louder ends", DIMINUENDO_END: "softer ends", BREVE: "breve", EDITORIAL: "bracket",
    **{cell: words for words, cell in BEFORE.items()}, **{cell: words for words, cell in AFTER.items()},
    **{cell: OCTAVE_WORDS[n] for n, cell in OCTAVES.items()},
    **{cell: ACCIDENTAL_WORDS[n] for n, cell in ACCIDENTALS.items()},
}

_LETTERS = ("1 12 14 145 15 124 1245 125 24 245 13 123 134 1345 135 1234 12345 1235 234 2345 136 1236 2456 1346 "
            "13456 1356").split()
LETTERS = {chr(ord("a") + i): cells(d) for i, d in enumerate(_LETTERS)}
"""Uncontracted letters of Unified English Braille."""
PUNCTUATION = {",": "2", ";": "23", ":": "25", ".": "256", "!": "235", "?": "236", "'": "3", "’": "3", "-": "36",
               "(": "5-126", ")": "5-345", "“": "236", "”": "356", "\"": "2356", "/": "456-34",
               "—": "6-36", "–": "6-36", "…": "256-256-256", "‘": "6-236", "&": "4-12346", "*": "5-35",
               "=": "5-2356", "[": "46-126", "]": "46-345", "%": "46-356", "+": "5-235", "§": "45-234"}  # fmt: skip
PUNCT_POINT = cells("256")  # full stop, and the point in a decimal number
CAPITAL = cells("6")
CAPITAL_WORD = cells("6-6")
CAPITAL_END = cells("6-3")
GRADE1 = cells("56")
#: UEB modifiers before a letter (UEB rulebook 4.2), by Unicode combining mark.
ACCENTS = {"\u0301": "45-34", "\u0300": "45-16", "\u0302": "45-146", "\u0308": "45-25", "\u0303": "45-12456",
           "\u0327": "45-12346", "\u030a": "45-1246", "\u0304": "4-36"}
