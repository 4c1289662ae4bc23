"""An hour of sound through the stream: memory flat, time linear."""

import struct
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak is read from Linux's /proc")
ROOT = Path(__file__).resolve().parents[2]
#: The peak of a process in MB. Not `resource`'s ru_maxrss, which begins with that of the process that started this one.
PEAK = """
def peak_mb():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1024
"""
CODE = PEAK + """
import time
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
        peaks.append(peak_mb())
print(frames, peaks[-1] - peaks[0], (marks[5] - marks[4]) / (marks[1] - marks[0]))
"""


def through(seconds: int) -> tuple[float, float, float]:
    out = subprocess.run([sys.executable, "-c", CODE.format(seconds=seconds)], cwd=ROOT, capture_output=True,
                         text=True, check=True).stdout.split()
    return float(out[0]), float(out[1]), float(out[2])


@pytest.mark.parametrize("seconds", [60, pytest.param(600, marks=pytest.mark.slow),
                                     pytest.param(3600, marks=pytest.mark.overnight)])
def test_memory_is_flat_and_time_is_linear(seconds: int) -> None:
    frames, more_mb, slower = through(seconds)
    assert frames == pytest.approx(seconds * 22050 / 221, rel=0.01)
    assert more_mb < 20
    assert slower < 1.6  # the last sixth against the second


READ = PEAK + """
import sys
from companion.ear import read_sound
print(len(read_sound(sys.argv[1]).samples), peak_mb())
"""


@pytest.mark.parametrize(("seconds", "most_mb"), [(60, 260), pytest.param(3590, 1000, marks=pytest.mark.slow)])
def test_a_file_costs_what_it_comes_to_at_the_working_rate(tmp_path: Path, seconds: int, most_mb: float) -> None:
    """An hour in 48 kHz stereo of 16 bits is 690 MB as it lies and 1.4 GB as floating point; at the working rate 318 MB, and
    as much again while its blocks are joined."""
    path, size = tmp_path / "hour.wav", seconds * 48000 * 4
    with path.open("wb") as file:  # a hole in the file: no disk is needed
        file.write(b"RIFF" + struct.pack("<I", size + 36) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 2, 48000, 192000, 4, 16)
                   + b"data" + struct.pack("<I", size))
        file.truncate(size + 44)
    out = subprocess.run([sys.executable, "-c", READ, str(path)], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    samples, peak_mb = map(float, out.split())
    assert samples == pytest.approx(seconds * 22050, abs=2)
    assert peak_mb < most_mb
