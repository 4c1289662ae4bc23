"""The signs of notation that a score has, one row a sign.

A row says all there is to its sign: its name, its braille cells, where it stands there and in which order, its
MusicXML elements, and where that can be looked up. MusicXML is read and written by these rows (`convert`,
`musicxml`), braille is written and read by them (`companion.braille`), and they give the names that are spoken and
taught. What a score does not have (octave marks, the number sign, the word sign ...) is a row of the same kind in
`companion/braille/signs.py`. A new sign is one row.

Sources: Music Braille Code 2015 (MBC, Braille Authority of North America); De Garmo, Introduction to Braille Music
Transcription (Library of Congress, 2005), by chapter; MusicXML 4.0 (W3C). The tests compare the cells with the
tables of music21.braille.lookup, which follow De Garmo; what is not in them is from memory and says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

CELL_BASE = 0x2800  # Unicode: U+2800 is the empty cell; dot n is bit n - 1


def cells(dots: str) -> str:
    """Cells from dot numbers, a cell a group: cells("5-145") is "⠐⠙". Groups may be parted by "-" or space."""
    return "".join(chr(CELL_BASE + sum(1 << (int(d) - 1) for d in set(group) if d != "0"))
                   for group in dots.replace("-", " ").split())


class Stands(StrEnum):
    """Where a sign stands in braille."""

    BEFORE = "before the note"
    AFTER = "after the note"
    EITHER = "before or after the note"
    BAR = "at the end of a bar"
    APART = "by itself, or as a part of other signs"


@dataclass(frozen=True, slots=True)
class Sign:
    """A row of the tables.

    name: its name in English, the template that a language translates. dots: of its cells, "0" for the empty one.
    rank: its place among signs on the same side of a note, smaller ones first. The hundreds are the order that a
    reader wants: signs of one hundred are written in order of rank and read in any order. Before the note: 100 what
    belongs to the bar and words, 300 slurs, 400 groups and sizes of values, 500 ornaments and articulations, 600
    accidentals, 700 octave marks. After it: 100 dots, 200 fermatas, 300 slurs, 400 ties, 500 breaths.
    musicxml: paths of elements below `notations` (for bar lines values of `bar-style`, for accidentals values of
    `accidental`); the first is written, all are read. doubled: where four notes and more in a row have it, it is
    doubled at the first and stands once more at the last (De Garmo, chapter 14).
    """

    name: str
    dots: str
    stands: Stands
    rank: int
    source: str
    musicxml: tuple[str, ...] = ()
    doubled: bool = False

    @property
    def cells(self) -> str:
        return cells(self.dots)


class _Signed(StrEnum):
    """An enum whose members are rows: a member's value is the row's name, or the one that is given after the row."""

    _value_: str
    sign: Sign

    def __new__(cls, sign: Sign | str, value: str | None = None) -> _Signed:
        assert isinstance(sign, Sign)  # a member is made of a row; `Mark("trill")` looks one up
        member = str.__new__(cls, sign.name if value is None else value)
        member._value_ = str(member)
        member.sign = sign
        return member


_BEFORE, _AFTER, _BAR, _APART = Stands.BEFORE, Stands.AFTER, Stands.BAR, Stands.APART


class Mark(_Signed):
    """Signs that stand at one note. The values are the names that tunes, JSON and braille use."""

    TRILL = Sign("trill", "235", _BEFORE, 510, "De Garmo, chapter 14", ("ornaments/trill-mark",))
    TURN = Sign("turn", "6-256", _BEFORE, 511, "De Garmo, chapter 14", ("ornaments/turn",))
    INVERTED_TURN = Sign("inverted turn", "6-256-123", _BEFORE, 512, "De Garmo, chapter 14",
                         ("ornaments/inverted-turn",))
    MORDENT = Sign("mordent", "5-235-123", _BEFORE, 513, "De Garmo, chapter 14", ("ornaments/mordent",))
    INVERTED_MORDENT = Sign("inverted mordent", "5-235", _BEFORE, 514, "De Garmo, chapter 14",
                            ("ornaments/inverted-mordent",))
    STACCATO = Sign("staccato", "236", _BEFORE, 520, "De Garmo, chapter 14", ("articulations/staccato",), True)
    STACCATISSIMO = Sign("staccatissimo", "6-236", _BEFORE, 521, "De Garmo, chapter 14",
                         ("articulations/staccatissimo", "articulations/spiccato"), True)
    ACCENT = Sign("accent", "46-236", _BEFORE, 522, "De Garmo, chapter 14", ("articulations/accent",), True)
    STRONG_ACCENT = Sign("strong accent", "56-236", _BEFORE, 523, "De Garmo, chapter 14",
                         ("articulations/strong-accent",), True)
    STACCATO_TENUTO = Sign("staccato-tenuto", "5-236", _BEFORE, 524, "De Garmo, chapter 14",
                           ("articulations/detached-legato",), True)
    TENUTO = Sign("tenuto", "456-236", _BEFORE, 525, "De Garmo, chapter 14", ("articulations/tenuto",), True)
    FERMATA = Sign("fermata", "126-123", _AFTER, 200, "De Garmo, chapter 14", ("fermata",))
    BREATH = Sign("breath", "345-2", _AFTER, 500, "De Garmo, chapter 14", ("articulations/breath-mark",))


class Barline(_Signed):
    """The bar line at the right of a bar."""

    PLAIN = Sign("bar line", "0", _BAR, 0, "De Garmo, chapter 2", ("regular",)), ""
    DOUBLE = Sign("double bar", "126-13-3", _BAR, 0, "De Garmo, chapter 2", ("light-light",)), "double"
    FINAL = Sign("final double bar", "126-13", _BAR, 0, "De Garmo, chapter 2", ("light-heavy",)), "final"
    DOTTED = Sign("dotted bar line", "13", _BAR, 0, "music21.braille.lookup", ("dotted", "dashed")), "dotted"
    NONE = Sign("no bar line", "0", _BAR, 0, "MusicXML alone", ("none",)), "none"


#: Accidentals by semitones. MusicXML: values of the element `accidental`.
ACCIDENTALS: dict[int, Sign] = {
    2: Sign("double sharp", "146-146", _BEFORE, 600, "De Garmo, chapter 6", ("double-sharp",)),
    1: Sign("sharp", "146", _BEFORE, 600, "De Garmo, chapter 6", ("sharp",)),
    0: Sign("natural", "16", _BEFORE, 600, "De Garmo, chapter 6", ("natural",)),
    -1: Sign("flat", "126", _BEFORE, 600, "De Garmo, chapter 6", ("flat",)),
    -2: Sign("double flat", "126-126", _BEFORE, 600, "De Garmo, chapter 6", ("flat-flat",)),
}


class Jump(StrEnum):
    """Where to go in a score. Those that braille has no sign for are written there as words."""

    short: str
    sign: Sign | None
    sound: tuple[str, str] | None

    def __new__(cls, name: str, short: str = "", sign: Sign | None = None, sound: tuple[str, str] | None = None) -> Jump:
        """short: the words in braille. sound: the attribute of MusicXML's `sound` that players obey."""
        member = str.__new__(cls, name)
        member._value_, member.short, member.sign, member.sound = name, short, sign, sound
        return member

    SEGNO = "segno", "segno", Sign("segno", "346", _BEFORE, 100, "from memory")
    CODA = "coda", "coda", Sign("coda", "346-123", _BEFORE, 100, "from memory")
    TO_CODA = "to coda", "to coda", None, ("tocoda", "coda")
    DA_CAPO = "da capo", "d.c.", None, ("dacapo", "yes")
    DAL_SEGNO = "dal segno", "d.s.", None, ("dalsegno", "segno")
    FINE = "fine", "fine", None, ("fine", "yes")
    DA_CAPO_AL_FINE = "da capo al fine", "d.c. al fine", None, ("dacapo", "yes")
    DAL_SEGNO_AL_FINE = "dal segno al fine", "d.s. al fine", None, ("dalsegno", "segno")
    DA_CAPO_AL_CODA = "da capo al coda", "d.c. al coda", None, ("dacapo", "yes")
    DAL_SEGNO_AL_CODA = "dal segno al coda", "d.s. al coda", None, ("dalsegno", "segno")


class DirectionKind(StrEnum):
    """What a `ScoreDirection` is."""

    WORDS = "words"
    DYNAMIC = "dynamic"
    CRESCENDO = "crescendo"
    DIMINUENDO = "diminuendo"
    HAIRPIN_END = "hairpin end"
    METRONOME = "metronome"
    JUMP = "jump"


class Grace(StrEnum):
    """Whether a note is a grace note, and with a stroke through its stem or not."""

    NONE = ""
    SHORT = "short"
    LONG = "long"


class Display(StrEnum):
    """Whether an accidental is printed: as key and bar demand; as a reminder; in brackets; or not at all."""

    NEEDED = ""
    SHOWN = "shown"
    EDITORIAL = "editorial"
    HIDDEN = "hidden"
