"""The questions of one sitting: what is due, then the new step, and at the end something that can be done."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from companion.course.drill import (
    LENGTH_OF,
    NEW_IN_THEMSELVES,
    OWN_CARDS,
    Drill,
    Item,
    Order,
    QuestionKind,
    Wants,
    Way,
    beats_of,
    card,
    heard_move,
    make,
    name_cell,
    seconds_of,
    sing_cell,
    split_card,
    sung_move,
    whole_card,
    whole_tune,
    write_cell,
)
from companion.course.facts import Fact, FactKind, fact, real
from companion.course.fresh import HARDEST, MADE_HERE, Wanted, fresh_material, tune_at_sight
from companion.course.progress import Progress
from companion.course.stage import Stage, taught
from companion.course.tune_material import Material
from companion.match import MoveKind, move_kind
from companion.tune import STEPS, Pitch

MOST_NEW = 16  # new questions of one sitting, however much time there is
CHILD_MINUTES, ADULT_MINUTES = 8.0, 15.0  # of a sitting: as long as a child sits well, and an adult
SMALL_PILE = 0.45  # of a sitting's time, at the pupil's pace: with more than that due, nothing new is begun
MOST_CONTRAST = 0.1  # share of a stage's questions that may do without what the stage brings
A_THING_S = 15.0  # seconds that it takes to ask for something again: the mean of what is due in simulated sittings
NEXT_DAYS = 2.0
HOLIDAY_FROM = 0.25  # share of days on which a pupil does not come, from which such a holiday is to be looked for
NOT_FULL = 0.75  # of a sitting: as much may be due then
HOLIDAY_DAYS = 14  # away, as at school
BREAK_DAYS = 10  # away: then a recap comes before anything new
SONG_WITHIN = 5  # questions: by then something has been sung
SUNG_WAYS = (Way.CELL_TO_VOICE, Way.EAR_TO_VOICE, Way.AT_SIGHT)
BARS_OF = "bars of "  # then a stage's name: what is remembered of reading its kind of bars
#: Kinds that are made of bars, which are new each time.
FRESH = (QuestionKind.READ_AND_SING, QuestionKind.WRITE_WHAT_YOU_HEAR, QuestionKind.WHICH_BAR, QuestionKind.HOW_OFTEN,
         QuestionKind.FIND_THE_WRONG_CELL, QuestionKind.HOW_MANY_BEATS, QuestionKind.SING_AT_SIGHT,
         QuestionKind.CLAP_THE_RHYTHM, QuestionKind.THINK_AND_SING, QuestionKind.WHICH_WAY, QuestionKind.UPPER_OR_LOWER,
         QuestionKind.SING_FROM_ANOTHER)


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
         most_new: int = MOST_NEW, minutes: float = CHILD_MINUTES, sung_only: bool = False) -> list[Step]:
    """The questions of one sitting of so many minutes. Nothing is asked that no stage up to the pupil's has taught.

    First what is due, what was wrong before all else, as much of it as there is time for; then new questions in what is
    left, and none while the pile of what is due is large, nor in the first sitting after a long break.
    Kinds take turns, and something is sung early.
    sung_only: only what is answered by singing, so that no hand need leave the page.
    """
    here = progress.stage(stages)
    reached = [s for s in stages if s.number <= here.number]
    known = taught(here.number, stages)
    last = closing(progress, reached, now, rng)
    if sung_only and last.wants is not Wants.SUNG:
        last = sung_move(Pitch("C", 4), Pitch("G", 4))
    seconds = minutes * 60 / progress.pace - seconds_of(last)
    due, pile = _due_steps(progress, reached, now, rng, seconds, sung_only)
    left = seconds - sum(seconds_of(s.item) for s in due)
    new: list[Step] = []
    rested = progress.away(now) < BREAK_DAYS or not due
    if rested and not progress.finished(stages) and (pile * progress.pace <= SMALL_PILE * minutes * 60 or not due):
        asked = here if not sung_only else replace(here, drills=tuple(d for d in here.drills if d.way in SUNG_WAYS))
        things = _room_for_things(progress, reached, now, minutes) if due else None
        steps = [s for s in new_steps(asked, rng, most_new, progress, known, things)
                 if s.item.wants is Wants.SUNG or not sung_only]
        new = _in_time(interleaved(steps), left)
    steps = _song_early([*interleaved(due), *new], reached, progress, known, rng)
    return [replace(step, item=replace(step.item, known=known)) for step in (*steps, Step(last, Why.LAST))]


def _room_for_things(progress: Progress, reached: Sequence[Stage], now: datetime, minutes: float) -> int:
    """How many things may be begun: as many as leave a sitting not full of what will be due in the next days, or after a
    holiday, which is the longer the less often the pupil comes."""
    away = HOLIDAY_DAYS * min(1.0, (1 - progress.comes_on(now)) / HOLIDAY_FROM)
    soon = len(progress.due(reached, now + timedelta(days=max(NEXT_DAYS, away))))
    return max(0, int(NOT_FULL * minutes * 60 / progress.pace / A_THING_S) - soon)


def _due_steps(progress: Progress, reached: Sequence[Stage], now: datetime, rng: random.Random, seconds: float,
               sung_only: bool) -> tuple[list[Step], float]:
    """What is due as far as there is time for it, and the seconds that all of it would take."""
    here, out, pile = reached[-1], list[Step](), 0.0
    asked: set[str] = set()
    for name in sorted(progress.due(reached, now), key=lambda n: not progress.recall.missed(n)):
        # One question may ask for several things: a move, and the note that it leads to.
        item = item_for(name, reached, rng, progress) if name not in asked else None
        if item is None or (sung_only and item.wants is not Wants.SUNG):
            continue
        takes = seconds_of(item)
        if pile + takes <= seconds:
            out.append(Step(item, Why.DUE, here if _belongs(item, here) else None))
            asked.update(item.cards)
        pile += takes
    return out, pile


def _in_time(steps: Sequence[Step], seconds: float) -> list[Step]:
    """As many of these as fit into so many seconds; a long one that does not fit makes room for shorter ones."""
    out = []
    for step in steps:
        takes = seconds_of(step.item)
        if takes <= seconds:
            out.append(step)
            seconds -= takes
    return out


def interleaved(steps: Sequence[Step]) -> list[Step]:
    """The same in an order in which kinds take turns, each kind in its own order, the more frequent ones oftener."""
    left: dict[QuestionKind, list[Step]] = {}
    for step in steps:
        left.setdefault(step.item.kind, []).append(step)
    whole = {kind: len(some) for kind, some in left.items()}
    out: list[Step] = []
    while left:
        # The kind with the largest share still to come; never twice the same while there is another, and one that makes up more
        # than half of what is left before all others, or it would stand alone at the end.
        others = [k for k in left if not out or k is not out[-1].item.kind] or list(left)
        most = sum(map(len, left.values())) / 2
        kind = max(others, key=lambda k: (len(left[k]) > most, len(left[k]) / whole[k], len(left[k])))
        out.append(left[kind].pop(0))
        if not left[kind]:
            del left[kind]
    return out


def _song_early(steps: list[Step], reached: Sequence[Stage], progress: Progress, known: frozenset[str],
                rng: random.Random) -> list[Step]:
    """With something sung among the first few; a new bar, or a move, where nothing that is asked is sung."""
    at = next((i for i, s in enumerate(steps) if s.item.wants is Wants.SUNG), len(steps))
    if at < SONG_WITHIN or len(steps) < SONG_WITHIN:
        return steps
    song = steps.pop(at) if at < len(steps) else None
    if song is None:
        item = _new_bar(reached[-1].name, Way.CELL_TO_VOICE, reached, known, rng, progress)
        song = Step(item or sung_move(Pitch("C", 4), Pitch("G", 4)), Why.DUE)
    return [*steps[:SONG_WITHIN - 2], song, *steps[SONG_WITHIN - 2:]]


def _belongs(item: Item, stage: Stage) -> bool:
    """Whether a review is of this very stage, so that its answer is evidence for it."""
    asked = {(name, d.way) for d in stage.drills for name in d.facts}
    return any((about, item.way) in asked or (about == f"{BARS_OF}{stage.name}" and item.way in {d.way for d in stage.drills})
               for about in item.about)


def new_items(stage: Stage, rng: random.Random, most: int, progress: Progress | None = None) -> list[Item]:
    """Questions of a stage's drills, in their order (see `new_steps`)."""
    return [s.item for s in new_steps(stage, rng, most, progress or Progress())]


