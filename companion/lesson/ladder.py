"""Smaller after two misses, larger after success: phrase, half, one move, and up again.

No sound and no clock in here: what is to be sung now, and what follows from how it went.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from companion.match import Move
from companion.tune import LineNote

MISSES = 2  # on one piece, before it gets smaller
MOST_AT_SMALLEST = 3  # misses on a single move, before the phrase is left for another day
MOST_UNSURE = 3  # takes in a row that could not be judged, before one goes on
FEWEST_FOR_HALF = 5  # notes; a shorter phrase goes straight to the one move


class Size(StrEnum):
    """How much of a phrase is sung at a time."""

    PHRASE = "phrase"
    HALF = "half"
    MOVE = "move"


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of a phrase: notes first to last, indices from 0, both inside."""

    size: Size
    first: int
    last: int


class Ladder:
    """One phrase being learnt. `piece` is to be sung now; `done` when the phrase is over, `left` if unlearnt.

    Feed it `right`, `missed` or `unsure` after each take. changed: the piece is another than before the take.
    """

    def __init__(self, line: Sequence[LineNote]) -> None:
        self.line = tuple(line)
        self.piece = self._whole = Piece(Size.PHRASE, 0, len(self.line) - 1)
        self.done = self.left = self.changed = False
        self._misses = self._unsure = 0
        self._at: int | None = None  # index of the first note of the move that is being learnt
        self._half: Piece | None = None

    def notes(self) -> tuple[LineNote, ...]:
        """What is to be sung now."""
        return self.line[self.piece.first:self.piece.last + 1]

    def right(self) -> None:
        """All of it went as written."""
        self._misses = self._unsure = 0
        if self.piece == self._whole:
            self.done, self.changed = True, False
            return
        # Built up again the way it came down.
        self._go(self._half if self.piece.size is Size.MOVE and self._half is not None else self._whole)

    def missed(self, move: Move | None = None) -> None:
        """A move went another way. move: the one to try, None keeps the one before or takes the middle."""
        self._unsure = 0
        self._misses += 1
        self.changed = False
        if move is not None:
            self._at = next((i for i, n in enumerate(self.line) if n.number == move.start), self._at)
        if self.piece.size is Size.MOVE:
            if self._misses >= MOST_AT_SMALLEST:
                self.done = self.left = True
            return
        if self._misses >= MISSES:
            self._go(self._smaller())

    def unsure(self) -> None:
        """It could not be judged: no miss, but not for ever either."""
        self._unsure += 1
        self.changed = False
        if self._unsure >= MOST_UNSURE:
            self.done = self.left = True

    def _go(self, piece: Piece) -> None:
        self.changed = piece != self.piece
        self.piece, self._misses = piece, 0

    def _smaller(self) -> Piece:
        n = len(self.line)
        at = self._at if self._at is not None else max(0, (n - 1) // 2)
        at = min(at, n - 2) if n > 1 else 0
        move = Piece(Size.MOVE, at, min(at + 1, n - 1))
        if self.piece.size is Size.HALF or n < FEWEST_FOR_HALF:
            return move
        # The half that holds the move; one that lies across the middle is taken into the first.
        middle = (n + 1) // 2
        half = Piece(Size.HALF, 0, max(middle - 1, at + 1)) if at < middle else Piece(Size.HALF, middle, n - 1)
        if half.last - half.first < 2 or half == self._whole:
            return move
        self._half = half
        return half
