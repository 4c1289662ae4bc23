"""A scripted session that is killed: saves take after take and says each one's number once it is saved."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import TextIO

import numpy as np

from companion.diary import Diary, SessionKind, SettingName
from companion.match import HeardNote, Match, Move, Verdict
from companion.tune import Direction, LineNote, Pitch


def some_match(notes: int = 4, verdict: Verdict = Verdict.RIGHT) -> Match:
    """A match of so many notes that climb by steps."""
    from fractions import Fraction

    line = [LineNote(number=i + 1, pitch=Pitch("CDEFGAB"[i % 7], 4 + i // 7), onset_quarters=Fraction(i),
                     quarters=Fraction(1), syllable="la", word_place="single", phrase=1, bar=1,
                     rest_after=Fraction(0), sources=((0, i),)) for i in range(notes)]
    heard = tuple(HeardNote(n, True, n.midi + 4.1, 0.4 + 0.5 * n.number, 0.45) for n in line)
    way = Direction.UP if verdict is Verdict.RIGHT else Direction.DOWN
    moves = tuple(Move(a.number, b.number, Direction.UP, way, verdict, 0.99,
                       b.midi - a.midi, 1.9) for a, b in pairwise(line))
    return Match(4.1, heard, moves, 0.9)


def run(path: str | Path, with_sound: bool, said: TextIO) -> None:
    """Save take after take, and say each one's number once it is saved, until the process is ended."""
    diary = Diary(path)
    pupil = diary.pupil("Wren", new=True)
    if with_sound and diary.consent(pupil) is None:
        diary.give_consent(pupil, "Wren's mother")
    rng = np.random.default_rng(1)
    sound = rng.normal(0, 0.1, 4000).astype(np.float32)
    while True:
        number = diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(), "All three right.",
                                (sound, 22050) if with_sound else None)
        print(number, file=said, flush=True)
        if number % 5 == 0:
            diary.set_setting(pupil, SettingName.RATE, 100 + number % 50)
