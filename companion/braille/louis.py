"""Words by liblouis, where the machine has it: contracted Unified English Braille, and a check of our own tables.

Only the shared library and its tables are used (Debian: liblouis20, liblouis-data), by way of ctypes.
"""

from __future__ import annotations

import ctypes
import ctypes.util
from functools import lru_cache

from companion.errors import Trouble
from companion.messages import _

#: Modes of lou_translateString (liblouis.h): cells as Unicode braille patterns.
DOTS_IO, UNICODE_BRAILLE = 4, 64


@lru_cache(maxsize=1)
def library() -> ctypes.CDLL | None:
    """The shared library, None where there is none."""
    names = [ctypes.util.find_library("louis"), "liblouis.so.20", "liblouis.so", "liblouis.dylib", "liblouis.dll"]
    for name in names:
        if name:
            try:
                found = ctypes.CDLL(name)
                found.lou_translateString.restype = ctypes.c_int
                found.lou_setLogLevel(60000)  # silence: a missing table is said by us
                return found
            except (OSError, AttributeError):
                continue
    return None


@lru_cache(maxsize=4096)
def translate(text: str, table: str) -> str:
    """Text as Unicode cells by one of liblouis's tables, "en-ueb-g1.ctb" or "en-ueb-g2.ctb".

    Raises Trouble where the library or the table is missing.
    """
    louis = library()
    if louis is None:
        raise Trouble(_("Contracted braille needs liblouis, which is not on this machine; install it (on Debian and Ubuntu "
                        "the packages liblouis20 and liblouis-data), or ask for uncontracted words."))
    wide = louis.lou_charSize()
    encoding = "utf-16-le" if wide == 2 else "utf-32-le"
    data = text.encode(encoding)
    unit = ctypes.c_uint16 if wide == 2 else ctypes.c_uint32
    room = 8 * len(text) + 64
    source = (unit * (len(data) // wide + 1)).from_buffer_copy(data + b"\0" * wide)
    target = (unit * room)()
    source_length, target_length = ctypes.c_int(len(data) // wide), ctypes.c_int(room)
    done = louis.lou_translateString(table.encode(), source, ctypes.byref(source_length), target,
                                     ctypes.byref(target_length), None, None, DOTS_IO | UNICODE_BRAILLE)
    if not done:
        raise Trouble(_("liblouis could not use its table {table}; install its tables (on Debian and Ubuntu the "
                        "package liblouis-data), or ask for uncontracted words.").format(table=table))
    cells: str = bytes(target)[:target_length.value * wide].decode(encoding)
    return cells.replace(" ", "⠀")
