"""Verdicts on synthesised singers of two makers, whose truth is known.

    python tests/benchmarks/singers.py [--takes 150] [--seed 98] [--maker harmonics] [--verbose]
    python tests/benchmarks/singers.py --fit [--takes 12] [--budget 400] [--only NAME ...]

`--takes` of each maker and seed (about 7 moves a take); two makers unless `--maker` names others: the third, "harmonics", is
for reporting only. The last line is one JSON object: shares of all moves, and of
those in 10 dB noise; `found`: of the moves truly wrong, those called "not that way"; `calibration_error`: expected
calibration error of `sure` in ten bins over the moves called.

`--fit` fits the constants of `companion.match.MatchParameters` anew: those that have a range there, by a coordinate
search from the values in use on the seeds 11 to 24 (report on others), and then the weights of the verdict by logistic
regression on what came out. Each constant in turn is tried a step up and down; where neither is better its step is
halved. `--budget` is how many sets of constants are tried: `--fit --takes 2 --budget 4` takes about a minute, a whole
round about two tries a constant. `--only` names the constants to fit. It prints what it found and changes nothing.
The weights of closeness come from graded takes: `graded.py DIR --fit`.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

from tracked import track  # noqa: E402

from companion.ear import PitchTrack  # noqa: E402
from companion.errors import NothingSung  # noqa: E402
from companion.match import PARAMETERS, MatchParameters, Verdict, match_take  # noqa: E402
from companion.match.judge import evidence_row  # noqa: E402
from companion.match.take import place  # noqa: E402
from companion.tune import LineNote, direction_of  # noqa: E402

MAKERS = ("speech", "formants")
FITTING_SEEDS = tuple(range(11, 25))
#: What a call costs in the search: a false "not that way" most, a wrong move called right less, doubt least.
FALSE_WRONG, FALSE_RIGHT, DOUBT = 20.0, 5.0, 1.0
FIRST_STEP, LEAST_STEP = 0.25, 0.03  # of a constant's value


@dataclass(frozen=True)
class Heard:
    """A take as tracked, the line it is matched with, the truth of each move (semitones, None unknown), and its ways."""

    track: PitchTrack
    line: tuple[LineNote, ...]
    intervals: tuple[float | None, ...]
    tags: dict


def heard_takes(job: tuple[str, int, int]) -> list[Heard]:
    """Takes of a maker: (maker, how many, seed)."""
    from singers import corpus, line_of

    out = []
    for take in corpus(*job):
        line = line_of(take.performance)
        truth = tuple(take.performance.interval(i) for i in range(len(line) - 1))
        out.append(Heard(track(take.samples), line, truth, take.performance.tags))
    return out


def moves_of(heard: Heard, params: MatchParameters = PARAMETERS) -> list[dict]:
    """One row a move whose truth is known."""
    line, rows = heard.line, []
    placed = place(heard.track, line, params)
    try:
        found = match_take(heard.track, line, params)
    except NothingSung:
        found = None
    for i, interval in enumerate(heard.intervals):
        if interval is None:
            continue
        wanted = direction_of(line[i + 1].midi - line[i].midi)
        row = {"right": direction_of(interval) == wanted, "true": interval, "noise": bool(heard.tags["noise"]),
               "tags": heard.tags, "verdict": Verdict.UNSURE, "sure": 0.5, "evidence": None}
        if found is not None and placed is not None:
            row["verdict"], row["sure"] = found.moves[i].verdict, found.moves[i].sure
            row["move"] = found.moves[i]
            e = placed.evidence(line, i, params)
            if e.interval is not None:
                row["evidence"] = evidence_row(e, wanted, params).tolist()
        rows.append(row)
    return rows


def part(job: tuple[str, int, int]) -> list[dict]:
    return [row for heard in heard_takes(job) for row in moves_of(heard)]


def part_with(job: tuple[list[Heard], MatchParameters]) -> list[dict]:
    takes, params = job
    return [row for heard in takes for row in moves_of(heard, params)]


def calibration_error(sure: np.ndarray, so: np.ndarray) -> float:
    """Expected calibration error, ten bins of equal width (Naeini, Cooper and Hauskrecht 2015)."""
    bins = np.minimum((sure * 10).astype(int), 9)
    return float(sum((bins == b).mean() * abs(sure[bins == b].mean() - so[bins == b].mean())
                     for b in range(10) if (bins == b).any()))


def report(rows: list[dict]) -> dict:
    right = np.array([r["right"] for r in rows])
    noise = np.array([r["noise"] for r in rows])
    verdict = np.array([r["verdict"] for r in rows])
    called = verdict != Verdict.UNSURE
    sure = np.array([r["sure"] for r in rows])
    so = np.where(verdict == Verdict.RIGHT, right, ~right)
    return {"moves": len(rows), "false_wrong": float((right & (verdict == Verdict.WRONG)).mean()),
            "wrong_called_right": float((~right & (verdict == Verdict.RIGHT)).mean()),
            "not_sure": float((~called).mean()), "not_sure_in_noise": float((~called[noise]).mean()),
            "truly_wrong": int((~right).sum()), "found": float((verdict[~right] == Verdict.WRONG).mean()),
            "calibration_error": calibration_error(sure[called], so[called])}


def loss(rows: list[dict], params: MatchParameters) -> float:
    """What the search makes small: cost of the calls, and log loss of the probability of a right move, a move."""
    total = 0.0
    for r in rows:
        p = 0.5 if r["evidence"] is None else 1 / (1 + float(np.exp(-np.dot(params.verdict_weights, r["evidence"]))))
        total -= float(np.log(np.clip(p if r["right"] else 1 - p, 1e-6, 1.0)))
        total += {Verdict.RIGHT: 0.0 if r["right"] else FALSE_RIGHT, Verdict.WRONG: FALSE_WRONG if r["right"] else 0.0,
                  Verdict.UNSURE: DOUBT}[r["verdict"]]
    return total / len(rows)


def fit_weights(rows: list[dict]) -> tuple[float, ...]:
    """Weights of the verdict: a logistic regression with a whisper of ridge."""
    from scipy.optimize import minimize

    known = [r for r in rows if r["evidence"] is not None]
    x, y = np.array([r["evidence"] for r in known]), np.array([r["right"] for r in known])

    def loss_of(w: np.ndarray) -> float:
        return float(np.mean(np.logaddexp(0, -(2 * y - 1) * (x @ w))) + 1e-4 * np.sum(w[:-1] ** 2))

    return tuple(round(float(w), 2) for w in minimize(loss_of, np.zeros(x.shape[1])).x)


def coordinate_search(start: MatchParameters, names: list[str], loss_of: Callable[[MatchParameters], float],
                      budget: int) -> Iterator[tuple[MatchParameters, float]]:
    """Each better set of constants and its loss, the first being `start`; at most `budget` sets are tried."""
    best, least, tried = start, loss_of(start), 1
    yield best, least
    steps = dict.fromkeys(names, FIRST_STEP)
    while tried < budget and max(steps.values(), default=0.0) >= LEAST_STEP:
        for name in names:
            low, high = MatchParameters.ranges()[name]
            size = steps[name] * (abs(getattr(best, name)) or high - low)
            better = False
            for way in (size, -size):
                value = float(np.clip(getattr(best, name) + way, low, high))
                if tried >= budget or value == getattr(best, name) or better:
                    continue
                trial = replace(best, **{name: float(f"{value:.3g}")})
                now, tried = loss_of(trial), tried + 1
                if now < least:
                    best, least, better = trial, now, True
                    yield best, least
            if not better:
                steps[name] /= 2


def fit(takes: int, seeds: list[int], budget: int, only: list[str]) -> dict:
    """Fit the constants and print them; see the head of the file."""
    names = only or list(MatchParameters.ranges())
    jobs = [(maker, takes, seed) for seed in seeds for maker in MAKERS]
    with ProcessPoolExecutor() as pool:
        heard = [h for part_of in pool.map(heard_takes, jobs) for h in part_of]
        shares = [heard[k::8] for k in range(min(8, len(heard)))]

        def rows_with(params: MatchParameters) -> list[dict]:
            return [row for rows in pool.map(part_with, [(share, params) for share in shares]) for row in rows]

        better = []
        for found in coordinate_search(PARAMETERS, names, lambda p: loss(rows_with(p), p), budget):
            better.append(found)
            print(f"loss {found[1]:.4f}", flush=True)
        best = better[-1][0]
        weights = fit_weights(rows_with(best))
    changed = {n: [getattr(PARAMETERS, n), getattr(best, n)] for n in names if getattr(best, n) != getattr(PARAMETERS, n)}
    for name, (before, after) in changed.items():
        print(f"{name}: {before} before, {after} now")
    return {"takes": len(heard), "loss_before": round(better[0][1], 4), "loss_now": round(better[-1][1], 4), "changed": changed,
            "verdict_weights": weights}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, help="of each maker and seed (150; with --fit 12)")
    parser.add_argument("--seed", type=int, nargs="+", help="98; with --fit 11 to 24")
    parser.add_argument("--maker", nargs="+", default=list(MAKERS), choices=(*MAKERS, "harmonics"))
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--budget", type=int, default=400)
    parser.add_argument("--only", nargs="+", default=[], choices=list(MatchParameters.ranges()), metavar="NAME")
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    if options.fit:
        print(json.dumps(fit(options.takes or 12, options.seed or list(FITTING_SEEDS), options.budget, options.only)))
        return
    jobs = [(maker, options.takes or 150, seed + k) for seed in options.seed or [98] for k, maker in enumerate(options.maker)]
    with ProcessPoolExecutor() as pool:
        rows = [row for rows in pool.map(part, jobs) for row in rows]
    if options.verbose:
        for r in rows:
            if (r["verdict"] == Verdict.WRONG and r["right"]) or (r["verdict"] == Verdict.RIGHT and not r["right"]):
                print(f"{r['verdict']}, truly {r['true']:.2f}: {r['move']} {r['tags']}")
    print(json.dumps(report(rows)))


if __name__ == "__main__":
    main()