def new_steps(stage: Stage, rng: random.Random, most: int, progress: Progress,
              known: frozenset[str] | None = None, things: int | None = None) -> list[Step]:
    """Questions of a stage's drills, in their order, each drill with its share; ways that still lack evidence come first
    in the shares, and what has nothing of what the stage brings comes seldom.

    Names in the order of the scale are for the first time, and are no evidence: who can count needs no cell for them.
    Nor is a tune that has been heard. known: the signs that may be in new bars. things: how many things may be begun that
    are not remembered yet, None for all.
    """
    begun = progress.has_begun(stage)
    signs = known or taught(stage.number)
    made: list[tuple[Drill, list[Step]]] = []
    for drill in (replace(d, order=Order.MIXED) if begun and d.facts else d for d in stage.drills):
        evidence = stage if _is_evidence(drill, stage) else None
        steps = [Step(item, Why.NEW, evidence) for item in _made(drill, stage, progress, rng, signs)]
        if things is not None:
            steps, things = _beginning_few(steps, stage, progress, made, things)
        if steps:
            made.append((drill, _mostly_new(steps, stage)))
    return _with_little_else(_shared(made, stage, progress, most), stage)


def _beginning_few(steps: Sequence[Step], stage: Stage, progress: Progress, made: Sequence[tuple[Drill, list[Step]]],
                   things: int) -> tuple[list[Step], int]:
    """Those of a drill that begin no more than so many things, and how many more may be begun after them; none where nothing
    of what the stage brings is among them."""
    begun = {*progress.recall.cards, *(c for _unused, some in made for s in some for c in s.item.cards)}
    out = []
    for step in steps:
        fresh_ones = set(step.item.cards) - begun
        if len(fresh_ones) <= things:
            out.append(step)
            begun |= fresh_ones
            things -= len(fresh_ones)
    rest_only = any(brings(s.item, stage) for s in steps) and not any(brings(s.item, stage) for s in out)
    return [] if rest_only else out, things


