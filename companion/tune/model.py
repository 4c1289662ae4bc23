"""The melody as data: what is written (bars of notes) and what is sung (one line of notes).

Conventions, here and everywhere below `tune`:
- A pitch is kept by its written letter; `midi` is derived (A4 = 69 = 440 Hz, ISO 16; middle C is C4 = 60).
- Values of time are `Fraction`s of a crotchet ("quarters"): a crotchet is 1, a quaver 1/2.
- `companion.tune.tune.Tune.bars` is the score as it stands on paper, with ties, grace notes and repeats.
  `Tune.line()` is the same tune as it is sung: ties joined, grace notes set aside, repeats unfolded,
  rests turned into `rest_after` of the note before.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from companion.tune.chords import ChordSymbol
from companion.tune.signs import Barline, DirectionKind, Display, Grace, Mark


class Direction(StrEnum):
    """Which way a move goes. The values are those of the JSON that programs read."""

    UP = "up"
    DOWN = "down"
    LEVEL = "level"


#: Half of equal temperament's step: a smaller move counts as level.
LEVEL_WITHIN_SEMITONES = 0.5


def direction_of(semitones: float, level_within: float = LEVEL_WITHIN_SEMITONES) -> Direction:
    """Up, down or level."""
    if abs(semitones) <= level_within:
        return Direction.LEVEL
    return Direction.UP if semitones > 0 else Direction.DOWN


STEPS = "CDEFGAB"
STEP_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

#: Undotted values in quarters, longest first, with their British and American names.
VALUES: dict[Fraction, tuple[str, str]] = {
    Fraction(8): ("breve", "double whole note"),
    Fraction(4): ("semibreve", "whole note"),
    Fraction(2): ("minim", "half note"),
    Fraction(1): ("crotchet", "quarter note"),
    Fraction(1, 2): ("quaver", "eighth note"),
    Fraction(1, 4): ("semiquaver", "sixteenth note"),
    Fraction(1, 8): ("demisemiquaver", "thirty-second note"),
    Fraction(1, 16): ("hemidemisemiquaver", "sixty-fourth note"),
    Fraction(1, 32): ("semihemidemisemiquaver", "hundred-and-twenty-eighth note"),
}

@dataclass(frozen=True, slots=True, order=False)
class Pitch:
    """A written pitch. `octave` belongs to the letter: C flat 4 sounds as B 3 and is in octave 4."""

    step: str
    octave: int
    alter: int = 0

    @property
    def midi(self) -> int:
        return 12 * (self.octave + 1) + STEP_SEMITONES[self.step] + self.alter

    @property
    def diatonic(self) -> int:
        """Steps of the staff above C0, whatever the accidentals."""
        return 7 * self.octave + STEPS.index(self.step)

    @property
    def name(self) -> str:
        """As in scientific pitch notation, "C4", "F#4", "Bb3"."""
        return f"{self.step}{'#' * self.alter if self.alter > 0 else 'b' * -self.alter}{self.octave}"


@dataclass(frozen=True, slots=True)
class Syllable:
    """What is sung on a note. `place` as in MusicXML: "single", "begin", "middle" or "end" of a word.

    `extends`: the syllable goes on over the notes that follow without words (a melisma).
    Words run together on one note (elision) are kept in `text` with "‿" between them.
    """

    text: str
    place: str = "single"
    extends: bool = False


@dataclass(frozen=True, slots=True)
class Tuplet:
    """`actual` notes in the time of `normal`; `place` is "start", "stop", "single" or "" inside the group."""

    actual: int = 3
    normal: int = 2
    place: str = ""


@dataclass(frozen=True, slots=True)
class ScoreDirection:
    """Something said before a note.

    text: words as printed; a dynamic as "p", "mf", "sfz"; a metronome mark as "1=96", the beat's value in quarters,
    then beats a minute; the value of a `Jump`; else "".
    """

    kind: DirectionKind
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One written note or rest (`pitch` None).

    base: undotted value in quarters, a key of VALUES. dots: 0 to 3.
    whole_bar: a rest that fills the bar, whatever the time signature.
    grace: a grace note has no time of its own.
    tie: tied to the next note of the same pitch.
    accidental: SHOWN is printed although not needed (a reminder), EDITORIAL in brackets or above the note, HIDDEN
    not printed although it would be needed.
    slur_starts, slur_stops: how many slurs begin and end at this note.
    syllables: one per verse, None where a verse has no new syllable here.
    before: directions that stand before the note.
    chords: chord symbols that begin with the note, or while it lasts.
    """

    pitch: Pitch | None
    base: Fraction
    dots: int = 0
    tuplet: Tuplet | None = None
    whole_bar: bool = False
    grace: Grace = Grace.NONE
    tie: bool = False
    accidental: Display = Display.NEEDED
    slur_starts: int = 0
    slur_stops: int = 0
    marks: tuple[Mark, ...] = ()
    syllables: tuple[Syllable | None, ...] = ()
    before: tuple[ScoreDirection, ...] = ()
    chords: tuple[ChordSymbol, ...] = ()

    @property
    def quarters(self) -> Fraction:
        """How long it lasts, in crotchets."""
        if self.grace:
            return Fraction(0)
        value = self.base * (2 - Fraction(1, 2**self.dots))
        return value * self.tuplet.normal / self.tuplet.actual if self.tuplet else value


