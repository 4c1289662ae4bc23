"""Kinds of moves in sentences."""

from __future__ import annotations

from companion.language.interface import Language
from companion.match import MoveKind
from companion.messages import N_

#: Several moves of a kind.
MOVES_OF_KIND: dict[MoveKind, str] = {
    MoveKind.LEVEL: N_("level moves"),
    MoveKind.SEMITONE_UP: N_("semitones up"), MoveKind.SEMITONE_DOWN: N_("semitones down"),
    MoveKind.STEP_UP: N_("steps up"), MoveKind.STEP_DOWN: N_("steps down"),
    MoveKind.SKIP_UP: N_("skips up"), MoveKind.SKIP_DOWN: N_("skips down"),
    MoveKind.LEAP_UP: N_("leaps up"), MoveKind.LEAP_DOWN: N_("leaps down"),
}


def kind_of_moves(language: Language, kind: MoveKind) -> str:
    """Several moves of a kind: "steps up", "level moves"."""
    return language.message(MOVES_OF_KIND[kind])


def session_went_well(language: Language, kind: MoveKind | None, right: int, total: int) -> str:
    """What went well in a session: the kind of move that went best, None where none went right."""
    if kind is None:
        return language.message("You sang to the end.")
    return language.message("{moves} went well, {right} of {total} right.").format(
        moves=language.capitalised(kind_of_moves(language, kind)), right=right, total=total)


def next_time(language: Language, kind: MoveKind | None) -> str:
    """What to sing next time: the kind of move that went least well, or something new."""
    if kind is None:
        return language.message("Next time: a new phrase.")
    return language.message("Next time: {moves}.").format(moves=kind_of_moves(language, kind))
