"""Takes as people make them: with talk, other lines, false starts, early stops, or of another tune altogether.

    python tests/benchmarks/everyday.py [--takes 20] [--seed 71] [--set report] [--kind "talk before"] [--maker harmonics]
        [--notes 4 4] [--other-notes 4 4] [--data DIR]

`--takes` of each kind and of each maker of singers. `--set fit` draws its tunes from the folk files that the
project's constants may be fitted on, `report` and `last` from others; all three sing shipped tunes too. Two makers sing
unless `--maker` names others; nothing was ever fitted on the third, "harmonics". `--notes` is how many notes a line has at
least and at most, `--other-notes` how many another tune that is sung instead of it. The
finder was fitted on seeds 41 to 49 of the set `fit`, the odds that the line is there on 41 and on `singers.py`'s 11
to 14. Pitch tracks are kept in a folder for temporary files.
The last line is one JSON object: for each kind `moves` (those truly right), `false_wrong` and `not_sure` of them,
`truly_wrong` moves and how many were `found`; for takes that do not hold the line `judged` (at least one move
called) and `said` (told to be no take of this tune) of `takes`; for those that do, `told_absent`. Real recordings, where there
are any (`--data`, a folder with `song` and `talk`): the whole song against its score, each phrase looked for in
the whole recording, each piece of talk against several tunes.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
import pickle
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "benchmarks")]

from singers import LineItem  # noqa: E402
from singers.mixtures import NOTES, WITHOUT, Kind, Mixture, Phrases, mixture  # noqa: E402

from companion.ear import PitchTrack, Sound, hear_pitch, track  # noqa: E402
from companion.errors import NothingSung  # noqa: E402
from companion.match import Match, Verdict, match_phrase, match_take  # noqa: E402
from companion.tune import Key, LineNote, catalogue, direction_of, load, spell  # noqa: E402

MAKERS = ("formants", "speech")
ALL_MAKERS = (*MAKERS, "harmonics")
SETS = ("fit", "report", "last")
FOLK = 60  # folk tunes a set
DATA = next((p / "shared" / "data" for p in ROOT.parents if (p / "shared" / "data").is_dir()), ROOT / "data")
TALK_TUNES = ("snail-wall", "tick-tock", "heron", "march-home")


def _kept() -> Path:
    folder = Path(tempfile.gettempdir()) / "companion-everyday"
    folder.mkdir(exist_ok=True)
    return folder


@cache
def _version() -> str:
    """Changes with what makes the takes and what tracks them, so that nothing old is taken from the folder."""
    code = [*sorted((ROOT / "tests" / "singers").glob("*.py")), ROOT / "tests" / "other_sounds.py",
            *(ROOT / "companion" / "ear" / f"{name}.py" for name in ("tracker", "pyin"))]
    return hashlib.sha256(b"".join(p.read_bytes() for p in code)).hexdigest()[:12]


def _phrases(line: Sequence[LineNote]) -> Phrases:
    out: dict[int, list[LineItem]] = defaultdict(list)
    for n in line:
        out[n.phrase].append(LineItem(n.midi, float(n.quarters), "la", float(n.rest_after)))
    return tuple(tuple(p) for p in out.values())


@cache
def tunes(which: str) -> tuple[Phrases, ...]:
    """The tunes of a set: those that ship, and folk tunes that no other set has."""
    path = _kept() / f"tunes-{which}.pickle"
    if path.exists():
        return tuple(pickle.loads(path.read_bytes()))
    from notate_tunes import folk_tunes

    found = folk_tunes(test=which != "fit")
    for _ in range(FOLK if which == "last" else 0):
        next(found)
    out = [_phrases(next(found).tune.line()) for _ in range(FOLK)]
    out += [_phrases(load(entry.name).line()) for entry in catalogue()]
    path.write_bytes(pickle.dumps(out))
    return tuple(out)


def tracked(kind: Kind, maker: str, which: str, seed: int, number: int, notes: tuple[int, int] = NOTES,
            other_notes: tuple[int, int] = NOTES) -> tuple[Mixture, PitchTrack]:
    """A mixture (without its samples) and its pitch track, from the folder where it is there."""
    counts = "" if notes == other_notes == NOTES else "-" + "-".join(map(str, (*notes, *other_notes)))
    name = f"{_version()}-{which}-{maker}-{kind.replace(' ', '_').replace(',', '')}-{seed}-{number}{counts}.pickle"
    path = _kept() / name
    if path.exists():
        mix, pitch = pickle.loads(path.read_bytes())
        return mix, pitch
    mix = mixture(kind, maker, tunes(which), seed, number, notes, other_notes)
    pitch = track(Sound(mix.samples, 22050))
    mix = replace(mix, samples=np.zeros(0, dtype=np.float32))
    path.write_bytes(pickle.dumps((mix, pitch)))
    return mix, pitch


def kind_of_match(match: Match | None) -> str:
    """What the answer is, as the contract has it; "nothing sung" where there is none."""
    return "nothing sung" if match is None else str(getattr(match, "kind", ""))


def judged(pitch: PitchTrack, line: Sequence[LineNote], whole: Sequence[LineNote] = ()) -> Match | None:
    """As `hear` does it; whole: the tune of which the line is a phrase, as with `hear --phrase`."""
    try:
        return match_phrase(pitch, whole, line) if whole else match_take(pitch, line)
    except NothingSung:
        return None


def row(mix: Mixture, match: Match | None) -> dict[str, Any]:
    """Counts of one take."""
    out: dict[str, Any] = {"kind": mix.kind, "sound": mix.sound, "maker": mix.maker, "answer": kind_of_match(match)}
    moves = [] if match is None else list(match.moves)
    called = [m for m in moves if m.verdict != Verdict.UNSURE]
    out["absent"] = match is None or out["answer"] in ("another tune", "nothing sung")
    out["any_wrong"] = sum(m.verdict == Verdict.WRONG for m in moves)
    out["judged"] = bool(called)
    counts = dict.fromkeys(("moves", "false_wrong", "not_sure", "truly_wrong", "found", "wrong_right", "unsung_wrong"), 0)
    for i in range(len(mix.line) - 1):
        interval = mix.interval(i)
        verdict = moves[i].verdict if moves else Verdict.UNSURE
        if interval is None:
            counts["unsung_wrong"] += verdict == Verdict.WRONG
            continue
        if direction_of(interval) == direction_of(mix.line[i + 1].midi - mix.line[i].midi):
            counts["moves"] += 1
            counts["false_wrong"] += verdict == Verdict.WRONG
            counts["not_sure"] += verdict == Verdict.UNSURE
        else:
            counts["truly_wrong"] += 1
            counts["found"] += verdict == Verdict.WRONG
            counts["wrong_right"] += verdict == Verdict.RIGHT
    out |= counts
    if mix.stopped_after is not None and match is not None:
        last = max((i + 1 for i, n in enumerate(match.notes) if n.sung), default=0)
        out["stop_within_one"] = out["answer"] == "stopped early" and abs(last - mix.stopped_after) <= 1
        # A wrong move is said before the stop: there the answer is another one, and right.
        out["stop_within_one"] |= abs(last - mix.stopped_after) <= 1 and counts["truly_wrong"] > 0 and not out["absent"]
    return out


def part(job: tuple[Kind, str, str, int, range, tuple[int, int], tuple[int, int]]) -> list[dict[str, Any]]:
    kind, maker, which, seed, numbers, notes, other_notes = job
    rows = []
    for number in numbers:
        mix, pitch = tracked(kind, maker, which, seed, number, notes, other_notes)
        rows.append(row(mix, judged(pitch, mix.line, mix.whole)) | {"seed": seed, "number": number})
    return rows


def report(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Sums by kind, and shares over the kinds of the bars."""
    out: dict[str, Any] = {}
    for kind in Kind:
        mine = [r for r in rows if r["kind"] == kind]
        if mine:
            out[kind] = _sums(mine, kind)
    mixed = [r for r in rows if r["kind"] not in (*WITHOUT, Kind.PLAIN, Kind.INSIDE, Kind.RESTART, Kind.LATE)]
    for name, some in (("mixed", mixed), ("plain_clear", [r for r in rows if r["kind"] == Kind.PLAIN])):
        for sound in ("", "clear", "room", "noise"):
            these = [r for r in some if sound in ("", r["sound"])]
            total = sum(r["moves"] for r in these)
            if total and (name == "mixed" or not sound):
                out[f"{name} {sound}".strip()] = {
                    "moves": total, **{k: round(sum(r[k] for r in these) / total, 4) for k in ("false_wrong", "not_sure")}}
    return out


