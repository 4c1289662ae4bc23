"""Music braille against music21.braille: every Essen folk melody of music21's corpus, the handbook's worked
examples, and speed.

    python tests/benchmarks/braille.py [--tunes N] [--speed N] [--parts N [--kinds KIND ...] [--seed N]] [--slips N] [--jobs N]

--tunes N: only a fixed sample of N melodies (0 for all, which takes about half an hour); --speed N: how many of
them are timed (200); --parts N: N parts of the corpus outside that collection, there and back at 40 and 28 cells (0: none);
--slips N: N single slips of twelve kinds in right pages, and the hints on those pages (0: none). Only what is asked for is
measured where --only is given. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import copy
import gc
import json
import os
import statistics
import sys
import time
from collections import Counter
from importlib.metadata import version
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:1] = [str(ROOT), str(ROOT / "tests")]  # not our own folder, where this file has the name of the tests

from braille import corpus, parts, slips  # noqa: E402
from braille.made import to_brf  # noqa: E402

from companion.braille import decode, encode, from_brf  # noqa: E402
from companion.errors import Trouble  # noqa: E402
from companion.tune import from_music21  # noqa: E402

WIDTHS = (12, 20, 32, 40)


def melodies(count: int, jobs: int) -> dict[str, Any]:
    """Bar by bar against music21, and there and back, through .brf bytes at four widths."""
    from concurrent.futures import ProcessPoolExecutor

    texts = corpus.sample(count or 1_000_000)  # shuffled, so that a part of it says something of the whole
    out: dict[str, Any] = {}
    with ProcessPoolExecutor(jobs) as pool:
        chunks = [texts[i:i + 100] for i in range(0, len(texts), 100)]
        for number, part in enumerate(pool.map(some_melodies, chunks), 1):
            for key, value in part.items():
                if isinstance(value, Counter):
                    out.setdefault(key, Counter()).update(value)
                else:
                    out[key] = out.get(key, type(value)()) + value
            so_far = {k: v if isinstance(v, int | Counter) else len(v) for k, v in out.items()}
            print(f"{number} of {len(chunks)} hundreds: {so_far}", file=sys.stderr, flush=True)
    out["causes"] = dict(out["causes"].most_common())
    out["same_share"] = round(out["same_bars"] / max(1, out["bars"]), 5)
    out["other_examples"] = out["other_examples"][:20]
    return out


def some_melodies(texts: list[tuple[str, str]]) -> dict[str, Any]:
    out: dict[str, Any] = {"tunes": 0, "bars": 0, "same_bars": 0, "without_notes": 0}
    out |= {key: [] for key in ("failed_to_encode", "round_trip_failed", "links_wrong", "lines_too_long",
                                "not_read_by_music21", "not_written_by_music21")}
    causes: Counter[str] = Counter()
    others: list[list[str]] = []
    for name, abc in texts:
        try:
            part = corpus.parse(abc)
        except Exception as error:  # music21's own parser; nothing of ours was reached
            out["not_read_by_music21"].append(f"{name}: {error}")
            continue
        if not part.recurse().notes:
            out["without_notes"] += 1
            continue
        out["tunes"] += 1
        try:
            tune = from_music21(part)
            pages = {width: encode(tune, width=width) for width in WIDTHS}
            ours = corpus.our_groups(tune)
        except Trouble as trouble:
            out["failed_to_encode"].append(f"{name}: {trouble}")
            continue
        count_notes = sum(1 for _, _, n in tune.written() if n.pitch is not None and not n.grace)
        for width, page in pages.items():
            if max(map(len, page.lines)) > width:
                out["lines_too_long"].append(f"{name} at {width}")
            if [k.note for k in page.links] != list(range(1, count_notes + 1)):
                out["links_wrong"].append(f"{name} at {width}")
            for lines in (page.lines, from_brf(to_brf(page))):
                difference = corpus.compare(tune, decode(lines).tune)
                if difference:
                    out["round_trip_failed"].append(f"{name} at {width}: {difference[0]}")
        try:
            theirs = corpus.music21_groups(part)
        except Exception as error:  # a time signature, say, that music21.braille cannot divide
            out["not_written_by_music21"].append(f"{name}: {error}")
            continue
        for a, b in corpus.align(ours, theirs):
            out["bars"] += 1
            if a == b:
                out["same_bars"] += 1
            else:
                why = corpus.cause(tune, a, b)
                causes[why] += 1
                if why == "other" and len(others) < 20:
                    others.append([name, a, b])
    out["causes"] = causes
    out["other_examples"] = others
    return out


def handbook() -> dict[str, Any]:
    """The worked examples, as the tests count them."""
    from braille import test_braille_handbook as book

    return book.count()


def speed(count: int) -> dict[str, Any]:
    """Each melody once: written by music21, written by us, read by us. Ratios are medians of paired times.

    music21 is timed twice: as it is called (`partToBraille(part)`, which copies the part and makes its notation)
    and in place on a copy made beforehand. The collector is off while we time, as timeit does. Our caches have
    met other melodies before, none of these.
    """
    from music21.braille import translate

    texts = corpus.sample(2 * count, seed=11)
    pairs: list[tuple[Any, Any]] = []
    for _, abc in texts:
        part = corpus.parse(abc)
        if part.recurse().notes:
            pairs.append((part, from_music21(part)))
    for _, tune in pairs[count:]:
        decode(encode(tune).lines)
    called, in_place, read, ours_ms = [], [], [], []
    gc.collect()
    gc.disable()
    try:
        for part, tune in pairs[:count]:
            own = copy.deepcopy(part)
            own.makeBeams(inPlace=True)
            t0 = time.perf_counter()
            page = encode(tune)
            t1 = time.perf_counter()
            decode(page.lines)
            t2 = time.perf_counter()
            try:
                translate.partToBraille(part)
                t3 = time.perf_counter()
                translate.partToBraille(own, inPlace=True)
                t4 = time.perf_counter()
            except Exception as error:
                print(f"music21 cannot write one of them: {error}", file=sys.stderr)
                continue
            ours_ms.append(1000 * (t1 - t0))
            called.append((t3 - t2) / (t1 - t0))
            in_place.append((t4 - t3) / (t1 - t0))
            read.append((t2 - t1) / (t1 - t0))
            gc.collect(0)
    finally:
        gc.enable()
    return {"tunes": len(called), "music21_over_encode": round(statistics.median(called), 1),
            "music21_in_place_over_encode": round(statistics.median(in_place), 1),
            "read_over_write": round(statistics.median(read), 3),
            "encode_ms": round(statistics.median(ours_ms), 3)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tunes", type=int, default=0)
    parser.add_argument("--speed", type=int, default=200)
    parser.add_argument("--parts", type=int, default=0)
    parser.add_argument("--kinds", nargs="+", choices=list(parts.KINDS), help="of those parts only these kinds")
    parser.add_argument("--seed", type=int, default=5, help="another choice of those parts")
    parser.add_argument("--slips", type=int, default=0)
    parser.add_argument("--only", action="store_true", help="parts and slips alone")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    report: dict[str, Any] = {"versions": {"music21": version("music21"), "python": sys.version.split()[0]}}
    if not options.only:
        report["speed"] = speed(options.speed) if options.speed else None
        report["handbook"] = handbook()
        report["melodies"] = melodies(options.tunes, options.jobs)
    if options.slips:
        report["slips"] = slips.count(options.slips)
    if options.parts:
        report["parts"] = parts.count(options.parts, options.seed, options.kinds or parts.KINDS, told=True)
    print(json.dumps(report, ensure_ascii=False))


if __name__ == "__main__":
    main()
