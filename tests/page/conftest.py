"""The page without a browser: its application, asked by Starlette's client."""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from companion.language import choose_language
from companion.page.app import make_app
from companion.page.frame import State
from companion.page.security import cookie_name

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # Starlette advises another HTTP client for its tests
    from starlette.testclient import TestClient

PORT = 8017
HERE = f"http://127.0.0.1:{PORT}"


class Page:
    """A page under test. post: sends this run's token with a form; done: a job's page once it is done."""

    def __init__(self, client: TestClient, state: State) -> None:
        self.client, self.state = client, state

    def get(self, path: str, **more: Any) -> Any:
        return self.client.get(path, **more)

    def post(self, path: str, files: Any = None, **fields: Any) -> Any:
        return self.client.post(path, data={"token": self.state.token, **fields}, files=files)

    def socket(self, **headers: str) -> Any:
        """A socket as our own page opens it, or with other headers."""
        return self.client.websocket_connect(f"ws://127.0.0.1:{PORT}/live", headers=headers)

    def done(self, answer: Any, seconds: float = 60.0) -> Any:
        """The page of a job that was begun, when it is no longer under way."""
        job = self.state.jobs.find(str(answer.url).rpartition("/")[2])
        assert job is not None, answer.text
        end = time.monotonic() + seconds
        while job.state == "running" and time.monotonic() < end:
            time.sleep(0.01)
        return self.client.get(answer.url)


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    state = State(choose_language("british"), PORT, str(tmp_path / "diary.db"))
    with TestClient(make_app(state), base_url=HERE, headers={"origin": HERE}, raise_server_exceptions=False,
                    cookies={cookie_name(PORT): state.keys.cookie}) as client:
        yield Page(client, state)
    for live in state.live.values():
        live.stop()
    if state.sitting is not None:
        state.sitting.answer(None)
