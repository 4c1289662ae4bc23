"""A pupil in real time: listens to the loudspeaker, and sings when the companion has been silent for a moment.

The program runs as a process on a sound card of software (tests/soundcard.py); no key is pressed unless the
test presses one.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from soundcard import RATE, Recording, SoundCard

SILENT_S = 1.5  # longer than any pause within what the companion says and plays, also where a machine is busy
LOUD = 0.003


class Program:
    """A running command on a card. lines: what it has written so far, with the time of each. script: what Python is to run,
    if not the command itself."""

    def __init__(self, card: SoundCard, *arguments: str, stdin: Any = subprocess.DEVNULL,
                 script: Sequence[str] = ("-m", "companion")) -> None:
        self.started = time.monotonic()
        self.process = subprocess.Popen([sys.executable, *script, *arguments], env=card.env, stdin=stdin,
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.lines: list[str] = []
        self.times: list[float] = []
        self.errors = ""
        self._threads = [threading.Thread(target=self._read, daemon=True),
                         threading.Thread(target=self._read_errors, daemon=True)]
        for thread in self._threads:
            thread.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.times.append(time.monotonic() - self.started)
            self.lines.append(line.rstrip("\n"))

    def _read_errors(self) -> None:
        assert self.process.stderr is not None
        self.errors = self.process.stderr.read()

    @property
    def running(self) -> bool:
        return self.process.poll() is None

    def end(self, timeout_s: float = 10.0) -> int:
        try:
            self.process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
        for thread in self._threads:
            thread.join(5)
        return int(self.process.wait())


def sing_along(card: SoundCard, record: Recording, program: Program, pupil: Callable[[int], np.ndarray | None],
               limit_s: float = 180.0) -> int:
    """Until the program ends: pupil(k) gives the k-th thing to be sung (22050 Hz), None for silence this time.

    Returns how many times the pupil was asked.
    """
    turns, heard_from = 0, 0
    voice: subprocess.Popen[bytes] | None = None
    end = time.monotonic() + limit_s
    while program.running:
        assert time.monotonic() < end, f"the session does not end; so far: {program.lines}"
        time.sleep(0.05)
        if voice is not None:
            if voice.poll() is None:
                continue
            voice, heard_from = None, record.length + RATE // 5
        new = record.since(heard_from)
        loud = np.flatnonzero(np.abs(new) > LOUD)
        if not len(loud) or len(new) - loud[-1] < SILENT_S * RATE:
            continue
        samples = pupil(turns)
        turns += 1
        heard_from = record.length
        if samples is not None:
            voice = card.voice(np.concatenate([np.zeros(2000, dtype=np.float32), samples]), 22050)
    return turns
