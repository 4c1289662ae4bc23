"""In the lesson: phrase by phrase through a tune, or the teacher's own line as the tune.

One key does the likely next thing; without any key it goes on by itself: after a right phrase to the next,
after another to the same once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from companion.audio import Sound, line_sound
from companion.diary import Action, SettingName, WaitForGo
from companion.errors import Trouble
from companion.language import (
    LessonSentence,
    lesson_place,
    line_kept,
    notes_heard,
    sung_line_place,
    sung_line_title,
    title_and_phrases,
    was_that_you,
)
from companion.lesson.listen import Heard, HeardKind
from companion.lesson.session import Session, middle, no_take
from companion.lesson.sung_line import SungLine, tune_of
from companion.lesson.timbre import timbre_of
from companion.lesson.voices import CLEAR, Singer, Sung
from companion.match import CueKind, HeardNote
from companion.places import not_written
from companion.tune import LineNote, Tune, save

WAIT_S = 30.0  # in a lesson people think and talk: a shorter silence is nothing to remark on
#: Requests after which the line need not sound again.
UNCHANGED = (Action.WHERE, Action.REPEAT, Action.MORE, Action.HELP, Action.KEEP, Action.HOME, Action.SUMMARY, Action.STRIKE)
RUN_NOTE_S = 0.16  # of a line played back: quick, yet each pitch is heard
REST_EVERY_S = 600.0  # sung so long with a teacher beside, who watches the voice too
MOST_WAITS = 20  # after so many of them in a row, ten minutes, a lesson ends


def phrases_of(tune: Tune) -> list[tuple[LineNote, ...]]:
    """The phrases of a tune, in order."""
    last = max(n.phrase for n in tune.line())
    return [tune.phrase(k) for k in range(1, last + 1)]


def quick_run(line: Sequence[LineNote]) -> Sound:
    """A line's pitches as one quick run, each as long as the others."""
    return line_sound([replace(n, quarters=Fraction(1), rest_after=Fraction(0)) for n in line], 0.0, RUN_NOTE_S)


