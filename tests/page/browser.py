"""A real browser for tests of the page: Chromium steered by Playwright, its microphone fed from a WAV file."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import wave
from base64 import b64encode
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from singers import VOICES, LineItem, Style, perform, render

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
RATE = 22050
SCRIPTED = Path(__file__).with_name("scripted.js")
PLAIN = Style(waver=0.02, miss=0.05, legato=0.5)


def missing() -> str:
    """What a test with a browser lacks here, in one sentence; "" where nothing is missing."""
    if not (find_spec("playwright") and find_spec("axe_playwright_python")):
        return "A test with a browser needs playwright and axe-playwright-python."
    return "" if CHROMIUM else "A test with a browser needs Chromium."


class Address(str):
    """The address that `companion page` wrote, which lets in. process: the number of its process."""

    process = 0


@contextmanager
def served(folder: Path, *options: str) -> Iterator[Address]:
    """`companion page` in a process of its own; gives its address."""
    command = "import sys; from companion.command import main; sys.exit(main(sys.argv[1:]))"
    process = subprocess.Popen([sys.executable, "-c", command, "page", "--no-browser", "--port", "0", "--diary",
                                str(folder / "diary.db"), *options], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        address = Address(next(word for word in process.stdout.readline().split() if word.startswith("http")))
        address.process = process.pid
        yield address
    finally:
        process.terminate()
        process.wait()


_steering: list[Any] = []  # Playwright runs once in a thread, however many browsers it steers


@contextmanager
def _playwright() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    if _steering:
        yield _steering[0]
        return
    with sync_playwright() as found:
        _steering.append(found)
        try:
            yield found
        finally:
            _steering.clear()


@contextmanager
def browser(microphone: Path | None = None, *, allowed: bool = True, there: bool = True) -> Iterator[Any]:
    """Chromium. microphone: the WAV that it hears, once; allowed: whether pages may listen; there: whether one is there."""
    options = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
    if there:
        options += ["--use-fake-device-for-media-stream"]
    if allowed:
        options += ["--use-fake-ui-for-media-stream"]
    if microphone is not None:
        options += [f"--use-file-for-fake-audio-capture={microphone}%noloop"]
    with _playwright() as p:
        found = p.chromium.launch(executable_path=CHROMIUM, args=options)
        try:
            yield found
        finally:
            found.close()


def entered(found: Any, address: str, **more: Any) -> tuple[Any, str]:
    """(page, address of the first page): a new window that was let in by the address at the terminal."""
    page = found.new_page(**more)
    page.goto(address)
    page.wait_for_url("**/")
    return page, address.partition("open/")[0]


def voice(items: Sequence[LineItem], *, turned: int | None = None, seed: int = 1, kind: int = 1) -> np.ndarray:
    """A line sung by a child (kind 1) or an adult (2), mono float32 at RATE. turned: a move that goes the other way."""
    style = replace(PLAIN, quarter_s=0.5, turned=turned, turned_stays=True)
    return render(perform(items, style, np.random.default_rng(seed)), VOICES[kind], "formants", np.random.default_rng(seed))


def written(path: Path, *parts: np.ndarray | float) -> Path:
    """Sounds and silences (seconds) one after another as a WAV of 44.1 kHz, which Chromium's microphone plays as it is."""
    import soxr

    sound = np.concatenate([np.zeros(int(p * RATE), np.float32) if isinstance(p, int | float) else p for p in parts])
    # With a room's own noise, at -70 dB: a microphone that gives nothing at all is told to be one that is muted.
    room = np.random.default_rng(1).normal(0, 10 ** (-70 / 20), len(sound))
    samples = soxr.resample(np.asarray(sound + room, np.float32), RATE, 44100)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(44100)
        file.writeframes(np.round(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def sung_when_asked(page: Any, *voices: np.ndarray) -> None:
    """From the next load on, each of the voices is sung when the page says that it listens, one after another.

    Nothing is left to the machine's speed: see `scripted.js`. voices: mono float32 at RATE.
    """
    coded = [b64encode(np.round(np.clip(v, -1, 1) * 32767).astype("<i2").tobytes()).decode() for v in voices]
    page.add_init_script(SCRIPTED.read_text(encoding="utf-8").replace("VOICES", json.dumps(coded)))
