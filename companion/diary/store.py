"""The diary's file: SQLite opened with care, its schema, its faults in one sentence each.

WAL and `synchronous=FULL`: what was committed is on the disk, also after a power cut (SQLite, "Write-Ahead
Logging" and "PRAGMA synchronous"). `secure_delete` writes zeros over what is deleted. A file that is locked,
read-only, from a newer version or damaged is left as it is.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from functools import cache
from pathlib import Path
from threading import RLock
from typing import Any
from urllib.parse import quote

from companion.diary.copies import erase_copies, keep_copy
from companion.errors import Trouble
from companion.messages import _
from companion.places import user_folder

NAME = "diary.sqlite"
APPLICATION = 0x436D7044  # "CmpD", in the header of every diary (SQLite file format, offset 68)
BUSY_S = 5.0  # how long to wait for another program's write; ours take milliseconds
QUICK_BUSY_S = 0.2  # the same where a session is to speak within half a second
CHECK_BYTES = 20_000_000  # a file up to this size is looked through when it is opened (under 0.1 s)

#: Schema by versions: each entry takes the one before it a version on. Never change one that has shipped.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE pupils (
            id INTEGER PRIMARY KEY AUTOINCREMENT, nickname TEXT NOT NULL, called TEXT NOT NULL UNIQUE,
            low REAL, high REAL, since TEXT NOT NULL)""",
        """CREATE TABLE settings (
            pupil INTEGER NOT NULL REFERENCES pupils ON DELETE CASCADE, name TEXT NOT NULL, value TEXT NOT NULL,
            PRIMARY KEY (pupil, name)) WITHOUT ROWID""",
        """CREATE TABLE consents (
            id INTEGER PRIMARY KEY AUTOINCREMENT, pupil INTEGER NOT NULL REFERENCES pupils ON DELETE CASCADE,
            given_by TEXT NOT NULL, purpose TEXT NOT NULL, given_at TEXT NOT NULL, until TEXT, ended_at TEXT)""",
        """CREATE TABLE takes (
            id INTEGER PRIMARY KEY AUTOINCREMENT, pupil INTEGER NOT NULL REFERENCES pupils ON DELETE CASCADE,
            at TEXT NOT NULL, session TEXT NOT NULL, tune TEXT NOT NULL, first INTEGER NOT NULL,
            last INTEGER NOT NULL, shift REAL, closeness REAL NOT NULL, cue TEXT NOT NULL, notes TEXT NOT NULL)""",
        "CREATE INDEX takes_of ON takes (pupil, id)",
        """CREATE TABLE moves (
            take INTEGER NOT NULL REFERENCES takes ON DELETE CASCADE, start INTEGER NOT NULL,
            stop INTEGER NOT NULL, wanted TEXT NOT NULL, heard TEXT, verdict TEXT NOT NULL, sure REAL NOT NULL,
            kind TEXT NOT NULL, wanted_semitones INTEGER NOT NULL, sung_semitones REAL,
            PRIMARY KEY (take, start)) WITHOUT ROWID""",
        """CREATE TABLE sounds (
            take INTEGER PRIMARY KEY REFERENCES takes ON DELETE CASCADE, until TEXT, flac BLOB NOT NULL)""",
        """CREATE TABLE work (
            id INTEGER PRIMARY KEY AUTOINCREMENT, pupil INTEGER NOT NULL REFERENCES pupils ON DELETE CASCADE,
            set_at TEXT NOT NULL, until TEXT NOT NULL, tune TEXT NOT NULL, after_take INTEGER NOT NULL)""",
        "CREATE TABLE chores (name TEXT PRIMARY KEY) WITHOUT ROWID",
    ),
    (
        # What other packages remember of a pupil (the course's stages and reviews, say), as JSON under a name; `room`
        # says which package.
        """CREATE TABLE kept (
            pupil INTEGER NOT NULL REFERENCES pupils ON DELETE CASCADE, room TEXT NOT NULL, name TEXT NOT NULL,
            value TEXT NOT NULL, PRIMARY KEY (pupil, room, name)) WITHOUT ROWID""",
    ),
)
SCHEMA = len(MIGRATIONS)
TABLES = "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY name"
SWEEP = "sweep"  # the chore of making sure that no deleted byte is left


class Locked(Trouble):
    """Another program holds the diary."""


class Unusable(Trouble):
    """The diary is read-only, newer than this program, damaged, or no diary."""


class NotOurs(Unusable):
    """A diary of a newer version, or no diary of this program: there is nothing to be mended."""


def default_path() -> Path:
    """The diary in the platform's folder for a user's data."""
    return user_folder() / NAME


