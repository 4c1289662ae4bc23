"""What to say back to a take, as facts: what went well, then at most one thing to try. The words are the language's."""

from __future__ import annotations

from dataclasses import dataclass, replace

from companion.match.model import CueKind, Match, Move, Presence, Verdict


@dataclass(frozen=True, slots=True)
class Advice:
    """What one breath can say of a take.

    Went well: `right` of `moves` moves, `sung` of `notes` notes. move: the one to try, only with "one to try".
    Only with "not sure": not_heard, the numbers of notes that were left out, where they are few; not_caught, the
    number of the note that could not be told, where it is one; neither where the whole could not be followed.
    stopped_at: the number of the last note sung, only with "stopped early"; from_start: whether all moves up to it were
    right.
    """

    kind: CueKind
    right: int = 0
    moves: int = 0
    sung: int = 0
    notes: int = 0
    move: Move | None = None
    not_heard: tuple[int, ...] = ()
    not_caught: int | None = None
    stopped_at: int | None = None
    from_start: bool = False


def move_to_try(match: Match) -> Move | None:
    """The one move to try: of those that are surely not that way the surest, of equals the first."""
    wrong = [m for m in match.moves if m.verdict == Verdict.WRONG]
    return max(wrong, key=lambda m: (round(m.sure, 2), -m.start), default=None)


def advise(match: Match) -> Advice:
    """The advice for a match."""
    said = Advice(match.kind, match.counts[Verdict.RIGHT], len(match.moves), sum(n.sung for n in match.notes),
                  len(match.notes))
    if said.kind is CueKind.ONE_TO_TRY:
        return replace(said, move=move_to_try(match))
    if said.kind is CueKind.STOPPED_EARLY and match.last_sung is not None:
        last = match.last_sung.written.number
        before = [m for m in match.moves if m.end <= last]
        return replace(said, stopped_at=last, from_start=all(m.verdict == Verdict.RIGHT for m in before))
    if said.kind is not CueKind.NOT_SURE or match.presence is Presence.DOUBTFUL:
        return said
    missing = tuple(n.written.number for n in match.notes if not n.sung)
    if missing and len(missing) * 2 < said.notes:
        return replace(said, not_heard=missing)
    return replace(said, not_caught=_unclear_note(match))


def _unclear_note(match: Match) -> int | None:
    """The note that could not be told: the one that two unclear moves share, else where the first of them goes to.

    None where more than half of several moves are unclear.
    """
    unclear = [m for m in match.moves if m.verdict != Verdict.RIGHT]
    if len(unclear) > 1 and len(unclear) * 2 > len(match.moves):
        return None
    ends = [m.end for m in unclear]
    return next((m.start for m in unclear if m.start in ends), unclear[0].end)
