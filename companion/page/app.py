"""The local web page as an application: routes, and what is said where something did not work."""

from __future__ import annotations

import time

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from companion import messages
from companion.errors import Trouble
from companion.page import course, diary, live, papers, read, scores, views
from companion.page.frame import HERE, State, environment, render, state_of
from companion.page.security import Application, Guard, Receive, Scope, Send, TooLarge
from companion.places import not_written


async def _problem(request: Request, error: Exception) -> Response:
    """One plain sentence on a page of its own, with a way back."""
    message = state_of(request).language.message
    status, text = 400, str(error)
    if isinstance(error, TooLarge):
        status, text = 413, message("This is larger than a take or a score can be. Nothing was kept.")
    elif isinstance(error, HTTPException):
        status = error.status_code
        text = {403: message("This form is from an earlier start of the program. Go back, load the page again and send it "
                             "once more."),
                405: message("This part needs JavaScript, for the microphone. All else works without."),
                404: message("There is no such page here. What was made may be too long ago; make it again.")}.get(
                    status, message("This could not be done. Go back and try again."))
    return render(request, "problem.html", message("That did not work"), status, text=text)


async def _unwritten(request: Request, error: Exception) -> Response:
    """A full disk, or a folder that may not be written, is no fault of ours."""
    return await _problem(request, not_written(error) if isinstance(error, OSError) else error)


async def _fault(request: Request, error: Exception) -> Response:
    """A fault of ours: said, and the rest goes on."""
    text = state_of(request).language.message(
        "This is a fault of ours ({fault}); nothing saved was lost. Go back and try another way.").format(
            fault=type(error).__name__)
    return render(request, "problem.html", state_of(request).language.message("That did not work"), 500, text=text)


class _Seen:
    """Notes when something was asked last. What language a request chooses holds for it alone."""

    def __init__(self, app: Application, state: State) -> None:
        self.app, self.state = app, state

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.state.seen = time.monotonic()
        messages.apart()
        await self.app(scope, receive, send)


def make_app(state: State) -> Application:
    """The page as an ASGI application."""
    routes: list[BaseRoute] = []
    for module in (views, read, scores, papers, diary, course, live):
        routes += [Route(path, view, methods=["GET"]) for path, view in module.PAGES.items()]
        routes += [Route(path, view, methods=["POST"]) for path, view in module.CHANGES.items()]
    routes += [WebSocketRoute("/live", live.socket), Mount("/static", StaticFiles(directory=HERE / "static"))]
    app = Starlette(routes=routes, exception_handlers={Trouble: _problem, TooLarge: _problem, HTTPException: _problem,
                                                       OSError: _unwritten, 500: _fault})
    app.state.companion = state
    app.state.templates = environment(state.language)
    return Guard(_Seen(app, state), state.port, state.keys)