def beside(path: Path) -> Path:
    """Where a diary is begun when the one at `path` cannot be used."""
    return path.with_name(f"{path.stem}-beside{path.suffix}")


def is_beside(path: Path) -> bool:
    """Whether a diary was begun beside another."""
    return path.stem.endswith("-beside")


def header(path: Path) -> tuple[int, int] | None:
    """(schema version, application) from a file's header (SQLite file format, offsets 60 and 68).

    None where there is no file yet or it is empty. Raises Unusable where it is no SQLite file.
    """
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Unusable(_("The diary {path} could not be read: {reason}. Give another place with --diary.").format(
                           path=path, reason=(error.strerror or str(error)).lower())) from error
    if not head:
        return None
    if len(head) < 100 or not head.startswith(b"SQLite format 3\0"):
        raise Unusable(damaged(path))
    return int.from_bytes(head[60:64], "big"), int.from_bytes(head[68:72], "big")


def damaged(path: Path) -> str:
    return _("The diary {path} is damaged and was left as it is. companion diary --repair mends it from its copy and what "
             "is readable; or give another place with --diary.").format(path=path)


def newer(path: Path) -> str:
    return _("The diary {path} was written by a newer version of this program and was left as it is. "
             "Update this program, or give another place with --diary.").format(path=path)


def foreign(path: Path) -> str:
    return _("{path} is no diary of this program and was left as it is. Give another place with --diary.").format(path=path)


def read_only(path: Path) -> str:
    return _("The diary {path} may not be written to. Allow writing to it and its folder, "
             "or give another place with --diary.").format(path=path)


def locked(path: Path) -> str:
    return _("The diary {path} is held by another program. Close that program, or wait a moment and try again.").format(
                 path=path)


@cache
def _tables() -> list[tuple[str, ...]]:
    """Every table and index of this version and how it is made."""
    with closing(sqlite3.connect(":memory:")) as con:
        for step in MIGRATIONS:
            for statement in step:
                con.execute(statement)
        return con.execute(TABLES).fetchall()


