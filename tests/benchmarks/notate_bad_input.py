"""What `notate` says to takes that it was not made for: `python tests/benchmarks/notate_bad_input.py [--takes N] [--seed N]`.

Of each kind N takes (12) of synthesised tunes of 24 notes, by the three makers in turn:

- turns: a child (or woman) and a man sing phrases in turn, an octave or more apart;
- talk: somebody on the radio talks under the singing, 6 to 18 dB softer; music: another singer sings another tune there;
- no beat: each note lasts as long as chance has it, 0.2 to 1.4 s.
- half an hour: a file of that length (once).

Counted: refused; written with what is wanted said ("in turn"; "accompanied" or "unclear"; "no steady beat"); written with
nothing said, and the share of sung notes whose pitch is right in those; the last is harm where that is low. For turns and radio
the same singing alone is counted beside it, where the same words would be needless. Last line: JSON.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from other_sounds import speech
from singers import VOICES, LineItem, Performance, Style, melody, noisy, perform, render

from companion.audio import save_sound
from companion.ear import RATE, Sound, track
from companion.errors import NothingSung, Trouble
from companion.transcribe import DoubtKind, doubts_of, notate
from companion.transcribe.accompaniment import check_voice, is_accompanied
from companion.transcribe.notation import SoundDoubt
from companion.transcribe.takes import take_of

MAKERS = ("formants", "harmonics", "speech")
NOTES, PHRASE = 24, 6
NEAR_S = 0.15
WANTED = {"turns": {DoubtKind.IN_TURN}, "talk": {DoubtKind.ACCOMPANIED, DoubtKind.UNCLEAR},
          "music": {DoubtKind.ACCOMPANIED, DoubtKind.UNCLEAR}, "no beat": {DoubtKind.NO_BEAT}}


def style(line: list[LineItem], middle: float, rng: np.random.Generator) -> Style:
    """Plain singing with its range about a pitch."""
    pitches = [x.midi for x in line]
    return Style(shift=middle - (min(pitches) + max(pitches)) / 2, quarter_s=float(rng.uniform(0.4, 0.6)), waver=0.04, miss=0.08)


def a_line(rng: np.random.Generator) -> list[LineItem]:
    """A tune with a breath after each phrase."""
    line = melody(rng, NOTES)
    return [replace(x, rest_after=1.0 if k % PHRASE == PHRASE - 1 else 0.0) for k, x in enumerate(line)]


def sung(line: list[LineItem], voice: int, middle: float, maker: str, rng: np.random.Generator) -> tuple[np.ndarray, Performance]:
    performance = perform(line, style(line, middle, rng), rng)
    return render(performance, VOICES[voice], maker, rng), performance


def take(kind: str, k: int, seed: int) -> tuple[np.ndarray, Performance, np.ndarray | None]:
    """Sound, what was sung, and the singing alone where something else sounds with it."""
    rng = np.random.default_rng([seed, k, len(kind)])
    maker, line = MAKERS[k % 3], a_line(rng)
    high, low = int(rng.choice([0, 1, 3])), 2
    if kind == "turns":
        one, first = sung(line, high, 69.0, maker, rng)
        edges = [0, *(int((n.onset_s - 0.1) * RATE) for n in first.notes[PHRASE::PHRASE]), len(one)]
        # Both sing the same line at their own pace: phrases are taken from each in turn.
        parts = []
        for p, (a, b) in enumerate(itertools.pairwise(edges)):
            parts.append(one[a:b] if p % 2 == 0 else _moved_down(line[p * PHRASE:(p + 1) * PHRASE], low, maker, rng))
        return np.concatenate(parts).astype(np.float32), first, one
    if kind == "no beat":
        line = [replace(x, quarters=float(np.exp(rng.uniform(np.log(0.4), np.log(2.8))))) for x in line]
        sound, performance = sung(line, high, 66.0, maker, rng)
        return sound, performance, None
    sound, performance = sung(line, high, 66.0, maker, rng)
    other = np.zeros(len(sound))
    if kind == "talk":
        said = np.concatenate([speech(rng) for _ in range(12)])
    else:
        said = np.concatenate([sung(a_line(rng), low, 55.0, MAKERS[(k + 1) % 3], rng)[0] for _ in range(2)])
    other[:min(len(said), len(other))] = said[:len(other)]
    softer = 10 ** (-float(rng.uniform(6, 18)) / 20) * np.abs(sound).max() / (np.abs(other).max() + 1e-9)
    return (sound + softer * other).astype(np.float32), performance, sound


def _moved_down(line: list[LineItem], voice: int, maker: str, rng: np.random.Generator) -> np.ndarray:
    return sung(line, voice, 50.0, maker, rng)[0]


def said_of(samples: np.ndarray, performance: Performance) -> tuple[set[DoubtKind] | None, float]:
    """The doubts of the whole take (None: refused), and the share of sung notes written with their pitch."""
    sound = Sound(noisy(samples, np.random.default_rng(1), 40.0).astype(np.float32), RATE)
    found = track(sound)
    accompanied = is_accompanied(sound.samples, found)
    try:
        check_voice(found)
        n = notate(found, "x")
    except (NothingSung, Trouble):
        return None, 0.0
    if accompanied:
        n = replace(n, sound=SoundDoubt.ACCOMPANIED)
    near = [[w for w in n.notes if abs(w.sung.onset_s - t.onset_s) < NEAR_S] for t in performance.notes]
    off = Counter(w.midi - round(t.midi) for some, t in zip(near, performance.notes, strict=True) for w in some)
    moved = off.most_common(1)[0][0] if off else 0
    right = sum(any(abs(w.midi - moved - t.midi) < 1 for w in some) for some, t in zip(near, performance.notes, strict=True))
    return {d.kind for d in doubts_of(n) if not d.bar}, right / len(performance.notes)


def measured(kind: str, takes: int, seed: int) -> dict[str, Any]:
    """What is said of the takes of one kind."""
    out: Counter[str] = Counter(takes=takes)
    unsaid, alone = [], []
    for k in range(takes):
        samples, performance, without = take(kind, k, seed)
        said, right = said_of(samples, performance)
        key = "refused" if said is None else "said" if said & WANTED[kind] else "unsaid"
        out[key] += 1
        if key == "unsaid":
            unsaid.append(round(right, 2))
        if without is not None:
            needless, _ = said_of(without, performance)
            alone.append(needless is not None and bool(needless & WANTED[kind]))
    return {**out, "pitch_of_unsaid": unsaid, **({"said_of_the_singing_alone": sum(alone)} if alone else {})}


def half_an_hour(seed: int) -> dict[str, Any]:
    """What a file of half an hour is answered with, and how long that takes."""
    rng = np.random.default_rng(seed)
    samples, _ = sung(a_line(rng), 0, 66.0, "formants", rng)
    whole = np.tile(samples, int(1800 * RATE / len(samples)) + 1)[:1800 * RATE].astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.flac"
        save_sound(Sound(whole, RATE), path)
        began = time.process_time()
        try:
            take_of(path)
            said = ""
        except Trouble as trouble:
            said = str(trouble).replace(str(path), path.name)
        return {"said": said, "processor_s": round(time.process_time() - began, 2)}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--takes", type=int, default=12, metavar="N", help="of each kind (12)")
    parser.add_argument("--seed", type=int, default=51)
    arguments = parser.parse_args()
    result: dict[str, Any] = {}
    for kind in WANTED:
        result[kind] = measured(kind, arguments.takes, arguments.seed)
        print(kind, json.dumps(result[kind]), file=sys.stderr, flush=True)
    print(json.dumps({**result, "half an hour": half_an_hour(arguments.seed)}))


if __name__ == "__main__":
    main()
