"""Sound files and pitch-track files in: any rate and channel count to mono at one working rate."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.errors import Trouble

RATE = 22050  # Hz: sung pitch and its first harmonics lie below 5 kHz; twice the work buys nothing
LONGEST_S = 3600.0  # an hour; more is no take
TEXT = (".csv", ".txt")


@dataclass(frozen=True)
class Sound:
    """Mono sound: samples float32 within -1..1, rate in Hz."""

    samples: NDArray[np.float32]
    rate: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate


def read_sound(path: str | Path, rate: int = RATE) -> Sound:
    """Read any sound file that people have, as mono at `rate`.

    WAV, FLAC, OGG and MP3 by soundfile; what it cannot read (M4A, WebM, MP4) by PyAV, whose wheels carry
    FFmpeg. Raises Trouble, one sentence, for what is missing, empty, cut, unreadable or a folder.
    """
    data = _bytes_of(path)
    found = _by_soundfile(data)
    if found is None:
        found = _by_av(data)
    if found is None:
        raise Trouble(f"{path} could not be read as sound. Give a WAV, FLAC, OGG, MP3, M4A or WebM recording.")
    samples, own_rate = found
    if samples.ndim > 1:
        samples = samples.mean(axis=1)
    if not len(samples):
        raise Trouble(f"{path} holds no sound: it is empty or was cut off. Record it again.")
    if len(samples) / own_rate > LONGEST_S:
        raise Trouble(f"{path} is longer than an hour; a take is one phrase or tune. Cut out the part you mean.")
    samples = np.nan_to_num(np.asarray(samples, dtype=np.float32), posinf=0.0, neginf=0.0)
    return Sound(resample(samples, own_rate, rate), rate)


def resample(samples: NDArray[np.float32], own_rate: int, rate: int) -> NDArray[np.float32]:
    """The same sound at another rate (soxr, its high quality)."""
    if own_rate == rate:
        return samples
    import soxr

    return np.asarray(soxr.resample(samples, own_rate, rate), dtype=np.float32)


def _bytes_of(path: str | Path) -> bytes:
    path = Path(path)
    if path.is_dir():
        raise Trouble(f"{path} is a folder. Give one sound file.")
    if not path.exists():
        raise Trouble(f"There is no file {path}. Check its name and folder.")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise Trouble(f"{path} could not be read: {(error.strerror or str(error)).lower()}.") from error
    if not data:
        raise Trouble(f"{path} is empty. Record it again.")
    return data


def _by_soundfile(data: bytes) -> tuple[NDArray[np.float32], int] | None:
    import soundfile

    try:
        samples, rate = soundfile.read(io.BytesIO(data), dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, TypeError):
        return None
    return samples, int(rate)


def _by_av(data: bytes) -> tuple[NDArray[np.float32], int] | None:
    import av

    parts: list[Any] = []
    rate = 0
    try:
        with av.open(io.BytesIO(data), mode="r") as container:
            if not container.streams.audio:
                return None
            stream = container.streams.audio[0]
            rate = int(stream.rate or 48000)
            resampler = av.AudioResampler(format="flt", layout="mono", rate=rate)
            try:
                for frame in container.decode(stream):
                    parts += [f.to_ndarray()[0] for f in resampler.resample(frame)]
            except av.error.FFmpegError:
                # A cut file: what came before the cut is still a take.
                pass
            parts += [f.to_ndarray()[0] for f in resampler.resample(None)]
    except (av.error.FFmpegError, ValueError, OSError, IndexError):
        return None
    return (np.concatenate(parts), rate) if parts else None


def is_track_file(path: str | Path) -> bool:
    return Path(path).suffix.lower() in TEXT


def read_track(path: str | Path) -> PitchTrack:
    """A pitch track from CSV with a header line `time_s,f0_hz`, 0 = unvoiced, evenly spaced times.

    Level and periodicity are unknown (NaN). Raises Trouble, one sentence, naming the line that is amiss.
    """
    try:
        text = _bytes_of(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Trouble(f"{path} is no text. Give a CSV file with a header line time_s,f0_hz.") from error
    rows = list(csv.reader(text.splitlines()))
    head = [cell.strip().lstrip("# ").split(" ")[0] for cell in rows[0]] if rows else []
    if head[:2] != ["time_s", "f0_hz"]:
        raise Trouble(f"{path} has no header line time_s,f0_hz. Put it at the top, then a line for each frame.")
    times: list[float] = []
    pitches: list[float] = []
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            t, f = float(row[0]), float(row[1])
        except (ValueError, IndexError) as error:
            raise Trouble(f"Line {number} of {path} is not two numbers. Each line is a time in seconds and a "
                          "pitch in hertz.") from error
        if not np.isfinite(t) or (times and t <= times[-1]):
            raise Trouble(f"Line {number} of {path} goes back in time. Put the lines in order of time.")
        times.append(t)
        pitches.append(f if np.isfinite(f) and f > 0 else 0.0)
    if len(times) < 2:
        raise Trouble(f"{path} holds no pitch track: at least two lines of time and pitch are wanted.")
    return even_track(np.array(times), np.array(pitches))


TRACK_HOP_S = 0.01  # other spacings are brought to this, so that what follows need not care


def even_track(time_s: NDArray[np.float64], f0_hz: NDArray[np.float64]) -> PitchTrack:
    """A track with no sound behind it, its frames taken to an even spacing (nearest frame, never a blend)."""
    hop = float(np.median(np.diff(time_s)))
    even = np.allclose(np.diff(time_s), hop, rtol=0.05, atol=1e-4)
    if not even or not 0.005 <= hop <= 0.013:
        grid = np.arange(time_s[0], time_s[-1] + TRACK_HOP_S / 2, TRACK_HOP_S)
        nearest = np.clip(np.searchsorted(time_s, grid - hop / 2), 0, len(time_s) - 1)
        far = np.abs(time_s[nearest] - grid) > max(hop, TRACK_HOP_S) * 1.5
        f0_hz, time_s, hop = np.where(far, 0.0, f0_hz[nearest]), grid, TRACK_HOP_S
    else:
        time_s = time_s[0] + hop * np.arange(len(time_s))
    unknown = np.full(len(f0_hz), np.nan)
    return PitchTrack(time_s=time_s, f0_hz=f0_hz, sure=(f0_hz > 0).astype(float), level_db=unknown,
                      harmonic=unknown, hop_s=hop, duration_s=float(time_s[-1]) + hop / 2)
