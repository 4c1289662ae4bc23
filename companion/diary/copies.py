"""Copies of the diary beside it: made by SQLite's own backup when it is opened, and erased when anything is deleted.

The newest is `diary-copy-1.sqlite`; one of an earlier day each is `-2` and `-3`. What cannot be copied (a full disk, a
folder that may not be written) stands in nobody's way.
"""

from __future__ import annotations

import glob
import os
import sqlite3
import tempfile
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

COPIES = 3
OFTEN_BYTES = 20_000_000  # a larger diary is copied once a day: a session is to speak within half a second


def copies(path: Path) -> list[Path]:
    """The copies that there are, newest first."""
    return [copy for copy in _places(path) if copy.is_file()]


def _places(path: Path) -> list[Path]:
    return [path.with_name(f"{path.stem}-copy-{n}{path.suffix}") for n in range(1, COPIES + 1)]


def keep_copy(con: sqlite3.Connection, path: Path) -> None:
    """Bring the newest copy up to date with an open diary, if anything was written since; never raises for the disk."""
    with suppress(OSError, sqlite3.Error):
        places = _places(path)
        written = max(p.stat().st_mtime_ns for p in (path, Path(f"{path}-wal")) if p.exists())
        if places[0].is_file():
            kept = places[0].stat()
            earlier_day = _day(kept.st_mtime) != _day(datetime.now(UTC).timestamp())
            if kept.st_mtime_ns >= written or (path.stat().st_size > OFTEN_BYTES and not earlier_day):
                return
        else:
            earlier_day = False
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)  # mode 0600
        os.close(handle)
        try:
            with closing(sqlite3.connect(name)) as copy:
                con.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, with no log beside it
            if earlier_day:
                for older, newer in zip(places[:0:-1], places[-2::-1], strict=True):
                    if newer.is_file():
                        os.replace(newer, older)
            os.replace(name, places[0])
        finally:
            with suppress(FileNotFoundError):
                os.unlink(name)


def _day(timestamp: float) -> str:
    return datetime.fromtimestamp(timestamp, UTC).date().isoformat()


def erase_copies(path: Path) -> None:
    """No byte of the copies is left, nor of one that was broken off. Raises OSError where one cannot be removed."""
    for copy in (*copies(path), *path.parent.glob(f".{glob.escape(path.stem)}-*{glob.escape(path.suffix)}")):
        erase(copy)


def erase(path: Path) -> None:
    """Write zeros over a file, then remove it. Raises OSError."""
    for file in (path, Path(f"{path}-wal"), Path(f"{path}-shm")):
        if not file.is_file():
            continue
        with file.open("r+b") as raw:
            left = file.stat().st_size
            while left > 0:
                left -= raw.write(b"\0" * min(left, 1 << 20))
            raw.flush()
            os.fsync(raw.fileno())
        file.unlink()
