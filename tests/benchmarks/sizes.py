"""Sizes of moves and lengths of notes: singers of two makers, of whom each changes one size or one length, or none.

    python tests/benchmarks/sizes.py [--takes 20] [--seed 71] [--set report] [--kind size] [--maker harmonics]

`--takes` of each kind ("none", "size", "length") and maker; sets as in `everyday.py`. The thresholds were chosen on
seed 41 of the set "fit". A changed size goes the same way and is 2 to 4 semitones off; half of the time the rest
follows it, half of the time the next note is in the key again. A changed length is half or twice as long as written,
never that of the last note (which may ring as long as the singer likes). The last line is one JSON object: of
the changed ones `found` (shares), of the others (shrunken intervals, drift and all) `false`, and `not_sure` of all.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "benchmarks")]

from everyday import ALL_MAKERS, MAKERS, SETS, _kept, _version, judged, tunes  # noqa: E402
from singers import VOICES, LineItem, line_of, noisy, perform, render, room, some_style  # noqa: E402
from singers.mixtures import NOISE_DB, QUICKEST_S, _pick  # noqa: E402
from singers.performance import SYLLABLES  # noqa: E402
from tracked import track  # noqa: E402

from companion.ear import PitchTrack  # noqa: E402
from companion.match import Length, Size  # noqa: E402
from companion.tune import LineNote, direction_of  # noqa: E402

KINDS = ("none", "size", "length")


def changed(kind: str, line: list[LineItem], rng: np.random.Generator) -> list[LineItem]:
    """What is sung of a line: the same with one size or one length changed."""
    sung = list(line)
    if kind == "size":
        moving = [i for i in range(len(line) - 1) if line[i + 1].midi != line[i].midi]
        at = int(rng.choice(moving))
        step = line[at + 1].midi - line[at].midi
        way = 1 if step > 0 else -1
        sizes = [abs(step) + d for d in (-4, -3, -2, 2, 3, 4) if abs(step) + d >= 1]
        by = way * int(rng.choice(sizes)) - step
        for i in range(at + 1, len(line) if rng.random() < 0.5 else at + 2):
            sung[i] = replace(sung[i], midi=sung[i].midi + by)
    elif kind == "length":
        at = int(rng.integers(0, len(line) - 1))
        sung[at] = replace(sung[at], quarters=sung[at].quarters * float(rng.choice([0.5, 2.0])))
    return sung


Made = tuple[tuple[LineNote, ...], list[LineItem], list[LineItem], list[bool], PitchTrack]


def made(kind: str, maker: str, which: str, seed: int, number: int) -> Made:
    """(line, as written, as sung, which notes were sung, pitch track)."""
    path = _kept() / f"sizes-{_version()}-{which}-{maker}-{kind}-{seed}-{number}.pickle"
    if path.exists():
        found: Made = pickle.loads(path.read_bytes())
        return found
    rng = np.random.default_rng([seed, number, 100 + KINDS.index(kind), len(maker)])
    line = [replace(x, syllable=str(rng.choice(SYLLABLES))) for x in _pick(tunes(which), rng, (6, 14))[1]]
    sung = changed(kind, line, rng)
    voice = VOICES[number % len(VOICES)]
    style, _ = some_style(rng, voice, line, turned=False)
    style = replace(style, quarter_s=max(style.quarter_s, min(QUICKEST_S / min(x.quarters for x in sung), 0.7)))
    performance = perform(sung, style, rng)
    samples = render(performance, voice, maker, rng)
    sound = rng.random()
    if sound < 0.25:
        samples = room(samples, rng, float(rng.uniform(0.2, 0.6)), float(rng.uniform(0.05, 0.2)))
    samples = noisy(samples, rng, NOISE_DB if sound > 0.75 else float(rng.uniform(30, 50)))
    pitch = track((samples / max(1.0, float(np.abs(samples).max()) / 0.9)).astype(np.float32))
    there = {n.written for n in performance.notes}
    out = (line_of(replace(performance, line=tuple(line))), line, sung, [i in there for i in range(len(line))], pitch)
    path.write_bytes(pickle.dumps(out))
    return out


def part(job: tuple[str, str, str, int, range]) -> list[dict[str, Any]]:
    """One row a move ("size") and a note ("length") that was sung."""
    kind, maker, which, seed, numbers = job
    rows = []
    for number in numbers:
        line, written, sung, there, pitch = made(kind, maker, which, seed, number)
        match = judged(pitch, line)
        about = {"seed": seed, "number": number, "kind": kind, "maker": maker}
        for i in range(len(line) - 1):
            wanted, was = (x[i + 1].midi - x[i].midi for x in (written, sung))
            if there[i] and there[i + 1] and direction_of(wanted) == direction_of(was):
                said = match.moves[i].size if match else Size.UNSURE
                rows.append(about | {"what": "size", "at": i, "off": abs(was - wanted), "wrong": said is Size.WRONG,
                                     "unsure": said is Size.UNSURE, "sung": match and match.moves[i].sung_semitones,
                                     "wanted": wanted})
        for i in range(len(line)):
            if there[i]:
                off = sung[i].quarters / written[i].quarters
                said_length = match.notes[i].length if match else Length.UNSURE
                fault = Length.TOO_LONG if off > 1 else Length.TOO_SHORT if off < 1 else None
                called = said_length in (Length.TOO_LONG, Length.TOO_SHORT)
                rows.append(about | {"what": "length", "at": i, "off": off != 1,
                                     "wrong": said_length is fault if fault else called,
                                     "unsure": said_length is Length.UNSURE, "times": off, "said": said_length})
    return rows


def report(rows: list[dict[str, Any]]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for what in ("size", "length"):
        for maker in ("", *dict.fromkeys(r["maker"] for r in rows)):
            some = [r for r in rows if r["what"] == what and maker in ("", r["maker"])]
            off, right = [r for r in some if r["off"]], [r for r in some if not r["off"]]
            out[f"{what} {maker}".strip()] = {
                "changed": len(off), "found": round(sum(r["wrong"] for r in off) / max(1, len(off)), 4),
                "right": len(right), "false": round(sum(r["wrong"] for r in right) / max(1, len(right)), 4),
                "not_sure": round(sum(r["unsure"] for r in some) / max(1, len(some)), 4)}
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=20)
    parser.add_argument("--seed", type=int, nargs="+", default=[71])
    parser.add_argument("--set", choices=SETS, default="report")
    parser.add_argument("--kind", choices=KINDS, action="append")
    parser.add_argument("--maker", nargs="+", default=list(MAKERS), choices=ALL_MAKERS)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--verbose", action="store_true", help="name each false call and each that was not found")
    options = parser.parse_args()
    tunes(options.set)
    jobs = [(kind, maker, options.set, seed, range(a, min(a + 10, options.takes))) for seed in options.seed
            for kind in options.kind or KINDS for maker in options.maker for a in range(0, options.takes, 10)]
    with ProcessPoolExecutor(options.jobs) as pool:
        rows = [r for some in pool.map(part, jobs) for r in some]
    if options.verbose:
        for r in rows:
            if bool(r["off"]) != r["wrong"]:
                print(r)
    print(json.dumps(report(rows)))


if __name__ == "__main__":
    main()
