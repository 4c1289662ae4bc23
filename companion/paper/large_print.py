"""A sheet in large print: HTML for a screen and a printer, and PDF. Black on white, sans serif, cells drawn large."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from html import escape
from typing import Any

from companion.braille import SPACE, dots_of
from companion.language import Language, labelled, numbered_page
from companion.paper.drawing import CELL_MM, DOT_PITCH_MM
from companion.paper.sheet import Block, Cells, Heading, ListItem, NewPage, Only, Paragraph, Question, Sheet
from companion.places import sans_typeface

#: Large print: 18 point is the least that is called so (RNIB gives 16 to 18 as "large", the American Printing House
#: 18 and more; from memory).
LEAST_PT = 18
HEADING_PT, TITLE_PT = 6, 10  # more than the text
CELLS_PT = 32  # of cells in PDF
PRINT_CELLS = 20  # cells in a line of large print: what an A4 page holds at CELLS_PT
MARGIN_MM = 15.0
FOOT_MM = 18.0  # for title and number of the page
MM_PER_PT = 25.4 / 72
LINE, CELL_LINE, CAPTION_LINE = 1.35, 1.25, 1.6  # heights of lines, of the size of their text
#: A drawn cell: dots 10 apart, cells as far apart as in braille (`drawing`), raised dots large, flat ones small.
_WIDE, _HIGH = 10 * CELL_MM / DOT_PITCH_MM, 30
_RAISED, _FLAT = 4.2, 1.4
_CELL_PT = 1.5  # height of a drawn cell, of the size of the text


# --- HTML ---

def _style(points: int, foot: str) -> str:
    return f"""
