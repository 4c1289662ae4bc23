"""A live session on the page: the same loops as in the terminal, with the browser as microphone and loudspeaker.

One WebSocket a session. What comes in: first a greeting as JSON (token, what to do), then sound as float32 blocks and
small JSON messages (a key pressed, a sound played to its end). What goes out: lines of text, sounds as WAV bytes behind
a JSON head, and what the session is doing. The session itself runs in a thread, as it does in a terminal.
"""

from __future__ import annotations

import asyncio
import io
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
