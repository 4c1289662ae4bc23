"""Sheets, exercises, the finger line and the wall card: chosen, made as a job, read on the page and fetched in every form."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from companion.course import QuestionKind, stages
from companion.diary import Diary
from companion.errors import Trouble
from companion.language import ExerciseKind, Language, exercise_title, kind_name, stage_label
from companion.messages import _
from companion.page.frame import View, checked_form, render, see_other, state_of, whole_number
from companion.page.kept import files_made
from companion.page.work import Made
from companion.tune import load

MOST_QUESTIONS = 60
SHEET_FORMS = ("brf", "pef", "html", "pdf", "txt")


async def papers(request: Request) -> Response:
    """What can be put on paper."""
    state = state_of(request)
    language = state.language
    return render(request, "papers.html", language.message("Sheets and exercises"), tunes=state.tunes.choices(),
                  stages=[(s.key, stage_label(language, s)) for s in stages()],
                  kinds=[(k.value, kind_name(language, k)) for k in QuestionKind],
                  exercise_kinds=[(k.value, exercise_title(language, k)) for k in ExerciseKind],
                  chosen=request.query_params.get("tune", ""), pupil=state.pupil)


async def sheet(request: Request) -> Response:
    """A sheet of the course: a stage, a tune, drills, a key, a week."""
    form = await checked_form(request)
    state = state_of(request)
    what, kind = str(form.get("what", "stage")), str(form.get("kind", ""))
    place = state.tunes.place(str(form.get("tune", ""))) if form.get("tune") else None
    names = {"stage": str(form.get("stage", "")), "drill": str(form.get("stage", "")), "key": str(form.get("stage", "")),
             "tune": place or "", "week": str(form.get("pupil", ""))}
    if what not in names or (kind and kind not in set(QuestionKind)):
        raise Trouble(_("There is no such sheet. Choose one of the list."))
    count = whole_number(form, "count", 20, 1, MOST_QUESTIONS)
    seed = whole_number(form, "seed", 1, 0, 999_999)
    language, diary = state.language, state.diary

    def make() -> Made:
        from companion.workbook import SheetOf, WantedSheet, sheet_of

        wanted = WantedSheet(SheetOf(what), names[what] or None, kind or None, place if what == "drill" and kind else None,
                             (), count, seed)
        found = sheet_of(language, wanted, stages(), lambda: Diary(diary), datetime.now().astimezone())
        return made_sheet(language, found, "sheet")

    return _begun(request, language.message("Making the sheet"), language.message("The sheet"), make)


def made_sheet(language: Language, found: Any, name: str) -> Made:
    """A sheet to be read here, and its files: where there is anything for the helper alone, the pupil's and the helper's, so
    that answers are never under the pupil's hands."""
    from companion.paper import for_pupil, save_sheet, to_text

    pupils = for_pupil(found)

    def write(folder: Path) -> None:
        for ending in SHEET_FORMS:
            save_sheet(pupils, folder / f"{name}.{ending}", language)
            if pupils != found:
                save_sheet(found, folder / f"{name}-helper.{ending}", language, whole=True)

    return Made(lines=[line for line in to_text(found, language) if line], files=files_made(write))


def _begun(request: Request, title: str, done: str, make: Callable[[], Made]) -> Response:
    return see_other(f"/work/{state_of(request).jobs.start(title, done, make).key}")


async def exercises(request: Request) -> Response:
    """Graded exercises from a tune, answers apart."""
    form = await checked_form(request)
    state = state_of(request)
    place, language = state.tunes.place(str(form.get("tune", ""))), state.language
    level = whole_number(form, "level", 5, 1, 5)
    seed = whole_number(form, "seed", 1, 0, 999_999)
    kinds = [k for k in form.getlist("kind") if isinstance(k, str) and k in set(ExerciseKind)]
    sound = form.get("sound") == "yes"

    def make() -> Made:
        from companion.paper import save_sheet, to_text
        from companion.workbook import booklet_of, booklet_sheet, save_booklet

        booklet = booklet_of(place, level=level, kinds=kinds, practise=(), width=40, seed=seed, part=None)

        def write(folder: Path) -> None:
            save_booklet(booklet, folder / "exercises", language, sound=sound)
            for answers, name in ((False, "exercises.pef"), (True, "exercises-answers.pef")):
                save_sheet(booklet_sheet(booklet, language, answers), folder / name, language)

        return Made(lines=[x for x in to_text(booklet_sheet(booklet, language, False), language) if x],
                    files=files_made(write))

    return _begun(request, language.message("Making the exercises"), language.message("The exercises"), make)


async def finger_line(request: Request) -> Response:
    """The tune as a line to follow with the finger."""
    form = await checked_form(request)
    state = state_of(request)
    place, language = state.tunes.place(str(form.get("tune", ""))), state.language

    def make() -> Made:
        from companion.paper import finger_line_words, save_finger_line

        tune = load(place)

        def write(folder: Path) -> None:
            for ending in ("svg", "pdf", "brf", "pef", "txt"):
                save_finger_line(tune, folder / f"finger-line.{ending}", language)

        return Made(lines=list(finger_line_words(tune, language)), files=files_made(write))

    return _begun(request, language.message("Drawing the line"), language.message("The line to follow"), make)


async def wall(request: Request) -> Response:
    """The hand's height for each note."""
    form = await checked_form(request)
    state = state_of(request)
    place, language = state.tunes.place(str(form.get("tune", ""))), state.language
    shoulder = whole_number(form, "shoulder", 0, 1, 300)
    if not shoulder:
        raise Trouble(_("Give the height of the pupil's shoulder above the floor, in centimetres."))

    def make() -> Made:
        from companion.paper import save_wall_card, to_text, wall_card_sheet

        card = wall_card_sheet(load(place), float(shoulder), language)

        def write(folder: Path) -> None:
            for ending in SHEET_FORMS:
                save_wall_card(card, folder / f"wall-card.{ending}", language)

        return Made(lines=[x for x in to_text(card, language) if x], files=files_made(write))

    return _begun(request, language.message("Making the wall card"), language.message("The wall card"), make)


PAGES: dict[str, View] = {"/papers": papers}
CHANGES: dict[str, View] = {"/papers/sheet": sheet, "/papers/exercises": exercises, "/papers/line": finger_line,
                            "/papers/wall": wall}
