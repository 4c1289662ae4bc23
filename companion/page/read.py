"""Braille read and written: typed, brailled by six keys or sent as a file; read back sign by sign, with what is amiss."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from companion.errors import Trouble
from companion.messages import _
from companion.page.frame import View, checked_form, render, see_other, state_of
from companion.page.stops import Rows, stops_of

MOST_TYPED = 100_000  # characters of braille in one form: some hundred pages


async def read(request: Request) -> Response:
    """Braille typed or brailled, to be read back."""
    language = state_of(request).language
    return render(request, "read.html", language.message("Read and write braille"), typed="", lines=[], rows=Rows([], [], []))


async def read_back(request: Request) -> Response:
    """What the braille says, sign by sign, and what is amiss in it."""
    form = await checked_form(request)
    typed = await _typed(form)
    language = state_of(request).language

    def make() -> tuple[str, list[str], Rows]:
        from companion.braille import decode, lines_of
        from companion.language import hint_lines, problem_lines, reading_lines

        lines = lines_of(typed)
        reading = decode(lines)
        linked = {*(problem_lines(language, reading.problems) if reading.problems else ()), *hint_lines(language, reading.hints)}
        bar_by_bar = [line for line in reading_lines(language, reading) if line not in linked]  # those are said above it
        return "\n".join(lines), bar_by_bar, stops_of(language, reading, lines)

    cells, lines, rows = await run_in_threadpool(make)
    return render(request, "read.html", language.message("What it says"), typed=cells, lines=lines, rows=rows)


async def _typed(form: Any) -> bytes:
    """The braille of a form: a file where one was sent, else what was typed. Raises Trouble where that is too long."""
    file = form.get("file")
    if file is not None and not isinstance(file, str) and file.filename:
        data: bytes = await file.read()
    else:
        data = str(form.get("cells", "")).encode()
    if len(data) > 3 * MOST_TYPED:
        raise Trouble(_("That is more than a hundred pages. Send it piece by piece."))
    if not data.strip():
        raise Trouble(_("There are no cells yet. Type some, or choose a file."))
    return data


async def keep_read(request: Request) -> Response:
    """What was read becomes a tune, to be sung and worked with like any other."""
    form = await checked_form(request)
    typed = await _typed(form)
    state = state_of(request)

    def make() -> str:
        from companion.braille import decode, lines_of

        tune = decode(lines_of(typed)).tune
        if not any(n.pitch for bar in tune.bars for n in bar.notes):
            raise Trouble(_("There is no note in it, so it makes no tune. Write a note first."))
        return state.tunes.keep(tune, tune.title or state.language.message("A tune without a title"))

    return see_other(f"/tunes/{await run_in_threadpool(make)}")


PAGES: dict[str, View] = {"/read": read}
CHANGES: dict[str, View] = {"/read": read_back, "/read/keep": keep_read}
