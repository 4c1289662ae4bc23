"""Requests that nobody sends on purpose: garbage in every field of every form, in addresses, bodies and frames.

Each is refused in a sentence or done; none is a fault of ours, what a pupil has is left as it was, and the page goes on
serving. The application is asked as a server asks it (ASGI), with the cookie, the origin and mostly the token of a browser
that was let in: whoever lacks those is refused sooner (`test_page_security.py`).
"""

from __future__ import annotations

import asyncio
import json
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest

from companion.diary import Diary, SettingName
from companion.errors import Trouble
from companion.language import choose_language
from companion.page import course, diary, live, papers, read, scores, views
from companion.page.app import make_app
from companion.page.frame import State
from companion.page.live import KINDS, Live, _take, read_greeting
from companion.page.security import cookie_name
from companion.page.work import Job, JobState, Made

PORT, SEED = 8017, 17
MODULES = (views, read, scores, papers, diary, course, live)
MARK = "<script>x9</script>"
ODD = ["", " ", "\t\n", "\0", "x\0y", MARK, f"'\">{MARK}", "{{7*7}}", "%s%n%d", "'; DROP TABLE pupils; --",
       "../../../etc/passwd", "..\\..\\x", "-1", "0", "1", "7", "999", "1e999", "NaN", "inf", "²", "٣", "１２",
       "1_0", "0x10", "true", "null", "[]", "{}", "\ufeff", "\u202e\u2066Robin", "\u200b", "e\u0301" * 40,
       "\U0001f468\u200d\U0001f469\u200d\U0001f467", "\U0010ffff", "ﷺ" * 30, "⠐⠹⠱⠫⠻", "⠿" * 200, "⣿⡀", "5-145-15",
       '"?:$]', "1-2-3-4-5-6-7", "\u2028\u2029", "\x85", "\x1b[31m", "a" * 70, "x" * 3000, "ſtage", "İ", "ß",
       "Æ" * 61, "2", "yes", "snail-wall", "tick-tock", "stage", "key", "drill", "week", "tune", "known", "pass",
       "begin-again", "name the cell", "whole tune", "C4", "H9", "A3", "B#-3", "2026-12-31", "9999-99-99",
       "0000-00-00", "pagedown:go", "a:b:c,,:", "bar 1 note 1 is G", "undo", "american", "4/4", "99/0", "Robin",
       "robin ", "Wrem"]
FIELDS = ["pupil", "new", "kind", "stage", "tune", "what", "count", "seed", "level", "sound", "shoulder", "cells", "file", "take",
          "phrase", "part", "verse", "more", "title", "words", "time", "key", "bpm", "counted_in", "correction", "undo", "answer",
          "stop", "sure", "set", "days", "low", "high", "consent", "until", "withdraw", "questions",
          *(f"setting-{name}" for name in SettingName)]
TYPES = ["application/x-www-form-urlencoded", "multipart/form-data; boundary=b", "multipart/form-data",
       "text/plain", "application/json", "multipart/form-data; boundary=b; charset=unicode_escape",
       "multipart/form-data; boundary=b; charset=idna", "multipart/form-data; boundary=" + "b" * 300,
       "multipart/form-data; boundary=b; charset=utf-7", ""]


