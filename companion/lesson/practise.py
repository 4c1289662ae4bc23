"""At home, alone, no key from start to end: greeting, warm-up, what was set, and an end by itself.

What a good teacher does: after two misses the piece gets smaller, down to the one move with its glide and its
reach on the wall, and is built up again; after success it grows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.lesson.ladder import MOVE, PHRASE, Ladder
from companion.lesson.session import Session, Taken
from companion.match import CueKind, move_to_try
from companion.tune import LineNote, Pitch, Tune

if TYPE_CHECKING:
    from companion.lesson.listen import Heard
    from companion.match import Move

WARM_UP_S = 90.0  # a short warm-up: about a seventh of ten minutes
WARM_UP_SHARE = 0.2  # of the session at most, where it is shorter
EDGE = 1.0  # semitones that the warm-up stays inside the pupil's range
SET_S = 180.0  # sung so long, a young voice rests
REST_S = 15.0
MOST_SILENCES = 3  # in a row, ten seconds each, before it asks whether anybody is there
GIVE_UP = 6  # silences in a row after which the session ends
PATTERN = (0, 2, 4, 5, 7, 5, 4, 2, 0)  # five notes up and down a major scale
PATTERN_QUARTER_S = 0.9  # quavers of 0.45 s: calm
CAUTION = "If anything hurts or tickles, stop for today."


@dataclass(frozen=True)
class Set:
    """A tune to practise and its name."""

    name: str
    tune: Tune


def pattern(low: int, steps: Sequence[int] = PATTERN) -> tuple[LineNote, ...]:
    """A warm-up pattern from a lowest note, as quavers with a longer last note."""
    from companion.tune import Key, spell

    out, onset = [], Fraction(0)
    for i, step in enumerate(steps):
        value = Fraction(1) if i + 1 == len(steps) else Fraction(1, 2)
        pitch: Pitch = spell(low + step, Key())
        out.append(LineNote(number=i + 1, pitch=pitch, onset_quarters=onset, quarters=value, syllable="",
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
        self._where = "We are warming up."

    # --- the session ---

    def greeting(self) -> str:
        name = self.session.pupil.nickname if self.session.pupil else "there"
        return f"Hello {name}. Let us sing."

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
            self._say("Once more what was hard.")
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
        self._say(f"{s.tune.title or s.name}.")
        for k in range(1, max(n.phrase for n in s.tune.line()) + 1):
            if not self.over:
                self._phrase(s, k)

    @property
    def over(self) -> bool:
        return self._over or self.session.seconds_all >= self.until_s

    def _say(self, text: str) -> None:
        self.session.say(text)
        self._keys()

    def _keys(self) -> None:
        """No key is needed; those that are pressed still work."""
        action = self.session.action
        if action:
            self.session.action = ""
            if action == "quit":
                self._over = True
            else:
                self.session.ask(action, self._where)

    # --- warm-up ---

    def _warm_up(self) -> None:
        session = self.session
        low, high = session.range
        end = session.seconds_all + self.warm_up_s
        self._say(f"First we warm up. {CAUTION}")
        self._glide(low, high)
        if self.over or session.seconds_all >= end:
            return
        missed = 0
        lows = rising(low, high)
        self._say("Five notes up and down. Listen, then sing.")
        shift, session.shift = session.shift, 0.0
        k = 0
        while k < len(lows) and not self.over and session.seconds_all < end:
            session.shift = 0.0
            line = pattern(lows[k])
            heard = self._turn(line, PATTERN_QUARTER_S, note=False)
            if heard is None:
                missed += 1
            elif heard.match is not None:
                taken = session.answer(heard, "warm-up", quiet=True)
                missed = 0 if taken.kind == CueKind.ALL_RIGHT else missed + 1
            if missed >= 2:
                # Higher or lower than is easy today: back towards the middle, or on with the tune.
                if k >= len(lows) // 2:
                    break
                k, missed = len(lows) - 1 - k, 0
            k += 1
        session.shift = shift

    def _glide(self, low: float, high: float) -> None:
        from companion.audio import glide

        session = self.session
        middle = (low + high) / 2
        self._say("Slide up with me, then down. Listen, then sing.")
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
            self._where = f"{s.tune.title or s.name}, phrase {number}."
            heard = self._turn(line, quarter_s * (1.2 if ladder.piece.size == MOVE else 1.0), give=give)
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
                self._announce(ladder, move)
        if ladder.left and not self.over:
            self.left.append((s, number))
            self._say("We leave that for another day.")

    def _step(self, ladder: Ladder, taken: Taken, before: Move | None) -> Move | None:
        move = move_to_try(taken.match) if taken.kind == CueKind.ONE_TO_TRY else None
        if taken.kind in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE):
            ladder.right()
            return None if ladder.piece.size == PHRASE else before
        if taken.kind == CueKind.ONE_TO_TRY:
            ladder.missed(move)
            return move or before
        ladder.unsure()
        return before

    def _announce(self, ladder: Ladder, move: Move | None) -> None:
        """A smaller or larger piece: its notes, and for a single move the hand's way."""
        from companion.language import English, hand_for_helper, hand_for_pupil, smaller_piece

        notes = ladder.notes()
        if ladder.piece.size == PHRASE:
            self._say("Now the whole phrase.")
            return
        self._say(smaller_piece(self.session.language, notes))
        if ladder.piece.size == MOVE and len(notes) == 2:
            semitones = notes[1].midi - notes[0].midi
            language = English(str(self.session.settings["variety"]))
            self._say(hand_for_pupil(language, semitones))
            if self.helper:
                self.session.out.write(hand_for_helper(language, semitones))
            self._glide_of(notes)

    def _glide_of(self, notes: Sequence[LineNote]) -> None:
        from companion.audio import glide

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
            while isinstance(heard, str):
                session.action = heard
                again = heard in ("again", "slower", "faster", "lower", "higher")
                self._keys()
                if self._over:
                    return None
                if again:
                    session.give(line, quarter_s, note)
                heard = session.listen(line, quarter_s)
            if heard.kind == "take" and heard.match is not None:
                self.silences = 0
                return heard
            if heard.kind == "silence":
                self.silences += 1
                if self.silences >= GIVE_UP:
                    self._over = True
                    return None
                if self.silences == MOST_SILENCES:
                    self._say("I still hear nothing. Is the microphone near?")
                    continue
            self._say(session.not_a_take(heard))
        return None

    def _rest(self) -> None:
        session = self.session
        if session.seconds_all < self._next_rest or self.until_s - session.seconds_all < 2 * REST_S:
            return
        self._say("Rest a moment. Breathe in, and out.")
        end = session.seconds_all + REST_S
        while session.seconds_all < end and not self.over:
            session.idle(0.5)
            self._keys()
        self._next_rest = session.seconds_all + SET_S

    # --- the end ---

    def _close(self) -> None:
        session = self.session
        session.action = ""
        well, after = closing(session.taken)
        if self.silences >= GIVE_UP:
            well = f"I have heard nothing for a while. {well}"
        session.out.say(f"{well} {after}")


def closing(taken: Sequence[Taken]) -> tuple[str, str]:
    """One sentence of what went well and one for next time, from the takes of a session."""
    from companion.diary.week import plural

    tally: dict[str, list[int]] = {}
    for t in taken:
        for m in t.match.moves:
            row = tally.setdefault(m.kind, [0, 0, 0])
            row[("right", "not that way", "not sure").index(m.verdict)] += 1
    if not tally:
        return "That is all for today.", "Next time we sing again."
    best = max(tally, key=lambda k: (tally[k][0] / max(1, sum(tally[k])), tally[k][0]))
    right, total = tally[best][0], sum(tally[best])
    well = f"{plural(best).capitalize()} went well, {right} of {total} right." if right else \
        "You sang to the end."
    worst = max(tally, key=lambda k: (tally[k][1] / max(1, sum(tally[k])), tally[k][1]))
    if tally[worst][1] and worst != best:
        return well, f"Next time: {plural(worst)}."
    return well, "Next time: a new phrase."
