"""What is loaded when: help is light, nothing heavy comes in unasked."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def test_help_is_light() -> None:
    code = ("import sys; from companion.command import main; main(['--help']);"
            "print([m for m in ('librosa', 'numba', 'scipy', 'music21', 'numpy', 'soundfile') if m in sys.modules])")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    assert out.splitlines()[-1] == "[]"


def test_hearing_a_pitch_track_needs_no_heavy_library() -> None:
    code = ("import sys; import companion.ear, companion.match.take, companion.language.cues, companion.ear.tracker;"
            "print([m for m in ('librosa', 'numba', 'scipy', 'music21', 'av') if m in sys.modules])")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    assert out.strip() == "[]"


def test_no_box_drawing_or_art_in_what_is_said() -> None:
    for path in (ROOT / "companion").glob("**/*.py"):
        text = path.read_text(encoding="utf-8")
        assert not any(0x2500 <= ord(c) <= 0x25FF for c in text), path


@pytest.mark.skipif("PYTEST_XDIST_WORKER" not in os.environ, reason="only with pytest -n")
def test_the_groups_of_tests_reach_the_workers(request: pytest.FixtureRequest) -> None:
    """A version of pytest under which pytest-xdist loses them in silence runs what goes by the clock two at a time."""
    assert request.node.nodeid.endswith("@test_house")
