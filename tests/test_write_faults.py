"""Every command that writes a file is run with a disk that fills, a process that is ended in the midst of writing, a folder that
may not be written and a system without a free inode or handle: what lay there before is as it was or the new file is whole,
nothing half written is left, and it is one sentence with exit code 2. The diary: tests/diary/test_diary_write_faults.py."""

from __future__ import annotations

import contextlib
import errno
import io
import json
import os
import shutil
import sys
import zipfile
from pathlib import Path
from typing import Any, TextIO

import pytest
from failing_writes import with_limit
from scripted_diary import some_match

from companion.command import main
from companion.diary import Diary, SessionKind, SettingName
from companion.places import user_folder
from companion.tune import load

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are POSIX's")

#: What writes files: as typed in a folder with a diary, a tune in braille, a pitch track and a list of takes; and whether it is
#: quick. A name of a file that stands there is written over.
WRITES: dict[str, tuple[list[str], bool]] = {
    "braille": (["braille", "kite", "--out", "k.brf"], False), "pef": (["braille", "kite", "--out", "k.pef"], False),
    "read": (["read", "t.brf", "--out", "r.musicxml"], True), "line": (["line", "kite", "--out", "l.svg"], False),
    "wall": (["wall", "kite", "--shoulder", "98", "--out", "w.brf"], False),
    "sheet": (["sheet", "key", "--out", "s.brf"], False), "large print": (["sheet", "stage", "2", "--out", "s.html"], False),
    "print": (["sheet", "stage", "2", "--out", "s.pdf"], False), "exercises": (["exercises", "mole", "--out", "m.brf"], False),
    "guide": (["guide", "pupil", "--out", "g.txt"], False),
    "export": (["diary", "Wren", "--diary", "d.sqlite", "--export", "wren.zip"], True),
    "score": (["notate", "t.csv", "--out", "n.musicxml"], False), "packed": (["notate", "t.csv", "--out", "n.mxl"], False),
    "midi": (["notate", "t.csv", "--out", "n.mid"], False), "work": (["notate", "t.csv", "--keep", "kept.zip"], False),
    "cue": (["hear", "t.csv", "--tune", "tick-tock", "--sound", "cue.wav"], False),
    "review": (["review", "l.csv", "--jobs", "1", "--resume", "answers.jsonl"], False),
    "paper": (["braille", "kite", "--keep-paper", "mine", "--width", "31"], True),
    "starter": (["page", "--desktop", "desk"], False),
}
#: Never written over, or only what it wrote itself.
KEPT = ("work", "review", "paper")
QUICK = [name for name, (_arguments, quick) in WRITES.items() if quick]
SLOW = [pytest.param(name, marks=pytest.mark.slow) for name, (_arguments, quick) in WRITES.items() if not quick]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    here = tmp_path / "here"
    here.mkdir()
    with Diary(here / "d.sqlite") as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.")
        diary.set_setting(pupil, SettingName.RATE, 120)
    (here / "t.brf").write_text("#FDG?:\n")
    rows = ["time_s,f0_hz"]
    for k, note in enumerate(load("tick-tock").line()):
        hz = 440.0 * 2 ** ((note.midi - 69) / 12)
        rows += [f"{(k * 60 + j) * 0.01:.2f},{hz if j < 50 else 0.0:.3f}" for j in range(60)]
    (here / "t.csv").write_text("\n".join(rows))
    (here / "l.csv").write_text("take,tune\nt.csv,tick-tock\nt.csv,tick-tock\n")
    monkeypatch.chdir(here)
    monkeypatch.setenv("XDG_DATA_HOME", str(here / "data"))
    monkeypatch.setenv("HOME", str(here))
    return here


def files(folder: Path) -> dict[str, bytes]:
    """What lies there but the diary and its copies, which change at each opening."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.glob("**/*") if p.is_file() and "d.sqlite" not in p.name
            and not p.name.startswith("d-copy")}


def ran(arguments: list[str]) -> tuple[int, str]:
    """Exit code of a command, and what it says on standard error."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as err:
        code = main(arguments)
    return code, err.getvalue()


def made_by(folder: Path, arguments: list[str]) -> dict[str, bytes]:
    """What a command writes where nothing fails; it is taken away again."""
    before = files(folder)
    assert ran(arguments) == (0, "")
    new = {name: data for name, data in files(folder).items() if name not in before}
    for name in new:
        (folder / name).unlink()
    return new


