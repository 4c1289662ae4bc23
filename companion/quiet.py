"""Other libraries' own messages kept off standard error, where ours stand one sentence at a time."""

from __future__ import annotations

import ctypes
import os

_done = False


def hush_libraries() -> None:
    """Turn away what drivers and decoders (ALSA, PortAudio, mpg123) print through C's `stderr`, for the rest of the process.

    Python's own messages go another way and still come. COMPANION_DEBUG leaves all as it was, and so does a C library that
    has no such name.
    """
    global _done
    if _done or os.environ.get("COMPANION_DEBUG"):
        return
    _done = True
    try:
        library = ctypes.CDLL(None)
        stream = ctypes.c_void_p.in_dll(library, "stderr")
        library.fopen.restype = ctypes.c_void_p
        nowhere = library.fopen(os.devnull.encode(), b"w")
    except (OSError, TypeError, ValueError, AttributeError):
        return
    if nowhere:
        stream.value = nowhere
