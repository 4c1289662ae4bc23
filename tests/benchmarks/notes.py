"""Notes found against people's notes: `python tests/benchmarks/notes.py WAV NOTES_CSV...`, or `--singers 10 [--seed 6100]`.

Each CSV: onset_s,f0_hz,duration_s. F-measures by mir_eval (onset 50 ms, pitch 50 cents, offsets ignored).
With `--singers` so many takes of each maker of synthesised singers, in clear sound and with the echo of rooms: how long
it takes to fade by 60 dB, and its level (1: all of the echo together as loud as the voice). For each the F-measure
and the notes found for each that was sung. The echo's constants were chosen on seed 4400.
"""

from __future__ import annotations

import argparse
import itertools
import json
import platform
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]

if TYPE_CHECKING:
    from companion.ear import SungNote


def read_notes(path: Path) -> tuple[np.ndarray, np.ndarray]:
    rows = np.array([[float(x) for x in line.split(",")] for line in path.read_text().splitlines()
                     if line.strip() and line.lstrip()[0].isdigit()])
    return np.column_stack([rows[:, 0], rows[:, 0] + rows[:, 2]]), rows[:, 1]


def f_measure(reference: tuple[np.ndarray, np.ndarray], found: tuple[np.ndarray, np.ndarray]) -> float:
    import mir_eval

    score = mir_eval.transcription.precision_recall_f1_overlap(
        *reference, *found, onset_tolerance=0.05, pitch_tolerance=50.0, offset_ratio=None)
    return round(float(score[2]), 4)


ROOMS = {"clear": (0.0, 0.0), "0.3 s": (0.3, 0.3), "0.5 s": (0.5, 0.3), "0.8 s": (0.8, 0.3), "0.8 s, loud": (0.8, 0.6)}


def sung(count: int, seed: int) -> dict[str, dict[str, list[float]]]:
    """For each maker and room the mean F-measure, and notes found for each that was sung."""
    from dataclasses import replace

    from singers import VOICES, melody, noisy, perform, render, room, some_style
    from tracked import track

    from companion.ear import find_notes

    rows: dict[str, dict[str, list[tuple[float, float]]]] = {}
    for maker in ("formants", "speech"):
        for k in range(count):
            rng = np.random.default_rng([seed, k])
            line, voice = melody(rng, 12), VOICES[k % len(VOICES)]
            style = replace(some_style(rng, voice, line, turned=False)[0], left_out=())
            performance = perform(line, style, rng)
            samples = render(performance, voice, maker, rng)
            # A joined note's onset is where its slide begins; counted is the middle of the slide.
            truth = (np.array([[n.onset_s + 0.03 * n.joined, n.onset_s + n.duration_s] for n in performance.notes]),
                     np.array([440.0 * 2 ** ((n.midi - 69) / 12) for n in performance.notes]))
            for name, (decay_s, wet) in ROOMS.items():
                notes = find_notes(track(noisy(room(samples, rng, decay_s, wet) if wet else samples, rng, 40.0)))
                rows.setdefault(maker, {}).setdefault(name, []).append(
                    (f_measure(truth, as_arrays(notes)), len(notes) / len(performance.notes)))
    return {maker: {name: [round(float(x), 3) for x in np.mean(found, axis=0)] for name, found in of.items()}
            for maker, of in rows.items()}


def as_arrays(notes: Sequence[SungNote]) -> tuple[np.ndarray, np.ndarray]:
    """Intervals (n x 2, s) and pitches (n, Hz), as mir_eval wants them."""
    return (np.array([[n.onset_s, n.onset_s + n.duration_s] for n in notes]).reshape(-1, 2),
            np.array([440.0 * 2 ** ((n.midi - 69) / 12) for n in notes]))


def main() -> None:
    import mir_eval

    from companion.ear import find_notes, hear_pitch

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("wav", type=Path, nargs="?")
    parser.add_argument("notes", type=Path, nargs="*")
    parser.add_argument("--singers", type=int, metavar="TAKES")
    parser.add_argument("--seed", type=int, default=6100)
    arguments = parser.parse_args()
    if arguments.singers:
        print(json.dumps(sung(arguments.singers, arguments.seed)))
        return
    if arguments.wav is None or not arguments.notes:
        sys.exit("Give a recording and at least one list of notes, or --singers and how many takes.")
    missing = [str(p) for p in (arguments.wav, *arguments.notes) if not p.exists()]
    if missing:
        sys.exit(f"{missing[0]} is missing; give a recording and at least one list of notes.")
    ours = as_arrays(find_notes(hear_pitch(arguments.wav)))
    people = {p.stem: read_notes(p) for p in arguments.notes}
    result = {
        "f_measure": {name: f_measure(reference, ours) for name, reference in people.items()},
        "people": {f"{a} {b}": f_measure(people[a], people[b]) for a, b in itertools.combinations(people, 2)},
        "notes": len(ours[0]), "people_notes": {name: len(x[1]) for name, x in people.items()},
        "versions": {"python": platform.python_version(), "mir_eval": mir_eval.__version__,
                     "numpy": np.__version__},
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
