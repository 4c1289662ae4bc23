"""A whole tune: its written bars, and the same as it is sung."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from companion.tune.line import sung_line
from companion.tune.model import Bar, Key, LineNote, Note, Time


@dataclass(frozen=True)
class Tune:
    """What is to be sung and read: one voice, in written bars.

    quarter_bpm: crotchets a minute where the score gives a tempo, else None.
    phrase_starts: numbers of line notes that begin a phrase, where a person or the score has said so;
    None leaves them to `companion.tune.phrases`.
    """

    title: str
    bars: tuple[Bar, ...]
    composer: str = ""
    heading: str = ""
    quarter_bpm: float | None = None
    phrase_starts: tuple[int, ...] | None = None
    source: str = ""

    @property
    def key(self) -> Key:
        return next((b.key for b in self.bars if b.key), Key())

    @property
    def time(self) -> Time:
        return next((b.time for b in self.bars if b.time), Time())

    @property
    def pickup(self) -> Fraction:
        """Quarters before the first full bar; 0 where the first bar is full."""
        first = self.bars[0].quarters if self.bars else Fraction(0)
        return first if 0 < first < self.time.quarters and len(self.bars) > 1 else Fraction(0)

    def written(self) -> Iterator[tuple[int, int, Note]]:
        """Every note and rest as it stands on paper: (bar index, note index, note)."""
        for b, bar in enumerate(self.bars):
            for n, note in enumerate(bar.notes):
                yield b, n, note

    @cached_property
    def _line(self) -> tuple[LineNote, ...]:
        return sung_line(self.bars, self.title, self.phrase_starts)

    def line(self) -> tuple[LineNote, ...]:
        """The tune as sung, phrase by phrase; see `companion.tune.line`."""
        return self._line

    def phrase(self, number: int) -> tuple[LineNote, ...]:
        """The notes of one phrase, counted from 1. Raises IndexError where there is none."""
        notes = tuple(n for n in self.line() if n.phrase == number)
        if not notes:
            raise IndexError(number)
        return notes
