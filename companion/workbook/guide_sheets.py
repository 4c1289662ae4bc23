"""The guide for teacher, helper and pupil, and what a parent wants to know: one source for every form.

The texts are data, in `guide/`, a line each:

    # title     ## heading     - line of a list     anything else is a paragraph
    $ what is typed
    > a line that the program then prints; "> ..." for those that follow

`tests/workbook/test_workbook_guide.py` types what stands there and compares. Every text is looked up in the catalogue.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from companion.language import Language, guide_title, more_follows, typed_label
from companion.paper import Block, Heading, ListItem, NewPage, Paragraph, Sheet, html_body

FOLDER = Path(__file__).resolve().parent / "guide"


class GuidePart(StrEnum):
    """For whom a part of the guide is, by its file."""

    TEACHER = "teacher"
    HELPER = "helper"
    PUPIL = "pupil"
    PRIVACY = "privacy"


class GuideMark(StrEnum):
    """What begins a line of the source; the others are paragraphs."""

    TITLE = "# "
    HEADING = "## "
    ITEM = "- "
    TYPED = "$ "
    PRINTED = "> "
    PARAGRAPH = ""


@dataclass(frozen=True)
class GuideLine:
    """A line of the source and what it is."""

    mark: GuideMark
    text: str


def guide_lines(part: GuidePart) -> list[GuideLine]:
    """The source of a part, line by line."""
    lines = (FOLDER / f"{part}.txt").read_text(encoding="utf-8").splitlines()
    return [_line(line) for line in lines if line]


def _line(line: str) -> GuideLine:
    mark = next(m for m in GuideMark if line.startswith(m))
    return GuideLine(mark, line.removeprefix(mark))


def guide_sheet(language: Language, parts: Sequence[GuidePart] = tuple(GuidePart)) -> Sheet:
    """Parts of the guide as a sheet; several under one title, each on a page of its own."""
    blocks: list[Block] = []
    titles: list[str] = []
    for part in parts:
        blocks += [NewPage()] if blocks else []
        for line in guide_lines(part):
            if line.mark is GuideMark.TITLE:
                titles.append(language.message(line.text))
                blocks += [Heading(titles[-1])] if len(parts) > 1 else []
            else:
                blocks.append(_block(language, line))
    return Sheet(titles[0] if len(parts) == 1 else guide_title(language), tuple(blocks))


def _block(language: Language, line: GuideLine) -> Block:
    if line.mark is GuideMark.TYPED:  # what is typed is the same in every language
        return Paragraph(line.text, label=typed_label(language), strong=True, typed=True)
    if line.mark is GuideMark.PRINTED and line.text == "...":
        return ListItem(more_follows(language))
    said = language.message(line.text)
    if line.mark is GuideMark.HEADING:
        return Heading(said, gap=True)
    return Paragraph(said) if line.mark is GuideMark.PARAGRAPH else ListItem(said)


def guide_html(language: Language, part: GuidePart) -> str:
    """A part as HTML without the page around it, its title left out: for a page that has its own."""
    return html_body(guide_sheet(language, [part]), language)
