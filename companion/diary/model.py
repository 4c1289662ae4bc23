"""What the diary holds, as data. Times are UTC; a pupil is known by a nickname only.

The values of the enums are those in the diary's file and in the JSON that programs read: never change one that has
shipped.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from companion.match import MoveKind, Verdict
    from companion.tune import Direction


class SessionKind(StrEnum):
    """In what kind of session a take was sung."""

    LESSON = "lesson"
    PRACTISE = "practise"
    RECORDED = "recorded"  # in none: a recording that was heard later


class Purpose(StrEnum):
    """What a consent allows: that sound is recorded and kept."""

    RECORDING = "recording"


@dataclass(frozen=True, slots=True)
class Pupil:
    """low, high: comfortable range as MIDI numbers, None until it has been found or given."""

    id: int
    nickname: str
    low: float | None
    high: float | None
    since: datetime


@dataclass(frozen=True, slots=True)
class Consent:
    """Someone responsible allows something for a pupil. until: last day, None without an end."""

    given_by: str
    purpose: Purpose
    given_at: datetime
    until: date | None


@dataclass(frozen=True, slots=True)
class TakeMove:
    """A move of a kept take: start and end are numbers of notes, the intervals semitones."""

    start: int
    end: int
    wanted: Direction
    heard: Direction | None
    verdict: Verdict
    sure: float
    kind: MoveKind
    wanted_semitones: int
    sung_semitones: float | None


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take as it is remembered. number: order in which takes were saved, whatever the clock said.

    first, last: numbers of the tune's notes it was held against. cue: the sentence that was said.
    notes: as in the JSON of `companion hear` (number, sung, midi, onset_s, duration_s).
    """

    number: int
    at: datetime
    session: SessionKind
    tune: str
    first: int
    last: int
    shift: float | None
    closeness: float
    cue: str
    notes: tuple[dict[str, Any], ...]
    moves: tuple[TakeMove, ...]


@dataclass(frozen=True, slots=True)
class Work:
    """A tune set for some days. takes: how many takes of it were sung since."""

    tune: str
    set_at: datetime
    until: date
    takes: int


@dataclass(frozen=True, slots=True)
class Tally:
    """How often moves of one kind went right, not that way, or stayed unclear."""

    kind: MoveKind
    right: int
    wrong: int
    unsure: int

    @property
    def total(self) -> int:
        return self.right + self.wrong + self.unsure

    @property
    def share_right(self) -> float:
        """Share of right ones, 0 to 1; an unclear one counts half, since it was no miss."""
        return (self.right + 0.5 * self.unsure) / max(1, self.total)
