"""`companion notate`: a sung take written down as a tune."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE", help="a sound file, or a pitch track (CSV: time_s,f0_hz)")
    parser.add_argument("--out", metavar="FILE", help="write the tune as .musicxml, .mxl or .mid")
    parser.add_argument("--bpm", type=float, metavar="N", help="beats a minute, where the beat is known")
    parser.add_argument("--time", metavar="T", help="the time signature where it is known: 2/4, 3/4, 4/4 or 6/8")
    parser.add_argument("--json", action="store_true", help="print JSON for programs")


def run(options: argparse.Namespace) -> int:
    import json
    from pathlib import Path

    from companion.ear import hear_pitch
    from companion.notate.score import Given, as_json, notate
    from companion.tune import save

    found = notate(hear_pitch(options.take), Path(options.take).stem, Given(options.bpm, options.time))
    if options.out:
        save(found.tune, options.out)
    if options.json:
        print(json.dumps(as_json(found), ensure_ascii=False))
    else:
        print(f"{found.key.name}, {found.metre}.")
    return 0
