"""A take held against a tune: what was found for each written note, and a verdict for each move."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from companion.tune import Direction, LineNote


class Verdict(StrEnum):
    """Whether a move went as written. The values are those of the JSON that programs read."""

    RIGHT = "right"
    WRONG = "not that way"
    UNSURE = "not sure"


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One written note of the tune and what was sung for it; midi, onset_s, duration_s None if left out."""

    written: LineNote
    sung: bool
    midi: float | None
    onset_s: float | None
    duration_s: float | None
    sure: float = 1.0


@dataclass(frozen=True, slots=True)
class Move:
    """From one written note to the next. `start`, `end` are note numbers; intervals in semitones."""

    start: int
    end: int
    wanted: Direction
    heard: Direction | None
    verdict: Verdict
    sure: float
    wanted_semitones: int
    sung_semitones: float | None


@dataclass(frozen=True)
class Match:
    """shift_semitones: sung minus written over the take. closeness: 0 to 1, pitch and gaps included.

    detail: what a teacher may ask for on request (see `companion.match.details`).
    """

    shift_semitones: float | None
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    closeness: float
    detail: dict[str, Any] = field(default_factory=dict)

    @property
    def counts(self) -> dict[Verdict, int]:
        return {v: sum(m.verdict == v for m in self.moves) for v in Verdict}
