"""From voice to score, measured: `python tests/benchmarks/notate.py [--folk N] [--skip N] [--shipped N] [--maker speech]`.

Shipped tunes and folk tunes of music21's corpus (those that `companion/transcribe/counts.json` has not seen) are sung by the
test singers: steady, drifting, swinging by 10 %, with scoops, vibrato, room, noise at 20 dB. For each sung note: is its
written pitch right (all notes moved by one number of semitones are right: the singer's key is), and its value. A note
that was not found is wrong in both. The same with beats tapped along (25 ms off), and for a plain baseline: notes by
`companion.ear.notes`, tempo by librosa's beat tracker, values rounded to quarters of its beat, pitches rounded, metre
4/4, key by music21. Then: what is written comes back from braille and MusicXML, and sung back it is all right. With the
recordings of ../shared/data/voice, notes against people's by mir_eval. Last line: JSON.
"""

from __future__ import annotations

import argparse
import itertools
import json
import platform
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from notate_tunes import ROOT, FolkTune, Sung, as_folk_tune, folk_tunes, sing, tapped
from singers import VOICES, LineItem, Style, perform, render
from tracked import track

from companion.braille import decode, encode
from companion.ear.model import PitchTrack, SungNote
from companion.ear.notes import find_notes
from companion.errors import Trouble
from companion.match import match_take
from companion.transcribe import TIMES, Given, Notation, notate, unsure_bars
from companion.tune import load, save, shipped_names

NEAR_S = 0.15  # a found note belongs to the sung one that begins within this
MOST_SHIFT = 2.0  # semitones: written pitch may lie so far from the take's median, after drift, and no farther


def pairs(found: list[SungNote] | tuple[SungNote, ...], sung: Sung) -> tuple[list[tuple[int, int]], int]:
    """(found, sung) notes that belong together, one to one by onset; and how many found ones are left over."""
    used: set[int] = set()
    out = []
    for j, truth in enumerate(sung.performance.notes):
        near = [(abs(f.onset_s - truth.onset_s), i) for i, f in enumerate(found)
                if i not in used and abs(f.onset_s - truth.onset_s) < NEAR_S]
        if near:
            used.add(min(near)[1])
            out.append((min(near)[1], j))
    return out, len(found) - len(used)


def judge(folk: FolkTune, sung: Sung, found: list[SungNote] | tuple[SungNote, ...], midi: list[int],
          ticks: list[float]) -> dict[str, Any]:
    """Counts of right notes of one take, and which sung notes are wrong."""
    line = folk.tune.line()
    both, extra = pairs(found, sung)
    notes = sung.performance.notes
    shift = Counter(midi[i] - line[notes[j].written or 0].midi for i, j in both).most_common(1)[0][0] if both else 0
    moved = float(np.median([n.midi - line[n.written or 0].midi for n in notes]))
    if abs(shift - moved) > MOST_SHIFT:
        shift = round(moved)
    pitch = {j: midi[i] == line[notes[j].written or 0].midi + shift for i, j in both}
    wanted = {j: float(line[notes[j].written or 0].quarters * 4) for _, j in both}
    value = {j: ticks[i] == wanted[j] for i, j in both}
    double = max(sum(ticks[i] == wanted[j] * f for i, j in both) for f in (0.5, 1.0, 2.0)) if both else 0
    return {"notes": len(notes), "pitch": sum(pitch.values()), "value": sum(value.values()), "value_to_scale": double,
            "missing": len(notes) - len(both), "extra": extra, "shift": shift, "pairs": both,
            "wrong": {j for j in range(len(notes)) if not (pitch.get(j) and value.get(j))}}


def rates(rows: list[dict[str, Any]]) -> dict[str, float]:
    total = sum(r["notes"] for r in rows)
    out = {k: round(sum(r[k] for r in rows) / total, 4) for k in
           ("pitch", "value", "value_to_scale", "missing", "extra") if k in rows[0]}
    for k in ("key", "metre", "pickup"):
        if k in rows[0]:
            out[k] = round(sum(r[k] for r in rows) / len(rows), 4)
    return out


