"""From the end of the voice to the first sample of the answer, in real time, on a sound card of software.

A lesson with a made tune of short phrases runs as the command does; a synthesised child sings each of them right. One sink
carries the child's voice and the companion's, so that one recording holds both ends of every wait. Needs PulseAudio and
PortAudio (see tests/soundcard.py).

Prints last a JSON object: how many answers, median, 95 % and longest wait in seconds, and the load of the machine meanwhile
(mean number of processes that want to run, from /proc/loadavg), since real time is what other work takes from.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from live_pupil import LOUD, Program, sing_along  # noqa: E402
from live_room import sung  # noqa: E402
from soundcard import RATE, Recording, software_card  # noqa: E402

from companion.tune import Bar, Barline, Key, Note, Pitch, Time, Tune, load, save  # noqa: E402

QUARTER_S = 0.4
MOST_SEEDS = 40  # ways in which a phrase is sung
STEPS = ("CDEC", "EDCD", "CEDC", "DEFD", "EFGE", "GFED", "CDED", "EDEC")


def tune_of_phrases(phrases: int, path: Path) -> Tune:
    """A tune with a phrase every two bars, which is how a tune without marks is cut; four crotchets a bar."""
    bars = []
    for k in range(2 * phrases):
        notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(1)) for s in STEPS[k % len(STEPS)])
        bar = Bar(number=k + 1, notes=notes, key=Key(), time=Time())
        bars.append(replace(bar, barline=Barline.FINAL) if k + 1 == 2 * phrases else bar)
    save(Tune(title="Short ones", bars=tuple(bars), quarter_bpm=60 / QUARTER_S), path)
    return load(path)


def waits_of(starts: Sequence[tuple[int, float]], whole: NDArray[np.float32]) -> list[tuple[float, float]]:
    """(when the voice ended, seconds from there to the answer) of each sung turn that was answered. starts: of each turn, the
    sample of the recording from which on it was sung, and seconds from its first sound to its last."""
    found = []
    for at, seconds in starts:
        loud = np.flatnonzero(np.abs(whole[at:at + 10 * RATE]) > LOUD)
        if not len(loud):
            continue
        end = at + loud[0] + round(seconds * RATE)
        after = np.flatnonzero(np.abs(whole[end + RATE // 20:end + 8 * RATE]) > LOUD)
        if len(after):
            found.append((end / RATE, (after[0] + RATE // 20) / RATE))
    return found


class RightSinger:
    """A child who sings every phrase of a tune right. starts: as `waits_of` has them; loads: the machine's, at each turn."""

    def __init__(self, tune: Tune, program: Program, record: Recording) -> None:
        count = max(n.phrase for n in tune.line())
        self.lines = [tune.phrase(k + 1) for k in range(count)]
        self.program, self.record = program, record
        self.starts: list[tuple[int, float]] = []
        self.loads = [os.getloadavg()[0]]

    def __call__(self, k: int) -> NDArray[np.float32] | None:
        answered = sum(line.startswith("All") for line in self.program.lines)
        if answered >= len(self.lines):
            return None
        samples = sung(self.lines[answered], 0.0, QUARTER_S, seed=k % MOST_SEEDS)
        loud = np.flatnonzero(np.abs(samples) > LOUD)
        self.starts.append((self.record.length, (loud[-1] - loud[0]) / 22050))
        self.loads.append(os.getloadavg()[0])
        return samples


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--answers", type=int, default=40)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, software_card() as card, card.recording() as record:
        path = Path(folder) / "short.musicxml"
        tune = tune_of_phrases(options.answers, path)
        program = Program(card, "lesson", str(path), "--helper")
        singer = RightSinger(tune, program, record)
        sing_along(card, record, program, singer, 60 + 20 * options.answers)
        program.end()
        time.sleep(0.5)
        waits = [wait for _, wait in waits_of(singer.starts, record.samples)]
    print(json.dumps({"answers": len(waits), "median_s": round(float(np.median(waits)), 3),
                      "q95_s": round(float(np.quantile(waits, 0.95)), 3), "longest_s": round(max(waits), 3),
                      "load": round(float(np.mean(singer.loads)), 1), "cores": os.cpu_count()}))


if __name__ == "__main__":
    main()
