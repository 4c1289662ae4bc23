"""The local web page: routes, templates and the state of one run. It calls the same functions as the commands.

Every page works without JavaScript but for the microphone, sounds and six-key chords. State of a pupil stays in the
diary and in this process; nothing of it is in an address or in the browser.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import jinja2
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from companion.errors import Trouble
from companion.language import Language
from companion.page.security import Application, Guard, TooLarge, new_token, same_token
from companion.page.work import Jobs

HERE = Path(__file__).parent


@dataclass
class State:
    """One run of the page. language: of everything on it. diary: its file, None for the usual one."""

    language: Language
    port: int
    diary: str | None = None
    token: str = field(default_factory=new_token)
    jobs: Jobs = field(default_factory=Jobs)


def environment(language: Language) -> jinja2.Environment:
    """Templates that escape everything and say their sentences in `language`."""
    made = jinja2.Environment(loader=jinja2.FileSystemLoader(HERE / "templates"), autoescape=True,
                              undefined=jinja2.StrictUndefined, extensions=["jinja2.ext.i18n"], trim_blocks=True,
                              lstrip_blocks=True)
    made.install_gettext_callables(language.message, language.plural, newstyle=False)  # type: ignore[attr-defined]
    return made


View = Callable[[Request], Awaitable[Response]]


def render(request: Request, template: str, title: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A page: its title is its first heading and stands first in the window's title."""
    state: State = request.app.state.companion
    text = request.app.state.templates.get_template(template).render(
        title=title, token=state.token, path=request.url.path, language=state.language, **values)
    return HTMLResponse(text, status_code=status)


async def checked_form(request: Request) -> Any:
    """The form of a change; refused without this run's token. At most a hundred fields and ten files."""
    state: State = request.app.state.companion
    form = await request.form(max_files=10, max_fields=100)
    token = form.get("token", "")
    if not isinstance(token, str) or not same_token(token, state.token):
        raise HTTPException(403)
    return form


async def _problem(request: Request, error: Exception) -> Response:
    """One plain sentence on a page of its own, with a way back."""
    message = request.app.state.companion.language.message
    status, text = 400, str(error)
    if isinstance(error, TooLarge):
        status, text = 413, message("This is larger than a take or a score can be. Nothing was kept.")
    elif isinstance(error, HTTPException):
        status = error.status_code
        text = {403: message("This form is from an earlier start of the program. Go back, load the page again and send it "
                             "once more."),
                404: message("There is no such page here.")}.get(status, message("This could not be done. Go back and try again."))
    return render(request, "problem.html", message("That did not work"), status, text=text)


def make_app(state: State) -> Application:
    """The page as an ASGI application."""
    from companion.page import live, views

    routes = [
        *(Route(path, view, methods=["GET"]) for path, view in views.PAGES.items()),
        *(Route(path, view, methods=["POST"]) for path, view in views.CHANGES.items()),
        WebSocketRoute("/live", live.session),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]
    app = Starlette(routes=routes, exception_handlers={Trouble: _problem, TooLarge: _problem, HTTPException: _problem})
    app.state.companion = state
    app.state.templates = environment(state.language)
    return Guard(app, state.port)


def see_other(path: str) -> RedirectResponse:
    """After a change: the page to look at now, so that loading it again changes nothing twice."""
    return RedirectResponse(path, status_code=303)