html {{ background: #fff; color: #000; }}
body {{ font: {points}pt/1.5 Verdana, "DejaVu Sans", Arial, sans-serif; max-width: 34em; margin: 1.5em; }}
h1 {{ font-size: {points + TITLE_PT}pt; line-height: 1.3; }}
h2 {{ font-size: {points + HEADING_PT}pt; line-height: 1.3; margin-top: 1.4em; }}
h1, h2, .with-next {{ break-after: avoid; }}
p, li {{ margin: 0.6em 0; text-align: left; overflow-wrap: anywhere; break-inside: avoid; }}
.cells {{ display: block; margin-top: 0.3em; line-height: 1.8; }}
.cell {{ margin-right: 0.5em; }}
.group {{ display: inline-block; max-width: 100%; margin-right: {points}pt; }}
.group svg {{ width: {_CELL_PT * points * _WIDE / _HIGH:.2f}pt; height: {_CELL_PT * points:g}pt; vertical-align: middle; }}
.break {{ break-before: page; }}
@page {{ size: A4; margin: 18mm; @bottom-center {{ font: {LEAST_PT}pt Verdana, "DejaVu Sans", sans-serif; content: {foot}; }} }}
@media print {{ body {{ margin: 0; max-width: none; }} }}
"""


def to_html(sheet: Sheet, language: Language) -> str:
    """One HTML page, headings and lists as such; printed on A4 with title and page number at the foot.

    Cells are drawn and hidden from screen readers, which read the dots in words beside them instead.
    """
    title = escape(sheet.title)
    return (f'<!DOCTYPE html>\n<html lang="{language.code.replace("_", "-")}">\n<head>\n<meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{title}</title>\n'
            f"<style>{_style(sheet.text_pt, _foot(sheet.title, language))}</style>\n</head>\n<body>\n<main>\n"
            f"<h1>{title}</h1>\n{_cell_shapes(sheet)}{html_body(sheet, language)}\n</main>\n</body>\n</html>\n")


def html_body(sheet: Sheet, language: Language) -> str:
    """The blocks as HTML, without title, page and styles around them."""
    out: list[str] = []
    listed = ""
    broken = False
    for index, block in enumerate(sheet.blocks):
        wanted = "ul" if isinstance(block, ListItem) else "ol" if isinstance(block, Question) else ""
        if listed != wanted:
            out += [f"</{listed}>"] if listed else []
            out += [f"<{wanted}>"] if wanted else []
            listed = wanted
        if isinstance(block, NewPage):
            broken = True
            continue
        leads = isinstance(block, Paragraph) and _leads_to_question(sheet.blocks[index + 1:])
        classes = " ".join([*(["break"] if broken else []), *(["with-next"] if leads else [])])
        broken = False
        html = _block_html(block, language, f' class="{classes}"' if classes else "")
        out += [html] if html else []
    out += [f"</{listed}>"] if listed else []
    return "\n".join(out)


def _leads_to_question(after: Sequence[Block]) -> bool:
    """Whether nothing but paragraphs stands before the next question."""
    return next((isinstance(b, Question) for b in after if not isinstance(b, Paragraph)), False)


def _foot(title: str, language: Language) -> str:
    """Title and page number as a CSS value: "Lantern, page " counter(page) ..."""
    plain = title.replace("\\", "").replace('"', "'")
    text = numbered_page(language, plain, '" counter(page) "', '" counter(pages) "')
    return escape(f'"{text}"', quote=False)


def _block_html(block: Block, language: Language, attributes: str) -> str:
    """A block as an element of HTML; "" where it has no printed form."""
    if isinstance(block, Heading):
        return f"<h2{attributes}>{escape(block.text)}</h2>"
    if isinstance(block, ListItem):
        return f"<li{attributes}>{escape(block.text)}</li>"
    if isinstance(block, Question):
        rows = "".join(f'<span class="cells">{escape(labelled(language, g.name, "")) if g.name else ""}{_drawn(g.lines)}</span>'
                       for g in block.groups)
        dots = " ".join(g.dots for g in block.groups)
        return f"<li{attributes}>{escape(block.text)}{rows}<span>{escape(dots)}</span></li>"
    if isinstance(block, Cells):
        lines = block.at_width(PRINT_CELLS)
        beside = "cell" if block.name and len(lines) == 1 else "cells"
        said = [block.caption(language), *block.in_words(language, PRINT_CELLS)]
        return (f'<p{attributes}><span class="{beside}" aria-hidden="true">{_drawn(lines)}</span> '
                f"{escape(' '.join(filter(None, said)))}</p>")
    if isinstance(block, Paragraph) and block.only is not Only.TEXT:
        label = f"<strong>{escape(labelled(language, block.label, '').rstrip())}</strong> " if block.label else ""
        text = f"<strong>{escape(block.text)}</strong>" if block.strong else escape(block.text)
        return f"<p{attributes}>{label}{text}</p>"
    return ""


def _drawn(lines: Sequence[str]) -> str:
    """Lines of cells as pictures; a line wraps between bars and keeps its indent. Hidden from screen readers."""
    rows = []
    for line in lines:
        indent = SPACE * (len(line) - len(line.lstrip(SPACE)))
        groups = [g for g in line.split(SPACE) if g]
        groups = [indent + groups[0], *groups[1:]] if groups else []
        rows.append("\n".join(
            f'<span class="group" aria-hidden="true">{"".join(map(_drawn_cell, group))}</span>' for group in groups))
    return "<br>".join(rows)


def _drawn_cell(cell: str) -> str:
    shape = "" if cell == SPACE else f'<use href="#c{dots_of(cell)}"/>'
    return f'<svg viewBox="0 0 {_WIDE:.2f} {_HIGH}">{shape}</svg>'


def _cell_shapes(sheet: Sheet) -> str:
    """The shapes of all cells of a sheet, to stand once in its page."""
    used: set[str] = set()
    for block in sheet.blocks:
        if isinstance(block, Cells):
            used |= {c for line in block.at_width(PRINT_CELLS) for c in line}
        elif isinstance(block, Question):
            used |= {c for group in block.groups for line in group.lines for c in line}
    out = []
    for cell in sorted(used - {SPACE}):
        dots = dots_of(cell)
        discs = "".join(f'<circle cx="{_WIDE / 2 - 5 + 10 * (d // 3):.2f}" cy="{5 + 10 * (d % 3)}" '
                        + (f'r="{_RAISED}" fill="#000"/>' if str(d + 1) in dots else f'r="{_FLAT}" fill="#767676"/>')
                        for d in range(6))
        out.append(f'<symbol id="c{dots}" viewBox="0 0 {_WIDE:.2f} {_HIGH}">{discs}</symbol>')
    return f'<svg width="0" height="0" style="position: absolute" aria-hidden="true">{"".join(out)}</svg>\n' if out else ""


# --- PDF ---

class _Tag(StrEnum):
    """What a part of a page is, in the structure of a tagged PDF (ISO 32000-1, 14.8.4)."""

    TITLE = "/H1"
    HEADING = "/H2"
    TEXT = "/P"


class _Pdf:
    """A PDF under way: text and cells in large print on A4, nothing under LEAST_PT, in reading order and tagged so, with
    title and number at the foot of each page."""

    def __init__(self, title: str, points: int, language: Language) -> None:
        from fpdf import FPDF  # 0.3 s

        self.points, self.title, self.language = points, title, language
        self.pdf: Any = FPDF(format="A4")
        self.pdf.footer = self._foot
        self.pdf.set_margins(MARGIN_MM, MARGIN_MM)
        self.pdf.set_auto_page_break(True, FOOT_MM)
        self.pdf.set_title(title)
        self.pdf.set_lang(language.code.replace("_", "-"))
        self.pdf.add_font("sheet", "", str(sans_typeface()))
        self.new_page()

    def new_page(self) -> None:
        self.pdf.add_page()
        self.fresh = True

    def _foot(self) -> None:
        """Title and page at the foot, which is no part of the text; the page alone where a title is too long."""
        pdf = self.pdf
        pdf.set_font("sheet", size=LEAST_PT)
        page = pdf.page_no()
        # "{nb}" becomes the number of pages when the file is finished.
        lines = [numbered_page(self.language, title, page, "{nb}") for title in (self.title, "")]
        line = next((x for x in lines if pdf.get_string_width(x) <= pdf.epw), lines[-1])
        pdf.set_xy(MARGIN_MM, -FOOT_MM + 3)
        pdf._out("/Artifact BMC")
        pdf.cell(0, LEAST_PT * MM_PER_PT, line, align="C")
        pdf._out("EMC")

    @contextmanager
    def _tagged(self, tag: _Tag) -> Iterator[None]:
        """Whatever is written meanwhile, on one page, as one element of the structure, in reading order.

        fpdf2 tags pictures alone; what it does for them, with its own tree, is done here for text.
        """
        tree = self.pdf.struct_builder
        number = tree.next_mcid_for_page(self.pdf.page)
        self.pdf._add_marked_content(struct_type=tag.value, mcid=number)
        self.pdf._out(f"{tag.value} <</MCID {number}>> BDC")
        yield
        self.pdf._out("EMC")

    def write(self, text: str, points: float, before: float = 1.5, indent: float = 0.0, tag: _Tag = _Tag.TEXT) -> None:
        """Text that runs on; on the next page where it does not fit on this one. before, indent: mm of space before it, and
        to its left."""
        pdf, height = self.pdf, points * MM_PER_PT * LINE
        pdf.set_font("sheet", size=points)
        if not self.fresh:
            pdf.ln(before)
        pdf.set_x(MARGIN_MM + indent)
        lines = pdf.multi_cell(0, height, text, align="L", dry_run=True, output="LINES")
        if not self.fresh and pdf.will_page_break(height * len(lines)):
            self.new_page()
            pdf.set_font("sheet", size=points)
        self.fresh = False
        while lines:
            room = max(1, int((pdf.page_break_trigger - pdf.get_y()) / height))
            with self._tagged(tag):
                for line in lines[:room]:
                    pdf.set_x(MARGIN_MM + indent)
                    pdf.cell(0, height, f"{line} ", new_x="LMARGIN", new_y="NEXT")  # the space parts words where it is read
            lines = lines[room:]
            if lines:
                self.new_page()
                pdf.set_font("sheet", size=points)

    def heading(self, text: str) -> None:
        """A heading, with room for two lines below it."""
        points = self.points + HEADING_PT
        if self.pdf.will_page_break((points * LINE + 2 * self.points * CAPTION_LINE) * MM_PER_PT + 6):
            self.new_page()
        self.write(text, points, before=6, tag=_Tag.HEADING)

    def cell_points(self, lines: Sequence[str]) -> float:
        """The size of cells, at most CELLS_PT, at which the longest line fits the page."""
        self.pdf.set_font("sheet", size=CELLS_PT)
        widest = max((self.pdf.get_string_width(x) for x in lines), default=0.0)
        return max(float(LEAST_PT), min(float(CELLS_PT), CELLS_PT * (self.pdf.epw - 2.5) / widest if widest else CELLS_PT))

    def cells(self, lines: Sequence[str]) -> None:
        """Lines of cells, each on a line of its own."""
        points = self.cell_points(lines)
        for line in lines:
            self.write(line, points, before=1)

    def cells_beside(self, line: str, text: str) -> None:
        """A line of cells and its words side by side."""
        pdf, points = self.pdf, self.cell_points([line])
        height, text_height = points * MM_PER_PT * CELL_LINE, self.points * MM_PER_PT * LINE
        wide = max(pdf.get_string_width(line) + 6, 18)
        pdf.set_font("sheet", size=self.points)
        said = pdf.multi_cell(pdf.epw - wide, text_height, text, align="L", dry_run=True, output="LINES")
        pdf.ln(2)
        if pdf.will_page_break(height + text_height * len(said)):
            self.new_page()
        top = pdf.get_y()
        with self._tagged(_Tag.TEXT):
            pdf.set_font("sheet", size=points)
            pdf.cell(wide, height, line, new_x="RIGHT", new_y="TOP")
            pdf.set_font("sheet", size=self.points)
            for n, words in enumerate(said):
                pdf.set_xy(MARGIN_MM + wide, top + (height - text_height) / 2 + n * text_height)
                pdf.cell(0, text_height, f"{words} ")
        pdf.set_xy(MARGIN_MM, top + max(height, (height - text_height) / 2 + text_height * len(said)))
        self.fresh = False


def to_pdf(sheet: Sheet, language: Language) -> bytes:
    """Large print on A4: nothing under 18 point, text in reading order, tagged, with numbered pages."""
    out = _Pdf(sheet.title, sheet.text_pt, language)
    out.write(sheet.title, sheet.text_pt + TITLE_PT, tag=_Tag.TITLE)
    for block in sheet.blocks:
        if isinstance(block, NewPage):
            out.new_page()
        elif isinstance(block, Heading):
            out.heading(block.text)
        elif isinstance(block, Cells):
            lines = block.at_width(PRINT_CELLS)
            said = block.caption(language)
            if block.name and len(lines) == 1:
                out.cells_beside(lines[0], said)
            else:
                if said:
                    out.write(said, sheet.text_pt)
                out.cells(lines)
        elif isinstance(block, Question):
            out.write(labelled(language, str(block.number), block.text), sheet.text_pt, before=4)
            for group in block.groups:
                out.cells(group.lines)
                out.write(group.dots, sheet.text_pt)
        elif isinstance(block, ListItem):
            out.write(block.text, sheet.text_pt, indent=6)
        elif isinstance(block, Paragraph) and block.only is not Only.TEXT:
            text = labelled(language, block.label, block.text) if block.label else block.text
            out.write(text, sheet.text_pt, before=4 if text[:1].isdigit() else 1.5)
    return bytes(out.pdf.output())