class Asker:
    """Sends made-up requests to the application. left: pupils and what they have, which no request may change."""

    def __init__(self, folder: Path, seed: int, work: bool) -> None:
        self.random = random.Random(seed)
        self.state = State(choose_language("british"), PORT, str(folder / "diary.db"))
        if not work:  # what takes seconds is not what is looked at here, and readers of files have a test of their own
            self.state.jobs.start = self._begun  # type: ignore[method-assign]
        self.app: Any = make_app(self.state)
        self.headers = [(b"host", f"127.0.0.1:{PORT}".encode()), (b"origin", f"http://127.0.0.1:{PORT}".encode()),
                        (b"cookie", f"{cookie_name(PORT)}={self.state.keys.cookie}".encode())]
        with Diary(self.state.diary) as kept:
            wren = kept.pupil("Wren", new=True)
            kept.set_setting(wren, SettingName.MINUTES, 7)
        self.statuses: dict[int, int] = {}

    def _begun(self, title: str, done: str, work: Callable[[], Made]) -> Job:
        job = Job("k", title, done, state=JobState.DONE)
        self.state.jobs._jobs["k"] = job
        return job

    def odd(self) -> str:
        text = self.random.choice(ODD)
        return text + self.random.choice(ODD) if self.random.random() < 0.15 else text

    async def ask(self, method: str, path: str, query: str = "", body: bytes = b"", kind: str = "") -> tuple[int, bytes]:
        """One request: the status and the body of what comes back. Raises what the application raises: a fault of ours."""
        parts = [body[at:at + 700] for at in range(0, len(body), 700)] or [b""]
        sent: list[dict[str, Any]] = [{"type": "http.request", "body": part, "more_body": at < len(parts) - 1}
                                      for at, part in enumerate(parts)]
        told: list[Any] = []

        async def receive() -> Any:
            return sent.pop(0) if sent else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            told.append(message)

        scope = {"type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
                 "path": path, "raw_path": quote(path).encode(), "query_string": query.encode(), "root_path": "",
                 "headers": [*self.headers, *([(b"content-type", kind.encode())] if kind else [])],
                 "client": ("127.0.0.1", 1), "server": ("127.0.0.1", PORT)}
        await self.app(scope, receive, send)
        return told[0]["status"], b"".join(m.get("body", b"") for m in told[1:])

    def form(self) -> tuple[bytes, str]:
        """A body and its type: a form as a browser would send it, or what only looks like one."""
        r = self.random
        fields = [(r.choice(FIELDS), self.odd()) for _unused in range(r.randint(1, 7))]
        fields.insert(r.randint(0, len(fields)), ("token", self.state.token if r.random() < 0.95 else self.odd()))
        kind = TYPES[0] if r.random() < 0.6 else r.choice(TYPES)
        if kind == TYPES[0]:
            body = urlencode(fields).encode()
        else:
            file = '; filename="' + self.odd()[:40].replace('"', "") + '"' if r.random() < 0.2 else ""
            body = b"".join(f'--b\r\ncontent-disposition: form-data; name="{name}"'
                            f'{file if name in ("file", "take") else ""}\r\n\r\n{text}\r\n'.encode("utf-8", "replace")
                            for name, text in fields) + b"--b--\r\n"
        if r.random() < 0.1:  # broken on the way
            at = r.randrange(len(body))
            body = body[:at] + r.choice([b"", b"%", b"\xff\xfe", b"&&==", b"--b"]) + body[at + r.randint(0, 9):]
        return body, kind

    async def one(self) -> None:
        """A request, and that its answer is one of ours."""
        r = self.random
        module = r.choice(MODULES)
        change = bool(module.CHANGES) and r.random() < 0.7
        path = r.choice(list(module.CHANGES if change else module.PAGES))
        path = re.sub(r"{[^}]*}", lambda _found: r.choice(["k", "snail-wall", "2", "brf", self.odd()[:50]]), path)
        body, kind = self.form() if change else (b"", "")
        query = "" if change or r.random() < 0.5 else urlencode({"tune": self.odd(), self.odd()[:20]: self.odd()})
        asked = (path, query, kind, body)
        try:
            status, text = await self.ask("POST" if change else "GET", path, query, body, kind)
        except Exception as error:
            raise AssertionError(f"{type(error).__name__}: {error} at {asked}") from error
        assert status < 500, (status, asked, text[-600:])
        assert MARK.encode() not in text, asked
        assert status != 400 or re.search(rb'role="alert">[^<]*[.?]\s*</p>', text) or b"<html" not in text, (asked, text[-600:])
        self.statuses[status] = self.statuses.get(status, 0) + 1

    def nothing_lost(self) -> None:
        with Diary(self.state.diary) as kept:
            wren = kept.find("Wren")
            assert wren is not None
            assert kept.settings(wren)[SettingName.MINUTES] == 7

    def close(self) -> None:
        if self.state.sitting is not None:
            self.state.sitting.answer(None)


