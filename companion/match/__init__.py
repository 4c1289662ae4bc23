"""A take against a tune: which moves went as written, how surely, and what to try. Facts only; words are language's."""

from companion.match.advice import Advice, CueKind, advise, move_to_try
from companion.match.closeness import closeness, take_features
from companion.match.details import detail
from companion.match.follow import Follower, joined
from companion.match.model import (
    Detail,
    HeardNote,
    Highest,
    LengthFault,
    Match,
    MissedLength,
    MissedSize,
    Move,
    MoveKind,
    SizeFault,
    Verdict,
    move_kind,
)
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.take import match_take

__all__ = ["PARAMETERS", "Advice", "CueKind", "Detail", "Follower", "HeardNote", "Highest", "LengthFault", "Match",
           "MatchParameters", "MissedLength", "MissedSize", "Move", "MoveKind", "SizeFault", "Verdict", "advise",
           "closeness", "detail", "joined", "match_take", "move_kind", "move_to_try", "take_features"]
