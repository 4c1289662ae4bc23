"""In the lesson: phrase by phrase through a tune, or the teacher's own line as the tune.

One key does the likely next thing; without any key it goes on by itself: after a right phrase to the next,
after another to the same once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from companion.lesson.listen import SILENCE
from companion.lesson.session import Session, Taken
from companion.lesson.sung_line import SungLine, tune_of
from companion.match import CueKind
from companion.tune import LineNote, Tune

if TYPE_CHECKING:
    from companion.lesson.listen import Heard

WAIT_S = 30.0  # in a lesson people think and talk: a shorter silence is nothing to remark on
UNCHANGED = ("where", "repeat", "more", "help", "keep")  # requests after which the line need not sound again
MOST_WAITS = 20  # after so many of them in a row, ten minutes, a lesson ends


def phrases_of(tune: Tune) -> list[tuple[LineNote, ...]]:
    """The phrases of a tune, in order."""
    last = max(n.phrase for n in tune.line())
    return [tune.phrase(k) for k in range(1, last + 1)]


class Lesson:
    """A lesson with a tune: each phrase given, heard, answered.

    wait: after the starting note the teacher sings the line herself; that is heard and not judged.
    """

    def __init__(self, session: Session, tune: Tune, name: str, first: int = 1, wait: bool = False) -> None:
        self.session, self.tune, self.name, self.wait = session, tune, name, wait
        self.phrases = phrases_of(tune)
        self.at = min(max(first, 1), len(self.phrases)) - 1
        self.quarter_s = 0.0

    def where(self) -> str:
        """Where we are, in one line."""
        line = self.phrases[self.at]
        bars = f"bar {line[0].bar}" if line[0].bar == line[-1].bar else f"bars {line[0].bar} to {line[-1].bar}"
        name = "measure" if self.session.american else "bar"
        return f"Phrase {self.at + 1} of {len(self.phrases)}, {bars.replace('bar', name)}: {words_of(line)}."

    def run(self) -> None:
        session = self.session
        session.fit(self.tune.line())
        session.say(f"{self.tune.title or self.name}. {self._count()}")
        give, waits = True, 0
        while self.at < len(self.phrases):
            line = self.phrases[self.at]
            self.quarter_s = session.quarter_s(self.tune.quarter_bpm)
            heard: Heard | str | None = None
            if give and not session.action:
                heard = self._give(line)
            heard = heard or session.listen(line, self.quarter_s, WAIT_S)
            if isinstance(heard, str):
                session.action = ""
                if heard == "quit":
                    break
                give = heard not in UNCHANGED
                if session.ask(heard, self.where()):
                    continue
                self._move(heard, go_next=bool(session.taken) and session.taken[-1].kind == CueKind.ALL_RIGHT)
                continue
            if heard.match is None or heard.kind != "take":
                waits += 1
                if waits >= MOST_WAITS:
                    session.say("I stop listening here.")
                    return
                # Nobody is spoken to in the middle of a talk, and of silence it is said once.
                if heard.kind != SILENCE or (waits == 1 and not heard.others):
                    session.say(session.not_a_take(heard))
                give = False
                continue
            waits, give = 0, False
            taken = session.answer(heard, self.name)
            if taken.kind in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE) and not session.action:
                self.at += 1
                give = True
        if self.at >= len(self.phrases):
            session.action = ""
            session.say("That was the last phrase.")

    def _give(self, line: Sequence[LineNote]) -> str | None:
        """Play the line, or with `wait` hear the teacher sing it first; a key's action where one broke it off."""
        session = self.session
        if not self.wait:
            session.give(line, self.quarter_s)
            return None
        from companion.audio import starting_note

        session.play(starting_note(line[0].midi + session.shift, 0.8))
        heard = session.listen(line, self.quarter_s, 10 * WAIT_S)
        return heard if isinstance(heard, str) else None

    def _count(self) -> str:
        n = len(self.phrases)
        return "One phrase." if n == 1 else f"{n} phrases."

    def _move(self, action: str, go_next: bool) -> None:
        if action == "next" or (action == "go" and go_next):
            self.at += 1
        elif action == "back":
            self.at = max(0, self.at - 1)


def words_of(line: Sequence[LineNote]) -> str:
    """The words of a phrase, or how many notes it has."""
    from companion.language.cues import number

    text = "".join(n.syllable + ("" if n.word_place in ("begin", "middle") else " ") for n in line if n.syllable)
    return text.strip().rstrip(".,;:!?") or f"{number(len(line))} notes"


class Echo:
    """A lesson without a tune: what the teacher has just sung or played is the tune, the pupil answers it."""

    def __init__(self, session: Session, keep_in: Path) -> None:
        self.session, self.keep_in = session, keep_in
        self.lines: list[SungLine] = []
        self.kept: list[Path] = []

    def where(self) -> str:
        if not self.lines:
            return "No line yet. The teacher sings first."
        return f"Line {len(self.lines)}: {len(self.lines[-1].notes)} notes."

    def run(self) -> None:
        session = self.session
        session.say("Sing or play a line.")
        waits = 0
        while True:
            line = self._teacher()
            if line == "quit":
                return
            if line is None:
                waits += 1
                if waits >= MOST_WAITS:
                    session.say("I stop listening here.")
                    return
                continue
            waits = 0
            assert isinstance(line, SungLine)
            self.lines.append(line)
            if self._pupil(line) == "quit":
                return

    def _teacher(self) -> SungLine | str | None:
        session = self.session
        heard = session.listen(None, silence_s=WAIT_S)
        if isinstance(heard, str):
            return self._asked(heard)
        if heard.kind != "take" or heard.track is None:
            return None
        line = tune_of(heard.track, f"Line {len(self.lines) + 1}")
        return line if line is not None and len(line.notes) > 1 else None

    def _asked(self, action: str) -> str | None:
        self.session.action = ""
        if action == "quit":
            return "quit"
        if action == "keep":
            self._keep()
        elif action == "repeat" and self.lines:
            line = self.lines[-1]
            self.session.shift = 0.0
            self.session.give(line.notes, line.quarter_s, note=False)
        else:
            self.session.ask(action, self.where())
        return None

    def _pupil(self, line: SungLine) -> str | None:
        """The pupil's turn, until the line is right or a key asks for the next one."""
        session = self.session
        session.say("Now the pupil.")
        waits = 0
        while True:
            heard = session.listen(line.notes, line.quarter_s, WAIT_S)
            if isinstance(heard, str):
                session.action = ""
                if heard in ("go", "next"):
                    session.say("A new line.")
                    return None
                if heard == "again":
                    session.give(line.notes, line.quarter_s)
                elif self._asked(heard) == "quit":
                    return "quit"
                continue
            if heard.match is None or heard.kind != "take":
                waits += 1
                if waits >= MOST_WAITS:
                    session.say("A new line, when you are ready.")
                    return None
                if heard.kind != SILENCE:
                    session.say(session.not_a_take(heard))
                continue
            waits = 0
            taken: Taken = session.answer(heard, line.tune.title)
            if taken.kind == CueKind.ALL_RIGHT and not session.action:
                return None

    def _keep(self) -> None:
        """The teacher's last line becomes a written tune."""
        from companion.tune import save

        if not self.lines:
            self.session.say("There is no line to keep yet.")
            return
        number = len(self.kept) + 1
        self.keep_in.mkdir(parents=True, exist_ok=True)
        while (path := self.keep_in / f"line-{number}.musicxml").exists():
            number += 1
        save(self.lines[-1].tune, path)
        self.kept.append(path)
        self.session.say(f"Kept as line {number}.")
