"""Attacks on the page: each refused or bounded, nothing lost, and the page goes on serving.

What is tried follows OWASP's cheat sheets on cross-site request forgery, DNS rebinding, file upload and cross-site
scripting.
"""

from __future__ import annotations

import json
import time
from typing import Any

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from companion.page import security
from companion.page.live import MOST_BLOCK_BYTES, MOST_SOCKETS

SCRIPT = "<script>alert(1)</script>"


def still_serving(page: Any) -> None:
    assert page.get("/").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8017", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8017.evil.example",
                                  "0.0.0.0:8017", ""])
def test_a_foreign_host_is_refused_so_that_rebinding_is_of_no_use(page: Any, host: str) -> None:
    found = page.get("/diary", headers={"host": host})
    assert found.status_code == 403
    assert "diary" not in found.text.lower()
    still_serving(page)


@pytest.mark.parametrize("host", ["127.0.0.1:8017", "localhost:8017", "[::1]:8017"])
def test_this_machine_by_its_own_names_is_served(page: Any, host: str) -> None:
    assert page.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8017", "http://127.0.0.1:8018",
                                    "http://127.0.0.1:8017.evil.example"])
def test_a_form_from_another_page_changes_nothing_even_with_the_token(page: Any, origin: str) -> None:
    found = page.client.post("/diary/new", data={"token": page.state.token, "pupil": "Robin"}, headers={"origin": origin})
    assert found.status_code == 403
    assert "Robin" not in page.get("/diary").text


def test_a_change_without_origin_is_refused(page: Any) -> None:
    page.client.headers.pop("origin")
    assert page.post("/diary/new", pupil="Robin").status_code == 403


@pytest.mark.parametrize("token", ["", "guess", None])
def test_every_change_wants_the_token_of_this_run(page: Any, token: str | None) -> None:
    from companion.page import course, diary, papers, read, scores, views

    for module in (views, read, scores, papers, diary, course):
        for path in module.CHANGES:
            found = page.client.post(path.replace("{key}", "x"), data={"pupil": "Robin"} | ({"token": token} if token else {}))
            assert found.status_code == 403, path
    assert "Robin" not in page.get("/diary").text


SECRETS = ("/", "/diary", "/practise", "/ping", "/work/x", "/nowhere")


@pytest.mark.parametrize("path", SECRETS)
def test_another_user_of_the_machine_is_told_what_to_do_and_sees_nothing(page: Any, path: str) -> None:
    page.post("/diary/new", pupil="Robin")
    page.client.cookies.clear()
    found = page.get(path)
    assert found.status_code == 403
    assert found.text == ("This page is open only to the browser that companion page started: use that one, or open the whole "
                          "address that companion page has written.")
    assert page.post("/diary/delete", pupil="Robin", sure="yes").status_code == 403
    with pytest.raises(WebSocketDisconnect), page.socket():
        pass


@pytest.mark.parametrize("cookie", ["", "x", "companion-8017", "companion-8017=", "companion-8017=guess", '"; =\x01', "=" * 9000])
def test_a_wrong_cookie_opens_nothing(page: Any, cookie: str) -> None:
    page.client.cookies.clear()
    assert page.get("/diary", headers={"cookie": cookie}).status_code == 403


def test_the_address_at_the_terminal_lets_in_and_the_cookie_stays_out_of_reach_of_scripts_and_other_sites(page: Any) -> None:
    page.client.cookies.clear()
    found = page.get(f"/open/{page.state.keys.lasting}")
    assert found.headers["refresh"] == "0; url=/"
    given = found.headers["set-cookie"]
    assert given == f"companion-8017={page.state.keys.cookie}; Path=/; HttpOnly; SameSite=Strict"
    assert page.state.keys.lasting not in given
    assert page.get("/diary").status_code == 200
    page.client.cookies.clear()
    assert page.get(f"/open/{page.state.keys.lasting}").status_code == 200, "a second browser of the same person"


