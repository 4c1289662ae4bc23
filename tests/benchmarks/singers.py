"""Verdicts on synthesised singers of two makers, whose truth is known.

    python tests/benchmarks/singers.py [--takes 150] [--seed 98] [--fit] [--verbose]

`--takes` of each maker (about 7 moves a take). The seeds 11 to 24 were used for fitting; report on others.
`--fit` prints weights for `companion.match.judge.WEIGHTS` as fitted on these singers. The last line is one
JSON object: shares of all moves, and of those in 10 dB noise; `found`: of the moves truly wrong, those called
"not that way"; `calibration_error`: expected calibration error of `sure` in ten bins over the moves called.
"""

from __future__ import annotations

import argparse
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

from companion.ear.tracker import track  # noqa: E402
from companion.errors import NothingSung  # noqa: E402
from companion.match import Verdict, match_take  # noqa: E402
from companion.match.judge import evidence_row  # noqa: E402
from companion.match.take import place  # noqa: E402
from companion.tune import direction_of  # noqa: E402

MAKERS = ("speech", "formants")


def moves_of(take) -> list[dict]:
    """One row a move whose truth is known."""
    from singers import line_of

    performance, line = take.performance, line_of(take.performance)
    heard = track(take.samples)
    rows = []
    placed = place(heard, line)
    try:
        found = match_take(heard, line)
    except NothingSung:
        found = None
    for i in range(len(line) - 1):
        interval = performance.interval(i)
        if interval is None:
            continue
        wanted = direction_of(line[i + 1].midi - line[i].midi)
        row = {"right": direction_of(interval) == wanted, "true": interval, "noise": bool(performance.tags["noise"]),
               "tags": performance.tags, "verdict": Verdict.UNSURE, "sure": 0.5, "evidence": None}
        if found is not None and placed is not None:
            row["verdict"], row["sure"] = found.moves[i].verdict, found.moves[i].sure
            row["move"] = found.moves[i]
            e = placed.evidence(line, i)
            if e.interval is not None:
                row["evidence"] = evidence_row(e, wanted).tolist()
        rows.append(row)
    return rows


def part(job: tuple[str, int, int]) -> list[dict]:
    maker, takes, seed = job
    from singers import corpus

    return [row for take in corpus(maker, takes, seed) for row in moves_of(take)]


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


def fit(rows: list[dict]) -> list[float]:
    """Weights of a logistic regression with a whisper of ridge."""
    from scipy.optimize import minimize

    known = [r for r in rows if r["evidence"] is not None]
    x, y = np.array([r["evidence"] for r in known]), np.array([r["right"] for r in known])

    def loss(w: np.ndarray) -> float:
        return float(np.mean(np.logaddexp(0, -(2 * y - 1) * (x @ w))) + 1e-4 * np.sum(w[:-1] ** 2))

    return [round(float(w), 2) for w in minimize(loss, np.zeros(x.shape[1])).x]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=150)
    parser.add_argument("--seed", type=int, nargs="+", default=[98])
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    jobs = [(maker, options.takes, seed + k) for seed in options.seed for k, maker in enumerate(MAKERS)]
    with ProcessPoolExecutor() as pool:
        rows = [row for rows in pool.map(part, jobs) for row in rows]
    if options.verbose:
        for r in rows:
            if (r["verdict"] == Verdict.WRONG and r["right"]) or (r["verdict"] == Verdict.RIGHT and not r["right"]):
                print(f"{r['verdict']}, truly {r['true']:.2f}: {r['move']} {r['tags']}")
    if options.fit:
        print("WEIGHTS", fit(rows))
    print(json.dumps(report(rows)))


if __name__ == "__main__":
    main()
