"""The metre alone, without sound: `python tests/benchmarks/notate_metre.py [--songs N] [--dances N]`.

Songs of music21's Essen collection that were not counted (by file; kinder0 are children's), and collections that were not:
dances of O'Neill's, Northumbrian tunes, tunes for the fife, and hymns (sopranos of Bach's chorales): their times as a
simulated singer has them (`notate_counts.simulated`), read by `companion.transcribe.metre`. By collection and over all
("songs": the Essen files together): "exact" the metre; "bars" its family (two-four and four-four are one) with the bar
lines right at 95 % of the notes; "first" the metre and the place of the first note; "value" the share of values right,
"value_to_scale" the same when all are twice or half as long; "unsure" the share of tunes whose metre is less than 0.8 sure.
Last line: JSON.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from notate_counts import kept, simulated
from notate_tunes import TEST, TEST_DANCES, FolkTune, dance_tunes, folk_tunes, hymn_tunes

from companion.transcribe.folk_counts import ticks_of
from companion.transcribe.metre import choose

SURE = 0.8


def judged(folk: FolkTune, seed: int, k: int) -> dict[str, float]:
    """What is right of one tune."""
    line = folk.tune.line()
    chosen = choose(simulated(folk, np.random.default_rng([seed, k])), [n.midi for n in line])
    r = chosen.reading
    true = np.array([int((b.onset_quarters - a.onset_quarters) * 4) for a, b in itertools.pairwise(line)])
    found = r.ticks[:-1]
    scale = max((float(np.mean(found == true * f)), -abs(f - 1), f) for f in (0.5, 1.0, 2.0))
    bar = ticks_of(folk.tune.time.quarters)
    at = folk.place + np.array([int(n.onset_quarters * 4) for n in line])
    here = r.place[0] + np.concatenate([[0], np.cumsum(found)])
    same = np.mean((at % bar == 0) == (here % ticks_of(r.time.quarters) == 0))
    duple = {"2/4", "4/4"}
    family = r.time.name == folk.metre or {r.time.name, folk.metre} == duple
    if family and r.time.name != folk.metre:  # lines of the shorter bars
        same = np.mean((at % 8 == 0) == (here % 8 == 0))
    exact = r.time.name == folk.metre
    return {"exact": exact, "bars": bool(family and same >= 0.95), "first": bool(exact and r.place[0] == folk.place),
            "value": float(np.mean(found == true)), "value_to_scale": scale[0], "unsure": chosen.confidence < SURE}


def collection_of(name: str) -> str:
    return next((t for t in TEST if name.startswith(t)), "other")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--songs", type=int, default=250, metavar="N")
    parser.add_argument("--dances", type=int, default=150, metavar="N")
    parser.add_argument("--others", type=int, default=60, metavar="N", help="of each of the small collections (60)")
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep parsed tunes here")
    arguments = parser.parse_args()
    tunes = kept(arguments.keep, f"test-{arguments.songs}-{arguments.dances}-{arguments.others}",
                 lambda: tunes_to_read(arguments.songs, arguments.dances, arguments.others))
    print(json.dumps(report(tunes, arguments.seed)))


def tunes_to_read(songs: int, dances: int, others: int) -> list[tuple[str, FolkTune]]:
    """Tunes that nothing was counted or fitted on, each with the name of its collection."""
    tunes = [(collection_of(t.tune.title), t) for t in itertools.islice(folk_tunes(test=True), songs)]
    for collection in TEST_DANCES:
        most = dances if collection == TEST_DANCES[0] else others
        tunes += [(collection, t) for t in itertools.islice(dance_tunes(collection), most)]
    return tunes + [("hymns", t) for t in itertools.islice(hymn_tunes(), others)]


def report(tunes: list[tuple[str, FolkTune]], seed: int) -> dict[str, Any]:
    """Means by collection, and over all."""
    rows: dict[str, list[dict[str, float]]] = defaultdict(list)
    for k, (collection, folk) in enumerate(tunes):
        row = judged(folk, seed, k)
        for name in (collection, *(["songs"] if collection in TEST else []), "all"):
            rows[name].append(row)
    return {name: {"tunes": len(some), **{key: round(float(np.mean([r[key] for r in some])), 3) for key in some[0]}}
            for name, some in rows.items()}


if __name__ == "__main__":
    main()
