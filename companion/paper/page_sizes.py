"""Sizes of braille pages that are kept on this machine by name ("my embosser"), in a small file beside the usual diary.

JSON: {"papers": {"my embosser": {"width": 32, "height": 27, "left": 2, "top": 1}}}, cells in a line and lines on a page, and
empty cells and lines before them, 0 where they are not given. No pupil is named there.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from companion.braille import check_width
from companion.errors import Trouble
from companion.messages import _
from companion.paper.braille_pages import HEIGHT, WIDTH, check_height
from companion.paper.pef import to_pef
from companion.places import user_folder, write_whole

FILE = "papers.json"
LONGEST_NAME = 60  # characters
MOST_MARGIN = 40  # cells or lines


@dataclass(frozen=True)
class PageSize:
    """Of a braille page: cells in a line (12 to 120), lines on a page (4 or more); left, top: empty cells before each line
    and empty lines above each page, which come on top of these (0 to 40). Raises Trouble for another."""

    width: int = WIDTH
    height: int = HEIGHT
    left: int = 0
    top: int = 0

    def __post_init__(self) -> None:
        check_width(self.width)
        check_height(self.height)
        for margin in (self.left, self.top):
            if not 0 <= margin <= MOST_MARGIN:
                raise Trouble(_("A margin of {margin} was asked for; give 0 to {most} cells or lines.").format(
                                  margin=margin, most=MOST_MARGIN))

    def with_margins(self, brf: bytes) -> bytes:
        """The pages of a .brf file with the margins."""
        if not (self.left or self.top):
            return brf
        pages = ["\r\n" * self.top + "\r\n".join(" " * self.left + line if line else line for line in page.split("\r\n"))
                 for page in brf.decode("ascii").split("\f")]
        return "\f".join(pages).encode("ascii")

    def as_pef(self, brf: bytes, title: str) -> bytes:
        """The same pages as PEF. title: of the document, as `to_pef` has it."""
        return to_pef(self.with_margins(brf), title, self.left + self.width, self.top + self.height)


USUAL = PageSize()


def kept_sizes() -> dict[str, PageSize]:
    """The sizes kept on this machine, by name. Raises Trouble where their file cannot be read."""
    path = user_folder() / FILE
    try:
        found = json.loads(path.read_bytes())["papers"]
        return {str(name): PageSize(int(size["width"]), int(size["height"]), int(size.get("left", 0)), int(size.get("top", 0)))
                for name, size in found.items()}
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
    papers = {key: {what: n for what, n in asdict(kept).items() if n} for key, kept in sorted(sizes.items())}
    write_whole(path, (json.dumps({"papers": papers}, ensure_ascii=False, indent=1) + "\n").encode())
    return path


def page_size(name: str | None = None, width: int | None = None, height: int | None = None, left: int | None = None,
              top: int | None = None) -> PageSize:
    """The size that is kept under a name, or the usual one; what is given besides comes before it. Raises Trouble."""
    kept = USUAL
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
    given = {"width": width, "height": height, "left": left, "top": top}
    return replace(kept, **{what: value for what, value in given.items() if value is not None})
