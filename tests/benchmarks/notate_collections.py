"""From voice to score on five collections that nothing was counted or fitted on: `python tests/benchmarks/notate_collections.py`.

[--tunes N] [--takes N] [--seed N] [--keep FOLDER] [--resume NAME] [--questions N] [--fit]: children's songs and other songs
of music21's Essen collection (those files that were not counted), dances of O'Neill's, Northumbrian tunes, tunes for the fife,
and hymns (sopranos of Bach's chorales), N of each, are sung by the test singers of MAKERS in turn (voices and conditions as in
`notate_tunes.sing`) and written down. By collection, by maker, by condition and over all:

- pitch, value, value_to_scale: shares of sung notes (a note that was not found is wrong in all);
- metre: the time signature; bars: its family (two-four and four-four are one) and bar lines right at 95 % of the notes; first:
  metre and place of the first note; signature: the key signature;
- bars_unsure: share of bars said to be unsure; errors_held: share of the notes that are wrong (values up to scale) in them;
- scale_wrong, scale_said: takes written twice or half as long, and those of them of which that is said; bar_lines_wrong,
  bar_lines_said: the same of bars; said_needlessly: takes that are right of which either is said;
- clean: takes with at most two slips in 100 notes (a wrong pitch, a value wrong up to scale, a note too many or missing);
  slips: what these are, in the takes that have more; asked: the same figures after at most three questions (--questions),
  answered by the truth; one_question: after one; questions_a_take: how many were asked;
- counted_in: with the tempo (2 % off), the number of counts and the downbeat (30 ms off) that counting in gives.

--fit: instead, takes of tunes that were counted are sung, and the constants of `companion.transcribe.doubts` are fitted on them.
--keep: the takes' pitch tracks are kept in a folder, a portion at a time; with --resume NAME what was judged is kept too, and
a run that was stopped goes on. Last line: JSON.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
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
    MOST_QUESTIONS,
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
MAKERS = ("formants", "harmonics", "speech")  # in turn; nothing is fitted on the second
PORTION = 20  # takes that are kept together
COLLECTIONS = 6


@dataclass(frozen=True)
class Made:
    """A take without its samples."""

    collection: str
    folk: FolkTune
    sung: Sung
    track: PitchTrack
    maker: str = ""


def held_out(count: int, keep: Path | None) -> list[tuple[str, FolkTune]]:
    """Tunes of each collection in turn, with its name; the songs of Essen but for the children's are one collection."""
    songs, dances, others = 10 * count, 3 * count, count
    tunes = kept(keep, f"test-{songs}-{dances}-{others}", lambda: tunes_to_read(songs, dances, others))
    by_name: dict[str, list[FolkTune]] = defaultdict(list)
    for name, tune in tunes:
        by_name["children" if name == "kinder0" else "songs" if name in TEST else name].append(tune)
    return [(name, some[i]) for i in range(count) for name, some in by_name.items() if i < len(some)]


