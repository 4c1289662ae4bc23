"""Sound files and pitch-track files in: any rate and channel count to mono at one working rate."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.ear.sound import RATE, Sound
from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.places import decoded, read_within
from companion.quiet import hush_libraries

LONGEST_S = 3600.0  # an hour; more is no take
MOST_BYTES = 2_000_000_000  # an hour of 96 kHz stereo at 24 bits comes to this
MOST_STREAM_BYTES = 200_000_000  # from a pipe or device, whose end nobody knows: /dev/zero has none
SMALL_BYTES = 20_000_000  # minutes of sound; below, some systems read a take in the program itself (`run_limited`)
MOST_TRACK_BYTES = 100_000_000  # of a pitch track: an hour with a line every millisecond has less
BLOCK = 1 << 18  # samples read at once, so that a header that claims too many costs no memory
TEXT = (".csv", ".txt")
#: The containers that PyAV may open: recordings. FFmpeg knows others that are lists of other files or
#: addresses, and one (SDP) that opens a network port and waits on it.
CONTAINERS = ("aac,ac3,aiff,amr,ape,asf,au,avi,caf,flac,flv,matroska,webm,mov,mp4,m4a,3gp,3g2,mj2,mp3,mpeg,"
              "mpegts,ogg,rm,tta,w64,wav,wv")


def read_sound(path: str | Path, rate: int = RATE) -> Sound:
    """Read any sound file that people have, as mono at `rate`.

    WAV, FLAC, OGG and MP3 by soundfile; what it cannot read (M4A, WebM, MP4) by PyAV, whose wheels carry
    FFmpeg. A file is read and brought to the rate block by block, so that an hour costs what it comes to at that rate,
    whatever its own; by `run_limited`. Raises Trouble, one sentence, for what is missing, empty, cut, unreadable or a folder.
    """
    return run_limited(_read_sound, path, rate, small=_is_small(path))


def _is_small(path: str | Path) -> bool:
    """Whether a file is so small that it cannot do much harm; a pipe or a device is."""
    try:
        return Path(path).stat().st_size <= SMALL_BYTES
    except (OSError, ValueError):
        return True  # said in its sentence when it is opened


def _read_sound(path: str | Path, rate: int) -> Sound:
    hush_libraries()
    with _opened(path, MOST_BYTES) as file:
        gathered = _by_soundfile(file, rate)
        if gathered is None:
            file.seek(0)
            gathered = _by_av(file, rate)
    if gathered is None:
        raise Trouble(_("{path} could not be read as sound. Give a WAV, FLAC, OGG, MP3, M4A or WebM recording.").format(
                            path=path))
    if not gathered.seconds:
        raise Trouble(_("{path} holds no sound: it is empty or was cut off. Record it again.").format(path=path))
    if gathered.seconds > LONGEST_S:
        raise _too_long(path)
    return gathered.sound()


def _opened(path: str | Path, most_bytes: int) -> BinaryIO:
    """A file that may be read from any place, open; the whole of a pipe or device. Raises Trouble where there is none."""
    if str(path) == "":
        raise Trouble(_("The name of the take is empty. Give a sound file or a pitch track."))
    path = Path(path)
    too_much = Trouble(_("{path} is far larger than a take can be. Cut out the part you mean.").format(path=path))
    try:
        if path.is_dir():
            raise Trouble(_("{path} is a folder. Give one sound file.").format(path=path))
        if not path.exists():
            raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=path))
        size = path.stat().st_size
        if size > most_bytes:
            raise too_much
        if path.is_file():
            if not size:
                raise Trouble(_("{path} is empty. Record it again.").format(path=path))
            if _header_seconds(path) > LONGEST_S:
                raise _too_long(path)
            return path.open("rb")
        data = read_within(path, MOST_STREAM_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Give another file, or one that you may open.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    if len(data) > MOST_STREAM_BYTES:
        raise too_much
    if not data:
        raise Trouble(_("{path} is empty. Record it again.").format(path=path))
    return io.BytesIO(data)


def _too_long(path: str | Path) -> Trouble:
    return Trouble(_("{path} is longer than an hour; a take is one phrase or tune. Cut out the part you mean.").format(
                       path=path))


def _header_seconds(path: Path) -> float:
    """How long a sound file says that it is, from its header alone; 0 where that is not known."""
    import soundfile

    try:
        with soundfile.SoundFile(str(path)) as file:
            # More than the file has room for, at a quarter of a byte a sample, is a header that was never filled in.
            real = file.frames <= 4 * path.stat().st_size
            return file.frames / file.samplerate if real else 0.0
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, TypeError, ZeroDivisionError):
        return 0.0


class _Gathered:
    """Samples of one channel, brought from their own rate to another as they come."""

    def __init__(self, own_rate: int, rate: int) -> None:
        self._own_rate, self._rate, self._read, self._peak = own_rate, rate, 0, 0.0
        self._parts: list[NDArray[np.float32]] = []
        self._stream: Any = None
        if own_rate != rate:
            import soxr

            self._stream = soxr.ResampleStream(own_rate, rate, 1, dtype="float32")  # as `Sound.at_rate`, sample for sample

    @property
    def seconds(self) -> float:
        return self._read / self._own_rate

    def add(self, block: NDArray[np.float32]) -> None:
        """A block of samples; what is no number becomes silence."""
        block = np.nan_to_num(block, posinf=0.0, neginf=0.0)
        self._read += len(block)
        self._peak = max(self._peak, float(np.abs(block).max(initial=0.0)))
        self._parts.append(block if self._stream is None else self._stream.resample_chunk(block))

    def sound(self) -> Sound:
        """All of them. Floating-point files may hold anything, some on the scale of 16-bit integers: brought within -1..1."""
        if self._stream is not None:
            self._parts.append(self._stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
        samples = np.concatenate(self._parts)
        self._parts.clear()
        if self._peak > 1:
            samples = np.nan_to_num(samples / np.float32(self._peak), posinf=0.0, neginf=0.0)
        return Sound(samples, self._rate)


def _by_soundfile(data: BinaryIO, rate: int) -> _Gathered | None:
    import soundfile

    try:
        with soundfile.SoundFile(data) as file:
            gathered = _Gathered(int(file.samplerate), rate)
            left = int(LONGEST_S * file.samplerate) + BLOCK
            while left > 0:
                block = file.read(min(BLOCK, left), dtype="float32", always_2d=True)
                if not len(block):
                    break
                gathered.add(_mono(block))
                left -= len(block)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, TypeError):
        return None
    return gathered


def _mono(block: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mean of the channels, (samples, channels) to (samples,); what is no number becomes silence."""
    if block.shape[1] == 1:
        return block[:, 0]
    whole = np.nan_to_num(block, posinf=0.0, neginf=0.0)
    return np.asarray(whole.mean(axis=1, dtype=np.float64), dtype=np.float32)


