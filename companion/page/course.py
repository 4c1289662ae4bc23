"""The course: stages to read, a sitting or a drill answered by typing (with sounds to be played), the adult's word."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from companion import messages
from companion.course import (
    Command,
    Item,
    KeptProgress,
    Order,
    Progress,
    QuestionKind,
    Stage,
    TuneToHear,
    drill_items,
    find_stage,
    forget_progress,
    load_progress,
    material,
    question_kind,
    stages,
)
from companion.diary import Diary, SettingName
from companion.errors import Trouble
from companion.language import (
    Language,
    course_begins_again_line,
    glossary_lines,
    kind_name,
    stage_label,
    stage_lines,
    standing_lines,
)
from companion.messages import N_, _
from companion.page.diary import begins, given_name
from companion.page.frame import State, View, checked_form, pupils_of, render, see_other, state_of, whole_number
from companion.page.kept import Sounds, wav_bytes
from companion.page.papers import MOST_QUESTIONS

MOST_ANSWER = 2000  # characters of one answer
ANSWERED_S = 20.0  # how long the next question may take to be made before the page is shown without it
LEFT_S = 3600.0  # after so long without an answer a sitting ends; every answer before is kept


@dataclass(frozen=True)
class Entry:
    """One thing that was said, shown or sounded. sound: its key.

    Cells stand alone: to name their dots would give the answer to many a question; who wants them asks for them.
    """

    text: str = ""
    cells: str = ""
    sound: str = ""


@dataclass
class TypedSitting:
    """A sitting in a thread of its own, that a page goes through step by step.

    pupil: whose, "" for nobody. entries: since the last answer. asking: it waits for an answer, or has ended.
    """

    language: Language
    sounds: Sounds
    pupil: str = ""
    entries: list[Entry] = field(default_factory=list)
    asking: threading.Event = field(default_factory=threading.Event)
    ended: bool = False
    _answers: queue.SimpleQueue[str | None] = field(default_factory=queue.SimpleQueue)

    def begin(self, go: Callable[[Any], object]) -> None:
        """Begin `go(io)` in a thread and wait for its first question."""
        threading.Thread(target=self._run, args=(go,), name="sitting", daemon=True).start()
        self.asking.wait(ANSWERED_S)

    def answer(self, text: str | None) -> None:
        """An answer, None to end; waits for what comes next."""
        if self.ended:
            return
        self.asking.clear()
        self.entries = []
        self._answers.put(text)
        self.asking.wait(ANSWERED_S)

    def io(self, shift: float = 0.0) -> Any:
        """How the sitting reads and speaks. shift: semitones between written notes and those that are sounded."""
        from companion.lesson import SittingIO, sound_of_question

        def sound(item: Item | TuneToHear) -> None:
            made = sound_of_question(item, shift)
            if made is not None:
                self.entries.append(Entry(sound=self.sounds.keep(wav_bytes(made))))

        return SittingIO(self.language, self._read, lambda text: self.entries.append(Entry(text=text)),
                         lambda cells: self.entries.append(Entry(cells=cells)), sound)

    def _read(self) -> str | None:
        self.asking.set()
        try:
            return self._answers.get(timeout=LEFT_S)
        except queue.Empty:
            return None

    def _run(self, go: Callable[[Any], object]) -> None:
        messages.apart()
        messages.use(self.language.translations)
        try:
            go(self)
        except Trouble as trouble:
            self.entries.append(Entry(text=str(trouble)))
        except Exception as error:  # a fault of ours must not leave a page waiting
            self.entries.append(Entry(text=type(error).__name__))
        finally:
            self.ended = True
            self.asking.set()


def _now() -> datetime:
    return datetime.now().astimezone()


async def course(request: Request) -> Response:
    """The stages, and how to begin."""
    state = state_of(request)
    language = state.language
    found = [(s.key, stage_label(language, s)) for s in stages()]
    kinds = [(k.value, kind_name(language, k)) for k in QuestionKind]
    return render(request, "course.html", language.message("The course"), stages=found, kinds=kinds, sitting=state.sitting,
                  pupils=await run_in_threadpool(pupils_of, state), chosen=state.pupil, tunes=state.tunes.choices())


async def stage(request: Request) -> Response:
    """One stage: for the adult, for the pupil."""
    language = state_of(request).language
    try:
        found = find_stage(request.path_params["number"], stages())
    except Trouble:
        raise HTTPException(404) from None
    lines = await run_in_threadpool(stage_lines, language, found)
    return render(request, "lines.html", lines[0].rstrip("."), lines=lines[1:], headings=headings(language),
                  back=("/course", language.message("The course")))


def headings(language: Language) -> list[str]:
    """The lines of a stage that head what comes after them."""
    return [language.message(line) for line in (N_("For the adult."), N_("You need:"), N_("Say to the pupil."),
                                                N_("It is known when:"), N_("What may go wrong."))]


async def words(request: Request) -> Response:
    """Every word of the trade, and what it means."""
    language = state_of(request).language
    return render(request, "lines.html", language.message("Words of the trade"), headings=[],
                  lines=glossary_lines(language, stages()),
                  back=("/course", language.message("The course")))


async def begin(request: Request) -> Response:
    """A sitting of a pupil, answered by typing."""
    form = await checked_form(request)
    state = state_of(request)
    name, new = given_name(form), form.get("new") == "yes"
    most = whole_number(form, "questions", 16, 1, MOST_QUESTIONS)

    def settled() -> Language:
        from companion.lesson import pupils_language

        with Diary(state.diary) as diary:
            pupil = diary.pupil(name, new=begins(diary, name, new))
            return pupils_language(diary.settings(pupil))

    language = await run_in_threadpool(settled)

    def go(sitting: TypedSitting) -> None:
        from companion.lesson import shift_for, sit

        with Diary(state.diary) as diary:
            pupil, some = diary.pupil(name), stages()
            shift = shift_for(load_progress(diary, pupil).stage(some).material, pupil.low, pupil.high)
            sit(diary, pupil, some, _now, sitting.io(shift), most, diary.settings(pupil)[SettingName.COURSE_MINUTES])

    state.pupil = name
    return await _go(state, TypedSitting(language, state.sounds, name), go)


async def _go(state: State, sitting: TypedSitting, go: Callable[[TypedSitting], None]) -> Response:
    if state.sitting is not None:
        await run_in_threadpool(state.sitting.answer, None)
    state.sitting = sitting
    await run_in_threadpool(sitting.begin, go)
    return see_other("/course/sitting")


@dataclass(frozen=True)
class Drill:
    """One kind of question, from a tune (what `load` takes for it) or else from a stage. count: how many."""

    kind: QuestionKind
    place: str | None
    stage: Stage | None
    count: int

    def items(self) -> list[Item]:
        """The questions."""
        stage = self.stage
        m = material(self.place, ()) if self.place else stage.material if stage else None
        return drill_items(self.kind, m, stage.facts_of(self.kind) if stage else (), Order.MIXED, self.count, None)


def read_drill(state: State, given: Callable[[str], Any], count: int) -> Drill:
    """What a form asks for, by the names of its fields: kind, tune, stage. Raises Trouble for what there is not."""
    place = state.tunes.place(str(given("tune"))) if given("tune") else None
    return Drill(question_kind(str(given("kind") or "")), place,
                 None if place else find_stage(str(given("stage") or "2"), stages()), count)


def typed_words(language: Language) -> dict[str, str]:
    """What may be typed instead of an answer, one word each, for buttons that type it."""
    found = language.vocabulary.commands
    return {command.value.replace(" ", "_"): next(word for word, meant in found.items() if meant is command)
            for command in (Command.DOTS, Command.AGAIN, Command.NOT_KNOWN, Command.SKIP)}


async def drill(request: Request) -> Response:
    """One kind of question, from a stage or from any tune."""
    form = await checked_form(request)
    state = state_of(request)
    asked = read_drill(state, form.get, whole_number(form, "count", 8, 1, MOST_QUESTIONS))
    name = given_name(form) if form.get("pupil") else ""

    def go(sitting: TypedSitting) -> None:
        from companion.lesson import drill_sitting

        items = asked.items()
        if not name:
            drill_sitting(items, Progress(), _now, sitting.io())
            return
        with Diary(state.diary) as diary:
            drill_sitting(items, KeptProgress(diary, diary.pupil(name)), _now, sitting.io())

    return await _go(state, TypedSitting(state.language, state.sounds, name), go)


async def sitting_page(request: Request) -> Response:
    """Where the sitting is: what was said since the last answer, and the place for the next."""
    state = state_of(request)
    if state.sitting is None:
        return see_other("/course")
    title = state.language.message("The sitting has ended") if state.sitting.ended else state.language.message("A sitting")
    entries, heads = list(state.sitting.entries), headings(state.sitting.language)
    return render(request, "sitting.html", title, sitting=state.sitting, entries=entries, headings=heads,
                  typed=typed_words(state.sitting.language), introduces=any(e.text in heads for e in entries))


async def answer(request: Request) -> Response:
    """An answer that was typed."""
    form = await checked_form(request)
    state = state_of(request)
    if state.sitting is None:
        return see_other("/course")
    text = str(form.get("answer", ""))[:MOST_ANSWER]
    await run_in_threadpool(state.sitting.answer, None if form.get("stop") else text)
    return see_other("/course/sitting")


async def judge(request: Request) -> Response:
    """What is known of a pupil, or the adult's word on a stage."""
    form = await checked_form(request)
    state = state_of(request)
    name, what, number = given_name(form), str(form.get("what", "known")), str(form.get("stage", ""))

    def make() -> list[str]:
        from companion.lesson import judge_stages

        some = stages()
        with Diary(state.diary) as diary:
            pupil = diary.pupil(name)
            if what == "begin-again":
                if form.get("sure") != "yes":
                    raise Trouble(_("Say with the box that all of this pupil's course is to be forgotten."))
                forget_progress(diary, pupil)
                return [course_begins_again_line(state.language, pupil.nickname)]
            if what in ("pass", "back"):
                return judge_stages(diary, pupil, some, [number] if what == "pass" else [], [number] if what == "back" else [],
                                    _now(), state.language)
            return standing_lines(state.language, load_progress(diary, pupil).standing(some, _now()), _now())

    state.pupil = name
    lines = await run_in_threadpool(make)
    return render(request, "done.html", state.language.message("{pupil} in the course").format(pupil=name), lines=lines)


PAGES: dict[str, View] = {"/course": course, "/course/stage/{number}": stage, "/course/words": words,
                          "/course/sitting": sitting_page}
CHANGES: dict[str, View] = {"/course/begin": begin, "/course/drill": drill, "/course/answer": answer, "/course/judge": judge}
