"""One sitting: what is due, then the new step, and at the end something that can be done.

`plan` chooses; `Sitting` goes through it with whoever is there. Reading, telling, sounding and listening are
passed in, so the same sitting runs at a terminal, on a page and in a test.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from companion.course.answer import HEARD_RIGHT, HEARD_WRONG, Judged, check, check_take, how_it_goes
from companion.course.drill import (
    BY_EAR,
    CELL_TO_NAME,
    CELL_TO_VOICE,
    EAR_TO_VOICE,
    KINDS,
    NAME_TO_CELL,
    Drill,
    Item,
    beats_of,
    card,
    heard_move,
    make,
    name_cell,
    sing_cell,
    sung_move,
    whole_tune,
    write_cell,
)
from companion.course.facts import fact
from companion.course.progress import Progress
from companion.course.stage import Stage, taught
from companion.errors import Trouble
from companion.language.cues import in_american, number
from companion.match import Verdict
from companion.match import move_kind as move_name
from companion.tune import STEPS, Pitch

if TYPE_CHECKING:
    from companion.ear import PitchTrack

MOST_DUE = 8  # things to come back to in one sitting: the new step keeps the most of it
MOST_NEW = 16  # new questions; with the rest some five to ten minutes, as long as a child sits well
DUE, NEW, LAST = "due", "new", "last"
SUNG_WAYS = (CELL_TO_VOICE, EAR_TO_VOICE)
#: Drills that are remembered under a name of their own, not under a fact.
_OWN = {"counting a note": "how often", "where it turns": "where it turns", "when to mark": "mark or no mark",
        "counting beats": "how many beats"}


@dataclass(frozen=True)
class Step:
    """A question, why it is asked (DUE, NEW or LAST), and the stage whose evidence its answer is, if any."""

    item: Item
    why: str
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
        if item is not None and (item.wants == "sung" or not sung_only):
            due.append(Step(item, DUE, here if _belongs(item, here) else None))
    asked = here if not sung_only else replace(here, drills=tuple(d for d in here.drills if d.way in SUNG_WAYS))
    items = [] if progress.finished(stages) else new_items(asked, rng, most_new, progress)
    new = [Step(item, NEW, here) for item in items if item.wants == "sung" or not sung_only]
    last = closing(progress, reached, now, rng)
    if sung_only and last.wants != "sung":
        last = sung_move(Pitch("C", 4), Pitch("G", 4))
    known = taught(here.number, stages)
    return [replace(step, item=replace(step.item, known=known)) for step in (*due, *new, Step(last, LAST))]


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


def item_for(name: str, reached: Sequence[Stage], rng: random.Random) -> Item | None:
    """A question for a card, made only of what the stages reached have taught; None where there is none."""
    about, _, way = name.partition(" | ")
    known = taught(reached[-1].number, reached) if reached else frozenset()
    notes = [s for s in STEPS if s in known] if "quaver" in known else []
    if about in _OWN:
        return _from_drill(_OWN[about], reached, rng)
    if _is_move(about):
        return _move_item(about, way, notes, rng)
    if about.startswith("length of "):
        f = fact(about.removeprefix("length of "))
        return beats_of(f) if f.signs <= known else None
    for stage in reversed(reached):
        if stage.by_ear or stage.unseen:
            continue
        if about == f"{stage.material.name} whole":
            return whole_tune(stage.material)
        if about.startswith(f"{stage.material.name} bar "):
            return _bar_item(about, way, stage, rng)
    try:
        f = fact(about)
    except (KeyError, ValueError):
        return None
    if not f.signs <= known:
        return None
    if way == CELL_TO_NAME:
        return name_cell(f)
    if way == NAME_TO_CELL:
        return write_cell(f)
    if way == CELL_TO_VOICE and f.kind == "note":
        others = [n for n in notes if n != f.name[0]]
        start = rng.choice(others) if others else f.name
        return sing_cell(start, about, Pitch(start[0], 4), Pitch(f.name[0], 4))
    if way == CELL_TO_VOICE and f.kind == "placed note":
        placed = [n for s in reached for d in s.drills if d.kind == "sing the cell" for n in d.facts
                  if fact(n).kind == "placed note" and n != about]
        if placed:
            start = rng.choice(placed)
            return make(Drill("sing the cell", (start, about), "up", 2), None, rng)[-1]
    return None


def _is_move(about: str) -> bool:
    return about == "level" or about.split(" ")[0] in ("semitone", "step", "skip", "leap")


def _from_drill(kind: str, reached: Sequence[Stage], rng: random.Random) -> Item | None:
    for stage in reversed(reached):
        drills = [d for d in stage.drills if d.kind == kind]
        if drills and not stage.unseen:
            items = make(replace(rng.choice(drills), count=1), stage.material, rng)
            if items:
                return items[0]
    return None


def _move_item(about: str, way: str, notes: list[str], rng: random.Random) -> Item | None:
    pitches = [Pitch(s, 4) for s in notes]
    if way == CELL_TO_VOICE:
        pairs = [(a, b) for a in pitches for b in pitches if move_name(b.midi - a.midi) == about]
        if pairs:
            a, b = rng.choice(pairs)
            return sing_cell(a.step, b.step, a, b)
    row = [Pitch(s, 4) for s in STEPS]
    pairs = [(a, b) for a in row for b in row if move_name(b.midi - a.midi) == about]
    if not pairs:
        return None
    return heard_move(*rng.choice(pairs)) if way == BY_EAR else sung_move(*rng.choice(pairs))


def _bar_item(about: str, way: str, stage: Stage, rng: random.Random) -> Item | None:
    kinds = {CELL_TO_VOICE: "read and sing", BY_EAR: "which bar", CELL_TO_NAME: "find the wrong cell"}
    kind = kinds.get(way, "write what you hear")
    count = len(stage.material.groups)
    found = make(Drill(kind, order="up", count=count), stage.material, rng)
    return next((i for i in found if i.about == (about,)), None)


def closing(progress: Progress, reached: Sequence[Stage], now: datetime, rng: random.Random) -> Item:
    """Something that can be done: what is held longest, to be sung where that is among it; else a wide move."""
    held = progress.recall.surest(now, progress.recall.cards)
    sung = [n for n in held if n.endswith((CELL_TO_VOICE, EAR_TO_VOICE)) and "whole" not in n]
    for name in [*sung[:3], *held[:5]]:
        item = item_for(name, reached, rng)
        if item is not None:
            return item
    return heard_move(*rng.choice([(Pitch("C", 4), Pitch("C", 5)), (Pitch("C", 5), Pitch("C", 4))]))


@dataclass
class Tally:
    """What a sitting came to."""

    asked: int = 0
    right: int = 0
    passed: list[Stage] = field(default_factory=list)
    stopped: bool = False

    def lines(self) -> list[str]:
        """One sentence of what went well, one on each stage passed."""
        if not self.asked:
            return ["No answer was given today."]
        out = [f"{number(self.right).capitalize()} of {number(self.asked)} right." if self.right else
               f"{number(self.asked).capitalize()} tried. They come back next time."]
        out += [f"{s.label} is passed." for s in self.passed]
        return out


#: What may be typed instead of an answer.
COMMANDS = {"tune": "hear this stage's tune", "?": "say it again, with the dots of what is shown",
            "skip": "go on without an answer", "stop": "end; all that was answered is kept",
            HEARD_RIGHT: "the spoken or sung answer was right", HEARD_WRONG: "it was not",
            "key": "after a sung answer: how it should go, for the helper"}
#: Once in a sitting, where nobody listens: how a sung answer is given, for a helper who cannot know it.
BY_HAND = ("Once it is sung, type plus (+) if it was right, minus (-) if not; type key to be told how it should go. "
           "Started with --listen, the program hears it itself.")


@dataclass
class Hands:
    """How a sitting meets the world: at a terminal, on a page, in a test.

    read: gives the next typed line, None where there are no more. tell: says a line. show: shows cells.
    sound: sounds an item's first note or line. listen: hears a sung answer, or None where nobody can listen;
    it gives None where nothing was heard.
    """

    read: Callable[[], str | None]
    tell: Callable[[str], object]
    show: Callable[[str], object]
    sound: Callable[[Item], object]
    listen: Callable[[Item], PitchTrack | None] | None = None
    american: bool = False


@dataclass
class Sitting:
    """Goes through questions with a pupil. keep: called after every answer, so that none is ever lost.

    tune: what "tune" sounds, None where it is not to be heard.
    """

    progress: Progress
    hands: Hands
    keep: Callable[[], None] = lambda: None
    tune: Item | None = None
    told_by_hand: bool = False

    def go(self, steps: Sequence[Step], now: Callable[[], datetime]) -> Tally:
        """All steps in turn; each answer is remembered as it comes."""
        tally = Tally()
        for step in steps:
            judged = self._ask(step, now, tally)
            if judged is None:
                tally.stopped = True
                break
        return tally

    def _ask(self, step: Step, now: Callable[[], datetime], tally: Tally) -> Judged | None:
        """One question: asked, answered, taught and, where the answer was not right, tried once more."""
        item = step.item
        helped = False
        judged: Judged | None = None
        for attempt in itertools.count():
            if attempt == 0 or judged is not None:
                self._put(item)
            judged = None
            line = self._answer(item)
            if line is None or (isinstance(line, str) and line.strip().lower() == "stop"):
                return None
            if isinstance(line, str) and line.strip().lower() == "skip":
                return Judged(Verdict.UNSURE, "")
            if line == "":
                self._put(item)  # Enter alone: once more
                continue
            if isinstance(line, str) and line.strip() == "?":
                self._put(item, again=True)
                helped = True
                continue
            if isinstance(line, str) and line.strip().lower() == "tune" and self.tune is not None:
                self.hands.sound(self.tune)
                continue
            if self._is_key(line):
                self.hands.tell(self._in_words(how_it_goes(item)))
                continue
            judged = self._judge(item, line)
            self.hands.tell(judged.say)
            if judged.verdict == Verdict.UNSURE and attempt < 4:
                # Neither right nor wrong: once more, without a word on it.
                judged = None
                if item.wants == "sung":
                    self.hands.sound(item)
                continue
            if judged.verdict == Verdict.UNSURE:
                self.hands.tell("We leave this one for now.")
            break
        assert judged is not None
        if judged.verdict != Verdict.UNSURE:
            tally.asked += 1
            tally.right += judged.verdict == Verdict.RIGHT
            if self.progress.record(item, judged, step.stage, now(), helped) and step.stage is not None:
                tally.passed.append(step.stage)
            self.keep()
        if judged.verdict == Verdict.WRONG:
            return self._again(item)
        return judged

    def _again(self, item: Item) -> Judged | None:
        """The same once more, right after it was taught; this answer is for learning, and is not counted."""
        self._put(item)
        while True:
            line = self._answer(item)
            if line is None or (isinstance(line, str) and line.strip().lower() == "stop"):
                return None
            if isinstance(line, str) and line.strip().lower() == "skip":
                return Judged(Verdict.UNSURE, "")
            if line == "" or (isinstance(line, str) and line.strip() == "?"):
                self._put(item, again=line != "")
            elif isinstance(line, str) and line.strip().lower() == "tune" and self.tune is not None:
                self.hands.sound(self.tune)
            elif self._is_key(line):
                self.hands.tell(self._in_words(how_it_goes(item)))
            else:
                break
        judged = self._judge(item, line)
        self.hands.tell(judged.say)
        return judged

    def _in_words(self, text: str) -> str:
        return in_american(text) if self.hands.american else text

    @staticmethod
    def _is_key(line: str | PitchTrack) -> bool:
        return isinstance(line, str) and line.strip().lower() == "key"

    def _put(self, item: Item, again: bool = False) -> None:
        self.hands.tell(self._in_words(item.ask))
        for n, cells in enumerate(item.choices, 1):
            self.hands.tell(f"Number {number(n)}:")
            self.hands.show(cells)
        if item.cells:
            for cells in item.cells.split("\n"):
                self.hands.show(cells)
        if again and item.dots:
            self.hands.tell(f"{item.dots[:1].upper()}{item.dots[1:]}.")
        self.hands.sound(item)

    def _answer(self, item: Item) -> str | PitchTrack | None:
        """A sung answer where somebody listens, else a typed line."""
        if item.wants == "sung" and self.hands.listen is not None:
            try:
                track = self.hands.listen(item)
            except Trouble as trouble:
                # No microphone, or it has gone: said once, and the sitting goes on by keys.
                self.hands.tell(str(trouble))
                self.hands.listen = track = None
            if track is not None:
                return track
        if item.wants == "sung" and self.hands.listen is None and not self.told_by_hand:
            self.told_by_hand = True
            self.hands.tell(BY_HAND)
        return self.hands.read()

    def _judge(self, item: Item, line: str | PitchTrack) -> Judged:
        if not isinstance(line, str):
            return check_take(item, line, self.hands.american)
        text = line.strip()
        if item.wants != "sung" or text in (HEARD_RIGHT, HEARD_WRONG):
            return check(item, text, self.hands.american)
        if _is_file(text):
            try:
                return check_take(item, text, self.hands.american)
            except Trouble as trouble:
                return Judged(Verdict.UNSURE, str(trouble))
        return Judged(Verdict.UNSURE, "Sing it, then type plus (+) if it was right or minus (-) if not. "
                      "Or give the name of a recording.")


def _is_file(text: str) -> bool:
    """Whether what was typed names a file; what can be no name (too long, a null in it) names none."""
    try:
        return bool(text) and Path(text).is_file()
    except (OSError, ValueError):
        return False


__all__ = ["DUE", "KINDS", "LAST", "NEW", "Sitting", "Step", "Tally", "card", "closing", "item_for", "plan"]