def _sums(mine: list[dict[str, Any]], kind: Kind) -> dict[str, Any]:
    out: dict[str, Any] = {"takes": len(mine)}
    if kind in WITHOUT:
        return out | {"judged": sum(r["judged"] for r in mine), "said": sum(r["absent"] for r in mine),
                      "with_not_that_way": sum(r["any_wrong"] > 0 for r in mine)}
    for k in ("moves", "false_wrong", "not_sure", "truly_wrong", "found", "wrong_right", "unsung_wrong"):
        out[k] = sum(r[k] for r in mine)
    out["told_absent"] = sum(r["absent"] for r in mine)
    if kind == Kind.STOPPED:
        out["stop_within_one"] = sum(bool(r.get("stop_within_one")) for r in mine)
    return out


# Real recordings.


def song_line(path: Path) -> tuple[LineNote, ...]:
    """The written notes of `song.notes.csv` form; a rest ends a phrase."""
    out: list[LineNote] = []
    now, phrase = Fraction(0), 1
    with path.open(encoding="utf-8") as file:
        for r in csv.DictReader(file):
            quarters = Fraction(r["quarters"]).limit_denominator(48)
            if not r["midi"]:
                if out:
                    out[-1] = replace(out[-1], rest_after=out[-1].rest_after + quarters)
                    phrase += 1
            else:
                out.append(LineNote(number=len(out) + 1, pitch=spell(int(float(r["midi"])), Key()), onset_quarters=now,
                                    quarters=quarters, syllable="", word_place="", phrase=phrase, bar=1,
                                    rest_after=Fraction(0), sources=()))
            now += quarters
    return tuple(out)


