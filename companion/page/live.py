"""A live session on the page: the same loops as in the terminal, with the browser as microphone and loudspeaker.

One WebSocket a session. What comes in: first a greeting as JSON (token, what to do), then sound as float32 blocks and
small JSON messages (a key pressed, a sound played to its end). What goes out: lines of text, sounds as WAV bytes behind
a JSON head, and what the session is doing. The session itself runs in a thread, as it does in a terminal.
"""

from __future__ import annotations

import asyncio
import itertools
import json
import queue
import threading
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from starlette.websockets import WebSocket, WebSocketDisconnect

F32 = NDArray[np.float32]

MOST_SESSIONS = 8  # at a time: each holds a thread and a diary
MOST_BLOCK_BYTES = 1_000_000  # about five seconds of sound: more in one message is none of ours
MOST_QUEUED = 3000  # blocks for a slow session, one minute; more is counted as lost
LOWEST_RATE, HIGHEST_RATE = 8000, 192_000  # Hz, of an AudioContext
GREETING_S = 10.0
PLAYED_LATE_S = 3.0  # longer than a sound lasts before the browser's word that it was played is no longer waited for


class PageEars:
    """Sound from the browser as the blocks that a session listens to."""

    def __init__(self, rate: int) -> None:
        from companion.ear import Resampler

        self.rate = rate
        self.lost = 0
        self.gone = False
        self._make = lambda: Resampler(rate)
        self._resample = self._make()
        self._queue: queue.SimpleQueue[F32] = queue.SimpleQueue()

    def put(self, samples: F32) -> None:
        """Sound that came in, at `rate`."""
        if self._queue.qsize() > MOST_QUEUED:
            self.lost += 1
        else:
            self._queue.put(samples)

    def read(self, timeout_s: float = 0.1) -> F32 | None:
        """The next sound, None where nothing came in time. Raises Gone where the browser has left."""
        from companion.ear import Gone

        if self.gone:
            raise Gone("The page was closed.")
        try:
            parts = [self._queue.get(timeout=timeout_s)]
            while True:
                try:
                    parts.append(self._queue.get_nowait())
                except queue.Empty:
                    break
        except queue.Empty:
            return None
        return self._resample(np.concatenate(parts))

    def forget(self) -> None:
        """Drop what came in: it is the companion's own voice."""
        while True:
            try:
                self._queue.get_nowait()
            except queue.Empty:
                break
        self._resample = self._make()

    def again(self) -> bool:
        return not self.gone

    def close(self) -> None:
        self.gone = True


@dataclass
class Outbox:
    """Messages from the session's thread to the socket's loop."""

    loop: asyncio.AbstractEventLoop
    waiting: asyncio.Queue[str | bytes | None]

    def put(self, message: dict[str, Any] | bytes | None) -> None:
        data = message if isinstance(message, bytes) or message is None else json.dumps(message, ensure_ascii=False)
        self.loop.call_soon_threadsafe(self.waiting.put_nowait, data)


class PageOut:
    """Words and sounds of a session, sent to the browser. The same calls as `companion.lesson.Out`.

    Words go to the page's live region for a screen reader, or are spoken by us, never both at once.
    """

    def __init__(self, outbox: Outbox, settings: dict[str, Any], voice: str, speech: bool) -> None:
        self.outbox, self.voice = outbox, voice
        self.speech = speech
        self.show = True
        self.rate = int(settings["rate"])
        self.cap_db = float(settings["loudness"])
        self.last = ""
        self.closed = False
        self._numbers = itertools.count(1)
        self._played: dict[int, threading.Event] = {}

    def say(self, text: str, cut: Any = None, after_start: Any = None) -> bool:
        """One line: shown at once; spoken to its end where the page speaks. False where it was cut short."""
        self.last = text
        self.outbox.put({"say": text, "spoken": self.speech})
        if not self.speech:
            if after_start is not None:
                after_start()
            return True
        from companion.audio import speak

        return self.sound(speak(text, self.rate, self.voice), cut, after_start)

    def write(self, text: str) -> None:
        """A line that is shown and not spoken."""
        self.outbox.put({"line": text})

    def sound(self, sound: Any, cut: Any = None, after_start: Any = None) -> bool:
        """Play to the end in the browser, False where it was cut short."""
        from companion.audio import capped, wav_bytes

        number = next(self._numbers)
        played = self._played[number] = threading.Event()
        safe = capped(sound, self.cap_db)
        seconds = len(safe.samples) / safe.rate
        self.outbox.put({"sound": number, "seconds": round(seconds, 3)})
        self.outbox.put(wav_bytes(safe))
        if after_start is not None:
            after_start()
        end = time.monotonic() + seconds + PLAYED_LATE_S
        try:
            while not played.wait(0.03):
                if self.closed or time.monotonic() > end:
                    return True
                if cut is not None and cut():
                    self.outbox.put({"hush": number})
                    return False
        finally:
            del self._played[number]
        return True

    def ended(self, number: int) -> None:
        """The browser's word that a sound has been played."""
        event = self._played.get(number)
        if event is not None:
            event.set()

    def silent(self, why: str) -> None:
        """The browser plays nothing: what is said is shown from now on."""
        self.speech = False
        self.write(why)


@dataclass(frozen=True)
class Greeting:
    """What the browser asks for at the beginning of a session."""

    kind: str
    tune: str
    pupil: str
    speech: bool
    rate: int
