"""From the end of the voice to the decision, in time of sound: `python tests/benchmarks/delay.py [--takes 20] [--seed 88]`.

Synthesised singers (`--maker`, any of the three) sing a line each, in clear sound, a room or noise; what the microphone would
bring goes into the lesson's ear in blocks of 1024 samples, on into the silence after the line. delay_s is the time of sound
from the end of the last sung note to the block in which the ear decides; work_s the processor time of that block, in which
the match is made. Both with the finder and without it (the whole take held against the line, as it was before there was a
finder). The last line is one JSON object: median, 95 % and longest of each, and how many takes were heard at all.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from singers import RATE, corpus, line_of  # noqa: E402

from companion.lesson.listen import Listener  # noqa: E402
from companion.match import take as matching  # noqa: E402
from companion.match.attempts import all_of  # noqa: E402

BLOCK = 1024
AFTER_S = 4.0  # of silence in which a decision is waited for


@contextmanager
def without_finder() -> Iterator[None]:
    """The whole take is judged as the line."""
    with mock.patch.object(matching, "_best", lambda track, line, params: matching._judged(
            track, line, all_of(track, line), params)):
        yield


def decided(samples: np.ndarray, line: Any, quarter_s: float) -> tuple[float, float] | None:
    """(time of sound at which the ear decides, processor time of the block in which it does), seconds."""
    ear = Listener(line, quarter_s)
    for at in range(0, len(samples), BLOCK):
        began = time.process_time()
        heard = ear.push(samples[at:at + BLOCK])
        if heard is not None:
            return ear.seconds, time.process_time() - began
    return None


def measure(maker: str, takes: int, seed: int) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {"delay_s": [], "work_s": [], "delay_without_s": [], "work_without_s": []}
    for take in corpus(maker, takes, seed):
        performance = take.performance
        last = performance.notes[-1]
        end = last.onset_s + last.duration_s
        chance = np.random.default_rng([seed, 1])
        quiet = float(np.sqrt(np.mean(take.samples[-RATE // 10:] ** 2)))
        samples = np.concatenate([take.samples, chance.normal(0, quiet, round(AFTER_S * RATE)).astype(np.float32)])
        line, quarter_s = line_of(performance), performance.style.quarter_s
        for name in ("", "_without"):
            if name:
                with without_finder():
                    found = decided(samples, line, quarter_s)
            else:
                found = decided(samples, line, quarter_s)
            if found is not None:
                out[f"delay{name}_s"].append(found[0] - end)
                out[f"work{name}_s"].append(found[1])
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=20, help="of each maker")
    parser.add_argument("--seed", type=int, default=88)
    parser.add_argument("--maker", nargs="+", default=["formants", "harmonics"])
    options = parser.parse_args()
    found: dict[str, list[float]] = {}
    for maker in options.maker:
        for name, values in measure(maker, options.takes, options.seed).items():
            found[name] = found.get(name, []) + values
    print(json.dumps({"takes": options.takes * len(options.maker)} | {name: {
        "heard": len(values), "median": round(float(np.median(values)), 3), "q95": round(float(np.quantile(values, 0.95)), 3),
        "longest": round(max(values), 3)} for name, values in found.items()}))


if __name__ == "__main__":
    main()
