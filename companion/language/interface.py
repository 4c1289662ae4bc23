"""What a language must be able to say: names and numbers. Sentences are made from these in the other files here.

A second language is one file that fills in `Language`, and one catalogue of translated sentences
(`locale/CODE/LC_MESSAGES/companion.po`). The sentences of this package are templates with named places
("{first} to {second}: the tune goes up"), looked up with `message` and `plural`, so that a translation may put the
parts in another order.
"""

from __future__ import annotations

import gettext
from abc import ABC, abstractmethod
from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from companion.tune import Direction, Key, Pitch, Time


class Joining(StrEnum):
    """How the last two things of a list are joined."""

    AND = "and"
    OR = "or"


class Language(ABC):
    """A language to speak and write in. Chosen once, where a command or page begins, and handed in.

    code: of the catalogue, as gettext has it ("en_GB", "en_US"). voice: name of the speech voice.
    translations: of templates; one-off sentences use the same (see `companion.messages`). A language can be pickled,
    since the work on many takes is shared out among processes.
    """

    code: str
    voice: str
    translations: gettext.NullTranslations

    def message(self, template: str) -> str:
        """A template in this language; itself where the catalogue does not have it."""
        return self.translations.gettext(template)

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
        """A pitch without its octave: "C", "B flat"."""

    @abstractmethod
    def octave(self, n: int) -> str:
        """An octave of music braille, 0 (below the first) to 8 (above the seventh): "fourth octave"."""

    @abstractmethod
    def value(self, base: Fraction, dots: int = 0) -> str:
        """A note value, base in quarters: "crotchet", "dotted minim"."""

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
    def weekday(self, day: date) -> str:
        """The day of the week: "Thursday"."""

    @abstractmethod
    def full_date(self, day: date) -> str:
        """A day with its month and year: "05 March 2026"."""