def doubted(n: Notation, row: dict[str, Any], count: int) -> tuple[int, int, int, int]:
    """(wrong notes in bars that are unsure, wrong notes, unsure bars, bars). A wrong metre said to be unsure counts."""
    bars, unsure = n.bars, set(unsure_bars(n))
    where = {j: bars[i] for i, j in row["pairs"]}
    held = 0
    for j in row["wrong"]:
        bar = where.get(j)
        if bar is None:  # a note that was not found: the bar of its neighbour
            bar = next((where[k] for d in range(1, count) for k in (j - d, j + d) if k in where), None)
        held += bar in unsure
    return held, len(row["wrong"]), len(unsure), len(set(bars))


def baseline(samples: np.ndarray, pitch: PitchTrack, folk: FolkTune, sung: Sung) -> dict[str, Any]:
    """librosa's beat tracker and rounding to the grid; music21's key analysis."""
    import librosa
    from music21 import note, stream

    found = find_notes(pitch)
    tempo = float(np.atleast_1d(librosa.beat.beat_track(y=samples, sr=22050)[0])[0]) or 120.0
    quarter_s = 60.0 / tempo
    midi = [round(n.midi) for n in found]
    ends = [b.onset_s for b in found[1:]] + [found[-1].onset_s + found[-1].duration_s if found else 0.0]
    ticks = [max(1.0, round((e - n.onset_s) / quarter_s * 4)) for n, e in zip(found, ends, strict=True)]
    row = judge(folk, sung, found, midi, ticks)
    part = stream.Part()
    for m, t in zip(midi, ticks, strict=True):
        part.append(note.Note(m, quarterLength=t / 4))
    key = part.analyze("key")
    row["key"] = (key.tonic.pitchClass == (folk.tonic + row["shift"]) % 12 and key.mode == folk.mode)
    row["metre"] = folk.metre == "4/4"
    return row


def there_and_back(n: Notation, folder: Path) -> tuple[bool, bool]:
    """Does what was written come back from braille, and from MusicXML?"""
    tune = n.tune
    wanted = [(x.midi, x.quarters, x.rest_after) for x in tune.line()]
    read = decode(list(encode(tune).lines))
    by_braille = [(x.midi, x.quarters, x.rest_after) for x in read.tune.line()] == wanted and not read.problems
    path = folder / "there.musicxml"
    save(tune, path)
    by_xml = [(x.midi, x.quarters, x.rest_after) for x in load(path).line()] == wanted
    return by_braille, by_xml


def sung_back(n: Notation, seed: int) -> bool:
    """A plain test singer sings what was written: is every move judged right?"""
    line = n.tune.line()
    rng = np.random.default_rng([99, seed])
    items = [LineItem(x.midi, float(x.quarters), "la", float(x.rest_after)) for x in line]
    quarter_s = max(60.0 / n.quarter_bpm, 0.2 / float(min(x.quarters for x in line)))
    voice = VOICES[1]
    middle = (min(x.midi for x in items) + max(x.midi for x in items)) / 2
    done = perform(items, Style(shift=voice.middle - middle, quarter_s=quarter_s, waver=0.03, miss=0.05), rng)
    match = match_take(track(render(done, voice, "formants", rng)), line)
    return match.counts["right"] == len(match.moves)


def real_voices() -> dict[str, Any]:
    """Notes of the real recording against people's, by mir_eval (onset 50 ms, pitch 50 cents)."""
    from notes import f_measure, read_notes

    from companion.ear import hear_pitch

    folder = ROOT.parent / "shared" / "data" / "voice"
    if not folder.is_dir():
        return {"missing": f"{folder} is not there"}
    out = {}
    for wav in sorted(folder.glob("*.wav")):
        n = notate(hear_pitch(wav), wav.stem)
        ours = (np.array([[x.onset_s, x.onset_s + x.duration_s] for x in n.sung]),
                np.array([440.0 * 2 ** ((x.midi - 69) / 12) for x in n.sung]))
        people = {p.stem: read_notes(p) for p in sorted(folder.glob(f"{wav.stem}.notes*.csv"))}
        out[wav.stem] = {"f_measure": {k: f_measure(v, ours) for k, v in people.items()},
                         "people": {f"{a} {b}": f_measure(people[a], people[b])
                                    for a, b in itertools.combinations(people, 2)},
                         "key": n.key.name, "time": n.time.name, "notes": len(n.sung)}
    return out


