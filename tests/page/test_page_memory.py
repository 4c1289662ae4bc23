"""An hour with a session each minute, in time of sound: the page's memory stays flat."""

from __future__ import annotations

import json
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from live_room import sung
from page.browser import served

from companion.tune import load

SESSIONS, SETTLED = 60, 12  # of which so many first ones fill what is loaded once and kept
MOST_GROWTH_MB = 30.0  # over 48 sessions: less than 0.7 MB each; sound of one minute alone is 11 MB
RATE, BLOCK = 22_050, 2205


def memory_mb(process: int) -> float:
    """Resident memory of a process (Linux)."""
    text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(text.partition("VmRSS:")[2].split()[0]) / 1024


def a_session(address: str, cookie: str, token: str, minute: np.ndarray) -> str:
    """A lesson with a tune: the line is given, a minute of sound is sent, the session left. Its first cue."""
    from websockets.sync.client import connect

    first, cue, sent = address.partition("open/")[0], "", False
    with connect(first.replace("http", "ws") + "live", origin=first.rstrip("/"), additional_headers={"Cookie": cookie},
                 max_size=None) as socket:
        socket.send(json.dumps({"token": token, "kind": "sing", "tune": "tick-tock", "rate": RATE}))
        while True:
            message = socket.recv(timeout=60)
            told: dict[str, Any] = json.loads(message) if isinstance(message, str) else {}
            if "sound" in told:
                socket.send(json.dumps({"played": told["sound"]}))
            if isinstance(message, bytes) and not sent:
                sent = True
                for at in range(0, len(minute), BLOCK):
                    socket.send(minute[at:at + BLOCK].tobytes())
            if sent and "say" in told and not cue:
                cue = told["say"]
                socket.send(json.dumps({"leave": True}))
            if "end" in told:
                return cue


@pytest.mark.overnight
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="Memory is read from /proc, which is not here.")
def test_an_hour_with_a_session_each_minute_leaves_memory_flat(tmp_path: Path) -> None:
    voice = sung(load("tick-tock").phrase(1), 3.0, 0.6)
    minute = np.random.default_rng(1).normal(0, 3e-4, 60 * RATE).astype("<f4")
    minute[RATE:RATE + len(voice)] += voice
    jar = CookieJar()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    used: list[float] = []
    with served(tmp_path) as address:
        opener.open(address).close()
        first = address.partition("open/")[0]
        page = opener.open(first + "sing").read().decode()
        token = page.partition('name="token" content="')[2].partition('"')[0]
        cookie = "; ".join(f"{c.name}={c.value}" for c in jar)
        for _unused in range(SESSIONS):
            assert a_session(address, cookie, token, minute)
            used.append(memory_mb(address.process))
    print(json.dumps({"memory_mb": [round(x, 1) for x in used]}))
    assert max(used[-5:]) - max(used[SETTLED - 5:SETTLED]) < MOST_GROWTH_MB, used