def _by_av(data: BinaryIO, rate: int) -> _Gathered | None:
    import av

    try:
        with av.open(data, mode="r", options={"format_whitelist": CONTAINERS}) as container:
            if not container.streams.audio:
                return None
            stream = container.streams.audio[0]
            own_rate = int(stream.rate or 48000)
            gathered = _Gathered(own_rate, rate)
            left = int(LONGEST_S * own_rate) + BLOCK
            resampler = av.AudioResampler(format="flt", layout="mono", rate=own_rate)
            try:
                for frame in container.decode(stream):
                    for piece in resampler.resample(frame):
                        gathered.add(piece.to_ndarray()[0])
                        left -= piece.samples
                    if left <= 0:
                        break
            except av.error.FFmpegError:
                # A cut file: what came before the cut is still a take.
                pass
            for piece in resampler.resample(None):
                gathered.add(piece.to_ndarray()[0])
    except (av.error.FFmpegError, ValueError, OSError, IndexError, AttributeError):
        return None  # AttributeError: a stream without a decoder, as of a bit depth that there is not, has no rate
    return gathered if gathered.seconds else None


def is_track_file(path: str | Path) -> bool:
    return Path(path).suffix.lower() in TEXT


def read_track(path: str | Path) -> PitchTrack:
    """A pitch track from CSV with a header line `time_s,f0_hz`, 0 = unvoiced, times in order.

    A pitch that is empty, no number, below zero or beyond what a voice can sing counts as unvoiced: trackers
    write each of these. Level and periodicity are unknown (NaN). By `run_limited`. Raises Trouble, one sentence, naming
    the line that is amiss.
    """
    return run_limited(_read_track, path, small=_is_small(path))


