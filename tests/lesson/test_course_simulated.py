"""The simulated pupils of the benchmark, on fewer days and runs: the load that a child can carry, and reading as the only way."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]


def measured(*arguments: str) -> dict[str, Any]:
    done = subprocess.run([sys.executable, "tests/benchmarks/course.py", *arguments], cwd=ROOT, capture_output=True, text=True,
                          check=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


@pytest.mark.slow
def test_the_load_of_a_diligent_a_forgetful_and_an_absent_pupil() -> None:
    found = measured("--only", "load", "--days", "40")
    for pupil in ("diligent", "forgetful", "absent"):
        figures = found[pupil]
        assert figures["pile"] <= 1.0, (pupil, figures)  # one sitting
        assert figures["wrong_back"] >= 0.9, (pupil, figures)
        assert figures["minutes"][1] <= 1.1 * found["budget_minutes"], (pupil, figures)
        assert figures["uses_the_new"] >= 0.9, (pupil, figures)
        assert figures["song_within_five"] == 1.0, (pupil, figures)


@pytest.mark.slow
def test_who_reads_nothing_passes_no_stage_and_who_learns_passes() -> None:
    found = measured("--only", "reading", "--runs", "8")
    assert [found[kind]["passed"] for kind in ("parrot", "guesser", "rememberer", "learner")] == [0, 0, 0, 8]