class Lesson:
    """A lesson with a tune: each phrase given, heard, answered.

    wait: after the starting note the teacher sings the line herself; that is heard and not judged.
    """

    def __init__(self, session: Session, tune: Tune, name: str, first: int = 1, wait: bool = False) -> None:
        self.session, self.tune, self.name, self.wait = session, tune, name, wait
        self.phrases = phrases_of(tune)
        self.at = min(max(first, 1), len(self.phrases)) - 1
        self.quarter_s = 0.0
        self._missed, self._next_rest = False, REST_EVERY_S

    def place(self) -> str:
        """Where we are, in one line."""
        return lesson_place(self.session.language, self.at + 1, len(self.phrases), self.phrases[self.at])

    def run(self) -> None:
        """All phrases, until the last is right or a key ends it."""
        session = self.session
        session.fit(self.tune.line())
        session.say_line(title_and_phrases(session.language, self.tune.title or self.name, len(self.phrases)))
        give, waits = True, 0
        while self.at < len(self.phrases):
            line = self.phrases[self.at]
            self.quarter_s = session.quarter_s(self.tune.quarter_bpm)
            heard: Heard | Action | None = None
            if give and session.action is None:
                heard = self._give(line)
            heard = heard or session.listen(line, self.quarter_s, WAIT_S)
            if isinstance(heard, Action):
                session.action = None
                if heard is Action.QUIT:
                    break
                give = heard not in UNCHANGED
                if heard is Action.ME:
                    claimed = session.claimed()
                    give = self._answer(claimed) if claimed is not None else False
                elif heard is Action.HOME:
                    session.set_home(self.name, self.tune.title or self.name)
                elif not session.serve(heard, self.place()):
                    self._move(heard)
                continue
            if heard.match is None or heard.kind is not HeardKind.TAKE:
                waits += 1
                if waits >= MOST_WAITS:
                    session.say(LessonSentence.STOP_LISTENING)
                    return
                # Nobody is spoken to in the middle of a talk, and of silence it is said once.
                if heard.kind is not HeardKind.SILENCE or (waits == 1 and not heard.others):
                    session.say(no_take(heard))
                give = False
                continue
            waits = 0
            give = self._take(heard)
        if self.at >= len(self.phrases):
            session.action = None
            session.say(LessonSentence.LAST_PHRASE)

    def _take(self, heard: Heard) -> bool:
        """A take: the pupil's is answered, a model is not, in doubt it is asked. Whether a line is to be given now."""
        session = self.session
        assert heard.match is not None
        singer = session.whose(heard, self._missed)
        if singer is Singer.PUPIL:
            return self._answer(heard)
        if singer is Singer.MODEL:
            session.say(LessonSentence.NOW_YOU)
        else:
            session.say_line(was_that_you(session.language, session.pupil.nickname if session.pupil else None))
        return False

    def _answer(self, heard: Heard) -> bool:
        """The pupil's take. Whether the next line is to be given now."""
        session = self.session
        taken = session.answer(heard, self.name)
        self._missed = taken.kind not in (CueKind.ALL_RIGHT, CueKind.ONE_NOTE)
        if self._missed or session.action is not None:
            return False
        self.at += 1
        if self.at < len(self.phrases):
            if session.settings[SettingName.WAIT_FOR_GO] == WaitForGo.ON:
                session.wait_for_go()
            self._rest()
        return True

    def _rest(self) -> None:
        """Between phrases, every ten minutes: a young voice tires."""
        if self.session.elapsed_s >= self._next_rest:
            self._next_rest = self.session.elapsed_s + REST_EVERY_S
            self.session.say(LessonSentence.LESSON_REST)

    def _give(self, line: Sequence[LineNote]) -> Action | None:
        """Play the line, or with `wait` hear the teacher sing it first; a key's action where one broke it off."""
        session = self.session
        if not self.wait:
            session.give(line, self.quarter_s)
            return None
        session.give_first_note(line)
        heard = session.listen(line, self.quarter_s, 10 * WAIT_S)
        if not isinstance(heard, Action) and heard.match is not None and heard.match.shift_semitones is not None:
            session.learn_model(heard)
        return heard if isinstance(heard, Action) else None

    def _move(self, action: Action) -> None:
        """To the phrase that a key asks for; "go" goes on where the last take was all right."""
        right = bool(self.session.taken) and self.session.taken[-1].kind is CueKind.ALL_RIGHT
        if action is Action.NEXT or (action is Action.GO and right):
            self.at += 1
        elif action is Action.BACK:
            self.at = max(0, self.at - 1)


