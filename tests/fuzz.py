"""Inputs thrown at every reader for so long, block by block, each from its own seed (see tests/test_strangers_files.py).

    python tests/fuzz.py [--minutes 10] [--from 0] [--only wav,mid]

Goes on after what fails, says the seed, and prints one JSON object as its last line: inputs of each kind, and what failed.
`--from N` begins with the Nth block, so that another night goes on where this one stopped.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

from test_strangers_files import BLOCK, CASES, throw  # noqa: E402

from companion import limits  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--only", default=",".join(CASES))
    options = parser.parse_args()
    limits._limited_already = True  # read here, as in the tests: a process for each input would take most of the time
    end = time.monotonic() + 60 * options.minutes
    thrown: dict[str, int] = {}
    failed: dict[str, str] = {}
    number = options.first
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        while time.monotonic() < end:
            for name in options.only.split(","):
                try:
                    thrown[name] = thrown.get(name, 0) + throw(name, BLOCK, Path(folder), number)
                except Exception as fault:
                    failed[f"{name} from seed {number}"] = f"{type(fault).__name__}: {fault}"[:300]
                    print(name, number, failed[f"{name} from seed {number}"], flush=True)
                if time.monotonic() > end:
                    break
            number += 1
        os.chdir("/")
    print(json.dumps({"inputs": sum(thrown.values()), "each": thrown, "next_block": number, "failed": failed}))


if __name__ == "__main__":
    main()
