"""Pages as data: a sheet is a title and blocks, made once and turned into every form (see `forms`).

What is for the helper alone is marked so, and is left out of the pupil's braille; everything else is the same in
every form.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from companion.errors import Trouble
from companion.language import Language, cells_in_words, labelled, song_in_words
from companion.tune import LineNote

TEXT_PT = 20  # of print, unless a sheet asks for larger
WIDER = (20, 24, 28, 34, 40)  # cells in a line, tried in turn where a bar does not fit


@dataclass(frozen=True)
class Heading:
    """A heading. gap: in plain text an empty line stands before it."""

    text: str
    helper: bool = False
    gap: bool = False


class Only(Enum):
    """A form in which a paragraph stands and in no other: print, or plain text."""

    PRINT = auto()
    TEXT = auto()


@dataclass(frozen=True)
class Paragraph:
    """Sentences. label: what stands before them in text and print ("For the helper"). strong: in bold print.

    only: the one form in which they stand, since they say something of how cells look there. typed: it is something to be
    typed, and ends as it stands.
    """

    text: str
    label: str = ""
    helper: bool = False
    strong: bool = False
    only: Only | None = None
    typed: bool = False


@dataclass(frozen=True)
class ListItem:
    """A line of a list."""

    text: str
    helper: bool = False


@dataclass(frozen=True)
class Cells:
    """Braille that is shown as it is.

    lines: gives the lines of cells for a width; it may raise Trouble where a bar needs a wider one.
    text: what the cells say. name: for a single line of cells with a name beside it ("C"), that name.
    has_dots: `text` says the dots already. sung: a song's page, whose lines from the margin are words.
    """

    lines: Callable[[int], Sequence[str]]
    text: str = ""
    name: str = ""
    helper: bool = False
    has_dots: bool = False
    sung: bool = False

    def at_width(self, width: int) -> list[str]:
        """The lines of cells at about `width`; wider where a bar needs it. Raises Trouble where it fits no line."""
        for w in (width, *(w for w in WIDER if w > width)):
            try:
                return list(self.lines(w))
            except Trouble as trouble:
                last = trouble
        raise last

    def in_words(self, language: Language, width: int) -> list[str]:
        """The lines at about `width` as said: in dots, the words of a song as they are; none where `text` says them."""
        if self.has_dots:
            return []
        lines = self.at_width(width)
        return song_in_words(language, lines) if self.sung else [cells_in_words(language, line) for line in lines]

    def caption(self, language: Language) -> str:
        """What stands beside the cells: "C: dots 1 4 5."."""
        return ended(labelled(language, self.name, self.text) if self.name and self.text else self.name or self.text)


@dataclass(frozen=True)
class CellGroup:
    """Lines of cells that belong together in a question. name: "" or what they are called. dots: them in words."""

    lines: tuple[str, ...]
    dots: str
    name: str = ""


@dataclass(frozen=True)
class Question:
    """A numbered question, or its answer, with its cells. Never parted by the end of a braille page.

    dots_in_text: plain text gives the dots of the cells after the words. play: what is sounded in the spoken form,
    and then time is left to answer; None: it is spoken like other text. answer_s: so much time, where it is known.
    """

    number: int
    text: str = ""
    groups: tuple[CellGroup, ...] = ()
    dots_in_text: bool = False
    play: tuple[LineNote, ...] | None = None
    answer_s: float | None = None
    helper: bool = False


@dataclass(frozen=True)
class Picture:
    """A picture made of cells, line by line, for an embosser without graphics. In no other form."""

    lines: tuple[str, ...]
    helper: bool = False


@dataclass(frozen=True)
class NewPage:
    """What follows begins a new page."""

    helper: bool = False


Block = Heading | Paragraph | ListItem | Cells | Question | Picture | NewPage


@dataclass(frozen=True)
class Sheet:
    """title: its first line, "" for none. blocks: in reading order. text_pt: size of the text in print, points."""

    title: str
    blocks: tuple[Block, ...]
    text_pt: int = TEXT_PT


def for_pupil(sheet: Sheet) -> Sheet:
    """The sheet without the helper's parts, in whatever form it is to be."""
    return replace(sheet, blocks=tuple(b for b in sheet.blocks if not b.helper))


def ended(text: str) -> str:
    """Text with a full stop where it has no end of its own."""
    return text if not text or text.endswith((".", "?", "!", ":")) else f"{text}."
