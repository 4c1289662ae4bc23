"""A take held against a tune."""

from companion.match.model import (
    DOWN,
    LEVEL,
    RIGHT,
    UNSURE,
    UP,
    VERDICTS,
    WRONG,
    HeardNote,
    Match,
    Move,
    direction,
)

__all__ = ["DOWN", "LEVEL", "RIGHT", "UNSURE", "UP", "VERDICTS", "WRONG", "HeardNote", "Match", "Move",
           "direction"]
