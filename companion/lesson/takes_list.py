"""Lists of takes: a CSV file with a line a take, or a folder of sound files."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import NamedTuple

from companion.errors import Trouble
from companion.messages import _
from companion.places import decoded, is_utf16, read_within

COLUMNS = ("phrase", "part", "verse")  # of a list, beside take and tune, if wanted
SOUNDS = (".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".aac", ".webm", ".aif", ".aiff")
MOST_BYTES = 20_000_000  # some hundred thousand takes


class Job(NamedTuple):
    """A row of a list: take and tune as named there, and the paths (or the name of a shipped tune) they stand for.

    phrase, part, verse: as written there, "" where nothing is.
    """

    take: str
    tune: str
    take_path: str
    tune_path: str
    phrase: str = ""
    part: str = ""
    verse: str = ""


def read_list(path: str | Path) -> list[Job]:
    """The rows of a list.

    Spreadsheets part columns by comma, semicolon or tab as the country has it, and write UTF-8 or Latin
    letters of one byte; all of these are read. Raises Trouble where the list cannot be read, lacks its
    header line or has no line below it.
    """
    if not str(path):
        raise Trouble(_("The name of the list is empty. Give a CSV file with a header line take,tune."))
    path = Path(path)
    lines = _text(path).splitlines()
    while lines and not lines[0].strip():
        del lines[0]
    parted_by = next((mark for mark in ",;\t" if lines and mark in lines[0]), ",")
    try:
        rows = list(csv.reader(lines, delimiter=parted_by))
    except csv.Error as error:
        raise Trouble(_("{path} has a line that is too long for a list of takes. Give a CSV file with a header line "
                        "take,tune.").format(path=path)) from error
    head = [cell.strip().lower() for cell in rows[0]] if rows else []
    if not {"take", "tune"} <= set(head):
        raise Trouble(_("{path} has no header line take,tune. Put it at the top, then a line for each take.").format(
                            path=path))
    jobs = [job for row in rows[1:] if (job := _job(path.parent, head, row)) is not None]
    if not jobs:
        raise Trouble(_("{path} names no take. Put a line for each below the header line take,tune.").format(
                            path=path))
    return jobs


def read_folder(folder: Path, tune: str) -> list[Job]:
    """Every sound file of a folder, by name, each for the same tune. Raises Trouble where there is none."""
    takes = sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in SOUNDS)
    if not takes:
        raise Trouble(_("{folder} holds no sound file. Give a folder with takes in it, or a CSV file.").format(folder=folder))
    return [Job(p.name, tune, str(p), tune) for p in takes]


def _job(folder: Path, head: list[str], row: list[str]) -> Job | None:
    """One row of a list, None for a row that names neither take nor tune. head: the names of the columns."""
    def cell(name: str) -> str:
        return row[head.index(name)].strip() if name in head and head.index(name) < len(row) else ""

    take, tune = cell("take"), cell("tune")
    if not take and not tune:
        return None
    beside = folder / tune
    return Job(take, tune, str(folder / take), str(beside) if os.path.isfile(beside) else tune, *map(cell, COLUMNS))


def _text(path: Path) -> str:
    """The text of a list. Raises Trouble where there is none."""
    try:
        if path.is_dir():
            raise Trouble(_("{path} is a folder. Say with --tune which tune its takes are of, or give a CSV file with a "
                            "header line take,tune.").format(path=path))
        if not path.exists():
            raise Trouble(_("There is no file {path}. Check its name and folder.").format(path=path))
        if path.stat().st_size > MOST_BYTES:
            raise Trouble(_("{path} is far larger than a list of takes. Give a CSV file with a header line "
                            "take,tune.").format(path=path))
        data = read_within(path, MOST_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Give a CSV file with a header line take,tune.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    if b"\0" in data and not is_utf16(data):
        raise Trouble(_("{path} is no text. Give a CSV file with a header line take,tune.").format(path=path))
    try:
        return decoded(data)
    except UnicodeDecodeError:
        return data.decode("latin-1")
