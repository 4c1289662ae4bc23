"""Where shipped files lie, in a checkout and in an installed wheel; and writing without leaving halves."""

from __future__ import annotations

import errno
import io
import os
import stat
import tempfile
import time
from pathlib import Path

from companion.errors import Trouble
from companion.messages import _

PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """The folder "exercises" or "recordings": beside the package in a checkout, inside it in a wheel."""
    inside = PACKAGE / "shipped" / folder
    return inside if inside.is_dir() else PACKAGE.parent / folder


def sans_typeface() -> Path:
    """DejaVu Sans, which has the braille cells and many scripts; it comes with matplotlib, and that with music21."""
    from importlib.util import find_spec

    spec = find_spec("matplotlib")
    for folder in (spec.submodule_search_locations or []) if spec else []:
        path = Path(folder) / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"
        if path.is_file():
            return path
    raise Trouble(_("A PDF needs the typeface DejaVu Sans, which comes with the package matplotlib. Install that, "
                    "or write another form than .pdf."))


LONGEST_WORD = 255  # a longer one, as of a name, is cut in its middle


def shown(text: str) -> str:
    """A name or a sentence as one line, whatever the names in it hold: marks that cannot be seen or that turn the direction
    of writing are written as their numbers, and very long names are cut."""
    words = (word if len(word) <= LONGEST_WORD else f"{word[:100]}...{word[-100:]}" for word in text.split())
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in " ".join(words))


PIPE_S = 5.0  # a pipe that gives nothing for so long has nobody who writes into it


def read_within(path: Path, most_bytes: int) -> bytes:
    """What is in a file, a pipe or a device, one byte more than `most_bytes` at most. Raises OSError.

    A pipe into which nobody writes gives nothing after `PIPE_S`, and holds nobody up.
    """
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(descriptor, "rb", buffering=0) as file:
        if not stat.S_ISFIFO(os.fstat(descriptor).st_mode):
            return _read(file, most_bytes)
        import select

        parts: list[bytes] = []
        left, end = most_bytes + 1, time.monotonic() + PIPE_S
        while left > 0 and time.monotonic() < end:
            if not select.select([descriptor], [], [], end - time.monotonic())[0]:
                break
            part = file.read(min(left, 1 << 20))
            if part:
                parts.append(part)
                left -= len(part)
                end = time.monotonic() + PIPE_S
            elif parts:
                break
            else:
                time.sleep(0.01)  # nobody has opened the other end yet
        return b"".join(parts)


def _read(file: io.FileIO, most_bytes: int) -> bytes:
    parts: list[bytes] = []
    left = most_bytes + 1
    while left > 0 and (part := file.read(min(left, 1 << 20))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def write_whole(path: str | Path, data: bytes, private: bool = False) -> None:
    """Write beside, flush to the disk, then rename: `path` is either as it was or complete.

    private: only the owner may read it (mode 0600); a file that is written anew keeps its rights.
    Raises `Trouble` with a plain sentence where the place cannot be written.
    """
    path = Path(path)
    temporary = None
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            # A device or a pipe, as in --out /dev/stdout: there is nothing to be renamed over.
            with path.open("wb") as file:
                file.write(data)
            return
        try:
            path = path.resolve()  # a link stays a link to the file that it names
        except RuntimeError as error:  # Python before 3.13 raises this for a link to itself
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(path)) from error
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        rights = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o666 & ~mask
        os.chmod(temporary, rights & 0o600 if private else rights)
        os.replace(temporary, path)
    except OSError as error:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        reason = (error.strerror or str(error)).lower()
        raise Trouble(_("{path} could not be written: {reason}. Choose another place or make room.").format(
                            path=path, reason=reason)) from error
