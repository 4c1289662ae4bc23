"""From voice to score on five collections that nothing was counted or fitted on: `python tests/benchmarks/notate_collections.py`.

[--tunes N] [--seed N] [--keep FOLDER] [--fit] [--no-questions]: children's songs and other songs of music21's Essen collection
(those files that were not counted), dances of O'Neill's, Northumbrian tunes, tunes for the fife, and hymns (sopranos of Bach's
chorales), N of each, are sung by the test singers (two of three by formants, the third by resynthesised speech; voices and
conditions as in `notate_tunes.sing`) and written down. By collection and over all:

- pitch, value, value_to_scale: shares of sung notes (a note that was not found is wrong in all);
- metre: the time signature; bars: its family (two-four and four-four are one) and bar lines right at 95 % of the notes; first:
  metre and place of the first note; signature: the key signature;
- bars_unsure: share of bars said to be unsure; errors_held: share of the notes that are wrong (values up to scale) in them;
- scale_wrong, scale_said: takes written twice or half as long, and those of them of which that is said; bar_lines_wrong,
  bar_lines_said: the same of bars; said_needlessly: takes that are right of which either is said;
- clean: takes with at most two slips in 100 notes (a wrong pitch, a value wrong up to scale, a note too many or missing);
  asked: the same figures after at most three questions, answered by the truth; one_question: after one;
- counted_in: with the tempo (2 % off), the number of counts and the downbeat (30 ms off) that counting in gives.

--fit: instead, takes of tunes that were counted are sung, and the constants of `companion.transcribe.doubts` are fitted on them.
--keep: the takes' pitch tracks are kept in a folder. Last line: JSON.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from notate import judge
from notate_counts import kept, tunes_to_count
from notate_metre import tunes_to_read
from notate_tunes import TEST, FolkTune, Sung, sing
from tracked import track

from companion.ear import PitchTrack
from companion.errors import Trouble
from companion.transcribe import (
    Answer,
    DoubtKind,
    Given,
    Notation,
    Question,
    QuestionKind,
    answered,
    bar_question,
    doubts_of,
    notate,
    question,
    settled,
    unsure_bars,
)
from companion.transcribe.doubts import note_features
from companion.transcribe.folk_counts import ticks_of
from companion.transcribe.score import decide, usable_notes, write

MOST_SLIPS = 0.02


@dataclass(frozen=True)
class Made:
    """A take without its samples."""

    collection: str
    folk: FolkTune
    sung: Sung
    track: PitchTrack


def held_out(count: int, keep: Path | None) -> list[tuple[str, FolkTune]]:
    """Tunes of each collection, with its name; the songs of Essen but for the children's are one collection."""
    songs, dances, others = 10 * count, 3 * count, count
    tunes = kept(keep, f"test-{songs}-{dances}-{others}", lambda: tunes_to_read(songs, dances, others))
    by_name: dict[str, list[FolkTune]] = defaultdict(list)
    for name, tune in tunes:
        by_name["children" if name == "kinder0" else "songs" if name in TEST else name].append(tune)
    return [(name, t) for name, some in by_name.items() for t in some[:count]]


def takes_of(tunes: Sequence[tuple[str, FolkTune]], seed: int, speech: bool = True) -> list[Made]:
    out = []
    for k, (collection, folk) in enumerate(tunes):
        sung = sing(folk, k, seed, "speech" if speech and k % 3 == 2 else "formants")
        found = track(sung.samples)
        out.append(Made(collection, folk, Sung(np.zeros(0, dtype=np.float32), sung.performance, sung.condition, sung.voice),
                        found))
        if k % 20 == 19:
            print(f"{k + 1} of {len(tunes)} sung", file=sys.stderr, flush=True)
    return out


def evaluated(made: Made, n: Notation) -> dict[str, Any]:
    """What is right of one score, and which of its notes are wrong."""
    folk = made.folk
    row = judge(folk, made.sung, n.sung, [x.midi for x in n.notes], [float(x.ticks) for x in n.notes])
    line, notes, both = folk.tune.line(), made.sung.performance.notes, row["pairs"]
    wanted = {j: float(line[notes[j].written or 0].quarters * 4) for _, j in both}
    scale = max((1.0, 2.0, 0.5), key=lambda f: sum(n.notes[i].ticks == wanted[j] * f for i, j in both))
    wrong = {j for i, j in both if n.notes[i].ticks != wanted[j] * scale
             or n.notes[i].midi != line[notes[j].written or 0].midi + row["shift"]}
    missing = set(range(len(notes))) - {j for _, j in both}
    bar = ticks_of(folk.tune.time.quarters)
    at = np.array([folk.place + int(line[notes[j].written or 0].onset_quarters * 4) for _, j in both])
    here = (n.place + np.concatenate([[0], np.cumsum([x.length for x in n.notes])]))[[i for i, _ in both]]
    duple = {"2/4", "4/4"}
    family = n.time.name == folk.metre or {n.time.name, folk.metre} == duple
    bars = (8, 8) if family and n.time.name != folk.metre else (bar, n.bar_ticks)
    exact = n.time.name == folk.metre
    return {**row, "wrong_to_scale": wrong, "missed": missing, "scale": scale,
            "metre": exact, "bars": bool(family and np.mean((at % bars[0] == 0) == (here % bars[1] == 0)) >= 0.95),
            "first": bool(exact and n.place == folk.place), "signature": n.key.fifths == folk.key(row["shift"]).fifths,
            "slips": (len(wrong) + len(missing) + row["extra"]) / len(notes)}


