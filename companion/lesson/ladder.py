"""How a phrase is learnt that does not come at once: slower and together, smaller, and up again after success.

No sound and no clock in here: what is to be sung now, in which manner, and what follows from how it went.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from companion.match import Move
from companion.tune import LineNote

MOST_UNSURE = 3  # takes in a row that could not be judged, before one goes on
MOST_AT_NOTE = 2  # tries at a single note
FEWEST_FOR_HALF = 5  # notes; a shorter phrase goes straight to the one move


class Size(StrEnum):
    """How much of a phrase is sung at a time."""

    PHRASE = "phrase"
    HALF = "half"
    MOVE = "move"
    NOTE = "note"


class Manner(StrEnum):
    """How a piece is given and sung."""

    PLAIN = "plain"
    TOGETHER = "together"  # slower, with the companion and then alone
    SLIDE = "slide"  # on "oo", from note to note without a break


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of a phrase: notes first to last, indices from 0, both inside."""

    size: Size
    first: int
    last: int
    manner: Manner = Manner.PLAIN


class Ladder:
    """One phrase being learnt. `piece` is to be sung now; `done` when the phrase is over, `left` if unlearnt.

    Feed it `right`, `missed` or `unsure` after each take. changed: the piece is another than before the take. Down it goes
    once, and up once: what is missed on the way up ends with the piece that went right, so that no ladder is climbed
    twice and the last take is a success where there was one at all. easy: right at the first take, alone.
    together: it begins with the companion, after a phrase that did not come.
    """

    def __init__(self, line: Sequence[LineNote], together: bool = False) -> None:
        self.line = tuple(line)
        self.piece = self._whole = Piece(Size.PHRASE, 0, len(self.line) - 1,
                                         Manner.TOGETHER if together else Manner.PLAIN)
        self.done = self.left = self.changed = False
        self.takes = 0
        self._unsure = self._at_note = 0
        self._at: int | None = None  # index of the first note of the move that is being learnt
        self._half: Piece | None = None
        self._learnt: Piece | None = None  # the largest piece that went right
        self.ending = False  # what is sung now is the end, whether or not the phrase came

    @property
    def easy(self) -> bool:
        return self.done and not self.left and self.takes == 1 and self.piece.manner is Manner.PLAIN

    def notes(self) -> tuple[LineNote, ...]:
        """What is to be sung now."""
        return self.line[self.piece.first:self.piece.last + 1]

    def right(self) -> None:
        """All of it went as written."""
        self.takes += 1
        self._unsure = 0
        self.changed = False
        if self.piece.size is Size.PHRASE:
            self.done = True
        elif self.ending or self.piece.size is Size.NOTE:
            self.done = self.left = True
        else:
            self._learnt = self.piece
            # Built up again the way it came down.
            up = self._half if self.piece.size is Size.MOVE and self._half is not None else self._whole
            self._go(Piece(up.size, up.first, up.last, Manner.TOGETHER))

    def missed(self, move: Move | None = None) -> None:
        """A move went another way. move: the one to try, None keeps the one before or takes the middle."""
        self.takes += 1
        self._unsure = 0
        self.changed = False
        if move is not None:
            self._at = next((i for i, n in enumerate(self.line) if n.number == move.start), self._at)
        size, manner = self.piece.size, self.piece.manner
        if size is Size.NOTE:
            self._at_note += 1
            self.done = self.left = self._at_note >= MOST_AT_NOTE
        elif self.ending:
            self._to_note()
        elif self._learnt is not None:
            self._end()
        elif (size is Size.PHRASE and manner is Manner.PLAIN) or (size is Size.MOVE and manner is Manner.SLIDE):
            self._go(Piece(size, self.piece.first, self.piece.last, Manner.TOGETHER))
        elif size is Size.MOVE:
            self._to_note()
        else:
            self._go(self._smaller())

    def unsure(self) -> None:
        """It could not be judged: no miss, but not for ever either."""
        self.takes += 1
        self._unsure += 1
        self.changed = False
        if self._unsure < MOST_UNSURE:
            return
        self._unsure = 0
        if self.piece.size is Size.NOTE or self.ending:
            self.done = self.left = True
        else:
            self._end()

    def _end(self) -> None:
        """End with what went right, or with a note."""
        if self._learnt is None:
            self._to_note()
            return
        self.ending = True
        self._go(self._learnt)

    def _to_note(self) -> None:
        first = self.piece.first
        self._go(Piece(Size.NOTE, first, first))

    def _go(self, piece: Piece) -> None:
        self.changed = piece != self.piece
        self.piece = piece

    def _smaller(self) -> Piece:
        n = len(self.line)
        at = self._at if self._at is not None else max(0, (n - 1) // 2)
        at = min(at, n - 2) if n > 1 else 0
        move = Piece(Size.MOVE, at, min(at + 1, n - 1), Manner.SLIDE)
        if self.piece.size is Size.HALF or n < FEWEST_FOR_HALF:
            return move
        # The half that holds the move; one that lies across the middle is taken into the first.
        middle = (n + 1) // 2
        half = Piece(Size.HALF, 0, max(middle - 1, at + 1), Manner.TOGETHER) if at < middle else \
            Piece(Size.HALF, middle, n - 1, Manner.TOGETHER)
        if half.last - half.first < 2 or half.last - half.first == n - 1:
            return move
        self._half = half
        return half
