"""Speed, as ratios only: `python tests/benchmarks/speed.py [--pairs 7] [--hour-s 3600]`.

Each ratio is the median of paired runs (one of ours, one of the other's, in turn) in this one process, on one
thread. The last line is one JSON object:
- tracker_times_as_fast: `librosa.pyin` against our tracker, same frame, hop and range, streamed in blocks of
  1024 samples; on a demo take that ships;
- work_left_share: what is still to be done in the live loop when the block has come in with which the answer is
  decided (tracking, match, verdicts, words), against `librosa.pyin` on the whole phrase;
- answer_share: the whole answer to a finished take (tracking, finding the line, verdicts), loaded and on one thread,
  against the length of the take: a plain take, ten minutes of it again and again held against a line of ten notes,
  ten minutes of another tune; answer_times_as_fast: librosa.pyin on the plain take against it; answer_linear: a second
  of the ten minutes against a second of one minute;
- braille_times_as_fast, reading_against_writing: on tunes of music21's corpus, against `music21.braille`;
- start_ratio, start_s: `companion --help` against a bare interpreter;
- memory_mb_more: an hour of sound through the stream against a minute of it, peak of each process;
- hour_last_against_first: time for the last sixth of that hour against the first.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
BLOCK = 1024


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def paired(ours: Callable[[], object], theirs: Callable[[], object], pairs: int) -> list[float]:
    """Theirs over ours, once for warming and then `pairs` times."""
    ours()
    theirs()
    return [seconds(theirs) / seconds(ours) for _ in range(pairs)]


def stream(samples: np.ndarray) -> None:
    from companion.ear.tracker import Tracker

    tracker = Tracker()
    for at in range(0, len(samples), BLOCK):
        tracker.push(samples[at:at + BLOCK])
    tracker.finish()


def work_left(samples: np.ndarray) -> float:
    """Seconds of work in the block in which the answer is decided, up to its words; silence follows the phrase."""
    from companion.language import English, cue_text
    from companion.lesson.listen import Listener
    from companion.match import advise
    from companion.tune import load

    listener = Listener(load("snail-wall").line(), 0.5)
    sound = np.concatenate([samples, np.zeros(2 * 22050, dtype=np.float32)])
    for at in range(0, len(sound), BLOCK):
        start = time.perf_counter()
        heard = listener.push(sound[at:at + BLOCK])
        if heard is not None and heard.match is not None:
            cue_text(English(), heard.match, advise(heard.match))
            return time.perf_counter() - start
    raise RuntimeError("the take was not answered")


def answered(samples: np.ndarray, notes: int | None = None) -> float:
    """Seconds for the whole answer to a take of the first `notes` notes (all of them where None) of its tune."""
    from companion.ear import Sound, track
    from companion.match import match_take
    from companion.tune import load

    line = load("snail-wall").line()[:notes]
    return seconds(lambda: match_take(track(Sound(samples, 22050)), line))


def again(samples: np.ndarray, length_s: float) -> np.ndarray:
    """The same sound again and again, so many seconds long."""
    return np.resize(samples, int(length_s * 22050))


def answers(samples: np.ndarray, other: np.ndarray, by_librosa: Callable[[], object], pairs: int) -> dict[str, float]:
    """The whole answer's time, as shares of the take's length and ratios; `other` is a take of another tune."""
    answered(samples)
    plain = [(answered(samples), seconds(by_librosa)) for _ in range(pairs)]
    long = [(answered(again(samples, 600.0), 10) / 600, answered(again(samples, 60.0), 10) / 60)
            for _ in range(max(1, pairs // 3))]
    return {"answer_share": round(statistics.median(a for a, _ in plain) / (len(samples) / 22050), 4),
            "answer_share_ten_minutes": round(statistics.median(a for a, _ in long), 4),
            "answer_share_ten_minutes_of_another_tune": round(answered(again(other, 600.0), 10) / 600, 4),
            "answer_linear": round(statistics.median(a / b for a, b in long), 2),
            "answer_times_as_fast": round(statistics.median(b / a for a, b in plain), 2)}


HOUR = """
import resource, sys, time
sys.path.insert(0, {root!r})
import numpy as np
from companion.ear.tracker import Tracker
from companion.ear import read_sound
sound = read_sound({take!r}).samples
tracker, marks, start = Tracker(), [], time.perf_counter()
blocks = int({seconds} * 22050 / 1024)
long = np.tile(sound, 3)
for k in range(blocks):
    at = (k * 1024) % len(sound)
    tracker.push(long[at:at + 1024])
    if k % max(1, blocks // 6) == 0:
        marks.append(time.perf_counter() - start)
tracker.finish()
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, (marks[-1] - marks[-2]) / (marks[1] - marks[0]))
"""


def through_the_stream(take: Path, length_s: float) -> tuple[float, float]:
    """(peak MB, time of the last sixth against the first) of a process that tracks `length_s` of sound."""
    code = HOUR.format(root=str(ROOT), take=str(take), seconds=length_s)
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    return float(out[0]), float(out[1])


def start_up(pairs: int) -> tuple[float, float]:
    """(`companion --help` over a bare interpreter, its seconds), medians."""
    ours = [sys.executable, "-m", "companion", "--help"]
    bare = [sys.executable, "-c", "pass"]

    def run(command: list[str]) -> float:
        return seconds(lambda: subprocess.run(command, cwd=ROOT, capture_output=True, check=True))

    rows = [(run(ours), run(bare)) for _ in range(pairs)]
    return statistics.median(a / b for a, b in rows), statistics.median(a for a, _ in rows)


def braille(pairs: int) -> dict[str, float]:
    """Our encoder against music21's, and reading against writing, on tunes of music21's corpus."""
    import music21
    from music21.braille.translate import objectToBraille

    from companion.braille import encode
    from companion.tune import from_music21

    scores = []
    for score in list(music21.corpus.parse("essenFolksong/altdeu10").scores)[:200:8]:
        try:
            objectToBraille(copy.deepcopy(score))
        except Exception:
            continue  # music21 cannot write this one
        scores.append(score)
    fresh = [copy.deepcopy(scores) for _ in range(pairs + 1)]  # music21 writes into what it translates
    tunes = [from_music21(s.parts[0]) for s in scores]
    pages = [encode(t, width=120) for t in tunes]
    found = {"braille_times_as_fast": statistics.median(paired(
        lambda: [encode(t, width=120) for t in tunes], lambda: [objectToBraille(s) for s in fresh.pop()], pairs))}
    try:
        from companion.braille import decode
    except ImportError:
        return found
    found["reading_against_writing"] = statistics.median(paired(
        lambda: [decode(p.lines) for p in pages], lambda: [encode(t, width=120) for t in tunes], pairs))
    return found


def main() -> None:
    import librosa

    from companion.ear import read_sound
    from companion.ear.tracker import FRAME, HIGH_HZ, HOP, LOW_HZ

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=int, default=7)
    parser.add_argument("--hour-s", type=float, default=3600.0)
    options = parser.parse_args()
    take = ROOT / "recordings" / "snail-wall-right.flac"
    samples = read_sound(take).samples

    def by_librosa() -> None:
        librosa.pyin(samples, fmin=LOW_HZ, fmax=HIGH_HZ, sr=22050, frame_length=FRAME, hop_length=HOP)

    tracker = paired(lambda: stream(samples), by_librosa, options.pairs)
    work_left(samples)
    other = read_sound(ROOT / "recordings" / "snail-wall-another-tune.flac").samples
    answer = answers(samples, other, by_librosa, options.pairs)
    left = [work_left(samples) / seconds(by_librosa) for _ in range(options.pairs)]
    ratio, start_s = start_up(options.pairs)
    hour, minute = through_the_stream(take, options.hour_s), through_the_stream(take, 60.0)
    print(json.dumps({
        "tracker_times_as_fast": round(statistics.median(tracker), 2),
        "work_left_share": round(statistics.median(left), 4), **answer,
        **{k: round(v, 2) for k, v in braille(options.pairs).items()},
        "start_ratio": round(ratio, 2), "start_s": round(start_s, 3),
        "memory_mb_more": round(hour[0] - minute[0], 1), "hour_last_against_first": round(hour[1], 2),
        "versions": {"python": platform.python_version(), "numpy": np.__version__, "librosa": librosa.__version__}}))


if __name__ == "__main__":
    main()
