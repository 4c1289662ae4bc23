"""What a pupil has answered, which stages are passed and why, and what is remembered until when.

All of it turns to plain JSON and back, and is kept in the diary under the name "course".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any, TypeVar

from companion.course.answer import Judged
from companion.course.drill import Item, QuestionKind, Way, card, shown_besides, split_card
from companion.course.fresh import difficulty
from companion.course.recall import Recall, utc
from companion.course.stage import Evidence, Stage
from companion.diary import Diary, Pupil, Tally
from companion.errors import Trouble
from companion.match import MoveKind, Verdict
from companion.messages import _

T = TypeVar("T")

OWNER, NAME = "course", "progress"  # where the diary keeps it
VERSION = 1
KEPT_ANSWERS = 40  # of each stage and way: more than any evidence asks for
KEPT_BARS = 150  # that were met lately: those of some weeks
KEPT_DAYS = 60  # of reading
ENOUGH_NOTES = 20  # in a week, before they are a rate
PACES = (0.5, 3.0)  # how much quicker or slower than the usual a pupil may be taken to be
NEW_PACE = 0.3  # share of the last sitting in the pace
REGULAR_DAYS = 28  # by which it is told how often a pupil comes
ENOUGH_MOVES = 3  # of a kind sung elsewhere, before they count as a review
HELD = 0.8  # share of them right that counts as recalled


#: What is heard is shown by singing it, and what is sung by ear by singing it from cells.
_GREATER: dict[Way | None, tuple[Way, ...]] = {Way.BY_EAR: (Way.EAR_TO_VOICE, Way.CELL_TO_VOICE),
                                               Way.EAR_TO_VOICE: (Way.CELL_TO_VOICE,)}
_MOVES = frozenset(MoveKind)
_WAYS, _VERDICTS = frozenset(Way), frozenset(Verdict)


class PassedBy(StrEnum):
    """Why a stage counts as passed. The values are those kept in the diary."""

    EVIDENCE = "evidence"
    WORD = "word"  # of an adult
    PLACEMENT = "placement"  # the test that finds where to begin


@dataclass(frozen=True)
class Shown:
    """How far one piece of evidence has got: right of the last answers, days on which it held, and whether all."""

    evidence: Evidence
    right: int
    answers: int
    days: int
    met: bool


@dataclass(frozen=True)
class Fluency:
    """Notes a minute that were read aloud or sung rightly, in the last seven days and the seven before, None where too few
    were."""

    this_week: int | None = None
    week_before: int | None = None


@dataclass(frozen=True)
class Standing:
    """Where a pupil is in the course.

    here: the first stage that is not passed, the last where all are (finished). shown: how far its evidence has got.
    passed: how many are passed of `stages`; last: the last of them, and by what. due: how many things are due now;
    next_due: when the next is, in the time zone of `now`, where none is due and something is remembered.
    following: the stage after `here`. fluency: how quickly notes are read.
    """

    here: Stage
    finished: bool
    shown: tuple[Shown, ...]
    stages: int
    passed: int
    last: Stage | None
    last_by: PassedBy
    due: int
    next_due: datetime | None
    following: Stage | None
    fluency: Fluency = Fluency()


@dataclass
class Progress:
    """answers: each {"at", "stage", "way", "verdict"}, oldest first. passed: stage number to {"at", "by"}, by a
    `PassedBy`. since: stage number to the moment from which its answers count. seen: cells of the bars that were met
    lately, oldest first. pace: how many times as long as usual the pupil takes for a question. read: a day
    ("2026-09-01") to the notes that were read rightly on it and the seconds they took."""

    answers: list[dict[str, Any]] = field(default_factory=list)
    passed: dict[str, dict[str, str]] = field(default_factory=dict)
    since: dict[str, str] = field(default_factory=dict)
    recall: Recall = field(default_factory=Recall)
    moves_until: str = ""
    seen: list[str] = field(default_factory=list)
    pace: float = 1.0
    read: dict[str, list[float]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {"version": VERSION, "answers": self.answers, "passed": self.passed, "since": self.since,
                "cards": self.recall.cards, "moves_until": self.moves_until, "seen": self.seen, "pace": self.pace,
                "read": self.read}

    @staticmethod
    def from_json(data: dict[str, Any]) -> Progress:
        """Raises Trouble where the data is from a newer version or is not of this form."""
        if data.get("version", VERSION) > VERSION:
            raise Trouble(_("What is kept of this course was written by a newer version of companion. Bring "
                            "companion up to date."))
        try:
            progress = Progress(list(data["answers"]), dict(data["passed"]), dict(data["since"]),
                                Recall(dict(data["cards"])), str(data.get("moves_until", "")),
                                list(data.get("seen", [])), float(data.get("pace", 1.0)),
                                {day: [float(x) for x in row] for day, row in data.get("read", {}).items()})
            progress._check()
            return progress
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise Trouble(_("What is kept of this course is damaged. Begin the course again with --begin-again; the "
                            "diary itself is whole.")) from error

    def _check(self) -> None:
        """Raises ValueError, KeyError or TypeError for what was not written here."""
        for answer in self.answers:
            # Sets of values: this is done after every answer, and an enum made of each value takes some eight times as long.
            if not isinstance(answer["stage"], str) or answer["way"] not in _WAYS or answer["verdict"] not in _VERDICTS:
                raise ValueError(answer)
            _moment(answer["at"])
        for passed in self.passed.values():
            PassedBy(passed["by"])
            _moment(passed["at"])
        for moment in (*self.since.values(), *filter(None, [self.moves_until])):
            _moment(moment)
        if not all(isinstance(cells, str) for cells in self.seen) or not PACES[0] <= self.pace <= PACES[1]:
            raise ValueError(self.pace)
        for day, (notes, seconds) in self.read.items():
            _moment(day)
            if notes < 0 or seconds < 0:
                raise ValueError(day)
        self.recall.check()

    # --- stages ---

    def stage(self, stages: Sequence[Stage]) -> Stage:
        """The first stage that is not passed, the last one where all are."""
        return next((s for s in stages if not self.has_passed(s)), stages[-1])

    def finished(self, stages: Sequence[Stage]) -> bool:
        return all(self.has_passed(s) for s in stages)

    def has_passed(self, stage: Stage) -> bool:
        return stage.key in self.passed

    def has_begun(self, stage: Stage) -> bool:
        """Whether anything was answered in it."""
        return any(a["stage"] == stage.key for a in self.answers)

    def pass_stage(self, stage: Stage, now: datetime, by: PassedBy = PassedBy.WORD) -> None:
        """Pass a stage, by evidence or by the adult's word."""
        self.passed[stage.key] = {"at": now.isoformat(timespec="seconds"), "by": by.value}

    def take_back(self, stage: Stage, now: datetime) -> None:
        """The adult's word that a stage is to be done again: its evidence is gathered afresh from now."""
        self.passed.pop(stage.key, None)
        self.since[stage.key] = now.isoformat(timespec="seconds")

    # --- answers ---

    def record(self, item: Item, judged: Judged, stage: Stage | None, now: datetime, helped: bool = False,
               seconds: float | None = None) -> bool:
        """Remember an answer; returns True where it completes the evidence of the stage it belongs to.

        stage: the stage whose evidence it is, None for a review of something older. What is not sure is
        neither right nor wrong and is not remembered. seconds: from the question to the answer, where that is known.
        """
        for name, verdict in judged.cards.items():
            self.recall.review(name, verdict, now, helped)
        if judged.verdict is Verdict.RIGHT and not helped:
            # So that nobody is asked on its own for what was done as part of a greater thing.
            for name in sorted(shown_besides(item) - set(judged.cards)):
                self.recall.practised(name, now)
            if seconds:
                self._take_reading(notes_read(item), seconds, now)
        if item.group is not None:
            self.seen = [*(c for c in self.seen if c != item.group.cells), item.group.cells][-KEPT_BARS:]
        if stage is None or judged.verdict == Verdict.UNSURE:
            return False
        self.answers.append({"at": now.isoformat(timespec="seconds"), "stage": stage.key,
                             "way": item.way.value, "verdict": judged.verdict.value})
        same = [i for i, a in enumerate(self.answers) if a["stage"] == stage.key and a["way"] == item.way]
        if len(same) > KEPT_ANSWERS:
            del self.answers[same[0]]
        if self.has_passed(stage) or not all(s.met for s in self.shown(stage)):
            return False
        self.pass_stage(stage, now, PassedBy.EVIDENCE)
        return True

    def _take_reading(self, notes: int, seconds: float, now: datetime) -> None:
        """Remember how many notes were read on a day, and how long it took."""
        if notes:
            before = self.read.get(f"{now:%Y-%m-%d}", [0.0, 0.0])
            self.read[f"{now:%Y-%m-%d}"] = [before[0] + notes, before[1] + seconds]
            self.read = dict(sorted(self.read.items())[-KEPT_DAYS:])

    def shown(self, stage: Stage) -> list[Shown]:
        """How far the evidence of a stage has got.

        A day counts when, at some moment of it, the wanted share of the last answers was right; and it must
        hold now.
        """
        since = self.since.get(stage.key, "")
        out = []
        for e in stage.known:
            answers = [a for a in self.answers if a["stage"] == stage.key and a["way"] == e.way
                       and (not since or _moment(a["at"]) >= _moment(since))]
            days, holds, last, seen = set(), False, 0, 0
            for i, a in enumerate(answers):
                window = answers[max(0, i + 1 - e.of):i + 1]
                last, seen = sum(x["verdict"] == Verdict.RIGHT for x in window), len(window)
                holds = last >= e.right
                if holds:
                    days.add(a["at"][:10])
            out.append(Shown(e, last, seen, len(days), holds and len(days) >= e.days))
        return out

    def fluency(self, now: datetime) -> Fluency:
        """Notes a minute, this week and the week before."""
        def rate(first: int, last: int) -> int | None:
            days = {f"{now - timedelta(days=d):%Y-%m-%d}" for d in range(first, last)}
            notes, seconds = (sum(row[i] for day, row in self.read.items() if day in days) for i in (0, 1))
            return round(60 * notes / seconds) if notes >= ENOUGH_NOTES and seconds else None

        return Fluency(rate(0, 7), rate(7, 14))

    def level(self, stage: Stage) -> int:
        """How difficult the next bars of a stage should be, from the answers to those before (see `difficulty`)."""
        ways = (Way.CELL_TO_VOICE, Way.VOICE_TO_CELL, Way.BY_EAR)
        return difficulty([a["verdict"] == Verdict.RIGHT for a in self.answers if a["stage"] == stage.key and a["way"] in ways])

    def away(self, now: datetime) -> int:
        """Whole days since the last answer, 0 where there is none."""
        return max(0, (now - _moment(self.answers[-1]["at"])).days) if self.answers else 0

    def comes_on(self, now: datetime) -> float:
        """The share of the last REGULAR_DAYS days, or of those since the beginning, on which something was answered; 1 in the
        first week."""
        today = utc(now).date()
        days = {(today - _moment(at).date()).days for at in [
            *(a["at"] for a in self.answers), *(c["last_review"] for c in self.recall.cards.values() if c.get("last_review"))]}
        days = {d for d in days if 0 < d <= REGULAR_DAYS}
        return len(days) / max(days) if days and max(days) >= REGULAR_DAYS / 4 else 1.0

    def take_time(self, usual_s: float, taken_s: float) -> None:
        """Learn the pupil's pace from a sitting: how long its questions usually take, and how long they took."""
        if usual_s > 0 and taken_s > 0:
            self.pace = min(PACES[1], max(PACES[0], (1 - NEW_PACE) * self.pace + NEW_PACE * taken_s / usual_s))

    def hear_moves(self, tallies: Sequence[Tally], now: datetime) -> None:
        """Take over the kinds of move sung elsewhere since the last time (see `Diary.tally`): each kind sung
        often enough counts as one review."""
        for t in tallies:
            judged = t.right + t.wrong
            if judged >= ENOUGH_MOVES:
                verdict = Verdict.RIGHT if t.right >= HELD * judged else Verdict.WRONG
                self.recall.review(card(t.kind, Way.EAR_TO_VOICE), verdict, now)
        self.moves_until = utc(now).isoformat()

    def heard_until(self) -> datetime | None:
        """The moment up to which `hear_moves` has taken over what was sung elsewhere."""
        return _moment(self.moves_until) if self.moves_until else None

    def retired(self, name: str, stages: Sequence[Stage]) -> bool:
        """Whether something remembered is asked no more: a bar of a tune whose stage is passed, for its signs are known
        and come in new bars; and a move by ear while it is sung, or sung by ear while it is sung from cells."""
        about, way = split_card(name)
        greater = _GREATER.get(way, ()) if about in _MOVES and self.recall.holds(name) else ()
        if any(self.recall.holds(card(about, w)) for w in greater):
            return True
        return any(about.startswith(f"{s.tune} bar ") and self.has_passed(s) for s in stages)

    def due(self, stages: Sequence[Stage], now: datetime) -> list[str]:
        """Names of what is to be asked again by now, longest due first."""
        return [n for n in self.recall.due(now) if not self.retired(n, stages)]

    def standing(self, stages: Sequence[Stage], now: datetime) -> Standing:
        """What is known and what comes next."""
        done = [s for s in stages if self.has_passed(s)]
        here = self.stage(stages)
        last = done[-1] if done else None
        due = self.due(stages, now)
        waiting = [self.recall.due_at(n) for n in self.recall.cards if not self.retired(n, stages)] if not due else []
        return Standing(here, self.finished(stages), tuple(self.shown(here)), len(stages), len(done), last,
                        PassedBy(self.passed[last.key]["by"]) if last else PassedBy.WORD, len(due),
                        min(waiting).astimezone(now.tzinfo) if waiting else None,
                        next((s for s in stages if s.number > here.number), None), self.fluency(now))


