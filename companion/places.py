"""Where shipped files lie, in a checkout and in an installed wheel; and writing without leaving halves."""

from __future__ import annotations

import errno
import io
import os
import re
import stat
import tempfile
import time
from contextlib import suppress
from pathlib import Path

from companion.errors import Trouble
from companion.messages import _

PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """The folder "exercises" or "recordings": beside the package in a checkout, inside it in a wheel."""
    inside = PACKAGE / "shipped" / folder
    return inside if inside.is_dir() else PACKAGE.parent / folder


def user_folder() -> Path:
    """Where what belongs to this user on this machine is kept, as the usual diary; it need not be there yet."""
    import platformdirs

    return Path(platformdirs.user_data_dir("companion", appauthor=False))


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
KEPT_ENDS = 100  # letters of a cut word that stay on either side
#: What a terminal would obey and what nobody can see: control characters but tab and new line, marks that turn the
#: direction of writing (UAX 9), spaces without width, line separators, halves of pairs, tags.
_HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff"
                     "\U000e0000-\U000e007f]")
_LONG = re.compile(rf"(?<!\S)(?![0-9-]+(?!\S))\S{{{LONGEST_WORD + 1},}}")  # dot numbers of a line of cells are no name


def visible(text: str) -> str:
    """The text with what is hidden in it written as JSON escapes it (RFC 8259, 7), so that JSON stays the same JSON."""
    return _HIDDEN.sub(lambda found: json_escape(found[0]), text)


def json_escape(letter: str) -> str:
    """One letter as "\\u202e", beyond 16 bits as the two halves of its pair."""
    units = letter.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[k]:02x}{units[k + 1]:02x}" for k in range(0, len(units), 2))


def shortened(text: str) -> str:
    """The text with words that are longer than any name cut in their middle."""
    return _LONG.sub(lambda found: f"{found[0][:KEPT_ENDS]}...{found[0][-KEPT_ENDS:]}", text)


def shown(text: str) -> str:
    """A name or a sentence as one line, whatever the names in it hold: `visible` and `shortened`."""
    return visible(" ".join(shortened(text).split()))


def decoded(data: bytes, errors: str = "strict") -> str:
    """Text from the bytes of a file: UTF-8, or UTF-16 as the shell of Windows writes what it redirects.

    PowerShell reads what a program prints in the console's code page before it writes UTF-16; that is taken back where it
    was done to UTF-8. errors: as of `bytes.decode`. Raises UnicodeDecodeError.
    """
    if not is_utf16(data):
        return data.decode("utf-8-sig", errors)
    marked = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    text = data.decode("utf-16" if marked else "utf-16-be" if data[:1] == b"\0" else "utf-16-le", errors)
    for page in () if text.isascii() else ("cp437", "cp850"):  # of consoles in America and in western Europe
        with suppress(UnicodeError):
            return text.encode(page).decode("utf-8")
    return text


def is_utf16(data: bytes) -> bool:
    """Whether bytes are UTF-16: by their byte order mark, or by ASCII letters with a zero before or after each."""
    head = data[:64][:len(data[:64]) // 2 * 2]
    return data[:2] in (b"\xff\xfe", b"\xfe\xff") or any(
        len(head) >= 4 and not any(head[k::2]) and all(0 < byte < 128 for byte in head[1 - k::2]) for k in (0, 1))


PIPE_S = 5.0  # a pipe that gives nothing for so long has nobody who writes into it


def read_named(path: Path, most_bytes: int) -> bytes:
    """`read_within` of a file that somebody named. Raises Trouble where it cannot be read."""
    try:
        return read_within(path, most_bytes)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Check its name and folder.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error


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


def not_written(error: OSError) -> Trouble:
    """What to raise where an output of no name could not be written: a full disk is no fault of ours."""
    return Trouble(_("Writing the output failed: {reason}. Make room or choose another place.").format(
                       reason=(error.strerror or str(error)).lower()))


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
        with suppress(RuntimeError):  # for a link to itself; Python from 3.13 on gives the link back
            path = path.resolve()  # a link stays a link to the file that it names
        if path.is_symlink():
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(path))
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
