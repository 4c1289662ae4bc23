"""Make `companion/transcribe/counts.json` anew: `python tests/benchmarks/notate_counts.py [--sung N] [--keep FOLDER]`.

Counts on the songs that are not for tests and on the dances of COUNTED_DANCES, apart: for each metre which values stand at
which place of the bar, rests,
first and last notes, degrees, moves and phrase starts by place; for major and minor which degree follows which. Then
the weights of `companion.transcribe.metre` by a conditional logistic regression, on the times of some of these tunes as
a simulated singer has them (no sound); every reading of both styles takes part in it. Songs and dances weigh as SONGS_SHARE
says, however many of each there are. --keep: parsed tunes and readings are kept in a folder and taken from it the next time.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import pickle
import random
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import itertools

from notate_tunes import COUNTED_DANCES, QUICKEST_S, ROOT, FolkTune, dance_tunes, folk_tunes

from companion.transcribe import folk_counts
from companion.transcribe.folk_counts import GUESSED, MODES, MOST_TICKS, Style, ticks_of
from companion.transcribe.metre import beside_the_best, features
from companion.transcribe.rhythm import IMPOSSIBLE, Evidence, Reading, moves, read
from companion.transcribe.score import CONSONANT_SHARE
from companion.tune import Time

FILE = ROOT / "companion" / "transcribe" / "counts.json"
Table = defaultdict[int, Counter[int]]


def plain(table: Table) -> dict[str, dict[str, int]]:
    return {str(k): {str(d): c for d, c in sorted(row.items())} for k, row in sorted(table.items())}


def count_metre(tunes: Sequence[FolkTune], time: Time) -> dict[str, object]:
    bar = ticks_of(time.quarters)
    value, ending = (defaultdict(Counter) for _ in range(2))
    # After each length which rests, inside phrases and at their ends, in tunes without any rest and in those with.
    rest: dict[str, list[Table]] = {w: [defaultdict(Counter), defaultdict(Counter)] for w in ("inside", "end")}
    kinds = [0, 0]
    first, last = Counter(), Counter()
    place, degree, move, phrase = np.zeros(bar), np.zeros((bar, 12)), np.zeros((bar, 5)), np.zeros((bar, 2))
    for folk in tunes:
        line = folk.tune.line()
        starts = set(folk.tune.phrase_starts or ())
        at = [folk.place + int(n.onset_quarters * 4) for n in line]
        at.append(at[-1] + int(line[-1].quarters * 4))
        into = moves([n.midi for n in line])
        kind = int(any(n.rest_after for n in line[:-1]))
        kinds[kind] += 1
        for i, n in enumerate(line):
            p, d = at[i] % bar, min(at[i + 1] - at[i], MOST_TICKS)
            place[p] += 1
            degree[p][(n.midi - folk.tonic) % 12] += 1
            if i:
                move[p][into[i]] += 1
                phrase[p][int(n.number in starts)] += 1
            if i + 1 < len(line):
                value[p][d] += 1
                where = "end" if line[i + 1].number in starts else "inside"
                rest[where][kind][d][min(int(n.rest_after * 4), MOST_TICKS)] += 1
            else:
                ending[p][d] += 1
        first[at[0] % bar] += 1
        last[at[-2] % bar] += 1
    return {"tunes": len(tunes), "value": plain(value), "ending": plain(ending),
            "rest": {"tunes": kinds, **{w: [plain(t) for t in tables] for w, tables in rest.items()}},
            "first": {str(k): v for k, v in sorted(first.items())},
            "last": {str(k): v for k, v in sorted(last.items())},
            **{name: t.astype(int).ravel().tolist() for name, t in
               (("place", place), ("degree", degree), ("move", move), ("phrase", phrase))}}


def count_degrees(tunes: Sequence[FolkTune], mode: str) -> dict[str, object]:
    first, follow, last, n = np.zeros(12), np.zeros((12, 12)), np.zeros(12), 0
    for folk in (t for t in tunes if t.mode == mode):
        n += 1
        degrees = [(x.midi - folk.tonic) % 12 for x in folk.tune.line()]
        first[degrees[0]] += 1
        last[degrees[-1]] += 1
        for a, b in itertools.pairwise(degrees):
            follow[a, b] += 1
    return {"tunes": n, "first": first.astype(int).tolist(), "next": follow.astype(int).ravel().tolist(),
            "last": last.astype(int).tolist()}


FEWEST_COUNTED = 30  # tunes of a metre; where a style has fewer, songs stand for them (dances in three)


def count_all(songs: Sequence[FolkTune], dances: Sequence[FolkTune]) -> dict[str, object]:
    """What stands in the file: metres by style; degrees of songs alone."""
    metres: dict[str, dict[str, object]] = {Style.SONG: {}, Style.DANCE: {}}
    for time in GUESSED:
        metres[Style.SONG][time.name] = count_metre([t for t in songs if t.metre == time.name], time)
        danced = [t for t in dances if t.metre == time.name]
        metres[Style.DANCE][time.name] = (count_metre(danced, time) if len(danced) >= FEWEST_COUNTED else
                                          metres[Style.SONG][time.name])
    return {"metres": metres, "degrees": {mode: count_degrees(songs, mode) for mode in MODES}}


def simulated(folk: FolkTune, rng: np.random.Generator) -> Evidence:
    """The times at which a simulated singer begins the notes: tempo wandering and swinging, consonants, breaths."""
    line = folk.tune.line()
    quarter_s = rng.uniform(0.28, 0.52) if folk.metre == "6/8" else rng.uniform(0.38, 0.7)
    quarter_s = max(quarter_s, min(QUICKEST_S / float(min(n.quarters for n in line)), 0.7))
    total = float(line[-1].onset_quarters + line[-1].quarters)
    phase, periods = rng.uniform(0, 6.28), max(1.0, total / 16 * rng.uniform(0.7, 1.3))
    swing, waver = 0.1 * (rng.random() < 0.3), rng.uniform(0.02, 0.07)
    starts = set(folk.tune.phrase_starts or ())
    now, onset, breath, before_s, rest = 0.3, [], [], 0.0, False
    for n in line:
        pace = quarter_s * (1 + swing * np.sin(2 * np.pi * periods * float(n.onset_quarters) / total + phase))
        # A stopped consonant, or a gap between notes that are not joined, takes from the beginning of a note; a part of
        # it is given back (`score.CONSONANT_SHARE`), unless it stands with a breath.
        late = rng.uniform(0.05, 0.1) if rng.random() < 0.45 else rng.uniform(0.04, 0.1) if rng.random() < 0.1 else 0.0
        breath.append(rest or (n.number in starts and before_s > 0.35 and rng.random() < 0.9) or rng.random() < 0.02)
        onset.append(now + late * (1.0 if breath[-1] else 1.0 - CONSONANT_SHARE) + rng.normal(0, 0.012))
        before_s = float(n.quarters) * pace * np.exp(rng.normal(0, waver))
        now += before_s + float(n.rest_after) * pace
        rest = n.rest_after > 0
    midi = [n.midi for n in line]
    return Evidence(np.array([*onset, now]), np.array([(m - folk.tonic) % 12 for m in midi]), moves(midi),
                    np.array([False, *breath[1:]]))


def readings_of(job: tuple[int, int, FolkTune]) -> tuple[Evidence, list[Reading]]:
    """A tune as a simulated singer has it, and all readings of that (without the posteriors of values, which are large)."""
    seed, k, folk = job
    e = simulated(folk, np.random.default_rng([seed, k]))
    return e, [replace(r, value_posterior=np.zeros((0, 0)))
               for time in GUESSED for style in Style for r in read(e, time, style=style)]


def all_readings(tunes: Sequence[FolkTune], seed: int) -> list[tuple[Evidence, list[Reading]]]:
    """Of each tune, by the counts that stand in memory (the processes are forked)."""
    with multiprocessing.get_context("fork").Pool() as pool:
        return pool.map(readings_of, [(seed, k, folk) for k, folk in enumerate(tunes)], chunksize=10)


def table_of(folk: FolkTune, e: Evidence, readings: Sequence[Reading]) -> tuple[np.ndarray, np.ndarray] | None:
    """Features of each reading, and which readings are right; None where none is."""
    line = folk.tune.line()
    table = beside_the_best(np.array([features(r, [n.midi for n in line], e.phrase) for r in readings]))
    ticks = np.array([int((b.onset_quarters - a.onset_quarters) * 4) for a, b in itertools.pairwise(line)])
    right = np.array([r.time.name == folk.metre and r.place[0] == folk.place and np.mean(r.ticks[:-1] == ticks) > 0.7
                      for r in readings])
    if not right.any():
        right = np.array([r.time.name == folk.metre for r in readings])
    return (table, right) if right.any() else None


#: Of the weight of all tunes; the rest are dances. This and the penalty were chosen by three-fold cross-validation.
SONGS_SHARE, PENALTY = 0.67, 3.0
BEYOND = 0.01  # share of true readings that may lie beyond the limits of a feature on each side


def weigh(songs: Sequence[FolkTune], dances: Sequence[FolkTune], sung: Sequence[tuple[Evidence, list[Reading]]],
          penalty: float = PENALTY) -> dict[str, Any]:
    """Weights of `metre.features`: the true metre and first place against the other readings of each tune; and their limits.

    sung: the readings of songs and then dances.
    """
    from scipy.optimize import minimize

    tunes = [*songs, *dances]
    found = [table_of(folk, e, readings) for folk, (e, readings) in zip(tunes, sung, strict=True)]
    shares = [len(tunes) * SONGS_SHARE / max(1, len(songs)), len(tunes) * (1 - SONGS_SHARE) / max(1, len(dances))]
    judged = [(*t, shares[k >= len(songs)] if songs and dances else 1.0) for k, t in enumerate(found) if t is not None]
    table = np.concatenate([t for t, _, _ in judged])
    right = np.concatenate([r for _, r, _ in judged]).astype(float)
    share = np.array([x for _, _, x in judged])
    sizes = [len(t) for t, _, _ in judged]
    first, tune = np.cumsum([0, *sizes[:-1]]), np.repeat(np.arange(len(sizes)), sizes)
    true = table[right > 0]
    limits = [np.minimum(np.quantile(true, BEYOND, axis=0), 0.0), np.maximum(np.quantile(true, 1 - BEYOND, axis=0), 0.0)]
    half = table.shape[1] // 2
    limits[0][[0, 1, half, half + 1]] = IMPOSSIBLE  # likelihoods against the likeliest have none
    table = np.clip(table, *limits)
    spread = table.std(axis=0)
    spread[spread == 0] = 1.0
    table = table / spread

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        score = table @ w
        p = np.exp(score - np.maximum.reduceat(score, first)[tune])
        p /= np.add.reduceat(p, first)[tune]
        q = p * right
        total = np.add.reduceat(q, first)
        slope = (p - q / np.maximum(total, 1e-300)[tune]) * share[tune]
        return penalty * float(w @ w) / 2 - float(share @ np.log(total + 1e-12)), penalty * w + slope @ table

    start = np.zeros(len(spread))
    start[0] = spread[0]
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 1000}).x
    return {"weights": [round(float(x), 5) for x in best / spread],
            "limits": [[round(float(x), 5) for x in row] for row in limits]}


def kept(folder: Path | None, name: str, make: Callable[[], Any]) -> Any:
    """What is kept in a folder under a name; made, and kept if there is a folder, where it is not there yet."""
    path = folder / f"{name}.pickle" if folder else None
    if path and path.exists():
        return pickle.loads(path.read_bytes())
    made = make()
    if path:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(made))
    return made


def tunes_to_count(folder: Path | None) -> tuple[list[FolkTune], list[FolkTune]]:
    """Songs and dances that may be counted, in an order of chance that stays."""
    songs = kept(folder, "songs", lambda: list(folk_tunes(test=False)))
    dances = kept(folder, "dances", lambda: [tune for collection in COUNTED_DANCES for tune in dance_tunes(collection)])
    random.Random(3).shuffle(dances)
    return songs, dances


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sung", type=int, default=1100, metavar="N", help="songs for the weights (1100)")
    parser.add_argument("--danced", type=int, default=500, metavar="N", help="dances for the weights (500)")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep parsed tunes and readings here")
    parser.add_argument("--out", type=Path, default=FILE, metavar="FILE", help="where to write (the file of the package)")
    arguments = parser.parse_args()
    songs, dances = tunes_to_count(arguments.keep)
    data = make(songs, dances, arguments.sung, arguments.danced, arguments.keep)
    arguments.out.write_text(json.dumps(data) + "\n", encoding="utf-8")
    print(json.dumps({"songs": len(songs), "dances": len(dances), "sung": arguments.sung, "danced": arguments.danced,
                      "file": str(arguments.out)}))


def make(songs: Sequence[FolkTune], dances: Sequence[FolkTune], sung: int, danced: int,
         keep: Path | None = None) -> dict[str, object]:
    """What stands in the file. The weights are found with counts of other tunes than those that are sung for them."""
    def readings_by_others() -> list[tuple[Evidence, list[Reading]]]:
        counted = count_all(songs[sung:], dances[danced:])
        folk_counts.counts = lambda: counted
        folk_counts.prior.cache_clear()
        return all_readings([*songs[:sung], *dances[:danced]], seed=21)

    sung_songs, sung_dances = songs[:sung], dances[:danced]
    readings = kept(keep, f"readings-{len(sung_songs)}-{len(sung_dances)}", readings_by_others)
    return {**count_all(songs, dances), **weigh(sung_songs, sung_dances, readings)}


if __name__ == "__main__":
    main()
