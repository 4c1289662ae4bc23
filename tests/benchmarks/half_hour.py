"""Half an hour of lesson in real time on a sound card of software: memory, lost sound, and drift.

The lesson runs in a process of its own with the devices that the command has, but for a microphone that counts; a synthesised
child sings phrase after phrase, each right. Needs PulseAudio and PortAudio (see tests/soundcard.py).

Prints last a JSON object. `resident_mb`: of the lesson's process after three minutes, in the middle and at the end. `lost`: how
often the microphone lost sound; `missing_s`: seconds that passed less seconds of sound that came in. `wait_first_s`,
`wait_last_s`: from the end of the voice to the first sample of the answer, median of the first and the last ten minutes: what is
heard and what is played drift apart no further than these do. `load`: of the machine, since real time is what other work takes
from.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
from latency import ROOT, RightSinger, tune_of_phrases, waits_of
from live_pupil import Program, sing_along
from soundcard import software_card

SECONDS_A_PHRASE = 6.0  # at least, so that there are phrases enough
EVERY_S = 10.0  # between two looks at the memory
SETTLED_S = 180.0  # by when all that a session needs is loaded and compiled


def inside(path: str) -> None:
    """The lesson itself, with a microphone that counts; at the end the counts go to stderr, as JSON."""
    from companion.ear import Microphone
    from companion.lesson import Devices, SessionOptions, run_lesson

    class Counting(Microphone):
        def __init__(self) -> None:
            super().__init__()
            self.began, self.ended = time.monotonic(), 0.0
            self.before = self.blocks

        def close(self) -> None:
            self.ended = time.monotonic()
            self.frames = (self.blocks - self.before) * 0.02
            super().close()

    opened: list[Counting] = []

    def ears(settings: Any) -> Counting:
        opened.append(Counting())
        return opened[-1]

    run_lesson(SessionOptions(helper=True, devices=Devices(ears=ears)), path)
    ear = opened[-1]
    print(json.dumps({"lost": ear.lost, "missing_s": round(ear.ended - ear.began - ear.frames, 2),
                      "seconds": round(ear.ended - ear.began)}), file=sys.stderr)


def resident_mb(pid: int) -> float:
    """Memory of a process that lies in RAM (Linux, /proc)."""
    text = Path(f"/proc/{pid}/status").read_text()
    return int(text.split("VmRSS:")[1].split()[0]) / 1000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--inside", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.inside:
        inside(options.inside)
        return
    seconds = 60 * options.minutes
    memory: list[tuple[float, float]] = []
    with tempfile.TemporaryDirectory() as folder, software_card() as card, card.recording() as record:
        path = Path(folder) / "short.musicxml"
        tune = tune_of_phrases(int(seconds / SECONDS_A_PHRASE) + 20, path)
        program = Program(card, "--inside", str(path), script=(str(ROOT / "tests" / "benchmarks" / "half_hour.py"),),
                          stdin=-1)
        singer = RightSinger(tune, program, record)

        def watch() -> None:
            end = program.started + seconds
            while program.running and time.monotonic() < end:
                memory.append((time.monotonic() - program.started, resident_mb(program.process.pid)))
                time.sleep(EVERY_S)
            if program.running and program.process.stdin is not None:
                program.process.stdin.write("qq")
                program.process.stdin.flush()

        threading.Thread(target=watch, daemon=True).start()
        sing_along(card, record, program, singer, seconds + 120)
        code = program.end()
        time.sleep(0.5)
        waits = waits_of(singer.starts, record.samples)
    if code:
        sys.exit(program.errors)
    counts = json.loads(program.errors.strip().splitlines()[-1])
    settled = [mb for at, mb in memory if at >= min(SETTLED_S, seconds / 3)]
    third = seconds / 3
    first = [w for at, w in waits if at < waits[0][0] + third]
    last = [w for at, w in waits if at > waits[-1][0] - third]
    print(json.dumps({**counts, "answers": len(waits),
                      "resident_mb": [round(settled[0], 1), round(settled[len(settled) // 2], 1), round(settled[-1], 1)],
                      "wait_first_s": round(float(np.median(first)), 3), "wait_last_s": round(float(np.median(last)), 3),
                      "load": round(float(np.mean(singer.loads)), 1), "cores": os.cpu_count()}))


if __name__ == "__main__":
    main()
