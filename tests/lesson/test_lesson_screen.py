"""With speech off the terminal is what a screen reader reads: every line once, in order, whole, and nothing repaints."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from live_room import PLAIN, RATE, Room, RoomSession, session, settings_with, sung

from companion.diary import SessionKind
from companion.lesson.live import Lesson
from companion.lesson.out import Out
from companion.lesson.practise import Practise, Set
from companion.tune import LineNote, load


class Terminal(Out):
    """Writes as the command does, to a file; tones only move the room's clock. lines: what the session gave to be said."""

    def __init__(self, room: Room, show: bool) -> None:
        self.screen = io.StringIO()
        super().__init__(settings_with(), show, self.screen)
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


@pytest.mark.parametrize("kind", [SessionKind.PRACTISE, SessionKind.LESSON])
@pytest.mark.parametrize("show", [False, True], ids=["alone", "with a helper"])
def test_every_line_is_written_once_in_order_and_nothing_repaints(kind: SessionKind, show: bool) -> None:
    out = run(kind, show)
    written = out.screen.getvalue()
    assert written.endswith("\n")
    # No carriage return, backspace, bell or escape sequence (ECMA-48): what has been read never changes.
    assert all(c == "\n" or c.isprintable() for c in written)
    lines = written.splitlines()
    assert lines == out.lines  # once, in order, and nothing that is not said
    assert all(line == line.strip() and line for line in lines)
    assert all(a != b or a.startswith("All ") for a, b in pairwise(lines))  # two phrases right, one after the other
    assert max(len(line.split()) for line in lines) <= 30