@dataclass(frozen=True, slots=True)
class Key:
    """`fifths`: sharps, or flats if negative, -7 to 7. `mode`: "major", "minor" or another mode's name."""

    fifths: int = 0
    mode: str = "major"

    @property
    def tonic(self) -> Pitch:
        """The keynote, in the fourth octave."""
        steps = {"major": 0, "minor": 3, "dorian": 2, "phrygian": 4, "lydian": -1, "mixolydian": 1,
                 "aeolian": 3, "locrian": 5}  # fmt: skip
        place = self.fifths + steps.get(self.mode, 0) + 1  # in the row of fifths from F
        return Pitch("FCGDAEB"[place % 7], 4, place // 7)

    @property
    def tonic_class(self) -> int:
        """The keynote as a pitch class, 0 (C) to 11 (B)."""
        return self.tonic.midi % 12

    @property
    def name(self) -> str:
        """As the JSON of the commands has it: "G major", "E flat minor"."""
        alter = self.tonic.alter
        return f"{self.tonic.step}{' sharp' * alter if alter > 0 else ' flat' * -alter} {self.mode}"

    def alter(self, step: str) -> int:
        """What the signature does to a letter: 1 sharp, -1 flat, 0 nothing."""
        if self.fifths > 0 and "FCGDAEB".index(step) < self.fifths:
            return 1
        if self.fifths < 0 and "BEADGCF".index(step) < -self.fifths:
            return -1
        return 0


@dataclass(frozen=True, slots=True)
class Time:
    """A time signature. `symbol`: "" for figures, "common", "cut". `upper` of 3+2 over 8 is (3, 2)."""

    upper: tuple[int, ...] = (4,)
    lower: int = 4
    symbol: str = ""

    @property
    def quarters(self) -> Fraction:
        """Length of a full bar."""
        return Fraction(4 * sum(self.upper), self.lower)

    @property
    def compound(self) -> bool:
        """Whether the beat is dotted: 6/8, 9/8, 12/8, the same over 16, and 3/8, which is felt in one."""
        return self.lower >= 8 and len(self.upper) == 1 and self.upper[0] % 3 == 0

    @property
    def beat(self) -> Fraction:
        """Length of a beat in quarters: 1 in 3/4, 3/2 in 6/8, 1/2 in 5/8."""
        return Fraction(4, self.lower) * (3 if self.compound else 1)

    @property
    def name(self) -> str:
        """The figures: "6/8", "3+2/8"."""
        return f"{'+'.join(map(str, self.upper))}/{self.lower}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar as written. `number` is the printed one (a pickup is 0).

    key, time: only where they are given or change; the first bar carries the first ones.
    backward_repeat: how many times in all the part is sung (2 for a plain repeat), 0 for none.
    ending: numbers of the ending that begins here, empty for none; ending_stop: that ending ends here.
    barline: at its right.
    after: directions after the last note (a closing "da capo", say).
    """

    number: int
    notes: tuple[Note, ...]
    key: Key | None = None
    time: Time | None = None
    forward_repeat: bool = False
    backward_repeat: int = 0
    ending: tuple[int, ...] = ()
    ending_stop: bool = False
    barline: Barline = Barline.PLAIN
    after: tuple[ScoreDirection, ...] = ()

    @property
    def quarters(self) -> Fraction:
        return sum((n.quarters for n in self.notes), Fraction(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineNote:
    """A note as it is sung. `number` counts from 1; `sources` are (bar index, note index) of what it joins.

    syllable: of the first verse, or of the verse of this time round; "" where none begins here.
    word_place: as in `Syllable.place`, "" where there is no syllable.
    phrase: counted from 1. rest_after: silence before the next note, in quarters.
    """

    number: int
    pitch: Pitch
    onset_quarters: Fraction
    quarters: Fraction
    syllable: str
    word_place: str
    phrase: int
    bar: int
    rest_after: Fraction
    sources: tuple[tuple[int, int], ...]

    @property
    def midi(self) -> int:
        return self.pitch.midi
