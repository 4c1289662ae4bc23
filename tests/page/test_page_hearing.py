"""What the page hears is what the commands hear, and as soon: sessions in time of sound, without a browser."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soxr
from live_room import settings_with, sung

from companion.diary import Action
from companion.language import choose_language, cue_text
from companion.lesson import Devices, Keys, Out, SessionOptions, Taken, answer_take, run_lesson
from companion.match import Verdict
from companion.page.frame import State
from companion.page.live import Live, PageEars, read_greeting
from companion.tune import load

BROWSER_RATE, BROWSER_BLOCK = 48_000, 960  # of an AudioContext, and what static/microphone.js sends at a time
RATE, BLOCK = 22_050, 441  # of `companion.ear.Microphone`: blocks of 20 ms
LATER_S = 0.15  # how much later the page may be
TUNE = "tick-tock"


class Stage:
    """Somebody sings once the line has sounded: sound of any length, silence before and after, at one rate."""

    def __init__(self, voice: np.ndarray, rate: int) -> None:
        self.rate, self.at, self.ends = rate, 0, 0
        self.voice = soxr.resample(voice, RATE, rate).astype(np.float32) if rate != RATE else voice
        self.starts = 1 << 60

    def sing(self) -> None:
        """The voice begins a second from now."""
        self.starts = self.at + self.rate
        self.ends = self.starts + len(self.voice)

    def block(self, size: int) -> np.ndarray:
        """What the microphone brings next, with a room's noise at -70 dB."""
        out = np.random.default_rng(self.at).normal(0, 10 ** (-70 / 20), size).astype(np.float32)
        for i in range(max(self.at, self.starts), min(self.at + size, self.ends)):
            out[i - self.at] += self.voice[i - self.starts]
        self.at += size
        assert self.at < 60 * self.rate, "no cue came"
        return out

    @property
    def after_voice_s(self) -> float:
        return (self.at - self.ends) / self.rate


class BrowserEars(PageEars):
    """The browser's blocks, each sent when it is asked for."""

    stage: Stage

    def read(self, timeout_s: float = 0.1) -> Any:
        self.put(self.stage.block(BROWSER_BLOCK))
        return super().read(timeout_s)


def on_the_page(voice: np.ndarray, tmp_path: Path) -> tuple[str, float, Taken]:
    """(cue, seconds from the end of the voice to it, the take) of a session on the page."""
    stage = Stage(voice, BROWSER_RATE)
    state = State(choose_language("british"), 1, str(tmp_path / "d.db"))
    greeting = read_greeting(state, json.dumps({"token": state.token, "kind": "sing", "tune": TUNE, "rate": BROWSER_RATE}))
    live = Live(state, greeting, asyncio.new_event_loop())
    ears = BrowserEars(BROWSER_RATE)
    ears.stage, live.ears = stage, ears
    cues: list[tuple[str, float]] = []
    takes: list[Taken] = []
    drawn = live._drawn

    def told(message: Any) -> None:
        if isinstance(message, dict) and "sound" in message and live.out is not None:
            live.out.ended(message["sound"])
        elif isinstance(message, bytes) and not takes:
            stage.sing()
        elif isinstance(message, dict) and "say" in message and takes and not cues:
            cues.append((message["say"], stage.after_voice_s))
            for _twice in range(2):
                live.keys.ask(Action.QUIT)

    def answered(taken: Taken) -> None:
        takes.append(taken)
        drawn(taken)

    live.put = told  # type: ignore[method-assign]
    live._drawn = answered  # type: ignore[method-assign]
    live._session()
    return (*cues[0], takes[0])


def on_the_command_line(voice: np.ndarray) -> tuple[str, float]:
    """The same of `companion lesson`, its sound card replaced by the same sound."""
    stage = Stage(voice, RATE)
    cues: list[tuple[str, float]] = []
    takes: list[Taken] = []
    keys = Keys()

    class Ears:
        lost = 0

        def read(self, timeout_s: float = 0.1) -> np.ndarray:
            return stage.block(BLOCK)

        def forget(self) -> None: ...

        def again(self) -> bool:
            return True

        def close(self) -> None: ...

    class Loud(Out):
        def write(self, text: str) -> None:
            if takes and not cues:
                cues.append((text, stage.after_voice_s))
                for _twice in range(2):
                    keys.ask(Action.QUIT)

        def sound(self, sound: Any, interrupt: Any = None, after_start: Any = None) -> bool:
            if not takes:
                stage.sing()
            return True

    devices = Devices(out=Loud, keys=lambda bound: keys, ears=lambda settings: Ears(), prepare=lambda: None,
                      answered=takes.append)
    run_lesson(SessionOptions(devices=devices, settings=settings_with()), TUNE)
    return cues[0]


@pytest.mark.parametrize("turned", [None, 2])
def test_the_page_gives_the_cue_of_the_commands_and_as_soon(turned: int | None, tmp_path: Path) -> None:
    """Verdict for verdict those of `companion hear` on the same voice; not more than 0.15 s of sound later than the lesson's."""
    from singers import Style

    line = load(TUNE).phrase(1)
    voice = sung(line, 3.0, 0.6, Style(waver=0.02, miss=0.05, legato=0.5, turned=turned, turned_stays=True))
    cue, late_s, taken = on_the_page(voice, tmp_path)
    command_cue, command_late_s = on_the_command_line(voice)
    assert cue == command_cue
    assert late_s <= command_late_s + LATER_S, (late_s, command_late_s)
    path = tmp_path / "take.wav"
    import soundfile

    soundfile.write(path, np.concatenate([np.zeros(RATE, np.float32), voice, np.zeros(RATE, np.float32)]), RATE)
    heard = answer_take(path, TUNE, 1)
    verdicts = [(m.start, m.end, m.verdict) for m in taken.match.moves]
    assert verdicts == [(m.start, m.end, m.verdict) for m in heard.match.moves]
    assert (Verdict.WRONG in {v for _a, _b, v in verdicts}) is (turned is not None)
    assert cue == cue_text(choose_language("british"), heard.match, heard.advice, counted=False)  # as a lesson says it


def test_what_a_busy_machine_brings_late_in_one_block_is_heard_like_the_rest() -> None:
    """All at once: silence, the phrase with its third note the other way, silence."""
    from singers import Style

    from companion.lesson.listen import HeardKind, Listener

    line = load(TUNE).phrase(1)
    voice = sung(line, 3.0, 0.6, Style(waver=0.02, miss=0.05, legato=0.5, turned=2, turned_stays=True))
    room = np.random.default_rng(1).normal(0, 10 ** (-70 / 20), len(voice) + 3 * RATE).astype(np.float32)
    room[RATE:RATE + len(voice)] += voice
    heard = Listener(line, 0.6).push(room)
    assert heard is not None
    assert heard.kind is HeardKind.TAKE
    assert heard.match is not None
    assert [m.verdict for m in heard.match.moves].count(Verdict.WRONG) == 1
