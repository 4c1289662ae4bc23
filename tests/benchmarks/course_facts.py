"""What the course states against a second source: music21.braille's tables and its transcriber.

    python tests/benchmarks/course_facts.py [--bars 20] [--sittings 5] [--seed 1]

facts: every fact that a stage drills, places in its texts, or that can be named at all, whose cells music21 has in a table,
and how many equal it. bars: new bars of every stage that is written with bars and values, each compared with what
music21.braille writes for the same notes; those that differ by the rule that decides (see tests/braille/corpus.py).
questions: of every drill of every stage, how many were made, and how many take their own right answer for right. sheets:
cells on the pupil's sheets of all stages, and how many of them the decoder reads without a problem. The last line is
one JSON object.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:1] = [str(ROOT), str(ROOT / "tests")]  # not our own folder, where a file has the name of the tests

from braille import corpus  # noqa: E402

from companion.braille import FINAL_BAR, decode  # noqa: E402
from companion.course import (  # noqa: E402
    SIGNS,
    Fact,
    FactKind,
    Progress,
    Stage,
    Wanted,
    Wants,
    check,
    fact,
    fresh_group,
    new_steps,
    stages,
    taught,
)
from companion.language import English  # noqa: E402
from companion.match import Verdict  # noqa: E402
from companion.tune import STEPS, save  # noqa: E402

VALUES = {Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter", Fraction(1, 2): "eighth", Fraction(1, 4): "16th"}
#: Names of the course and of music21's tables.
SYMBOLS = {"dot": "dot", "tie": "tie", "slur": "opening_single_slur", "word sign": "word", "triplet": "triplet",
           "number sign": "number", "bar repeated": "repeat", "music hyphen": "music_hyphen",
           "long slur begins": "opening_bracket_slur", "long slur ends": "closing_bracket_slur"}
#: The repeats of music21.braille.symbols are those of bars alone, and it has no hairpins, no breath mark and no segno in its
#: output: it leaves a segno out, and the octave mark that the note after one always has.
NOT_WRITTEN = {"segno", "repeat from here", "repeat to here", "ending", "bar repeated", "getting louder", "louder ends",
               "breath mark"}
NUMBER_OF_FIRST = "⠼⠁"
BARLINES = {"final double bar": "final", "double bar": "double"}


def second_source(f: Fact) -> str | None:
    """The cells of a fact by music21.braille, None where it has no table for it."""
    from music21 import key, meter
    from music21.braille import basic, lookup

    dot = lookup.symbols["dot"] if f.dotted else ""
    match f.kind:
        case FactKind.NOTE:
            return str(lookup.pitchNameToNotes[f.step][VALUES[f.value or Fraction(1, 2)]] + dot)
        case FactKind.PLACED:
            return str(lookup.octaves[f.number] + lookup.pitchNameToNotes[f.step]["eighth"])
        case FactKind.REST if f.value in VALUES:
            return str(lookup.rests[VALUES[f.value or Fraction(1)]] + dot)
        case FactKind.OCTAVE if f.number in lookup.octaves:
            return str(lookup.octaves[f.number])
        case FactKind.ACCIDENTAL:
            names = {1: "sharp", -1: "flat", 0: "natural", 2: "double-sharp", -2: "double-flat"}
            return str(lookup.accidentals[names[f.number]])
        case FactKind.KEY:
            return str(basic.keySigToBraille(key.KeySignature(f.number))).replace(" ", "")
        case FactKind.TIME:
            assert f.time is not None
            return str(basic.timeSigToBraille(meter.TimeSignature(f"{f.time.upper[0]}/{f.time.lower}"))).replace(" ", "")
        case FactKind.SIGN if f.name in SYMBOLS:
            return str(lookup.symbols[SYMBOLS[f.name]])
        case FactKind.SIGN if f.name in BARLINES:
            return str(lookup.barlines[BARLINES[f.name]])
        case FactKind.SIGN if f.name in lookup.beforeNoteExpr:
            return str(lookup.beforeNoteExpr[f.name])
        case FactKind.SIGN if f.name == "fermata":
            return str(lookup.fermatas["shape"]["normal"])
        case FactKind.SIGN if f.name == "full bar rest":
            return str(lookup.rests["whole"])
    return None


def all_facts() -> list[Fact]:
    """Every fact that a stage drills, and all that can be named of one sign."""
    names = dict.fromkeys(n for s in stages() for d in s.drills for n in d.facts)
    names |= dict.fromkeys(f"{s} {d}{v}" for s in STEPS for d in ("", "dotted ") for v in
                           ("semibreve", "minim", "crotchet", "quaver", "semiquaver"))
    names |= dict.fromkeys(f"{n} {sign}{'s' if n > 1 else ''}" for n in range(1, 8) for sign in ("sharp", "flat"))
    names |= dict.fromkeys(f"time {u} {v}" for u, v in ((2, 4), (3, 4), (4, 4), (6, 8), (9, 8), (12, 8), (3, 8), (2, 2)))
    for name in SIGNS:
        try:
            fact(name)
        except KeyError:
            continue
        names[name] = None
    return [fact(n) for n in names]


def facts() -> dict[str, Any]:
    out: Counter[str] = Counter()
    other = []
    for f in all_facts():
        theirs = second_source(f)
        out["all"] += 1
        if theirs is not None:
            out["compared"] += 1
            out["same"] += theirs == f.cells
            if theirs != f.cells:
                other.append([f.name, f.cells, theirs])
    return dict(out) | {"other": other, "no_table": out["all"] - out["compared"]}


def bars(stage: Stage, count: int, rng: random.Random, folder: Path) -> tuple[Counter[str], list[list[str]]]:
    """New bars of a stage against music21's transcriber, bar by bar."""
    from music21 import converter

    out: Counter[str] = Counter()
    others = []
    for n in range(count):
        wanted = Wanted(taught(stage.number), frozenset(stage.introduces), (), 1 + n % 4)
        group = fresh_group(stage.material, stage.name, wanted, rng)
        if group is None:
            continue
        out["pieces"] += 1
        if group.signs & NOT_WRITTEN:
            out["with signs that music21.braille does not write"] += 1
            continue
        path = folder / "piece.musicxml"
        save(group.piece, path)
        part = converter.parse(path, forceSource=True).parts[0]
        for measure in part.getElementsByClass("Measure"):
            # Bar by bar, as the tests of braille do: no reminder of another bar's accidentals is added.
            measure.makeAccidentals(inPlace=True, overrideStatus=True, useKeySignature=part.recurse().getElementsByClass(
                "KeySignature").first() or True, cautionaryPitchClass=False, cautionaryNotImmediateRepeat=False)
        found = corpus.music21_groups(part)
        while found and found[0] in (group.before, NUMBER_OF_FIRST):  # the heading, where it is not set apart
            found.pop(0)
        for ours, theirs in corpus.align(corpus.our_groups(group.piece), found):
            # music21 ends every part with the final double bar; a bar to be read ends where it ends.
            ours, theirs = (x.removesuffix(FINAL_BAR) for x in (ours, theirs))
            out["bars"] += 1
            out["same"] += ours == theirs
            if ours != theirs:
                why = corpus.cause(group.piece, ours, theirs)
                out[why] += 1
                if why == "other":
                    others.append([stage.key, ours, theirs])
    return out, others


