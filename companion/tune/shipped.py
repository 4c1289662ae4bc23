"""What the tunes that ship are good for: reach, kinds of moves, beats, key, words."""

from __future__ import annotations

import itertools
import json
from dataclasses import asdict, dataclass
from enum import StrEnum
from functools import cache
from typing import Any

from companion.places import shipped
from companion.tune.model import Key
from companion.tune.tune import Tune


class IntervalKind(StrEnum):
    """How large a move is, up or down alike, smallest first. The values are those of the JSON that programs read."""

    LEVEL = "level"
    SEMITONE = "semitone"
    STEP = "step"  # two semitones
    SKIP = "skip"  # three or four
    LEAP = "leap"  # five and more


#: The largest move of each kind, in semitones; what is larger is a leap.
_UP_TO = {0: IntervalKind.LEVEL, 1: IntervalKind.SEMITONE, 2: IntervalKind.STEP, 4: IntervalKind.SKIP}


def interval_kind(semitones: int) -> IntervalKind:
    """The kind of a move of so many semitones, up or down."""
    return next((kind for most, kind in _UP_TO.items() if abs(semitones) <= most), IntervalKind.LEAP)


@dataclass(frozen=True)
class Entry:
    """A tune that ships. reach: semitones from lowest to highest; moves: how many of each kind.

    beats: upper figure of the time signature. words: those of the first phrase.
    """

    name: str
    title: str
    notes: int
    reach: int
    beats: int
    key: Key
    words: str
    moves: dict[IntervalKind, int]

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "key": self.key.name}


@cache
def catalogue() -> tuple[Entry, ...]:
    """All tunes that ship, least reach first. Read from the index beside them, which a test holds true."""
    rows = json.loads((shipped("exercises") / "index.json").read_text(encoding="utf-8"))
    keys = {key.name: key for mode in ("major", "minor") for key in (Key(fifths, mode) for fifths in range(-7, 8))}
    return tuple(Entry(**{**row, "key": keys[row["key"]], "moves": {IntervalKind(k): n for k, n in row["moves"].items()}})
                 for row in rows)


def describe(name: str, tune: Tune) -> Entry:
    """The entry of a shipped tune, made from the tune itself (the index is written from these)."""
    line = tune.line()
    moves = dict.fromkeys(IntervalKind, 0)
    for a, b in itertools.pairwise(line):
        moves[interval_kind(b.midi - a.midi)] += 1
    words = "".join(n.syllable + ("" if n.word_place in ("begin", "middle") else " ")
                    for n in line if n.phrase == 1 and n.syllable)
    return Entry(name=name, title=tune.title, notes=len(line),
                 reach=max(n.midi for n in line) - min(n.midi for n in line), beats=sum(tune.time.upper),
                 key=tune.key, words=words.strip().rstrip(".,;?!"), moves=moves)
