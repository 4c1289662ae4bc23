"""What a score is unsure of, in words, bar by bar, with the second-best reading."""

from __future__ import annotations

from dataclasses import dataclass

from companion.notate.score import Notation


@dataclass(frozen=True)
class Doubt:
    """One thing that may be otherwise. bar, note: where (0, 0: the whole score). other: the other reading."""

    bar: int
    note: int
    say: str
    other: str


def doubts(n: Notation) -> list[Doubt]:
    return []
