"""The odds that a line is in a take at all, fitted anew on takes as people make them.

    python tests/benchmarks/presence_fit.py [--takes 20] [--seed 41] [--set fit] [--maker formants none]
        [--kind "stopped early"] [--notes 4 4] [--other-notes 4 4] --gather FOLDER [--fit]

Each take of `everyday.py` is held against its line, and those of other lines against the line that is not in them. Of each
every stretch that may be judged is kept (in FOLDER, one file for a run), with what `companion.match.presence` reads of
it. `--fit` fits the weights on all that is kept: a logistic regression in which each take is the stretch with the best odds
(chosen anew in each round, from the weights in use on). The last line is one JSON object: the weights, and for thresholds
the shares of lines below and of others above, each fifth of the takes held out.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parent)]

from everyday import ALL_MAKERS, MAKERS, SETS, tracked, tunes  # noqa: E402
from singers.mixtures import NOTES, WITHOUT, Kind, without_sound  # noqa: E402

from companion.ear import PitchTrack  # noqa: E402
from companion.match import PARAMETERS, HeardNote, Move  # noqa: E402
from companion.match.attempts import Stretch, begun_stretches, likely_stretches, other_stretches  # noqa: E402
from companion.match.finder import find  # noqa: E402
from companion.match.presence import WEIGHTS, presence_row, sung_odds  # noqa: E402
from companion.match.take import _judged  # noqa: E402

ROUNDS, RIDGE, FOLDS = 8, 0.003, 5
SHORT = 0.4  # how much a take of a short line, or of a few notes of another tune, counts
MUCH = {Kind.STOPPED: 2.0, Kind.LATE: 0.5}
NO_SOUND = "none"  # takes without a voice, as a tracker that makes no mistake would have them


@dataclass(frozen=True, eq=False)
class Candidate:
    """A stretch that may be judged, what was found in it, and what else is asked of it."""

    way: str
    stretch: Stretch
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    talk: float
    voice_s: float


@dataclass(frozen=True, eq=False)
class Gathered:
    """One take: whether its line is in it, its truth, and its stretches."""

    there: bool
    mix: Any
    seed: int
    number: int
    track: PitchTrack
    candidates: tuple[Candidate, ...]
    short: bool


def gather(mix: Any, pitch: PitchTrack, seed: int, number: int, short: bool) -> Gathered:
    line = mix.line
    found = find(pitch, line)
    out: list[Candidate] = []
    ways = () if found is None else (("likely", likely_stretches(pitch, line, found)),
                                     ("other", other_stretches(pitch, line, found)),
                                     ("begun", begun_stretches(pitch, line, found)))
    for way, some in ways:
        for stretch in some:
            judged = _judged(pitch, line, stretch, PARAMETERS)
            if judged is None:
                continue
            voice = float(np.count_nonzero(judged.heard.f0_hz > 0)) * pitch.hop_s
            out.append(Candidate(way, stretch, judged.notes, judged.moves, sung_odds(judged.heard), voice))
    return Gathered(mix.kind not in WITHOUT, mix, seed, number, pitch, tuple(out), short)


def rows_of(take: Gathered) -> np.ndarray:
    """One row of `presence_row` for each stretch of a take."""
    return np.array([presence_row(c.stretch, c.notes, c.moves, len(take.mix.line), take.track.part(c.stretch.frames))
                     for c in take.candidates])


def fit(rows: list[np.ndarray], there: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """The weights. rows: of each take; there: whether its line is in it; weight: how much it counts."""
    from scipy.optimize import minimize

    start = np.array(WEIGHTS)
    sign = 2.0 * there - 1.0
    w = start
    for _ in range(ROUNDS):
        x = np.array([r[int(np.argmax(r @ w))] for r in rows])

        def loss(v: np.ndarray, x: np.ndarray = x) -> tuple[float, np.ndarray]:
            against = -sign * (x @ v)
            wrong = 1 / (1 + np.exp(-np.clip(against, -50, 50)))
            moved = np.append((v - start)[:-1], 0.0)
            return (float(np.average(np.logaddexp(0, against), weights=weight) + RIDGE * moved @ moved),
                    -(x * (weight * sign * wrong)[:, None]).sum(axis=0) / weight.sum() + 2 * RIDGE * moved)

        w = minimize(loss, w, jac=True).x
    return np.asarray(w)


def weights_of(takes: list[Gathered]) -> np.ndarray:
    """How much each take counts: each kind as much as another, but short lines and early stops; both answers alike."""
    kinds = [(t.mix.kind, t.mix.maker == NO_SOUND, t.short) for t in takes]
    of_kind = np.array([kinds.count(k) for k in kinds], dtype=float)
    much = np.array([SHORT if t.short else MUCH.get(t.mix.kind, 1.0) for t in takes]) / of_kind
    there = np.array([t.there for t in takes])
    return np.asarray(much / np.where(there, much[there].sum(), much[~there].sum()))


def held_out(rows: list[np.ndarray], there: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """The best odds of each take, by weights fitted on four fifths of the others."""
    out = np.zeros(len(rows))
    for k in range(FOLDS):
        rest = np.arange(len(rows)) % FOLDS != k
        w = fit([r for r, inside in zip(rows, rest, strict=True) if inside], there[rest], weight[rest])
        out[~rest] = [float((r @ w).max()) for r, inside in zip(rows, rest, strict=True) if not inside]
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=20)
    parser.add_argument("--seed", type=int, nargs="+", default=[41])
    parser.add_argument("--set", choices=SETS, default="fit")
    parser.add_argument("--kind", choices=[str(k) for k in Kind], action="append")
    parser.add_argument("--maker", nargs="+", default=list(MAKERS), choices=(*ALL_MAKERS, NO_SOUND))
    parser.add_argument("--notes", type=int, nargs=2, default=NOTES)
    parser.add_argument("--other-notes", type=int, nargs=2, default=NOTES)
    parser.add_argument("--gather", type=Path, required=True)
    parser.add_argument("--fit", action="store_true")
    options = parser.parse_args()
    options.gather.mkdir(exist_ok=True, parents=True)
    if not options.fit:
        kinds = [Kind(k) for k in options.kind] if options.kind else list(Kind)
        for seed in options.seed:
            for kind in kinds:
                for maker in options.maker:
                    counts = tuple(options.notes), tuple(options.other_notes)
                    name = f"{options.set}-{kind}-{maker}-{seed}-{counts}.pickle".replace(" ", "_")
                    takes = (without_sound(kind, tunes(options.set), seed, k, *counts) if maker == NO_SOUND else
                             tracked(kind, maker, options.set, seed, k, *counts) for k in range(options.takes))
                    some = [gather(*take, seed, k, counts != (NOTES, NOTES)) for k, take in enumerate(takes)]
                    (options.gather / name).write_bytes(pickle.dumps(some))
                    print(name, len(some), flush=True)
        return
    takes = [t for p in sorted(options.gather.glob("*.pickle")) for t in pickle.loads(p.read_bytes()) if t.candidates]
    np.random.default_rng(1).shuffle(takes)  # type: ignore[arg-type]
    rows, there, weight = [rows_of(t) for t in takes], np.array([t.there for t in takes]), weights_of(takes)
    odds = held_out(rows, there, weight)
    for kind in Kind:
        for short in (False, True):
            mine = np.array([t.mix.kind == kind and t.short == short for t in takes])
            if mine.any():
                print(f"{kind}{', short' if short else ''}: {mine.sum()} takes,", *(
                    f"{int((odds[mine] >= v).sum())} from {v}," for v in (-3.0, -2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0)))
    long = np.array([not t.short for t in takes])
    print(json.dumps({"weights": [round(float(x), 2) for x in fit(rows, there, weight)], "takes": len(takes), "thresholds": {
        str(v): [round(float((odds[there & long] < v).mean()), 4), round(float((odds[~there & long] >= v).mean()), 4)]
        for v in np.round(np.arange(-3.0, 2.1, 0.5), 2)}}))


if __name__ == "__main__":
    main()
