"""Each value that keeps a child safe is changed once, in a copy of the project; a test has to fail each time.

    python tests/safety_mutants.py [PART OF A NAME]

Prints a line a change, "caught" or "SURVIVED", and a JSON object as its last line.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SAFETY = "tests/test_safety_values.py"
#: File, what stands there, what it becomes, and the tests that have to notice.
MUTANTS: list[tuple[str, str, str, str]] = [
    ("audio/playback.py", "CAP_DBFS = -14.0", "CAP_DBFS = -6.0", SAFETY),
    ("audio/playback.py", "LOW_START_DB = 8.0", "LOW_START_DB = 0.0", SAFETY),
    ("audio/playback.py", "PEAK = 0.5", "PEAK = 1.0", SAFETY),
    ("diary/settings.py", "_between(-50, -14, whole=False)", "_between(-50, -6, whole=False)", SAFETY),
    ("diary/settings.py", "Setting(-20.0,", "Setting(-14.0,", SAFETY),
    ("diary/settings.py", "MOST_MINUTES = 20", "MOST_MINUTES = 60", SAFETY),
    ("diary/settings.py", "Setting(10, _between(1, MOST_MINUTES)", "Setting(20, _between(1, MOST_MINUTES)", SAFETY),
    ("diary/settings.py", "Setting(30, _between(1, 3650)", "Setting(365, _between(1, 3650)", SAFETY),
    ("lesson/run.py", "<= MOST_MINUTES:", "<= 10 * MOST_MINUTES:", SAFETY),
    ("lesson/practise.py", "SET_S = 180.0", "SET_S = 600.0", SAFETY),
    ("lesson/practise.py", "REST_S = 15.0", "REST_S = 0.0", SAFETY),
    ("lesson/voice_range.py", "INSIDE = 2.0", "INSIDE = 0.0", SAFETY),
    ("lesson/voice_range.py", "STRAIN_DB = 12.0", "STRAIN_DB = 40.0", SAFETY),
    ("tune/reach.py", "ABOVE_SHOULDER = 0.25", "ABOVE_SHOULDER = 0.45", SAFETY),
    ("tune/reach.py", "BELOW_SHOULDER = 0.35", "BELOW_SHOULDER = 0.6", SAFETY),
    ("tune/reach.py", "HIGHEST_SHOULDER_CM = 40.0, 190.0", "HIGHEST_SHOULDER_CM = 40.0, 230.0", SAFETY),
    ("diary/store.py", "os.O_CREAT | os.O_RDWR, 0o600", "os.O_CREAT | os.O_RDWR, 0o644", SAFETY),
    ("diary/store.py", "exist_ok=True, mode=0o700", "exist_ok=True, mode=0o755", SAFETY),
    ("diary/repair.py", "os.chmod(aside(place), 0o600)", "os.chmod(aside(place), 0o644)", SAFETY),
    ("diary/export.py", "private=True", "private=False", SAFETY),
    ("places.py", "rights & 0o600 if private", "rights if private", "tests/test_limits_of_input.py"),
    ("command/__init__.py", "os.umask(0o077)", "os.umask(0o022)", "tests/test_places.py"),
    ("lesson/review_kept.py", 'getattr(os, "O_BINARY", 0), 0o600)', 'getattr(os, "O_BINARY", 0), 0o644)',
     "tests/lesson/test_lesson_review.py"),
    ("diary/diary.py", "if sound is not None and self.consent(pupil) else None", "if sound is not None else None", SAFETY),
    ("diary/diary.py", 'AND ended_at IS NULL"\n        if self', 'AND 1"\n        if self', SAFETY),
    ("diary/diary.py", 'AND until < ?", (pupil.id, purpose, today)):', 'AND until < ?", (pupil.id, purpose, "")):', SAFETY),
    ("diary/diary.py", "if purpose is Purpose.RECORDING:", "if False:", SAFETY),
    ("diary/diary.py", '"DELETE FROM sounds WHERE until < ?"', '"DELETE FROM sounds WHERE until > ?"', SAFETY),
    ("diary/diary.py", "until < self._clock().date():", "False:", "tests/command/test_command_bad_arguments.py"),
    ("diary/store.py", "erase_copies(self.path)\n", "pass\n", "tests/diary/test_diary_safety.py"),
]


def main() -> int:
    wanted = sys.argv[1] if len(sys.argv) > 1 else ""
    survived = []
    chosen = [m for m in MUTANTS if wanted in m[0] or wanted in m[1]]
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "downloads", "__pycache__"), symlinks=True)
        for name, old, new, tests in chosen:
            file = tree / "companion" / name
            text = file.read_text(encoding="utf-8")
            if old not in text:
                print(f"{name}: {old!r} is not there any more; mend the list.", flush=True)
                survived.append(old)
                continue
            file.write_text(text.replace(old, new, 1), encoding="utf-8")
            done = subprocess.run([sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", tests], cwd=tree,
                                  env={**os.environ, "PYTHONPATH": str(tree)}, capture_output=True, text=True)
            file.write_text(text, encoding="utf-8")
            caught = done.returncode == 1
            survived += [] if caught else [old]
            print(f"{'caught' if caught else 'SURVIVED'}: {name}: {old!r} to {new!r}", flush=True)
    print(json.dumps({"mutants": len(chosen), "survived": survived}))
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main())