def bar_of(n: Notation, row: dict[str, Any], j: int) -> int | None:
    """The bar in which sung note j stands; of one that was not found, that of its neighbour."""
    where = {k: n.bars[i] for i, k in row["pairs"]}
    near = sorted(where, key=lambda k: abs(k - j))
    return where[near[0]] if near else None


def doubted(n: Notation, row: dict[str, Any]) -> dict[str, float]:
    """Counts of bars, of unsure ones, of wrong notes and of those in unsure bars; and what is said of the whole."""
    unsure = set(unsure_bars(n))
    amiss = row["wrong_to_scale"] | row["missed"]
    kinds = {d.kind for d in doubts_of(n) if not d.bar}
    scale_said = bool(kinds & {DoubtKind.SLOW, DoubtKind.QUICK})
    lines_said = bool(kinds & {DoubtKind.TIME, DoubtKind.BEGINS_BAR, DoubtKind.PICKUP})
    scale_wrong, lines_wrong = row["scale"] != 1.0, not row["bars"]
    return {"all_bars": len(set(n.bars)), "unsure": len(unsure), "amiss": len(amiss),
            "held": sum(bar_of(n, row, j) in unsure for j in amiss), "scale_wrong": scale_wrong,
            "scale_said": scale_wrong and scale_said, "lines_wrong": lines_wrong, "lines_said": lines_wrong and lines_said,
            "right": not scale_wrong and not lines_wrong,
            "needless": not scale_wrong and not lines_wrong and (scale_said or lines_said)}


def truth_answers(made: Made, now: Question) -> Answer:
    """What somebody who knows the tune would answer."""
    if now.kind is QuestionKind.GAIT:
        return {"2/4": Answer.MARCH, "4/4": Answer.MARCH, "3/4": Answer.WALTZ, "6/8": Answer.ROCK}[made.folk.metre]
    if now.kind is QuestionKind.BEATS:
        return {"2/4": Answer.TWO, "4/4": Answer.FOUR}.get(made.folk.metre, Answer.UNKNOWN)
    return Answer.BEFORE if made.folk.place else Answer.STRONG


def after_questions(made: Made, n: Notation, most: int) -> tuple[Notation, int]:
    """The score after questions answered by the truth, and how many there were."""
    kinds: tuple[QuestionKind, ...] = ()
    while len(kinds) < most and (now := question(n, kinds)) is not None:
        kinds = (*kinds, now.kind)
        n = answered(n, truth_answers(made, now))
    bars: list[int] = []
    while len(kinds) + len(bars) < most and (about := bar_question(n, bars)) is not None:
        bars.append(about.bar)
        n = settled(n, about, evaluated(made, about.other)["slips"] < evaluated(made, n)["slips"])
    return n, len(kinds) + len(bars)


def counted_in(made: Made, rng: np.random.Generator) -> Given:
    """What counting in gives: tempo, number of counts (six for 6/8 in quavers, or two), and when the bar begins."""
    folk, notes = made.folk, made.sung.performance.notes
    line = folk.tune.line()
    seconds = notes[-1].onset_s - notes[0].onset_s
    quarters = float(line[notes[-1].written or 0].onset_quarters - line[notes[0].written or 0].onset_quarters)
    beat_s = seconds / quarters * float(folk.tune.time.beat) * (1 + rng.normal(0, 0.02))
    counts = {"2/4": 2, "3/4": 3, "4/4": 4, "6/8": 2}[folk.metre]
    bar_s = beat_s * float(folk.tune.time.quarters / folk.tune.time.beat)
    before = folk.place / ticks_of(folk.tune.time.quarters) * bar_s
    return Given(bpm=60 / beat_s, counted_in=counts, downbeat_s=notes[0].onset_s - before + rng.normal(0, 0.03))


def written(pitch: PitchTrack, given: Given) -> Notation:
    """The score with what counting in has given; the counts themselves are not in the track."""
    notes, doubtful, _ = usable_notes(pitch)
    found = write(notes, "x", given)
    return write(decide(found, doubtful), "x", given)


def summed(rows: list[dict[str, Any]], doubts: list[dict[str, float]]) -> dict[str, float]:
    notes = sum(r["notes"] for r in rows)
    out: dict[str, float] = {"takes": len(rows), "notes": notes}
    for k in ("pitch", "value", "value_to_scale"):
        out[k] = sum(r[k] for r in rows) / notes
    for k in ("metre", "bars", "first", "signature"):
        out[k] = float(np.mean([r[k] for r in rows]))
    out["clean"] = float(np.mean([r["slips"] <= MOST_SLIPS for r in rows]))
    if doubts:
        total = {k: sum(d[k] for d in doubts) for k in doubts[0]}
        out |= {"bars_unsure": total["unsure"] / total["all_bars"], "errors_held": total["held"] / max(1, total["amiss"]),
                "scale_wrong": total["scale_wrong"], "scale_said": total["scale_said"],
                "bar_lines_wrong": total["lines_wrong"], "bar_lines_said": total["lines_said"],
                "said_needlessly": total["needless"] / max(1, total["right"])}
    return {k: round(v, 3) for k, v in out.items()}


