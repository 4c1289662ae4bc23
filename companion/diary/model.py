"""What the diary holds, as data. Times are UTC; a pupil is known by a nickname only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any


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
    purpose: str
    given_at: datetime
    until: date | None


@dataclass(frozen=True, slots=True)
class TakeMove:
    """A move of a kept take; kind as in `companion.match.MoveKind`: "step up", "leap down", "level"."""

    start: int
    end: int
    wanted: str
    heard: str | None
    verdict: str
    sure: float
    kind: str
    wanted_semitones: int
    sung_semitones: float | None


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take as it is remembered. number: order in which takes were saved, whatever the clock said.

    session: "lesson" or "practise". first, last: numbers of the tune's notes it was held against.
    notes: as in the JSON of `companion hear` (number, sung, midi, onset_s, duration_s).
    """

    number: int
    at: datetime
    session: str
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

    kind: str
    right: int
    wrong: int
    unsure: int

    @property
    def total(self) -> int:
        return self.right + self.wrong + self.unsure