def notes_read(item: Item) -> int:
    """How many notes a right answer shows to have been read: of a cell that is named, of a bar that is sung; else 0."""
    if item.kind is QuestionKind.NAME_THE_CELL:
        return int(item.wanted_fact.is_note)
    return len(item.sung) if item.kind in (
        QuestionKind.READ_AND_SING, QuestionKind.SING_THE_CELL, QuestionKind.SING_AT_SIGHT) else 0


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def load_progress(diary: Diary, pupil: Pupil) -> Progress:
    """What the diary keeps of a pupil's course; a fresh beginning where there is nothing."""
    kept = diary.kept(pupil, OWNER)
    return Progress.from_json(kept[NAME]) if NAME in kept else Progress()


@dataclass(frozen=True)
class CourseWeek:
    """What the course did in the last seven days: where the pupil stands, answers given and how many of them were right."""

    standing: Standing
    answers: int
    right: int


def week_of_course(diary: Diary, pupil: Pupil, stages: Sequence[Stage]) -> CourseWeek | None:
    """The last seven days; None where the course has not been begun."""
    progress, now = load_progress(diary, pupil), diary.now()
    if not progress.answers and not progress.passed:
        return None
    lately = [a["verdict"] for a in progress.answers if _moment(a["at"]) >= now - timedelta(days=7)]
    return CourseWeek(progress.standing(stages, now), len(lately), sum(v == Verdict.RIGHT for v in lately))


def change_progress(diary: Diary, pupil: Pupil, change: Callable[[Progress], T]) -> T:
    """What `change` gives back, after it changed what the diary keeps of a pupil's course.

    Read, changed and written in one transaction: two sittings at once, or a word of the adult during one, lose nothing.
    """
    results: list[T] = []

    def changed(kept: Any) -> Any:
        progress = Progress.from_json(kept) if kept is not None else Progress()
        results.append(change(progress))
        return progress.as_json()

    diary.change_kept(pupil, OWNER, NAME, changed)
    return results[0]


@dataclass(frozen=True)
class KeptProgress:
    """A pupil's progress in the diary: each answer is there before `record` is done, whoever else writes meanwhile."""

    diary: Diary
    pupil: Pupil

    def record(self, item: Item, judged: Judged, stage: Stage | None, now: datetime, helped: bool = False,
               seconds: float | None = None) -> bool:
        """As `Progress.record`. Raises Trouble where the diary cannot be written."""
        return change_progress(self.diary, self.pupil, lambda p: p.record(item, judged, stage, now, helped, seconds))


def forget_progress(diary: Diary, pupil: Pupil) -> None:
    """Begin a pupil's course again from nothing."""
    diary.keep(pupil, OWNER, NAME, None)
