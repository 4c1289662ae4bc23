"""A list of many takes: how long it takes, what it costs in memory, and whether a stop in the middle loses or doubles any.

    python tests/benchmarks/review_many.py [--takes 2000] [--jobs 2]

The takes are pitch tracks of snail-wall, each with other small errors; the first run is killed (SIGKILL) when a third is done,
and the same line then goes on. Prints a JSON object as its last line.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
QUAVER_S, HOP_S = 0.35, 0.01


def write_takes(folder: Path, count: int) -> Path:
    """Pitch tracks and the list that names them."""
    sys.path.insert(0, str(ROOT))
    from companion.tune import load

    line = load("snail-wall").line()
    rng = random.Random(18)
    rows = ["take,tune"]
    for k in range(count):
        shift = rng.uniform(-4, 4)
        frames = [0.0] * 30
        for note in line:
            hz = 440 * 2 ** ((note.midi + shift + rng.gauss(0, 0.2) - 69) / 12)
            length = round(float(note.quarters) * 2 * QUAVER_S / HOP_S)
            frames += [hz * 2 ** (rng.gauss(0, 0.1) / 12) for _ in range(length - 4)] + [0.0] * 4
        text = "time_s,f0_hz\n" + "".join(f"{i * HOP_S:.2f},{f:.2f}\n" for i, f in enumerate(frames))
        (folder / f"take-{k}.csv").write_text(text)
        rows.append(f"take-{k}.csv,snail-wall")
    path = folder / "list.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=2000)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        takes = write_takes(folder, options.takes)
        answers = folder / "answers.jsonl"
        command = [sys.executable, "-m", "companion", "review", str(takes), "--json", "--jobs", str(options.jobs), "--resume",
                   str(answers)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        began = time.monotonic()
        first = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        assert first.stdout is not None
        seen = 0
        for _line in first.stdout:
            seen += 1
            if seen == options.takes // 3:
                first.send_signal(signal.SIGKILL)
                break
        first.wait()
        kept = sum(1 for _ in answers.open()) - 1
        again = subprocess.run(command, capture_output=True, text=True, env=environment)
        seconds = time.monotonic() - began
        names = [json.loads(line)["take"] for line in again.stdout.splitlines()]
        rows = [json.loads(line) for line in answers.read_text().splitlines()[1:]]
        worked = [json.loads(row["of"])[0] for row in rows]
        print(json.dumps({
            "takes": options.takes, "said_before_the_kill": seen, "kept_at_the_kill": kept, "exit": again.returncode,
            "in_order_and_each_once": names == [f"take-{k}.csv" for k in range(options.takes)],
            "worked_on_once_each": len(worked) == len(set(worked)) == options.takes, "seconds": round(seconds, 1),
            "largest_process_mb": round(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024),
            "python": platform.python_version()}))


if __name__ == "__main__":
    main()
