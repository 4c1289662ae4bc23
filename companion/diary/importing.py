"""A pupil's export put into a diary: on another machine, or after a deletion that was not meant. Nothing twice.

What the zip says is checked like what is read of a damaged diary: rows that the diary could not have written are refused.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
import zlib
from datetime import timedelta
from pathlib import Path
from typing import Any

from companion.diary.diary import Diary, called
from companion.diary.merge import Merged, Row, Rows, makes_sense
from companion.diary.settings import SETTINGS, SettingName
from companion.errors import Trouble
from companion.limits import MEMORY_BYTES, run_limited
from companion.messages import _
from companion.places import read_named

MOST_BYTES = 2_000_000_000  # of the zip, and of all that is in it
MOST_JSON_BYTES = 200_000_000  # of the takes of many years
MOST_FILES = 200_000


def import_pupil(diary: Diary, path: str | Path) -> tuple[str, Merged]:
    """Put what an export holds into the diary; the pupil's nickname, and how much was new.

    What is there already stays. Sound is put in where a consent holds, and is kept for as many days as a new take's.
    Raises Trouble where the file cannot be read or is no export.
    """
    source = Path(path)
    try:
        size = source.stat().st_size
    except OSError:
        size = 0  # said when it is read
    # Years of sound are much, and packed as they are: the file and what is in it.
    about, takes, sounds = run_limited(_unpacked, source, small=True, memory_bytes=MEMORY_BYTES + 3 * min(size, MOST_BYTES))
    try:
        rows = _rows(diary, about, takes, sounds)
        name = str(about["nickname"])
    except (*_DAMAGED, Trouble) as error:
        raise _no_export(source) from error
    return name, diary.merge(rows)


_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, ValueError, TypeError,
            KeyError, AttributeError, RecursionError, OverflowError)


def _no_export(source: Path) -> Trouble:
    return Trouble(_("{path} is no export of this program, or is cut or damaged; nothing was put in.").format(path=source))


def _unpacked(source: Path) -> tuple[Any, Any, dict[int, bytes]]:
    """What an export says of the pupil and of the takes, and the sounds of takes by their numbers."""
    data = read_named(source, MOST_BYTES)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            files = archive.infolist()
            if len(files) > MOST_FILES or sum(f.file_size for f in files) > MOST_BYTES:
                raise ValueError("more than an export holds")
            about, takes = (_json(archive, name) for name in ("pupil.json", "takes.json"))
            return about, takes, {int(found[1]): archive.read(f) for f in files
                                  if (found := re.fullmatch(r"sound/take-(\d{1,9})\.flac", f.filename))}
    except _DAMAGED as error:
        raise _no_export(source) from error


def _json(archive: zipfile.ZipFile, name: str) -> Any:
    if archive.getinfo(name).file_size > MOST_JSON_BYTES:
        raise ValueError("more than an export holds")
    return json.loads(archive.read(name))


def _rows(diary: Diary, about: dict[str, Any], takes: list[dict[str, Any]], sounds: dict[int, bytes]) -> Rows:
    """The rows of a diary that holds this pupil alone, under the number 1. Raises ValueError for what makes no sense."""
    nickname = about["nickname"]
    settings = {name: value for name, value in about["settings"].items() if value != SETTINGS[SettingName(name)].default}
    days = int(about["settings"][SettingName.KEEP_SOUND_DAYS])
    until = (diary.now() + timedelta(days=days)).date().isoformat()
    rows: Rows = {
        "pupils": [{"id": 1, "nickname": nickname, "called": called(nickname), "low": about["low"], "high": about["high"],
                    "since": about["since"]}],
        "settings": [{"pupil": 1, "name": name, "value": json.dumps(value)} for name, value in settings.items()],
        "consents": [{"pupil": 1, **{k: c[k] for k in ("given_by", "purpose", "given_at", "until", "ended_at")}}
                     for c in about["consents"]],
        "takes": [{"id": t["number"], "pupil": 1, "notes": json.dumps(t["notes"]),
                   **{k: t[k] for k in ("at", "session", "tune", "first", "last", "shift", "closeness", "cue")}} for t in takes],
        "moves": [_move(t["number"], m) for t in takes for m in t["moves"]],
        "sounds": [{"take": take, "until": until, "flac": flac} for take, flac in sounds.items()],
        "work": [_work(w, takes) for w in about["work"]],
        "kept": [{"pupil": 1, "room": owner, "name": name, "value": json.dumps(value)}
                 for owner, values in about["kept"].items() for name, value in values.items()]}
    if not all(makes_sense(table, row) for table, found in rows.items() for row in found):
        raise ValueError("a row that no diary holds")
    return rows


def _move(take: int, move: dict[str, Any]) -> Row:
    return {"take": take, "stop": move["end"], **{k: move[k] for k in (
        "start", "wanted", "heard", "verdict", "sure", "kind", "wanted_semitones", "sung_semitones")}}


def _work(work: dict[str, Any], takes: list[dict[str, Any]]) -> Row:
    """What is set, with the number of the last take before it: so that as many takes count for it as before."""
    numbers = [t["number"] for t in takes]
    own = sorted(t["number"] for t in takes if t["tune"] == work["tune"])
    counted = int(work["takes"])
    after = own[-counted] - 1 if 0 < counted <= len(own) else max(numbers, default=0)
    return {"pupil": 1, "set_at": work["set_at"], "until": work["until"], "tune": work["tune"], "after_take": after}
