"""A sound card made of software, for tests that play and listen in real time.

PulseAudio runs with null sinks in a folder of its own and touches nobody's settings; ALSA's pulse plugin
leads PortAudio (and so sounddevice) to it. Two fixtures (tests/conftest.py loads this file, so that a test
has only to name them):

- `soundcard`: one null sink, whose monitor is the default source: whatever is played is also heard, as by
  a microphone beside a loudspeaker.
- `soundcard_apart`: the default sink as before, and a second one, whose monitor is the default source:
  the microphone hears only what `voice()` plays. Its loudspeaker is still recorded by `recording()`.

The program under test runs as a process with `card.env`, or by `card.python(code)`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes.util import find_library
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[1]
RATE = 48000
SINK, VOICE = "loudspeaker", "voice"
TOOLS = ("pulseaudio", "pactl", "pacat", "parec")
#: Nothing but the pulse plugin, so that no real card of this machine is ever opened.
ALSA = 'pcm.pulse { type pulse }\npcm.!default { type pulse }\nctl.!default { type pulse }\n'
PLUGIN = "libasound_module_pcm_pulse.so"


def missing() -> str:
    """Why there can be no sound card of software here, in one sentence; "" where there can."""
    for tool in TOOLS:
        if not shutil.which(tool):
            return f"{tool} is missing (Debian and Ubuntu: packages pulseaudio and pulseaudio-utils)."
    if not find_library("portaudio"):
        return "The PortAudio library is missing (Debian and Ubuntu: package libportaudio2)."
    places = [Path("/usr/lib"), Path("/usr/lib64"), *Path("/usr/lib").glob("*-linux-gnu*")]
    if not any((place / "alsa-lib" / PLUGIN).exists() for place in places):
        return "ALSA's pulse plugin is missing (Debian and Ubuntu: package libasound2-plugins)."
    return ""


class SoundCard:
    """A running sound card. env: environment for a process that is to play and listen on it."""

    def __init__(self, folder: Path, apart: bool) -> None:
        self.folder, self.apart = folder, apart
        self.processes: list[subprocess.Popen[bytes]] = []
        try:
            self._open()
        except BaseException:
            self.close()
            raise

    def _open(self) -> None:
        folder, apart = self.folder, self.apart
        (folder / "asound.conf").write_text(ALSA)
        (folder / "config" / "pulse").mkdir(parents=True)
        socket = folder / "pulse.sock"
        drop = {"PULSE_SINK", "PULSE_SOURCE", "PULSE_COOKIE", "DBUS_SESSION_BUS_ADDRESS", "DISPLAY"}
        self.env = {**{k: v for k, v in os.environ.items() if k not in drop},
                    "XDG_RUNTIME_DIR": str(folder), "PULSE_SERVER": f"unix:{socket}",
                    "PULSE_RUNTIME_PATH": str(folder / "run"), "PULSE_STATE_PATH": str(folder / "state"),
                    "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
                    "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])}
        daemon_env = {**self.env, "HOME": str(folder), "XDG_CONFIG_HOME": str(folder / "config")}
        self.server = self._start(
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
            "-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1", env=daemon_env)
        self._wait_until(lambda: self.pactl("info").returncode == 0, "PulseAudio did not start")
        for name in (SINK, VOICE) if apart else (SINK,):
            sink = ["load-module", "module-null-sink", f"sink_name={name}", *_FORM]
            # A null sink begins with a block of two seconds, behind which all else would wait, unless it is
            # told that nothing will be taken back (PulseAudio 15 and newer).
            if self.pactl(*sink, "norewinds=1").returncode and self.pactl(*sink).returncode:
                raise RuntimeError("PulseAudio made no null sink")
        self.pactl("set-default-sink", SINK)
        self.pactl("set-default-source", f"{VOICE if apart else SINK}.monitor")
        # An idle sink may rest; one that is fed keeps time, and one that is listened to answers at once. The microphone hears
        # a room, 84 dB under full scale: digital silence is what a muted one gives.
        room = folder / "room.raw"
        room.write_bytes(np.random.default_rng(1).normal(0, 2, 20 * RATE).round().astype("<i2").tobytes())
        for name in (SINK, VOICE) if apart else (SINK,):
            if name == SINK and apart:
                self._start("pacat", "--playback", f"--device={name}", *_RAW, "--latency-msec=20", "/dev/zero")
            else:
                again = self._start("sh", "-c", f"while cat {room}; do :; done", stdout=subprocess.PIPE)
                self._start("pacat", "--playback", f"--device={name}", *_RAW, "--raw", "--latency-msec=20", stdin=again.stdout)
            self._start("parec", f"--device={name}.monitor", *_RAW, "--raw", "--latency-msec=20")
        self._wait_until(lambda: b"RUNNING" in self.pactl("list", "short", "sinks").stdout,
                         "The null sink did not start")
        # Let the first block pass.
        for name in (SINK, VOICE) if apart else (SINK,):
            with self.recording(name):
                pass

    def _start(self, *command: str, env: dict[str, str] | None = None,
               stdout: int = subprocess.DEVNULL, stdin: Any = subprocess.DEVNULL) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(command, env=env or self.env, stdin=stdin, stdout=stdout,
                                   stderr=subprocess.DEVNULL)
        self.processes.append(process)
        return process

    @staticmethod
    def _wait_until(ready: Callable[[], bool], otherwise: str, seconds: float = 10.0) -> None:
        end = time.monotonic() + seconds
        while not ready():
            if time.monotonic() > end:
                raise RuntimeError(otherwise)
            time.sleep(0.02)

    def pactl(self, *command: str) -> subprocess.CompletedProcess[bytes]:
        """Ask or tell the server."""
        return subprocess.run(["pactl", *command], env=self.env, capture_output=True, timeout=10)

    def python(self, code: str, *arguments: str, timeout: float = 60.0) -> subprocess.CompletedProcess[str]:
        """Run Python code on this card, with the project and tests/ on its path."""
        return subprocess.run([sys.executable, "-c", code, *arguments], env=self.env, cwd=ROOT,
                              capture_output=True, text=True, timeout=timeout)

    @contextmanager
    def recording(self, sink: str = SINK) -> Iterator[Recording]:
        """Record what comes out of a sink while the block runs; then `.samples`, float32 at RATE."""
        process = self._start("parec", f"--device={sink}.monitor", *_RAW, "--raw", "--latency-msec=20",
                              stdout=subprocess.PIPE)
        record = Recording(process)
        try:
            yield record
        finally:
            record.close()
            self.processes.remove(process)

    def voice(self, samples: NDArray[np.float32], rate: int = RATE) -> subprocess.Popen[bytes]:
        """Sing into the microphone: starts playing mono float32 samples and returns the process at once.

        `.wait()` waits for the end. On `soundcard` it goes to the one sink there is.
        """
        raw = self.folder / f"voice-{len(self.processes)}-{time.monotonic_ns()}.raw"
        raw.write_bytes(np.asarray(samples, dtype="<f4").tobytes())
        # A long buffer: a busy machine tears no voice.
        return self._start("pacat", "--playback", f"--device={VOICE if self.apart else SINK}", "--raw",
                           f"--rate={rate}", "--channels=1", "--format=float32le", "--latency-msec=400", str(raw))

    def unplug(self, sink: str = SINK) -> None:
        """Take a sink away, as if it were pulled out."""
        for line in self.pactl("list", "short", "modules").stdout.decode().splitlines():
            if "module-null-sink" in line and f"sink_name={sink} " in line:
                self.pactl("unload-module", line.split()[0])

    def close(self) -> None:
        for process in reversed(self.processes):
            if process.poll() is None:
                process.terminate()
                try:
                    process.wait(5)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()


_FORM = (f"rate={RATE}", "channels=1", "format=s16le")
_RAW = tuple(f"--{part}" for part in _FORM)


class Recording:
    """What a sink gives out, as it comes. Ready (the first block has come) once made."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process, self._data, self._first = process, bytearray(), threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        if not self._first.wait(10):
            raise RuntimeError("The recording did not start")

    def _read(self) -> None:
        assert self._process.stdout is not None
        while block := os.read(self._process.stdout.fileno(), 65536):
            self._data += block
            self._first.set()

    @property
    def samples(self) -> NDArray[np.float32]:
        """All so far, mono, within -1..1, at RATE."""
        return self.since(0)

    @property
    def length(self) -> int:
        """How many samples have come so far."""
        return len(self._data) // 2

    def since(self, start: int) -> NDArray[np.float32]:
        """What has come from a sample on, without a copy of all that came before it."""
        return np.frombuffer(bytes(self._data[2 * start:2 * self.length]), "<i2").astype(np.float32) / 32768

    def close(self, tail_s: float = 0.3) -> None:
        """End the recording once another `tail_s` have come in: what was played last is under way still."""
        wanted = len(self._data) + round(tail_s * RATE) * 2
        end = time.monotonic() + 3 + tail_s
        while len(self._data) < wanted and time.monotonic() < end and self._process.poll() is None:
            time.sleep(0.01)
        self._process.terminate()
        self._process.wait()
        self._reader.join(5)


@contextmanager
def software_card(apart: bool = False) -> Iterator[SoundCard]:
    """A sound card for as long as the block runs. Skips the test, with the reason, where there can be none."""
    reason = missing()
    if reason:
        pytest.skip(f"No sound card of software: {reason}")
    # A short path: that of a socket may have 107 characters at most.
    with tempfile.TemporaryDirectory(prefix="card-", dir="/tmp") as folder:
        card = SoundCard(Path(folder), apart)
        try:
            yield card
        finally:
            card.close()


@pytest.fixture
def soundcard() -> Iterator[SoundCard]:
    """One sink, and its monitor as the default source: the microphone hears the loudspeaker."""
    with software_card() as card:
        yield card


@pytest.fixture
def soundcard_apart() -> Iterator[SoundCard]:
    """A loudspeaker, and a microphone that hears only what `voice()` plays."""
    with software_card(apart=True) as card:
        yield card
