"""The house itself: rooms import upwards only, help is light, nothing heavy comes in unasked."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ["tune", "ear", "match", "cue", "braille", "notate", "diary", "course", "lesson", "page", "command"]
#: What each room may not use although it stands above: braille knows only tune, ear nothing of tunes.
NARROW = {"braille": {"tune"}, "ear": set(), "diary": {"tune", "match"}}


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("companion."):
            found.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("companion.")}
    return found & set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_import_upwards_only(room: str) -> None:
    for path in (ROOT / "companion" / room).glob("**/*.py"):
        used = imports(path) - {room}
        allowed = NARROW.get(room, set(ROOMS[:ROOMS.index(room)]))
        assert used <= allowed, f"{path.relative_to(ROOT)} uses {sorted(used - allowed)}"


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
