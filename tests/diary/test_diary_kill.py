"""kill -9 at random moments of a scripted session: the diary opens, and every take said to be saved is there."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from companion.diary import Diary

SCRIPT = Path(__file__).resolve().parents[1] / "scripted_diary.py"
ROOT = Path(__file__).resolve().parents[2]


def run_and_kill(path: Path, moments: random.Random, sound: bool) -> list[int]:
    """Run the script on a diary and kill it somewhere in the next take or two; the takes that it said saved."""
    process = subprocess.Popen([sys.executable, str(SCRIPT), str(path), *(["sound"] if sound else [])],
                               stdout=subprocess.PIPE, text=True,
                               env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert process.stdout is not None
    saved: list[int] = []
    enough = moments.randrange(1, 6)
    for line in process.stdout:
        saved.append(int(line))
        if len(saved) == enough:
            break
    # Some milliseconds on, in the middle of whatever it does then.
    stop = threading.Timer(moments.uniform(0.0, 0.02), process.send_signal, [signal.SIGKILL])
    stop.start()
    saved += [int(line) for line in process.stdout if line.endswith("\n")]
    process.wait()
    stop.join()
    assert process.returncode == -signal.SIGKILL
    return saved


def check(path: Path, runs: int) -> None:
    moments = random.Random(11)
    saved: list[int] = []
    for run in range(runs):
        saved += run_and_kill(path, moments, sound=run % 2 == 1)
        with Diary(path) as diary:
            pupil = diary.pupil("Wren")
            takes = {t.number: t for t in diary.takes(pupil)}
            assert set(saved) <= set(takes)
            # At most the one take in progress at each kill is there without having been said.
            assert len(takes) - len(saved) <= run + 1
            for take in takes.values():
                assert len(take.moves) == 3
                assert len(take.notes) == 4
    assert len(saved) >= runs


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no kill -9")
def test_twenty_kills_lose_nothing(tmp_path: Path) -> None:
    check(tmp_path / "diary.sqlite", 20)


@pytest.mark.overnight
@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no kill -9")
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    check(tmp_path / "diary.sqlite", 200)