def _shared(made: Sequence[tuple[Drill, list[Step]]], stage: Stage, progress: Progress, most: int) -> list[Step]:
    """At most so many, of each drill its share; the ways that lack evidence count twice."""
    if sum(len(steps) for _, steps in made) <= most:
        return [step for _, steps in made for step in steps]
    wanted = {e.way for e in stage.known} - {s.evidence.way for s in progress.shown(stage) if s.met}
    weight = {i: len(steps) * (2 if d.way in wanted else 1) for i, (d, steps) in enumerate(made)}
    total = sum(weight.values())
    shares = {i: min(len(made[i][1]), max(1, round(most * w / total))) for i, w in weight.items()}
    while sum(shares.values()) > most:
        shares[max(shares, key=lambda i: (shares[i], i))] -= 1
    return [step for i, (_, steps) in enumerate(made) for step in steps[:shares[i]]]


def _with_little_else(steps: list[Step], stage: Stage) -> list[Step]:
    """The same with no more than its share of what has nothing of what the stage brings; all where nothing has."""
    rest = [s for s in steps if not brings(s.item, stage)]
    left_out = rest[int(MOST_CONTRAST * (len(steps) - len(rest)) / (1 - MOST_CONTRAST)):]
    return [s for s in steps if not any(s is other for other in left_out)] if len(rest) < len(steps) else steps


def _is_evidence(drill: Drill, stage: Stage) -> bool:
    """Whether answers to a drill show that something is read."""
    if drill.kind is QuestionKind.WHOLE_TUNE:
        return stage.unseen
    return not drill.facts or drill.order is Order.MIXED


