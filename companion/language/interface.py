"""What a language must be able to say: names and numbers. Sentences are made from these in the other files here.

A second language is one file that fills in `Language`, and one catalogue of translated sentences
(`locale/CODE/LC_MESSAGES/companion.po`). The sentences of this package are templates with named places
("{first} to {second}: the tune goes up"), looked up with `message` and `plural`, so that a translation may put the
parts in another order.
"""

from __future__ import annotations

import gettext
from abc import ABC, abstractmethod
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from companion.transcribe import Answer, QuestionKind
    from companion.tune import Direction, Key, Pitch, Time

if TYPE_CHECKING:
    from companion.course import Vocabulary


class Joining(StrEnum):
    """How the last two things of a list are joined."""

    AND = "and"
    OR = "or"


class Order(StrEnum):
    """What can be typed instead of a correction."""

    END = "end"
    HELP = "help"
    BARS = "bars"
    UNDO = "undo"
    REDO = "redo"
    PLAY = "play"
    COMPARE = "compare"
    ASK = "ask"


@dataclass(frozen=True, eq=False)  # one object a language, which a grammar is kept for
class CorrectionWords:
    """How a written-down take is corrected, in small letters; read by `companion.language.corrections`.

    numbers: of bars, notes and beats, and places (-1: the last). values: undotted ones, in crotchets. dotted: what stands
    before a dotted value, and its dots. articles: what may stand before a value or an interval. amounts: of beats, beside
    plain numbers. times: how often. steps, accidentals, octaves: of pitches;
    several: more than one note of a letter, which comes first ("fs"). modes: of keys. intervals: in semitones.
    directions: 1 up, -1 down. contractions: words, and what they stand for. joining: words between several corrections or
    things. before, after: what may be said around a correction and means nothing.
    rules: see `companion.language.grammar`; "COMMAND" has every form of a correction, each with its action; its slots
    are read by `companion.language.corrections`. orders: what is typed for each of them. answers: to questions.
    """

    numbers: Mapping[str, int]
    values: Mapping[str, Fraction]
    dotted: Mapping[str, int]
    articles: tuple[str, ...]
    amounts: Mapping[str, Fraction]
    times: Mapping[str, int]
    steps: Mapping[str, str]
    several: Collection[str]
    accidentals: Mapping[str, int]
    octaves: Mapping[str, int]
    modes: Mapping[str, str]
    intervals: Mapping[str, int]
    directions: Mapping[str, int]
    contractions: Mapping[str, str]
    joining: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]
    rules: Mapping[str, Sequence[tuple[str, Mapping[str, Any]]]]
    orders: Mapping[str, Order]
    answers: Mapping[QuestionKind, Mapping[str, Answer]]
    versions: Mapping[str, int]


class Language(ABC):
    """A language to speak and write in. Chosen once, where a command or page begins, and handed in.

    code: of the catalogue, as gettext has it ("en_GB", "en_US"). voice: name of the speech voice.
    translations: of templates; one-off sentences use the same (see `companion.messages`). A language can be pickled,
    since the work on many takes is shared out among processes.
    correction_words: see `CorrectionWords`.
    """

    code: str
    correction_words: CorrectionWords
    voice: str
    translations: gettext.NullTranslations

    def message(self, template: str) -> str:
        """A template in this language; itself where the catalogue does not have it."""
        return self.translations.gettext(template) if template else ""  # gettext keeps its own head under ""

    solfa: bool = False
    #: Sharps (flats negative) of the major key whose keynote is do; None: notes are called by their letters.
    do_of: int | None = None

    def by_solfa(self) -> Language:
        """The same language, in which the notes of the course are called do, re, mi by their place in the key."""
        return self._with(solfa=True)

    def in_key(self, fifths: int) -> Language:
        """The language of what is in a key with so many sharps (flats negative): itself, where notes have letters."""
        return self._with(do_of=fifths) if self.solfa else self

    def _with(self, **changed: Any) -> Language:
        other: Language = object.__new__(type(self))
        other.__dict__.update(self.__dict__ | changed)
        return other

    def spoken(self, text: str) -> str:
        """A line as the speech engine is to be given it, so that names of notes are said as such: itself, if not overridden."""
        return text

    def plural(self, one: str, many: str, count: int) -> str:
        """The template for one thing or for several."""
        return self.translations.ngettext(one, many, count)

    @abstractmethod
    def number(self, n: int) -> str:
        """A number as said in a sentence: "three"; in figures where that is usual."""

    @abstractmethod
    def ordinal(self, n: int) -> str:
        """A place in a row: "third"."""

    @abstractmethod
    def listed(self, items: Sequence[str], joining: Joining = Joining.AND) -> str:
        """ "a, b and c"; "" for none."""

    @abstractmethod
    def capitalised(self, text: str) -> str:
        """The same with the first letter large, as at the beginning of a sentence."""

    @abstractmethod
    def quoted(self, word: str) -> str:
        """A word of a song in quotation marks."""

    @abstractmethod
    def accidental(self, alter: int) -> str:
        """The name of an accidental: -2 double flat to 2 double sharp, 0 natural."""

    @abstractmethod
    def pitch_class(self, pitch: Pitch) -> str:
        """A pitch without its octave: "C", "B flat"; by solfa where a key is chosen (`in_key`)."""

    @abstractmethod
    def octave(self, n: int) -> str:
        """An octave of music braille, 0 (below the first) to 8 (above the seventh): "fourth octave"."""

    @abstractmethod
    def value(self, base: Fraction, dots: int = 0) -> str:
        """A note value, base in quarters: "crotchet", "dotted minim"."""

    @abstractmethod
    def a_value(self, base: Fraction, dots: int = 0) -> str:
        """One note of a value, with its article where there are any: "a crotchet", "an eighth note"."""

    @abstractmethod
    def key(self, key: Key) -> str:
        """A key: "E flat minor"."""

    @abstractmethod
    def time(self, time: Time) -> str:
        """A time signature: "3 4 time"."""

    @abstractmethod
    def direction(self, direction: Direction) -> str:
        """Which way a move goes: "up", "down", "level"."""

    @abstractmethod
    def indefinite(self, noun: str) -> str:
        """One of a kind, not met before: "a crotchet", "an eighth note"."""

    @property
    @abstractmethod
    def vocabulary(self) -> Vocabulary:
        """The words in which people answer the questions of the course."""

    @abstractmethod
    def weekday(self, day: date) -> str:
        """The day of the week: "Thursday"."""

    @abstractmethod
    def full_date(self, day: date) -> str:
        """A day with its month and year: "05 March 2026"."""

    @abstractmethod
    def day_of_year(self, day: date) -> str:
        """A day of this year or the next: "Thursday 5 March"."""
