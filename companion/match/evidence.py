"""What each verdict rests on, and which rule made a move "not sure": read from the match, judged by nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from companion.match.judge import Evidence, call, normal_cdf
from companion.match.model import Doubt, HeardNote, Move, MoveEvidence, Presence, Verdict
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.steady import Steady
from companion.tune import Direction, direction_of

LONG_S = 1.0  # a note so long has all the steady part that is needed
CLEAR = 0.5  # semitones: an interval so much farther from the edge would be clear


def move_evidences(evidence: Sequence[Evidence], steady: Steady, notes: Sequence[HeardNote], moves: Sequence[Move],
                   there: Presence, params: MatchParameters = PARAMETERS) -> tuple[MoveEvidence, ...]:
    """What the verdicts of N - 1 moves between N notes rest on."""
    out = []
    for i, (e, move) in enumerate(zip(evidence, moves, strict=True)):
        spread, voice = ((_known(steady, x[i], i), _known(steady, x[i + 1], i + 1)) for x in (steady.spread, steady.seconds))
        out.append(MoveEvidence(
            spread=spread, voice_s=voice, up=round(e.up, 3), level=round(e.level, 3), down=round(e.down, 3),
            placed=round(e.placed, 3), error=None if e.interval is None else round(e.error, 3),
            doubt=_doubt(e, (notes[i], notes[i + 1]), move, there, params)))
    return tuple(out)


def with_doubt(evidence: MoveEvidence, doubt: Doubt) -> MoveEvidence:
    """The same of a move that is "not sure" for another reason."""
    return replace(evidence, doubt=doubt)


def _known(steady: Steady, value: float, i: int) -> float | None:
    return None if math.isnan(steady.midi[i]) else round(float(value), 3)


def _doubt(e: Evidence, ends: tuple[HeardNote, HeardNote], move: Move, there: Presence,
           params: MatchParameters) -> Doubt | None:
    if move.verdict is not Verdict.UNSURE:
        return None
    if there is not Presence.PRESENT:
        return Doubt.NOT_FOUND
    if not all(n.sung for n in ends):
        return Doubt.NOT_SUNG
    # A move that was judged by itself and is not any more is the one over a restart.
    return doubt_of(e, move.wanted, params) or Doubt.RESTART


def doubt_of(e: Evidence, wanted: Direction, params: MatchParameters = PARAMETERS) -> Doubt | None:
    """Which rule of `companion.match.judge.call` makes a move "not sure"; None where it is called.

    Where it is how likely a right move is, the first that would bring it to a verdict if it alone were clear: longer
    notes, that these parts of the sound are the notes, an interval farther from the edge.
    """
    if e.interval is None:
        return Doubt.NO_PITCH
    if call(e, wanted, params).verdict is not Verdict.UNSURE:
        return None
    if e.fault:
        as_wanted = direction_of(e.interval, e.edge) == wanted
        folded = e.interval if e.folded is None or e.folded.interval is None else e.folded.interval
        if not as_wanted or (not e.bare and direction_of(folded, e.edge) != wanted):
            return Doubt.OCTAVE
    clear = {Doubt.SHORT: (replace(e, seconds=max(e.seconds, LONG_S)),), Doubt.PLACE: (_as_if(e, e.interval, 1.0, params),),
             Doubt.EDGE: tuple(_as_if(e, e.interval + by, e.placed, params) for by in (CLEAR, -CLEAR))}
    return next((doubt for doubt, some in clear.items()
                 if any(call(x, wanted, params).verdict is not Verdict.UNSURE for x in some)), Doubt.WEAK)


def _as_if(e: Evidence, interval: float, placed: float, params: MatchParameters) -> Evidence:
    """The evidence if another interval had been measured, or if it were as sure where the notes lie."""
    def shares(x: float) -> tuple[float, float, float]:
        error, edge = max(e.error, 1e-3), e.edge
        above, below = normal_cdf((x - edge) / error), normal_cdf((-x - edge) / error)
        return above, 1 - above - below, below

    assert e.interval is not None
    elsewhere = [max(0.0, p - e.placed * share) for p, share in zip((e.up, e.level, e.down), shares(e.interval), strict=True)]
    left = (1 - placed) / max(1e-9, 1 - e.placed) if placed > e.placed else 1.0
    up, level, down = (placed * share + left * other for share, other in zip(shares(interval), elsewhere, strict=True))
    return replace(e, interval=interval, up=up, level=level, down=down, placed=placed)
