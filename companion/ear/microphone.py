"""The microphone: any device and rate, found by its name, as mono blocks at one working rate.

PortAudio (by sounddevice) calls us with sound; nothing is done there but put it in a queue. What reads the
queue learns by a `Trouble` that the device is missing, in use by another program, or gone.
"""

from __future__ import annotations

import queue
import time
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.ear.devices import devices_called, devices_with
from companion.ear.sound import RATE
from companion.errors import Trouble
from companion.messages import N_, _

F32 = NDArray[np.float32]

BLOCK_S = 0.02  # the tracker works well in blocks of 20 ms and more
STALLED_S = 1.5  # no sound for so long: the device has gone, whatever the driver says
USUAL_RATES = (48000, 44100, 32000, 22050, 16000, 96000)  # tried where the device's own does not open
MOST_WAITING = 3000  # blocks kept for a slow reader, one minute; more is counted as lost

NO_MICROPHONE = N_("There is no microphone. Plug one in.")


class MicrophoneGone(Trouble):
    """The microphone went away in the middle."""


def portaudio() -> Any:
    """The module sounddevice. Raises Trouble where the PortAudio library is missing."""
    try:
        import sounddevice
    except OSError as error:
        raise Trouble(_("The microphone cannot be heard: the PortAudio library is missing. On Debian or Ubuntu install "
                        "the package libportaudio2.")) from error
    return sounddevice


def look_again() -> None:
    """Look for devices anew (PortAudio makes its list once). No stream may be open."""
    sd = portaudio()
    sd._terminate()
    sd._initialize()


def microphones() -> list[str]:
    """Names of the devices that can listen, without repeats. Raises Trouble where PortAudio is missing."""
    sd = portaudio()
    try:
        names = [name for _number, name in devices_with(sd, "input")]
    except sd.PortAudioError:
        return []
    return list(dict.fromkeys(names))


def find_microphone(name: str | None = None) -> tuple[int | None, str, int, int]:
    """(number, name, rate in Hz, channels) of a device by its name or part of it; the default if None or "".

    A whole name goes before a part, capitals do not count. Raises Trouble, one sentence, with the names that
    there are where none or several fit.
    """
    sd = portaudio()
    there = microphones()
    if not there:
        raise Trouble(_(NO_MICROPHONE))
    try:
        number = _number_of(name, there) if name and name.strip() else None
        info = sd.query_devices(number, "input")
    except (sd.PortAudioError, ValueError) as error:
        raise Trouble(_(NO_MICROPHONE)) from error
    return number, str(info["name"]), int(info["default_samplerate"]), int(info["max_input_channels"])


def _number_of(name: str, there: list[str]) -> int:
    """PortAudio's number of the microphone called `name`. there: the names of all, for the errors."""
    fits = devices_called(name, devices_with(portaudio(), "input"))
    if not fits:
        raise Trouble((_("No microphone is called {name!r}. There is: {there}.") if len(there) == 1 else
                       _("No microphone is called {name!r}. There are: {there}.")).format(
                           name=name, there=", ".join(there)))
    names = list(dict.fromkeys(n for _unused, n in fits))
    if len(names) > 1:
        raise Trouble(_("{name!r} fits several microphones: {names}. Give more of the name.").format(
                            name=name, names=", ".join(names)))
    return fits[0][0]


def waiting_blocks(blocks: queue.SimpleQueue[F32], timeout_s: float) -> list[F32]:
    """All blocks of sound that have come in, in order; empty where none came within `timeout_s`."""
    out: list[F32] = []
    try:
        out.append(blocks.get(timeout=timeout_s))
        while True:
            out.append(blocks.get_nowait())
    except queue.Empty:
        return out