async def many(asker: Asker, count: int) -> None:
    for _unused in range(count):
        await asker.one()
    status, text = await asker.ask("GET", "/")
    assert status == 200
    assert b"What shall we do?" in text


def garbage(r: random.Random, depth: int = 0) -> Any:
    """Any JSON value."""
    kind = r.randrange(9 if depth < 3 else 7)
    if kind == 7:
        return [garbage(r, depth + 1) for _unused in range(r.randrange(4))]
    if kind == 8:
        return {r.choice([*FIELDS, "key", "press", "typed", "played", "microphone"]): garbage(r, depth + 1)
                for _unused in range(r.randrange(4))}
    return r.choice([None, True, False, -1, 10**400, 1.5, float("nan"), float("inf"), r.choice(ODD), r.choice(ODD),
                     "\ud800", "on", *KINDS])


def greetings(state: State, seed: int, count: int) -> int:
    """So many greetings of a session, all but the token at random: a greeting, or one sentence. How many were taken."""
    r, taken = random.Random(seed), 0
    said_why: set[str] = set()
    for _unused in range(count):
        said = {"token": state.token, "kind": r.choice(KINDS), "rate": 44100}
        for name in r.sample(["kind", "rate", "tune", "pupil", "speech", "helper", "wait", "minutes", "phrase", "warm_up", "part",
                              "question", "stage", "token"], r.randrange(5)):
            said[name] = garbage(r)
        try:
            read_greeting(state, json.dumps(said if r.random() < 0.95 else garbage(r)))
            taken += 1
        except PermissionError:
            pass
        except Trouble as trouble:
            said_why.add(str(trouble))
    assert all(why.endswith((".", "?")) for why in said_why), said_why
    return taken


class Socket:
    """What is asked of a WebSocket while a session is under way."""

    def __init__(self, state: State) -> None:
        self.app = type("App", (), {"state": type("S", (), {"companion": state})})
        self.closed = 0

    async def close(self, code: int) -> None:
        self.closed = code


async def frames(state: State, seed: int, count: int) -> None:
    """So many frames to a session: taken, or the connection is ended."""
    r = random.Random(seed)
    greeting = read_greeting(state, json.dumps({"token": state.token, "kind": "lesson", "rate": 44100}))
    session = Live(state, greeting, asyncio.get_running_loop())
    socket: Any = Socket(state)
    for _unused in range(count):
        message: dict[str, Any] = {"type": "websocket.receive"}
        form = r.randrange(3)
        if form == 0:
            message["bytes"] = r.randbytes(r.choice([0, 1, 3, 4, 40, 3840]))
        else:
            message["text"] = json.dumps(garbage(r)) if form == 1 else r.choice(ODD)
        socket.closed = 0
        goes_on = await _take(socket, session, message)
        assert goes_on == (socket.closed == 0)
        while not session.answers.empty():  # what a sitting would be given
            text = session.answers.get()
            assert text is None or text.encode()
        session.ears.forget()


def run(folder: Path, seed: int, requests: int, said: int, *, work: bool = False) -> dict[int, int]:
    """The requests, greetings and frames of a seed; how often each status came."""
    asker = Asker(folder, seed, work)
    try:
        asyncio.run(many(asker, requests))
        asker.nothing_lost()
        assert greetings(asker.state, seed, said) > said / 20
        asyncio.run(frames(asker.state, seed, said))
    finally:
        asker.close()
    return asker.statuses


def test_garbage_in_every_form_address_and_frame_is_no_fault_of_ours(tmp_path: Path) -> None:
    statuses = run(tmp_path, SEED, 250, 1500)
    assert {200, 303, 400, 404} <= set(statuses), statuses


@pytest.mark.overnight
def test_a_hundred_thousand_of_them(tmp_path: Path) -> None:
    """With what takes seconds done too, now and then, and other seeds."""
    statuses: dict[int, int] = {}
    for seed in range(100):
        (tmp_path / str(seed)).mkdir()
        for status, n in run(tmp_path / str(seed), seed + 1000, 700, 300).items():
            statuses[status] = statuses.get(status, 0) + n
    print(statuses)
