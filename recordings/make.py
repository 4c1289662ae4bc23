"""Make the demo takes again: python recordings/make.py [NAME...], from the project's folder (needs pyworld).

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

from companion.audio import speak  # noqa: E402
from companion.language import English  # noqa: E402
from companion.match import Verdict  # noqa: E402
from companion.tune import direction_of, load  # noqa: E402

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


TALK = "Now listen. Are you ready? One, two."
#: Takes that hold more than the line, or less, or another: name -> (kind that is answered, attempts).
EVERYDAY = {"talk-before": ("all right", 1), "false-start": ("all right", 2), "stopped-early": ("stopped early", 1),
            "another-tune": ("another tune", None)}
BEGUN = 5  # notes of the false start
STOPPED = 7  # notes of the take that stops early: the first phrase
OTHER = "march-home"


def items(tune: str) -> list[LineItem]:
    return [LineItem(n.midi, float(n.quarters), n.syllable or "la", float(n.rest_after)) for n in load(tune).line()]


def moves_of(line: list[LineItem], intervals: list[float | None]) -> list[dict[str, object]]:
    """The truth of each move; intervals: as sung, None where that cannot be told."""
    moves: list[dict[str, object]] = []
    for i, sung in enumerate(intervals):
        wanted = direction_of(line[i + 1].midi - line[i].midi)
        heard = None if sung is None else direction_of(sung)
        verdict = Verdict.UNSURE if heard is None else Verdict.RIGHT if heard == wanted else Verdict.WRONG
        moves.append({"from": i + 1, "to": i + 2, "wanted": wanted, "heard": heard, "verdict": verdict})
    return moves


def write(stem: str, tune: str, sound: np.ndarray, moves: list[dict[str, object]], **more: object) -> None:
    sound = 0.5 * sound / np.abs(sound).max()
    sound = np.concatenate([np.zeros(int(0.3 * RATE)), sound])  # a sound card may lose the start
    soundfile.write(HERE / f"{stem}.flac", sound, RATE, subtype="PCM_16")
    truth = {"take": f"{stem}.flac", "tune": tune, "phrase": None, **more, "moves": moves}
    (HERE / f"{stem}.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def make(name: str, tune: str, number: int) -> None:
    """One take of the plain ones."""
    line = items(tune)
    middle = (min(n.midi for n in line) + max(n.midi for n in line)) / 2
    kind, ways, snr, roomy = TAKES[name]
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
    known = [performance.interval(i) if snr > 0 or i + 1 < HEARD else None for i in range(len(line) - 1)]
    write(f"{tune}-{name}", tune, sound, moves_of(line, known))


def make_everyday(name: str, tune: str, number: int) -> None:
    """One take that holds more than the line, or less, or another one."""
    line = items(tune)
    rng = np.random.default_rng([2027, number])
    voice = VOICE["older child"]
    sung, known = list(line), len(line) - 1
    if name == "false-start":
        begun = line[:BEGUN]
        sung = [*begun[:-1], LineItem(begun[-1].midi, begun[-1].quarters, begun[-1].syllable, 1.5), *line]
    elif name == "stopped-early":
        sung, known = line[:STOPPED], STOPPED - 1
    elif name == "another-tune":
        sung, known = items(OTHER)[:16], 0
    middle = (min(n.midi for n in sung) + max(n.midi for n in sung)) / 2
    performance = perform(sung, Style(shift=float(round(voice.middle - middle)), miss=0.08), rng)
    sound = render(performance, voice, "speech", rng)
    if name == "talk-before":
        talk = speak(TALK, language=English()).samples
        sound = np.concatenate([talk / np.abs(talk).max() * np.abs(sound).max(), np.zeros(round(0.3 * RATE)), sound])
    sound = noisy(sound, rng, 45)
    at = len(sung) - len(line) if name == "false-start" else 0
    intervals = [performance.interval(at + i) if i < known else None for i in range(len(line) - 1)]
    kind, attempts = EVERYDAY[name]
    write(f"{tune}-{name}", tune, sound, moves_of(line, intervals), kind=kind, attempts=attempts)


def main(*names: str) -> None:
    """Write each take as FLAC and its truth as JSON; only those named, if any are."""
    for makes, takes in ((make, list(TAKES)), (make_everyday, list(EVERYDAY))):
        for number, name in enumerate(takes):
            if not names or name in names:
                makes(name, "snail-wall", number)


if __name__ == "__main__":
    main(*sys.argv[1:])
