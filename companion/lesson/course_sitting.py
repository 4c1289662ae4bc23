"""One sitting of the course: what is due, then the new step, and at the end something that can be done.

`companion.course.planning` chooses the questions; `Sitting` goes through them with whoever is there. Reading, saying,
sounding and listening are passed in, so the same sitting runs at a terminal, on a page and in a test.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum, auto
from typing import Protocol

from companion.course import (
    BREAK_DAYS,
    CHILD_MINUTES,
    HEARD_RIGHT,
    HEARD_WRONG,
    KNOWN_FROM,
    MOST_NEW,
    Command,
    Item,
    Judged,
    KeptProgress,
    PassedBy,
    Progress,
    Stage,
    Standing,
    Step,
    TuneToHear,
    Wants,
    Why,
    change_progress,
    check,
    check_claps,
    check_take,
    find_stage,
    heard_tune,
    lay_cards,
    load_progress,
    not_known,
    plan,
    probes,
    seconds_of,
    smaller,
    with_song,
)
from companion.diary import Diary, NoteNames, Pupil, SettingName, Settings
from companion.ear import PitchTrack, Sound
from companion.errors import Trouble
from companion.language import (
    Language,
    by_hand_hint,
    choice_heading,
    choose_language,
    clap_ready_line,
    how_it_goes,
    next_stage_line,
    page_dots,
    placement_begin_line,
    placement_found_line,
    placement_stopped_line,
    question_help_hint,
    question_help_lines,
    question_left_line,
    question_text,
    recap_lines,
    reply_text,
    shown_dots,
    stage_begin_prompt,
    stage_beginning,
    stage_goes_on_line,
    stage_passed_line,
    stage_rest,
    stage_sheet_hint,
    stage_taken_back_line,
    stages_before_line,
    standing_line,
    tally_lines,
    tune_title_line,
)
from companion.match import Verdict
from companion.tune import load

MOST_LINES = 4  # typed at one question before one that cannot be read is left for another time
LATER = 3  # questions before one that was not known or wrong comes back
WITH_A_SECOND_TRY = 2.0  # times as long: a wrong answer is tried once more, and room is kept for that
LAST_ONE = 1.4  # times as long, of the question that ends a sitting, which is mostly right
LONGEST = 4.0  # times the usual: what takes longer was a pause


class Asked(Enum):
    """What became of a question."""

    ANSWERED = auto()  # or passed over
    WRONG = auto()
    NOT_KNOWN = auto()
    STOPPED = auto()  # the sitting is to end


@dataclass
class Tally:
    """What a sitting came to. usual_s, taken_s: how long its questions usually take, and how long they took; a pause in
    the midst of one is not counted."""

    asked: int = 0
    right: int = 0
    passed: list[Stage] = field(default_factory=list)
    stopped: bool = False
    usual_s: float = 0.0
    taken_s: float = 0.0

    @property
    def pace(self) -> float:
        """How many times as long as usual its questions took so far."""
        return max(1.0, self.taken_s / self.usual_s) if self.usual_s else 1.0


@dataclass
class SittingIO:
    """How a sitting reads and speaks: at a terminal, on a page, in a test.

    read: gives the next typed line, None where there are no more. say: says a line. show: shows cells.
    sound: sounds a question's first note or line, or a tune. listen: hears a sung answer, or None where nobody can
    listen; it gives None where nothing was heard, and raises Trouble where the microphone is not there or has gone.
    clap: counts a bar in, sounds the beat and gives the recording of a clapped answer, by the same rules.
    hands_free: nothing is ever typed.
    """

    language: Language
    read: Callable[[], str | None]
    say: Callable[[str], object]
    show: Callable[[str], object]
    sound: Callable[[Item | TuneToHear], object]
    listen: Callable[[Item], PitchTrack | None] | None = None
    hands_free: bool = False
    clap: Callable[[Item], Sound | None] | None = None

    def read_line(self) -> str | None:
        """The next typed line that is no call for help; help is given."""
        while True:
            line = self.read()
            if line is None or self.language.vocabulary.command(line) is not Command.HELP:
                return line
            self.say_all(question_help_lines(self.language))

    def say_all(self, lines: Sequence[str]) -> None:
        for line in lines:
            self.say(line)


@dataclass
class _Turn:
    """One question under way. lines: how many were typed. helped: the dots were told. bars: of a whole tune, of how many
    bars they were told."""

    lines: int = 0
    helped: bool = False
    bars: int = 0


class Record(Protocol):
    """What remembers answers: a `Progress`, or a `KeptProgress` in the diary."""

    def record(self, item: Item, judged: Judged, stage: Stage | None, now: datetime, helped: bool = False,
               seconds: float | None = None) -> bool: ...


@dataclass
class Sitting:
    """Goes through questions with a pupil. answers: where each answer is remembered as it comes.

    tune: what "tune" sounds, None where it is not to be heard.
    """

    answers: Record
    io: SittingIO
    tune: TuneToHear | None = None
    by_hand_explained: bool = False
    rng: random.Random = field(default_factory=lambda: random.Random(1))

    def go(self, steps: Sequence[Step], now: Callable[[], datetime], minutes: float | None = None) -> Tally:
        """All steps in turn; each answer is remembered as it comes.

        What was not known or wrong comes again a little later; missed again, it is made smaller. When there is
        no more time for it before so many minutes are over, all but the last step is left out.
        """
        tally, waiting, began = Tally(), list(steps), now()
        while waiting:
            step, at = waiting.pop(0), now()
            last = waiting[-1] if waiting and waiting[-1].why is Why.LAST else None
            takes = WITH_A_SECOND_TRY * seconds_of(step.item) + (LAST_ONE * seconds_of(last.item) if last else 0.0)
            takes *= tally.pace
            if minutes is not None and (at - began).total_seconds() + takes > minutes * 60 and step.why is not Why.LAST:
                continue  # no time for this one; a shorter one may fit
            answered = self._ask(step, now, tally)
            if answered is Asked.STOPPED:
                tally.stopped = True
                break
            usual = seconds_of(step.item)
            tally.usual_s += usual
            tally.taken_s += min((now() - at).total_seconds(), LONGEST * usual)
            if answered is Asked.NOT_KNOWN or (answered is Asked.WRONG and step.why is not Why.DRILL):
                again = step.item if step.why is not Why.AGAIN else smaller(step.item, self.rng)
                if again is not None and not (step.why is Why.AGAIN and again.kind is step.item.kind):
                    # Taught just now: what is said then is no evidence that it is known.
                    waiting.insert(min(LATER, len(waiting) - (1 if last else 0)), Step(again, Why.AGAIN))
        return tally

    def _ask(self, step: Step, now: Callable[[], datetime], tally: Tally) -> Asked:
        """One question: asked, answered, taught and, where the answer was not right, tried once more."""
        item, turn = step.item, _Turn()
        judged: Judged | None = None
        self._put(item)
        put = now()
        while True:
            answer = self._answer(item, turn)
            if answer is Command.NOT_KNOWN:
                return self._teach(step, now)
            if isinstance(answer, Command):
                return Asked.STOPPED if answer is Command.STOP else Asked.ANSWERED
            judged = self._judge(item, answer, judged)
            if judged.verdict != Verdict.UNSURE:
                break
            if turn.lines > MOST_LINES:
                self.io.say(question_left_line(self.io.language))
                return Asked.ANSWERED
            # Neither right nor wrong: once more, without a word on it.
            if item.wants is Wants.SUNG:
                self.io.sound(item)
        tally.asked += 1
        tally.right += judged.verdict == Verdict.RIGHT
        helped = turn.helped or step.why is Why.AGAIN
        at = now()
        if self.answers.record(item, judged, step.stage, at, helped, (at - put).total_seconds()) and step.stage is not None:
            tally.passed.append(step.stage)
        if judged.verdict != Verdict.WRONG:
            return Asked.ANSWERED
        return Asked.WRONG if self._once_more(item) else Asked.STOPPED

    def _teach(self, step: Step, now: Callable[[], datetime]) -> Asked:
        """What is not known is told, with a way to remember it, and tried at once.

        It is remembered as forgotten, so that it comes back soon, and is no evidence for or against a stage.
        """
        judged = not_known(step.item)
        self.io.say(reply_text(self.io.language, step.item, judged))
        self.answers.record(step.item, judged, None, now())
        return Asked.NOT_KNOWN if self._once_more(step.item) else Asked.STOPPED

    def probe(self, item: Item) -> bool | None:
        """One question of a test: whether the answer was right; None where the test is to end. Nothing is taught, and
        nothing remembered."""
        self._put(item)
        turn, judged = _Turn(), None
        while turn.lines <= MOST_LINES:
            answer = self._answer(item, turn)
            if isinstance(answer, Command):
                return None if answer is Command.STOP else False
            judged = self._judge(item, answer, judged)
            if judged.verdict != Verdict.UNSURE:
                return judged.verdict == Verdict.RIGHT
        return False

    def _once_more(self, item: Item) -> bool:
        """The same again, right after it was taught; this answer is for learning, and is not counted."""
        self._put(item)
        answer = self._answer(item, _Turn())
        if isinstance(answer, Command):
            return answer is not Command.STOP
        self._judge(item, answer)
        return True

    def _put(self, item: Item, with_dots: bool = False) -> None:
        language = self.io.language
        self.io.say(question_text(language, item))
        for n, cells in enumerate(item.choices, 1):
            self.io.say(choice_heading(language, n))
            self.io.show(cells)
        for cells in item.cells.split("\n") if item.cells else []:
            self.io.show(cells)
        dots = shown_dots(language, item) if with_dots else ""
        if dots:
            self.io.say(dots)
        if item.wants is not Wants.CLAPPED or self.io.clap is None:
            self.io.sound(item)  # what is clapped is counted in as the microphone is opened

    def _answer(self, item: Item, turn: _Turn) -> str | PitchTrack | Sound | Command:
        """The next answer, or that one is passed over or the sitting stopped; other wishes are fulfilled first."""
        language = self.io.language
        while True:
            line = self._sung_or_typed(item)
            turn.lines += 1
            if not isinstance(line, str) or isinstance(line, Command):
                return Command.STOP if line is None else line
            command = language.vocabulary.command(line, item.wants is Wants.NAME)
            if command in (Command.STOP, Command.SKIP, Command.NOT_KNOWN):
                return command
            if line == "":
                self._put(item)  # Enter alone: once more
            elif command is Command.AGAIN:
                self._put(item)
            elif command is Command.DOTS and item.bars:
                # A bar at a time: a whole tune dot by dot takes minutes.
                self.io.say(page_dots(language, item, turn.bars))
                turn.bars += 1
                turn.helped = True
            elif command is Command.DOTS:
                self._put(item, with_dots=True)
                turn.helped = True
            elif command is Command.TUNE and self.tune is not None:
                self.io.sound(self.tune)
            elif command is Command.KEY:
                self.io.say(how_it_goes(language, item))
            else:
                return line

    def _sung_or_typed(self, item: Item) -> str | PitchTrack | Sound | Command | None:
        """A sung or clapped answer where somebody listens, else a typed line."""
        sung = item.wants in (Wants.SUNG, Wants.CLAPPED)
        if item.wants is Wants.CLAPPED and self.io.clap is not None and not self.io.hands_free:
            self.io.say(clap_ready_line(self.io.language))
            line = self.io.read_line()
            if line != "":
                return line
        heard = self._heard(item)
        if heard is not None:
            return heard
        if self.io.hands_free:
            return Command.STOP if self.io.listen is None else Command.SKIP
        if sung and self.io.listen is None and not self.by_hand_explained:
            self.by_hand_explained = True
            self.io.say(by_hand_hint(self.io.language))
        return self.io.read_line()

    def _heard(self, item: Item) -> PitchTrack | Sound | None:
        """What was sung or clapped into the microphone; None where nothing was, or nobody listens."""
        try:
            if item.wants is Wants.SUNG and self.io.listen is not None:
                return self.io.listen(item)
            if item.wants is Wants.CLAPPED and self.io.clap is not None:
                return self.io.clap(item)
        except Trouble as trouble:
            # No microphone, or it has gone: said once, and the sitting goes on by keys.
            self.io.say(str(trouble))
            self.io.listen = self.io.clap = None
        return None

    def _judge(self, item: Item, answer: str | PitchTrack | Sound, before: Judged | None = None) -> Judged:
        """An answer judged, and said back."""
        if isinstance(answer, str):
            judged = check(item, answer, self.io.language.vocabulary, before)
        elif isinstance(answer, Sound):
            judged = check_claps(item, answer, led=True)
        else:
            judged = check_take(item, answer)
        self.io.say(reply_text(self.io.language, item, judged))
        return judged


def sit(diary: Diary, pupil: Pupil, stages: Sequence[Stage], now: Callable[[], datetime], io: SittingIO,
        most_new: int = MOST_NEW, minutes: float = CHILD_MINUTES) -> Tally:
    """One sitting of a pupil, of so many minutes: the stage's own part where it is new, the questions, what it came to.

    Hands-free, only questions that are answered by singing are asked, and nothing is waited for. Every answer is in
    the diary before the next question is asked.
    """
    stages = sung_stages(diary, pupil, stages)
    change_progress(diary, pupil, lambda p: p.hear_moves(diary.tally(pupil, since=p.heard_until()), now()))
    progress = load_progress(diary, pupil)
    here = progress.stage(stages)
    if not progress.has_begun(here) and not progress.finished(stages):
        io.say_all(stage_beginning(io.language, here))
        if not _begin(here, io):
            return Tally(stopped=True)
    else:
        if (days := progress.away(now())) >= BREAK_DAYS:
            before = [s for s in stages if s.number < here.number]
            io.say_all(recap_lines(io.language, days, [*before[-1:], here]))
        io.say(standing_line(io.language, progress.standing(stages, now())))
    # The day and the number of answers so far make the chance, so that a sitting can be gone through again.
    rng = random.Random(f"{pupil.nickname} {now():%Y-%m-%d} {len(progress.answers)}")
    steps = plan(progress, stages, now(), rng, most_new, minutes, sung_only=io.hands_free)
    tune = None if here.unseen else heard_tune(here.material, here.by_ear)
    tally = Sitting(KeptProgress(diary, pupil), io, tune, rng=rng).go(steps, now, minutes)
    change_progress(diary, pupil, lambda p: p.take_time(tally.usual_s, tally.taken_s))
    progress = load_progress(diary, pupil)
    io.say_all(tally_lines(io.language, tally.asked, tally.right, tally.passed))
    for stage in tally.passed:
        following = next((s for s in stages if s.number > stage.number), None)
        if following is not None:
            io.say(next_stage_line(io.language, following))
    if not (tally.passed or tally.stopped or progress.finished(stages)):
        io.say(stage_goes_on_line(io.language, here))
    return tally


def pupils_language(settings: Settings) -> Language:
    """The language of a sitting by a pupil's settings: their variety of English, and notes by solfa where they are to be."""
    language = choose_language(settings[SettingName.VARIETY])
    return language.by_solfa() if settings[SettingName.NOTE_NAMES] == NoteNames.SOLFA else language


