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

NO_SOUND = "none"  # takes without a voice, as a tracker that makes no mistake would have them


@dataclass(frozen=True, eq=False)
class Candidate:
    """A stretch that may be judged, what was found in it, and what else is asked of it."""

    way: str
    stretch: Stretch
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    row: np.ndarray
    talk: float
    voice_s: float
    log_likelihood: float
    fragments: int


@dataclass(frozen=True, eq=False)
class Gathered:
    """One take: whether its line is in it, its truth, and its stretches."""

    there: bool
    mix: Any
    seed: int
    number: int
    track: PitchTrack
    candidates: tuple[Candidate, ...]


def gather(mix: Any, pitch: PitchTrack, seed: int, number: int) -> Gathered:
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
            row = presence_row(stretch, judged.notes, judged.moves, len(line), judged.heard)
            aligned = judged.placed.aligned
            out.append(Candidate(way, stretch, judged.notes, judged.moves, row, sung_odds(judged.heard), voice,
                                 aligned.log_likelihood, len(aligned.fragments.first)))
    return Gathered(mix.kind not in WITHOUT, mix, seed, number, pitch, tuple(out))


def logistic(x: np.ndarray, y: np.ndarray, weight: np.ndarray, ridge: float = 1e-3) -> np.ndarray:
    from scipy.optimize import minimize

    def loss(w: np.ndarray) -> float:
        return float(np.average(np.logaddexp(0, -(2 * y - 1) * (x @ w)), weights=weight) + ridge * np.sum(w[:-1] ** 2))

    return np.asarray(minimize(loss, np.zeros(x.shape[1])).x)


def fit(takes: list[Gathered], rows: list[np.ndarray], rounds: int = 8) -> np.ndarray:
    """Weights; rows: of each take, one a stretch."""
    y = np.array([t.there for t in takes])
    weight = np.where(y, 1 / y.sum(), 1 / (~y).sum())
    w = np.array(WEIGHTS) if rows[0].shape[1] == len(WEIGHTS) else np.zeros(rows[0].shape[1])
    for _ in range(rounds):
        x = np.array([r[int(np.argmax(r @ w))] for r in rows])
        w = logistic(x, y, weight)
    return w


def held_out(takes: list[Gathered], rows: list[np.ndarray], folds: int = 5) -> np.ndarray:
    """The best odds of each take, by weights fitted on the others."""
    out = np.zeros(len(takes))
    for k in range(folds):
        rest = [i for i in range(len(takes)) if i % folds != k]
        w = fit([takes[i] for i in rest], [rows[i] for i in rest])
        for i in range(k, len(takes), folds):
            out[i] = float((rows[i] @ w).max())
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
                    some = [gather(*take, seed, k) for k, take in enumerate(takes)]
                    (options.gather / name).write_bytes(pickle.dumps(some))
                    print(name, len(some), flush=True)
        return
    takes = [t for p in sorted(options.gather.glob("*.pickle")) for t in pickle.loads(p.read_bytes())
             if t.candidates]
    rows = [np.array([c.row for c in t.candidates]) for t in takes]
    odds = held_out(takes, rows)
    there = np.array([t.there for t in takes])
    print(json.dumps({"weights": [round(float(x), 2) for x in fit(takes, rows)], "takes": len(takes), "thresholds": {
        str(v): [round(float((odds[there] < v).mean()), 4), round(float((odds[~there] >= v).mean()), 4)]
        for v in np.round(np.arange(-2.5, 2.6, 0.25), 2)}}))


if __name__ == "__main__":
    main()
