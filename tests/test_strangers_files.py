"""Whatever a file holds or somebody types: it is read, or refused in one sentence. Never a fault of ours, never for long.

Inputs are valid ones that hypothesis changes, or bytes and texts of its own. A few of each by default, always the same;
a million with --overnight, or as many as there is time for with `python tests/fuzz.py`. What once failed stands in KEPT.
"""

from __future__ import annotations

import io
import json
import sys
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from companion.braille import encode, read_file
from companion.command import COMMANDS, main
from companion.course import check_stages
from companion.diary import Diary, SessionKind, SettingName, check_diary, open_or_beside, read_setting, repair_diary
from companion.ear import read_sound, read_track
from companion.errors import Trouble
from companion.paper import song_brf
from companion.tune import load, save

ROOT = Path(__file__).resolve().parents[1]
LONGEST_S = 20.0  # of processor time, for the smallest of files; a busy machine does not count
Change = tuple[float, bytes, int]  # where, as a share of the file; what is put in; how many bytes it replaces

CHANGES = st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=5), st.integers(0, 5)), max_size=8)
#: Numbers and words as they stand in scores, tracks and settings where somebody is careless or means harm.
ODD = st.one_of(st.sampled_from(["", "0", "-1", "1e400", "nan", "inf", "\u00b2", "9" * 30, "0.5", "1/0", "\x00", "\u202e", "true",
                                 "C##", "../../etc/passwd", "%s", "{x}", "--", "-", "\n", "4+4", "1-99999", "\ud800"]),
                st.integers(-300, 300).map(str), st.text(max_size=8))


def changed(data: bytes, changes: list[Change]) -> bytes:
    for share, new, cut in changes:
        at = int(share * len(data))
        data = data[:at] + new + data[at + cut:]
    return data


@cache
def shipped(kind: str) -> bytes:
    """A valid file of a kind, small."""
    import tempfile

    if kind in ("musicxml", "mxl", "mid"):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"t.{kind}"
            save(load("mole"), path)
            return path.read_bytes()
    if kind == "brf":
        return song_brf(encode(load("mole")))
    if kind == "csv":
        return b"time_s,f0_hz\n" + b"".join(b"%.2f,%d\n" % (k / 100, 200 + k) for k in range(30))
    if kind == "toml":
        return min((ROOT / "companion" / "course" / "stages").glob("*.toml")).read_bytes()
    import numpy as np
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.sin(np.arange(2000) / 9).astype(np.float32), 8000, format=kind.upper())
    return out.getvalue()


def one_sentence(trouble: Trouble) -> None:
    said = str(trouble)
    assert said.strip()
    assert said.rstrip().endswith((".", "?")), said
    assert "Traceback" not in said


def quickly(work: Callable[[], object]) -> None:
    """The work, refused in one sentence or done, within its time."""
    began = time.process_time()
    try:
        work()
    except Trouble as trouble:
        one_sentence(trouble)
    assert time.process_time() - began < LONGEST_S


def a_file(kind: str, read: Callable[[Path], object]) -> Callable[[Path, Any], None]:
    def check(folder: Path, changes: list[Change]) -> None:
        path = folder / f"t.{kind}"
        path.write_bytes(changed(shipped(kind), changes))
        quickly(lambda: read(path))

    return check


def a_score_with_odd_numbers(folder: Path, odd: list[tuple[float, str]]) -> None:
    """MusicXML whose elements hold other texts than they did."""
    import re
    from xml.sax.saxutils import escape

    text = shipped("musicxml").decode()
    for share, word in odd:
        places = list(re.finditer(">([^<>\\s]+)<", text))
        place = places[min(len(places) - 1, int(share * len(places)))]
        text = text[:place.start(1)] + escape(word) + text[place.end(1):]
    path = folder / "odd.musicxml"
    path.write_bytes(text.encode("utf-8", "replace"))
    quickly(lambda: load(path))


def a_setting(folder: Path, pair: tuple[SettingName, str]) -> None:
    quickly(lambda: read_setting(*pair))


def a_diary(folder: Path, changes: list[Change]) -> None:
    """Damaged anywhere: looked through, mended or refused; and a session goes on in any case."""
    for file in folder.glob("d*.sqlite*"):
        file.unlink()
    path = folder / "d.sqlite"
    path.write_bytes(changed(_diary(), [(at, new, len(new)) for at, new, _cut in changes]))
    quickly(lambda: check_diary(path))
    quickly(lambda: repair_diary(path))
    diary, _trouble = open_or_beside(path)
    with diary:
        diary.pupil("Robin", new=True)


@cache
def _diary() -> bytes:
    import tempfile

    from scripted_diary import some_match

    with tempfile.TemporaryDirectory() as folder:
        with Diary(Path(folder) / "d.sqlite") as diary:
            pupil = diary.pupil("Wren", new=True)
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.")
        return (Path(folder) / "d.sqlite").read_bytes()