def sung_stages(diary: Diary, pupil: Pupil, stages: Sequence[Stage]) -> Sequence[Stage]:
    """The stages with the pupil's own song, where one is set (`course-song`). Raises Trouble where it cannot be read."""
    name = str(diary.settings(pupil)[SettingName.COURSE_SONG])
    return with_song(stages, load(name), name) if name else stages


def _begin(here: Stage, io: SittingIO) -> bool:
    """At the beginning of a stage: the tune and more, as often as they are asked for; whether to go on."""
    title = "" if here.unseen else here.material.tune.title
    tune = heard_tune(here.material, here.by_ear)
    if (here.by_ear or io.hands_free) and title:
        io.say(tune_title_line(io.language, title))
        io.sound(tune)
    if io.hands_free:
        return True
    if not here.by_ear:
        io.say(stage_sheet_hint(io.language, here))
    io.say(question_help_hint(io.language))
    while True:
        io.say(stage_begin_prompt(io.language, title))
        line = io.read_line()
        command = io.language.vocabulary.command(line) if line is not None else Command.STOP
        if command is Command.STOP:
            return False
        if command is Command.TUNE and title:
            io.sound(tune)
        elif command is Command.MORE:
            io.say_all(stage_rest(io.language, here))
        else:
            return True


def place(diary: Diary, pupil: Pupil, stages: Sequence[Stage], now: Callable[[], datetime], io: SittingIO) -> Stage | None:
    """A short test that finds where to begin: the first stage that is not known. Those before it are passed by it, and what
    they teach is remembered as known. None where it was stopped, and then nothing is changed.

    The stages are halved each time, three questions each, so that some fifteen are enough.
    """
    rng = random.Random(f"{pupil.nickname} {now():%Y-%m-%d} placement")
    sitting = Sitting(Progress(), io, rng=rng)
    asked = [s for s in stages if not s.unseen]  # what nobody is to have met is no test
    io.say(placement_begin_line(io.language))
    low, high = 0, len(asked)
    while low < high:
        middle = (low + high) // 2
        answers = []
        for item in probes(asked[middle], rng, Progress()):
            right = sitting.probe(item)
            if right is None:
                io.say(placement_stopped_line(io.language))
                return None
            answers.append(right)
        low, high = (middle + 1, high) if sum(answers) >= min(KNOWN_FROM, len(answers)) else (low, middle)
    # The stage after the last that is known, be it one that cannot be asked for.
    found = next((s for s in stages if low == 0 or s.number > asked[low - 1].number), stages[-1])
    before = [s for s in stages if s.number < found.number]

    def change(progress: Progress) -> None:
        _pass_all(progress, before, now(), PassedBy.PLACEMENT)

    change_progress(diary, pupil, change)
    io.say(placement_found_line(io.language, found))
    return found


