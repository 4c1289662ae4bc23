"""Starting and ending: the address said, the end after the last tab, a port that is taken, and nothing left behind."""

from __future__ import annotations

import errno
import json
import os
import socket
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from companion.command import main
from companion.errors import Trouble
from companion.language import choose_language
from companion.page import run_page


def wait_for(true: Any, seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_it_says_its_address_and_ends_after_its_last_tab(tmp_path: Any) -> None:
    lines: list[str] = []
    english = choose_language("british")
    thread = threading.Thread(target=run_page, args=(english, 0, False, str(tmp_path / "d.db"), lines.append, 0.3), daemon=True)
    thread.start()
    wait_for(lambda: bool(lines))
    address = next(word for word in lines[0].split() if word.startswith("http"))
    assert address.startswith("http://127.0.0.1:")
    assert "on this machine alone" in lines[0]
    wait_for(lambda: _answers(address))
    assert _answers(address.partition("open/")[0] + "ping")
    thread.join(10)
    assert not thread.is_alive()
    assert lines[1:] == ["No tab is open any more, so the page has ended. Start it again with companion page."]
    assert not _answers(address)


def test_a_second_start_opens_the_page_that_is_served_already(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own browser gets a key of its own, good once; the note with the lasting one is for its owner alone, and goes."""
    english, diary, lines, opened = choose_language("british"), str(tmp_path / "d.db"), [], []
    monkeypatch.setattr("webbrowser.open", opened.append)
    thread = threading.Thread(target=run_page, args=(english, 0, False, diary, lines.append, 2.0), daemon=True)
    thread.start()
    wait_for(lambda: bool(lines))
    address = next(word for word in lines[0].split() if word.startswith("http"))
    wait_for(lambda: _answers(address))
    assert _answers(address.partition("open/")[0] + "ping")
    note = tmp_path / "page.json"
    if os.name == "posix":
        assert note.stat().st_mode & 0o077 == 0
    said: list[str] = []
    run_page(english, None, True, diary, said.append)
    assert said == [f"The page is open already, so it is opened again: {address}"]
    first, = opened
    assert first.partition("/open/")[0] == address.partition("/open/")[0]
    assert first != address
    fresh = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    assert fresh.open(first, timeout=5).status == 200
    other = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with pytest.raises(urllib.error.HTTPError, match="403"):
        other.open(first, timeout=5)
    thread.join(20)
    assert not note.exists()
    note.write_text('{"port": 1, "key": "x", "language": "en_GB"}', encoding="utf-8")  # of a program that was killed
    third = threading.Thread(target=run_page, args=(english, None, False, diary, said.append, 0.2), daemon=True)
    third.start()
    wait_for(lambda: len(said) > 1)
    assert said[1].startswith("The page is at ")
    again = next(word for word in said[1].split() if word.startswith("http"))
    wait_for(lambda: _answers(again) and _answers(again.partition("open/")[0] + "ping"))
    third.join(20)
    assert not third.is_alive()


BROWSER = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())


def _answers(address: str) -> bool:
    try:
        with BROWSER.open(address, timeout=2) as found:
            return found.status in (200, 204)
    except OSError:
        return False


def test_a_port_that_is_taken_is_one_sentence_and_none_given_finds_another() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        number = taken.getsockname()[1]
        with pytest.raises(Trouble, match=f"The port {number} cannot be used"):
            run_page(choose_language("british"), number, False)


def test_companion_alone_says_in_two_sentences_how_to_begin(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    said = capsys.readouterr().out
    assert "companion page" in said
    assert "companion demo" in said
    assert said.count(".\n") == 2


def test_session_after_session_leaves_no_thread_and_no_session(page: Any) -> None:
    """A session is begun, sung into and left, twenty times: nothing is held of it."""
    before = threading.active_count()
    for _unused in range(20):
        with page.socket() as opened:
            opened.send_text(json.dumps({"token": page.state.token, "kind": "lesson", "rate": 22050}))
            opened.receive_text()
            opened.send_bytes(bytes(4 * 22050))
            opened.send_text('{"leave": true}')
            while "end" not in opened.receive_text():
                pass
    wait_for(lambda: not page.state.live and page.state.sockets == 0)
    wait_for(lambda: threading.active_count() <= before + 1)


@pytest.mark.parametrize("kind", ["course", "level"])
def test_a_sitting_with_sung_answers_and_the_check_of_the_level_end_when_asked(page: Any, kind: str) -> None:
    with page.socket() as opened:
        opened.send_text(json.dumps({"token": page.state.token, "kind": kind, "rate": 22050, "pupil": "Robin"}))
        said: list[dict[str, Any]] = []
        while not any("say" in line for line in said):
            said.append(json.loads(opened.receive_text()))
        opened.send_text('{"key": "quit"}')
        while "end" not in said[-1]:
            message = opened.receive()
            if message.get("text"):
                said.append(json.loads(message["text"]))
            elif message.get("bytes"):
                number = next(line["sound"] for line in reversed(said) if "sound" in line)
                opened.send_text(json.dumps({"played": number}))
    assert said[-1]["end"] == "The session has ended."
    assert not any("microphone has gone" in line.get("say", "") for line in said)
    if kind == "course":
        assert any("Stage 1" in line.get("say", "") for line in said)


def until_told(opened: Any, key: str) -> dict[str, Any]:
    """The first message of the session that has `key`; sounds on the way count as played."""
    while True:
        message = opened.receive()
        assert message["type"] == "websocket.send"
        told = json.loads(message["text"]) if message.get("text") else {}
        if "sound" in told:
            opened.send_text(json.dumps({"played": told["sound"]}))
        if key in told:
            return dict(told)


@pytest.mark.slow
def test_an_american_pupil_changes_no_word_on_a_british_page(page: Any) -> None:
    """A session and a sitting choose the pupil's own language; whoever else has a page open keeps theirs."""
    def refused() -> str:
        return str(page.post("/papers/wall", tune="tick-tock").text)

    page.post("/diary/new", pupil="Robin")
    page.post("/diary/change", pupil="Robin", **{"setting-variety": "american"})
    assert "in centimetres" in refused()
    page.post("/course/begin", pupil="Robin")
    assert page.state.sitting.language.code == "en_US"
    assert "in centimetres" in refused()
    with page.socket() as opened:
        opened.send_text(json.dumps({"token": page.state.token, "kind": "practise", "rate": 22050, "pupil": "Robin",
                                     "tune": "tick-tock", "warm_up": "no"}))
        until_told(opened, "say")
        assert "in centimetres" in refused()
        opened.send_text('{"leave": true}')
        until_told(opened, "end")
    assert "in centimetres" in refused()


@pytest.mark.parametrize("step", ["tempfile.mkdtemp", "os.fdopen"])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES])
def test_a_tune_that_finds_no_room_is_one_sentence_and_nothing_is_left(number: int, step: str, tmp_path: Path,
                                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    from companion.page.kept import in_folder, written_apart

    def fails(*_: object, **_named: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(step, fails)
    with pytest.raises(Trouble, match=r"^Writing the output failed: (no space left|permission denied).*\. Make room or "):
        in_folder(lambda folder: written_apart(b"MThd", "kite.mid", folder))
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == []
