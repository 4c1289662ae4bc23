"""Would the reference tracker, asked before "not that way", spare right moves? `python tests/benchmarks/second_opinion.py`

Takes as people make them (`everyday.py`; not those that anything was fitted on). Where the match calls a move "not that
way", `librosa.pyin` looks at the seconds of its two notes; where by its pitch the move goes as written, or it has no pitch
for one of the notes, the answer would be "not sure". The last line is one JSON object: moves truly right and those called
wrong, moves truly wrong and those found, without the second opinion and with it, and the seconds that it took for each.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "benchmarks")]

from everyday import MAKERS, judged, tunes  # noqa: E402
from singers.mixtures import Kind, mixture  # noqa: E402

from companion.ear import Sound, track  # noqa: E402
from companion.match import HeardNote, Verdict  # noqa: E402
from companion.tune import Direction, direction_of  # noqa: E402

KINDS = (Kind.PLAIN, Kind.LINE_BEFORE, Kind.LINE_AFTER, Kind.TWICE, Kind.FALSE_START)
AROUND_S = 0.3  # before and after the two notes, for the tracker to settle
LEVEL_WITHIN = 0.5  # semitones, as in the match
STEADY = 0.2  # of a note at each end, left out


def second_direction(samples: np.ndarray, first: HeardNote, second: HeardNote) -> Direction | None:
    """Which way a move goes by `librosa.pyin`; None where it has no pitch for one of the notes."""
    ends = [(n.onset_s or 0.0, (n.onset_s or 0.0) + (n.duration_s or 0.0)) for n in (first, second)]
    start = max(0.0, ends[0][0] - AROUND_S)
    found = track(Sound(samples[round(start * 22050):round((ends[1][1] + AROUND_S) * 22050)], 22050), "librosa")
    pitch = []
    for a, b in ends:
        edge = STEADY * (b - a)
        inside = found.midi[(found.time_s + start >= a + edge) & (found.time_s + start <= b - edge)]
        inside = inside[~np.isnan(inside)]
        if not len(inside):
            return None
        pitch.append(float(np.median(inside)))
    return direction_of(pitch[1] - pitch[0], LEVEL_WITHIN)


def measure(takes: int, seed: int, which: str) -> dict[str, object]:
    counts: Counter[str] = Counter()
    spent = []
    for kind in KINDS:
        for maker in MAKERS:
            for number in range(takes):
                mix = mixture(kind, maker, tunes(which), seed, number)
                match = judged(track(Sound(mix.samples, 22050)), mix.line)
                for i, move in enumerate(match.moves if match else ()):
                    interval = mix.interval(i)
                    if interval is None:
                        continue
                    right = direction_of(interval) == move.wanted
                    counts["right" if right else "truly wrong"] += 1
                    if move.verdict is not Verdict.WRONG:
                        continue
                    began = time.perf_counter()
                    second = second_direction(mix.samples, match.notes[i], match.notes[i + 1]) if match else None
                    spent.append(time.perf_counter() - began)
                    name = "false" if right else "found"
                    counts[name] += 1
                    counts[f"{name}, second opinion"] += second is not None and second != move.wanted
            print(kind, maker, dict(counts), flush=True)
    import librosa

    return {**counts, "seconds_each": round(float(np.median(spent)), 3) if spent else None, "seed": seed, "set": which,
            "versions": {"python": platform.python_version(), "librosa": librosa.__version__}}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--takes", type=int, default=12, help="of each kind and maker")
    parser.add_argument("--seed", type=int, default=171)
    parser.add_argument("--set", default="report")
    options = parser.parse_args()
    print(json.dumps(measure(options.takes, options.seed, options.set)))


if __name__ == "__main__":
    main()
