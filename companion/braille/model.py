"""What reader and writer give, as facts: where notes stand, what cells say, what is amiss. No words: those are
made in `companion.language.braille`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from companion.braille.signs import Role
from companion.tune import Key, Note, Sign, Time


class Link(NamedTuple):
    """Where a note stands: `note` counts the written notes (rests and grace notes not) from 1.

    line and column from 1; cells: how many, its own signs before and after it included. The notes of a bar that
    is written as a bar repeat all stand at that sign.
    """

    note: int
    line: int
    column: int
    cells: int


class Hand(StrEnum):
    """What one of several parts is."""

    VOICE = "voice"
    SOLO = "solo"
    RIGHT = "right hand"
    LEFT = "left hand"


class PartName(NamedTuple):
    """Which of several parts: what it is, and for voices their name."""

    hand: Hand
    name: str = ""


class MeaningKind(StrEnum):
    """What some cells are, and which fields of a `Meaning` say more."""

    SIGN = "sign"  # sign
    NOTE = "note"  # note (or rest), pitch_only
    GROUP = "group"  # numbers: of how many notes
    ENDING = "ending"  # numbers
    WORDS = "words"  # text
    DYNAMIC = "dynamic"  # text
    METRONOME = "metronome"  # text, as in `ScoreDirection`
    KEY = "key"  # key
    TIME = "time"  # time
    BAR_REPEAT = "bar-repeat"  # numbers: how many times, none for once
    BARS_OF_REST = "bars-of-rest"  # numbers: how many
    BAR_NUMBER = "bar-number"  # numbers
    LYRICS = "lyrics"  # a line of words to be sung
    PAGE_NUMBER = "page-number"  # text
    PRINT_PAGE = "print-page"  # text: the number of the print's page that begins
    RIGHT_HAND = "right-hand"
    LEFT_HAND = "left-hand"
    SOLO = "solo"
    VOICE = "voice"  # text: its name
    FINGER = "finger"  # numbers: which
    HEADING = "heading"  # text
    CHORD = "chord"  # text: as print has it


@dataclass(frozen=True, slots=True)
class Meaning:
    """What some cells say. Which fields are set goes by `kind`."""

    kind: MeaningKind
    sign: Sign | None = None
    note: Note | None = None
    pitch_only: bool = False
    text: str = ""
    numbers: tuple[int, ...] = ()
    key: Key | None = None
    time: Time | None = None


class Said(NamedTuple):
    """What stands at a place: some cells of one sign, and what they say. line and column from 1."""

    line: int
    column: int
    cells: int
    meaning: Meaning


class ProblemCode(StrEnum):
    """What can be amiss on a page."""

    # signs
    NO_CELL = "no-cell"
    UNKNOWN_SIGN = "unknown-sign"  # numbers: its cells, as numbers of Unicode
    OUT_OF_ORDER = "out-of-order"  # signs: the one at the place, and the one before it that belongs after it
    NO_NOTE_AFTER = "no-note-after"  # signs: the last one
    TWO_OCTAVE_MARKS = "two-octave-marks"
    DOT_APART = "dot-apart"
    TOO_MANY_DOTS = "too-many-dots"
    MARK_AT_A_REST = "mark-at-a-rest"
    SECOND_VOICE = "second-voice"
    INTERVALS = "intervals"
    # octave marks that are due
    MARK_FOR_FIRST_NOTE = "mark-for-first-note"
    MARK_FOR_LINE = "mark-for-line"
    MARK_AFTER_WORDS = "mark-after-words"
    MARK_AFTER_SIGNATURE = "mark-after-signature"
    MARK_AFTER_NUMBERED_REPEAT = "mark-after-numbered-repeat"
    MARK_AFTER_REPEAT_SIGN = "mark-after-repeat-sign"
    MARK_AFTER_DOUBLE_BAR = "mark-after-double-bar"
    MARK_AFTER_LEAD = "mark-after-lead"  # words, a repeat or an ending at the beginning of a bar
    OUTSIDE_OCTAVES = "outside-octaves"
    # ties and slurs
    TIE_TO_ANOTHER_PITCH = "tie-to-another-pitch"
    SLUR_NEVER_BEGAN = "slur-never-began"
    # bars
    REPEAT_WITHOUT_BAR = "repeat-without-bar"
    NOTE_RUNS_INTO_REPEAT = "note-runs-into-repeat"
    SEVERAL_PART_REPEATS = "several-part-repeats"
    PART_REPEAT_UNCLEAR = "part-repeat-unclear"
    BEATS = "beats"  # bar, beats, wanted
    SPACE_TOO_MANY = "space-too-many"  # bar: the second of the two that make one
    SPACE_MISSING = "space-missing"  # bar
    NO_MUSIC = "no-music"
    # hints: what is odd and cannot be proved wrong
    LEAP = "leap"
    NEEDLESS_MARK = "needless-mark"
    SLUR_BETWEEN_EQUALS = "slur-between-equals"
    NEEDLESS_ACCIDENTAL = "needless-accidental"
    OTHER_ACCIDENTAL = "other-accidental"  # bar; numbers: a bar that is the same but for one accidental
    SHORT_FIRST_BAR = "short-first-bar"  # beats, wanted
    MORE_WORDS = "more-words"  # numbers: of words, of notes that may have one
    FEWER_SYLLABLES = "fewer-syllables"
    FINGERING = "fingering"


class Slip(NamedTuple):
    """What is amiss, apart from its place.

    signs: as `ProblemCode` says, a row of the tables or, where its name would say too much, its role. bar: its
    printed number. beats, wanted: in beats of the time signature. numbers: as `ProblemCode` says.
    """

    code: ProblemCode
    signs: tuple[Sign | Role, ...] = ()
    bar: int = 0
    beats: Fraction = Fraction(0)
    wanted: Fraction = Fraction(0)
    numbers: tuple[int, ...] = ()

    def at(self, line: int, column: int) -> Problem:
        """The same with its place."""
        return Problem(line, column, self.code, self.signs, self.bar, self.beats, self.wanted, self.numbers)


@dataclass(frozen=True, slots=True)
class Problem:
    """What is amiss, and where: line and column from 1. The other fields are those of `Slip`."""

    line: int
    column: int
    code: ProblemCode
    signs: tuple[Sign | Role, ...] = ()
    bar: int = 0
    beats: Fraction = Fraction(0)
    wanted: Fraction = Fraction(0)
    numbers: tuple[int, ...] = ()
