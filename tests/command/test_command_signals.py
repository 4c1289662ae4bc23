"""Every command is ended by Ctrl+C, by the system and by a terminal that is closed: one sentence, the exit code of shells
(128 and the number of the signal: POSIX shells, XCU 2.8.2), nothing half written, nothing lost."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from scripted_diary import some_match
from soundcard import SoundCard

from companion.command import COMMANDS
from companion.diary import Diary, SessionKind

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals are sent as on POSIX")
ROOT = Path(__file__).resolve().parents[2]
TAKE = str(ROOT / "recordings" / "snail-wall-right.flac")
LONGEST_S = 300.0  # for what waits to say its first line
ENDED = "Ended before it was done. What was saved before is kept.\n"
SIGNALS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]

#: Sends itself the signal at so many of its calls (0: never; -1: nor are they counted), and writes at the end how many there
#: were.
DRIVER = """
import os, signal, sys
from companion.command import main
number, at, counted = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
calls = 0
def count(frame, event, argument):
    global calls
    if event == "call":
        calls += 1
        if calls == at:
            os.kill(os.getpid(), number)
for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # what runs in the background, or under nohup, begins with one of them ignored
    if hasattr(signal, name):
        signal.signal(getattr(signal, name), signal.default_int_handler if name == "SIGINT" else signal.SIG_DFL)
if at >= 0:
    sys.setprofile(count)
code = main(sys.argv[4:])
sys.setprofile(None)
open(counted, "w").write(str(calls))
sys.exit(code)
"""

#: What ends by itself, as typed in a folder with a diary, a tune and a list in it.
DONE: dict[str, list[str]] = {
    "tunes": [], "guide": ["pupil", "--out", "g.brf"], "demo": ["--json"],
    "hear": [TAKE, "--tune", "snail-wall", "--sound", "cue.wav"], "review": ["l.csv", "--jobs", "2", "--resume", "kept.jsonl"],
    "braille": ["kite", "--out", "k.brf"], "read": ["t.brf", "--out", "r.musicxml"], "notate": [TAKE, "--out", "n.musicxml"],
    "exercises": ["mole", "--out", "m.brf"], "line": ["kite", "--out", "l.svg"], "wall": ["kite", "--shoulder", "98",
                                                                                        "--out", "w.brf"],
    "sheet": ["tune", "kite", "--out", "s.brf"], "diary": ["Wren", "--diary", "d.sqlite", "--export", "wren.zip"],
}
#: What waits for somebody, and what it has said by then (a regular expression).
WAITS: dict[str, tuple[list[str], str]] = {
    "drill": (["name the cell", "--seed", "3", "--speech", "off"], r"\?"),
    "course": (["Wren", "--diary", "d.sqlite", "--speech", "off"], r"[.?]"),
    "page": (["--no-browser", "--diary", "d.sqlite"], "The page is at"),
    "lesson": (["snail-wall", "--pupil", "Wren", "--diary", "d.sqlite", "--speech", "off"], r"[.?]"),
    "practise": (["Wren", "--diary", "d.sqlite", "--speech", "off"], r"[.?]"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A place with a diary of two takes, a tune in braille, and a list of takes."""
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Wren", new=True)
        for _ in range(2):
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.")
    (tmp_path / "t.brf").write_text("#FDG?:\n")
    (tmp_path / "l.csv").write_text("take,tune\n" + f"{TAKE},snail-wall\n" * 4)
    (tmp_path / "tmp").mkdir()
    return tmp_path


def environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder / "tmp"), "XDG_DATA_HOME": str(folder / "data"),
            "HOME": str(folder), "COMPANION_DEBUG": ""}


def run(folder: Path, name: str, number: int = 0, at: int = 0) -> tuple[int, str, str, int]:
    """Exit code, what is said on both streams, and how many calls there were (0 where it was ended)."""
    counted = folder / "calls"
    counted.unlink(missing_ok=True)
    done = subprocess.run([sys.executable, "-c", DRIVER, str(int(number)), str(at), str(counted), name, *DONE[name]], cwd=folder,
                          env=environment(folder), capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=600)
    return done.returncode, done.stdout, done.stderr, int(counted.read_text()) if counted.exists() else 0


def written(folder: Path) -> dict[str, bytes]:
    """What lies in the folder but the diary and its copies, whose bytes change at each opening."""
    return {p.name: p.read_bytes() for p in folder.iterdir()
            if p.is_file() and ".sqlite" not in p.name and p.name != "calls"}


def nothing_lost(folder: Path) -> None:
    with Diary(folder / "d.sqlite") as diary:
        assert diary.integrity() == [("ok",)]
        assert len(diary.takes(diary.pupil("Wren"))) >= 2


