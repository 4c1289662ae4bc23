"""What to say back to a take, as facts: what went well, then at most one thing to try. The words are the language's."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from companion.match.model import Match, Move, Verdict


class CueKind(StrEnum):
    """What an answer is about. The values are those of the JSON that programs read."""

    ALL_RIGHT = "all right"
    ONE_TO_TRY = "one to try"
    NOT_SURE = "not sure"
    NOTHING_SUNG = "nothing sung"
    ONE_NOTE = "one note"


@dataclass(frozen=True, slots=True)
class Advice:
    """What one breath can say of a take.

    Went well: `right` of `moves` moves, `sung` of `notes` notes. move: the one to try, only with "one to try".
    Only with "not sure": not_heard, the numbers of notes that were left out, where they are few; not_caught, the
    number of the note that could not be told, where it is one; neither where the whole could not be followed.
    """

    kind: CueKind
    right: int = 0
    moves: int = 0
    sung: int = 0
    notes: int = 0
    move: Move | None = None
    not_heard: tuple[int, ...] = ()
    not_caught: int | None = None


def move_to_try(match: Match) -> Move | None:
    """The one move to try: of those that are surely not that way the surest, of equals the first."""
    wrong = [m for m in match.moves if m.verdict == Verdict.WRONG]
    return max(wrong, key=lambda m: (round(m.sure, 2), -m.start), default=None)


def advise(match: Match) -> Advice:
    """The advice for a match."""
    right, moves = match.counts[Verdict.RIGHT], len(match.moves)
    sung, notes = sum(n.sung for n in match.notes), len(match.notes)

    def advice(kind: CueKind, move: Move | None = None, not_heard: tuple[int, ...] = (),
               not_caught: int | None = None) -> Advice:
        return Advice(kind, right, moves, sung, notes, move, not_heard, not_caught)

    if not sung:
        return advice(CueKind.NOTHING_SUNG)
    if not moves:
        return advice(CueKind.ONE_NOTE)
    if right == moves:
        return advice(CueKind.ALL_RIGHT)
    move = move_to_try(match)
    if move is not None:
        return advice(CueKind.ONE_TO_TRY, move)
    missing = tuple(n.written.number for n in match.notes if not n.sung)
    if missing and len(missing) * 2 < notes:
        return advice(CueKind.NOT_SURE, not_heard=missing)
    return advice(CueKind.NOT_SURE, not_caught=_unclear_note(match))


def _unclear_note(match: Match) -> int | None:
    """The note that could not be told: the one that two unclear moves share, else where the first of them goes to.

    None where more than half of several moves are unclear.
    """
    unclear = [m for m in match.moves if m.verdict != Verdict.RIGHT]
    if len(unclear) > 1 and len(unclear) * 2 > len(match.moves):
        return None
    ends = [m.end for m in unclear]
    return next((m.start for m in unclear if m.start in ends), unclear[0].end)
