"""The questions of one sitting: what is due, then the new step, and at the end something that can be done."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from companion.course.drill import (
    LENGTH_OF,
    OWN_CARDS,
    Drill,
    Item,
    Order,
    QuestionKind,
    Wants,
    Way,
    beats_of,
    heard_move,
    make,
    name_cell,
    sing_cell,
    split_card,
    sung_move,
    whole_card,
    whole_tune,
    write_cell,
)
from companion.course.facts import Fact, FactKind, fact, real
from companion.course.progress import Progress
from companion.course.stage import Stage, taught
from companion.match import MoveKind, move_kind
from companion.tune import STEPS, Pitch

MOST_DUE = 8  # things to come back to in one sitting: the new step keeps the most of it
MOST_NEW = 16  # new questions; with the rest some five to ten minutes, as long as a child sits well
SUNG_WAYS = (Way.CELL_TO_VOICE, Way.EAR_TO_VOICE)


class Why(StrEnum):
    """Why a question is asked."""

    DUE = "due"
    NEW = "new"
    LAST = "last"
    AGAIN = "again"  # not known a few questions ago
    DRILL = "drill"  # a single drill, evidence for no stage


@dataclass(frozen=True)
class Step:
    """A question, why it is asked, and the stage whose evidence its answer is, if any."""

    item: Item
    why: Why
    stage: Stage | None = None


def plan(progress: Progress, stages: Sequence[Stage], now: datetime, rng: random.Random,
         most_new: int = MOST_NEW, most_due: int = MOST_DUE, sung_only: bool = False) -> list[Step]:
    """The questions of one sitting. Nothing is asked that no stage up to the pupil's has taught.

    sung_only: only what is answered by singing, so that no hand need leave the page.
    """
    here = progress.stage(stages)
    reached = [s for s in stages if s.number <= here.number]
    due: list[Step] = []
    for name in progress.recall.due(now):
        if len(due) >= most_due:
            break
        item = item_for(name, reached, rng)
        if item is not None and (item.wants is Wants.SUNG or not sung_only):
            due.append(Step(item, Why.DUE, here if _belongs(item, here) else None))
    asked = here if not sung_only else replace(here, drills=tuple(d for d in here.drills if d.way in SUNG_WAYS))
    items = [] if progress.finished(stages) else new_items(asked, rng, most_new, progress)
    new = [Step(item, Why.NEW, here) for item in items if item.wants is Wants.SUNG or not sung_only]
    last = closing(progress, reached, now, rng)
    if sung_only and last.wants is not Wants.SUNG:
        last = sung_move(Pitch("C", 4), Pitch("G", 4))
    known = taught(here.number, stages)
    return [replace(step, item=replace(step.item, known=known)) for step in (*due, *new, Step(last, Why.LAST))]


def _belongs(item: Item, stage: Stage) -> bool:
    """Whether a review is of this very stage, so that its answer is evidence for it."""
    asked = {(name, d.way) for d in stage.drills for name in d.facts}
    return any((about, item.way) in asked for about in item.about)


def new_items(stage: Stage, rng: random.Random, most: int, progress: Progress | None = None) -> list[Item]:
    """Questions of a stage's drills, in their order, each drill with its share; ways that still lack evidence
    come first in the shares."""
    met = {s.evidence.way for s in progress.shown(stage) if s.met} if progress else set()
    wanted = {e.way for e in stage.known} - met
    made = [(d, make(d, stage.material, rng)) for d in stage.drills]
    made = [(d, items) for d, items in made if items]
    weight = {i: len(items) * (2 if d.way in wanted else 1) for i, (d, items) in enumerate(made)}
    total = sum(weight.values())
    if sum(len(items) for _, items in made) <= most:
        return [item for _, items in made for item in items]
    shares = {i: min(len(made[i][1]), max(1, round(most * w / total))) for i, w in weight.items()}
    while sum(shares.values()) > most:
        shares[max(shares, key=lambda i: (shares[i], i))] -= 1
    return [item for i, (_, items) in enumerate(made) for item in items[:shares[i]]]


# --- a question for what is remembered ---

def item_for(name: str, reached: Sequence[Stage], rng: random.Random) -> Item | None:
    """A question for a card, made only of what the stages reached have taught; None where there is none."""
    about, way = split_card(name)
    known = taught(reached[-1].number, reached) if reached else frozenset()
    if about in OWN_CARDS:
        return _from_drill(OWN_CARDS[about], reached, rng)
    if about in set(MoveKind):
        return _move_item(about, way, _known_steps(known), rng)
    if about.startswith(LENGTH_OF):
        f = real(about.removeprefix(LENGTH_OF))
        return beats_of(f) if f is not None and f.signs <= known else None
    stage = _stage_of_tune(about, reached)
    if stage is not None:
        return whole_tune(stage.material) if about == whole_card(stage.material) else _bar_item(about, way, stage, rng)
    known_fact = real(about)
    if known_fact is None or not known_fact.signs <= known:
        return None
    return _fact_item(known_fact, way, reached, known, rng)


def _known_steps(known: frozenset[str]) -> list[str]:
    """Notes whose plain cells have been taught."""
    return [s for s in STEPS if s in known] if "quaver" in known else []


def _stage_of_tune(about: str, reached: Sequence[Stage]) -> Stage | None:
    """The last stage reached whose tune, read and not unseen, it is about."""
    return next((s for s in reversed(reached) if not s.by_ear and not s.unseen and
                 (about == whole_card(s.material) or about.startswith(f"{s.material.name} bar "))), None)


def _fact_item(f: Fact, way: Way | None, reached: Sequence[Stage], known: frozenset[str],
               rng: random.Random) -> Item | None:
    if way is Way.CELL_TO_NAME:
        return name_cell(f)
    if way is Way.NAME_TO_CELL:
        return write_cell(f)
    if way is Way.CELL_TO_VOICE and f.kind is FactKind.NOTE:
        others = [n for n in _known_steps(known) if n != f.step]
        start = rng.choice(others) if others else f.name
        return sing_cell(start, f.name, Pitch(start[0], 4), Pitch(f.step, 4))
    if way is Way.CELL_TO_VOICE and f.kind is FactKind.PLACED:
        placed = [n for s in reached for d in s.drills if d.kind is QuestionKind.SING_THE_CELL for n in d.facts
                  if fact(n).kind is FactKind.PLACED and n != f.name]
        if placed:
            start = rng.choice(placed)
            return make(Drill(QuestionKind.SING_THE_CELL, (start, f.name), Order.UP, 2), None, rng)[-1]
    return None


def _from_drill(kind: QuestionKind, reached: Sequence[Stage], rng: random.Random) -> Item | None:
    for stage in reversed(reached):
        drills = [d for d in stage.drills if d.kind is kind]
        if drills and not stage.unseen:
            items = make(replace(rng.choice(drills), count=1), stage.material, rng)
            if items:
                return items[0]
    return None


def _move_item(about: str, way: Way | None, notes: list[str], rng: random.Random) -> Item | None:
    pitches = [Pitch(s, 4) for s in notes]
    if way is Way.CELL_TO_VOICE:
        pairs = [(a, b) for a in pitches for b in pitches if move_kind(b.midi - a.midi) == about]
        if pairs:
            a, b = rng.choice(pairs)
            return sing_cell(a.step, b.step, a, b)
    row = [Pitch(s, 4) for s in STEPS]
    pairs = [(a, b) for a in row for b in row if move_kind(b.midi - a.midi) == about]
    if not pairs:
        return None
    return heard_move(*rng.choice(pairs)) if way is Way.BY_EAR else sung_move(*rng.choice(pairs))


#: What is asked of one bar of a tune, by way.
_BAR_KINDS = {Way.CELL_TO_VOICE: QuestionKind.READ_AND_SING, Way.BY_EAR: QuestionKind.WHICH_BAR,
              Way.CELL_TO_NAME: QuestionKind.FIND_THE_WRONG_CELL}


def _bar_item(about: str, way: Way | None, stage: Stage, rng: random.Random) -> Item | None:
    kind = _BAR_KINDS.get(way, QuestionKind.WRITE_WHAT_YOU_HEAR) if way else QuestionKind.WRITE_WHAT_YOU_HEAR
    found = make(Drill(kind, order=Order.UP, count=len(stage.material.groups)), stage.material, rng)
    return next((i for i in found if i.about == (about,)), None)


def closing(progress: Progress, reached: Sequence[Stage], now: datetime, rng: random.Random) -> Item:
    """Something that can be done: what is held longest, to be sung where that is among it; else a wide move."""
    held = progress.recall.surest(now, progress.recall.cards)
    sung = [n for n in held if split_card(n)[1] in SUNG_WAYS and "whole" not in n]
    for name in [*sung[:3], *held[:5]]:
        item = item_for(name, reached, rng)
        if item is not None:
            return item
    return heard_move(*rng.choice([(Pitch("C", 4), Pitch("C", 5)), (Pitch("C", 5), Pitch("C", 4))]))
