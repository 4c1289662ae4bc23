"""The score of a real song against the true one: `python tests/benchmarks/notate_song.py [DIR]` (../shared/data/song).

DIR holds NAME.flac (or .wav) and NAME.notes.csv: onset_s, vowel_s, end_s, midi (empty: rest), quarters; four-four. A
written note belongs to the true one whose vowel (or onset) begins within 0.15 s of it, one to one. Pitch: as
written, all moved by the commonest number of octaves. Value: to the next note, rests included, right when all are one
number of times as long. Last line: JSON.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import Counter
from pathlib import Path
from typing import Any

from companion.ear import hear_pitch
from companion.transcribe import notate, unsure_bars

NEAR_S = 0.15
ROOT = Path(__file__).resolve().parents[2]


def truth_of(path: Path) -> list[dict[str, float]]:
    """The true notes in order; a rest's quarters belong to the note before it."""
    out: list[dict[str, float]] = []
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if row["midi"]:
                out.append({k: float(row[k]) for k in ("onset_s", "vowel_s", "end_s", "midi", "quarters")})
                out[-1]["length"] = out[-1]["quarters"]
            elif out:
                out[-1]["length"] += float(row["quarters"])
    return out


def measured(sound: Path) -> dict[str, Any]:
    """What is right of one song."""
    true = truth_of(sound.with_suffix("").with_suffix(".notes.csv"))
    n = notate(hear_pitch(sound), sound.stem)
    pairs: dict[int, int] = {}
    for j, t in enumerate(true):
        near = [(min(abs(w.sung.onset_s - t["onset_s"]), abs(w.sung.onset_s - t["vowel_s"])), i)
                for i, w in enumerate(n.notes) if i not in pairs.values()]
        if near and min(near)[0] < NEAR_S:
            pairs[j] = min(near)[1]
    shift = Counter(n.notes[i].midi - round(true[j]["midi"]) for j, i in pairs.items()).most_common(1)[0][0]
    pitch = sum(n.notes[i].midi - shift == round(true[j]["midi"]) for j, i in pairs.items())
    last = len(true) - 1
    value = {f: sum(n.notes[i].length == true[j]["length"] * 4 * f
                    or (j == last and n.notes[i].ticks == true[j]["quarters"] * 4 * f)
                    for j, i in pairs.items()) for f in (0.5, 1.0, 2.0)}
    sounding = max(sum(n.notes[i].ticks == true[j]["quarters"] * 4 * f for j, i in pairs.items()) for f in (0.5, 1.0, 2.0))
    return {"notes": len(true), "written": len(n.notes), "paired": len(pairs), "key": n.key.name, "time": n.time.name,
            "time_sure": round(n.time_estimate.confidence, 3), "pickup_ticks": n.place, "shift": shift,
            "pitch": round(pitch / len(true), 3), "value": round(value[1.0] / len(true), 3),
            "value_to_scale": round(max(value.values()) / len(true), 3), "sounding_to_scale": round(sounding / len(true), 3),
            "bars": len(set(n.bars)), "bars_unsure": len(unsure_bars(n))}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=ROOT.parent / "shared" / "data" / "song", metavar="DIR")
    folder = parser.parse_args().folder
    sounds = sorted(p for p in folder.glob("*") if p.suffix in (".flac", ".wav")) if folder.is_dir() else []
    if not sounds:
        print(json.dumps({"missing": f"{folder} holds no songs"}))
        return
    print(json.dumps({p.stem: measured(p) for p in sounds}))


if __name__ == "__main__":
    main()
