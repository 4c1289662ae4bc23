"""A piece of work kept in one file: a zip of open formats, which `notate` opens again.

score.musicxml is the score. work.json holds all that is known of it: the notes as sung and as written, what a person has
given, and the states before each correction, so that undo still works. take-1.flac and so on are the takes, where they were
asked to be kept. Nothing else in the file is read, and whatever is amiss with it is one sentence.
"""

from __future__ import annotations

import io
import json
import math
import types
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from companion.ear import Sound
from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.places import read_within, write_whole
from companion.transcribe.notation import Notation
from companion.transcribe.takes import Transcription
from companion.tune import to_musicxml

ENDING = ".zip"
SCORE, WORK = "score.musicxml", "work.json"
FORM = 1  # of work.json; a later one may hold what this cannot read
MOST_BYTES, MOST_JSON_BYTES = 200_000_000, 50_000_000
MOST_STATES = 100  # that undo goes back to


@dataclass(frozen=True)
class Work:
    """What work.json holds: the score now, its states before (the latest last) and those taken back (the latest last).

    form: see FORM. takes: how many the score was made from. typed: the corrections as they were typed, in order.
    """

    form: int
    now: Notation
    past: tuple[Notation, ...] = ()
    undone: tuple[Notation, ...] = ()
    takes: int = 1
    typed: tuple[str, ...] = ()


def is_kept_work(path: str | Path) -> bool:
    """Whether a name is that of a kept piece of work."""
    return Path(path).suffix.lower() == ENDING


def check_keep(path: str | Path, opened: str | Path | None = None) -> None:
    """Raises Trouble, before any work is done, where a piece of work may not be kept under a name.

    opened: the file that it was opened from, which may be written anew, since it then holds its earlier states too.
    """
    path = Path(path)
    if not is_kept_work(path):
        raise Trouble(_("{path} was given; a piece of work is kept in a file that ends in .zip. Give such a name.").format(
            path=path))
    if not path.parent.is_dir():
        raise Trouble(_("There is no folder {parent} to keep {name} in. Make it, or give another.").format(
            parent=path.parent, name=path.name))
    if path.exists() and not (opened is not None and Path(opened).exists() and path.samefile(opened)):
        raise Trouble(_("{path} is there already and is not written over. Give another name, or open it with: notate "
                        "{path}").format(path=path))


def keep_work(transcription: Transcription, path: str | Path, opened: str | Path | None = None,
              with_sound: bool = False) -> None:
    """Write a piece of work; see `check_keep`. with_sound: with the sound of the takes, where the transcription holds it."""
    check_keep(path, opened)
    work = Work(FORM, transcription.notation, transcription.past[-MOST_STATES:], transcription.undone[-MOST_STATES:],
                transcription.takes, transcription.typed)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(SCORE, to_musicxml(work.now.tune))
        file.writestr(WORK, json.dumps(_plain(work), ensure_ascii=False, allow_nan=False))
        for k, sound in enumerate(transcription.sounds if with_sound else (), 1):
            file.writestr(zipfile.ZipInfo(f"take-{k}.flac"), _flac(sound))  # packed already
    write_whole(path, out.getvalue(), private=True)


def open_work(path: str | Path) -> Transcription:
    """A kept piece of work, by `run_limited`. Raises Trouble where it is missing, damaged, or not one."""
    return run_limited(_open_work, path, small=True)


def _open_work(path: str | Path) -> Transcription:
    try:
        data = read_within(Path(path), MOST_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}.").format(
            path=path, reason=(error.strerror or str(error)).lower())) from error
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            if file.getinfo(WORK).file_size > MOST_JSON_BYTES:
                raise ValueError("too large")
            facts = json.loads(file.read(WORK))
            if facts["form"] > FORM:
                raise Trouble(_("{path} was kept by a later version of this program. Open it with that one.").format(path=path))
            work = _made(Work, facts)
            sounds = tuple(_sound(file.read(name)) for name in sorted(n for n in file.namelist() if n.endswith(".flac"))
                           if file.getinfo(name).file_size <= MOST_BYTES)
        for notation in (work.now, *work.past, *work.undone):
            _check(notation)
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, AttributeError, IndexError, ArithmeticError,
            RecursionError, NotImplementedError, EOFError, OSError, AssertionError) as error:
        raise Trouble(_("{path} cannot be opened: it is damaged, or no piece of work that notate kept. It is left as it is; "
                        "take another copy of it.").format(path=path)) from error
    return Transcription(work.now, work.takes, past=work.past, undone=work.undone, typed=work.typed, sounds=sounds)


def _check(n: Notation) -> None:
    """Raises ValueError where a score could not be worked with: it is laid out once."""
    if len(n.notes) < 2 or n.time.quarters <= 0 or any(note.ticks < 1 or note.rest < 0 for note in n.notes):
        raise ValueError("no score")
    if not 0 <= n.place < n.bar_ticks or len(n.tune.bars) < 1:
        raise ValueError("no bars")


def _flac(sound: Sound) -> bytes:
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, sound.samples, sound.rate, format="FLAC", subtype="PCM_16")
    return out.getvalue()


def _sound(data: bytes) -> Sound:
    import soundfile

    samples, rate = soundfile.read(io.BytesIO(data), dtype="float32")
    return Sound(samples, rate)


# Dataclasses to what JSON holds, and back by their type hints.


def _plain(x: Any) -> Any:
    """Enums as their values, fractions as text ("3/2"), tuples as lists, dataclasses as objects."""
    if is_dataclass(x) and not isinstance(x, type):
        return {f.name: _plain(getattr(x, f.name)) for f in fields(x)}
    if isinstance(x, Enum):
        return x.value
    if isinstance(x, Fraction):
        return str(x)
    if isinstance(x, tuple | list):
        return [_plain(y) for y in x]
    if isinstance(x, float):
        return float(x) if math.isfinite(x) else None
    return x.item() if hasattr(x, "item") else x


def _made(hint: Any, x: Any, names: Mapping[Any, Any] | None = None) -> Any:
    """A value of a type from what JSON held. names: what type variables stand for. Raises ValueError or TypeError."""
    names = names or {}
    hint = names[hint] if isinstance(hint, TypeVar) else hint
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return None if x is None else _made(next(a for a in args if a is not type(None)), x, names)
    if origin is tuple:
        return _made_tuple(args, x, names)
    if is_dataclass(origin or hint):
        return _made_dataclass(origin or hint, x, dict(zip(getattr(origin, "__parameters__", ()), args, strict=True)))
    return _made_plain(hint, x)


def _made_tuple(args: tuple[Any, ...], x: Any, names: Mapping[Any, Any]) -> tuple[Any, ...]:
    if not isinstance(x, list):
        raise TypeError("no list")
    if len(args) == 2 and args[1] is ...:
        return tuple(_made(args[0], y, names) for y in x)
    return tuple(_made(a, y, names) for a, y in zip(args, x, strict=True))


def _made_plain(hint: Any, x: Any) -> Any:
    if hint is Fraction or (isinstance(hint, type) and issubclass(hint, Enum)):
        return hint(x)
    if hint is float and isinstance(x, int) and not isinstance(x, bool):
        return float(x)
    if not isinstance(x, hint) or (hint is int and isinstance(x, bool)):
        raise TypeError(f"no {hint}")
    return x


def _made_dataclass(cls: Any, x: Any, names: Mapping[Any, Any]) -> Any:
    """Fields that are not there have their defaults; others that a later version wrote are passed over."""
    hints = get_type_hints(cls)
    return cls(**{f.name: _made(hints[f.name], x[f.name], names) for f in fields(cls) if f.init and f.name in x})