def takes_of(tunes: Sequence[tuple[str, FolkTune]], seed: int, first: int = 0,
             makers: Sequence[str] = MAKERS) -> list[Made]:
    """The tunes sung. first: number of the first of them in its set, which decides who sings and how."""
    out = []
    for k, (collection, folk) in enumerate(tunes, first):
        maker = makers[(k + k // COLLECTIONS) % len(makers)]  # so that each collection is sung by all of them
        sung = sing(folk, k, seed, maker)
        out.append(Made(collection, folk, Sung(np.zeros(0, dtype=np.float32), sung.performance, sung.condition, sung.voice),
                        track(sung.samples), maker))
    return out


class SlipKind(StrEnum):
    """What is amiss at a note. BESIDE: a value that is wrong beside a note too many or missing."""

    OCTAVE = "octave"
    SEMITONE = "semitone"
    OTHER_PITCH = "other pitch"
    MISSING_REPEATED = "missing, repeated"
    MISSING = "missing"
    EXTRA = "extra"
    REST = "rest"
    VALUE = "value"
    BESIDE = "value beside a note too many or missing"


def slip_kinds(made: Made, n: Notation, row: dict[str, Any]) -> Counter[SlipKind]:
    """How many slips of each kind there are; a note with a wrong pitch and a wrong value counts in both."""
    line, notes, out = made.folk.tune.line(), made.sung.performance.notes, Counter[SlipKind]()
    found = dict(row["pairs"])
    beside = {j + d for j in row["missed"] for d in (-1, 1)}
    beside |= {found[i + d] for i in range(len(n.notes)) if i not in found for d in (-1, 1) if i + d in found}
    out[SlipKind.EXTRA] = len(n.notes) - len(found)
    for j in row["missed"]:
        repeated = j > 0 and line[notes[j].written or 0].midi == line[notes[j - 1].written or 0].midi
        out[SlipKind.MISSING_REPEATED if repeated else SlipKind.MISSING] += 1
    for i, j in found.items():
        written, true = n.notes[i], line[notes[j].written or 0]
        off = abs(written.midi - true.midi - row["shift"])
        if off:
            out[SlipKind.SEMITONE if off == 1 else SlipKind.OCTAVE if off == 12 else SlipKind.OTHER_PITCH] += 1
        if written.ticks != float(true.quarters * 4) * row["scale"]:
            same = written.length == float((true.quarters + true.rest_after) * 4) * row["scale"]
            out[SlipKind.BESIDE if j in beside else SlipKind.REST if same else SlipKind.VALUE] += 1
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
            "slips": (len(wrong) + len(missing) + row["extra"]) / len(notes), "sure": n.time_estimate.confidence}


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
        slips = [evaluated(made, version)["slips"] for version in (n, *about.others)]
        n = settled(n, about, int(np.argmin(slips)) + 1)
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


def summed(rows: list[dict[str, Any]], doubts: list[dict[str, float]]) -> dict[str, Any]:
    """Means over takes, and shares of notes."""
    notes = sum(r["notes"] for r in rows)
    out: dict[str, float] = {"takes": len(rows), "notes": notes}
    for k in ("pitch", "value", "value_to_scale"):
        out[k] = sum(r[k] for r in rows) / notes
    for k in ("metre", "bars", "first", "signature"):
        out[k] = float(np.mean([r[k] for r in rows]))
    out["clean"] = float(np.mean([r["slips"] <= MOST_SLIPS for r in rows]))
    kinds = sum((r["kinds"] for r in rows if r["slips"] > MOST_SLIPS), Counter[SlipKind]())
    slips: dict[str, Any] = {kind.value: count for kind, count in kinds.most_common()}
    if doubts:
        total = {k: sum(d[k] for d in doubts) for k in doubts[0]}
        out |= {"bars_unsure": total["unsure"] / total["all_bars"], "errors_held": total["held"] / max(1, total["amiss"]),
                "scale_wrong": total["scale_wrong"], "scale_said": total["scale_said"],
                "bar_lines_wrong": total["lines_wrong"], "bar_lines_said": total["lines_said"],
                "said_needlessly": total["needless"] / max(1, total["right"])}
    return {**{k: round(v, 3) for k, v in out.items()}, "slips": slips}


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
    parser.add_argument("--resume", metavar="NAME", help="what was judged is kept under this name in the folder of --keep")
    parser.add_argument("--takes", type=int, metavar="N", help="only so many takes, all collections in turn (all)")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--questions", type=int, default=MOST_QUESTIONS, metavar="N", help="at most so many (3); 0: none")
    arguments = parser.parse_args()
    if arguments.fit:
        songs, dances = tunes_to_count(arguments.keep)
        tunes = [*(("songs", t) for t in songs[-3 * arguments.tunes:]), *(("dances", t) for t in dances[-arguments.tunes:])]
        name, seed, makers = f"fit-takes-{arguments.tunes}", 29, ("formants", "formants", "speech")
    else:
        tunes, seed, makers = held_out(arguments.tunes, arguments.keep)[:arguments.takes], arguments.seed, MAKERS
        name = f"takes-{arguments.tunes}-{arguments.seed}"
    if arguments.fit:
        print(json.dumps(fitted([m for some in portions(tunes, seed, makers, arguments, name) for m in some])))
        return
    judged: list[dict[str, Any]] = []
    for p, takes in enumerate(portions(tunes, seed, makers, arguments, name)):
        rows = partial(lambda some: [judge_take(made, arguments.questions) for made in some], takes)
        judged += kept(arguments.keep, f"rows-{arguments.resume}-{p}", rows) if arguments.resume else rows()
        print(f"{len(judged)} judged", file=sys.stderr, flush=True)
    print(json.dumps(report(judged)))


def portions(tunes: Sequence[tuple[str, FolkTune]], seed: int, makers: Sequence[str], arguments: argparse.Namespace,
             name: str) -> Iterator[list[Made]]:
    """Takes, PORTION at a time, each sung when it is asked for, unless it is kept."""
    for first in range(0, len(tunes), PORTION):
        sing_some = partial(takes_of, tunes[first:first + PORTION], seed, first, makers)
        yield kept(arguments.keep, f"{name}-{first // PORTION}", sing_some)


def judge_take(made: Made, questions: int) -> dict[str, Any]:
    """One take: alone, its doubts, after questions and counted in; only whose it is where it is refused."""
    out: dict[str, Any] = {"names": (made.collection, made.maker, made.sung.condition, made.sung.voice, "all")}
    try:
        n = notate(made.track, made.folk.tune.title)
    except Trouble:
        return out
    out["alone"] = with_kinds(made, n)
    out["doubts"] = doubted(n, out["alone"])
    if questions:
        one, _ = after_questions(made, n, 1)
        most, out["count"] = after_questions(made, n, questions)
        counted = written(made.track, counted_in(made, np.random.default_rng([41, len(n.notes)])))
        out |= {"one_question": with_kinds(made, one), "asked": with_kinds(made, most),
                "counted_in": with_kinds(made, counted)}
    return out


def with_kinds(made: Made, n: Notation) -> dict[str, Any]:
    """`evaluated`, and what the slips are."""
    row = evaluated(made, n)
    return {**row, "kinds": slip_kinds(made, n, row)}


def report(judged: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """By collection, maker, condition and voice, and over all."""
    out: dict[str, Any] = {"refused": sum("alone" not in x for x in judged)}
    rows = [x for x in judged if "alone" in x]
    for name in dict.fromkeys(name for x in rows for name in x["names"]):
        some = [x for x in rows if name in x["names"]]
        out[name] = summed([x["alone"] for x in some], [x["doubts"] for x in some])
        if "asked" in some[0]:
            out[name] |= {kind: summed([x[kind] for x in some], []) for kind in ("one_question", "asked", "counted_in")}
            out[name]["questions_a_take"] = round(float(np.mean([x["count"] for x in some])), 2)
    return out


if __name__ == "__main__":
    main()
