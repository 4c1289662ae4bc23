"""A take against a tune: which moves went as written, how surely, and what to try. Facts only; words are language's."""

from companion.match.advice import Advice, advise, move_to_try
from companion.match.attempts import line_odds
from companion.match.closeness import closeness, closeness_features, take_features
from companion.match.details import detail
from companion.match.follow import Follower, joined
from companion.match.model import (
    CueKind,
    Detail,
    Doubt,
    HeardNote,
    Highest,
    Length,
    LengthFault,
    Match,
    MissedLength,
    MissedSize,
    Move,
    MoveEvidence,
    MoveKind,
    Presence,
    Size,
    SizeFault,
    Verdict,
    move_kind,
)
from companion.match.parameters import PARAMETERS, MatchParameters
from companion.match.singing import frame_odds
from companion.match.take import match_phrase, match_take, unjudged

__all__ = ["PARAMETERS", "Advice", "CueKind", "Detail", "Doubt", "Follower", "HeardNote", "Highest", "Length", "LengthFault",
           "Match", "MatchParameters", "MissedLength", "MissedSize", "Move", "MoveEvidence", "MoveKind", "Presence", "Size",
           "SizeFault", "Verdict", "advise", "closeness", "closeness_features", "detail", "frame_odds", "joined", "line_odds",
           "match_phrase", "match_take", "move_kind", "move_to_try", "take_features", "unjudged"]
