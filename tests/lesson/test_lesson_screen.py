"""With speech off the terminal is what a screen reader reads: every line once, in order, whole, and nothing repaints."""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, TextIO, cast

import numpy as np
import pytest
from live_room import PLAIN, RATE, Room, RoomSession, session, settings_with, sung

from companion.diary import SessionKind
from companion.lesson.live import Lesson
from companion.lesson.out import Out
from companion.lesson.practise import Practise, Set
from companion.tune import LineNote, load


class Screen(io.TextIOBase):
    """A terminal: what is written goes through a pseudo terminal where the system has one (pty(7)), and is read at its other
    end, where a screen reader reads."""

    def __init__(self) -> None:
        self.text = ""
        self._reads, self._writes = os.openpty() if hasattr(os, "openpty") else (-1, -1)

    def write(self, text: str) -> int:
        if self._writes < 0:
            self.text += text
            return len(text)
        data = text.encode()
        os.write(self._writes, data)
        wanted, came = data.replace(b"\n", b"\r\n"), b""  # a terminal puts a carriage return before a line feed
        while len(came) < len(wanted):
            came += os.read(self._reads, len(wanted) - len(came))
        self.text += came.decode().replace("\r\n", "\n")
        return len(text)

    def close(self) -> None:
        for end in (self._reads, self._writes):
            if end >= 0:
                os.close(end)
        self._reads = self._writes = -1


class Terminal(Out):
    """Writes as the command does, to a terminal; tones only move the room's clock. lines: what the session gave to be said."""

    def __init__(self, room: Room, show: bool) -> None:
        self.screen = Screen()
        super().__init__(settings_with(), show, cast(TextIO, self.screen))
        self.room, self.lines = room, list[str]()

    def say(self, text: str, interrupt: Any = None, after_start: Any = None) -> bool:
        self.lines.append(text)
        self.room.at += round(0.35 * len(text.split()) * RATE)
        return super().say(text, interrupt, after_start)

    def sound(self, sound: Any, interrupt: Any = None, after_start: Any = None) -> bool:
        self.room.at += round(sound.seconds * RATE)
        return not (interrupt is not None and interrupt())


def run(kind: SessionKind, show: bool) -> Terminal:
    room = Room()
    made = session(room, kind=kind)
    out = Terminal(room, show)
    here = RoomSession(out, room, made.keys, made.settings, kind, made.language, clock=room)
    misses = [2]

    def pupil(line: Sequence[LineNote], shift: float, quarter_s: float) -> np.ndarray:
        wrong = len(line) == 7 and misses[0] > 0
        misses[0] -= wrong
        return sung(line, shift, quarter_s, replace(PLAIN, turned=3, turned_stays=True) if wrong else PLAIN)

    here.pupil_sings = pupil
    tune = load("snail-wall")
    if kind is SessionKind.PRACTISE:
        Practise(here, lambda: [Set("snail-wall", tune)], 5, warm_up=False).run()
    else:
        misses[0] = 0
        for key in "w?ma":  # what is asked for, and then the phrase again
            here.keys.press(key)
        Lesson(here, tune, "snail-wall").run()
    return out


#: All of a short session at home: what goes wrong is told by the song's words and by the way of the tune; how a move goes is said
#: after a miss alone, and no pitch is named.
AT_HOME = [
    "Today: Snail on the wall, two phrases. About five minutes.",
    "The song is Snail on the wall.",
    "Five of six right. From 'wall' to 'creep' the tune stays on one note. Listen.",
    "Slower, twice with me.",
    "Now alone.",
    "Again 'wall', 'creep': the same note. Listen.",
    "Just five notes, twice with me. Snail, on, the, wall, creep.",
    "Now alone.",
    "All four right.",
    "Now the whole phrase, twice with me.",
    "Now alone.",
    "All six right.",
    "All six right.",
    "Now the whole song, with me.",
    "And now the whole song alone.",
    "You sang the whole song, and all of it right.",
    "That is all for today. Snail on the wall, slide down home: that went well. Next time: a new phrase.",
]


@pytest.mark.parametrize("kind", [SessionKind.PRACTISE, SessionKind.LESSON])
@pytest.mark.parametrize("show", [pytest.param(False, marks=pytest.mark.slow), True], ids=["alone", "with a helper"])
def test_every_line_is_written_once_in_order_and_nothing_repaints(kind: SessionKind, show: bool) -> None:
    out = run(kind, show)
    written = out.screen.text
    out.screen.close()
    assert written.endswith("\n")
    # No carriage return, backspace, bell or escape sequence (ECMA-48): what has been read never changes.
    assert all(c == "\n" or c.isprintable() for c in written)
    lines = written.splitlines()
    if kind is SessionKind.PRACTISE:
        assert lines == AT_HOME
    assert lines == out.lines  # once, in order, and nothing that is not said
    assert all(line == line.strip() and line for line in lines)
    assert all(a != b or a.startswith("All ") for a, b in pairwise(lines))  # two phrases right, one after the other
    assert max(len(line.split()) for line in lines) <= 30
