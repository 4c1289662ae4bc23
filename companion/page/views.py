"""The pages by what a person wants to do; each calls the same functions as the command of the same job."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from companion.braille import decode, encode, lines_of
from companion.errors import Trouble
from companion.language import tune_line
from companion.limits import run_limited
from companion.messages import _
from companion.page.app import State, View, checked_form, render, see_other
from companion.page.work import JobState
from companion.tune import catalogue, load

MOST_TYPED = 100_000  # letters of braille typed into a form: some hundred pages


def _state(request: Request) -> State:
    state: State = request.app.state.companion
    return state


async def home(request: Request) -> Response:
    """What shall we do?"""
    return render(request, "home.html", _state(request).language.message("What shall we do?"))


async def tunes(request: Request) -> Response:
    """The tunes that ship, easiest first."""
    language = _state(request).language
    entries = [(e.name, e.title, tune_line(language, e)) for e in catalogue()]
    return render(request, "tunes.html", language.message("Tunes"), entries=entries)


async def listen(request: Request) -> Response:
    """A recording to be matched with a tune."""
    return render(request, "listen.html", _state(request).language.message("Hear a recording"), tunes=catalogue())


async def heard(request: Request) -> Response:
    """The recording that was sent, matched in a process of its own; the answer is found again by its job."""
    form = await checked_form(request)
    take = form.get("take")
    tune = str(form.get("tune", ""))
    if tune not in {e.name for e in catalogue()}:
        raise Trouble(_("Choose one of the tunes that ship."))
    if take is None or isinstance(take, str) or not take.filename:
        raise Trouble(_("Choose a recording first."))
    data = await take.read()
    language = _state(request).language
    suffix = Path(take.filename).suffix[:8]
    job = _state(request).jobs.start(language.message("Listening to the recording"),
                                     lambda: _answer(data, suffix, tune, language))
    return see_other(f"/work/{job.key}")


def _answer(data: bytes, suffix: str, tune: str, language: Any) -> dict[str, Any]:
    """The answer to uploaded sound. The name that came with it is used for its ending alone."""
    with tempfile.TemporaryDirectory(prefix="companion-") as folder:
        path = Path(folder) / f"take{suffix if suffix.isascii() and suffix[1:].isalnum() else ''}"
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        return run_limited(_answer_lines, str(path), tune, language)


def _answer_lines(path: str, tune: str, language: Any) -> dict[str, Any]:
    from companion.lesson.answer import answer
    from companion.lesson.words import answer_lines

    found = answer(path, tune)
    cue, *lines = answer_lines(language, found)
    return {"cue": cue, "lines": lines, "json": {**found.as_json(language), "take": "take"}}


async def work(request: Request) -> Response:
    """A job: still going on, done, or why not."""
    job = _state(request).jobs.find(request.path_params["key"])
    if job is None:
        raise HTTPException(404)
    title = job.title if job.state is not JobState.DONE else _state(request).language.message("What was heard")
    return render(request, "work.html", title, job=job, running=job.state is JobState.RUNNING,
                  failed=job.state is JobState.FAILED)


async def work_json(request: Request) -> Response:
    """A job's answer for programs, with the keys of the command."""
    job = _state(request).jobs.find(request.path_params["key"])
    if job is None or job.state is not JobState.DONE:
        raise HTTPException(404)
    return JSONResponse(job.result["json"])


async def read(request: Request) -> Response:
    """Braille typed or brailled, to be read back."""
    return render(request, "read.html", _state(request).language.message("Read and write braille"), typed="", lines=[])


async def read_back(request: Request) -> Response:
    """What the braille says, and what is amiss in it."""
    form = await checked_form(request)
    typed = str(form.get("cells", ""))
    if len(typed) > MOST_TYPED:
        raise Trouble(_("That is more than a hundred pages. Send it piece by piece."))
    language = _state(request).language

    def lines() -> list[str]:
        from companion.language import reading_lines

        return reading_lines(language, decode(lines_of(typed)))

    found = await run_in_threadpool(lines)
    return render(request, "read.html", language.message("What it says"), typed=typed, lines=found)


async def tune_page(request: Request) -> Response:
    """A tune in braille, with what each sign says."""
    name = request.path_params["name"]
    language = _state(request).language
    if name not in {e.name for e in catalogue()}:
        raise HTTPException(404)

    def page() -> Any:
        return encode(load(name), width=40)

    made = await run_in_threadpool(page)
    return render(request, "tune.html", made.title or name, lines=made.lines, name=name, language=language)


PAGES: dict[str, View] = {
    "/": home, "/tunes": tunes, "/tunes/{name}": tune_page, "/hear": listen, "/read": read, "/work/{key}": work,
    "/work/{key}/json": work_json,
}
CHANGES: dict[str, View] = {"/hear": heard, "/read": read_back}
