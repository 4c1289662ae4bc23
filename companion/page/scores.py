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
from companion.limits import run_limited
from companion.messages import _
from companion.page.frame import View, checked_form, render, see_other, state_of
from companion.page.kept import files_made, in_folder, written_apart
from companion.page.picture import hillside
from companion.page.views import TUNE_FORMS, download, known_job, sent_file
from companion.page.work import JobState, Made

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
    data, name = await sent_file(form, "take")
    typed = {key: str(form.get(key, ""))[:MOST_TEXT].strip() for key in ("title", "words", "time", "key", "bpm", "counted_in")}
    code = state.language.code
    job = state.jobs.start(state.language.message("Writing down the tune"), partial(
        in_folder, lambda folder: run_limited(written, str(written_apart(data, name, folder)), typed, code,
                                              seconds=SCORE_SECONDS)))
    return see_other(f"/work/{job.key}")


def written(path: str, typed: dict[str, str], code: str) -> Made:
    """A take written down, as `companion notate` does it. code: of the language, since this runs in its own process."""
    from companion.language import read_key
    from companion.transcribe import given, write_takes

    language = choose_language("american" if code == "en_US" else "british")
    known = given(_number(typed["bpm"]), typed["time"] or None, None,
                  read_key(language, typed["key"]) if typed["key"] else None, int(_number(typed["counted_in"]) or 0))
    title = typed["title"] or language.message("A sung tune")
    return _shown(language, write_takes([Path(path)], known, title, typed["words"]), [], "")


def _number(text: str) -> float | None:
    """A number that was typed, None for nothing. Raises Trouble for what is none."""
    try:
        return float(text) if text else None
    except ValueError:
        raise Trouble(_("{text} is no number. Give one, or leave the field empty.").format(text=text)) from None


def _shown(language: Language, transcription: Any, past: list[Any], said: str) -> Made:
    """A written-down take as it is shown. past: what it was before each correction. said: what was done last."""
    from companion.language import score_json, score_lines

    return Made(cue=said, lines=score_lines(language, transcription), data=score_json(language, transcription.notation),
                picture=hillside(language, transcription.notation.tune.line()), score=transcription, past=past)


async def mend(request: Request) -> Response:
    """A correction in words, or the last one taken back; answered on the job's page."""
    form = await checked_form(request)
    job = known_job(request)
    if job.state is not JobState.DONE or job.result.score is None:
        raise HTTPException(404)
    language = state_of(request).language
    text = str(form.get("correction", ""))[:MOST_TEXT].strip()
    now, past = job.result.score, job.result.past

    def make() -> Made:
        from companion.language import change_line, read_correction
        from companion.transcribe import correct

        if form.get("undo"):
            if not past:
                return replace(job.result, cue=language.message("There is nothing to take back."))
            return _shown(language, past[-1], past[:-1], language.message("The last correction is taken back."))
        try:
            done = correct(now.notation, read_correction(language, text))
        except Trouble as trouble:
            return replace(job.result, cue=str(trouble))
        after = replace(now, notation=done.notation, changes=(), laid=None)
        return _shown(language, after, [*past, now][-MOST_UNDO:], change_line(language, done.change))

    job.result = await run_in_threadpool(make)
    return see_other(f"/work/{job.key}")


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
CHANGES: dict[str, View] = {"/score": write, "/work/{key}/mend": mend, "/work/{key}/keep": keep_score}
