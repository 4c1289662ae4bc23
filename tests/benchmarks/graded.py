"""How the match does on graded singing: `python tests/benchmarks/graded.py DIR`.

DIR holds melodies.json, takes.csv and f0/TAKE.npy, as `../shared/data/graded-singing` does. The last line
printed is one JSON object (keys in DEVELOPERS.md). In the figures "leave_melody_out" the weights of closeness
and its split are fitted anew for each melody on all the others.
"""

from __future__ import annotations

import argparse
import csv
import json
import platform
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from companion.ear.model import PitchTrack
from companion.match import match_take
from companion.tune import LineNote, Pitch

HOP_S = 0.0116099773
GRADERS = ("rater_a1", "rater_b", "rater_a2", "rater_c1", "rater_c2")


def plain_line(midi: list[int]) -> list[LineNote]:
    """Notes of one beat each, for melodies that are given as pitches alone."""
    letters = [("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1),
               ("A", 0), ("B", -1), ("B", 0)]
    return [LineNote(number=i + 1, pitch=Pitch(letters[m % 12][0], m // 12 - 1, letters[m % 12][1]),
                     onset_quarters=Fraction(i), quarters=Fraction(1), syllable="", word_place="", phrase=1,
                     bar=1, rest_after=Fraction(0), sources=()) for i, m in enumerate(midi)]


def track_of(path: Path) -> PitchTrack:
    f0 = np.load(path).astype(float)
    unknown = np.full(len(f0), np.nan)
    return PitchTrack(np.arange(len(f0)) * HOP_S, f0, (f0 > 0).astype(float), unknown, unknown, HOP_S,
                      len(f0) * HOP_S)


def area(scores: np.ndarray, good: np.ndarray) -> float:
    """Area under the ROC curve (Mann-Whitney): chance that a good take scores above another."""
    a, b = scores[good], scores[~good]
    return float((np.sum(a[:, None] > b[None, :]) + 0.5 * np.sum(a[:, None] == b[None, :]))
                 / (len(a) * len(b)))


def best_split(scores: np.ndarray, good: np.ndarray) -> float:
    """The value that parts good from other with fewest errors, midway between its neighbours."""
    order = np.sort(np.unique(scores))
    edges = np.concatenate([[order[0] - 0.01], (order[:-1] + order[1:]) / 2, [order[-1] + 0.01]])
    right = [np.mean((scores >= e) == good) for e in edges]
    best = np.flatnonzero(np.array(right) >= max(right) - 1e-12)
    return float(edges[best[len(best) // 2]])


def fit_logistic(x: np.ndarray, good: np.ndarray, ridge: float = 0.05) -> np.ndarray:
    """Weights and constant of a logistic regression (Newton's method; ridge on standardised features)."""
    mean, scale = x.mean(axis=0), x.std(axis=0) + 1e-9
    z = np.column_stack([(x - mean) / scale, np.ones(len(x))])
    w = np.zeros(z.shape[1])
    penalty = np.diag([2 * ridge * len(x)] * x.shape[1] + [0.0])
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ w))
        gradient = z.T @ (p - good) + penalty @ w
        w -= np.linalg.solve((z * (p * (1 - p))[:, None]).T @ z + penalty + 1e-9 * np.eye(len(w)), gradient)
    raw = w[:-1] / scale
    return np.append(raw, w[-1] - (raw * mean).sum())


def measure(folder: Path, verbose: bool = False, fit: bool = False) -> dict[str, Any]:
    from companion.errors import Trouble
    from companion.match import PARAMETERS, Verdict, closeness_features

    melodies = json.loads((folder / "melodies.json").read_text())
    rows = list(csv.DictReader((folder / "takes.csv").open()))
    counts = dict.fromkeys(Verdict, 0)
    perfect = 0
    scores, majority, jury, melody, rows_of_features = [], [], [], [], []
    for row in rows:
        line = plain_line(melodies[row["melody"]])
        try:
            match = match_take(track_of(folder / "f0" / f"{row['take']}.npy"), line)
            close = match.closeness
        except Trouble:
            match, close = None, 0.0
        graders = [k for k in GRADERS if k in row]
        if all(row[k] in ("4", "4.0") for k in graders):
            perfect += 1
            for m in match.moves if match else ():
                counts[m.verdict] += 1
                if verbose and m.verdict != Verdict.RIGHT:
                    print(row["take"], m)
        scores.append(close)
        rows_of_features.append(closeness_features(match.notes, match.moves, match.explained) if match else
                                closeness_features([], [], 0.0))
        majority.append(float(row["majority"]) if row["majority"] else np.nan)
        jury.append(row["jury"] == "pass")
        melody.append(row["melody"])
    score, grade, passed = np.array(scores), np.array(majority), np.array(jury)
    graded = ~np.isnan(grade)
    good = grade[graded] >= 3
    held_out, held_score = np.zeros(graded.sum(), dtype=bool), np.zeros(graded.sum())
    x = np.array(rows_of_features)[graded]
    names = np.array(melody)[graded]
    for name in set(melody):
        here = names == name
        if here.any():
            weights = fit_logistic(x[~here], good[~here])
            other = x[~here] @ weights[:-1] + weights[-1]
            held_score[here] = x[here] @ weights[:-1] + weights[-1]
            held_out[here] = held_score[here] >= best_split(other, good[~here])
    if fit:
        print("weights and constant:", fit_logistic(x, good).round(3).tolist(),
              "split:", round(best_split(score[graded], good), 3))
    return {
        "perfect_takes": perfect, "perfect_moves": sum(counts.values()),
        "perfect_wrong": counts[Verdict.WRONG], "perfect_not_sure": counts[Verdict.UNSURE],
        "agree_majority": round(float(np.mean((score[graded] >= PARAMETERS.closeness_threshold) == good)), 4),
        "agree_majority_leave_melody_out": round(float(np.mean(held_out == good)), 4),
        "auc_majority_leave_melody_out": round(area(held_score, good), 4),
        "auc_majority": round(area(score[graded], good), 4), "auc_jury": round(area(score, passed), 4),
        "split": PARAMETERS.closeness_threshold, "takes": len(rows),
        "versions": {"python": platform.python_version(), "numpy": np.__version__},
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--verbose", action="store_true", help="name each move that was not called right")
    parser.add_argument("--fit", action="store_true", help="also print weights of closeness made anew")
    arguments = parser.parse_args()
    if not (arguments.folder / "takes.csv").exists():
        sys.exit(f"{arguments.folder} holds no takes.csv; give the folder of graded singing.")
    print(json.dumps(measure(arguments.folder, arguments.verbose, arguments.fit)))


if __name__ == "__main__":
    main()
