"""The microphone: its faults in one sentence each, level advice, and sound without gaps at any rate."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from soundcard import SoundCard, software_card

from companion.ear import microphone
from companion.ear.microphone import LevelAdvice, Microphone, MicrophoneGone, find_microphone, level_of
from companion.errors import Trouble

ROOT = Path(__file__).resolve().parents[2]
RATE = 22050


class Fake:
    """PortAudio with these devices; opening fails where told, or only takes certain rates."""

    class PortAudioError(Exception):
        pass

    def __init__(self, *devices: tuple[str, int, int], opens: Any = lambda rate, channels: True) -> None:
        self.devices = [{"name": n, "hostapi": 0, "max_input_channels": c, "default_samplerate": float(r)} for n, c, r in devices]
        self.opens, self.opened = opens, []

    def query_devices(self, number: int | None = None, kind: str | None = None) -> Any:
        if kind is None:
            return self.devices
        if number is None:
            return next(d for d in self.devices if d["max_input_channels"])
        return self.devices[number]

    def query_hostapis(self) -> Any:
        return ({"name": "ALSA"},)

    def InputStream(self, **how: Any) -> Any:
        if not self.opens(how["samplerate"], how["channels"]):
            raise self.PortAudioError("Invalid sample rate [PaErrorCode -9997]")
        self.opened.append(how)
        fake = self

        class Stream:
            active = True

            def start(self) -> None:
                fake.callback = how["callback"]

            def close(self, ignore_errors: bool = True) -> None:
                self.active = False

        return Stream()


class Status:
    input_overflow = False


def use(monkeypatch: pytest.MonkeyPatch, fake: Fake) -> Fake:
    monkeypatch.setitem(sys.modules, "sounddevice", fake)  # type: ignore[arg-type]
    return fake


def test_no_portaudio_is_one_sentence() -> None:
    code = ("import sys, types\n"
            "class Finder:\n"
            "    def find_spec(self, name, path, target=None):\n"
            "        if name == 'sounddevice': raise OSError('PortAudio library not found')\n"
            "sys.meta_path.insert(0, Finder())\n"
            "from companion.command import main\n"
            "sys.exit(main(['lesson', 'snail-wall', '--speech', 'off']))")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert out.returncode == 2
    assert "libportaudio2" in out.stderr
    assert len(out.stderr.strip().splitlines()) == 1
    assert "Traceback" not in out.stderr


def test_no_microphone(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Fake(("Loudspeaker", 0, 48000)))
    with pytest.raises(Trouble, match="There is no microphone"):
        Microphone()


def test_a_microphone_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Fake(("Built-in", 2, 44100), ("USB Mike", 1, 16000), ("USB Mike left", 1, 48000),
                          ("Loudspeaker", 0, 48000)))
    assert find_microphone(None)[1:] == ("Built-in", 44100, 2)
    assert find_microphone("usb mike")[:3] == (1, "USB Mike", 16000)  # a whole name goes before a part
    assert find_microphone("left")[0] == 2
    with pytest.raises(Trouble, match="fits several microphones: USB Mike, USB Mike left"):
        find_microphone("usb")
    with pytest.raises(Trouble, match=r"No microphone is called 'Loudspeaker'\. There are: Built-in"):
        find_microphone("Loudspeaker")


def test_a_held_device_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Fake(("USB Mike", 1, 48000), opens=lambda rate, channels: False))
    with pytest.raises(Trouble, match="USB Mike could not be opened; another program may hold it"):
        Microphone()


def test_another_rate_and_two_channels_are_taken_where_the_device_wants_them(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = use(monkeypatch, Fake(("Odd", 2, 11025), opens=lambda rate, channels: (rate, channels) == (44100, 2)))
    mike = Microphone()
    assert mike.rate == 44100
    sine = np.sin(2 * np.pi * 440 * np.arange(44100) / 44100).astype(np.float32)
    got = []
    for start in range(0, 44100, 882):
        block = sine[start:start + 882]
        fake.callback(np.stack([block, block], axis=1), 882, None, Status())
        part = mike.read()
        assert part is not None
        got.append(part)
    sound = np.concatenate(got)
    assert abs(len(sound) - RATE) < 600  # the resampler keeps a few milliseconds back
    spectrum = np.abs(np.fft.rfft(sound[2000:2000 + 16384] * np.hanning(16384)))
    assert abs(int(spectrum.argmax()) * RATE / 16384 - 440) < 1.5
    assert 0.98 < np.abs(sound[2000:-2000]).max() < 1.02


def test_a_device_that_says_nothing_any_more_has_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Fake(("USB Mike", 1, 48000)))
    mike = Microphone()
    assert mike.read(timeout_s=0.01) is None
    monkeypatch.setattr(microphone, "STALLED_S", 0.0)
    with pytest.raises(MicrophoneGone, match="Plug it in again"):
        mike.read(timeout_s=0.01)


def test_nobody_reads_for_a_minute_and_what_is_lost_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = use(monkeypatch, Fake(("USB Mike", 1, 48000)))
    monkeypatch.setattr(microphone, "MOST_WAITING", 5)
    mike = Microphone()
    for _ in range(10):
        fake.callback(np.zeros((960, 1), dtype=np.float32), 960, None, Status())
    assert mike.lost == 4


SECOND = np.arange(RATE) / RATE


def sung(level: float, noise: float) -> np.ndarray:
    rng = np.random.default_rng(0)
    tone = level * np.sin(2 * np.pi * 330 * SECOND)
    whole = np.concatenate([tone, tone, tone, np.zeros(RATE)]) + rng.normal(0, noise, 4 * RATE)
    return np.clip(whole, -1, 1).astype(np.float32)


@pytest.mark.parametrize(("sound", "advice"), [
    (sung(0.2, 1e-3), LevelAdvice.GOOD),
    (sung(0.002, 1e-5), LevelAdvice.FAINT),
    (sung(2.0, 1e-3), LevelAdvice.TOO_LOUD),
    (sung(0.05, 0.02), LevelAdvice.LOUD_ROOM),
    (np.zeros(4 * RATE, dtype=np.float32), LevelAdvice.NO_SOUND),
    (np.zeros(100, dtype=np.float32), LevelAdvice.TOO_SHORT),
])
def test_level_advice(sound: np.ndarray, advice: LevelAdvice) -> None:
    level = level_of(sound)
    assert level.advice is advice
    assert level.good is (advice is LevelAdvice.GOOD)


@pytest.fixture(scope="module")
def card() -> Iterator[SoundCard]:
    with software_card() as made:
        yield made


@pytest.mark.slow
def test_five_seconds_are_heard_without_a_gap(card: SoundCard) -> None:
    """A slow ramp of pitch is played into the card and read as it comes: no block lost, the
    length kept, every part in its place."""
    code = """
