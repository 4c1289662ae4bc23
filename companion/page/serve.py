"""Starting the page: a free port on this machine, the browser, and an end some minutes after the last tab is gone."""

from __future__ import annotations

import asyncio
import socket
import time
import webbrowser
from collections.abc import Callable

from companion.errors import Trouble
from companion.language import Language
from companion.messages import _

HOST = "127.0.0.1"
USUAL_PORT = 8017
IDLE_S = 300.0  # after the last sign of an open tab: one that sleeps may miss several
IDLE_SILENT_S = 3600.0  # where no page has ever given a sign: a browser without JavaScript
LOOK_S = 5.0


def run_page(language: Language, port: int | None = None, open_browser: bool = True, diary: str | None = None,
             say: Callable[[str], None] = print, idle_s: float = IDLE_S) -> None:
    """Serve the page to its end. port: None for the usual one, or a free one where that is taken; say: gives out a line.

    Raises Trouble where the port that was asked for is taken.
    """
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
    say(language.message("The page is at {address} on this machine alone. It ends {n} minutes after its last tab is closed, or "
                         "with Control and C.").format(address=address + state.keys.lasting, n=round(idle_s / 60)))

    async def serve() -> None:
        serving = asyncio.ensure_future(server.serve(sockets=[listening]))
        while not server.started and not serving.done():
            await asyncio.sleep(0.02)
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
