"""Notes found against people's notes: `python tests/benchmarks/notes.py WAV NOTES_CSV...`.

Each CSV: onset_s,f0_hz,duration_s. F-measures by mir_eval (onset 50 ms, pitch 50 cents, offsets ignored).
"""

from __future__ import annotations

import argparse
import itertools
import json
import platform
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))


def read_notes(path: Path) -> tuple[np.ndarray, np.ndarray]:
    rows = np.array([[float(x) for x in line.split(",")] for line in path.read_text().splitlines()
                     if line.strip() and line.lstrip()[0].isdigit()])
    return np.column_stack([rows[:, 0], rows[:, 0] + rows[:, 2]]), rows[:, 1]


def f_measure(reference: tuple[np.ndarray, np.ndarray], found: tuple[np.ndarray, np.ndarray]) -> float:
    import mir_eval

    score = mir_eval.transcription.precision_recall_f1_overlap(
        *reference, *found, onset_tolerance=0.05, pitch_tolerance=50.0, offset_ratio=None)
    return round(float(score[2]), 4)


def main() -> None:
    import mir_eval

    from companion.ear import find_notes, hear_pitch

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("wav", type=Path)
    parser.add_argument("notes", type=Path, nargs="+")
    arguments = parser.parse_args()
    missing = [str(p) for p in (arguments.wav, *arguments.notes) if not p.exists()]
    if missing:
        sys.exit(f"{missing[0]} is missing; give a recording and at least one list of notes.")
    notes = find_notes(hear_pitch(arguments.wav))
    ours = (np.array([[n.onset_s, n.onset_s + n.duration_s] for n in notes]).reshape(-1, 2),
            np.array([440.0 * 2 ** ((n.midi - 69) / 12) for n in notes]))
    people = {p.stem: read_notes(p) for p in arguments.notes}
    result = {
        "f_measure": {name: f_measure(reference, ours) for name, reference in people.items()},
        "people": {f"{a} {b}": f_measure(people[a], people[b]) for a, b in itertools.combinations(people, 2)},
        "notes": len(notes), "people_notes": {name: len(x[1]) for name, x in people.items()},
        "versions": {"python": platform.python_version(), "mir_eval": mir_eval.__version__,
                     "numpy": np.__version__},
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