class Store:
    """An open diary file. Transactions by `writing`, reading by `rows`; safe from several threads.

    in_memory: nothing is read from `path` or written to it; for a session whose diary can be written nowhere.
    """

    def __init__(self, path: Path, busy_s: float = BUSY_S, in_memory: bool = False) -> None:
        self.path, self.in_memory = path, in_memory
        self._lock = RLock()
        if in_memory:
            self._con = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
            self._con.execute("PRAGMA foreign_keys = ON")
            self._take_forward()
            return
        if path.is_dir():
            raise Unusable(_("{path} is a folder. Give a file with --diary.").format(path=path))
        found = header(path)
        if found is not None:
            version, application = found
            if application not in (0, APPLICATION) or (version and not application):
                raise NotOurs(foreign(path))
            if version > SCHEMA:
                raise NotOurs(newer(path))
        self._may_write()
        with self.faults_as_trouble():
            self._con = sqlite3.connect(f"file:{quote(str(path))}?mode=rwc", uri=True, timeout=busy_s,
                                        isolation_level=None, check_same_thread=False)
            try:
                self._open()
                self._con.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_S)}")
            except BaseException:
                self._con.close()
                raise

    def _may_write(self) -> None:
        folder = self.path.parent
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise Unusable(_("The folder {folder} for the diary could not be made: {reason}. Give another place with "
                             "--diary.").format(folder=folder, reason=reason)) from error
        if not os.access(folder, os.W_OK) or (self.path.exists() and not os.access(self.path, os.W_OK)):
            raise Unusable(read_only(self.path))
        if not self.path.exists():
            # A child's data is nobody else's; SQLite gives its log beside it the same rights.
            os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))

    def _open(self) -> None:
        run = self._con.execute
        tables = run("SELECT count(*) FROM sqlite_master").fetchone()[0]
        version = run("PRAGMA user_version").fetchone()[0]
        application = run("PRAGMA application_id").fetchone()[0]
        if version > SCHEMA:
            raise NotOurs(newer(self.path))
        if tables and application != APPLICATION:
            raise NotOurs(foreign(self.path))
        small = self.path.stat().st_size <= CHECK_BYTES
        if version and small and run("PRAGMA quick_check(1)").fetchone()[0] != "ok":
            raise Unusable(damaged(self.path))
        if run("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
            raise Unusable(_("The diary {path} lies on a disk that cannot keep it safe (no shared memory, as on some "
                             "network drives). Give a place on this machine with --diary.").format(path=self.path))
        run("PRAGMA synchronous = FULL")
        run("PRAGMA foreign_keys = ON")
        run("PRAGMA secure_delete = ON")
        run("PRAGMA temp_store = MEMORY")  # a temporary file could outlive a deletion
        if version < SCHEMA:
            self._take_forward()
        if run(TABLES).fetchall() != _tables():
            raise Unusable(damaged(self.path))
        if run("SELECT 1 FROM chores WHERE name = ?", (SWEEP,)).fetchone():
            with suppress(Locked):  # the chore stays for the next opening
                self.sweep(QUICK_BUSY_S)

    def _take_forward(self) -> None:
        """Bring the schema to this version."""
        run = self._con.execute
        with self._begun():
            # Another program may have done it while we waited for the lock.
            for step in MIGRATIONS[run("PRAGMA user_version").fetchone()[0]:]:
                for statement in step:
                    run(statement)
            run(f"PRAGMA user_version = {SCHEMA}")
            run(f"PRAGMA application_id = {APPLICATION}")

    def keep_copy(self) -> None:
        """Bring the copy beside the file up to date, see `companion.diary.copies`."""
        if not self.in_memory:
            with self._lock:
                keep_copy(self._con, self.path)

    @contextmanager
    def faults_as_trouble(self) -> Iterator[None]:
        """Faults of SQLite as Trouble, one sentence each."""
        try:
            yield
        except UnicodeDecodeError as error:  # of SQLite's own messages, which name what is damaged
            raise Unusable(damaged(self.path)) from error
        except sqlite3.DatabaseError as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise Locked(locked(self.path)) from error
            if code == sqlite3.SQLITE_FULL:
                raise Trouble(_("The disk with the diary {path} is full; what was saved before is safe. Make room.").format(
                                    path=self.path)) from error
            if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
                raise Unusable(read_only(self.path)) from error
            # SQLITE_ERROR: a table is missing, or its text is no UTF-8.
            if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_FORMAT,
                        sqlite3.SQLITE_MISMATCH) or (code == 0 and isinstance(error, sqlite3.OperationalError)):
                raise Unusable(damaged(self.path)) from error
            if code == sqlite3.SQLITE_CONSTRAINT:  # a row that belongs to a pupil who is no more
                raise Trouble(_("This pupil was deleted from the diary {path} meanwhile; nothing more is kept of them.").format(
                                  path=self.path)) from error
            if code == sqlite3.SQLITE_IOERR:
                raise Trouble(_("The disk with the diary {path} could not be read or written; what was saved before "
                                "is safe. Check the disk and its free room.").format(path=self.path)) from error
            raise

    @contextmanager
    def _begun(self) -> Iterator[None]:
        self._con.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            if self._con.in_transaction:
                self._con.execute("ROLLBACK")
            raise
        try:
            self._con.execute("COMMIT")
        except BaseException:
            if self._con.in_transaction:
                self._con.execute("ROLLBACK")
            raise

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is saved, or nothing."""
        with self._lock, self.faults_as_trouble(), self._begun():
            yield self._con

    def rows(self, query: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        with self._lock, self.faults_as_trouble():
            return self._con.execute(query, values).fetchall()

    def sweep(self, wait_s: float | None = None) -> None:
        """Leave no byte of what was deleted: neither in free pages nor in the log beside the file.

        The copies are erased, and a fresh one is made. Raises Locked where another program stands in the way for
        `wait_s`; it is then done at the next opening.
        """
        if self.in_memory:
            return
        wait_s = BUSY_S if wait_s is None else wait_s
        try:
            erase_copies(self.path)
        except OSError as error:
            raise Locked(_("What was deleted may be left in the copies of {path}: {reason}. Allow writing to its folder, then "
                           "open the diary.").format(path=self.path,
                                                     reason=(error.strerror or str(error)).lower())) from error
        with self._lock, self.faults_as_trouble(), self._waiting(wait_s):
            self._con.execute("VACUUM")
            end = time.monotonic() + wait_s
            while self._con.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]:
                if time.monotonic() > end:
                    raise Locked(_("What was deleted is gone from the diary, but traces may be left in {path} while "
                                   "another program has it open. Close that program, then open the diary.").format(
                                       path=self.path))
                time.sleep(0.05)
            self._con.execute("DELETE FROM chores WHERE name = ?", (SWEEP,))
            self._con.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.keep_copy()

    @contextmanager
    def _waiting(self, seconds: float) -> Iterator[None]:
        """Wait this long, and not the usual time, for another program's lock."""
        self._con.execute(f"PRAGMA busy_timeout = {round(1000 * seconds)}")
        try:
            yield
        finally:
            self._con.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_S)}")

    def close(self) -> None:
        with self._lock:
            self._con.close()