import json, time
import numpy as np
from companion.ear.microphone import Microphone
mike = Microphone()
print("ready", flush=True)
parts, n = [], 0
while n < 5.6 * 22050:
    block = mike.read()
    if block is not None:
        parts.append(block); n += len(block)
sound = np.concatenate(parts)
mike.close()
on = np.flatnonzero(np.abs(sound) > 0.05)
crossings = np.flatnonzero((sound[on[0]:on[-1]][:-1] < 0) & (sound[on[0]:on[-1]][1:] >= 0))
print(json.dumps([mike.lost, (on[-1] - on[0]) / 22050, len(crossings), int(np.diff(crossings).max())]))
"""
    process = subprocess.Popen([sys.executable, "-c", code], env=card.env, cwd=ROOT, stdout=subprocess.PIPE,
                               text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    seconds, rate = 4.0, 48000
    t = np.arange(int(seconds * rate)) / rate
    ramp = 0.3 * np.sin(2 * np.pi * (200 * t + 12.5 * t**2))
    card.voice(ramp.astype(np.float32), rate).wait()
    lost, length, cycles, longest = json.loads(process.stdout.read())
    process.wait()
    assert lost == 0
    assert length == pytest.approx(seconds, abs=0.02)
    assert cycles == pytest.approx(200 * seconds + 12.5 * seconds**2, abs=4)
    assert longest <= RATE / 200 + 2  # no hole: no cycle longer than that of the lowest pitch


def test_the_level_check_speaks_plainly(card: SoundCard) -> None:
    process = subprocess.Popen([sys.executable, "-m", "companion", "lesson", "--check"], env=card.env, cwd=ROOT,
                               stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    first = process.stdout.readline()
    assert "Sing for three seconds" in first
    card.voice(0.2 * np.sin(2 * np.pi * 330 * np.arange(3 * RATE) / RATE).astype(np.float32), RATE).wait()
    assert process.stdout.read().strip() == "Good. The voice is clear."
    assert process.wait() == 0
