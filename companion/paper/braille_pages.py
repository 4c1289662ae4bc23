"""A sheet as braille pages for an embosser: Braille ASCII with CRLF, a form feed between pages.

Words are in uncontracted UEB, or in contracted where that is asked for. The title stands in the middle of the first line,
with a free line after it; headings are centred with three free cells or more on both sides. Where there are several pages,
each has its number at the right end of its first line, and the later ones the title in its middle, three free cells or
more before the number, so that loose pages can be put in order by touch. All of this is the common practice of the trade
(Braille Authority of North America, Braille Formats, 2016: centred headings, running heads, page numbers; MBC 2015,
section 1, of music).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from companion.braille import SPACE, check_width, contracted, to_ascii, words, wrap
from companion.errors import Trouble
from companion.messages import _
from companion.paper.sheet import Block, Cells, Heading, ListItem, NewPage, Paragraph, Picture, Question, Sheet

WIDTH, HEIGHT = 40, 25  # cells and lines of a usual braille page
INDENT = SPACE * 2
FEWEST_AFTER_HEADING = 3  # lines that stay on its page
KEPT_TOGETHER = 8  # lines of cells that are not parted by the end of a page
FREE = 3  # least free cells on either side of what is centred, and before a page's number
LEAST_HEIGHT = 4  # a title, a heading and a line below it, and one more
Write = Callable[[str], str]  # text to cells


class _Pages:
    """Pages under way: lines of cells of at most `width`, pages of at most `height` lines."""

    def __init__(self, title: str, width: int, height: int, gap: bool, write: Write) -> None:
        """gap: a free line stands after the title."""
        self.title, self.width, self.height = write(title), width, height
        head = centred(self.title, width) if title else []
        self.pages: list[list[str]] = [[]]
        self.empty = True  # whether the page has no lines yet besides the head of a later page
        self.put([*head, ""] if head and gap else head)

    def new_page(self) -> None:
        if not self.empty:
            self.pages.append([""])  # for the head
            self.empty = True

    def put(self, lines: Sequence[str], keep: int = 0) -> None:
        """Lines on the page; on a new one if they, and `keep` more, do not fit together."""
        if len(self.pages[-1]) + min(len(lines) + keep, self.height - 1) > self.height:
            self.new_page()
        for line in lines:
            if len(self.pages[-1]) == self.height:
                self.new_page()
            self.pages[-1].append(line)
            self.empty = False

    def finished(self) -> list[list[str]]:
        """The pages with their heads and numbers, without empty lines at head and foot or two together."""
        if self.empty and len(self.pages) > 1:
            self.pages.pop()
        if len(self.pages) > 1:
            if self.title:
                self.pages[0][0] = _with_number(self.pages[0][0], 1, self.width)
            for number, page in enumerate(self.pages[1:], 2):
                page[0] = page_head(self.title, number, self.width)
        return [trimmed for page in self.pages if (trimmed := _without_edges(page))]


def page_head(title: str, number: int, width: int) -> str:
    """The first line of a later page: the title (cells) in its middle, cut at a space where it is too long, and the
    page's number at its right end. A title that would come too near to the number stands farther to the left."""
    figures = words(str(number))
    room = width - len(figures) - FREE
    text = wrap(title, room)[0] if title else ""
    text = SPACE * min((width - len(text)) // 2, room - len(text)) + text if text else ""
    return text + SPACE * (width - len(text) - len(figures)) + figures


def centred(cells: str, width: int) -> list[str]:
    """Cells in the middle of a line, or of several where they are too long; FREE cells on either side, but where a word
    needs the whole line."""
    room = width - 2 * FREE
    if max(map(len, cells.split(SPACE))) > room:
        room = width
    return [SPACE * ((width - len(line)) // 2) + line for line in wrap(cells, room)]


def check_height(height: int) -> None:
    """Raises Trouble for a page of so few lines as no page has."""
    if height < LEAST_HEIGHT:
        raise Trouble(_("A page of {height} lines was asked for; give {LEAST_HEIGHT} or more.").format(
                          height=height, LEAST_HEIGHT=LEAST_HEIGHT))


def _with_number(line: str, number: int, width: int) -> str:
    """A line with a page's number at its right end: moved to the left, or left as it is, where there is no room."""
    figures = words(str(number))
    text = line.lstrip(SPACE)
    room = width - len(figures) - FREE
    if len(text) > room:
        return line
    text = SPACE * min(len(line) - len(text), room - len(text)) + text
    return text + SPACE * (width - len(text) - len(figures)) + figures


def to_brf(sheet: Sheet, width: int = WIDTH, height: int = HEIGHT, whole: bool = False,
           in_contracted: bool = False) -> bytes:
    """A .brf file: lines of at most `width` cells, pages of at most `height` lines.

    The helper's parts are left out unless `whole`. Cells begin in cell 3, on lines of their own; a heading stays with
    what follows. The free line after the title is given up where it would cost a page. in_contracted: words are contracted, by
    liblouis. Raises Trouble where a bar fits no line, for a page of no usual size, or where there is no liblouis.
    """
    check_width(width)
    check_height(height)
    blocks = [b for b in sheet.blocks if (whole or not b.helper) and not (isinstance(b, Paragraph) and b.only)]
    write = _contracted if in_contracted else words
    pages = min((_laid_out(sheet.title, blocks, width, height, gap, write) for gap in (True, False)), key=len)
    sheets = ["\r\n".join(to_ascii(line).rstrip() for line in page) for page in pages]
    return ("\r\n\f".join(sheets) + "\r\n").encode("ascii", "replace")


def _contracted(text: str) -> str:
    return contracted(text) if text.strip() else words(text)


def _laid_out(title: str, blocks: Sequence[Block], width: int, height: int, gap: bool, write: Write) -> list[list[str]]:
    """The pages of a sheet, each a list of lines. gap: a free line stands after the title."""
    pages = _Pages(title, width, height, gap, write)
    for k, block in enumerate(blocks):
        if isinstance(block, NewPage):
            pages.new_page()
        else:
            after = blocks[k + 1:] if isinstance(block, Heading) else ()
            page = pages.pages[-1]
            begun = bool(page) and (len(page) == 1 or page[-1] != "")
            pages.put(_lines(block, width, begun, write), _kept_with_heading(after, width, write) if after else 0)
    return pages.finished()


def _lines(block: Block, width: int, begun: bool, write: Write) -> list[str]:
    """The lines of a block. begun: something stands right above, so that headings and pictures are set apart."""
    if isinstance(block, Heading):
        return [*([""] if begun else []), *centred(write(block.text), width)]
    if isinstance(block, Picture):
        return [*([""] if begun else []), *(line or SPACE for line in block.lines)]
    if isinstance(block, Cells):
        return _cell_lines(block, width, begun, write)
    return [] if isinstance(block, NewPage) else _text_lines(block, width, write)


def _kept_with_heading(after: Sequence[Block], width: int, write: Write) -> int:
    """How many lines stay on a heading's page: a few, or all of the first question and what leads to it."""
    lines = 0
    for block in after:
        if not isinstance(block, Paragraph | Question):
            break
        lines += len(_text_lines(block, width, write))
        if isinstance(block, Question):
            return lines
    return FEWEST_AFTER_HEADING


def _cell_lines(block: Cells, width: int, begun: bool, write: Write) -> list[str]:
    """Cells after their name, or indented and set apart: a single line from what follows, a few lines on both sides."""
    lines = block.at_width(width - len(INDENT))
    if block.name:
        name = write(block.name) + INDENT
        if len(lines) == 1 and len(name) + len(lines[0]) <= width:
            return [name + lines[0]]
        return [name, *(INDENT + x for x in lines)]
    lines = [INDENT + x if len(x) + len(INDENT) <= width else x for x in lines]
    if len(lines) == 1:
        return [*lines, ""]
    return ["", *lines, ""] if len(lines) <= KEPT_TOGETHER and begun else lines


def _text_lines(block: Paragraph | ListItem | Question, width: int, write: Write) -> list[str]:
    """A paragraph begins in cell 3 and runs on in cell 1; an item of a list begins in cell 1 and runs on in cell 3."""
    if isinstance(block, Question):
        return _question_lines(block, width, write)
    first, *more = wrap(write(block.text), width - len(INDENT)) or [""]
    if isinstance(block, ListItem):
        return [first, *(INDENT + x for x in more)]
    return [INDENT + first, *more]


def _question_lines(block: Question, width: int, write: Write) -> list[str]:
    """Its number and words, then each line of music on a line of its own, or beside the number."""
    label = words(str(block.number)) + SPACE
    out: list[str] = []
    if block.text:
        first, *more = wrap(label + write(block.text), width, 4)
        out += [first, *(SPACE * 4 + x for x in more)]
        label = ""
    for group in block.groups:
        if group.name:
            out.append((label or INDENT) + write(group.name))
            label = ""
        for cells in group.lines:
            if label and len(label) + len(cells) <= width:
                out.append(label + cells)
            else:
                # Lines of music already fit the width with the indent of two that parts them from words.
                out += [label.rstrip(SPACE)] if label else []
                out.append((INDENT if len(cells) + len(INDENT) <= width else "") + cells)
            label = ""
    return out or [label]


def _without_edges(page: list[str]) -> list[str]:
    """No empty lines at the head or foot of a page, nor two together; empty rows of a picture are cells, and stay."""
    out: list[str] = []
    for line in page:
        if line.strip(SPACE) or (out and out[-1]):
            out.append(line)
    while out and not out[-1].strip(SPACE):
        out.pop()
    return out