def real(folder: Path) -> dict[str, Any]:
    """Real recordings: all that is sung in them is right, none of the talk is singing."""
    out: dict[str, Any] = {}
    for path in sorted((folder / "song").glob("*.notes.csv")):
        line, pitch = song_line(path), _track_of(path.with_name(path.name.replace(".notes.csv", ".flac")))
        whole = judged(pitch, line)
        out[f"{path.name}: whole"] = _verdicts([whole], [line])
        phrases = [tuple(n for n in line if n.phrase == p) for p in sorted({n.phrase for n in line})]
        out[f"{path.name}: phrases"] = _verdicts([judged(pitch, p, line) for p in phrases], phrases)
        out[f"{path.name}: phrases by themselves"] = _verdicts([judged(pitch, p) for p in phrases], phrases)
    clips = sorted((folder / "talk").glob("*.flac"))
    pairs = [judged(_track_of(clip), load(name).line()) for clip in clips for name in TALK_TUNES]
    if pairs:
        out["real talk"] = {
            "takes": len(pairs),
            "judged": sum(m is not None and any(x.verdict != Verdict.UNSURE for x in m.moves) for m in pairs),
            "said": sum(kind_of_match(m) in ("another tune", "nothing sung") for m in pairs),
            "with_not_that_way": sum(m is not None and any(x.verdict == Verdict.WRONG for x in m.moves) for m in pairs)}
    return out


def _track_of(path: Path) -> PitchTrack:
    kept = _kept() / f"{_version()}-{hashlib.sha256(path.read_bytes()).hexdigest()[:16]}.pickle"
    if not kept.exists():
        kept.write_bytes(pickle.dumps(hear_pitch(path)))
    found: PitchTrack = pickle.loads(kept.read_bytes())
    return found


def _verdicts(found: list[Match | None], lines: Sequence[Sequence[LineNote]]) -> dict[str, int]:
    moves = [m.verdict for match in found if match is not None for m in match.moves]
    total = sum(len(line) - 1 for line in lines)
    wrong = moves.count(Verdict.WRONG)
    return {"moves": total, "false_wrong": wrong, "not_sure": total - wrong - moves.count(Verdict.RIGHT)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=20)
    parser.add_argument("--seed", type=int, nargs="+", default=[71])
    parser.add_argument("--set", choices=SETS, default="report")
    parser.add_argument("--kind", choices=[str(k) for k in Kind], action="append")
    parser.add_argument("--maker", nargs="+", default=list(MAKERS), choices=ALL_MAKERS)
    parser.add_argument("--notes", type=int, nargs=2, default=NOTES)
    parser.add_argument("--other-notes", type=int, nargs=2, default=NOTES)
    parser.add_argument("--data", type=Path, default=DATA)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--verbose", action="store_true", help="name each take in which something is amiss")
    options = parser.parse_args()
    kinds = [Kind(k) for k in options.kind] if options.kind else list(Kind)
    tunes(options.set)
    counts = tuple(options.notes), tuple(options.other_notes)
    jobs = [(kind, maker, options.set, seed, range(a, min(a + 10, options.takes)), *counts)
            for seed in options.seed for kind in kinds for maker in options.maker for a in range(0, options.takes, 10)]
    with ProcessPoolExecutor(options.jobs) as pool:
        rows = [r for some in pool.map(part, jobs) for r in some]
    if options.verbose:
        for r in rows:
            without = r["kind"] in WITHOUT
            if r["judged"] if without else r["false_wrong"] or r["absent"] or r["unsung_wrong"] or 3 * r["not_sure"] > r["moves"]:
                print({k: str(v) if k in ("kind", "sound") else v for k, v in r.items()})
    out = report(rows)
    if not options.kind and options.data.exists():
        out |= real(options.data)
    for name, values in out.items():
        print(f"{name}: {json.dumps(values)}")
    print(json.dumps(out))


if __name__ == "__main__":
    main()
