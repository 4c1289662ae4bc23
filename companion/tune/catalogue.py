"""What the tunes that ship are good for: reach, kinds of moves, beats, key, words."""

from __future__ import annotations

import itertools
import json
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

from companion.places import shipped

#: Kinds of moves by their size in semitones, smallest first.
KINDS = ("level", "semitone", "step", "skip", "leap")


def kind_of(semitones: int) -> str:
    """"level", "semitone", "step" (2), "skip" (3 or 4) or "leap" (5 and more), up or down alike."""
    size = abs(semitones)
    return KINDS[min(size, 2)] if size < 3 else "skip" if size <= 4 else "leap"


@dataclass(frozen=True)
class Entry:
    """A tune that ships. reach: semitones from lowest to highest; moves: how many of each kind."""

    name: str
    title: str
    notes: int
    reach: int
    beats: int
    key: str
    words: str
    moves: dict[str, int]

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    def say(self, american: bool = False) -> str:
        """One plain line."""
        semitone, bar = ("half step", "measure") if american else ("semitone", "bar")
        called = {k: f"by {semitone if k == 'semitone' else k}" for k in KINDS} | {"level": "level"}
        kinds = ", ".join(f"{n} {called[k]}" for k, n in self.moves.items() if n)
        words = f" Begins: {self.words}." if self.words else ""
        return (f"{self.name}: {self.notes} notes, {self.key}, {self.beats} beats in a {bar}, {self.reach} {semitone}s from "
                f"lowest to highest. Moves: {kinds}.{words}")


@cache
def catalogue() -> tuple[Entry, ...]:
    """All tunes that ship, least reach first. Read from the index beside them, which a test holds true."""
    rows = json.loads((shipped("exercises") / "index.json").read_text(encoding="utf-8"))
    return tuple(Entry(**row) for row in rows)


def describe(name: str) -> Entry:
    """The entry of a shipped tune, made from the tune itself (the index is written from these)."""
    from companion.tune.files import load

    tune = load(name)
    line = tune.line()
    moves = dict.fromkeys(KINDS, 0)
    for a, b in itertools.pairwise(line):
        moves[kind_of(b.midi - a.midi)] += 1
    first = [n for n in line if n.phrase == 1]
    words = ""
    for n in (n for n in first if n.syllable):
        words += n.syllable + ("" if n.word_place in ("begin", "middle") else " ")
    beats = sum(tune.time.upper)
    return Entry(name=name, title=tune.title, notes=len(line),
                 reach=max(n.midi for n in line) - min(n.midi for n in line), beats=beats, key=tune.key.name,
                 words=words.strip().rstrip(".,;?!"), moves=moves)