class Echo:
    """A lesson without a tune: what the teacher has just sung or played is the tune, the pupil answers it.

    keep_in: folder for the lines that are kept. lines: the teacher's, in order. kept: the files that were written.
    """

    def __init__(self, session: Session, keep_in: Path) -> None:
        self.session, self.keep_in = session, keep_in
        self.lines: list[SungLine] = []
        self.kept: list[Path] = []
        self._asked: float | None = None  # register of a line about which it was asked whether it is a new one

    def place(self) -> str:
        """Where we are, in one line."""
        language = self.session.language
        if not self.lines:
            return language.message(LessonSentence.NO_LINE_YET)
        return sung_line_place(language, len(self.lines), len(self.lines[-1].notes))

    def run(self) -> None:
        """Line after line, until a key ends it or nobody has sung for long."""
        session = self.session
        session.say(LessonSentence.SING_A_LINE)
        waits = 0
        while True:
            line = self._teacher()
            if line is Action.QUIT:
                return
            if not isinstance(line, SungLine):
                waits += 1
                if waits >= MOST_WAITS:
                    session.say(LessonSentence.STOP_LISTENING)
                    return
                continue
            waits = 0
            self.lines.append(line)
            session.say_line(notes_heard(session.language, len(line.notes)))
            session.play(quick_run(line.notes))
            if self._pupil(line) is Action.QUIT:
                return

    def _teacher(self) -> SungLine | Action | None:
        """The teacher's line; a key's action, or None where there was no line of two notes and more."""
        session = self.session
        heard = session.listen(None, silence_s=WAIT_S)
        if isinstance(heard, Action):
            return self._serve(heard)
        if heard.kind is not HeardKind.TAKE or heard.track is None:
            return None
        if heard.lost:
            session.say(LessonSentence.SOUND_LOST)
            return None
        line = tune_of(heard.track, sung_line_title(session.language, len(self.lines) + 1))
        if line is None or len(line.notes) < 2:
            return None
        register = middle(line.notes) + line.off
        if not self._teachers(register):
            return None
        if line.played:
            return line  # how high an instrument plays tells nothing of the teacher's voice
        heard_as = [HeardNote(n, True, n.midi + line.off, start, length) for n, (start, length) in
                    zip(line.notes, line.times_s, strict=True)]
        session.voices.learn(Singer.MODEL, Sung(register, timbre_of(heard.colour, heard_as) if heard.colour is not None else {}))
        return line

    def _teachers(self, register: float) -> bool:
        """Whether a line may be the teacher's. The pupil's voice is asked about: roles are never swapped silently."""
        voices = self.session.voices
        asked, self._asked = self._asked, None
        sung = Sung(register)
        own, other = voices.pupil.away(sung), voices.model.away(sung)
        if own is not None and other is not None and asked is None and own + CLEAR <= other:
            self._asked = register
            self.session.say(LessonSentence.PUPILS_VOICE)
            return False
        return True

    def _serve(self, action: Action) -> Action | None:
        """Do what a key asks for; its action where it is to end."""
        self.session.action = None
        if action is Action.QUIT:
            return action
        if action is Action.KEEP:
            self._keep()
        elif action is Action.REPEAT and self.lines:
            line = self.lines[-1]
            self.session.shift = 0.0
            self.session.give(line.notes, line.quarter_s, note=False)
        else:
            self.session.serve(action, self.place())
        return None

    def _pupil(self, line: SungLine) -> Action | None:
        """The pupil's turn, until the line is right or a key asks for the next one."""
        session = self.session
        session.say(LessonSentence.PUPILS_TURN)
        waits, missed = 0, False
        while True:
            heard = session.listen(line.notes, line.quarter_s, WAIT_S)
            if isinstance(heard, Action):
                session.action = None
                if heard in (Action.GO, Action.NEXT):
                    session.say(LessonSentence.NEW_LINE)
                    return None
                if heard is Action.AGAIN:
                    self.lines.pop()  # it was taken down wrong, or sung wrong
                    session.say(LessonSentence.ONCE_MORE_THE_LINE)
                    return None
                claimed = session.claimed() if heard is Action.ME else None
                if claimed is None:
                    if heard is not Action.ME and self._serve(heard) is Action.QUIT:
                        return Action.QUIT
                    continue
                heard = claimed
                singer = Singer.PUPIL
            else:
                singer = self._whose(heard, missed)
            if heard.match is None or heard.kind is not HeardKind.TAKE:
                waits += 1
                if waits >= MOST_WAITS:
                    session.say(LessonSentence.NEW_LINE_WHEN_READY)
                    return None
                if heard.kind is not HeardKind.SILENCE:
                    session.say(no_take(heard))
                continue
            waits = 0
            if singer is Singer.MODEL:
                session.say(LessonSentence.NOW_YOU)
                continue
            if singer is Singer.UNKNOWN:
                session.say_line(was_that_you(session.language, session.pupil.nickname if session.pupil else None))
                continue
            taken = session.answer(heard, line.tune.title)
            missed = True
            if taken.kind is CueKind.ALL_RIGHT and session.action is None:
                return None

    def _whose(self, heard: Heard, missed: bool) -> Singer:
        match = heard.match
        if heard.kind is not HeardKind.TAKE or match is None or match.shift_semitones is None:
            return Singer.PUPIL  # nothing to judge
        return self.session.whose(heard, missed, middle([n.written for n in match.notes]))

    def _keep(self) -> None:
        """The teacher's last line becomes a written tune."""
        if not self.lines:
            self.session.say(LessonSentence.NO_LINE_TO_KEEP)
            return
        number = len(self.kept) + 1
        try:
            self.keep_in.mkdir(parents=True, exist_ok=True, mode=0o700)
            while (path := self.keep_in / f"line-{number}.musicxml").exists():
                number += 1
            save(self.lines[-1].tune, path)
        except (Trouble, OSError) as trouble:  # the lesson goes on without
            self.session.say_line(str(trouble if isinstance(trouble, Trouble) else not_written(trouble)))
            return
        self.kept.append(path)
        self.session.say_line(line_kept(self.session.language, number))
