"""Whether a diary is sound, and mending one that is not: from its copies and from what is still readable."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from companion.diary.copies import copies, erase, erase_copies
from companion.diary.diary import Diary
from companion.diary.merge import Rows, read_file
from companion.diary.store import APPLICATION, SCHEMA, NotOurs, Unusable, damaged, default_path, foreign, header, newer
from companion.errors import Trouble
from companion.messages import _


@dataclass(frozen=True)
class DiaryCheck:
    """fault: the sentence that says what is amiss, empty where the diary is sound. copies: newest first, each with the
    time when it was made."""

    path: Path
    fault: str
    copies: tuple[tuple[Path, datetime], ...]

    @property
    def sound(self) -> bool:
        return not self.fault


@dataclass(frozen=True)
class Repaired:
    """pupils, takes: how many the mended diary holds. aside: where the damaged file lies, None where nothing was amiss."""

    pupils: int
    takes: int
    aside: Path | None


def aside(path: Path) -> Path:
    """Where a damaged diary is laid when it has been mended."""
    return path.with_name(f"{path.stem}-damaged{path.suffix}")


def check_diary(path: str | Path | None = None) -> DiaryCheck:
    """Look through all of a diary. Raises Trouble where there is none, or another program holds it."""
    place = _there(path)
    fault = ""
    try:
        with Diary(place) as diary:
            if [found for found, in diary.integrity()] != ["ok"]:
                raise Unusable(damaged(place))
            diary.probe()
            for pupil in diary.pupils():
                diary.takes(pupil)
    except Unusable as trouble:
        fault = str(trouble)
    return DiaryCheck(place, fault, tuple((c, datetime.fromtimestamp(c.stat().st_mtime, UTC)) for c in copies(place)))


def repair_diary(path: str | Path | None = None) -> Repaired:
    """Mend a damaged diary: its newest sound copy, and all that is readable in the file itself.

    The damaged file is laid aside. A sound diary is left as it is. Raises Trouble where there is no diary, another
    program holds it, or it is from a newer version or no diary at all.
    """
    place = _there(path)
    try:
        if check_diary(place).sound:
            return _count(place, None)
        with Diary(place):
            pass
    except NotOurs:
        if not copies(place):  # with copies of ours beside it, it is ours, and its header is damaged
            raise
    except Unusable:
        pass  # what is to be mended
    sources: list[Rows] = []
    for file in (*copies(place), place):
        with suppress(sqlite3.Error, OSError):
            sources.append(read_file(file))
    if not any(rows["pupils"] for rows in sources):
        raise Unusable(_("Nothing in {path} is readable, and there is no copy of it beside it; it was left as it is.").format(
                           path=place))
    handle, name = tempfile.mkstemp(prefix=f".{place.stem}-", suffix=place.suffix, dir=place.parent)
    os.close(handle)
    mended = Path(name)
    try:
        with Diary(mended) as diary:
            for rows in reversed(sources):
                diary.merge(rows)
        erase_copies(mended)
        os.replace(place, aside(place))
        for end in ("-wal", "-shm"):
            with suppress(FileNotFoundError):
                os.unlink(f"{place}{end}")  # read above; a new file must not be given another's log
        os.replace(mended, place)
        os.chmod(aside(place), 0o600)
    finally:
        for left in (mended, Path(f"{mended}-wal"), Path(f"{mended}-shm")):
            with suppress(OSError):
                if left.is_file():
                    erase(left)
    return _count(place, aside(place))


def restore_copy(copy: str | Path, path: str | Path | None = None) -> Repaired:
    """Put what a copy holds into the diary; nothing twice, and what is there stays. Raises Trouble where it is none."""
    source = Path(copy)
    if not source.is_file():
        raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=source))
    version, application = header(source) or (0, 0)
    if application != APPLICATION:
        raise NotOurs(foreign(source))
    if version > SCHEMA:
        raise NotOurs(newer(source))
    try:
        rows = read_file(source)
    except sqlite3.Error as error:
        raise Unusable(damaged(source)) from error
    place = Path(path) if path else default_path()
    with Diary(place) as diary:
        diary.merge(rows)
    return _count(place, None)


def _there(path: str | Path | None) -> Path:
    place = Path(path) if path else default_path()
    if not place.is_file():
        raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=place))
    return place


def _count(place: Path, laid: Path | None) -> Repaired:
    with Diary(place) as diary:
        pupils = diary.pupils()
        return Repaired(len(pupils), sum(len(diary.takes(p)) for p in pupils), laid)

