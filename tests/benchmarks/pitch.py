"""Pitch against a known one: `python tests/benchmarks/pitch.py WAV F0_CSV`, `--singers 30 [--seed 700]`, or `--ends 8`.

Against a hand-made track, or on so many takes of each maker of synthesised singers against what they sang
(the seeds 11 to 14 served for choosing the gate, 31 and 32 for checking it). By mir_eval.melody, 80 to 1100 Hz,
for ours, librosa.pyin (frame 1024, hop 221) and Praat's autocorrelation (10 ms) by parselmouth. Where a tracker
has a pitch for frames that it calls unvoiced (ours and librosa's do), it counts for raw pitch and not for voicing:
a negative number, as mir_eval has it. `--ends`: so many lines each of low men, squealing children, whistles and recorders, 60
to 2000 Hz, for ours at the range that it has and at 80 to 1400 Hz. `--only companion` leaves
the others out. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

LOW, HIGH = 80.0, 1100.0


def read_f0(path: Path) -> tuple[np.ndarray, np.ndarray]:
    rows = np.array([[float(x) for x in line.split(",")[:2]] for line in path.read_text().splitlines()
                     if line.strip() and (line.strip()[0].isdigit() or line.strip()[0] == ".")])
    return rows[:, 0], rows[:, 1]


def of_companion(samples: np.ndarray, rate: int) -> tuple[np.ndarray, np.ndarray]:
    from tracked import track

    found = track(samples.astype(np.float32), rate)
    assert found.guess_hz is not None
    return found.time_s, np.where(found.f0_hz > 0, found.f0_hz, -found.guess_hz)


def of_librosa(samples: np.ndarray, rate: int) -> tuple[np.ndarray, np.ndarray]:
    import librosa

    low = samples if rate == 22050 else librosa.resample(samples, orig_sr=rate, target_sr=22050)
    f0, voiced, _ = librosa.pyin(low, fmin=LOW, fmax=HIGH, sr=22050, frame_length=1024, hop_length=221,
                                 fill_na=None)
    return np.arange(len(f0)) * 221 / 22050, np.where(voiced, f0, -f0)


def of_praat(samples: np.ndarray, rate: int) -> tuple[np.ndarray, np.ndarray]:
    import parselmouth

    pitch = parselmouth.Sound(samples.astype(np.float64), rate).to_pitch_ac(
        time_step=0.01, pitch_floor=LOW, pitch_ceiling=HIGH)
    return pitch.xs(), pitch.selected_array["frequency"]


MAKERS = {"companion": of_companion, "librosa": of_librosa, "praat": of_praat}


def ends(count: int) -> dict[str, dict[str, float]]:
    """Mean overall accuracy over `count` lines of each kind at an end of the range, ours now and with 80 to 1400 Hz."""
    import mir_eval
    from singers.performance import STEP_S
    from singers.whistle import ENDS, end_take

    from companion.ear.pyin import Pyin
    from companion.ear.tracker import BOLTZMANN, FRAME, HOP, LOOK_AHEAD, VoiceGate

    def narrow(samples: np.ndarray) -> np.ndarray:
        stream = Pyin(22050, FRAME, HOP, 80.0, 1400.0, LOOK_AHEAD, BOLTZMANN, VoiceGate())
        return np.concatenate([stream.push(samples).f0_hz, stream.finish().f0_hz])

    out: dict[str, dict[str, float]] = {}
    for name in ENDS:
        rows: dict[str, list[float]] = {"now": [], "80 to 1400 Hz": []}
        for seed in range(100, 100 + count):
            samples, p = end_take(name, seed)
            truth = np.where(np.isnan(p.contour), 0.0, 440.0 * 2.0 ** ((np.nan_to_num(p.contour) - 69.0) / 12.0))
            for how, f0 in (("now", of_companion(samples, 22050)[1]), ("80 to 1400 Hz", narrow(samples))):
                found = mir_eval.melody.evaluate(np.arange(len(truth)) * STEP_S, truth, np.arange(len(f0)) * HOP / 22050, f0)
                rows[how].append(float(found["Overall Accuracy"]))
        out[name] = {how: round(float(np.mean(x)), 3) for how, x in rows.items()}
    return out


def scores(reference: tuple[np.ndarray, np.ndarray], found: tuple[np.ndarray, np.ndarray]) -> dict[str, float]:
    import mir_eval

    ref_time, ref_f0 = reference
    ref_f0 = np.where((ref_f0 >= LOW) & (ref_f0 <= HIGH), ref_f0, 0.0)
    time_s, f0 = found
    if time_s[0] > 0:
        time_s, f0 = np.append(0.0, time_s), np.append(0.0, f0)
    result = mir_eval.melody.evaluate(ref_time, ref_f0, time_s, f0)
    return {"overall_accuracy": round(float(result["Overall Accuracy"]), 4),
            "raw_pitch_accuracy": round(float(result["Raw Pitch Accuracy"]), 4),
            "voicing_false_alarm": round(float(result["Voicing False Alarm"]), 4)}


def measure(samples: np.ndarray, rate: int, reference: tuple[np.ndarray, np.ndarray]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, make in MAKERS.items():
        make(samples[: rate * 2], rate)  # once for what is compiled or loaded at first use
        start = time.perf_counter()
        found = make(samples, rate)
        spent = time.perf_counter() - start
        out[name] = {**scores(reference, found), "seconds_per_second": round(spent / (len(samples) / rate), 4)}
    return out


def sung(count: int, seed: int) -> dict[str, Any]:
    """Means over `count` takes of each maker, all of them and by what is round the voice."""
    from singers import corpus
    from singers.performance import STEP_S

    rows: dict[str, list[tuple[str, dict[str, float]]]] = {name: [] for name in MAKERS}
    for k, maker in enumerate(("formants", "speech")):
        for take in corpus(maker, count, seed + k):
            contour, tags = take.performance.contour, take.performance.tags
            truth = (np.arange(len(contour)) * STEP_S,
                     np.where(np.isnan(contour), 0.0, 440.0 * 2.0 ** ((np.nan_to_num(contour) - 69.0) / 12.0)))
            kind = "noise" if tags["noise"] else "room" if tags["room"] else "clear"
            for name, make in MAKERS.items():
                rows[name].append((kind, scores(truth, make(take.samples, take.rate))))

    def mean(of: list[dict[str, float]]) -> dict[str, float]:
        return {key: round(float(np.mean([x[key] for x in of])), 4) for key in of[0]}

    return {name: {"all": mean([x for _, x in found]),
                   **{kind: mean([x for k, x in found if k == kind])["overall_accuracy"]
                      for kind in sorted({k for k, _ in found})}} for name, found in rows.items()}


def versions() -> dict[str, str]:
    import librosa
    import mir_eval
    import parselmouth

    return {"python": platform.python_version(), "numpy": np.__version__, "librosa": librosa.__version__,
            "parselmouth": parselmouth.__version__, "praat": parselmouth.PRAAT_VERSION,
            "mir_eval": mir_eval.__version__}


def main() -> None:
    import soundfile

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("wav", type=Path, nargs="?")
    parser.add_argument("f0", type=Path, nargs="?")
    parser.add_argument("--singers", type=int, metavar="TAKES")
    parser.add_argument("--seed", type=int, default=700)
    parser.add_argument("--ends", type=int, metavar="LINES")
    parser.add_argument("--only", choices=list(MAKERS))
    arguments = parser.parse_args()
    if arguments.only:
        for name in set(MAKERS) - {arguments.only}:
            del MAKERS[name]
    if arguments.ends:
        print(json.dumps(ends(arguments.ends)))
        return
    if arguments.singers:
        print(json.dumps({**sung(arguments.singers, arguments.seed), "versions": versions()}))
        return
    if arguments.wav is None or arguments.f0 is None:
        sys.exit("Give a recording and its pitch track, or --singers and how many takes.")
    for path in (arguments.wav, arguments.f0):
        if not path.exists():
            sys.exit(f"{path} is missing; give a recording and its pitch track.")
    samples, rate = soundfile.read(arguments.wav)
    if samples.ndim > 1:
        samples = samples.mean(axis=1)
    print(json.dumps({**measure(samples, rate, read_f0(arguments.f0)), "versions": versions()}))


if __name__ == "__main__":
    main()
