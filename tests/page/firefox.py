"""Firefox steered by WebDriver BiDi (W3C), which it speaks by itself over a WebSocket: no driver beside it is needed."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
SECONDS = 60.0  # for one answer of the browser, on a busy machine
QUIET = ("app.normandy.enabled", "app.update.auto", "browser.shell.checkDefaultBrowser",
         "datareporting.policy.dataSubmissionEnabled", "toolkit.telemetry.enabled", "browser.startup.upgradeDialog.enabled")
#: Keys by the names of `KeyboardEvent.key`, as WebDriver has them (section 17.4.2, "keyboard actions").
KEYS = {"Tab": "\ue004", "Enter": "\ue007", "Space": " ", "ArrowRight": "\ue014", "ArrowLeft": "\ue012", "ArrowDown": "\ue015",
        "ArrowUp": "\ue013", "PageDown": "\ue00f", "PageUp": "\ue00e", "Backspace": "\ue003"}


def missing() -> str:
    """What a test with Firefox lacks here, in one sentence; "" where nothing is missing."""
    if not (find_spec("websockets") and find_spec("axe_playwright_python")):
        return "A test with Firefox needs websockets and axe-playwright-python."
    return "" if FIREFOX else "A test with Firefox needs firefox-esr."


class Firefox:
    """One window. Its methods wait for what they asked for, and raise what the browser answers."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._number = socket, 0
        self.call("session.new", capabilities={})
        self.window = self.call("browsingContext.getTree")["contexts"][0]["context"]

    def call(self, method: str, **params: Any) -> Any:
        """One command of WebDriver BiDi and its result."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._socket.recv(timeout=SECONDS))
            if answer.get("id") == self._number:
                assert answer["type"] == "success", (method, answer)
                return answer["result"]

    def goto(self, address: str) -> None:
        self.call("browsingContext.navigate", context=self.window, url=address, wait="complete")

    def evaluate(self, expression: str) -> Any:
        """The value of an expression in the page, as JSON has it; a promise is waited for."""
        told = self.call("script.evaluate", expression=f"Promise.resolve({expression}).then((x) => JSON.stringify(x ?? null))",
                         target={"context": self.window}, awaitPromise=True)
        assert told["type"] == "success", told
        return json.loads(told["result"]["value"])

    def wait_for(self, expression: str, seconds: float = SECONDS) -> None:
        """Until an expression holds; a page that is being left is asked again."""
        end = time.monotonic() + seconds
        while True:
            try:
                if self.evaluate(expression):
                    return
            except AssertionError:
                pass
            assert time.monotonic() < end, (expression, self.evaluate("document.body.innerText"))
            threading.Event().wait(0.05)

    def press(self, *keys: str, together: bool = False) -> None:
        """Keys one after another, or as a chord: all down, then all up."""
        found = [KEYS.get(key, key) for key in keys]
        down = [{"type": "keyDown", "value": key} for key in found]
        up = [{"type": "keyUp", "value": key} for key in found]
        actions = down + up if together else [a for pair in zip(down, up, strict=True) for a in pair]
        self.call("input.performActions", context=self.window, actions=[{"type": "key", "id": "keys", "actions": actions}])

    def choose_files(self, selector: str, *paths: Path) -> None:
        """Choose files in a field."""
        found = self.call("browsingContext.locateNodes", context=self.window, locator={"type": "css", "value": selector})
        self.call("input.setFiles", context=self.window, element={"sharedId": found["nodes"][0]["sharedId"]},
                  files=[str(path) for path in paths])

    def size(self, width: int, height: int) -> None:
        self.call("browsingContext.setViewport", context=self.window, viewport={"width": width, "height": height})


@contextmanager
def firefox() -> Iterator[Firefox]:
    """Firefox without a screen, with a profile of its own."""
    from websockets.sync.client import connect

    assert FIREFOX is not None
    with tempfile.TemporaryDirectory(prefix="firefox-", ignore_cleanup_errors=True) as profile:
        (Path(profile) / "user.js").write_text("".join(f'user_pref("{name}", false);\n' for name in QUIET), encoding="utf-8")
        process = subprocess.Popen([FIREFOX, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0"],
                                   stderr=subprocess.PIPE, text=True)
        assert process.stderr is not None
        try:
            address = next(found[0] for line in process.stderr if (found := re.search(r"ws://[\d.]+:\d+", line)))
            # What it says later is read, so that it never waits for a reader.
            threading.Thread(target=process.stderr.read, daemon=True).start()
            with connect(f"{address}/session", max_size=None, open_timeout=SECONDS) as socket:
                yield Firefox(socket)
        finally:
            process.terminate()
            process.wait()
