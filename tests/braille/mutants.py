"""Small changes of the braille package that a reader would feel in signs, octaves, ties, words, sheets or hints. Each is
made in a copy of the project, and a test of tests/braille must fail. Made without having read those tests; two were made
anew when what they changed was gone.

    python tests/braille/mutants.py [NUMBER ...]
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

#: File of the package, what stands there, what stands there instead.
MUTANTS: tuple[tuple[str, str, str], ...] = (
    # the octave rule
    ("pieces.py", "return steps > 4 or steps < -4 or", "return steps > 5 or steps < -4 or"),
    ("pieces.py", "((steps > 2 or steps < -2)", "((steps > 3 or steps < -2)"),
    ("notes.py", "if index - last > 4:", "if index - last > 3:"),
    ("lines.py", "        page.new(runover)\n        mark_first(pieces, marks)\n", "        page.new(runover)\n"),
    ("pieces.py", "        if bar.barline is not Barline.DOTTED:\n            self.before = None\n", ""),
    ("encode.py", "encoder.before = None  # after a number", "pass  # after a number"),
    # accidentals and ties
    ("pieces.py", "needed = same_line or alter", "needed = alter"),
    ("notes.py", "        if tied is None:\n            self.in_force[place] = alter\n",
     "        self.in_force[place] = alter\n"),
    ("expressions.py", "if same else abs(old.fifths)", "if not same else abs(old.fifths)"),
    # bars, repeats, rests
    ("encode.py", "if k == len(runs) - 1:", "if k == 0:"),
    ("encode.py", "for k in range(count)] if count <= 3 else [", "for k in range(count)] if count <= 4 else ["),
    # words
    ("text.py", 'if number and first and first <= "j":', 'if number and first and first < "j":'),
    ("text.py", '_BEFORE_OPENING = frozenset(" ([{', '_BEFORE_OPENING = frozenset(" [{'),
    ("encode.py", 'out += "-"', "pass"),
    ("units.py", "point = text in S.ABBREVIATIONS or (", "point = True or ("),
    # slurs over words
    ("ahead.py", "LONG_SLUR = 5", "LONG_SLUR = 6"),
    ("notes.py", "under = self.chain or self.doubled > 0", "under = self.chain"),
    # sheets
    ("page.py", "if k <= end)", "if k < end)"),
    ("page.py", 'endswith(f"   #{figures}")', 'endswith(f"#{figures}")'),
    ("layout.py", "HEAD_INDENT = 4", "HEAD_INDENT = 2"),
    # hints
    ("hints.py", "THIRD, SIXTH, OCTAVE = 2, 5, 7", "THIRD, SIXTH, OCTAVE = 2, 5, 8"),
    ("hints.py", "for bar in tune.bars[max(0, here.bar - 1):here.bar + 1]", "for bar in tune.bars[here.bar:here.bar + 1]"),
    ("bars.py", "for bar in self.bars[1:])", "for bar in self.bars[2:])"),
)


def main() -> int:
    chosen = [int(a) for a in sys.argv[1:]] or range(1, len(MUTANTS) + 1)
    survived = []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "*.pyc", "__pycache__", ".pytest_cache"))
        for number in chosen:
            name, before, after = MUTANTS[number - 1]
            file = copy / "companion/braille" / name
            text = file.read_text(encoding="utf-8")
            if text.count(before) != 1:
                raise SystemExit(f"{number}: {name} has {before!r} {text.count(before)} times")
            file.write_text(text.replace(before, after), encoding="utf-8")
            tests = [sys.executable, "-m", "pytest", "-q", "-x", "tests/braille", "-p", "no:cacheprovider"]
            done = subprocess.run(tests, cwd=copy, env=os.environ | {"PYTHONPATH": str(copy)}, capture_output=True, text=True,
                                  check=False)
            failed = next((line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))), "")
            survived += [] if done.returncode == 1 else [number]
            print(f"{number} {'caught' if done.returncode == 1 else 'SURVIVED'}: {name}, {after.strip()[:60]!r} {failed[:110]}",
                  flush=True)
            file.write_text(text, encoding="utf-8")
    print(json.dumps({"mutants": len(chosen), "survived": survived}))
    return bool(survived)


if __name__ == "__main__":
    sys.exit(main())