def _read_track(path: str | Path) -> PitchTrack:
    try:
        with _opened(path, MOST_TRACK_BYTES) as file:
            text = decoded(file.read())
    except UnicodeDecodeError as error:
        raise Trouble(_("{path} is no text. Give a CSV file with a header line time_s,f0_hz.").format(path=path)) from error
    try:
        rows = list(csv.reader(text.splitlines()))
    except csv.Error as error:
        raise Trouble(_("{path} has a line that is no part of a pitch track. Give a CSV file with a header line "
                        "time_s,f0_hz.").format(path=path)) from error
    head = [cell.strip().lstrip("# ").split(" ")[0] for cell in rows[0]] if rows else []
    if head[:2] != ["time_s", "f0_hz"]:
        raise Trouble(_("{path} has no header line time_s,f0_hz. Put it at the top, then a line for each frame.").format(
                            path=path))
    times: list[float] = []
    pitches: list[float] = []
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            t, f = float(row[0]), float(row[1].strip() or 0)
        except (ValueError, IndexError) as error:
            raise Trouble(_("Line {number} of {path} is not two numbers. Each line is a time in seconds and a pitch "
                            "in hertz.").format(number=number, path=path)) from error
        if not math.isfinite(t):
            raise Trouble(_("Line {number} of {path} has no time. Each line is a time in seconds and a pitch in "
                            "hertz.").format(number=number, path=path))
        if t < 0:
            raise Trouble(_("Line {number} of {path} has a time below zero. Count the time from where the take "
                            "begins.").format(number=number, path=path))
        if times and t <= times[-1]:
            raise Trouble(_("Line {number} of {path} goes back in time. Put the lines in order of time.").format(
                                number=number, path=path))
        times.append(t)
        pitches.append(f if LOWEST_HZ <= f <= HIGHEST_HZ else 0.0)
    if len(times) < 2:
        raise Trouble(_("{path} holds no pitch track: at least two lines of time and pitch are wanted.").format(
                            path=path))
    if times[-1] - times[0] > LONGEST_S:
        raise Trouble(_("{path} is longer than an hour; a take is one phrase or tune. Cut out the part you mean.").format(
                            path=path))
    hop = float(np.median(np.diff(times)))
    if hop > WIDEST_HOP_S:
        raise Trouble(_("{path} gives a pitch every {hop:g} seconds, too seldom to tell notes apart. Give one every "
                        "hundredth of a second.").format(path=path, hop=hop))
    if hop < CLOSEST_HOP_S:
        raise Trouble(_("{path} gives a pitch every {hop:g} seconds, closer than a voice changes. Write the times in seconds, "
                        "one every hundredth of a second.").format(path=path, hop=hop))
    return even_track(np.array(times), np.array(pitches))


# What a voice can sing, with room to spare: below the lowest basses (C2 is 65 Hz, ISO 16), and C7 (2093 Hz)
# above all but whistled notes. A stray frame outside is a tracker's slip, and not worth refusing a take for.
LOWEST_HZ, HIGHEST_HZ = 40.0, 2100.0
WIDEST_HOP_S = 0.2  # a quaver at a walking pace is little longer; wider spacing leaves notes out
CLOSEST_HOP_S = 0.0005  # trackers give a pitch every 1 to 50 ms; times closer than this are in another unit
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