def main() -> None:
    import tempfile

    import librosa
    import music21

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--folk", type=int, default=100, metavar="N", help="folk tunes (100)")
    parser.add_argument("--skip", type=int, default=0, metavar="N", help="folk tunes left out before them (none)")
    parser.add_argument("--shipped", type=int, default=25, metavar="N", help="shipped tunes (all)")
    parser.add_argument("--maker", choices=("formants", "speech"), default="formants")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--plain", action="store_true", help="without baseline and the ways back")
    arguments = parser.parse_args()
    shipped = [f for f in (as_folk_tune(load(name), fewest=10) for name in shipped_names()[:arguments.shipped]) if f]
    tunes = shipped + list(itertools.islice(folk_tunes(test=True), arguments.skip, arguments.skip + arguments.folk))
    alone, beaten, base = [], [], []
    by_condition: dict[str, list[dict[str, Any]]] = defaultdict(list)
    held = np.zeros(4)
    back = np.zeros(3)
    mended = refused = 0
    seconds = sound_s = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for k, folk in enumerate(tunes):
            sung = sing(folk, k, arguments.seed, arguments.maker)
            pitch = track(sung.samples)
            began = time.process_time()
            try:
                n = notate(pitch, folk.tune.title)
            except Trouble as trouble:
                print(f"{folk.tune.title}: {trouble}", flush=True)
                refused += 1
                continue
            seconds += time.process_time() - began
            sound_s += len(sung.samples) / 22050
            beats = tapped(folk, sung.performance, np.random.default_rng([7, k]))
            g = notate(pitch, folk.tune.title, Given(time=TIMES[folk.metre], beats_s=beats))
            for rows, made in ((alone, n), (beaten, g)):
                row = judge(folk, sung, made.sung, [x.midi for x in made.notes], [float(x.ticks) for x in made.notes])
                row["key"] = made.key == folk.key(row["shift"])
                row["metre"] = made.time.name == folk.metre
                row["pickup"] = row["metre"] and made.place == folk.place
                rows.append(row)
            held += doubted(n, alone[-1], len(sung.performance.notes))
            by_condition[sung.condition].append(alone[-1])
            if not arguments.plain:
                base.append(baseline(sung.samples, pitch, folk, sung))
                ways = there_and_back(n, Path(folder))
                back += (*ways, sung_back(n, k) if k % 5 == 0 else 0)
                mended += k % 5 == 0
            print(f"{k + 1}/{len(tunes)} {folk.tune.title}: {sung.condition}, {folk.metre} heard {n.time.name}, pitch "
                  f"{alone[-1]['pitch']}/{alone[-1]['notes']}, value {alone[-1]['value']}", flush=True)
    count = len(alone)
    result: dict[str, Any] = {
        "takes": count, "shipped": len(shipped), "folk": len(tunes) - len(shipped), "refused": refused,
        "notes": sum(r["notes"] for r in alone), "maker": arguments.maker,
        "no_beat_given": rates(alone), "beat_given": rates(beaten),
        "baseline": rates(base) if base else None,
        "errors_in_unsure_bars": round(held[0] / max(1, held[1]), 4), "bars_unsure": round(held[2] / held[3], 4),
        "by_condition": {c: rates(r) for c, r in by_condition.items()},
        "back_from_braille": round(back[0] / count, 4) if base else None,
        "back_from_musicxml": round(back[1] / count, 4) if base else None,
        "sung_back_all_right": f"{int(back[2])} of {mended}" if base else None,
        "real_voices": real_voices(), "processor_seconds_a_second": round(seconds / max(sound_s, 1e-9), 4),
        "versions": {"python": platform.python_version(), "librosa": librosa.__version__,
                     "music21": music21.__version__, "numpy": np.__version__},
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
