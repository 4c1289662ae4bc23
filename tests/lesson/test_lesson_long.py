"""Half an hour of a session in time of sound: memory stays flat."""

from __future__ import annotations

import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from live_room import BLOCK, PLAIN, RATE, Room, session, sung

from companion.diary import SessionKind
from companion.lesson.live import Lesson
from companion.tune import Bar, Barline, Key, LineNote, Note, Pitch, Time, Tune

MINUTES = 30.0
PHRASES = ("CDECD", "EDCDE", "CEDCE", "DEFDE")
TURNED = replace(PLAIN, turned=2, turned_stays=True)


class Endless(Room):
    """A room that keeps no sound that is over."""

    def __init__(self) -> None:
        super().__init__(limit_s=2 * MINUTES * 60)
        self.coming: list[tuple[int, np.ndarray]] = []

    def put(self, samples: np.ndarray, after_s: float = 0.5) -> None:
        self.coming.append((self.at + round(after_s * RATE), samples))

    def read(self, timeout_s: float = 0.1) -> np.ndarray:
        at, block = self.at, super().read(timeout_s)
        for start, samples in self.coming:
            a, b = max(at, start), min(at + BLOCK, start + len(samples))
            if a < b:
                block[a - at:b - at] += samples[a - start:b - start]
        self.coming = [(start, samples) for start, samples in self.coming if start + len(samples) > self.at]
        return block


def endless_tune() -> Tune:
    bars = [Bar(number=k + 1, notes=tuple(Note(pitch=Pitch(s, 4), base=Fraction(1)) for s in PHRASES[k % len(PHRASES)]),
                key=Key(), time=Time((5,), 4)) for k in range(300)]
    bars[-1] = replace(bars[-1], barline=Barline.FINAL)
    return Tune(title="Endless", bars=tuple(bars), quarter_bpm=100.0, phrase_starts=tuple(range(1, 1501, 5)))


@pytest.mark.overnight
def test_half_an_hour_of_lesson_keeps_memory_flat() -> None:
    """Every third phrase is sung wrong first. What Python holds (tracemalloc) a third of the way and at the end: an answered
    take keeps its match, and nothing else may grow."""
    room = Endless()
    here = session(room, kind=SessionKind.LESSON)
    held: list[tuple[float, int, int]] = []
    made: dict[tuple[str, bool], np.ndarray] = {}

    def voice(line: Sequence[LineNote], shift: float, turned: bool) -> np.ndarray:
        key = "".join(n.pitch.step for n in line), turned
        if key not in made:
            made[key] = sung([replace(n, onset_quarters=n.onset_quarters - line[0].onset_quarters) for n in line], 0.0, 0.6,
                             TURNED if turned else PLAIN)
        return made[key]

    def on_say(text: str) -> None:
        here.out.tones.clear()  # type: ignore[attr-defined]
        here.out.said.clear()  # type: ignore[attr-defined]
        held.append((here.elapsed_s, tracemalloc.get_traced_memory()[0], len(here.taken)))
        if here.elapsed_s > MINUTES * 60:
            for key in "qq":
                here.keys.press(key)
        elif "Listen." in text:
            room.put(voice(here.taken[-1].line, 0.0, False), 4.0)
        elif text.startswith("I "):  # not sure, or nothing heard
            room.put(voice(lesson.phrases[lesson.at], 0.0, False), 1.0)

    here.pupil_sings = lambda line, shift, quarter_s: voice(line, shift, len(here.taken) % 4 == 0)
    here.out.on_say = on_say  # type: ignore[attr-defined]
    lesson = Lesson(here, endless_tune(), "endless")
    tracemalloc.start()
    lesson.run()
    tracemalloc.stop()
    early = next(h for h in held if h[0] > MINUTES * 20)
    late = held[-1]
    per_take = (late[1] - early[1]) / max(1, late[2] - early[2])
    print(f"{late[0] / 60:.1f} minutes, {late[2]} takes; held {early[1] / 1e6:.2f} MB after {early[2]} takes, "
          f"{late[1] / 1e6:.2f} MB at the end: {per_take / 1000:.1f} kB a take")
    assert late[0] >= MINUTES * 60
    assert late[2] > 100
    assert per_take < 40_000