#: What commands take after their name; those that open a microphone, a page or a session are left out.
TYPED: dict[str, list[list[str]]] = {
    "tunes": [[]], "braille": [["kite"], ["?"]], "line": [["kite"], ["?"]], "wall": [["kite", "--shoulder", "?"]],
    "read": [["?"]], "hear": [["?", "--tune", "kite"]], "exercises": [["kite"], ["?"]],
    "sheet": [["stage", "?"], ["tune", "?"], ["drill", "?"], ["week", "?"]],
    "course": [["--stage", "?"], ["--list"], ["?"]], "drill": [["name the cell", "--json"], ["?"]],
    "diary": [["?"], ["Robin"]], "review": [["?"]], "guide": [["?"]], "notate": [["?"]]}
OPTIONS = ["--json", "--width", "--height", "--part", "--phrase", "--count", "--seed", "--as", "--on", "--stage", "--fact",
           "--kind", "--level", "--days", "--set", "--range", "--setting", "--until", "--consent", "--check", "--known",
           "--words", "--bpm", "--key", "--time", "--fix", "--tracker", "--jobs", "--pitch-only", "--leave-out",
           "--practise", "--tune"]
FLAGS = {"--json", "--check", "--known", "--pitch-only", "--words"}


def a_command(folder: Path, typed: tuple[str, int, list[tuple[str, str]], str]) -> None:
    """Exit code 0, 2 or 3, and nothing of a fault in what is said."""
    name, which, options, word = typed
    arguments = [name, *(word if a == "?" else a for a in TYPED[name][which % len(TYPED[name])])]
    for option, value in options:
        arguments += [option] if option in FLAGS else [f"{option}={value}"]
    arguments += ["--diary", str(folder / "typed.sqlite")] if name in ("diary", "course", "sheet", "exercises", "drill") else []
    before = sys.stdin, sys.stdout, sys.stderr
    sys.stdin, sys.stdout, sys.stderr = io.StringIO(""), io.StringIO(), io.StringIO()
    try:
        code = main(arguments)
        out, err = sys.stdout.getvalue(), sys.stderr.getvalue()
    except SystemExit as leave:
        code, out, err = int(leave.code or 0), "", ""
    finally:
        sys.stdin, sys.stdout, sys.stderr = before
    assert code in (0, 2, 3), (arguments, err)
    assert "fault of ours" not in err, (arguments, err)
    assert code == 0 or err.count("\n") == 1 or name in ("review", "diary"), (arguments, err)
    assert not [c for c in out + err if c in "\x1b\u202e\x00"], arguments
    if "--json" in arguments and code == 0 and out:
        json.loads(out)


CASES: dict[str, tuple[st.SearchStrategy[Any], Callable[[Path, Any], None]]] = {
    "wav": (CHANGES, a_file("wav", read_sound)), "flac": (CHANGES, a_file("flac", read_sound)),
    "ogg": (CHANGES, a_file("ogg", read_sound)), "csv": (CHANGES, a_file("csv", read_track)),
    "musicxml": (CHANGES, a_file("musicxml", load)), "mxl": (CHANGES, a_file("mxl", load)), "mid": (CHANGES, a_file("mid", load)),
    "brf": (CHANGES, a_file("brf", read_file)), "toml": (CHANGES, a_file("toml", check_stages)),
    "odd numbers": (st.lists(st.tuples(st.floats(0, 1), ODD), min_size=1, max_size=4), a_score_with_odd_numbers),
    "setting": (st.tuples(st.sampled_from(SettingName), ODD), a_setting), "diary": (CHANGES, a_diary),
    "typed": (st.tuples(st.sampled_from(sorted(TYPED)), st.integers(0, 3),
                        st.lists(st.tuples(st.sampled_from(OPTIONS), ODD), max_size=2), ODD), a_command)}
FEW, MANY = 12, 77_000  # of each by default; of each overnight, which makes a million of all
BLOCK = 500  # inputs from one seed, so that what fails is soon found again
#: Inputs that once failed.
KEPT: list[tuple[str, Any]] = [
    ("diary", [(0.03968161997131304, b"\x80", 0)]),  # SQLite's own sentence about the damage is no UTF-8
]


def throw(name: str, count: int, folder: Path, number: int | None = None) -> int:
    """So many inputs at most, and how many they were (small kinds have no more). number: the seed they are made from; None:
    always the same ones."""
    strategy, check = CASES[name]
    thrown = 0

    @settings(max_examples=count, deadline=None, derandomize=number is None, database=None,
              suppress_health_check=list(HealthCheck))
    @given(strategy)
    def go(value: Any) -> None:
        nonlocal thrown
        thrown += 1
        check(folder, value)

    (go if number is None else seed(number)(go))()
    return thrown


@pytest.mark.parametrize("name", CASES)
def test_a_few_of_each(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    throw(name, FEW, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_some_of_each(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    throw(name, 8 * FEW, tmp_path)


@pytest.mark.overnight
@pytest.mark.parametrize("name", CASES)
def test_many_of_each(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for number in range(MANY // BLOCK):
        throw(name, BLOCK, tmp_path, number)


@pytest.mark.parametrize(("name", "value"), KEPT)
def test_what_once_failed(name: str, value: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    CASES[name][1](tmp_path, value)


def test_every_command_that_opens_nothing_is_thrown_at() -> None:
    assert set(COMMANDS) - set(TYPED) == {"page", "demo", "lesson", "practise"}