def fitted(takes: Sequence[Made], penalty: float = 1.0) -> dict[str, Any]:
    """Constants of `companion.transcribe.doubts` by a logistic regression on notes, and what bars they then doubt."""
    from scipy.optimize import minimize

    tables, truths, bars = [], [], []
    for made in takes:
        try:
            n = notate(made.track, "x")
        except Trouble:
            continue
        row = evaluated(made, n)
        found = dict(row["pairs"])
        tables.append(np.array([note_features(n, i) for i in range(len(n.notes))]))
        beside = {min(found, key=lambda i: abs(found[i] - j)) for j in row["missed"]} if found else set()
        truths.append(np.array([i not in found or found[i] in row["wrong_to_scale"] or i in beside
                                for i in range(len(n.notes))], dtype=float))
        bars.append(np.array(n.bars))
    table, truth = np.concatenate(tables), np.concatenate(truths)
    spread = table.std(axis=0) + (table.std(axis=0) == 0)

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        z = table / spread @ w
        p = 1 / (1 + np.exp(-z))
        return (float(np.sum(np.logaddexp(0, z) - truth * z) + penalty / 2 * w[1:] @ w[1:]),
                (p - truth) @ (table / spread) + penalty * np.concatenate([[0.0], w[1:]]))

    w = minimize(loss, np.zeros(table.shape[1]), jac=True, method="L-BFGS-B").x / spread
    chances = [1 / (1 + np.exp(-t @ w)) for t in tables]
    by_bar = [(1 - np.prod(1 - p[b == k]), float(y[b == k].sum())) for p, b, y in zip(chances, bars, truths, strict=True)
              for k in dict.fromkeys(b.tolist())]
    order = sorted(by_bar, reverse=True)
    share = {f"{q}": round(sum(e for _, e in order[:int(q * len(order))]) / max(1.0, truth.sum()), 3)
             for q in (0.1, 0.15, 0.2, 0.25, 0.3)}
    return {"takes": len(tables), "odds": [round(float(x), 3) for x in w], "wrong": round(float(truth.mean()), 4),
            "errors_in_unsurest_bars": share,
            "threshold": {f"{q}": round(float(order[int(q * len(order))][0]), 4) for q in (0.2, 0.22, 0.25)}}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--tunes", type=int, default=30, metavar="N", help="of each collection, at most (30)")
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--keep", type=Path, metavar="FOLDER")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--no-questions", action="store_true")
    arguments = parser.parse_args()
    if arguments.fit:
        def to_fit() -> list[tuple[str, FolkTune]]:
            songs, dances = tunes_to_count(arguments.keep)
            return [*(("songs", t) for t in songs[-3 * arguments.tunes:]), *(("dances", t) for t in dances[-arguments.tunes:])]

        takes = kept(arguments.keep, f"fit-takes-{arguments.tunes}", lambda: takes_of(to_fit(), 29))
        print(json.dumps(fitted(takes)))
        return
    takes = kept(arguments.keep, f"takes-{arguments.tunes}-{arguments.seed}",
                 lambda: takes_of(held_out(arguments.tunes, arguments.keep), arguments.seed))
    print(json.dumps(report(takes, not arguments.no_questions)))


def report(takes: Sequence[Made], questions: bool) -> dict[str, Any]:
    """By collection and over all."""
    rows: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    refused = 0
    for k, made in enumerate(takes):
        try:
            n = notate(made.track, made.folk.tune.title)
        except Trouble:
            refused += 1
            continue
        row = evaluated(made, n)
        for name in (made.collection, "all"):
            rows[name]["alone"].append(row)
            rows[name]["doubts"].append(doubted(n, row))
        if questions:
            one, _ = after_questions(made, n, 1)
            three, count = after_questions(made, n, 3)
            counted = written(made.track, counted_in(made, np.random.default_rng([41, k])))
            for name in (made.collection, "all"):
                rows[name]["one_question"].append(evaluated(made, one))
                rows[name]["asked"].append(evaluated(made, three))
                rows[name]["count"].append(count)
                rows[name]["counted_in"].append(evaluated(made, counted))
        if k % 20 == 19:
            print(f"{k + 1} of {len(takes)}", file=sys.stderr, flush=True)
    out: dict[str, Any] = {"refused": refused}
    for name, some in rows.items():
        out[name] = summed(some["alone"], some["doubts"])
        if questions:
            out[name] |= {kind: summed(some[kind], []) for kind in ("one_question", "asked", "counted_in")}
            out[name]["questions_a_take"] = round(float(np.mean(some["count"])), 2)
    return out


if __name__ == "__main__":
    main()
