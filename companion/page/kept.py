"""What is kept while the page runs and gone with it: tunes that were sent, sounds to be played."""

from __future__ import annotations

import os
import re
import tempfile
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.page.security import new_token
from companion.places import not_written
from companion.tune import catalogue, load, save

MOST_TUNES = 50
MOST_SOUNDS = 100
TUNE_ENDINGS = (".musicxml", ".xml", ".mxl", ".mid", ".midi")


def written_apart(data: bytes, name: str, folder: str | Path) -> Path:
    """A stranger's file in a folder of ours, under a name of ours: only the ending of its own is used."""
    ending = Path(name).suffix.lower()[:10]
    path = Path(folder) / f"sent{ending if re.fullmatch(r'[.][a-z0-9]+', ending) else ''}"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    return path


def in_folder(work: Callable[[Path], Any]) -> Any:
    """`work(folder)` with a folder that nobody else may read and that is gone afterwards.

    Raises `Trouble` with a plain sentence where nothing can be written there (a full disk is no fault of ours).
    """
    try:
        with tempfile.TemporaryDirectory(prefix="companion-") as folder:
            return work(Path(folder))
    except OSError as error:
        raise not_written(error) from error


def files_made(write: Callable[[Path], object]) -> dict[str, bytes]:
    """All files that `write(folder)` writes, by name."""
    def work(folder: Path) -> dict[str, bytes]:
        write(folder)
        return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}

    made: dict[str, bytes] = in_folder(work)
    return made


def shown_name(name: str) -> str:
    """A file's own name, to be shown: without folders and without what is no letter of a name."""
    return re.sub(r"[^\w .,'-]", " ", re.split(r"[/\\]", name)[-1]).strip()[:80] or "take"


def named(text: str, files: list[tuple[str, str]]) -> str:
    """A sentence about files of ours, with the names that their sender knows. files: (path, name)."""
    for path, name in files:
        text = text.replace(path, name)
    return text


@dataclass(frozen=True)
class Choice:
    """A tune that can be chosen. name: what forms give; title: what is shown."""

    name: str
    title: str


@dataclass
class Tunes:
    """Tunes by name: those that ship, and those that were sent or written down, which are gone with the program."""

    _sent: OrderedDict[str, tuple[str, Path]] = field(default_factory=OrderedDict)
    _folder: Any = None

    def choices(self) -> list[Choice]:
        """What can be chosen: what was sent first, then what ships, easiest first."""
        return [*(Choice(key, title) for key, (title, _path) in reversed(self._sent.items())),
                *(Choice(e.name, e.title) for e in catalogue())]

    def place(self, name: str) -> str:
        """What `companion.tune.load` takes for a name that a form gave. Raises Trouble for any other: never a path."""
        if name in {e.name for e in catalogue()}:
            return name
        if name in self._sent:
            return str(self._sent[name][1])
        raise Trouble(_("This tune is not there any more. Choose a tune from the list, or send the file again."))

    def title(self, name: str) -> str:
        """How a tune is called."""
        return next((choice.title for choice in self.choices() if choice.name == name), "")

    def send(self, data: bytes, name: str, part: str | None = None) -> str:
        """A file that was sent, read in a process of its own; the name by which it can be chosen. Raises Trouble.

        part: of a score with several.
        """
        if Path(name).suffix.lower() not in TUNE_ENDINGS:
            raise Trouble(_("A tune is a file of MusicXML or MIDI (.musicxml, .mxl, .mid). Choose such a file."))
        def work(folder: Path) -> Any:
            path = written_apart(data, name, folder)
            try:
                return run_limited(load, str(path), part)
            except Trouble as trouble:
                raise Trouble(named(str(trouble), [(str(path), shown_name(name))])) from None

        tune = in_folder(work)
        return self.keep(tune, tune.title or re.sub(r"[^\w .,'-]", " ", Path(name).stem)[:80])

    def keep(self, tune: Any, title: str) -> str:
        """A tune under a new name that nobody can guess."""
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="companion-tunes-")
        key = new_token()
        path = Path(self._folder.name) / f"{len(self._sent)}-{os.urandom(4).hex()}.musicxml"
        save(tune, path)
        self._sent[key] = (title, path)
        while len(self._sent) > MOST_TUNES:
            self._sent.popitem(last=False)[1][1].unlink(missing_ok=True)
        return key


@dataclass
class Sounds:
    """WAV sounds by a key, the newest ones only."""

    _kept: OrderedDict[str, bytes] = field(default_factory=OrderedDict)

    def keep(self, data: bytes) -> str:
        """The key under which a sound can be fetched."""
        key = new_token()
        self._kept[key] = data
        while len(self._kept) > MOST_SOUNDS:
            self._kept.popitem(last=False)
        return key

    def get(self, key: str) -> bytes | None:
        return self._kept.get(key)


def wav_bytes(sound: Any, cap_db: float | None = None) -> bytes:
    """A sound as WAV, 16 bits, capped as all that is played."""
    import io
    import wave

    import numpy as np

    from companion.audio import CAP_DBFS, finish

    done = finish(sound, CAP_DBFS if cap_db is None else cap_db)
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(done.rate)
        file.writeframes(np.round(done.samples * 32767).astype("<i2").tobytes())
    return out.getvalue()
