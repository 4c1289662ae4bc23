"""Where shipped files lie, in a checkout and in an installed wheel; and writing without leaving halves."""

from __future__ import annotations

import os
import tempfile
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


def write_whole(path: str | Path, data: bytes) -> None:
    """Write beside, flush to the disk, then rename: `path` is either as it was or complete.

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
        path = path.resolve()  # a link stays a link to the file that it names
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)
        os.replace(temporary, path)
    except OSError as error:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        reason = (error.strerror or str(error)).lower()
        raise Trouble(_("{path} could not be written: {reason}. Choose another place or make room.").format(
                            path=path, reason=reason)) from error
