"""An hour of sound through the stream: memory flat, time linear."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CODE = """
import resource, time
import numpy as np
from companion.ear import read_sound
from companion.ear.tracker import Tracker
sound = read_sound("recordings/snail-wall-right.flac").samples
long = np.concatenate([sound, sound[:1024]])
tracker, marks, peaks, frames = Tracker(), [], [], 0
blocks = int({seconds} * 22050 / 1024)
start = time.process_time()
for k in range(blocks):
    at = (k * 1024) % len(sound)
    frames += len(tracker.push(long[at:at + 1024]).f0_hz)
    if k % (blocks // 6) == blocks // 6 - 1:
        marks.append(time.process_time() - start)
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
print(frames, peaks[-1] - peaks[0], (marks[5] - marks[4]) / (marks[1] - marks[0]))
"""


def through(seconds: int) -> tuple[float, float, float]:
    out = subprocess.run([sys.executable, "-c", CODE.format(seconds=seconds)], cwd=ROOT, capture_output=True,
                         text=True, check=True).stdout.split()
    return float(out[0]), float(out[1]), float(out[2])


@pytest.mark.parametrize("seconds", [60, pytest.param(3600, marks=pytest.mark.slow)])
def test_memory_is_flat_and_time_is_linear(seconds: int) -> None:
    frames, more_mb, slower = through(seconds)
    assert frames == pytest.approx(seconds * 22050 / 221, rel=0.01)
    assert more_mb < 20
    assert slower < 1.6  # the last sixth against the second
