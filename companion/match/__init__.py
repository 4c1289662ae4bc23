"""A take held against a tune."""

from companion.match.details import kind_name
from companion.match.model import HeardNote, Match, Move, Verdict

__all__ = ["HeardNote", "Match", "Move", "Verdict", "kind_name"]
