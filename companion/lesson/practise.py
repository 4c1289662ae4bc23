"""At home, alone, no key from start to end: greeting, warm-up, what was set, and an end by itself.

What a good teacher does: after two misses the piece gets smaller, down to the one move with its glide and its
reach on the wall, and is built up again; after success it grows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.audio import glide
from companion.diary import Action
from companion.language import (
    LessonSentence,
    hand_for_helper,
    hand_for_pupil,
    next_time,
    phrase_place,
    session_went_well,
    smaller_piece,
    title_line,
)
from companion.lesson.ladder import Ladder, Size
from companion.lesson.listen import Heard, HeardKind
from companion.lesson.session import Session, Taken, no_take
from companion.match import CueKind, Move, MoveKind, Verdict, move_to_try
from companion.tune import Key, LineNote, Tune, spell

WARM_UP_S = 90.0  # a short warm-up: about a seventh of ten minutes
WARM_UP_SHARE = 0.2  # of the session at most, where it is shorter
EDGE = 1.0  # semitones that the warm-up stays inside the pupil's range
SET_S = 180.0  # sung so long, a young voice rests
REST_S = 15.0
MOST_SILENCES = 3  # in a row, ten seconds each, before it asks whether anybody is there
GIVE_UP = 6  # silences in a row after which the session ends
PATTERN = (0, 2, 4, 5, 7, 5, 4, 2, 0)  # five notes up and down a major scale
PATTERN_QUARTER_S = 0.9  # quavers of 0.45 s: calm
MOVE_SLOWER = 1.2  # times as slow a single move is given
#: Keys after which the line is given again before it is listened for.
GIVEN_AGAIN = (Action.AGAIN, Action.SLOWER, Action.FASTER, Action.LOWER, Action.HIGHER)


@dataclass(frozen=True)
class Set:
    """A tune to practise and its name."""

    name: str
    tune: Tune

    @property
    def title(self) -> str:
        return self.tune.title or self.name


def pattern(low: int, steps: Sequence[int] = PATTERN) -> tuple[LineNote, ...]:
    """A warm-up pattern from a lowest note (MIDI number), as quavers with a longer last note."""
    out, onset = [], Fraction(0)
    for i, step in enumerate(steps):
        value = Fraction(1) if i + 1 == len(steps) else Fraction(1, 2)
        out.append(LineNote(number=i + 1, pitch=spell(low + step, Key()), onset_quarters=onset, quarters=value, syllable="",
                            word_place="", phrase=1, bar=1, rest_after=Fraction(0), sources=((0, i),)))
        onset += value
    return tuple(out)


def rising(low: float, high: float, span: int = 7) -> list[int]:
    """Lowest notes of a pattern that climbs by semitones inside a range and turns back before its edge."""
    first, last = int(-(-(low + EDGE) // 1)), int((high - EDGE - span) // 1)
    if last < first:
        middle = round((low + high - span) / 2)
        return [middle]
    up = list(range(first, last + 1))
    return up + up[-2::-1]


class Practise:
    """One session at home. sets: gives what is to be practised, once it is loaded.

    more: gives another tune once all is sung and time is left, by the names sung so far; None ends the session.
    helper: write what the helper does at a single move. minutes: how long it lasts. warm_up: whether it begins with one.
    """

    def __init__(self, session: Session, sets: Callable[[], list[Set]], minutes: float, warm_up: bool = True,
                 helper: bool = False, more: Callable[[list[str]], Set | None] | None = None) -> None:
        self.session, self.sets, self.helper, self.more = session, sets, helper, more
        self.until_s = minutes * 60.0
        self.warm_up_s = min(WARM_UP_S, WARM_UP_SHARE * self.until_s) if warm_up else 0.0
        self.silences = 0
        self.left: list[tuple[Set, int]] = []
        self._next_rest = SET_S
        self._over = False
        self._place = session.language.message(LessonSentence.WARMING_UP)

    # --- the session ---

    def run(self) -> None:
        """After the greeting: everything, to the closing words."""
        if self.warm_up_s:
            self._warm_up()
        work = self.sets()
        for s in work:
            self._tune(s)
        for s, k in list(self.left):
            if self.over:
                break
            self._say(LessonSentence.ONCE_MORE_WHAT_WAS_HARD)
            self._phrase(s, k)
        names = [s.name for s in work]
        while self.more is not None and not self.over and (another := self.more(names)) is not None:
            names.append(another.name)
            self._tune(another)
        self._close()

    def _tune(self, s: Set) -> None:
        if self.over:
            return
        self.session.fit(s.tune.line())
        self._say_line(title_line(self.session.language, s.title))
        for k in range(1, max(n.phrase for n in s.tune.line()) + 1):
            if not self.over:
                self._phrase(s, k)

    @property
    def over(self) -> bool:
        return self._over or self.session.elapsed_s >= self.until_s

    def _say(self, sentence: LessonSentence) -> None:
        self.session.say(sentence)
        self._keys()

    def _say_line(self, text: str) -> None:
        self.session.say_line(text)
        self._keys()

    def _keys(self) -> None:
        """No key is needed; those that are pressed still work."""
        action = self.session.action
        if action is not None:
            self.session.action = None
            if action is Action.QUIT:
                self._over = True
            else:
                self.session.serve(action, self._place)

    # --- warm-up ---

    def _warm_up(self) -> None:
        session = self.session
        low, high = session.range
        end = session.elapsed_s + self.warm_up_s
        self._say(LessonSentence.WARM_UP)
        self._glide(low, high)
        if self.over or session.elapsed_s >= end:
            return
        missed = 0
        lows = rising(low, high)
        self._say(LessonSentence.FIVE_NOTES)
        shift, session.shift = session.shift, 0.0
        k = 0
        while k < len(lows) and not self.over and session.elapsed_s < end:
            session.shift = 0.0
            line = pattern(lows[k])
            heard = self._turn(line, PATTERN_QUARTER_S, note=False)
            if heard is None:
                missed += 1
            elif heard.match is not None:
                taken = session.answer(heard, "warm-up", quiet=True)
                missed = 0 if taken.kind is CueKind.ALL_RIGHT else missed + 1
            if missed >= 2:
                # Higher or lower than is easy today: back towards the middle, or on with the tune.
                if k >= len(lows) // 2:
                    break
                k, missed = len(lows) - 1 - k, 0
            k += 1
        session.shift = shift

    def _glide(self, low: float, high: float) -> None:
        session = self.session
        middle = (low + high) / 2
        self._say(LessonSentence.SLIDE)
        for a, b in ((middle - 4, middle + 3), (middle + 3, middle - 4)):
            if self.over or not session.play(glide(a, b)):
                break
            # Whatever is sung is a slide; nothing is judged.
            session.listen(None, silence_s=6.0)
            self._keys()

    # --- phrases ---

    def _phrase(self, s: Set, number: int) -> None:
        session = self.session
        ladder = Ladder(s.tune.phrase(number))
        quarter_s = session.quarter_s(s.tune.quarter_bpm)
        give = True
        move: Move | None = None
        while not ladder.done and not self.over:
            self._rest()
            line = ladder.notes()
            self._place = phrase_place(session.language, s.title, number)
            heard = self._turn(line, quarter_s * (MOVE_SLOWER if ladder.piece.size is Size.MOVE else 1.0), give=give)
            if heard is None:
                if self._over:
                    return
                give = True
                ladder.unsure()
                continue
            taken = session.answer(heard, s.name)
            self._keys()
            move, give = self._step(ladder, taken, move), True
            if ladder.changed and not ladder.done and not self.over:
                self._announce(ladder)
        if ladder.left and not self.over:
            self.left.append((s, number))
            self._say(LessonSentence.LEAVE_FOR_ANOTHER_DAY)

    def _step(self, ladder: Ladder, taken: Taken, before: Move | None) -> Move | None:
        move = move_to_try(taken.match) if taken.kind is CueKind.ONE_TO_TRY else None
        if taken.kind in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE):
            ladder.right()
            return None if ladder.piece.size is Size.PHRASE else before
        if taken.kind is CueKind.ONE_TO_TRY:
            ladder.missed(move)
            return move or before
        ladder.unsure()
        return before

    def _announce(self, ladder: Ladder) -> None:
        """A smaller or larger piece: its notes, and for a single move the hand's way."""
        notes, language = ladder.notes(), self.session.language
        if ladder.piece.size is Size.PHRASE:
            self._say(LessonSentence.WHOLE_PHRASE)
            return
        self._say_line(smaller_piece(language, notes))
        if ladder.piece.size is Size.MOVE and len(notes) == 2:
            semitones = notes[1].midi - notes[0].midi
            self._say_line(hand_for_pupil(language, semitones))
            if self.helper:
                self.session.out.write(hand_for_helper(language, semitones))
            self._glide_of(notes)

    def _glide_of(self, notes: Sequence[LineNote]) -> None:
        shift = self.session.shift
        self.session.play(glide(notes[0].midi + shift, notes[1].midi + shift))
        self._keys()

    # --- turns ---

    def _turn(self, line: Sequence[LineNote], quarter_s: float, give: bool = True,
              note: bool = True) -> Heard | None:
        """Give a line and hear it sung; None where nothing was (that is said, and it was asked again once)."""
        session = self.session
        for attempt in range(2):
            if self.over:
                return None
            if give or attempt:
                session.give(line, quarter_s, note)
                self._keys()
            heard = session.listen(line, quarter_s)
            while isinstance(heard, Action):
                session.action = heard
                again = heard in GIVEN_AGAIN
                self._keys()
                if self._over:
                    return None
                if again:
                    session.give(line, quarter_s, note)
                heard = session.listen(line, quarter_s)
            if heard.kind is HeardKind.TAKE and heard.match is not None:
                self.silences = 0
                return heard
            if heard.kind is HeardKind.SILENCE:
                self.silences += 1
                if self.silences >= GIVE_UP:
                    self._over = True
                    return None
                if self.silences == MOST_SILENCES:
                    self._say(LessonSentence.STILL_NOTHING)
                    continue
            self._say(no_take(heard))
        return None

    def _rest(self) -> None:
        session = self.session
        if session.elapsed_s < self._next_rest or self.until_s - session.elapsed_s < 2 * REST_S:
            return
        self._say(LessonSentence.REST)
        end = session.elapsed_s + REST_S
        while session.elapsed_s < end and not self.over:
            session.idle(0.5)
            self._keys()
        self._next_rest = session.elapsed_s + SET_S

    # --- the end ---

    def _close(self) -> None:
        session, language = self.session, self.session.language
        session.action = None
        lines = [language.message(LessonSentence.NOTHING_FOR_A_WHILE)] if self.silences >= GIVE_UP else []
        found = closing(session.taken)
        if found is None:
            lines += [language.message(LessonSentence.ALL_FOR_TODAY), language.message(LessonSentence.NEXT_TIME_AGAIN)]
        else:
            lines += [session_went_well(language, found.best, found.right, found.total), next_time(language, found.next)]
        session.out.say(" ".join(lines))


@dataclass(frozen=True)
class Closing:
    """What a session came to: the kind of move that went best (None where none went right), how many of how many went
    right, and the kind for next time (None where nothing else was missed)."""

    best: MoveKind | None
    right: int
    total: int
    next: MoveKind | None


def closing(taken: Sequence[Taken]) -> Closing | None:
    """What the takes of a session came to; None where no move was sung."""
    verdicts: dict[MoveKind, list[Verdict]] = {}
    for t in taken:
        for m in t.match.moves:
            verdicts.setdefault(m.kind, []).append(m.verdict)
    if not verdicts:
        return None

    def share(kind: MoveKind, verdict: Verdict) -> tuple[float, int]:
        count = verdicts[kind].count(verdict)
        return count / len(verdicts[kind]), count

    best = max(verdicts, key=lambda kind: share(kind, Verdict.RIGHT))
    worst = max(verdicts, key=lambda kind: share(kind, Verdict.WRONG))
    right = verdicts[best].count(Verdict.RIGHT)
    again = worst != best and Verdict.WRONG in verdicts[worst]
    return Closing(best if right else None, right, len(verdicts[best]), worst if again else None)
