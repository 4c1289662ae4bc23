"""Every write of the diary and of saved files fails once, and ends the process once: nothing that was saved is lost.

The system itself fails a write beyond RLIMIT_FSIZE, with EFBIG or by ending the process with SIGXFSZ (POSIX, setrlimit), in
the middle of whatever is written there; the limit is moved through the whole length of the files.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
from pathlib import Path
from typing import TextIO

import pytest
from failing_writes import with_limit
from scripted_diary import some_match

from companion.diary import Diary, SessionKind, SettingName, export_pupil
from companion.errors import Trouble
from companion.places import write_whole

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are POSIX's")
PAGE = 4096  # bytes that SQLite writes at a time


def session(path: Path, said: TextIO) -> None:
    """Some takes and settings; each is said once it is saved, and each sentence of what went wrong."""
    try:
        with Diary(path) as diary:
            pupil = diary.pupil("Wren", new=True)
            for n in range(4):
                try:
                    number = diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(20), "Right.")
                    print(f"take {number}", file=said, flush=True)
                    diary.set_setting(pupil, SettingName.RATE, 100 + n)
                    print(f"rate {100 + n}", file=said, flush=True)
                except Trouble as trouble:
                    print(f"said {trouble}", file=said, flush=True)
    except Trouble as trouble:
        print(f"said {trouble}", file=said, flush=True)


@pytest.mark.parametrize("kills", [False, True])
@pytest.mark.parametrize("pages", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_a_write_that_fails_or_ends_the_process_loses_nothing_saved_before(tmp_path: Path, kills: bool, pages: int) -> None:
    first = tmp_path / "first.sqlite"
    with Diary(first) as diary:
        pupil = diary.pupil("Wren", new=True)
        before = [diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.") for _ in range(2)]
    stopped = whole = 0
    for limit in range(0, 42 * PAGE, pages * PAGE):
        folder = tmp_path / f"{limit}"
        folder.mkdir()
        path = folder / "d.sqlite"
        shutil.copy(first, path)
        lines, killed = with_limit(limit + 24, kills, lambda said, path=path: session(path, said))  # in the middle of a page
        wrong = [line for line in lines if line.startswith("said ")]
        stopped += killed or bool(wrong)
        whole += len(lines) == 8 and not wrong
        assert not [line for line in wrong if not line.endswith(".") or str(path) not in line], limit
        with Diary(path) as diary:
            pupil = diary.pupil("Wren")
            takes = {t.number: t for t in diary.takes(pupil)}
            saved = [int(line.split()[1]) for line in lines if line.startswith("take ")]
            assert {*before, *saved} <= set(takes), limit
            assert all(len(t.moves) == (3 if n in before else 19) for n, t in takes.items()), "a take is kept whole or not"
            rates = [int(line.split()[1]) for line in lines if line.startswith("rate ")]
            assert not rates or diary.settings(pupil)[SettingName.RATE] >= rates[-1], limit
            assert diary.integrity() == [("ok",)]
            assert diary.forget("Wren")
        assert not [p for p in folder.iterdir() if b"Wren" in p.read_bytes()], "nor is anything left that a stop left behind"
        shutil.rmtree(folder)
    assert stopped >= 20 // pages, "the limit lay within the files"
    assert whole >= 1, "and beyond them"


@pytest.mark.parametrize("kills", [False, True])
def test_a_file_is_as_it_was_or_complete(tmp_path: Path, kills: bool) -> None:
    path = tmp_path / "tune.brf"
    old, new = b"old" * 100, b"new" * 3000
    outcomes = set()
    for limit in (0, 1, 299, 300, 4096, 8999, 9000, 20_000):
        path.write_bytes(old)

        def save(said: TextIO) -> None:
            try:
                write_whole(path, new)
            except Trouble as trouble:
                print(f"said {trouble}", file=said, flush=True)

        lines, killed = with_limit(limit, kills, save)
        done = path.read_bytes()
        outcomes.add(done)
        assert done == (new if not killed and not lines else old)
        assert all("could not be written: file too large" in line for line in lines)
        if not kills:
            assert list(tmp_path.iterdir()) == [path]
    assert outcomes == {old, new}


STEPS = ("tempfile.mkstemp", "os.fsync", "os.chmod", "os.replace")


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES, errno.EDQUOT, errno.EIO, errno.EROFS, errno.EMFILE])
def test_whatever_step_of_saving_fails_is_one_sentence(tmp_path: Path, step: str, number: int,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "robin.zip"
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Wren", new=True)
        export_pupil(diary, pupil, path)
        old = path.read_bytes()
        there = sorted(p.name for p in tmp_path.iterdir())

        def fails(*_: object, **_named: object) -> None:
            raise OSError(number, os.strerror(number))

        monkeypatch.setattr(step, fails)
        with pytest.raises(Trouble, match=r"robin\.zip could not be written: [a-z].*\. Choose another place or make room\.$"):
            export_pupil(diary, pupil, path)
        monkeypatch.undo()
        assert path.read_bytes() == old
        assert sorted(p.name for p in tmp_path.iterdir()) == there