def _made(drill: Drill, stage: Stage, progress: Progress, rng: random.Random, known: frozenset[str]) -> list[Item]:
    """The questions of a drill; those made of bars from new ones, those with facts beginning with what the stage brings."""
    if drill.facts or drill.kind not in FRESH:
        # Twice as many, so that there is something to choose from.
        twice = replace(drill, count=2 * drill.count) if drill.facts and drill.order is Order.MIXED else drill
        return make(twice, stage.material, rng)[:twice.count]
    if drill.kind is QuestionKind.SING_AT_SIGHT:
        return make(drill, _at_sight(stage, progress, known, rng), rng)
    m = fresh(stage, progress, known, rng, drill.count + 1)
    # Of a tune that nobody has met its own bars come first, each once.
    own = tuple(g.piece for g in stage.material.groups if stage.unseen and g.cells not in progress.seen)
    return make(drill, replace(m, made=(*own, *m.made)), rng)


def fresh(stage: Stage, progress: Progress, known: frozenset[str], rng: random.Random, count: int) -> Material:
    """New bars in the manner of a stage, as difficult as the pupil's answers to such bars say."""
    level = progress.level(stage)
    if any(d.kind is QuestionKind.MARK_OR_NO_MARK for d in stage.drills):
        level = max(level, HARDEST - 1)  # it is about wide moves
    wanted = Wanted(known, frozenset(stage.introduces), progress.seen, level)
    return fresh_material(stage.material, f"{BARS_OF}{stage.name}", wanted, count, rng)


def _at_sight(stage: Stage, progress: Progress, known: frozenset[str], rng: random.Random) -> Material:
    """A tune that nobody has heard, in the manner of a stage."""
    wanted = Wanted(known, frozenset(stage.introduces), progress.seen)
    return tune_at_sight(stage.material, f"{BARS_OF}{stage.name}", wanted, rng)


def brings(item: Item, stage: Stage) -> bool:
    """Whether a question uses what a stage brings; where it brings no sign, every one does."""
    new = frozenset(stage.introduces)
    if item.group is not None and not stage.by_ear:
        new &= stage.material.signs | MADE_HERE  # what stands in no tune of one voice is met in questions of its own
    return not new or bool(item.signs & new) or item.kind in NEW_IN_THEMSELVES


def _mostly_new(steps: Sequence[Step], stage: Stage) -> list[Step]:
    """Those of a drill that use what the stage brings, and one of ten of the others, in the same order."""
    count = next((d.count for d in stage.drills if d.kind is steps[0].item.kind), len(steps))
    rest = [s for s in steps if not brings(s.item, stage)]
    new = len(steps) - len(rest)
    if not new:
        return list(steps)[:count]
    allowed = round(min(count, new) * MOST_CONTRAST)
    out = [s for s in steps if brings(s.item, stage) or s in rest[:allowed]]
    return out[:count]


# --- what is known without having been asked here ---

LAID_DAYS = 11  # over which the cards of what is known already were last recalled, so that they come back a few a day
PROBES = (QuestionKind.NAME_THE_CELL, QuestionKind.WRITE_THE_CELL, QuestionKind.READ_AND_SING, QuestionKind.SAY_THE_OCTAVE,
          QuestionKind.MARK_OR_NO_MARK, QuestionKind.FIND_THE_WRONG_CELL, QuestionKind.HIGHER_OR_LOWER,
          QuestionKind.SING_THE_MOVE)
PROBED = 3  # questions of a stage that tell whether it is known
KNOWN_FROM = 2  # of these right


def cards_of(stage: Stage) -> list[str]:
    """What is remembered of a stage: its facts in every way that it drills, and its bars."""
    out: dict[str, None] = {}
    for drill in stage.drills:
        if drill.facts and drill.kind not in FRESH:
            items = make(replace(drill, order=Order.UP, count=len(drill.facts)), stage.material, random.Random(0))
            out.update(dict.fromkeys(name for item in items for name in item.cards))
        elif drill.kind in (*_BAR_KINDS.values(), QuestionKind.WRITE_WHAT_YOU_HEAR):
            out[card(f"{BARS_OF}{stage.name}", drill.way)] = None
    return list(out)


def lay_cards(progress: Progress, passed: Sequence[Stage], now: datetime) -> None:
    """Remember what these stages teach as known, so that it is asked again, a few things a day."""
    names = [n for stage in passed for n in cards_of(stage)]
    for i, name in enumerate(names):
        # In turn over the days, so that every stage comes back early and late.
        progress.recall.lay(name, now - timedelta(days=LAID_DAYS * (i * 3 % len(names)) / len(names)))


