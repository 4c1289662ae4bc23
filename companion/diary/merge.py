"""What one diary holds put into another: nothing twice, nothing overwritten, and what cannot be read left out.

For a diary that was begun beside an unusable one, for a copy, and for what is still readable of a damaged file.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

#: Columns of each table that are put together, and its key, by which a damaged table is read from both ends.
TABLES: dict[str, tuple[tuple[str, ...], str]] = {
    "pupils": (("id", "nickname", "called", "low", "high", "since"), "id"),
    "settings": (("pupil", "name", "value"), "pupil, name"),
    "consents": (("pupil", "given_by", "purpose", "given_at", "until", "ended_at"), "id"),
    "takes": (("id", "pupil", "at", "session", "tune", "first", "last", "shift", "closeness", "cue", "notes"), "id"),
    "moves": (("take", "start", "stop", "wanted", "heard", "verdict", "sure", "kind", "wanted_semitones",
               "sung_semitones"), "take, start"),
    "sounds": (("take", "until", "flac"), "take"),
    "work": (("pupil", "set_at", "until", "tune", "after_take"), "id"),
    "kept": (("pupil", "room", "name", "value"), "pupil, room, name"),
}
Row = dict[str, Any]
Rows = dict[str, list[Row]]


@dataclass(frozen=True)
class Merged:
    """How many were put in that were not there: pupils, takes."""

    pupils: int
    takes: int


def read_rows(con: sqlite3.Connection) -> Rows:
    """All rows that can be read and make sense; from a damaged file, those before and after the damage."""
    con.text_factory = lambda data: data.decode("utf-8", "replace")
    rows: Rows = {}
    for table, (columns, key) in TABLES.items():
        found: dict[tuple[Any, ...], Row] = {}
        backwards = ", ".join(f"{column.strip()} DESC" for column in key.split(","))
        for order in (key, backwards):
            with suppress(sqlite3.Error, UnicodeDecodeError):  # the latter of SQLite's own messages, which name what is damaged
                for values in con.execute(f"SELECT {', '.join(columns)} FROM {table} ORDER BY {order}"):
                    found.setdefault(tuple(values), dict(zip(columns, values, strict=True)))
                break
        rows[table] = sorted((r for r in found.values() if makes_sense(table, r)),
                             key=lambda r: [str(r[c]).zfill(20) for c in columns[:2]])
    return rows


def read_file(path: Path) -> Rows:
    """As `read_rows`, of a file, which is only read. Raises sqlite3.Error where it is no SQLite file."""
    with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, isolation_level=None)) as con:
        return read_rows(con)


def _text(value: Any) -> bool:
    return isinstance(value, str) and "\ufffd" not in value


def _number(value: Any) -> bool:
    return isinstance(value, int | float)


def makes_sense(table: str, row: Row) -> bool:
    """Whether the diary could have written a row."""
    from companion.diary.model import Purpose, SessionKind  # the enums alone; `diary.py` imports this file
    from companion.diary.settings import SettingName

    checks: dict[str, Callable[[Any], Any]] = {
        "since": datetime.fromisoformat, "given_at": datetime.fromisoformat, "at": datetime.fromisoformat,
        "set_at": datetime.fromisoformat, "value": json.loads, "notes": json.loads, "purpose": Purpose, "session": SessionKind}
    if table == "settings":
        checks["name"] = SettingName
    if table in ("consents", "sounds", "work"):
        checks["until"] = lambda value: value is None or date.fromisoformat(value)
    texts = {"nickname", "called", "name", "given_by", "tune", "cue", "room"}
    whole = {"id", "pupil", "take", "first", "last", "start", "stop", "after_take", "wanted_semitones"}
    try:
        for column, check in checks.items():
            if column in row:
                check(row[column])
        if table == "moves":
            _move_makes_sense(row)
    except (ValueError, TypeError, RecursionError):
        return False
    return all(_text(v) if c in texts else isinstance(v, int) if c in whole else True for c, v in row.items()) and all(
        row[c] is None or _number(row[c]) for c in ("low", "high", "shift", "sung_semitones") if c in row) and all(
        _number(row[c]) for c in ("closeness", "sure") if c in row)


def _move_makes_sense(row: Row) -> None:
    from companion.match import MoveKind, Verdict
    from companion.tune import Direction

    Direction(row["wanted"])
    Verdict(row["verdict"])
    MoveKind(row["kind"])
    if row["heard"] is not None:
        Direction(row["heard"])


def merge_rows(rows: Rows, into: sqlite3.Connection, now: str) -> Merged:
    """Put rows into an open diary within its transaction. What is there already stays as it is."""
    pupils, new_pupils = _merge_pupils(rows["pupils"], into)
    for row in _of(pupils, rows["settings"]):
        into.execute("INSERT OR IGNORE INTO settings VALUES (:pupil, :name, :value)", row)
    for row in _of(pupils, rows["consents"]):
        _merge_consent(row, into, now)
    takes, new_takes = _merge_takes(rows, pupils, into)
    for row in _of(pupils, rows["work"]):
        row["after_take"] = max((new for old, new in takes.items() if old <= row["after_take"]), default=0)
        into.execute("INSERT INTO work (pupil, set_at, until, tune, after_take) SELECT :pupil, :set_at, :until, :tune, "
                     ":after_take WHERE NOT EXISTS (SELECT 1 FROM work WHERE pupil = :pupil AND tune = :tune)", row)
    for row in _of(pupils, rows["kept"]):
        found = into.execute("SELECT value FROM kept WHERE pupil = :pupil AND room = :room AND name = :name", row).fetchone()
        if found:
            row["value"] = json.dumps(joined(json.loads(found[0]), json.loads(row["value"])))
        into.execute("INSERT OR REPLACE INTO kept VALUES (:pupil, :room, :name, :value)", row)
    return Merged(new_pupils, new_takes)


def _of(pupils: dict[int, int], rows: list[Row]) -> Iterator[Row]:
    """Rows of the pupils that are known, with their numbers in the other diary."""
    for row in rows:
        if row["pupil"] in pupils:
            yield {**row, "pupil": pupils[row["pupil"]]}


def _merge_pupils(rows: list[Row], into: sqlite3.Connection) -> tuple[dict[int, int], int]:
    numbers, new = {}, 0
    for row in rows:
        new += into.execute("INSERT OR IGNORE INTO pupils (nickname, called, low, high, since) VALUES "
                            "(:nickname, :called, :low, :high, :since)", row).rowcount
        numbers[row["id"]] = into.execute("SELECT id FROM pupils WHERE called = :called", row).fetchone()[0]
    return numbers, new


def _merge_consent(row: Row, into: sqlite3.Connection, now: str) -> None:
    """A consent that ended in either diary has ended; of two that hold, the one that was there stays."""
    same = "pupil = :pupil AND given_by = :given_by AND purpose = :purpose AND given_at = :given_at"
    if into.execute(f"SELECT 1 FROM consents WHERE {same}", row).fetchone():
        into.execute(f"UPDATE consents SET ended_at = coalesce(ended_at, :ended_at) WHERE {same}", row)
        return
    if into.execute("SELECT 1 FROM consents WHERE pupil = :pupil AND purpose = :purpose AND ended_at IS NULL", row).fetchone():
        row["ended_at"] = row["ended_at"] or now
    into.execute("INSERT INTO consents (pupil, given_by, purpose, given_at, until, ended_at) VALUES "
                 "(:pupil, :given_by, :purpose, :given_at, :until, :ended_at)", row)


def _merge_takes(rows: Rows, pupils: dict[int, int], into: sqlite3.Connection) -> tuple[dict[int, int], int]:
    """Numbers of the takes in the other diary, and how many were new."""
    same = "pupil = :pupil AND at = :at AND session = :session AND tune = :tune AND first = :first AND last = :last"
    numbers, new = {}, 0
    moves: dict[int, list[Row]] = {}
    for move in rows["moves"]:
        moves.setdefault(move["take"], []).append(move)
    sounds = {sound["take"]: sound for sound in rows["sounds"]}
    for row in _of(pupils, rows["takes"]):
        found = into.execute(f"SELECT id FROM takes WHERE {same}", row).fetchone()
        if found:
            numbers[row["id"]] = found[0]
            continue
        take = int(into.execute(
            "INSERT INTO takes (pupil, at, session, tune, first, last, shift, closeness, cue, notes) VALUES "
            "(:pupil, :at, :session, :tune, :first, :last, :shift, :closeness, :cue, :notes)", row).lastrowid or 0)
        numbers[row["id"]] = take
        new += 1
        for move in moves.get(row["id"], []):
            into.execute("INSERT OR IGNORE INTO moves VALUES (:take, :start, :stop, :wanted, :heard, :verdict, :sure, :kind, "
                         ":wanted_semitones, :sung_semitones)", {**move, "take": take})
        if row["id"] in sounds:  # only where somebody still allows it
            into.execute("INSERT INTO sounds SELECT :take, :until, :flac WHERE EXISTS (SELECT 1 FROM consents "
                         "WHERE pupil = :pupil AND ended_at IS NULL)", {**sounds[row["id"]], "take": take,
                                                                       "pupil": row["pupil"]})
    return numbers, new


def joined(one: Any, other: Any) -> Any:
    """Two values of JSON put together: dictionaries by key, lists with what the first lacks; else the first stays."""
    if isinstance(one, dict) and isinstance(other, dict):
        return {key: joined(one[key], other[key]) if key in one and key in other else one.get(key, other.get(key))
                for key in [*one, *(k for k in other if k not in one)]}
    if isinstance(one, list) and isinstance(other, list):
        both = one + [x for x in other if x not in one]
        return sorted(both, key=lambda x: x["at"]) if all(isinstance(x, dict) and "at" in x for x in both) else both
    return one
