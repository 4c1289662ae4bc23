"""Starting the page: a free port on this machine, the browser, and an end some minutes after the last tab is gone."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from companion.errors import Trouble
from companion.language import Language
from companion.messages import _

HOST = "127.0.0.1"
USUAL_PORT = 8017
IDLE_S = 300.0  # after the last sign of an open tab: one that sleeps may miss several
IDLE_SILENT_S = 3600.0  # where no page has ever given a sign: a browser without JavaScript
LOOK_S = 5.0
ANSWERS_S = 5.0  # within which a page that is served already answers a second start


def run_page(language: Language, port: int | None = None, open_browser: bool = True, diary: str | None = None,
             say: Callable[[str], None] = print, idle_s: float = IDLE_S) -> None:
    """Serve the page to its end. port: None for the usual one, or a free one where that is taken; say: gives out a line.

    Where one is served already for this diary, and no port was asked for, that one is opened again instead: who starts it by
    double click may do so twice. Raises Trouble where the port that was asked for is taken. Long because all that is opened here
    is closed here.
    """
    note = _note(diary)
    if port is None and (served := _served(note, language.code)):
        say(language.message("The page is open already, so it is opened again: {address}").format(address=served["address"]))
        if open_browser:
            webbrowser.open(served["once"])
        return
    import uvicorn

    from companion.page.app import make_app
    from companion.page.frame import State
    from companion.page.security import ENTRY

    listening = _listen(port)
    number = listening.getsockname()[1]
    state = State(language, number, diary)
    address = f"http://{HOST}:{number}{ENTRY}"
    config = uvicorn.Config(make_app(state), log_level="critical", access_log=False, ws_max_size=1_000_000, ws_max_queue=64,
                            timeout_graceful_shutdown=2, lifespan="off", server_header=False, limit_concurrency=200,
                            h11_max_incomplete_event_size=65_536)
    server = uvicorn.Server(config)
    _leave_note(note, {"port": number, "key": state.keys.lasting, "language": language.code})

    async def answering() -> None:
        with suppress(KeyboardInterrupt):  # uvicorn ends when it is asked to, and then passes the signal on
            await server.serve(sockets=[listening])

    async def serve() -> None:
        serving = asyncio.ensure_future(answering())
        while not server.started and not serving.done():
            await asyncio.sleep(0.02)
        if (hasattr(signal, "SIGHUP") and threading.current_thread() is threading.main_thread()
                and signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN):
            # A terminal that is closed ends it as what uvicorn watches does: sessions and answers under way are ended first.
            asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, server.handle_exit, signal.SIGINT, None)
        say(language.message("The page is at {address} on this machine alone. It ends {n} minutes after its last tab is closed, "
                             "or with Control and C.").format(address=address + state.keys.lasting, n=round(idle_s / 60)))
        if open_browser:
            await asyncio.to_thread(webbrowser.open, address + state.keys.once)
        while not serving.done():
            await asyncio.wait([serving], timeout=min(LOOK_S, idle_s / 4))
            limit = idle_s if state.pinged else max(idle_s, IDLE_SILENT_S)
            if not state.live and not state.jobs.running and time.monotonic() - state.seen > limit:
                say(language.message("No tab is open any more, so the page has ended. Start it again with companion page."))
                server.should_exit = True
                await serving
        await serving

    try:
        asyncio.run(serve())
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()
        if _read_note(note).get("key") == state.keys.lasting:
            note.unlink(missing_ok=True)


# --- a second start ---


def _note(diary: str | None) -> Path:
    """Where a page that is served leaves its port and key, beside its diary and for its owner alone."""
    from companion.diary import default_path

    return Path(diary or default_path()).with_name("page.json")


def _leave_note(note: Path, what: dict[str, Any]) -> None:
    with suppress(OSError):  # without it only the second start is another page
        note.parent.mkdir(parents=True, exist_ok=True)
        note.unlink(missing_ok=True)
        with os.fdopen(os.open(note, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump(what, file)


def _read_note(note: Path) -> dict[str, Any]:
    try:
        found = json.loads(note.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _served(note: Path, code: str) -> dict[str, str]:
    """The addresses of the page of which a note tells, if it answers and speaks this language; else nothing."""
    told = _read_note(note)
    if not told or told.get("language") != code:
        return {}
    from http.client import HTTPConnection, HTTPException

    from companion.page.security import AGAIN, ENTRY

    try:
        asked = HTTPConnection(HOST, int(told["port"]), timeout=ANSWERS_S)
        here = f"http://{HOST}:{int(told['port'])}"
        asked.request("POST", f"{ENTRY}{told['key']}{AGAIN}", headers={"Origin": here})
        answer = asked.getresponse()
        once = answer.read(100).decode("ascii", "replace")
        asked.close()
    except (OSError, HTTPException, KeyError, TypeError, ValueError, OverflowError):
        return {}
    return {"address": f"{here}{ENTRY}{told['key']}", "once": f"{here}{ENTRY}{once}"} if answer.status == 200 else {}


def _listen(port: int | None) -> socket.socket:
    """A socket that listens on this machine alone."""
    for number in ([port] if port is not None else [USUAL_PORT, 0]):
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, number))
            listening.listen(128)
        except (OSError, OverflowError):
            listening.close()
            continue
        return listening
    raise Trouble(_("The port {port} cannot be used. Give another with --port, or none.").format(port=port))
