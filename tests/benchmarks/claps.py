"""Clapped rhythms: new bars of the stages with values, clapped as written and with one thing wrong.

    python tests/benchmarks/claps.py [--takes 200] [--seed 5]

`--takes` of all stages together and of each maker ("clap": noise through a resonance; "tap": damped clicks of a table), in turn
as written ("true"), one space twice as long or half ("length"), one clap too many ("extra"), one left out ("missing"). A
third each in clear sound, in a room, and with noise and the companion's own beat in the microphone; hands that vary by 0.03 s
about a tempo of their own, 0.9 to 1.15 of the given one. The last line is one JSON object, of each maker: `false`: share of the
true ones called "not that rhythm"; of each kind `found`; `not_sure`: of all, and of the true ones.
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import sys
from collections import Counter
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from clappers import MAKERS, beat_under, clapped  # noqa: E402

from companion.course import FEWEST_NOTES, Wanted, check_claps, clap_the_rhythm, fresh_group, pace_of, stages, taught  # noqa: E402
from companion.match import Verdict  # noqa: E402

KINDS = ("true", "length", "extra", "missing")
HANDS_S = 0.03


def changed(kind: str, onsets: list[float], rng: random.Random) -> list[float] | None:
    """When hands clap instead, in crotchets; None where nothing of the kind can be done."""
    spaces = [b - a for a, b in itertools.pairwise(onsets)]
    at = rng.randrange(len(spaces))
    if kind == "length":
        by = spaces[at] if rng.random() < 0.5 or spaces[at] <= 0.5 else -spaces[at] / 2
        return [o + (by if i > at else 0) for i, o in enumerate(onsets)]
    if kind == "extra":
        wide = [i for i, s in enumerate(spaces) if s >= 1]
        at = rng.choice(wide) if wide else -1
        return sorted([*onsets, onsets[at] + spaces[at] / 2]) if wide else None
    if kind == "missing":
        return [o for i, o in enumerate(onsets) if i != at + 1] if len(onsets) > 2 and at + 2 < len(onsets) else None
    return onsets


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=200)
    parser.add_argument("--seed", type=int, default=5)
    options = parser.parse_args()
    read = [s for s in stages() if not s.by_ear and "values" not in s.leave_out]
    out = {}
    for maker in MAKERS:
        count: Counter[str] = Counter()
        rng = random.Random(f"{maker} {options.seed}")
        for n in range(options.takes):
            stage, kind = read[n // len(KINDS) % len(read)], KINDS[n % len(KINDS)]
            group = fresh_group(stage.material, stage.name, Wanted(taught(stage.number), frozenset(stage.introduces), (), 2), rng)
            if group is None or group.pulse is None or len(group.line) < FEWEST_NOTES:
                continue
            onsets = changed(kind, [float(x.onset_quarters - group.line[0].onset_quarters) for x in group.line], rng)
            if onsets is None:
                continue
            hands = np.random.default_rng([options.seed, n, len(maker)])
            item = clap_the_rhythm(group)
            given = pace_of(item)
            quarter, beat = given * hands.uniform(0.9, 1.15), float(group.pulse.beat) * given
            where = ("clear", "room", "all")[n // len(KINDS) % 3]
            late = float(hands.uniform(0.03, 0.3))
            led = late + group.pulse.counts * beat
            first = led + float(group.line[0].onset_quarters) * given
            times = [first + o * quarter + float(hands.normal(0, HANDS_S)) for o in onsets]
            own = beat_under(group.pulse.counts, beat, float(group.quarters) * given) if where == "all" else None
            sound = clapped(times, maker, hands, seconds=times[-1] + 1.2,
                            room_s=0.0 if where == "clear" else float(hands.uniform(0.3, 0.6)),
                            noise_db=-45.0 if where == "all" else -65.0, own=own,
                            own_db=float(hands.uniform(-30, -12)), late_s=late)
            verdict = check_claps(item, sound, led=True).verdict
            for name in (kind, f"{kind} {where}"):
                count[name] += 1
                count[f"{name} {verdict.value}"] += 1
        asked = sum(count[k] for k in KINDS)
        out[maker] = {"asked": asked, "false": round(count[f"true {Verdict.WRONG.value}"] / max(1, count["true"]), 4),
                      **{k: round(count[f"{k} {Verdict.WRONG.value}"] / max(1, count[k]), 3) for k in KINDS[1:]},
                      "not_sure": round(sum(count[f"{k} {Verdict.UNSURE.value}"] for k in KINDS) / max(1, asked), 3),
                      "true_not_sure": round(count[f"true {Verdict.UNSURE.value}"] / max(1, count["true"]), 3),
                      "called_right": {k: count[f"{k} {Verdict.RIGHT.value}"] for k in KINDS[1:]},
                      "with_beat_and_noise": {k: [count[f"{k} all {Verdict.WRONG.value}"], count[f"{k} all"]] for k in KINDS}}
        print(maker, json.dumps(out[maker]), flush=True)
    print(json.dumps(out))


if __name__ == "__main__":
    main()