class Microphone:
    """An open microphone. `read` gives mono float32 at RATE, in order and without gaps.

    lost: how many times sound was lost (the driver said so, or nobody read for a minute).
    rate: of the device, Hz. name: of the device. Raises Trouble at the opening, `MicrophoneGone` later.
    """

    def __init__(self, name: str | None = None) -> None:
        self.wanted = name
        self.lost = 0
        self.blocks = 0
        self._queue: queue.SimpleQueue[F32] = queue.SimpleQueue()
        self._open()

    def _open(self) -> None:
        sd = portaudio()
        number, self.name, own, channels = find_microphone(self.wanted)
        self._failures = (sd.PortAudioError, ValueError)
        for rate in dict.fromkeys((own, *USUAL_RATES)):
            for count in dict.fromkeys((1, min(2, channels))):
                try:
                    self._stream = sd.InputStream(
                        samplerate=rate, channels=count, dtype="float32", device=number,
                        blocksize=round(BLOCK_S * rate), latency="low", callback=self._take)
                    self._stream.start()
                except self._failures:
                    continue
                self.rate = rate
                self._resample = Resampler(rate)
                self._beat = time.monotonic()
                return
        raise Trouble(_("The microphone {name} could not be opened; another program may hold it, or this one is not allowed to "
                        "listen. Close the other, allow the microphone in the system's settings, and try "
                        "again.").format(name=self.name))

    def _take(self, data: F32, frames: int, when: Any, status: Any) -> None:
        if status.input_overflow or self._queue.qsize() > MOST_WAITING:
            self.lost += 1
        if self._queue.qsize() <= MOST_WAITING:
            self._queue.put(data.mean(axis=1) if data.shape[1] > 1 else data[:, 0].copy())
        self.blocks += 1

    def read(self, timeout_s: float = 0.1) -> F32 | None:
        """The next sound (all that has come in), None where nothing came in time. Raises MicrophoneGone."""
        parts = waiting_blocks(self._queue, timeout_s)
        now = time.monotonic()
        if not parts:
            if now - self._beat > STALLED_S or not self._stream.active:
                raise MicrophoneGone(_("The microphone has gone. Plug it in again."))
            return None
        self._beat = now
        return self._resample(np.concatenate(parts))

    def forget(self) -> None:
        """Drop what has come in and was not read: it is the companion's own voice."""
        try:
            while True:
                self._queue.get_nowait()
        except queue.Empty:
            self._beat = time.monotonic()
            self._resample = Resampler(self.rate)

    def close(self) -> None:
        with suppress(*self._failures):
            self._stream.close(ignore_errors=True)

    def again(self) -> bool:
        """Try once to open the same microphone anew after it has gone; whether it is there."""
        self.close()
        try:
            look_again()
            self._open()
        except Trouble:
            return False
        self.forget()
        return True


class Resampler:
    """A stream of samples to RATE."""

    def __init__(self, rate: int) -> None:
        self._stream: Any = None
        if rate != RATE:
            import soxr

            # Medium quality: 16 bits, flat to 0.9 of the band, and a delay of a few milliseconds.
            self._stream = soxr.ResampleStream(rate, RATE, 1, dtype="float32", quality="MQ")

    def __call__(self, samples: F32) -> F32:
        if self._stream is None:
            return samples
        return np.asarray(self._stream.resample_chunk(samples), dtype=np.float32)


# --- is it loud enough? ---

CLIPPED = 0.985  # of full scale: samples at it or above have been cut off
CLIPPED_SHARE = 0.0005
FAINT_DB = -45.0  # the voice's loud part, dB re full scale; below, the pitch of soft notes is lost
LOUD_DB = -3.0
NEAR_NOISE_DB = 15.0  # the voice should stand out of the room by this; at 10 dB much stays unsure
NOTHING_DB = -90.0  # quieter than any room: muted, or not allowed


class LevelAdvice(StrEnum):
    """What is to be changed about the level, if anything."""

    GOOD = "good"
    TOO_SHORT = "too short"
    NO_SOUND = "no sound"
    TOO_LOUD = "too loud"
    FAINT = "faint"
    LOUD_ROOM = "loud room"


@dataclass(frozen=True)
class Level:
    """voice_db, noise_db: loud and quiet parts, RMS of 50 ms, dB re full scale; clipped: share of samples."""

    voice_db: float
    noise_db: float
    clipped: float
    advice: LevelAdvice

    @property
    def good(self) -> bool:
        """Whether nothing needs changing."""
        return self.advice is LevelAdvice.GOOD


def level_of(samples: F32, rate: int = RATE) -> Level:
    """The level of some seconds in which someone sings a little and is silent a little; with advice."""
    window = max(1, round(0.05 * rate))
    n = len(samples) // window
    if n < 2:
        return Level(-120.0, -120.0, 0.0, LevelAdvice.TOO_SHORT)
    frames = np.asarray(samples[:n * window], dtype=np.float64).reshape(n, window)
    level = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-12)
    voice, noise = float(np.quantile(level, 0.9)), float(np.quantile(level, 0.1))
    clipped = float(np.mean(np.abs(samples) >= CLIPPED))
    if voice < NOTHING_DB:
        advice = LevelAdvice.NO_SOUND
    elif clipped > CLIPPED_SHARE or voice > LOUD_DB:
        advice = LevelAdvice.TOO_LOUD
    elif voice < FAINT_DB:
        advice = LevelAdvice.FAINT
    elif voice - noise < NEAR_NOISE_DB:
        advice = LevelAdvice.LOUD_ROOM
    else:
        advice = LevelAdvice.GOOD
    return Level(voice, noise, clipped, advice)
