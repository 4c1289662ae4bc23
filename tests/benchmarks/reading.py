"""How long the reader of music braille takes against another state of the project, on the same pages, in turn.

    git worktree add /tmp/before 2c83a82
    python tests/benchmarks/reading.py /tmp/before [--tunes 60] [--pairs 7]

Pages of folk melodies and, again and again, the same pages: `first` is a page met for the first time by a process, `again`
one met before. Each state reads in a process of its own, the two in turn; times are of the processor, so that a busy machine
tells less; ratios are medians of pairs, above 1 where this state is slower. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

WORKER = """
import gc, json, sys, time
sys.path.insert(0, sys.argv[1])
from companion.braille import decode
pages = json.load(open(sys.argv[2]))
half = len(pages) // 2
for page in pages[:half]:
    decode(page)
gc.collect(); gc.disable()
start = time.process_time()
for page in pages[half:]:
    decode(page)
first = time.process_time() - start
start = time.process_time()
for _ in range(5):
    for page in pages:
        decode(page)
print(json.dumps([first, time.process_time() - start]))
"""


def pages(tunes: int) -> list[list[str]]:
    sys.path[:1] = [str(ROOT), str(ROOT / "tests")]  # not our own folder, where a file has the name of the tests
    from braille import corpus

    from companion.braille import encode
    from companion.tune import from_music21

    parts = [corpus.parse(abc) for _name, abc in corpus.sample(tunes, seed=11)]
    return [list(encode(from_music21(part)).lines) for part in parts if part.recurse().notes]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("before")
    parser.add_argument("--tunes", type=int, default=60)
    parser.add_argument("--pairs", type=int, default=7)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "pages.json"
        kept.write_text(json.dumps(pages(options.tunes)), encoding="utf-8")

        def read(tree: str) -> list[float]:
            done = subprocess.run([sys.executable, "-c", WORKER, tree, str(kept)], capture_output=True, text=True, check=True,
                                  cwd=folder, env={k: v for k, v in os.environ.items() if k != "PYTHONPATH"})
            found: list[float] = json.loads(done.stdout)
            return found

        times = [(read(options.before), read(str(ROOT))) for _unused in range(options.pairs)]
    ratios = {name: [now[k] / before[k] for before, now in times] for k, name in enumerate(("first", "again"))}
    print(json.dumps({"tunes": options.tunes} | {name: {"median": round(statistics.median(r), 3), "least": round(min(r), 3),
                                                        "most": round(max(r), 3)} for name, r in ratios.items()}))


if __name__ == "__main__":
    main()