def _pass_all(progress: Progress, passed: Sequence[Stage], now: datetime, by: PassedBy) -> None:
    """Pass stages that are not passed yet, and remember what they teach as known."""
    fresh = [s for s in passed if not progress.has_passed(s)]
    for stage in fresh:
        progress.pass_stage(stage, now, by)
    lay_cards(progress, fresh, now)


def drill_sitting(items: Sequence[Item], answers: Record, now: Callable[[], datetime], io: SittingIO) -> Tally:
    """A single drill gone through; what is answered is remembered, but is evidence for no stage."""
    tally = Sitting(answers, io).go([Step(item, Why.DRILL) for item in items], now)
    io.say_all(tally_lines(io.language, tally.asked, tally.right, tally.passed))
    return tally


def judge_stages(diary: Diary, pupil: Pupil, stages: Sequence[Stage], passed: Sequence[str], back: Sequence[str],
                 now: datetime, language: Language) -> list[str]:
    """Stages passed, with all before them, or taken back by the adult's word; what is said to it. What they teach is
    remembered as known. Raises Trouble for a stage that is none."""
    named = [(find_stage(n, stages), True) for n in passed] + [(find_stage(n, stages), False) for n in back]

    out: list[str] = []

    def change(progress: Progress) -> Standing:
        for stage, is_passed in named:
            if is_passed:
                before = [s for s in stages if s.number < stage.number and not progress.has_passed(s)]
                _pass_all(progress, [*before, stage], now, PassedBy.WORD)
                out.append(stage_passed_line(language, stage))
                out.extend([stages_before_line(language, len(before))] if before else [])
            else:
                progress.take_back(stage, now)
                out.append(stage_taken_back_line(language, stage))
        return progress.standing(stages, now)

    standing = change_progress(diary, pupil, change)
    return [*out, standing_line(language, standing)]


__all__ = ["HEARD_RIGHT", "HEARD_WRONG", "Sitting", "SittingIO", "Tally", "drill_sitting", "judge_stages", "place", "sit"]
