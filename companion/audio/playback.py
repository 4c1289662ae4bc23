"""Sound out, safely: a cap on its level, a low start, files, and the loudspeaker where there is one.

Software cannot know the level at the ear: that is up to the amplifier and the headphones. What it can do
is never to be louder than a stated level in the file, to start low and never to jump. ITU-T H.870 gives
75 dBA for 40 hours a week as the reference exposure for children.
"""

from __future__ import annotations

import atexit
import io
import time
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Lock, Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.ear import Sound, devices_called, devices_with
from companion.errors import Trouble
from companion.messages import N_, _
from companion.places import write_whole
from companion.quiet import hush_libraries

CAP_DBFS = -14.0  # loudest 50 ms of anything played, RMS: below speech normalised for broadcast, with room
PEAK = 0.5  # highest sample: -6 dBFS
WINDOW_S = 0.05
START_S = 0.08  # the first samples rise from nothing: no ear is startled by a rise this long
END_S = 0.02
#: Everything starts this far below its own loudest, and no part is louder than what came before by more.
LOW_START_DB = 8.0
#: How fast the ceiling rises while something sounds near it: full level after 0.6 s.
RISE_DB_PER_S = LOW_START_DB / 0.6
#: How fast it comes down again in silence: what follows a pause of 4 s starts low again.
FALL_DB_PER_S = 2.0
NEAR_DB = 6.0
STEP_S = 0.01  # how often the ceiling is looked at
#: Silence sent after the end, beyond the card's own delay: some drivers drop what is still under way when a
#: stream is closed (ALSA's pulse plugin does).
TAIL_S = 0.03
#: Nothing taken by the sound card for so long: it has gone, whatever the driver says. A wireless link that stalls comes
#: back within seconds, and what was being said goes on then.
STALLED_S = 8.0
IDLE_S = 0.05  # silence under way between sounds: the next one begins behind it
CLOSED_S = 2.0  # within which a loudspeaker is closed that takes what is still under way
TICK_S = 0.02  # how often that silence is looked after
ROOM_S = 0.005  # between looks for room in the card's buffer
BUFFER_S = 0.1  # asked of the card: long enough that other work does not tear the sound, short enough to stop

NO_LOUDSPEAKER = N_("There is no loudspeaker to play on. Plug one in, or save the sound to a file instead.")


def _window_power(samples: NDArray[np.float64], rate: int) -> tuple[NDArray[np.float64], int]:
    """Summed squares of every window of WINDOW_S, and the length of a window in samples."""
    step = min(max(1, round(WINDOW_S * rate)), len(samples))
    total = np.cumsum(np.concatenate([[0.0], np.square(samples)]))
    return np.maximum(total[step:] - total[:-step], 0.0), step


def finish(sound: Sound, cap_db: float = CAP_DBFS) -> Sound:
    """The sound as it may be played: sound samples only, at most at the cap, low at its start, ends soft.

    Samples that are no numbers, or infinite, become silence; what lies beyond full scale is brought down as
    a whole. cap_db: loudest WINDOW_S, RMS, at most CAP_DBFS; a lower one brings everything down by as much,
    so that a soft sound and a loud one keep their balance. The result is never louder than the input.
    """
    samples = np.asarray(sound.samples, dtype=np.float64).reshape(-1)
    samples = np.where(np.isfinite(samples), samples, 0.0)
    if not len(samples):
        return Sound(np.zeros(0, dtype=np.float32), sound.rate)
    top = float(np.abs(samples).max())
    if top > 1.0:
        samples = samples / top  # before any squaring: 1e300 has no square
        top = 1.0
    power, step = _window_power(samples, sound.rate)
    loudest = float(10 * np.log10(power.max() / step + 1e-12))
    gain = min(1.0, 10 ** ((CAP_DBFS - loudest) / 20), PEAK / top if top else 1.0)
    gain *= min(1.0, 10 ** ((cap_db - CAP_DBFS) / 20))
    samples = samples * gain * _low_start(power / step, sound.rate, len(samples))
    for seconds, at_start in ((START_S, True), (END_S, False)):
        n = min(len(samples), round(seconds * sound.rate))
        ramp = np.sin(np.linspace(0, np.pi / 2, n)) ** 2
        if at_start:
            samples[:n] *= ramp
        elif n:
            samples[len(samples) - n:] *= ramp[::-1]
    return Sound(samples.astype(np.float32), sound.rate)