def test_the_address_that_the_list_of_processes_shows_lets_in_once_and_for_a_minute(page: Any,
                                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    page.client.cookies.clear()
    once = page.state.keys.once
    assert page.get(f"/open/{once}").status_code == 200
    assert page.get(f"/open/{once}").status_code == 200, "whoever is in may load it again"
    page.client.cookies.clear()
    late = page.get(f"/open/{once}")
    assert late.status_code == 403
    assert "used already" in late.text
    assert page.get("/open/").status_code == 403
    fresh = security.EntryKeys()
    monkeypatch.setattr(security.time, "monotonic", lambda: fresh.made + security.ONCE_S + 1)
    assert not fresh.opens(fresh.once)
    assert fresh.opens(fresh.lasting)


def test_a_new_key_for_once_is_given_to_who_shows_the_lasting_one_alone(page: Any) -> None:
    page.client.cookies.clear()
    assert page.client.post("/open/guess/again").status_code == 403
    assert page.client.get(f"/open/{page.state.keys.lasting}/again").status_code == 403
    before = page.state.keys.once
    told = page.client.post(f"/open/{page.state.keys.lasting}/again")
    assert told.text == page.state.keys.once != before
    assert "set-cookie" not in told.headers
    foreign = page.client.post(f"/open/{page.state.keys.lasting}/again", headers={"origin": "http://evil.example"})
    assert foreign.status_code == 403
    assert page.get(f"/open/{told.text}").status_code == 200


def test_headers_allow_nothing_from_elsewhere_and_keep_nothing(page: Any) -> None:
    for path in ("/", "/static/page.css", "/nowhere"):
        headers = page.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["cache-control"] == "no-store"
        assert headers["referrer-policy"] == "same-origin"
        assert "set-cookie" not in headers


@pytest.mark.parametrize("path", ["/tunes/..%2f..%2fpyproject", "/tunes/%2fetc%2fpasswd", "/static/..%2fapp.py",
                                  "/static/%2e%2e/app.py", "/tunes/snail-wall/tune.py", "/work/../../etc",
                                  "/sound/..%2f..%2fx.wav",
                                  "/course/stage/..%2f..", "/static//etc/passwd", "/tunes/snail-wall%00"])
def test_no_path_of_a_request_reaches_a_file(page: Any, path: str) -> None:
    found = page.get(path)
    assert found.status_code in (400, 404)
    assert "import" not in found.text
    assert "root:" not in found.text


@pytest.mark.parametrize("tune", ["/etc/passwd", "../exercises/snail-wall.musicxml", "exercises/snail-wall.musicxml", "x" * 5000])
def test_no_path_of_a_form_is_opened(page: Any, tune: str) -> None:
    for path in ("/papers/line", "/papers/exercises"):
        found = page.post(path, tune=tune)
        assert found.status_code == 400
        assert "Choose a tune from the list" in found.text
    found = page.post("/diary/new", pupil="Robin")
    assert page.post("/diary/change", pupil="Robin", set=tune).status_code == 400


def test_a_body_that_says_it_is_too_large_is_not_read(page: Any) -> None:
    found = page.client.post("/hear", content=b"", headers={"content-length": str(security.MOST_BODY_BYTES + 1)})
    assert found.status_code == 413
    still_serving(page)


def test_an_endless_body_is_cut_off_at_the_bound(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(security, "MOST_BODY_BYTES", 300_000)
    sent = 0

    def endless() -> Any:
        nonlocal sent
        yield b'--x\r\ncontent-disposition: form-data; name="take"; filename="a.wav"\r\n\r\n'
        while sent < 3_000_000:
            sent += 50_000
            yield b"0" * 50_000

    found = page.client.post("/hear", content=endless(), headers={"content-type": "multipart/form-data; boundary=x"})
    assert found.status_code == 413
    assert "Nothing was kept" in found.text
    still_serving(page)


def test_a_script_as_nickname_title_or_cell_is_only_text(page: Any) -> None:
    music = ('<score-partwise version="4.0"><work><work-title>&lt;script&gt;alert(1)&lt;/script&gt;</work-title></work>'
             '<part-list><score-part id="P1"><part-name>x</part-name></score-part></part-list>'
             '<part id="P1"><measure number="1"><attributes>'
             '<divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>'
             + "".join(f"<note><pitch><step>{step}</step><octave>4</octave></pitch><duration>1</duration><lyric><text>"
                       "&lt;script&gt;alert(1)&lt;/script&gt;</text></lyric></note>" for step in "CD")
             + "</measure></part></score-partwise>")
    pages = [page.post("/diary/new", pupil=SCRIPT), page.get("/diary"), page.get("/practise"), page.get("/course"),
             page.post("/read", cells=SCRIPT), page.post("/tunes", files={"file": ("a.musicxml", music.encode())}),
             page.get("/sing"), page.get("/sing", params={"tune": SCRIPT}), page.post("/course/begin", pupil=SCRIPT)]
    for found in pages:
        assert found.status_code == 200
        assert SCRIPT not in found.text.replace('<script type="module"', "")
    assert "&lt;script&gt;alert(1)" in pages[0].text
    assert "script" in pages[5].text


def test_a_nickname_stands_in_no_address(page: Any) -> None:
    assert "Robin" not in str(page.post("/diary/choose", pupil="Robin", new="yes").url)
    assert "Robin" not in str(page.post("/course/begin", pupil="Robin").url)


@pytest.mark.parametrize("place", ["sing", "lesson", "practise", "range", "course/aloud", "course/questions"])
def test_without_javascript_no_nickname_comes_into_an_address(page: Any, place: str) -> None:
    """The form of a session is a change like any other; a browser without JavaScript sends it, and is told."""
    assert '<form id="begin" method="post">' in page.get(f"/{place}").text
    found = page.post(f"/{place}", pupil="Robin")
    assert found.status_code == 405
    assert "needs JavaScript" in found.text
    assert "Robin" not in str(found.url)


def test_a_pupil_whose_session_is_under_way_is_not_deleted_under_it(page: Any) -> None:
    with page.socket() as opened:
        opened.send_text(greeting(page, pupil="Robin"))
        opened.receive_text()
        while "Sing or play a line." not in opened.receive_text():
            pass
        found = page.post("/diary/delete", pupil="Robin", sure="yes")
        assert found.status_code == 400
        assert "under way" in found.text
        opened.send_text('{"leave": true}')
        while "end" not in opened.receive_text():
            pass
    end = time.monotonic() + 10
    while page.state.live and time.monotonic() < end:
        time.sleep(0.01)
    assert page.post("/diary/delete", pupil="Robin", sure="yes").status_code == 200


def test_what_is_no_sound_or_no_tune_is_said_and_nothing_breaks(page: Any) -> None:
    found = page.done(page.post("/hear", tune="snail-wall", files={"take": ("a.wav", b"RIFF" + b"\0" * 5000)}))
    assert 'role="alert"' in found.text
    found = page.post("/tunes", files={"file": ("a.exe", b"MZ")})
    assert found.status_code == 400
    assert "MusicXML or MIDI" in found.text
    still_serving(page)


def test_a_bomb_of_entities_or_of_zeros_is_refused(page: Any) -> None:
    import io
    import zipfile

    laughs = ('<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha">' + "".join(
        f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9)) + "]><score-partwise>&j;</score-partwise>")
    assert page.post("/tunes", files={"file": ("a.musicxml", laughs.encode())}).status_code == 400
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", b"0" * 60_000_000)
    assert page.post("/tunes", files={"file": ("a.mxl", data.getvalue())}).status_code == 400
    still_serving(page)


# --- the socket ---


def greeting(page: Any, **more: Any) -> str:
    return json.dumps({"token": page.state.token, "kind": "lesson", "rate": 44100, **more})


def test_a_socket_from_another_page_is_refused(page: Any) -> None:
    for headers in ({"origin": "http://evil.example"}, {"origin": "null"}, {"host": "evil.example:8017"}):
        with pytest.raises(WebSocketDisconnect), page.socket(**headers):
            pass
    assert not page.state.live


@pytest.mark.parametrize("first", ["", "nonsense", "[]", "{}", '{"token": "guess", "kind": "lesson", "rate": 44100}',
                                   '{"token": 1, "kind": "lesson", "rate": 1}', "[" * 3000, "x" * 5000])
def test_a_socket_without_the_token_begins_nothing(page: Any, first: str) -> None:
    with page.socket() as socket:
        socket.send_text(first)
        with pytest.raises(WebSocketDisconnect) as closed:
            socket.receive_text()
    assert closed.value.code == 4403
    assert not page.state.live


@pytest.mark.parametrize("wrong", [{"kind": "shell"}, {"rate": 0}, {"rate": 1e9}, {"rate": "fast"},
                                   {"kind": "sing", "tune": "/etc/passwd"}, {"phrase": "many"}, {"kind": "practise"}])
def test_a_greeting_that_cannot_be_is_answered_in_one_sentence(page: Any, wrong: dict[str, Any]) -> None:
    with page.socket() as socket:
        socket.send_text(greeting(page, **wrong))
        said = json.loads(socket.receive_text())
    assert said["end"].endswith(".")
    assert not page.state.live


def until_closed(socket: Any) -> None:
    """Read until the other side ends the connection; never more than the lines of a session that has just begun."""
    for _unused in range(20):
        if socket.receive()["type"] == "websocket.close":
            return
    pytest.fail("The connection was not ended.")


@pytest.mark.parametrize("frame", [b"\0\0\0", b"\0" * (MOST_BLOCK_BYTES + 4), "nonsense", "[1, 2]", '"key"', "[" * 3000])
def test_a_garbage_frame_ends_that_connection_alone(page: Any, frame: str | bytes) -> None:
    with page.socket() as socket:
        socket.send_text(greeting(page))
        assert "key" in json.loads(socket.receive_text())
        if isinstance(frame, bytes):
            socket.send_bytes(frame)
        else:
            socket.send_text(frame)
        until_closed(socket)
    still_serving(page)


def test_samples_that_are_no_numbers_become_silence(page: Any) -> None:
    with page.socket() as socket:
        socket.send_text(greeting(page))
        socket.receive_text()
        live = next(iter(page.state.live.values()))
        read: list[Any] = []
        live.ears.put = read.append
        socket.send_bytes(np.array([np.nan, np.inf, -np.inf, 0.5], dtype="<f4").tobytes())
        socket.send_text('{"leave": true}')
        while "end" not in socket.receive_text():
            pass
    assert read[0].tolist() == [0.0, 1.0, -1.0, 0.5]


def test_more_sockets_than_are_ever_needed_are_turned_away(page: Any) -> None:
    from contextlib import ExitStack

    with ExitStack() as open_ones:
        for _unused in range(MOST_SOCKETS):
            open_ones.enter_context(page.socket())
        for _unused in range(92):
            with pytest.raises(WebSocketDisconnect), page.socket():
                pass
        still_serving(page)
    with page.socket() as socket:
        socket.send_text(greeting(page))
        assert "key" in socket.receive_text()
