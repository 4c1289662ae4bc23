"""When to come back to what: FSRS through the package `fsrs`, one card for each fact and way.

Time is passed in; there is no clock and no chance here (fuzzing is off), so the same reviews give the same
dates as `fsrs` called directly.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from companion.match import Verdict

if TYPE_CHECKING:
    from fsrs import Card, Scheduler

#: Verdict to FSRS's grade of recall (1 again, 2 hard, 3 good). What is not sure is no review at all.
GRADES: dict[Verdict, int] = {Verdict.RIGHT: 3, Verdict.WRONG: 1}
#: Chance of recall at which something is asked again: so that 80 to 85 % of all answers are right, with those to new
#: questions, in which most is known (tests/benchmarks/course.py; FSRS's own 0.9 gave 89 %).
ASKED_AT = 0.87
HOLDS_DAYS = 2.0  # FSRS's stability from which something holds: a thing right at once has 2.3, one missed lately less
HELPED = 2  # right, but only after a hint


@dataclass
class Recall:
    """Cards by name ("C | cell to name"), each in the JSON form of `fsrs.Card`."""

    cards: dict[str, dict[str, Any]] = field(default_factory=dict)

    def review(self, name: str, verdict: Verdict, now: datetime, helped: bool = False) -> datetime | None:
        """Remember one answer; returns when the card is due, None where the verdict says nothing.

        now: with a time zone. helped: the answer was right, but after a hint.
        """
        if verdict not in GRADES:
            return None
        from fsrs import Card, Rating

        now = utc(now)
        card = Card.from_dict(self.cards[name]) if name in self.cards else Card(  # type: ignore[arg-type]
            card_id=len(self.cards) + 1, due=now)
        grade = HELPED if helped and verdict == Verdict.RIGHT else GRADES[verdict]
        card, _ = _scheduler().review_card(card, Rating(grade), now)
        self.cards[name] = dict(card.to_dict())
        return card.due

    def practised(self, name: str, now: datetime) -> None:
        """Remember that something was recalled as a part of something greater: as right, where it holds already, and once a
        day."""
        if self.holds(name) and utc(now).date() > datetime.fromisoformat(self.cards[name]["last_review"]).date():
            self.review(name, Verdict.RIGHT, now)

    def lay(self, name: str, at: datetime) -> None:
        """Remember something as known since a moment, by an adult's word or a test; what is remembered already stays.

        at: with a time zone. FSRS takes it as recalled easily then.
        """
        from fsrs import Card, Rating

        if name not in self.cards:
            card, _ = _scheduler().review_card(Card(card_id=len(self.cards) + 1, due=utc(at)), Rating.Easy, utc(at))
            self.cards[name] = dict(card.to_dict())

    def due_at(self, name: str) -> datetime:
        """When a card is due. Raises KeyError for one that there is not."""
        return datetime.fromisoformat(self.cards[name]["due"])

    def due(self, now: datetime, among: Collection[str] | None = None) -> list[str]:
        """Names of the cards that are due, longest due first."""
        now = utc(now)
        found = [(self.due_at(n), n) for n in self.cards if among is None or n in among]
        return [n for at, n in sorted(found) if at <= now]

    def missed(self, name: str) -> bool:
        """Whether the last answer was wrong: FSRS learns it again, or is at its first step still."""
        card = self.cards[name]
        return card.get("state") == 3 or (card.get("state") == 1 and card.get("step") == 0)

    def holds(self, name: str) -> bool:
        """Whether something is remembered for some days: past FSRS's steps of learning it, or learning it again."""
        card = self.cards.get(name)
        return card is not None and card.get("state") == 2 and float(card["stability"] or 0) >= HOLDS_DAYS

    def strength(self, name: str, now: datetime) -> float:
        """Chance of recall now, 0 to 1 (FSRS's retrievability)."""
        return float(_scheduler().get_card_retrievability(self._card(name), utc(now)))

    def surest(self, now: datetime, among: Iterable[str]) -> list[str]:
        """Names that have been recalled, those that hold longest first (FSRS's stability, in days)."""
        held = [(float(self.cards[n]["stability"] or 0), n) for n in among
                if n in self.cards and self.cards[n].get("state") != 3]
        return [n for _, n in sorted(held, key=lambda pair: (-pair[0], pair[1]))]

    def check(self) -> None:
        """Raises ValueError, KeyError or TypeError where a card is none of FSRS's."""
        for name in self.cards:
            self._card(name)

    def _card(self, name: str) -> Card:
        from fsrs import Card

        return Card.from_dict(self.cards[name])  # type: ignore[arg-type]


_made: list[Scheduler] = []


def _scheduler() -> Scheduler:
    if not _made:
        from fsrs import Scheduler

        _made.append(Scheduler(desired_retention=ASKED_AT, enable_fuzzing=False))
    return _made[0]


def utc(now: datetime) -> datetime:
    """The moment in UTC. Raises ValueError for a time without a zone."""
    if now.tzinfo is None:
        raise ValueError(f"{now} has no time zone")
    return now.astimezone(UTC)
