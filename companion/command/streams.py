"""What a command prints, with nothing in it that a terminal would obey or that nobody can see; what it reads as typed.

Names come from strangers' files: a title may hold the codes that clear a screen, or marks that turn the writing round.
"""

from __future__ import annotations

import os
import stat
from typing import Any, TextIO, cast

from companion.places import is_utf16, shortened, visible


class VisibleOutput:
    """A stream of text that writes hidden letters as their numbers and cuts words that are longer than any name.

    whole: nothing is cut, as in JSON for programs. All else is the stream's own.
    """

    def __init__(self, stream: TextIO, whole: bool) -> None:
        self._stream, self._whole = stream, whole

    def write(self, text: str) -> int:
        self._stream.write(visible(text if self._whole else shortened(text)))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def visible_output(stream: TextIO, whole: bool) -> TextIO:
    """The stream as `VisibleOutput`."""
    return cast(TextIO, VisibleOutput(stream, whole))


def input_encoding(stream: TextIO) -> str:
    """Of standard input: UTF-16 where it is a file that the shell of Windows wrote so, else UTF-8. Nothing is used up."""
    try:
        descriptor = stream.fileno()
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            return "utf-8"  # a terminal or a pipe: to look would be to wait
        place = os.lseek(descriptor, 0, os.SEEK_CUR)
        head = os.read(descriptor, 64)
        os.lseek(descriptor, place, os.SEEK_SET)
    except (OSError, ValueError, AttributeError):
        return "utf-8"
    marked = head[:2] in (b"\xff\xfe", b"\xfe\xff")
    return "utf-8" if not is_utf16(head) else "utf-16" if marked else "utf-16-be" if head[:1] == b"\0" else "utf-16-le"
