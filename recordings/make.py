"""Make the demo takes again: python recordings/make.py, from the project's folder (needs pyworld).

Pitch, timing and truth come from fixed seeds and are the same every time; eSpeak's sound differs in its last
bits from run to run, and with it the files' bytes.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent / "tests")]

import numpy as np  # noqa: E402
import soundfile  # noqa: E402
from singers import RATE, VOICES, LineItem, Style, noisy, perform, render, room  # noqa: E402

from companion.match.model import RIGHT, UNSURE, WRONG, direction  # noqa: E402
from companion.tune import load  # noqa: E402

HEARD = 3  # notes before the noise of the take that is too noisy
VOICE = {v.name: v for v in VOICES}
#: name -> (voice, ways, noise in dB under the voice, room)
TAKES: dict[str, tuple[str, dict[str, object], float, bool]] = {
    "right": ("older child", {}, 45, False),
    "one-move-turned": ("older child", {"turned": 1}, 45, False),
    "other-octave": ("low adult", {"octave": -1}, 45, False),
    "drifting-key": ("older child", {"drift": -1.5}, 45, True),
    "narrow": ("older child", {"shrink": 0.6}, 45, False),
    "note-left-out": ("older child", {"left_out": (2,)}, 45, False),
    "breathy-noisy": ("breathy", {}, 15, True),
    "too-noisy": ("older child", {}, -15, False),
    "small-child": ("small child", {"scoop": 1.0, "fall": 1.0}, 40, True),
    "high-adult": ("high adult", {"vibrato": 0.35}, 45, True),
}


def main(tune: str = "snail-wall") -> None:
    """Write each take as FLAC and its truth as JSON."""
    line = [LineItem(n.midi, float(n.quarters), n.syllable or "la", float(n.rest_after)) for n in load(tune).line()]
    middle = (min(n.midi for n in line) + max(n.midi for n in line)) / 2
    for number, (name, (kind, ways, snr, roomy)) in enumerate(TAKES.items()):
        rng = np.random.default_rng([2026, number])
        ways = dict(ways)
        octave = ways.pop("octave", None)
        shift = 12.0 * int(str(octave)) if octave else float(round(VOICE[kind].middle - middle))
        performance = perform(line, Style(shift=shift, miss=0.08, **ways), rng)  # type: ignore[arg-type]
        sound = render(performance, VOICE[kind], "speech", rng)
        quiet = sound
        sound = noisy(room(sound, rng) if roomy else sound, rng, snr)
        if snr < 0:  # a machine starts after the third note: no ear can tell what is sung
            starts = round((performance.notes[HEARD - 1].onset_s + performance.notes[HEARD - 1].duration_s) * RATE)
            rises = np.clip((np.arange(len(sound)) - starts) / (0.02 * RATE), 0, 1)
            sound = quiet + rises * (sound - quiet)
        sound = 0.5 * sound / np.abs(sound).max()
        sound = np.concatenate([np.zeros(int(0.3 * RATE)), sound])  # a sound card may lose the start
        stem = f"{tune}-{name}"
        soundfile.write(HERE / f"{stem}.flac", sound, RATE, subtype="PCM_16")
        moves = []
        for i in range(len(line) - 1):
            wanted, sung = direction(line[i + 1].midi - line[i].midi), performance.interval(i)
            known = sung is not None and (snr > 0 or i + 1 < HEARD)
            heard = direction(sung) if known and sung is not None else None
            moves.append({"from": i + 1, "to": i + 2, "wanted": wanted, "heard": heard,
                          "verdict": UNSURE if heard is None else RIGHT if heard == wanted else WRONG})
        truth = {"take": f"{stem}.flac", "tune": tune, "phrase": None, "moves": moves}
        (HERE / f"{stem}.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