def probes(stage: Stage, rng: random.Random, progress: Progress) -> list[Item]:
    """A few questions that tell whether a stage is known: its cells named and written, a bar read and sung."""
    items = [s.item for s in new_steps(stage, rng, MOST_NEW * 2, progress) if brings(s.item, stage)]
    by_kind = [[i for i in items if i.kind is kind] for kind in PROBES]
    turns = itertools.chain.from_iterable(itertools.zip_longest(*(rng.sample(some, len(some)) for some in by_kind)))
    return [replace(i, known=taught(stage.number)) for i in turns if i is not None][:PROBED]


# --- a question for what is remembered ---

def item_for(name: str, reached: Sequence[Stage], rng: random.Random, progress: Progress | None = None) -> Item | None:
    """A question for a card, made only of what the stages reached have taught; None where there is none.

    progress: of the pupil, for new bars as difficult as suits and other than the last ones.
    """
    about, way = split_card(name)
    known = taught(reached[-1].number, reached) if reached else frozenset()
    if about in OWN_CARDS:
        return _from_drill(OWN_CARDS[about], reached, rng, progress or Progress())
    if about.startswith(BARS_OF):
        return _new_bar(about.removeprefix(BARS_OF), way, reached, known, rng, progress or Progress())
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


def _from_drill(kind: QuestionKind, reached: Sequence[Stage], rng: random.Random, progress: Progress) -> Item | None:
    """A question of a kind as the last stage that has it asks it, of a new bar where it is asked of bars."""
    known = taught(reached[-1].number, reached)
    for stage in reversed(reached):
        drills = [d for d in stage.drills if d.kind is kind]
        if drills and not stage.unseen:
            drill = replace(rng.choice(drills), count=1)
            bars = kind in FRESH and not drill.facts
            items = make(drill, fresh(stage, progress, known, rng, 3) if bars else stage.material, rng)
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
_BAR_KINDS = {Way.CELL_TO_VOICE: QuestionKind.READ_AND_SING, Way.AT_SIGHT: QuestionKind.SING_AT_SIGHT,
              Way.BY_EAR: QuestionKind.WHICH_BAR, Way.CELL_TO_HAND: QuestionKind.CLAP_THE_RHYTHM,
              Way.CELL_TO_NAME: QuestionKind.FIND_THE_WRONG_CELL}


def _new_bar(stage_name: str, way: Way | None, reached: Sequence[Stage], known: frozenset[str], rng: random.Random,
             progress: Progress) -> Item | None:
    """A question of a new bar in the manner of a stage; None where the stage is not reached."""
    stage = next((s for s in reached if s.name == stage_name and not s.by_ear), None)
    kind = _BAR_KINDS.get(way, QuestionKind.WRITE_WHAT_YOU_HEAR) if way else QuestionKind.WRITE_WHAT_YOU_HEAR
    if stage is None:
        return None
    m = _at_sight(stage, progress, known, rng) if kind is QuestionKind.SING_AT_SIGHT else fresh(stage, progress, known, rng, 2)
    return next(iter(make(Drill(kind, order=Order.UP, count=1), m, rng)), None)


def _bar_item(about: str, way: Way | None, stage: Stage, rng: random.Random) -> Item | None:
    kind = _BAR_KINDS.get(way, QuestionKind.WRITE_WHAT_YOU_HEAR) if way else QuestionKind.WRITE_WHAT_YOU_HEAR
    found = make(Drill(kind, order=Order.UP, count=len(stage.material.groups)), stage.material, rng)
    return next((i for i in found if i.about == (about,)), None)


def closing(progress: Progress, reached: Sequence[Stage], now: datetime, rng: random.Random) -> Item:
    """Something that can be done: what is held longest, to be sung where that is among it; else a wide move."""
    held = progress.recall.surest(now, progress.recall.cards)
    sung = [n for n in held if split_card(n)[1] in SUNG_WAYS and "whole" not in n]
    for name in [*sung[:3], *held[:5]]:
        item = item_for(name, reached, rng, progress)
        if item is not None:
            return item
    return heard_move(*rng.choice([(Pitch("C", 4), Pitch("C", 5)), (Pitch("C", 5), Pitch("C", 4))]))
