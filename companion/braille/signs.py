"""The signs of music braille as data: cells, and what each does. Writing, reading and the spoken names use these alone.

Signs that a score has too (accidentals, ornaments, articulations, bar lines, where to go) are rows in
`companion/tune/signs.py`; those that only braille has are rows of `TABLE` here, of the same kind. Notes, rests and
numbers are made by rule and have tables of their own.

Sources: Music Braille Code 2015 (MBC, Braille Authority of North America); De Garmo, Introduction to Braille Music
Transcription (Library of Congress, 2005). The tests compare every sign that music21.braille.lookup has with it, and
Braille ASCII with the North American table.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from companion.tune import ACCIDENTALS as ACCIDENTAL_SIGNS
from companion.tune import CELL_BASE as CELL_BASE
from companion.tune import Barline, DirectionKind, Grace, Jump, Mark, Sign, Stands
from companion.tune import cells as cells


def dots_of(cell: str) -> str:
    """Dot numbers of one cell in order, "0" for the empty one."""
    code = ord(cell) - CELL_BASE
    return "".join(str(i + 1) for i in range(8) if code >> i & 1) or "0"


SPACE = cells("0")
#: Cells with dots 1, 2 or 3, in order of Unicode. Words in music end where a cell without them stands.
LEFT_CELLS = "".join(chr(CELL_BASE + i) for i in range(64) if i & 7)


def is_left(cell: str) -> bool:
    """Whether a cell has dots 1, 2 or 3."""
    return (ord(cell) - CELL_BASE) & 7 != 0


#: North American Braille ASCII: the 64 six-dot cells in order of Unicode, U+2800 to U+283F.
ASCII = " A1B'K2L@CIF/MSP\"E3H9O6R^DJG>NTQ,*5<-U8V.%[$+X!&;:4\\0Z7(_?W]#Y)="

# --- notes, rests, numbers ------------------------------------------------------------------------------------

#: Upper four dots of a note: its name. The letter trap: each is the letter after its name, since Louis
#: Braille counted from do (C as d ... G as h, then A and B as i and j).
NAMES = {"C": "145", "D": "15", "E": "124", "F": "1245", "G": "125", "A": "24", "B": "245"}
#: Rows of cells, by the larger values that they stand for (semibreve, minim, crotchet, quaver; the smaller ones are
#: 16th, 32nd, 64th, 128th; the bar decides): dots 3 and 6 that they add to a note's name, and the rest.
ROW_DOTS = ("36", "3", "6", "")
ROW_RESTS = ("134", "136", "1236", "1346")
ROW_VALUES = ((Fraction(4), Fraction(1, 4)), (Fraction(2), Fraction(1, 8)), (Fraction(1), Fraction(1, 16)),
              (Fraction(1, 2), Fraction(1, 32)))
NOTE_CELLS = {(name, value): cells("".join(sorted(upper + dots)))
              for name, upper in NAMES.items() for dots, values in zip(ROW_DOTS, ROW_VALUES, strict=True)
              for value in values}
REST_CELLS = {value: cells(dots) for dots, values in zip(ROW_RESTS, ROW_VALUES, strict=True) for value in values}

UPPER_DIGITS = {str(i): cells(d) for i, d in enumerate("245 1 12 14 145 15 124 1245 125 24".split())}
LOWER_DIGITS = {str(i): cells(d) for i, d in enumerate("356 2 23 25 256 26 235 2356 236 35".split())}

# --- signs that only braille has ------------------------------------------------------------------------------


class Role(StrEnum):
    """What a sign does for a reader."""

    MARK = "mark"
    GRACE = "grace"
    OCTAVE = "octave"
    ACCIDENTAL = "accidental"
    EDITORIAL = "editorial"
    SLUR_OPENS = "slur opens"
    SLUR_CLOSES = "slur closes"
    GROUP = "group"
    SIZE = "size"
    FORWARD = "forward"
    BACKWARD = "backward"
    ENDING = "ending"
    JUMP = "jump"
    HAIRPIN_END = "hairpin end"
    WORDS = "words"
    DOT = "dot"
    SLUR = "slur"
    TIE = "tie"
    MERGED = "merged syllables"
    FINGER = "finger"
    INTERVAL = "interval"
    BARLINE = "bar line"
    SECOND_VOICE = "second voice"
    # parts of other signs, and signs that stand by themselves
    NUMBER = "number"
    COMMON_TIME = "common time"
    CUT_TIME = "cut time"
    PLUS = "plus"  # between the figures of a combined time signature
    METRONOME = "metronome"  # between a note and how many of it a minute has
    BREVE = "breve"  # between two semibreves
    GROUP_SIGN = "group sign"  # then a lowered digit and dot 3
    BAR_REPEAT = "bar repeat"  # with a number, so many times; within a bar, the part before it again
    WHOLE_REST = "whole rest"
    HYPHEN = "hyphen"
    WORD_SIGN = "word sign"
    HAIRPIN = "hairpin"
    APART_DOT = "apart dot"


class Size(StrEnum):
    """Which of its two values a row has, where a value sign says it."""

    LARGER = "larger"
    SMALLER = "smaller"


#: What an entry's role is about: which octave, how many semitones, which mark ...
Value = Mark | Barline | Jump | Grace | Size | DirectionKind | int | None


@dataclass(frozen=True, slots=True)
class Entry:
    """A sign, what it does, and what that is about."""

    sign: Sign
    role: Role
    value: Value = None


_BEFORE, _AFTER, _BAR, _APART = Stands.BEFORE, Stands.AFTER, Stands.BAR, Stands.APART
_OCTAVE = "De Garmo, chapter 7; MBC 2015, 3.2"
_OTHERS = "music21.braille.lookup"  # of pages by other writers: read, never written
_ELISION = "New International Manual, 16-8"

TABLE: tuple[Entry, ...] = (
    Entry(Sign("octave below the first", "4-4", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 0),
    Entry(Sign("first octave", "4", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 1),
    Entry(Sign("second octave", "45", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 2),
    Entry(Sign("third octave", "456", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 3),
    Entry(Sign("fourth octave", "5", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 4),
    Entry(Sign("fifth octave", "46", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 5),
    Entry(Sign("sixth octave", "56", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 6),
    Entry(Sign("seventh octave", "6", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 7),
    Entry(Sign("octave above the seventh", "6-6", _BEFORE, 700, _OCTAVE), Role.OCTAVE, 8),
    Entry(Sign("bracket", "6-3", _BEFORE, 600, "De Garmo, chapter 10"), Role.EDITORIAL),  # around an editor's accidental
    Entry(Sign("appoggiatura", "5-26", _BEFORE, 500, "De Garmo, chapter 14"), Role.GRACE, Grace.LONG),
    Entry(Sign("short appoggiatura", "26", _BEFORE, 500, "De Garmo, chapter 14"), Role.GRACE, Grace.SHORT),
    Entry(Sign("triplet", "23", _BEFORE, 400, "De Garmo, chapter 16"), Role.GROUP, 3),
    Entry(Sign("larger values", "45-126-2", _BEFORE, 410, "De Garmo, chapter 15"), Role.SIZE, Size.LARGER),
    Entry(Sign("smaller values", "6-126-2", _BEFORE, 410, "De Garmo, chapter 15"), Role.SIZE, Size.SMALLER),
    Entry(Sign("long slur begins", "56-12", _BEFORE, 300, "De Garmo, chapter 12"), Role.SLUR_OPENS),
    Entry(Sign("long slur ends", "45-23", Stands.EITHER, 310, "De Garmo, chapter 12"), Role.SLUR_CLOSES),
    Entry(Sign("repeat from here", "126-2356", _BEFORE, 100, "De Garmo, chapter 17"), Role.FORWARD),
    Entry(Sign("louder ends", "345-25", _BEFORE, 100, "from memory"), Role.HAIRPIN_END, DirectionKind.CRESCENDO),
    Entry(Sign("softer ends", "345-256", _BEFORE, 100, "from memory"), Role.HAIRPIN_END, DirectionKind.DIMINUENDO),
    Entry(Sign("dot", "3", _AFTER, 100, "De Garmo, chapter 3"), Role.DOT),
    Entry(Sign("two syllables on one note", "12", _AFTER, 150, _ELISION), Role.MERGED, 2),
    Entry(Sign("three syllables on one note", "123", _AFTER, 150, _ELISION), Role.MERGED, 3),
    Entry(Sign("full breath", "6-34", _AFTER, 500, "MBC 2015, section 35"), Role.MARK, Mark.BREATH),  # the half one is written
    Entry(Sign("first finger", "1", _AFTER, 150, _OTHERS), Role.FINGER, 1),  # 2, 3, 5: see `units`
    Entry(Sign("fourth finger", "2", _AFTER, 150, _OTHERS), Role.FINGER, 4),
    *(Entry(Sign(name, dots, _AFTER, 160, _OTHERS), Role.INTERVAL, steps) for name, dots, steps in (
        ("interval of a second", "34", 2), ("interval of a third", "346", 3), ("interval of a fourth", "3456", 4),
        ("interval of a fifth", "35", 5), ("interval of a sixth", "356", 6), ("interval of a seventh", "25", 7),
        ("interval of an octave", "36", 8))),
    Entry(Sign("slur", "14", _AFTER, 300, "De Garmo, chapter 12"), Role.SLUR),
    Entry(Sign("tie", "4-14", _AFTER, 400, "De Garmo, chapter 4"), Role.TIE),
    Entry(Sign("repeat to here", "126-23", _BAR, 0, "De Garmo, chapter 17"), Role.BACKWARD),
    Entry(Sign("second voice", "126-345", _BAR, 0, "De Garmo, chapter 17"), Role.SECOND_VOICE),
    Entry(Sign("number sign", "3456", _APART, 0, "De Garmo, chapter 2"), Role.NUMBER),
    Entry(Sign("common time", "46-14", _APART, 0, "De Garmo, chapter 8"), Role.COMMON_TIME),
    Entry(Sign("cut time", "456-14", _APART, 0, "De Garmo, chapter 8"), Role.CUT_TIME),
    Entry(Sign("plus", "346", _APART, 0, "De Garmo, chapter 8"), Role.PLUS),
    Entry(Sign("metronome", "2356", _APART, 0, "De Garmo, chapter 13"), Role.METRONOME),
    Entry(Sign("breve", "45-14", _APART, 0, "De Garmo, chapter 5"), Role.BREVE),
    Entry(Sign("group", "456", _APART, 0, "De Garmo, chapter 16"), Role.GROUP_SIGN),
    Entry(Sign("bar repeated", "2356", _APART, 0, "De Garmo, chapter 17"), Role.BAR_REPEAT),
    Entry(Sign("full bar rest", "134", _APART, 0, "De Garmo, chapter 5"), Role.WHOLE_REST),
    Entry(Sign("music hyphen", "5", _APART, 0, "De Garmo, chapter 10"), Role.HYPHEN),
    Entry(Sign("word sign", "345", _APART, 0, "De Garmo, chapter 13"), Role.WORD_SIGN),
    Entry(Sign("louder from here", "345-14", _APART, 0, "from memory"), Role.HAIRPIN, DirectionKind.CRESCENDO),
    Entry(Sign("softer from here", "345-145", _APART, 0, "from memory"), Role.HAIRPIN, DirectionKind.DIMINUENDO),
    Entry(Sign("dot that keeps signs apart", "3", _APART, 0, "De Garmo, chapter 13"), Role.APART_DOT),
    *(Entry(sign, Role.ACCIDENTAL, alter) for alter, sign in ACCIDENTAL_SIGNS.items()),
    *(Entry(mark.sign, Role.MARK, mark) for mark in Mark),
    *(Entry(line.sign, Role.BARLINE, line) for line in Barline),
    *(Entry(jump.sign, Role.JUMP, jump) for jump in Jump if jump.sign),
)  # fmt: skip

BY_NAME: dict[str, Sign] = {entry.sign.name: entry.sign for entry in TABLE}
_SIGNS: dict[tuple[Role, Value], Sign] = {(entry.role, entry.value): entry.sign for entry in TABLE}


def sign_of(role: Role, value: Value = None) -> Sign:
    """The row of a role and what it is about. Raises KeyError where there is none."""
    return _SIGNS[role, value]


def _cells(role: Role, value: Value = None) -> str:
    return _SIGNS[role, value].cells


OCTAVES: dict[int, str] = {n: _cells(Role.OCTAVE, n) for n in range(9)}
ACCIDENTALS: dict[int, str] = {alter: sign.cells for alter, sign in ACCIDENTAL_SIGNS.items()}
OCTAVE_WORDS = tuple(sign_of(Role.OCTAVE, n).name for n in OCTAVES)
ACCIDENTAL_WORDS = {alter: sign.name for alter, sign in ACCIDENTAL_SIGNS.items()}
EDITORIAL, DOT, NUMBER, BREVE = map(_cells, (Role.EDITORIAL, Role.DOT, Role.NUMBER, Role.BREVE))
COMMON, CUT, PLUS, METRONOME = map(_cells, (Role.COMMON_TIME, Role.CUT_TIME, Role.PLUS, Role.METRONOME))
TIE, SLUR, SLUR_OPEN, SLUR_CLOSE = map(_cells, (Role.TIE, Role.SLUR, Role.SLUR_OPENS, Role.SLUR_CLOSES))
TRIPLET, GROUP = _cells(Role.GROUP, 3), _cells(Role.GROUP_SIGN)
LARGER_VALUES, SMALLER_VALUES = (_cells(Role.SIZE, size) for size in Size)
FORWARD_REPEAT, BACKWARD_REPEAT, BAR_REPEAT = map(_cells, (Role.FORWARD, Role.BACKWARD, Role.BAR_REPEAT))
FINAL_BAR, DOUBLE_BAR = Barline.FINAL.sign.cells, Barline.DOUBLE.sign.cells
IN_ACCORD = _cells(Role.SECOND_VOICE)  # a second voice in the same bar: read only to say that it is out of scope
MERGED: dict[int, str] = {n: _cells(Role.MERGED, n) for n in (2, 3)}
#: Around syllables that are sung on one note, in the words (New International Manual, 16-8). The cells of quotation marks.
MERGED_OPEN, MERGED_CLOSE = cells("236"), cells("356")
WHOLE_REST, HYPHEN, WORD = map(_cells, (Role.WHOLE_REST, Role.HYPHEN, Role.WORD_SIGN))
SEGNO, CODA = _cells(Role.JUMP, Jump.SEGNO), _cells(Role.JUMP, Jump.CODA)
CRESCENDO, DIMINUENDO = (_cells(Role.HAIRPIN, kind) for kind in (DirectionKind.CRESCENDO, DirectionKind.DIMINUENDO))
CRESCENDO_END, DIMINUENDO_END = (_cells(Role.HAIRPIN_END, kind)
                                 for kind in (DirectionKind.CRESCENDO, DirectionKind.DIMINUENDO))

# --- words ----------------------------------------------------------------------------------------------------

#: Words of expression that have a short form of their own in braille, and what they are read back as.
SHORT_WORDS = {"crescendo": "cr.", "cresc.": "cr.", "decrescendo": "decr.", "decresc.": "decr."}
LONG_WORDS = {"cr.": "cresc.", "decr.": "decresc."}
#: Abbreviations that print ends with a point (common practice): the dot 3 after them is that point.
ABBREVIATIONS = frozenset(("cr", "decr", "dim", "rit", "rall", "accel", "ten", "marc", "stacc", "espress", "cantab", "sost",
                           "string", "allarg", "lib", "mod", "leg", "rinf", "calm", "temp"))
DYNAMICS = frozenset(("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "sf", "sfz", "sfp", "sfpp", "sffz",
                      "fp", "fz", "rf", "rfz", "fpp"))

_LETTERS = ("1 12 14 145 15 124 1245 125 24 245 13 123 134 1345 135 1234 12345 1235 234 2345 136 1236 2456 1346 "
            "13456 1356").split()
LETTERS = {chr(ord("a") + i): cells(d) for i, d in enumerate(_LETTERS)}
"""Uncontracted letters of Unified English Braille."""
PUNCTUATION = {",": "2", ";": "23", ":": "25", ".": "256", "!": "235", "?": "236", "'": "3", "’": "3", "-": "36",
               "(": "5-126", ")": "5-345", "“": "236", "”": "356", "\"": "2356", "/": "456-34",
               "—": "6-36", "–": "6-36", "…": "256-256-256", "‘": "6-236", "&": "4-12346", "*": "5-35",
               "=": "5-2356", "[": "46-126", "]": "46-345", "%": "46-356", "+": "5-235", "§": "45-234",
               "«": "456-236", "»": "456-356", "¿": "45-56-236", "¡": "45-56-235", "@": "4-1", "#": "456-1456",
               "$": "4-234", "£": "4-123", "€": "4-15", "©": "45-14", "°": "45-245", "\\": "456-16", "{": "456-126",
               "}": "456-345", "~": "4-35", "^": "4-26", "<": "4-126", ">": "4-345", "_": "46-36", "|": "456-1256",
               "•": "456-256", "×": "5-236", "÷": "5-34", "♯": "3456-146", "♭": "3456-126", "♮": "3456-16"}  # fmt: skip
WORD_HYPHEN = cells(PUNCTUATION["-"])
PUNCT_POINT = cells("256")  # full stop, and the point in a decimal number
CAPITAL = cells("6")
CAPITAL_WORD = cells("6-6")
CAPITAL_PASSAGE = cells("6-6-6")
CAPITAL_END = cells("6-3")  # of a word and of a passage
GRADE1 = cells("56")
#: UEB modifiers before a letter (UEB rulebook 4.2), by Unicode combining mark.
ACCENTS = {"\u0301": "45-34", "\u0300": "45-16", "\u0302": "45-146", "\u0308": "45-25", "\u0303": "45-12456",
           "\u0327": "45-12346", "\u030a": "45-1246", "\u0304": "4-36", "\u0306": "4-346", "\u030c": "45-346"}
#: Letters that are a letter with a stroke (UEB 4.2), two letters in one (UEB 4.3), or have a sign of their own.
STROKES = {"ø": ("4-16", "o"), "ł": ("4-16", "l"), "đ": ("4-25", "d"), "ħ": ("4-25", "h")}
LIGATURE = cells("45-235")
LIGATURES = {"œ": "oe", "æ": "ae"}
OTHER_LETTERS = {"ß": "46-2346", "ð": "3456-1246", "þ": "3456-2346"}
