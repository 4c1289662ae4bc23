"""From voice to score: a sung take written down, mended line by line, and fetched in every form."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from companion.errors import Trouble
from companion.language import Language, choose_language
from companion.messages import _
from companion.page.frame import View, checked_form, render, see_other, state_of
from companion.page.kept import files_made
from companion.page.picture import hillside
from companion.page.views import TUNE_FORMS, download, known_job, made_apart, sent_files
from companion.page.work import Job, JobState, Made

SCORE_SECONDS = 240.0  # a song of five minutes is written down in less
MOST_TEXT = 2000  # characters of words, a title or a correction
MOST_UNDO = 100


async def score(request: Request) -> Response:
    """A recording to be written down."""
    return render(request, "score.html", state_of(request).language.message("From voice to score"))


async def write(request: Request) -> Response:
    """The recording that was sent, written down in a process of its own."""
    form = await checked_form(request)
    state = state_of(request)
    takes = await sent_files(form, "take")
    typed = {key: str(form.get(key, ""))[:MOST_TEXT].strip() for key in ("title", "words", "time", "key", "bpm", "counted_in")}
    code = state.language.code
    job = state.jobs.start(state.language.message("Writing down the tune"), state.language.message("The tune, written down"),
                           partial(made_apart, written, takes, typed, code, seconds=SCORE_SECONDS))
    return see_other(f"/work/{job.key}")


def written(takes: list[tuple[str, str]], typed: dict[str, str], code: str) -> Made:
    """Takes of one tune written down, as `companion notate` does it. code: of the language, in this process of its own."""
    from companion.language import read_key
    from companion.transcribe import given, write_takes

    language = choose_language("american" if code == "en_US" else "british")
    known = given(_number(typed["bpm"]), typed["time"] or None, None,
                  read_key(language, typed["key"]) if typed["key"] else None, int(_number(typed["counted_in"]) or 0))
    title = typed["title"] or language.message("A sung tune")
    return _shown(language, write_takes([Path(path) for path, _name in takes], known, title, typed["words"]), [], "")


def _number(text: str) -> float | None:
    """A number that was typed, None for nothing. Raises Trouble for what is none."""
    try:
        return float(text) if text else None
    except ValueError:
        raise Trouble(_("{text} is no number. Give one, or leave the field empty.").format(text=text)) from None


def _shown(language: Language, transcription: Any, past: list[Any], said: str, asked: tuple[Any, ...] = ()) -> Made:
    """A written-down take as it is shown, with the question that settles most. past: what it was before each change.

    said: what was done last. asked: kinds of questions that were asked.
    """
    from companion.language import question_line, score_json, score_lines
    from companion.transcribe import question

    now = question(transcription.notation, asked)
    answers: list[str] = []
    if now is not None:
        words = language.correction_words.answers[now.kind]
        answers = [next(word for word, meant in words.items() if meant is answer) for answer in now.answers]
    return Made(cue=said, lines=score_lines(language, transcription), data=score_json(language, transcription.notation),
                picture=hillside(language, transcription.notation.tune.line()), score=transcription, past=past, asked=asked,
                question=question_line(language, now) if now is not None else "", answers=answers)


async def mend(request: Request) -> Response:
    """A correction in words, or the last one taken back; answered on the job's page."""
    form = await checked_form(request)
    job, language = _scored(request), state_of(request).language
    text = str(form.get("correction", ""))[:MOST_TEXT].strip()
    made = job.result

    def make() -> Made:
        from companion.language import change_line, read_corrections
        from companion.transcribe import correct_all

        if form.get("undo"):
            if not made.past:
                return replace(made, cue=language.message("There is nothing to take back."))
            return _shown(language, made.past[-1], made.past[:-1], language.message("The last correction is taken back."),
                          made.asked)
        try:
            notation, changes = correct_all(made.score.notation, read_corrections(language, text))
        except Trouble as trouble:
            return replace(made, cue=str(trouble))
        after = replace(made.score, notation=notation, changes=(), laid=None)
        return _shown(language, after, [*made.past, made.score][-MOST_UNDO:],
                      " ".join(change_line(language, change) for change in changes), made.asked)

    job.result = await run_in_threadpool(make)
    return see_other(f"/work/{job.key}#heard")


def _scored(request: Request) -> Job:
    """The job that an address names, with its score; 404 where there is none."""
    job = known_job(request)
    if job.state is not JobState.DONE or job.result.score is None:
        raise HTTPException(404)
    return job


async def settle(request: Request) -> Response:
    """The answer to the question about the metre; without one the question is left."""
    form = await checked_form(request)
    job, language = _scored(request), state_of(request).language
    made, text = job.result, str(form.get("answer", ""))[:MOST_TEXT]

    def make() -> Made:
        from companion.language import read_answer
        from companion.transcribe import answered, question

        now = question(made.score.notation, made.asked)
        if now is None:
            return made
        given = read_answer(language, now, text)
        after = made.score if given is None else replace(made.score, notation=answered(made.score.notation, given))
        said = language.message("The question is left.") if given is None else language.message("Read again with that.")
        return _shown(language, after, [*made.past, made.score][-MOST_UNDO:], said, (*made.asked, now.kind))

    job.result = await run_in_threadpool(make)
    return see_other(f"/work/{job.key}#heard")


async def score_file(request: Request) -> Response:
    """The score in one of its forms."""
    job, form = known_job(request), request.path_params["form"]
    if job.result.score is None or form not in TUNE_FORMS:
        raise HTTPException(404)
    language, tune = state_of(request).language, job.result.score.notation.tune

    def make() -> dict[str, bytes]:
        from companion.paper import save_as

        return files_made(lambda folder: save_as(tune, folder / f"score.{form}", language))

    return download(*next(iter((await run_in_threadpool(make)).items())))


async def keep_score(request: Request) -> Response:
    """The score becomes a tune, to be sung and worked with like any other."""
    await checked_form(request)
    job, state = known_job(request), state_of(request)
    if job.result.score is None:
        raise HTTPException(404)
    tune = job.result.score.notation.tune
    key = await run_in_threadpool(state.tunes.keep, tune, tune.title or state.language.message("A sung tune"))
    return see_other(f"/tunes/{key}")


PAGES: dict[str, View] = {"/score": score, "/work/{key}/score.{form}": score_file}
CHANGES: dict[str, View] = {"/score": write, "/work/{key}/mend": mend, "/work/{key}/settle": settle,
                            "/work/{key}/keep": keep_score}