def check(folder: Path, name: str, shares: tuple[float, ...], signals: list[signal.Signals]) -> None:
    before = written(folder)
    code, _out, err, calls = run(folder, name)
    assert (code, "fault" in err) == (0, False), err
    whole = written(folder)
    made = set(whole) - set(before)
    for number in signals:
        for share in shares:
            for new in made:
                (folder / new).unlink(missing_ok=True)
            at = max(1, int(share * calls))
            code, out, err, _ = run(folder, name, number, at)
            assert (code, err) == (128 + number, ENDED), (name, number, at, out)
            there = written(folder)
            assert set(there) <= set(whole), (name, number, at, "something half written is left")
            for kept, data in before.items():
                assert there[kept] == data
            for new in set(there) & made:
                if new == "kept.jsonl":  # whole lines, each an answer
                    for line in there[new].decode().splitlines(keepends=True)[1:]:
                        assert line.endswith("\n")
                        json.loads(line)
                elif new.endswith((".brf", ".svg", ".musicxml", ".csv", ".pef")):
                    assert there[new] == whole[new]
                else:  # a sound, an archive: times stand in it
                    assert len(there[new]) > 100
            nothing_lost(folder)
            left = [p for p in (folder / "tmp").iterdir() if name != "demo"]
            assert not left, (name, number, at)


@pytest.mark.parametrize("number", SIGNALS[1:2])  # all of them for each command: overnight
def test_a_command_is_ended_in_one_sentence_and_leaves_nothing_half_written(folder: Path, number: signal.Signals) -> None:
    """In the middle of all that `braille --out` does."""
    code, out, err, _ = run(folder, "braille", number, 20_000)
    assert (code, out, err) == (128 + number, "", ENDED)
    assert set(written(folder)) == {"t.brf", "l.csv"}


def test_what_the_system_was_told_to_ignore_stays_ignored(folder: Path) -> None:
    """As `nohup` does for a terminal that is closed (POSIX, XCU nohup)."""
    code = DRIVER.replace("if at >= 0:", "signal.signal(signal.SIGHUP, signal.SIG_IGN)\nif at >= 0:")
    done = subprocess.run([sys.executable, "-c", code, str(int(signal.SIGHUP)), "200", "calls", "--version"], cwd=folder,
                          env=environment(folder), capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_signal_that_comes_where_nothing_can_be_raised_is_not_lost() -> None:
    """In a destructor Python drops the exception (`sys.unraisablehook`), with a traceback on standard error."""
    code = ("import os, signal, time\n"
            "from companion.command.signals import Ending\n"
            "class Closing:\n"
            "    def __del__(self):\n"
            "        os.kill(os.getpid(), signal.SIGTERM)\n"
            "ended = Ending()\n"
            "try:\n"
            "    with ended:\n"
            "        Closing()\n"
            "        for _ in range(1000): time.sleep(0.01)\n"
            "except KeyboardInterrupt:\n"
            "    print(ended.code)\n")
    done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
                          text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"{128 + signal.SIGTERM}\n", "")


def test_every_command_is_ended_somewhere() -> None:
    assert set(DONE) | set(WAITS) == set(COMMANDS)
    assert not set(DONE) & set(WAITS)


@pytest.mark.overnight
@pytest.mark.parametrize("name", DONE)
def test_each_command_is_ended_at_many_places(folder: Path, name: str) -> None:
    check(folder, name, (0.02, 0.3, 0.6, 0.85, 0.97), SIGNALS)


def waiting(folder: Path, name: str, env: dict[str, str]) -> Iterator[subprocess.Popen[str]]:
    arguments, first = WAITS[name]
    command = [sys.executable, "-c", DRIVER, "0", "-1", os.devnull, name, *arguments]
    running = subprocess.Popen(command, cwd=folder, env=env, text=True, stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=1, start_new_session=True)
    late = threading.Timer(LONGEST_S, running.kill)
    late.start()
    try:
        assert running.stdout is not None
        said = ""
        while not re.search(first, said):
            line = running.stdout.readline()
            assert line, (said, running.communicate())
            said += line
        yield running
    finally:
        late.cancel()
        if running.poll() is None:
            running.kill()
        running.wait()


@pytest.mark.overnight
@pytest.mark.parametrize("number", SIGNALS)
@pytest.mark.parametrize("name", WAITS)
def test_what_waits_for_somebody_is_ended(folder: Path, name: str, number: signal.Signals, soundcard: SoundCard) -> None:
    for delay_s in (0.0, 1.5):
        env = {**environment(folder), **{k: v for k, v in soundcard.env.items() if k.startswith(("PULSE", "ALSA", "XDG_RUN"))}}
        for running in waiting(folder, name, env):
            time.sleep(delay_s)  # while it waits, where exactly does not matter
            running.send_signal(number)
            _out, err = running.communicate(timeout=60)
            if name == "page":  # its usual end
                assert (running.returncode, err) == (0, "")
            else:
                assert running.returncode == 128 + number, err
                assert err.endswith(ENDED), err  # before it, perhaps, that no loudspeaker is there
                assert "Traceback" not in err
        nothing_lost(folder)
