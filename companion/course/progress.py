"""What a pupil has answered, which stages are passed and why, and what is remembered until when.

All of it turns to plain JSON and back, and is kept in the diary as the room "course".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from companion.course.answer import Judged
from companion.course.drill import EAR_TO_VOICE, WAY_WORDS, Item, card
from companion.course.recall import Recall, utc
from companion.course.stage import Evidence, Stage
from companion.diary import Diary, Pupil, Tally
from companion.errors import Trouble
from companion.language.cues import number
from companion.match import Verdict
from companion.messages import _

ROOM, NAME = "course", "progress"  # where the diary keeps it
VERSION = 1
KEPT_ANSWERS = 40  # of each stage and way: more than any evidence asks for
ENOUGH_MOVES = 3  # of a kind sung elsewhere, before they count as a review
HELD = 0.8  # share of them right that counts as recalled


@dataclass(frozen=True)
class Shown:
    """How far one piece of evidence has got: right of the last answers, days on which it held, and whether all."""

    evidence: Evidence
    right: int
    answers: int
    days: int
    met: bool

    def say(self) -> str:
        """ "Reads a cell and names it: seven of the last nine right; nine of ten are wanted, on two days."."""
        e = self.evidence
        have = f"{WAY_WORDS[e.way]}: " + ("nothing yet" if not self.answers else
                                            f"{_many(self.right)} of the last {number(self.answers)} right")
        if self.met:
            return f"{have}; that is enough."
        days = f", on {number(e.days)} days" if e.days > 1 else ""
        so_far = f" So far on {number(self.days)}." if e.days > 1 and self.days else ""
        return f"{have}; {number(e.right)} of {number(e.of)} are wanted{days}.{so_far}"


@dataclass
class Progress:
    """answers: each {"at", "stage", "way", "verdict"}, oldest first. passed: stage number to {"at", "by"}, by
    "evidence" or "word". since: stage number to the moment from which its answers count."""

    answers: list[dict[str, Any]] = field(default_factory=list)
    passed: dict[str, dict[str, str]] = field(default_factory=dict)
    since: dict[str, str] = field(default_factory=dict)
    recall: Recall = field(default_factory=Recall)
    moves_until: str = ""

    def as_json(self) -> dict[str, Any]:
        return {"version": VERSION, "answers": self.answers, "passed": self.passed, "since": self.since,
                "cards": self.recall.cards, "moves_until": self.moves_until}

    @staticmethod
    def from_json(data: dict[str, Any]) -> Progress:
        """Raises Trouble where the data is from a newer version or is not of this form."""
        if data.get("version", VERSION) > VERSION:
            raise Trouble(_("What is kept of this course was written by a newer version of companion. Bring "
                            "companion up to date."))
        try:
            return Progress(list(data["answers"]), dict(data["passed"]), dict(data["since"]),
                            Recall(dict(data["cards"])), str(data.get("moves_until", "")))
        except (KeyError, TypeError, ValueError) as error:
            raise Trouble(_("What is kept of this course is damaged. Begin the course again with --begin-again; the "
                            "diary itself is whole.")) from error

    # --- stages ---

    def stage(self, stages: Sequence[Stage]) -> Stage:
        """The first stage that is not passed, the last one where all are."""
        return next((s for s in stages if not self.has_passed(s)), stages[-1])

    def finished(self, stages: Sequence[Stage]) -> bool:
        return all(self.has_passed(s) for s in stages)

    def has_passed(self, stage: Stage) -> bool:
        return f"{stage.number:g}" in self.passed

    def pass_stage(self, stage: Stage, now: datetime, by: str = "word") -> None:
        """Pass a stage, by evidence or by the adult's word."""
        self.passed[f"{stage.number:g}"] = {"at": now.isoformat(timespec="seconds"), "by": by}

    def take_back(self, stage: Stage, now: datetime) -> None:
        """The adult's word that a stage is to be done again: its evidence is gathered afresh from now."""
        self.passed.pop(f"{stage.number:g}", None)
        self.since[f"{stage.number:g}"] = now.isoformat(timespec="seconds")

    # --- answers ---

    def record(self, item: Item, judged: Judged, stage: Stage | None, now: datetime, helped: bool = False) -> bool:
        """Remember an answer; returns True where it completes the evidence of the stage it belongs to.

        stage: the stage whose evidence it is, None for a review of something older. What is not sure is
        neither right nor wrong and is not remembered.
        """
        for name, verdict in judged.cards.items():
            self.recall.review(name, verdict, now, helped)
        if stage is None or judged.verdict == Verdict.UNSURE:
            return False
        self.answers.append({"at": now.isoformat(timespec="seconds"), "stage": f"{stage.number:g}",
                             "way": item.way, "verdict": judged.verdict})
        same = [i for i, a in enumerate(self.answers)
                if a["stage"] == f"{stage.number:g}" and a["way"] == item.way]
        if len(same) > KEPT_ANSWERS:
            del self.answers[same[0]]
        if self.has_passed(stage) or not all(s.met for s in self.shown(stage)):
            return False
        self.pass_stage(stage, now, "evidence")
        return True

    def shown(self, stage: Stage) -> list[Shown]:
        """How far the evidence of a stage has got.

        A day counts when, at some moment of it, the wanted share of the last answers was right; and it must
        hold now.
        """
        since = self.since.get(f"{stage.number:g}", "")
        out = []
        for e in stage.known:
            answers = [a for a in self.answers if a["stage"] == f"{stage.number:g}" and a["way"] == e.way
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

    def hear_moves(self, tallies: Sequence[Tally], now: datetime) -> None:
        """Take over the kinds of move sung elsewhere since the last time (see `Diary.tally`): each kind sung
        often enough counts as one review."""
        for t in tallies:
            judged = t.right + t.wrong
            if judged >= ENOUGH_MOVES:
                verdict = Verdict.RIGHT if t.right >= HELD * judged else Verdict.WRONG
                self.recall.review(card(t.kind, EAR_TO_VOICE), verdict, now)
        self.moves_until = utc(now).isoformat()

    # --- in words ---

    def lines(self, stages: Sequence[Stage], now: datetime) -> list[str]:
        """What is known and what comes next, in plain lines."""
        done = [s for s in stages if self.has_passed(s)]
        here = self.stage(stages)
        out = []
        if self.finished(stages):
            out.append(f"All {number(len(stages))} stages are passed.")
        else:
            out.append(f"Now: {here.label}. {here.aim}")
            out += [s.say() for s in self.shown(here)]
        if done:
            last = done[-1]
            by = self.passed[f"{last.number:g}"]["by"]
            how = "by what was shown" if by == "evidence" else "by the word of an adult"
            out.append(f"{number(len(done)).capitalize()} of {number(len(stages))} stages passed. The last: "
                       f"{last.title}, {how}.")
        due = self.recall.due(now)
        if due:
            out.append(f"Due today: {number(len(due))} {'thing' if len(due) == 1 else 'things'} to come back to.")
        elif self.recall.cards:
            day = min(self.recall.due_at(n) for n in self.recall.cards)
            day = day.astimezone(now.tzinfo)
            when = "later today" if day.date() == now.date() else f"on {day:%A} {day.day} {day:%B}"
            out.append(f"Nothing is due now. The next is due {when}.")
        after = [s for s in stages if s.number > here.number]
        if after and not self.finished(stages):
            out.append(f"Next: {after[0].label}.")
        return out


def _many(n: int) -> str:
    return number(n) if n else "none"


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def load(diary: Diary, pupil: Pupil) -> Progress:
    """What the diary keeps of a pupil's course; a fresh beginning where there is nothing."""
    kept = diary.kept(pupil, ROOM)
    return Progress.from_json(kept[NAME]) if NAME in kept else Progress()


def save(diary: Diary, pupil: Pupil, progress: Progress) -> None:
    diary.keep(pupil, ROOM, NAME, progress.as_json())
