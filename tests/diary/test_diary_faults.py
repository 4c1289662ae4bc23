"""A diary that cannot be used: one sentence, the file as it was, a fresh one beside it."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from scripted_diary import some_match

from companion.diary import Diary, Locked, SessionKind, Unusable, beside, open_or_beside
from companion.diary.store import APPLICATION, MIGRATIONS, SCHEMA
from companion.errors import Trouble
from companion.language import English, kept_beside

ROOT = Path(__file__).resolve().parents[2]


def made(path: Path, takes: int = 3) -> bytes:
    with Diary(path) as diary:
        pupil = diary.pupil("Wren", new=True)
        for _ in range(takes):
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "All three right.")
    return path.read_bytes()


def refused(path: Path, *words: str) -> None:
    before = path.read_bytes()
    with pytest.raises(Unusable) as trouble:
        Diary(path)
    said = str(trouble.value)
    assert str(path) in said
    assert "--diary" in said
    assert all(w in said for w in words)
    assert path.read_bytes() == before
    diary, why = open_or_beside(path)
    with diary:
        diary.pupil("Robin", new=True)
    assert diary.path == beside(path)
    assert why is not None
    assert kept_beside(English(), why, diary.path) == f"{said} Until then this is kept in {beside(path)}."
    assert path.read_bytes() == before


def test_no_sqlite_file(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    path.write_bytes(b"not a database " * 50)
    refused(path, "damaged")


def test_a_file_that_was_cut_short(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    made(path)
    path.write_bytes(path.read_bytes()[:60])
    refused(path, "damaged")


def test_pages_that_were_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    data = bytearray(made(path, 30))
    data[4096 * 2:4096 * 6] = b"\xa5" * (4096 * 4)
    path.write_bytes(bytes(data))
    refused(path, "damaged")


def test_a_newer_version(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    made(path)
    con = sqlite3.connect(path)
    con.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    con.close()
    refused(path, "newer version")


def test_somebody_elses_database(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    con = sqlite3.connect(path)
    con.execute("CREATE TABLE birds (name TEXT)")
    con.close()
    refused(path, "no diary of this program")


def test_a_folder_and_a_place_that_cannot_be_made(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r" is a folder\. Give a file"):
        Diary(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(Trouble, match="could not be"):
        Diary(tmp_path / "file" / "d.sqlite")


def as_nobody(job: Callable[[], object]) -> str:
    """What `job` raises in a child process that is not the superuser, who may write everywhere."""
    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            if os.getuid() == 0:
                os.setuid(65534)
            job()
            said = "nothing was raised"
        except BaseException as error:
            said = str(error)
        os.write(write, said.encode())
        os._exit(0)
    os.close(write)
    os.waitpid(child, 0)
    with os.fdopen(read, "rb") as pipe:
        return pipe.read().decode()


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="rights are POSIX's here")
def test_a_read_only_diary(tmp_path: Path) -> None:
    folder = tmp_path / "shut"
    path = folder / "d.sqlite"
    before = made(path)
    os.chmod(path, 0o444)
    os.chmod(folder, 0o555)
    for parent in folder.parents if os.getuid() == 0 else ():
        if parent == tmp_path or parent.name.startswith(("pytest-", "popen-")):
            os.chmod(parent, 0o755)
    said = as_nobody(lambda: Diary(path))
    assert "may not be written to" in said
    assert path.read_bytes() == before
    os.chmod(folder, 0o755)


def test_a_diary_held_by_another_program(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    made(path)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("PRAGMA locking_mode = EXCLUSIVE")
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(Locked, match="held by another program"):
        Diary(path, busy_s=0.05)
    diary, why = open_or_beside(path)
    diary.close()
    assert isinstance(why, Locked)
    holder.execute("ROLLBACK")
    holder.close()
    with Diary(path) as diary:
        assert len(diary.takes(diary.pupil("Wren"))) == 3


def test_a_full_disk_loses_nothing_that_was_saved(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    made(path)
    with Diary(path) as diary:
        pupil = diary.pupil("Wren")
        # SQLite's own limit on pages answers as a full disk does (SQLITE_FULL).
        pages = diary._store.rows("PRAGMA page_count")[0][0]
        diary._store.rows(f"PRAGMA max_page_count = {pages + 1}")
        def many() -> None:
            for _ in range(50):
                diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(30), "All right.")

        with pytest.raises(Trouble, match=r"full.*Make room"):
            many()
        kept = len(diary.takes(pupil))
        assert kept >= 3
    with Diary(path) as diary:
        assert len(diary.takes(diary.pupil("Wren"))) == kept


def test_two_programs_write_at_once(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    with Diary(path) as diary:
        diary.pupil("Wren", new=True)
    code = ("import sys; sys.path.insert(0, 'tests'); from scripted_diary import some_match\n"
            "from companion.diary import Diary, SessionKind\n"
            "d = Diary(sys.argv[1]); p = d.pupil('Wren')\n"
            "for _ in range(40): d.add_take(p, SessionKind.LESSON, 'kite', some_match(), 'All right.')")
    both = [subprocess.Popen([sys.executable, "-c", code, str(path)], cwd=ROOT,
                             env={**os.environ, "PYTHONPATH": str(ROOT)}) for _ in range(2)]
    assert [p.wait() for p in both] == [0, 0]
    with Diary(path) as diary:
        takes = diary.takes(diary.pupil("Wren"))
        assert [t.number for t in takes] == list(range(1, 81))


@pytest.mark.parametrize("version", range(1, SCHEMA))
def test_older_versions_are_taken_forward(tmp_path: Path, version: int) -> None:
    path = tmp_path / "d.sqlite"
    con = sqlite3.connect(path)
    for step in MIGRATIONS[:version]:
        for statement in step:
            con.execute(statement)
    con.execute(f"PRAGMA user_version = {version}")
    con.execute(f"PRAGMA application_id = {APPLICATION}")
    con.execute("INSERT INTO pupils (nickname, called, since) "
                "VALUES ('Wren', 'wren', '2026-01-01T00:00:00+00:00')")
    con.execute("INSERT INTO takes (pupil, at, session, tune, first, last, shift, closeness, cue, notes) VALUES "
                "(1, '2026-01-02T00:00:00+00:00', 'lesson', 'kite', 1, 2, 0, 0.9, 'Right.', '[]')")
    con.execute("INSERT INTO moves VALUES (1, 1, 2, 'up', 'up', 'right', 1.0, 'step up', 2, 2.0)")
    con.commit()
    con.close()
    with Diary(path) as diary:
        pupil = diary.pupil("wren")
        assert [len(t.moves) for t in diary.takes(pupil)] == [1]
        diary.keep(pupil, "course", "stage", 3)
        assert diary.kept(pupil, "course") == {"stage": 3}
        assert diary._store.rows("PRAGMA user_version") == [(SCHEMA,)]


def test_a_creation_that_was_broken_off_is_taken_up(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    con = sqlite3.connect(path)
    con.execute("PRAGMA journal_mode = WAL")
    con.close()
    with Diary(path) as diary:
        assert diary.pupils() == []
