"""A take held against a tune: what was found for each written note, and a verdict for each move."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from companion.tune.model import LineNote

RIGHT, WRONG, UNSURE = "right", "not that way", "not sure"
VERDICTS = (RIGHT, WRONG, UNSURE)
UP, DOWN, LEVEL = "up", "down", "level"


def direction(semitones: float, level_within: float = 0.5) -> str:
    """Up, down or level. A level move lies within half a semitone (half of equal temperament's step)."""
    return LEVEL if abs(semitones) <= level_within else UP if semitones > 0 else DOWN


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
    wanted: str
    heard: str | None
    verdict: str
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
    def counts(self) -> dict[str, int]:
        return {v: sum(m.verdict == v for m in self.moves) for v in VERDICTS}
