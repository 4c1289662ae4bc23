"""A room without a sound card, in time of sound: sessions run as fast as the machine allows.

What the companion plays moves the room's clock on; what pupils sing is put into the room's sound and read
from there by the session. With `echo` the loudspeaker is heard by the microphone too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from singers import VOICES, LineItem, Style, perform, render

from companion.audio import Sound
from companion.diary import SessionKind, SettingName, default_settings
from companion.language import choose_language
from companion.lesson.keys import Keys
from companion.lesson.out import Out
from companion.lesson.session import Session
from companion.tune import LineNote

RATE = 22050
BLOCK = 441
CHILD = VOICES[1]
#: Pupils of the tests sing plainly unless told otherwise.
PLAIN = Style(waver=0.03, miss=0.08, slide_s=0.04)

_sung: dict[tuple, np.ndarray] = {}


def sung(line: Sequence[LineNote], shift: float, quarter_s: float, style: Style = PLAIN, seed: int = 1,
         voice: Any = CHILD, maker: str = "formants") -> np.ndarray:
    """A line as a pupil sings it, `shift` semitones from where it is written. Made once and kept."""
    items = tuple(LineItem(n.midi, float(n.quarters), n.syllable.strip(",.;") or "la", float(n.rest_after))
                  for n in line)
    key = (items, shift, round(quarter_s, 3), style, seed, voice.name, maker)
    if key not in _sung:
        rng = np.random.default_rng(seed)
        performance = perform(items, replace(style, shift=shift, quarter_s=quarter_s), rng)
        _sung[key] = render(performance, voice, maker, rng)
    return _sung[key]


class Room:
    """Ears for a session, and the clock. noise_db: of the room, dB re full scale."""

    def __init__(self, noise_db: float = -60.0, echo: bool = False, limit_s: float = 900.0) -> None:
        self.rng = np.random.default_rng(5)
        self.noise = 10 ** (noise_db / 20)
        self.echo, self.limit_s = echo, limit_s
        self.at = self.lost = 0
        self.sound = np.zeros(0, dtype=np.float32)

    def now(self) -> float:
        return self.at / RATE

    def sleep(self, seconds: float) -> None:
        self.at += round(seconds * RATE)

    def put(self, samples: np.ndarray, after_s: float = 0.5) -> None:
        """Somebody sings, `after_s` from now on."""
        start = self.at + round(after_s * RATE)
        end = start + len(samples)
        if end > len(self.sound):
            self.sound = np.concatenate([self.sound, np.zeros(end - len(self.sound), dtype=np.float32)])
        self.sound[start:end] += samples

    def read(self, timeout_s: float = 0.1) -> np.ndarray:
        assert self.now() < self.limit_s, "the session does not end"
        block = self.rng.normal(0, self.noise, BLOCK).astype(np.float32)
        here = self.sound[self.at:self.at + BLOCK]
        block[:len(here)] += here
        self.at += BLOCK
        return block

    def forget(self) -> None:
        pass

    def again(self) -> bool:
        return True

    def close(self) -> None:
        pass


def settings_with(**settings: Any) -> dict[SettingName, Any]:
    """The usual settings with words written, and these over them."""
    return {**default_settings(), SettingName.SPEECH: "off", **{SettingName(n.replace("_", "-")): v for n, v in settings.items()}}


class RoomOut(Out):
    """Words are kept in `said`; tones move the clock; `events` has both in order with their times."""

    def __init__(self, room: Room, **settings: Any) -> None:
        super().__init__(settings_with(**settings))
        self.room = room
        self.said: list[str] = []
        self.tones: list[tuple[float, Sound]] = []
        self.on_say: Callable[[str], None] | None = None

    def write(self, text: str) -> None:
        self.said.append(text)
        self.room.at += round(0.35 * len(text.split()) * RATE)  # as long as it would take to say
        if self.on_say:
            self.on_say(text)

    def sound(self, sound: Sound, interrupt: Any = None, after_start: Any = None) -> bool:
        self.tones.append((self.room.now(), sound))
        if self.room.echo:
            self.room.put(sound.at_rate(RATE).samples, 0.2)  # the card's delay and the room
        if after_start is not None:
            after_start()
        self.room.at += round(sound.seconds * RATE)
        return not (interrupt is not None and interrupt())


class RoomSession(Session):
    """A session whose lines are answered by a pupil: pupil(line, shift, quarter_s) gives sound or None."""

    pupil_sings: Callable[[Sequence[LineNote], float, float], np.ndarray | None] | None = None
    along_s: float = 0.0  # time in which the pupil sings together with the companion
    given: list[int]

    def along(self, line: Sequence[LineNote], quarter_s: float, times: int = 1) -> bool:
        self.along_s += times * float(line[-1].onset_quarters + line[-1].quarters - line[0].onset_quarters) * quarter_s
        self.alone = quarter_s
        return super().along(line, quarter_s, times)

    def slide_along(self, start_midi: float, end_midi: float) -> bool:
        self.along_s += 1.1
        return super().slide_along(start_midi, end_midi)

    def give_slide(self, line: Sequence[LineNote], quarter_s: float) -> bool:
        done = super().give_slide(line, quarter_s)
        self.__dict__.setdefault("given", []).append(len(line))
        self._answered(line, quarter_s)
        return done

    def _answered(self, line: Sequence[LineNote], quarter_s: float) -> None:
        if self.pupil_sings is not None:
            samples = self.pupil_sings(line, self.shift, quarter_s)
            if samples is not None:
                self.ears.put(samples)  # type: ignore[attr-defined]

    def give_first_note(self, line: Sequence[LineNote]) -> bool:
        """After singing together the first note alone is given: the pupil sings at the same tempo."""
        done = super().give_first_note(line)
        self._answered(line, self.__dict__.get("alone", 0.7))
        return done

    def give(self, line: Sequence[LineNote], quarter_s: float, note: bool = True) -> bool:
        done = super().give(line, quarter_s, note)
        self.__dict__.setdefault("given", []).append(len(line))
        self._answered(line, quarter_s)
        return done


def session(room: Room, kind: SessionKind = SessionKind.PRACTISE, diary: Any = None, pupil: Any = None,
            **settings: Any) -> RoomSession:
    ours = settings_with(**settings)
    return RoomSession(RoomOut(room, **settings), room, Keys(), ours, kind, choose_language(ours[SettingName.VARIETY]), diary,
                       pupil, clock=room)