def _low_start(power: NDArray[np.float64], rate: int, length: int) -> NDArray[np.float64]:
    """A gain for each sample, 0 to 1, that keeps the level under a ceiling.

    The ceiling starts LOW_START_DB under the loudest window, rises while something sounds close under it,
    and comes down again in silence. power: mean square of every window.
    """
    hop = max(1, round(STEP_S * rate))
    around = max(1, round(WINDOW_S / STEP_S))
    count = -(-length // hop)
    # The level at a step is that of the loudest window that holds any of it.
    starts = np.minimum(np.arange(count) * hop, len(power) - 1)
    level = 10 * np.log10(power[starts] + 1e-12)
    padded = np.pad(level, (around, 1), mode="edge")
    level = np.lib.stride_tricks.sliding_window_view(padded, around + 2).max(axis=1)
    top = float(10 * np.log10(power.max() + 1e-12))
    ceiling, gains = top - LOW_START_DB, np.empty(count)
    for i, now in enumerate(level.tolist()):
        gains[i] = min(0.0, ceiling - now)
        if now > ceiling - NEAR_DB:
            ceiling = min(top, ceiling + RISE_DB_PER_S * STEP_S)
        else:
            ceiling = max(top - LOW_START_DB, ceiling - FALL_DB_PER_S * STEP_S)
    at = np.arange(count) * hop + hop / 2
    return np.asarray(10 ** (np.interp(np.arange(length), at, gains) / 20))


def check_name(path: str | Path) -> str:
    """ "wav" or "flac", as a name ends. Raises Trouble for another ending, so that it can be said before any work."""
    kind = Path(path).suffix.lower().lstrip(".")
    if kind not in ("wav", "flac"):
        raise Trouble((_("{path} ends in .{ending}; sound is saved as .wav or .flac. Give such a name.") if kind else
                       _("{path} ends in nothing; sound is saved as .wav or .flac. Give such a name.")).format(
                           path=path, ending=kind))
    return kind


def save_sound(sound: Sound, path: str | Path) -> None:
    """Write a sound as .wav or .flac (16 bit), whole or not at all, capped as all that is played."""
    import soundfile

    kind = check_name(path)
    done = finish(sound)
    data = io.BytesIO()
    soundfile.write(data, done.samples, done.rate, format=kind.upper(), subtype="PCM_16")
    write_whole(path, data.getvalue())


def portaudio() -> Any:
    """The module sounddevice. Raises Trouble where the PortAudio library is missing."""
    hush_libraries()
    try:
        import sounddevice
    except OSError as error:
        raise Trouble(_("Sound cannot be played: the PortAudio library is missing. On Debian or Ubuntu install the "
                        "package libportaudio2.")) from error
    # After the import, so that it runs before sounddevice puts PortAudio away: last in, first out.
    atexit.unregister(_end_all)
    atexit.register(_end_all)
    return sounddevice


def loudspeakers() -> list[str]:
    """Names of the devices that can play, without repeats, in the system's order.

    Raises Trouble where PortAudio is missing.
    """
    sd = portaudio()
    try:
        names = [name for _number, name in devices_with(sd, "output")]
    except sd.PortAudioError:
        return []
    return list(dict.fromkeys(names))


def find_loudspeaker(device: str | int | None = None) -> tuple[Any, int]:
    """(what to give PortAudio as its device, its rate in Hz). device: name, part of one, or number.

    A whole name goes before a part of one, and capitals do not count. Raises Trouble with one sentence:
    no loudspeaker at all; a name that is not known, or fits several, with those that there are.
    """
    sd = portaudio()
    there = loudspeakers()
    if not there:
        raise Trouble(_(NO_LOUDSPEAKER))
    if isinstance(device, str) and device.strip().isdecimal() and device not in there:
        device = int(device)
    try:
        devices = devices_with(sd, "output")
        every = sd.query_devices()
        if isinstance(device, str):
            device = _number_of(device, devices, there)
        elif device is not None and not (0 <= device < len(every) and every[device]["max_output_channels"]):
            raise Trouble((_("No loudspeaker has the number {device}. There is: {there}.") if len(there) == 1 else
                           _("No loudspeaker has the number {device}. There are: {there}.")).format(
                               device=device, there=", ".join(there)))
        return device, int(sd.query_devices(device, "output")["default_samplerate"])
    except (sd.PortAudioError, ValueError) as error:
        raise Trouble(_(NO_LOUDSPEAKER)) from error


def _number_of(name: str, devices: list[tuple[int, str]], there: list[str]) -> int:
    """PortAudio's number of a loudspeaker. devices: (number, name) of all; there: names, for the errors."""
    fits = devices_called(name, devices)
    if not fits:
        raise Trouble((_("No loudspeaker is called {device!r}. There is: {there}.") if len(there) == 1 else
                       _("No loudspeaker is called {device!r}. There are: {there}.")).format(
                           device=name, there=", ".join(there)))
    names = list(dict.fromkeys(called for _unused, called in fits))
    if len(names) > 1:
        raise Trouble(_("{device!r} fits several loudspeakers: {names}. Give more of the name.").format(
                            device=name, names=", ".join(names)))
    return fits[0][0]


class _Stalled(Exception):
    """The sound card has taken nothing for STALLED_S."""


class Playing:
    """A sound on its way out. Made by `Loudspeaker.play` and `start_playing`; goes on by itself."""

    def __init__(self, samples: NDArray[np.float32], stop: Event | None) -> None:
        self.samples = samples  # a column a channel, as the stream takes them
        self.told_to_stop = stop or Event()
        self._over = Event()
        self._trouble: Exception | None = None

    def ended(self, trouble: Exception | None = None) -> None:
        """It is over; trouble: why it was broken off, which `wait` raises."""
        self._trouble = trouble
        self._over.set()

    @property
    def done(self) -> bool:
        """Whether it has ended: played out, stopped or broken off."""
        return self._over.is_set()

    def stop(self) -> None:
        """Fade out and end, within about two tenths of a second; returns at once. Twice does no harm."""
        self.told_to_stop.set()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end, at most `timeout_s` seconds. Returns whether it has ended.

        Raises Trouble, one sentence, where the loudspeaker went away.
        """
        try:
            ended = self._over.wait(timeout_s)
        except BaseException:
            self.stop()  # Ctrl+C while sound plays ends the sound too
            raise
        if self._trouble is not None:
            raise self._trouble
        return ended


class Loudspeaker:
    """A loudspeaker that is opened at the first sound and kept open, so that the next one begins at once.

    Between sounds a little silence is kept under way (IDLE_S). A card that takes no sound for some seconds (a stalled
    wireless link) is waited for, and the sound goes on where it was; one that has gone is opened anew at the next sound.
    device: name or number, the default one if None. cap_db: as in `finish`. once: close after the first sound.
    """

    def __init__(self, device: str | int | None = None, cap_db: float = CAP_DBFS, once: bool = False) -> None:
        self.device, self.cap_db, self.once = device, cap_db, once
        self._lock = Lock()
        self._waiting: SimpleQueue[Playing | None] = SimpleQueue()
        self._thread: Thread | None = None
        self._current: Playing | None = None
        self._rate = self._channels = self._most_room = 0

    def play(self, sound: Sound, stop: Event | None = None) -> Playing:
        """Begin to play a sound, behind what still plays, and return at once. stop: an event that ends it from elsewhere.

        Raises Trouble, one sentence, where there is no PortAudio, no loudspeaker, or none of that name.
        """
        with self._lock:
            if self._thread is None:
                self._open()
            samples = finish(sound, self.cap_db).at_rate(self._rate).samples
            playing = Playing(np.repeat(samples[:, None], self._channels, axis=1), stop)
            self._waiting.put(playing)
        return playing

    def close(self, wait_s: float = CLOSED_S) -> bool:
        """Let go of the loudspeaker, once what still plays has faded out; whether that is done within `wait_s` seconds."""
        with self._lock:
            thread, current = self._thread, self._current
            if thread is not None:
                self._waiting.put(None)
        if current is not None:
            current.stop()
        if thread is not None:
            thread.join(wait_s)
        return thread is None or not thread.is_alive()

    def _open(self) -> None:
        sd = portaudio()
        found, self._rate = find_loudspeaker(self.device)
        for channels in (1, 2):  # some drivers open no single channel: then both carry the same
            try:
                stream = sd.OutputStream(samplerate=self._rate, channels=channels, dtype="float32", device=found,
                                         latency=BUFFER_S)
            except (sd.PortAudioError, ValueError):
                continue
            self._channels = channels
            self._thread = Thread(target=self._run, args=(stream, self._waiting, (sd.PortAudioError, _Stalled)),
                                  name="playing", daemon=True)
            _open_ones.add(self)
            self._thread.start()
            return
        raise Trouble(_("The loudspeaker could not be opened; another program may hold it. Close that one and try again, or "
                        "save the sound to a file instead."))

    # --- in the thread of its own ---

    def _run(self, stream: Any, waiting: SimpleQueue[Playing | None], failures: tuple[type[Exception], ...]) -> None:
        playing: Playing | None = None
        trouble: Exception | None = None
        try:
            with stream:
                self._most_room = 0
                while True:
                    playing = None
                    playing = self._next(stream, waiting)
                    if playing is None:
                        break
                    self._current = playing
                    self._play(stream, playing)
                    self._current = None
                    playing.ended()
                    if self.once:
                        break
        except failures:
            trouble = Trouble(_("The loudspeaker went away while sound was playing. Plug it in again, and play once more."))
        except Exception as fault:  # ours: `wait` passes it on
            trouble = fault
        with self._lock:  # whoever plays now opens anew
            self._thread = None
            self._waiting = SimpleQueue()
            _open_ones.discard(self)
        if playing is not None and not playing.done:
            playing.ended(trouble)
        while not waiting.empty():
            if (late := waiting.get()) is not None:
                late.ended(trouble)

    def _next(self, stream: Any, waiting: SimpleQueue[Playing | None]) -> Playing | None:
        """What is to be played next; None where there will be nothing more. Silence goes out until then."""
        while True:
            try:
                return waiting.get(timeout=TICK_S)
            except Empty:
                self._idle(stream)

    def _idle(self, stream: Any) -> None:
        """Keep IDLE_S of silence under way, and no more, since the next sound has to wait for it."""
        room = int(stream.write_available)
        self._most_room = max(self._most_room, room)
        wanted = round(IDLE_S * self._rate) - (self._most_room - room)
        if 0 < wanted <= room:
            stream.write(np.zeros((wanted, self._channels), dtype=np.float32))

    def _play(self, stream: Any, playing: Playing) -> None:
        """A sound to its end, and until it has been heard."""
        block = max(256, self._rate // 20)  # 50 ms: how long a stop may take to be noticed
        for start in range(0, len(playing.samples), block):
            piece = playing.samples[start:start + block]
            ending = playing.told_to_stop.is_set()
            if ending:  # fade what is next instead of cutting it: a cut clicks
                piece = (piece * np.linspace(1, 0, len(piece))[:, None]).astype(np.float32)
            self._write(stream, piece)
            if ending:
                break
        tail = round((float(stream.latency) + TAIL_S) * self._rate)
        silence = np.zeros((block, self._channels), dtype=np.float32)
        for _block in range(-(-tail // block)):
            self._write(stream, silence)

    @staticmethod
    def _write(stream: Any, piece: NDArray[np.float32]) -> None:
        """Wait for room and write. A write without room would wait in the driver, for ever if it came to that."""
        given_up = time.monotonic() + STALLED_S
        done = 0
        while done < len(piece):
            room = min(int(stream.write_available), len(piece) - done)
            if room > 0:
                stream.write(piece[done:done + room])
                done += room
                given_up = time.monotonic() + STALLED_S
            elif time.monotonic() > given_up:
                stream.abort()
                raise _Stalled
            else:
                time.sleep(ROOM_S)


_open_ones: set[Loudspeaker] = set()


def _end_all() -> None:
    """At the program's end: fade out what still plays."""
    for speaker in list(_open_ones):
        speaker.close(STALLED_S + 1)


def start_playing(sound: Sound, device: str | int | None = None, stop: Event | None = None,
                  cap_db: float = CAP_DBFS) -> Playing:
    """Begin to play one sound and return at once. device, cap_db: as in `Loudspeaker`; stop: as in `Loudspeaker.play`.

    Raises Trouble, one sentence, where there is no PortAudio, no loudspeaker, or none of that name.
    """
    return Loudspeaker(device, cap_db, once=True).play(sound, stop)


def play(sound: Sound, device: str | int | None = None, stop: Event | None = None,
         cap_db: float = CAP_DBFS) -> None:
    """Play a sound to its end, or until `stop` is set. As `start_playing`, and then `Playing.wait`."""
    start_playing(sound, device, stop, cap_db).wait()
