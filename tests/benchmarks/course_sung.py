"""Sung answers of the course: new bars of every stage sung as written, and with a direction, a size or a length wrong.

    python tests/benchmarks/course_sung.py [--takes 200] [--seed 5] [--stage 9]

`--takes` of each stage, in turn as written ("true"), with one move turned round ("direction"), one move a third wider
the same way ("size"), and one note four times as long, where values are read ("length"; counted apart as
"length on one pitch" where it runs on into a note of the same pitch or out of one, and nothing audible parts the two).
Learners' voices: each in a key of its own, with intervals of 0.8 to 1.1 times the written ones and a spread of 0.15 semitones.
The last line is one JSON
object: of the true ones `false`, the share called "not that way"; of each kind of misreading `found`, the share called
so, and `noticed`, the share that was not called right; `not_sure`: of all.
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from singers import LineItem, Style, perform  # noqa: E402
from singers.performance import STEP_S  # noqa: E402

from companion.course import Item, Wanted, check_take, fresh_group, read_and_sing, stages, taught  # noqa: E402
from companion.ear import PitchTrack  # noqa: E402
from companion.match import Verdict  # noqa: E402

EVERY = 3  # of the singer's steps of 5 ms make a frame
KINDS = ("true", "direction", "size", "length")
ON_ONE_PITCH = "length on one pitch"
THIRD = 4  # semitones


def sung_as(pitches: list[int], lengths: list[float], rests: list[float], rng: np.random.Generator, shrink: float,
            quarter_s: float) -> PitchTrack:
    """A learner who sings these pitches and lengths (in crotchets) in a key of its own."""
    style = Style(shift=float(rng.uniform(-4, 4)), quarter_s=quarter_s, miss=0.15, shrink=shrink)
    line = [LineItem(p, n, "la", r) for p, n, r in zip(pitches, lengths, rests, strict=True)]
    contour = perform(line, style, rng).contour[::EVERY]
    hz = np.where(np.isnan(contour), 0.0, 440.0 * 2 ** ((np.nan_to_num(contour) - 69) / 12))
    there, hop = hz > 0, EVERY * STEP_S
    return PitchTrack(np.arange(len(hz)) * hop, hz, np.where(there, 0.95, 0.0), np.where(there, -20.0, -70.0),
                      np.where(there, 0.9, 0.1), hop, len(hz) * hop)


def misreading(kind: str, item: Item, rng: random.Random) -> tuple[list[int], list[float]] | None:
    """What is sung instead of a line: (pitches, lengths), None where it has nothing of this kind."""
    midis, lengths = [n.midi for n in item.sung], [float(n.quarters) for n in item.sung]
    moving = [i for i, (a, b) in enumerate(itertools.pairwise(midis)) if 0 < abs(a - b) < 5]
    if kind == "direction" and moving:
        at = rng.choice(moving)
        turned = 2 * (midis[at] - midis[at + 1])
        return [m + (turned if i > at else 0) for i, m in enumerate(midis)], lengths
    if kind == "size" and moving:
        at = rng.choice(moving)
        more = THIRD if midis[at + 1] > midis[at] else -THIRD
        return [m + (more if i > at else 0) for i, m in enumerate(midis)], lengths
    # Where all are quavers nothing is said of lengths; a rest after a note hides how long it was.
    held = [i for i, n in enumerate(item.sung[:-1]) if not n.rest_after and len(item.sung) > 2 and max(lengths) > 0.5]
    if kind == "length" and held:
        at = rng.choice(held)
        return midis, [x * 4 if i == at else x for i, x in enumerate(lengths)]
    return (midis, lengths) if kind == "true" else None


def _on_one_pitch(item: Item, lengths: list[float]) -> bool:
    """Whether the note that was held stands beside one of the same pitch."""
    at = next(i for i, n in enumerate(item.sung) if float(n.quarters) != lengths[i])
    return any(item.sung[i].midi == item.sung[i + 1].midi for i in (at - 1, at) if 0 <= i < len(item.sung) - 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=200)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--stage", type=float)
    options = parser.parse_args()
    asked, wrong, unsure = Counter[str](), Counter[str](), Counter[str]()
    by_stage: dict[str, dict[str, Any]] = {}
    for stage in stages():
        if stage.by_ear or (options.stage is not None and stage.number != options.stage):
            continue
        here = Counter[str]()
        rng = random.Random(f"{stage.key} {options.seed}")
        for n in range(options.takes):
            wanted = Wanted(taught(stage.number), frozenset(stage.introduces), (), 1 + n // len(KINDS) % 4)
            group = fresh_group(stage.material, stage.name, wanted, rng)
            kind = KINDS[n % len(KINDS)]
            if group is None or (changed := misreading(kind, item := read_and_sing(group), rng)) is None:
                continue
            slow = 1.0 if max(float(x.quarters) for x in item.sung) <= 0.5 else 0.5
            shrink = rng.uniform(0.8, 1.1) if kind == "true" else 1.0
            track = sung_as(*changed, [float(x.rest_after) for x in item.sung], np.random.default_rng([options.seed, n]),
                            shrink, slow)
            verdict = check_take(item, track).verdict
            if kind == "length" and _on_one_pitch(item, changed[1]):
                kind = ON_ONE_PITCH
            asked[kind] += 1
            here[kind] += 1
            wrong[kind] += verdict is Verdict.WRONG
            unsure[kind] += verdict is Verdict.UNSURE
            here[f"{kind} wrong"] += verdict is Verdict.WRONG
        by_stage[stage.key] = {k: [here[f"{k} wrong"], here[k]] for k in (*KINDS, ON_ONE_PITCH) if here[k]}
        print(stage.key, by_stage[stage.key], flush=True)
    out: dict[str, Any] = {"true": {"asked": asked["true"], "false": round(wrong["true"] / max(1, asked["true"]), 4)}}
    for kind in (*KINDS[1:], ON_ONE_PITCH):
        out[kind] = {"asked": asked[kind], "found": round(wrong[kind] / max(1, asked[kind]), 3),
                     "noticed": round((wrong[kind] + unsure[kind]) / max(1, asked[kind]), 3)}
    out["not_sure"] = round(sum(unsure.values()) / max(1, sum(asked.values())), 3)
    out["true_not_sure"] = round(unsure["true"] / max(1, asked["true"]), 3)
    print(json.dumps(out))


if __name__ == "__main__":
    main()
