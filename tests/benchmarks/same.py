"""Does one take get the same verdicts however it reaches us? `python tests/benchmarks/same.py [--takes 20]`.

Takes of both makers of singers, as sung and then: in other keys (-14 to +14 semitones, where the sung notes
stay within 80 to 1000 Hz), slower and faster by a third, 30 dB quieter (16 bits), at 8 kHz, and as MP3 at
48 kb/s. The last line is one JSON object: for each kind, and over all, the share of moves with the same
verdict, and how many went from "right" to "not that way" or back.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

from tracked import track  # noqa: E402

from companion.ear import read_sound  # noqa: E402
from companion.errors import NothingSung  # noqa: E402
from companion.match import Verdict, match_take  # noqa: E402

RATE = 22050
KEYS = (-14, -9, -5, -2, 1, 4, 8, 14)
LOWEST, HIGHEST = 39.5, 83.2  # MIDI of 80 and 1000 Hz


def as_mp3(samples: np.ndarray, folder: str) -> np.ndarray:
    """Through MP3 at 48 kb/s and back."""
    import av

    held = io.BytesIO()
    with av.open(held, "w", format="mp3") as out:
        stream = out.add_stream("libmp3lame", rate=RATE)
        stream.bit_rate = 48000
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(samples[None, :].astype(np.float32), format="fltp", layout="mono")
        frame.sample_rate = RATE
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=RATE, frame_size=576)
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    path = Path(folder) / "take.mp3"
    path.write_bytes(held.getvalue())
    return read_sound(path).samples


def kinds(maker: str, number: int, seed: int) -> dict[str, list[str]]:
    """Verdicts of one take for each way in which it reaches us."""
    import tempfile

    import soxr
    from singers import VOICES, line_of, melody, noisy, perform, render, some_style

    rng = np.random.default_rng([seed, number])
    line = melody(rng, int(rng.integers(6, 11)))
    voice = VOICES[number % len(VOICES)]
    style, _ = some_style(rng, voice, line, turned=number % 2 == 1)

    def sung(style_now: object) -> tuple[np.ndarray, tuple]:
        chance = np.random.default_rng([seed, number, 1])
        performance = perform(line, style_now, chance)
        sound = noisy(render(performance, voice, maker, chance), chance, 35.0)
        return (sound * (0.5 / max(1e-9, float(np.abs(sound).max())))).astype(np.float32), performance

    plain, performance = sung(style)
    written = line_of(performance)

    def verdicts(samples: np.ndarray, rate: int = RATE) -> list[str]:
        try:
            return [m.verdict for m in match_take(track(samples, rate), written).moves]
        except NothingSung:
            return [Verdict.UNSURE] * (len(written) - 1)

    found = {"plain": verdicts(plain)}
    midi = [n.midi for n in performance.notes]
    for key in KEYS:
        if min(midi) + key > LOWEST and max(midi) + key < HIGHEST:
            found[f"key {key:+d}"] = verdicts(sung(replace(style, shift=style.shift + key))[0])
    found["slower"] = verdicts(sung(replace(style, quarter_s=style.quarter_s * 4 / 3))[0])
    found["faster"] = verdicts(sung(replace(style, quarter_s=style.quarter_s * 3 / 4))[0])
    quiet = np.round(plain * 10 ** (-30 / 20) * 32767) / 32767
    found["30 dB quieter"] = verdicts(quiet.astype(np.float32))
    found["8 kHz"] = verdicts(soxr.resample(plain, RATE, 8000), 8000)
    with tempfile.TemporaryDirectory() as folder:
        found["MP3 48 kb/s"] = verdicts(as_mp3(plain, folder))
    return found


def job(given: tuple[str, int, int]) -> dict[str, list[str]]:
    return kinds(*given)


def report(takes: list[dict[str, list[str]]]) -> dict[str, dict[str, float]]:
    out: dict[str, dict[str, float]] = {}
    total = [0, 0, 0]
    for take in takes:
        for kind, found in take.items():
            if kind == "plain":
                continue
            name = "other keys" if kind.startswith("key") else kind
            row = out.setdefault(name, {"moves": 0, "same": 0, "turned": 0})
            for a, b in zip(take["plain"], found, strict=True):
                row["moves"] += 1
                row["same"] += a == b
                row["turned"] += {a, b} == {Verdict.RIGHT, Verdict.WRONG}
    for row in out.values():
        for k, name in enumerate(("moves", "same", "turned")):
            total[k] += int(row[name])
        row["same"] = round(row["same"] / row["moves"], 4)
    out["all"] = {"moves": total[0], "same": round(total[1] / max(1, total[0]), 4), "turned": total[2]}
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=20, help="of each maker")
    parser.add_argument("--seed", type=int, default=77)
    options = parser.parse_args()
    jobs = [(maker, k, options.seed) for maker in ("formants", "speech") for k in range(options.takes)]
    with ProcessPoolExecutor() as pool:
        print(json.dumps(report(list(pool.map(job, jobs)))))


if __name__ == "__main__":
    main()
