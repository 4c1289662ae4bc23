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
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from live_pupil import LOUD, Program, sing_along  # noqa: E402
from live_room import sung  # noqa: E402
from soundcard import RATE, software_card  # noqa: E402

from companion.tune import Bar, Barline, Key, Note, Pitch, Time, Tune, load, save  # noqa: E402

QUARTER_S = 0.4
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--answers", type=int, default=40)
    options = parser.parse_args()
    waits: list[float] = []
    loads = [os.getloadavg()[0]]
    with tempfile.TemporaryDirectory() as folder, software_card() as card, card.recording() as record:
        tune = tune_of_phrases(options.answers, Path(folder) / "short.musicxml")
        count = max(n.phrase for n in tune.line())
        lines = [tune.phrase(k + 1) for k in range(count)]
        program = Program(card, "lesson", str(Path(folder) / "short.musicxml"), "--helper")
        starts: list[tuple[int, float]] = []

        def pupil(k: int) -> np.ndarray | None:
            answered = sum(line.startswith("All") for line in program.lines)
            if answered >= count:
                return None
            samples = sung(lines[answered], 0.0, QUARTER_S, seed=k)
            loud = np.flatnonzero(np.abs(samples) > LOUD)
            starts.append((len(record.samples), (loud[-1] - loud[0]) / 22050))
            loads.append(os.getloadavg()[0])
            return samples

        sing_along(card, record, program, pupil, 60 + 20 * options.answers)
        program.end()
        time.sleep(0.5)
        whole = record.samples
    for at, seconds in starts:
        loud = np.flatnonzero(np.abs(whole[at:]) > LOUD)
        end = at + loud[0] + round(seconds * RATE)
        after = np.flatnonzero(np.abs(whole[end + RATE // 20:end + 8 * RATE]) > LOUD)
        if len(after):
            waits.append((after[0] + RATE // 20) / RATE)
    print(json.dumps({"answers": len(waits), "median_s": round(float(np.median(waits)), 3),
                      "q95_s": round(float(np.quantile(waits, 0.95)), 3), "longest_s": round(max(waits), 3),
                      "load": round(float(np.mean(loads)), 1), "cores": os.cpu_count()}))


if __name__ == "__main__":
    main()
