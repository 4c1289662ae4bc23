"""Sizes of braille pages that are kept on this machine by name ("my embosser"), in a small file beside the usual diary.

JSON: {"papers": {"my embosser": {"width": 32, "height": 27}}}, cells in a line and lines on a page. No pupil is named there.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from companion.braille import check_width
from companion.errors import Trouble
from companion.messages import _
from companion.paper.braille_pages import HEIGHT, WIDTH, check_height
from companion.places import user_folder, write_whole

FILE = "papers.json"
LONGEST_NAME = 60  # characters


@dataclass(frozen=True)
class PageSize:
    """Of a braille page: cells in a line (12 to 120), lines on a page (4 or more). Raises Trouble for another."""

    width: int = WIDTH
    height: int = HEIGHT

    def __post_init__(self) -> None:
        check_width(self.width)
        check_height(self.height)


def kept_sizes() -> dict[str, PageSize]:
    """The sizes kept on this machine, by name. Raises Trouble where their file cannot be read."""
    path = user_folder() / FILE
    try:
        found = json.loads(path.read_bytes())["papers"]
        return {str(name): PageSize(int(size["width"]), int(size["height"])) for name, size in found.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, Trouble) as error:
        raise Trouble(_("The paper sizes in {path} could not be read, and the file was left as it is. Mend it or move it "
                        "away, or give --width and --height.").format(path=path)) from error


def keep_size(name: str, size: PageSize) -> Path:
    """Keep a size under a name, in place of another of that name. Returns the file. Raises Trouble."""
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise Trouble(_("The name of a paper has 1 to {most} characters; give such a name.").format(most=LONGEST_NAME))
    sizes = {**kept_sizes(), name: size}
    path = user_folder() / FILE
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Trouble(_("{path} could not be written: {reason}. Choose another place or make room.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    papers = {key: {"width": kept.width, "height": kept.height} for key, kept in sorted(sizes.items())}
    write_whole(path, (json.dumps({"papers": papers}, ensure_ascii=False, indent=1) + "\n").encode())
    return path


def page_size(name: str | None = None, width: int | None = None, height: int | None = None) -> PageSize:
    """The size that is kept under a name, or the usual one; what is given besides comes before it. Raises Trouble."""
    kept = PageSize()
    if name is not None:
        sizes = {key.casefold(): size for key, size in kept_sizes().items()}
        found = sizes.get(" ".join(name.split()).casefold())
        if found is None and sizes:
            raise Trouble(_("No paper is kept as {name!r}; kept are {names}. Give one of these, or keep another with "
                            "--keep-paper.").format(name=name, names=", ".join(sorted(kept_sizes()))))
        if found is None:
            raise Trouble(_("No paper is kept as {name!r}, nor under another name. Give --width, --height and --keep-paper "
                            "once to keep one.").format(name=name))
        kept = found
    return PageSize(kept.width if width is None else width, kept.height if height is None else height)
