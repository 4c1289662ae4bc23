"""Simulated pupils of the course: how much is due, how long sittings last, and whether anyone passes without reading.

    python tests/benchmarks/course.py [--days 120] [--runs 100] [--seed 1] [--only load|reading] [--minutes 8]
                                      [--stage 6] [--pupil rememberer]

load: a diligent, a forgetful and an absent pupil for so many days. Each remembers by a forgetting curve of its own, that
is not the one of the course's schedule. `pile`: of what is due at the end, in sittings; `minutes`: of the sittings, the
median, the 95th of 100 and the longest; `wrong_back`: share of the wrong answers that came again, in another sitting,
within two days, those of the last two days left out (of the absent pupil: within two days on which it came, those of the
last two on which it came left out).
reading: so many runs each of pupils who read nothing, spread over the stages that ask for reading, and of one who
learns; each run is a fortnight of sittings. A parrot says what was said last and sings the note it heard; a guesser
takes any answer of the right kind; one who remembers knows every bar, and every line it heard, that it was told the
answer of, but no single cell. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import statistics
import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

from companion.course import (  # noqa: E402
    CHILD_MINUTES,
    Item,
    Judged,
    Progress,
    QuestionKind,
    Stage,
    Step,
    TuneToHear,
    Wants,
    Why,
    brings,
    item_for,
    plan,
    seconds_of,
    stages,
)
from companion.language import English  # noqa: E402
from companion.lesson import Sitting, SittingIO  # noqa: E402
from companion.match import Verdict  # noqa: E402

START = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)
ENGLISH = English()
READERS = ("parrot", "guesser", "rememberer", "learner")
LEARNING_SITTINGS = 30  # in which one who learns is to pass a stage
READS_NOTHING_SITTINGS = 14


@dataclass
class Mind:
    """What a pupil remembers. first_days: until a thing just learned is recalled nine times of ten; growth: how many times
    as long after each success; slip: share of answers that go wrong all the same; new: chance for what was never met."""

    first_days: float
    growth: float
    slip: float
    new: float
    rng: random.Random
    kept: dict[str, tuple[datetime, float]] = field(default_factory=dict)

    def knows(self, item: Item, now: datetime) -> bool:
        if self.rng.random() < self.slip:
            return False
        return all(self.rng.random() < self._chance(c, now) for c in item.cards[:1])

    def _chance(self, name: str, now: datetime) -> float:
        if name not in self.kept:
            return self.new
        at, days = self.kept[name]
        return float(0.9 ** ((now - at).total_seconds() / 86400 / days))

    def practise(self, item: Item, right: bool, now: datetime) -> None:
        for name in item.cards[:1]:
            at, days = self.kept.get(name, (now, self.first_days))
            apart = (now - at).total_seconds() / 86400
            # Only what is recalled after a pause grows firmer; what was told is known again for the first time.
            grown = days * self.growth if right and apart > days / 4 else days
            self.kept[name] = (now, grown if right else max(self.first_days, days / 2))


@dataclass
class Pupil:
    """Answers questions. clock: moves on with each answer. pace: times the usual time. reader: how answers are found."""

    clock: datetime
    rng: random.Random
    pace: float = 1.0
    mind: Mind | None = None
    item: Item | None = None
    asked: list[tuple[Step | None, Item, bool, datetime]] = field(default_factory=list)

    def now(self) -> datetime:
        return self.clock

    def io(self) -> SittingIO:
        return SittingIO(ENGLISH, self.read, lambda text: None, lambda cells: None, self.sound)

    def sound(self, item: Item | TuneToHear) -> None:
        if isinstance(item, Item):
            self.item = item

    def read(self) -> str | None:
        assert self.item is not None
        self.clock += timedelta(seconds=seconds_of(self.item) * self.pace * self.rng.lognormvariate(0, 0.35))
        return self.answer(self.item)

    def answer(self, item: Item) -> str:
        assert self.mind is not None
        right = self.mind.knows(item, self.clock)
        self.mind.practise(item, right, self.clock)
        return right_answer(item) if right else wrong_answer(item)


def right_answer(item: Item) -> str:
    return "+" if item.wants in (Wants.SUNG, Wants.CLAPPED) else item.answer


def wrong_answer(item: Item) -> str:
    """An answer of the right kind that is not right."""
    return {Wants.SUNG: "-", Wants.CLAPPED: "-", Wants.CELLS: "⠟⠟⠟",
            Wants.NAME: "number sign" if item.answer != "number sign" else "tie",
            Wants.CHOICE: "2" if item.answer == "1" else "1", Wants.DIRECTION: "same" if item.answer != "same" else "higher",
            Wants.OCTAVE: "7", Wants.YES_OR_NO: "no" if item.answer == "yes" else "yes"}.get(item.wants, "17")


@dataclass
class Recorder:
    """Remembers answers as a diary does, and notes each for the figures."""

    progress: Progress
    rows: list[tuple[datetime, Item, Judged, bool]] = field(default_factory=list)

    def record(self, item: Item, judged: Judged, stage: Stage | None, now: datetime, helped: bool = False,
               seconds: float | None = None) -> bool:
        self.rows.append((now, item, judged, helped))
        return self.progress.record(item, judged, stage, now, helped, seconds)


# --- load ---

def days_of(kind: str, days: int, rng: random.Random) -> list[int]:
    """On which days a pupil comes."""
    if kind != "absent":
        return list(range(days))
    away = set(range(30, 44)) | set(range(75, 96))
    return [d for d in range(days) if d not in away and rng.random() < 0.6]


MINDS = {"diligent": (1.5, 2.2, 0.04, 0.6), "forgetful": (0.7, 1.7, 0.08, 0.45), "absent": (1.2, 2.0, 0.05, 0.55)}


def load(kind: str, days: int, minutes: float, seed: int) -> dict[str, Any]:
    """A pupil for so many days."""
    rng = random.Random(f"{kind} {seed}")
    pupil = Pupil(START, rng, pace=1.3, mind=Mind(*MINDS[kind], random.Random(seed)))
    progress, some = Progress(), stages()
    recorder = Recorder(progress)
    lasted, brought, early, apart, counts = [], [], [], [], []
    came = days_of(kind, days, rng)
    for day in came:
        pupil.clock = START + timedelta(days=day)
        began = pupil.clock
        here = progress.stage(some)
        steps = plan(progress, some, pupil.clock, rng, minutes=minutes)
        new = [s.item for s in steps if s.why is Why.NEW]
        brought += [brings(i, here) for i in new]
        early.append(any(s.item.wants is Wants.SUNG for s in steps[:5]))
        apart += [a.item.kind is not b.item.kind for a, b in itertools.pairwise(steps)]
        counts.append(len(steps))
        tally = Sitting(recorder, pupil.io(), rng=rng).go(steps, pupil.now, minutes)
        progress.take_time(tally.usual_s, tally.taken_s)
        lasted.append((pupil.clock - began).total_seconds() / 60)
    end = START + timedelta(days=days)
    reached = [s for s in some if s.number <= progress.stage(some).number]
    due = [i for n in progress.due(reached, end) if (i := item_for(n, reached, rng, progress)) is not None]
    pile_s = sum(seconds_of(i) for i in due) * progress.pace
    backs, within = _backs(recorder, came if kind == "absent" else None, end)
    answered = [r for r in recorder.rows if not r[3]]
    return {"sittings": len(came), "stages_passed": len(progress.passed), "cards": len(progress.recall.cards),
            "due_at_end": len(due), "pile": round(pile_s / 60 / minutes, 2),
            "minutes": [round(statistics.median(lasted), 1), round(sorted(lasted)[int(0.95 * len(lasted))], 1),
                        round(max(lasted), 1)],
            "right": round(sum(r[2].verdict is Verdict.RIGHT for r in answered) / len(answered), 3),
            "wrong": backs, "wrong_back": round(within / max(1, backs), 3), "questions": round(statistics.mean(counts), 1),
            "uses_the_new": round(sum(brought) / max(1, len(brought)), 3), "song_within_five": round(sum(early) / len(early), 3),
            "kind_changes": round(sum(apart) / max(1, len(apart)), 3)}


def _backs(recorder: Recorder, came: list[int] | None, end: datetime) -> tuple[int, int]:
    """(things answered wrong, how many of them were asked again in a later sitting within two days)."""
    moments: dict[str, list[tuple[datetime, bool]]] = {}
    for at, _unused, judged, _again in recorder.rows:
        for name, verdict in judged.cards.items():
            moments.setdefault(name, []).append((at, verdict is Verdict.WRONG))
    wrong = within = 0
    for answers in moments.values():
        for i, (at, was_wrong) in enumerate(answers):
            last = end - timedelta(days=2) if came is None else START + timedelta(days=came[-2])
            if not was_wrong or at > last - timedelta(hours=1):
                continue
            later = next((t for t, _w in answers[i + 1:] if t.date() > at.date()), None)
            same_day = any(t.date() == at.date() and w for t, w in answers[i + 1:])
            if same_day:
                continue  # counted by its last wrong answer of the day
            wrong += 1
            if later is None:
                continue
            if came is None:
                within += (later.date() - at.date()).days <= 2
            else:
                between = [d for d in came if at.date() < (START + timedelta(days=d)).date() <= later.date()]
                within += len(between) <= 2
    return wrong, within


# --- reading ---

@dataclass
class Parrot(Pupil):
    """Says what was said last, sings the note that was sounded, and writes what was last told."""

    last: dict[Wants, str] = field(default_factory=dict)

    def answer(self, item: Item) -> str:
        if item.wants is Wants.SUNG:
            return "+" if all(n.midi == (item.first or n.midi) for n in item.sung) else "-"
        said = self.last.get(item.wants, "")
        self.last[item.wants] = item.answer  # it is told, right or wrong
        return said or wrong_answer(item)


@dataclass
class Guesser(Pupil):
    """Takes any answer of the right kind; of moves it sings one of five."""

    stage: Stage | None = None

    def answer(self, item: Item) -> str:
        if item.wants is Wants.SUNG:
            moves = [b.pitch.diatonic - a.pitch.diatonic for a, b in itertools.pairwise(item.sung)]
            return "+" if all(self.rng.choice((-2, -1, 0, 1, 2)) == m for m in moves) else "-"
        assert self.stage is not None
        if item.kind in (QuestionKind.OTHER_NOTE, QuestionKind.FROM_THE_BACK):
            return self.rng.choice("CDEFGAB")
        others = [f for d in self.stage.drills if d.kind is item.kind for f in d.facts]
        if item.wants in (Wants.NAME, Wants.CELLS) and others:
            from companion.course import fact

            chosen = fact(self.rng.choice(others))
            return chosen.name if item.wants is Wants.NAME else chosen.cells
        choices = {Wants.DIRECTION: ("higher", "lower", "same"), Wants.YES_OR_NO: ("yes", "no"), Wants.CHOICE: ("1", "2"),
                   Wants.OCTAVE: ("3", "4", "5"), Wants.NUMBER: ("1", "2", "3", "4"), Wants.PLACE: ("1", "2", "3", "4", "5")}
        return self.rng.choice(choices[item.wants]) if item.wants in choices else wrong_answer(item)


@dataclass
class Rememberer(Guesser):
    """Knows every bar and every line that it was told the answer of; of single cells it guesses."""

    met: set[tuple[object, ...]] = field(default_factory=set)

    def answer(self, item: Item) -> str:
        if item.group is None and not item.title:
            return super().answer(item)
        key = (item.kind, item.cells, item.choices, item.first, tuple(n.midi for n in item.played))
        known = key in self.met
        self.met.add(key)
        return right_answer(item) if known else super().answer(item)


def reading(kind: str, runs: int, seed: int, minutes: float, only: str = "") -> dict[str, Any]:
    """How many runs pass the stage that they are in. only: one stage, "" for all in turn."""
    some = [s for s in stages() if not s.by_ear and only in ("", s.key)]
    passed: list[str] = []
    took: list[int] = []
    for run in range(runs):
        stage = some[run % len(some)]
        rng = random.Random(f"{kind} {seed} {run}")
        pupil: Pupil = {"parrot": lambda r: Parrot(START, r), "guesser": lambda r: Guesser(START, r, stage=stage),  # noqa: B023
                        "rememberer": lambda r: Rememberer(START, r, stage=stage),  # noqa: B023
                        "learner": lambda r: Pupil(START, r, mind=Mind(1.5, 2.2, 0.04, 0.6, r))}[kind](rng)
        progress = Progress()
        for before in stages():
            if before.number < stage.number:
                progress.pass_stage(before, START)
        most = LEARNING_SITTINGS if kind == "learner" else READS_NOTHING_SITTINGS
        for day in range(most):
            pupil.clock = START + timedelta(days=day)
            steps = plan(progress, stages(), pupil.clock, rng, minutes=minutes)
            Sitting(progress, pupil.io(), rng=rng).go(steps, pupil.now, minutes)
            if progress.has_passed(stage):
                passed.append(stage.key)
                took.append(day + 1)
                break
    return {"runs": runs, "passed": len(passed), "stages": sorted(set(passed), key=float),
            "sittings": statistics.median(took) if took else None}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=CHILD_MINUTES)
    parser.add_argument("--stage", default="", help="reading: only this stage")
    parser.add_argument("--pupil", choices=READERS, action="append", help="reading: only these")
    parser.add_argument("--only", choices=("load", "reading"))
    options = parser.parse_args()
    out: dict[str, Any] = {"days": options.days, "budget_minutes": options.minutes, "seed": options.seed}
    if options.only != "reading":
        out |= {kind: load(kind, options.days, options.minutes, options.seed) for kind in MINDS}
    if options.only != "load":
        out |= {kind: reading(kind, options.runs, options.seed, options.minutes, options.stage)
                for kind in options.pupil or READERS}
    print(json.dumps(out))


if __name__ == "__main__":
    main()
