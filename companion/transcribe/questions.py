"""The question about a take that settles most of its metre, and the take read again with the answer.

The answers part the readings that were weighed. A question is worth what its answer tells of them on average: the entropy
of the parts (Shannon 1948).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from companion.transcribe.corrections import read_again
from companion.transcribe.folk_counts import TIMES
from companion.transcribe.metre import Weighed
from companion.transcribe.notation import Notation
from companion.tune import Time

SURE = 0.8  # from here on nothing is asked
LEAST_BITS = 0.3  # less than this is not worth a question
MOST_QUESTIONS = 3


class QuestionKind(StrEnum):
    """What is asked: how one would move to it, into how many beats a bar goes, and where the first note stands."""

    GAIT = "gait"
    BEATS = "beats"
    FIRST = "first"


class Answer(StrEnum):
    """The answers: MARCH, WALTZ and ROCK to GAIT, TWO and FOUR to BEATS, STRONG and BEFORE (a pickup) to FIRST."""

    MARCH = "march"
    WALTZ = "waltz"
    ROCK = "rock"
    TWO = "two"
    FOUR = "four"
    STRONG = "strong"
    BEFORE = "before"
    UNKNOWN = "unknown"


_TIMES: dict[Answer, tuple[Time, ...]] = {
    Answer.MARCH: (TIMES["2/4"], TIMES["4/4"]), Answer.WALTZ: (TIMES["3/4"],), Answer.ROCK: (TIMES["6/8"],),
    Answer.TWO: (TIMES["2/4"],), Answer.FOUR: (TIMES["4/4"],)}


def _of_times(*answers: Answer) -> Callable[[Weighed], Answer | None]:
    return lambda w: next((a for a in answers if w.time in _TIMES[a]), None)


#: Which answer each reading would have.
_ANSWER: dict[QuestionKind, Callable[[Weighed], Answer | None]] = {
    QuestionKind.GAIT: _of_times(Answer.MARCH, Answer.WALTZ, Answer.ROCK),
    QuestionKind.BEATS: _of_times(Answer.TWO, Answer.FOUR),
    QuestionKind.FIRST: lambda w: Answer.BEFORE if w.place else Answer.STRONG}


@dataclass(frozen=True)
class Question:
    """One question, its answers with the likeliest first, and the bits that its answer tells on average."""

    kind: QuestionKind
    answers: tuple[Answer, ...]
    bits: float


def question(n: Notation, asked: tuple[QuestionKind, ...] = ()) -> Question | None:
    """The question that settles most, of those not asked yet; None where the metre and first note are sure enough."""
    if len(asked) >= MOST_QUESTIONS or max((w.weight for w in n.readings), default=1.0) >= SURE:
        return None
    found = [q for kind in QuestionKind if kind not in asked for q in [_question(n, kind)]]
    best = max(found, key=lambda q: q.bits, default=None)
    return best if best is not None and best.bits >= LEAST_BITS else None


def _question(n: Notation, kind: QuestionKind) -> Question:
    parts: dict[Answer, float] = {}
    for w in n.readings:
        answer = _ANSWER[kind](w)
        if answer is not None:
            parts[answer] = parts.get(answer, 0.0) + w.weight
    total = sum(parts.values())
    shares = [p / total for p in parts.values() if p > 0]
    bits = -total * sum(s * float(np.log2(s)) for s in shares)  # only in so far as the question applies
    return Question(kind, tuple(sorted(parts, key=lambda a: -parts[a])), bits)


def answered(n: Notation, answer: Answer) -> Notation:
    """The take read again with an answer, which is kept from then on; all that a person has given stays."""
    if answer is Answer.UNKNOWN:
        return n
    if answer in _TIMES:
        return read_again(n, replace(n.given, times=_TIMES[answer]))
    return read_again(n, replace(n.given, on_strong_beat=answer is Answer.STRONG))
