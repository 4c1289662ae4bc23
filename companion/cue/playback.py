"""Sound out, safely: a cap on its level, a soft start, files, and the loudspeaker where there is one.

Software cannot know the level at the ear: that is up to the amplifier and the headphones. What it can do
is never to be louder than a stated level in the file, and never to jump. ITU-T H.870 gives 75 dBA for
40 hours a week as the reference exposure for children.
"""

from __future__ import annotations

import io
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np

from companion.cue.sound import Sound, at_rate
from companion.errors import Trouble
from companion.places import write_whole

CAP_DBFS = -14.0  # loudest 50 ms of anything played, RMS: below speech normalised for broadcast, with room
PEAK = 0.5  # highest sample: -6 dBFS
WINDOW_S = 0.05
START_S = 0.08  # a soft start: no ear is startled by a rise this long
END_S = 0.02
NO_PORTAUDIO = ("Sound cannot be played: the PortAudio library is missing. On Debian or Ubuntu install the "
                "package libportaudio2.")
NO_LOUDSPEAKER = "There is no loudspeaker to play on. Plug one in, or save the sound to a file instead."


def loudest_db(sound: Sound) -> float:
    """RMS of the loudest WINDOW_S, dB re full scale (a square wave of 1 is 0)."""
    window = max(1, round(WINDOW_S * sound.rate))
    power = np.square(sound.samples.astype(np.float64))
    if not len(power):
        return -120.0
    total = np.cumsum(np.concatenate([[0.0], power]))
    step = min(window, len(power))
    return float(10 * np.log10(np.max(total[step:] - total[:-step]) / step + 1e-12))


def finish(sound: Sound, cap_db: float = CAP_DBFS) -> Sound:
    """The sound as it may be played: brought down to the cap, peaks held, ends made soft. Never louder."""
    samples = np.nan_to_num(np.asarray(sound.samples, dtype=np.float64), posinf=0.0, neginf=0.0)
    clean = Sound(samples.astype(np.float32), sound.rate)
    gain = min(1.0, 10 ** ((min(cap_db, CAP_DBFS) - loudest_db(clean)) / 20))
    top = float(np.abs(samples).max()) if len(samples) else 0.0
    gain = min(gain, PEAK / top) if top > 0 else gain
    samples = samples * gain
    for seconds, at_start in ((START_S, True), (END_S, False)):
        n = min(len(samples), round(seconds * sound.rate))
        ramp = np.sin(np.linspace(0, np.pi / 2, n)) ** 2
        if at_start:
            samples[:n] *= ramp
        elif n:
            samples[len(samples) - n:] *= ramp[::-1]
    return Sound(samples.astype(np.float32), sound.rate)


def save(sound: Sound, path: str | Path) -> None:
    """Write a sound as .wav or .flac (16 bit), whole or not at all, capped as all that is played."""
    import soundfile

    kind = Path(path).suffix.lower().lstrip(".")
    if kind not in ("wav", "flac"):
        raise Trouble(f"{path} ends in .{kind or 'nothing'}; sound is saved as .wav or .flac.")
    done = finish(sound)
    data = io.BytesIO()
    soundfile.write(data, done.samples, done.rate, format=kind.upper(), subtype="PCM_16")
    write_whole(path, data.getvalue())


def portaudio() -> Any:
    """The module sounddevice. Raises Trouble where the PortAudio library is missing."""
    try:
        import sounddevice
    except OSError as error:
        raise Trouble(NO_PORTAUDIO) from error
    return sounddevice


def play(sound: Sound, device: str | int | None = None, stop: Event | None = None) -> None:
    """Play a sound to its end, or until `stop` is set. device: name or number, the default one if None.

    Raises Trouble, one sentence, where there is no PortAudio or no loudspeaker.
    """
    sd = portaudio()
    done = finish(sound)
    try:
        info = sd.query_devices(device, "output")
        rate = int(info["default_samplerate"])
        samples = at_rate(done, rate).samples
        block = max(256, rate // 20)
        with sd.OutputStream(samplerate=rate, channels=1, dtype="float32", device=device) as stream:
            for start in range(0, len(samples), block):
                if stop is not None and stop.is_set():
                    # Fade what is next instead of cutting it: a cut clicks.
                    piece = samples[start:start + block]
                    stream.write((piece * np.linspace(1, 0, len(piece))).astype(np.float32)[:, None])
                    break
                stream.write(samples[start:start + block, None])
    except (sd.PortAudioError, ValueError) as error:
        raise Trouble(NO_LOUDSPEAKER) from error
