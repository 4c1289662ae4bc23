"""What a session keeps, leaves out and sums up: lines of the teacher's, takes that were struck out, time in a pause, phrases."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from live_room import RATE, Room, session
from made_matches import made_match

from companion.diary import Action, Diary, SessionKind
from companion.errors import Trouble
from companion.lesson.live import Echo
from companion.lesson.session import Session, Taken
from companion.match import CueKind, advise
from companion.tune import load

TUNE = load("snail-wall")
FIRST, SECOND = TUNE.phrase(1), TUNE.phrase(2)


def taken(line: Any, kind: CueKind) -> Taken:
    return Taken("snail-wall", line, made_match(line), "", kind)


def test_a_line_is_kept_beside_those_of_earlier_lessons(tmp_path: Path) -> None:
    for name in ("kite", "mole"):
        here = session(Room())
        lesson = Echo(here, tmp_path / "lines")
        lesson.lines.append(SimpleNamespace(tune=load(name)))  # type: ignore[arg-type]
        lesson._keep()
        said, = here.out.said  # type: ignore[attr-defined]
        assert str(1 if name == "kite" else 2) in said
    assert [p.name for p in sorted((tmp_path / "lines").iterdir())] == ["line-1.musicxml", "line-2.musicxml"]
    assert load(tmp_path / "lines" / "line-1.musicxml").line() == load("kite").line()


@pytest.mark.parametrize(("step", "reason"), [("pathlib.Path.mkdir", "Writing the output failed: no space left on device."),
                                              ("tempfile.mkstemp", "could not be written: no space left on device.")])
def test_a_line_that_cannot_be_kept_is_said_and_the_lesson_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str,
                                                                   reason: str) -> None:
    here = session(Room())
    lesson = Echo(here, tmp_path / "lines")
    lesson.lines.append(SimpleNamespace(tune=load("kite")))  # type: ignore[arg-type]

    def full(*_: object, **_named: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(step, full)
    lesson._keep()
    said, = here.out.said  # type: ignore[attr-defined]
    assert reason in said
    assert lesson.kept == []


def test_a_take_that_was_struck_out_is_not_saved_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the diary cannot be written takes wait; what is struck out waits no more."""
    with Diary(tmp_path / "d.sqlite") as diary:
        here = session(Room(), diary=diary, pupil=diary.pupil("Pip", new=True))
        heard = SimpleNamespace(samples=None)
        for line in (FIRST, SECOND):
            here.taken.append(taken(line, CueKind.ALL_RIGHT))
            here._wait_to_keep(here.taken[-1], heard)  # type: ignore[arg-type]
        with monkeypatch.context() as patch:
            patch.setattr(diary, "add_take", lambda *_: (_ for _ in ()).throw(Trouble("The diary is locked.")))
            assert here.keep_waiting() is not None
        here.strike()
        assert here.keep_waiting() is None
        assert [t.first for t in diary.takes(diary.pupil("Pip"))] == [FIRST[0].number]


def test_a_pause_takes_nothing_from_the_sessions_time() -> None:
    room = Room()
    here = session(room)

    def keys() -> Iterator[Action | None]:
        while room.now() < 100.0:
            yield None
        yield Action.PAUSE

    presses = keys()
    room.at = 10 * RATE
    here.keys.get = lambda: next(presses)  # type: ignore[method-assign]
    here.pause()
    assert room.now() >= 100.0
    assert here.elapsed_s == pytest.approx(10.0, abs=1.5)  # and what is said of it


def test_a_phrase_that_came_in_the_end_is_not_named_as_hard() -> None:
    here = session(Room(), kind=SessionKind.LESSON)
    here.taken += [taken(FIRST, CueKind.ONE_TO_TRY), taken(SECOND, CueKind.ONE_TO_TRY), taken(FIRST, CueKind.ALL_RIGHT)]
    here.serve(Action.SUMMARY, "")
    said, = here.out.said  # type: ignore[attr-defined]
    assert "Snail on the wall, slide" in said
    assert "creep" not in said


def test_the_key_follows_the_voice_but_never_by_an_octave_once_it_is_known() -> None:
    here = session(Room())
    match = made_match(FIRST, shift=-12.0)
    here.taken.append(taken(FIRST, CueKind.ALL_RIGHT))
    Session.follow_key(here, match, FIRST)
    assert here.shift == -12.0, "the first take may be a man's"
    here.taken.append(taken(FIRST, CueKind.ALL_RIGHT))
    Session.follow_key(here, made_match(FIRST, shift=1.0), FIRST)
    assert here.shift == -11.0, "by the nearest way"
    assert advise(match).kind is CueKind.ALL_RIGHT
