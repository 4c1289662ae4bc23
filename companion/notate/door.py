"""What the commands and the page ask of this room, in whole pieces."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from companion.errors import Trouble
from companion.notate.booklet import Booklet
from companion.notate.exercises import KINDS as EXERCISE_KINDS
from companion.notate.exercises import exercises
from companion.tune import load
from companion.tune.catalogue import KINDS as MOVE_KINDS


def booklet_of(name: str | Path, *, level: int | None = None, kinds: Sequence[str] = (), practise: Sequence[str] = (),
               width: int = 40, seed: int = 1, part: str | None = None, american: bool = False) -> Booklet:
    """Exercises from a tune (file or shipped name). Raises Trouble for kinds that there are not."""
    for kind in kinds:
        if kind not in EXERCISE_KINDS:
            raise Trouble(f"There is no exercise of the kind {kind}. Kinds: {', '.join(EXERCISE_KINDS)}.")
    for move in practise:
        if move not in MOVE_KINDS:
            raise Trouble(f"{move} is no kind of move. Kinds: {', '.join(MOVE_KINDS)}.")
    tune = load(name, part=part)
    if len(tune.line()) < 3:
        raise Trouble(f"{name} has fewer than three notes; exercises want a tune.")
    made = Booklet(tune.title or Path(name).stem, tuple(exercises(tune, seed, practise, width, american)))
    return made.chosen(level, kinds) if level or kinds else made