def same(name: str, data: bytes, whole: bytes) -> bool:
    """Whether a file is the whole new one. In archives and answers stand times; what they hold must open."""
    if name.endswith((".zip", ".mxl")):
        with contextlib.suppress(zipfile.BadZipFile), zipfile.ZipFile(io.BytesIO(data)) as file:
            return file.testzip() is None
        return False
    if name.endswith((".pdf", ".wav", ".mid")):
        return abs(len(data) - len(whole)) < 100
    return data == whole


def holds(folder: Path, before: dict[str, bytes], whole: dict[str, bytes], killed: bool) -> None:
    """What was there is there, what is new is whole, and nothing else is left but what a killed process was writing."""
    there = files(folder)
    for name, data in before.items():
        assert there[name] == data or (name in whole and same(name, there[name], whole[name])), name
    for name in set(there) - set(before):
        if name == "answers.jsonl":  # whole lines, and one that was cut off
            assert all(json.loads(line) for line in there[name].split(b"\n")[:-1])
        elif name in whole:
            assert same(name, there[name], whole[name]), name
        else:
            assert killed, (name, "is left over")
            assert Path(name).name.startswith("."), name
    with Diary(folder / "d.sqlite") as diary:
        pupil = diary.pupil("Wren")
        assert len(diary.takes(pupil)) == 1
        assert diary.settings(pupil)[SettingName.RATE] == 120


@pytest.mark.parametrize("kills", [False, pytest.param(True, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", [*QUICK, *SLOW])
def test_a_full_disk_or_a_stop_in_the_midst_of_writing_leaves_the_old_file_or_the_new_one(folder: Path, name: str,
                                                                                          kills: bool) -> None:
    arguments = WRITES[name][0]
    whole = made_by(folder, arguments)
    longest = max(map(len, whole.values()))
    copy = shutil.copytree(folder, folder.parent / "as it was", symlinks=True)
    failed = 0
    for old in (False, True):
        for limit in (0, 1, longest // 2, longest - 1):
            shutil.rmtree(folder)
            shutil.copytree(copy, folder)
            os.chdir(folder)
            for file in whole if old and name not in KEPT else ():
                (folder / file).parent.mkdir(exist_ok=True)
                (folder / file).write_bytes(b"old")
            before = files(folder)

            def work(said: TextIO) -> None:
                code, err = ran(arguments)
                print(json.dumps([code, err]), file=said, flush=True)

            lines, killed = with_limit(limit, kills, work)
            holds(folder, before, whole, killed)
            failed += killed
            for code, err in map(json.loads, lines):
                failed += code != 0
                assert code in (0, 2), (limit, err)
                assert code == 0 or (err.endswith(".\n") and err.count("\n") == 1 and "fault" not in err), (limit, err)
    assert failed >= 2, "the limit lay within the files"


STEPS = ("tempfile.mkstemp", "os.fsync", "os.chmod", "os.replace")


@pytest.mark.parametrize("name", [*QUICK, *SLOW])
def test_no_permission_no_inode_no_handle_is_one_sentence(folder: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """ENOSPC is what a file system without a free inode gives too (POSIX, open)."""
    arguments = WRITES[name][0]
    whole = made_by(folder, arguments)
    for file in whole if name not in KEPT else ():
        (folder / file).write_bytes(b"old")
    before = files(folder)
    for step in STEPS if name != "review" else ("os.fsync",):
        for number in (errno.ENOSPC, errno.EACCES, errno.EMFILE):

            def fails(*_: object, number: int = number, **_named: object) -> Any:
                raise OSError(number, os.strerror(number))

            with monkeypatch.context() as patch:
                patch.setattr(step, fails)
                code, err = ran(arguments)
            assert code == 2, (step, number, err)
            assert os.strerror(number).lower() in err, (step, number, err)
            assert err.endswith(".\n")
            assert err.count("\n") == 1
            holds(folder, before, whole, False)
            (folder / "answers.jsonl").unlink(missing_ok=True)


def test_a_paper_that_cannot_be_kept_leaves_those_that_were(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert ran(["braille", "kite", "--keep-paper", "large", "--width", "30"]) == (0, "")
    kept, = user_folder().iterdir()
    before = kept.read_bytes()
    lines, _killed = with_limit(20, False, lambda said: print(json.dumps(ran(WRITES["paper"][0])), file=said))
    assert json.loads(lines[0])[0] == 2
    assert kept.read_bytes() == before
    assert ran(["braille", "kite", "--paper", "large"]) == (0, "")