def questions(sittings: int, rng: random.Random) -> dict[str, int]:
    """Of every stage, the questions of so many sittings: each takes its own right answer for right."""
    out: Counter[str] = Counter()
    for stage in stages():
        for _unused in range(sittings):
            for step in new_steps(stage, rng, 60, Progress()):
                item = step.item
                text = "+" if item.wants in (Wants.SUNG, Wants.CLAPPED) else item.answer
                out["made"] += 1
                out["right"] += check(item, text, English().vocabulary).verdict is Verdict.RIGHT
                out["only_what_was_taught"] += item.signs <= taught(stage.number)
    return dict(out)


def sheets() -> dict[str, int]:
    """The tune on the pupil's sheet of every stage whose signs make music that the decoder can read."""
    out: Counter[str] = Counter()
    for stage in stages():
        if stage.by_ear or {"octave marks", "bars", "values"} & stage.leave_out:
            continue
        reading = decode(stage.material.lines())
        out["tunes"] += 1
        out["cells"] += sum(map(len, stage.material.lines()))
        # A key or a time that is left out is amiss on the page, and was meant so.
        out["problems"] += len(reading.problems) if not {"time", "key"} & stage.leave_out else 0
        wanted = [(n.midi, n.quarters) for n in stage.material.shown.line()]
        if not {"time", "key"} & stage.leave_out:
            out["compared"] += 1
            out["same_notes"] += [(n.midi, n.quarters) for n in reading.tune.line()] == wanted
    return dict(out)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bars", type=int, default=20)
    parser.add_argument("--sittings", type=int, default=5, help="of every stage, whose questions are checked")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = random.Random(options.seed)
    counts: Counter[str] = Counter()
    others: list[list[str]] = []
    with tempfile.TemporaryDirectory() as folder:
        for stage in stages():
            if stage.by_ear or {"octave marks", "values"} & stage.leave_out:
                continue
            found, some = bars(stage, options.bars, rng, Path(folder))
            counts.update(found)
            others += some
            print(stage.key, dict(found), file=sys.stderr, flush=True)
    print(json.dumps({"facts": facts(), "bars": dict(counts) | {"others": others[:40]},
                      "questions": questions(options.sittings, rng), "sheets": sheets()}, ensure_ascii=False))


if __name__ == "__main__":
    main()
