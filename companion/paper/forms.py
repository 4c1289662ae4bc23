"""The forms of a sheet: plain text to be spoken, .brf for an embosser, large print as HTML and as PDF."""

from __future__ import annotations

import html
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.braille import say_dots, to_ascii
from companion.braille import signs as S
from companion.braille import text as T
from companion.errors import Trouble
from companion.messages import _
from companion.places import sans_typeface, write_whole
from companion.workbook.sheets import BREAK, CELLS, HEADING, ITEM, Block, Sheet

if TYPE_CHECKING:
    from companion.audio import Sound

WIDTH, HEIGHT = 40, 25  # cells and lines of a usual braille page
#: Large print: 18 point is the least that is called so (RNIB and others give 16 to 18 as "large"; from memory).
TEXT_PT, HEADING_PT, CELLS_PT, LEAST_PT = 20, 26, 32, 18
PRINT_CELLS = 20  # cells in a line of large print: what an A4 page holds at CELLS_PT
WIDER = (20, 24, 28, 34, 40)  # tried in turn where a bar does not fit
PAUSE_S = 0.5  # between spoken lines: time to do what was said
FORMS = (".txt", ".brf", ".html", ".pdf")
TOGETHER = 8  # lines of cells that are kept on one page with what stands before them


def save(sheet: Sheet, path: str | Path, whole: bool = False) -> None:
    """Write a sheet in the form that the file's name asks for. Raises Trouble for another form.

    whole: braille with the helper's parts too.
    """
    kind = Path(path).suffix.lower()
    if kind == ".txt":
        data = ("\n".join(to_text(sheet)) + "\n").encode()
    elif kind == ".brf":
        data = to_brf(sheet, whole=whole)
    elif kind in (".html", ".htm"):
        data = to_html(sheet).encode()
    elif kind == ".pdf":
        data = to_pdf(sheet)
    elif kind in (".wav", ".flac"):
        from companion.audio import save_sound

        save_sound(to_sound(sheet), path)
        return
    else:
        raise Trouble(_("{path} ends in {nothing}; a sheet is written to .brf, .html, .pdf, .txt or, spoken, to "
                        ".wav.").format(path=path, nothing=kind or 'nothing'))
    write_whole(path, data)


def _cells(block: Block, width: int) -> list[str]:
    """The lines of a block's cells at about `width`; wider where a bar needs it."""
    assert block.cells is not None
    last: Trouble | None = None
    for w in (width, *(w for w in WIDER if w > width)):
        try:
            return list(block.cells(w))
        except Trouble as trouble:
            last = trouble
    assert last is not None
    raise last


def _described(block: Block) -> str:
    """What stands beside cells in print and speech: "C: dots 1 4 5."."""
    said = f"{block.name}: {block.text}" if block.name and block.text else block.name or block.text
    return said if not said or said.endswith((".", "?", "!")) else f"{said}."


def to_text(sheet: Sheet) -> list[str]:
    """Plain lines, to be spoken or read by a screen reader; cells in words."""
    out = [f"{sheet.title}."]
    for b in sheet.blocks:
        if b.kind == BREAK:
            continue
        if b.kind == CELLS:
            said = _described(b)
            if said:
                out.append(said)
            if not b.told:
                out += [f"{_say_line(line)}." for line in _cells(b, WIDTH)]
        else:
            out.append(b.text if b.text.endswith((".", "?", "!", ":")) else f"{b.text}.")
    return out


def to_sound(sheet: Sheet, rate_wpm: int = 150, variety: str = "british") -> Sound:
    """The sheet spoken, a pause after each line. Raises Trouble where speech is not to be had."""
    from companion.audio import concatenated, silence, speak
    from companion.language import English

    parts = [part for line in to_text(sheet) for part in (speak(line, English(variety), rate_wpm), silence(PAUSE_S, 22050))]
    return concatenated(*parts, rate=22050)


def _say_line(line: str) -> str:
    """A line of cells as said, a bar at a time: "dot 5, then 1 4 5. Space. Dots 1 5"."""
    said = [say_dots(part) for part in line.strip(S.SPACE).split(S.SPACE) if part]
    text = "; space; ".join(said)
    return text[:1].upper() + text[1:]


# --- braille ---

def to_brf(sheet: Sheet, width: int = WIDTH, height: int = HEIGHT, whole: bool = False) -> bytes:
    """Braille ASCII with CRLF and a form feed between pages: lines of at most `width`, pages of at most `height`.

    Words are in uncontracted UEB. The helper's parts are left out unless `whole`. Cells begin in cell 3, on
    lines of their own; a heading is never the last line of a page.
    """
    pages: list[list[str]] = [[]]

    def put(lines: Sequence[str], keep: int = 0) -> None:
        """Lines on the page; on a new one if they, and `keep` more, do not fit together."""
        if pages[-1] and len(pages[-1]) + min(len(lines) + keep, height) > height:
            pages.append([])
        for line in lines:
            if len(pages[-1]) == height:
                pages.append([])
            pages[-1].append(line)

    put([S.SPACE * ((width - len(x)) // 2) + x for x in wrap(T.words(sheet.title), width)])
    for b in sheet.blocks:
        if b.helper and not whole:
            continue
        if b.kind == BREAK:
            if pages[-1]:
                pages.append([])
        elif b.kind == HEADING:
            put([*([""] if pages[-1] else []), *wrap(T.words(b.text), width)], keep=3)
        elif b.kind == CELLS:
            lines = _cells(b, width - 2)
            if b.name:
                name = T.words(b.name) + S.SPACE * 2
                together = name + lines[0] if len(lines) == 1 and len(name) + len(lines[0]) <= width else None
                put([together] if together else [name, *(S.SPACE * 2 + x for x in lines)])
            else:
                shown = [S.SPACE * 2 + x if len(x) + 2 <= width else x for x in lines]
                if len(shown) == 1:
                    put([*shown, ""])
                else:
                    put(["", *shown, ""] if len(shown) <= TOGETHER and pages[-1] else shown)
        else:
            text = T.words(b.text)
            lines = wrap(text, width, 2)
            first = "" if b.kind == ITEM else S.SPACE * 2
            lines = [first + x if i == 0 else (S.SPACE * 2 if b.kind == ITEM else "") + x
                     for i, x in enumerate(lines)]
            put(lines)
    trimmed = [_without_edges(p) for p in pages]
    sheets = ["\r\n".join(to_ascii(line).rstrip() for line in p) for p in trimmed if p]
    return ("\r\n\f".join(sheets) + "\r\n").encode("ascii", "replace")


def _without_edges(page: list[str]) -> list[str]:
    """No empty lines at the head or foot of a page, nor two together."""
    out: list[str] = []
    for line in page:
        if line.strip(S.SPACE) or (out and out[-1]):
            out.append(line)
    while out and not out[-1].strip(S.SPACE):
        out.pop()
    return out


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Braille text cut at its spaces into lines of at most `width - indent`; a longer word is cut."""
    room = width - indent
    lines: list[str] = []
    line = ""
    for word in text.split(S.SPACE):
        while len(word) > room:
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:room])
            word = word[room:]
        if not line:
            line = word
        elif len(line) + 1 + len(word) <= room:
            line += S.SPACE + word
        else:
            lines.append(line)
            line = word
    return [*lines, line] if line else lines


# --- large print ---

_STYLE = f"""
html {{ background: #fff; color: #000; }}
body {{ font: {TEXT_PT}pt/1.5 Verdana, "DejaVu Sans", Arial, sans-serif; max-width: 34em; margin: 1.5em; }}
h1 {{ font-size: {HEADING_PT + 4}pt; line-height: 1.3; }}
h2 {{ font-size: {HEADING_PT}pt; line-height: 1.3; margin-top: 1.4em; }}
p, li {{ margin: 0.6em 0; text-align: left; }}
.cells {{ font: {CELLS_PT}pt/1.6 "DejaVu Sans", "Segoe UI Symbol", "Apple Braille", "Noto Sans Symbols2",
  sans-serif; display: block; white-space: pre-wrap; }}
.cell {{ font: {CELLS_PT}pt/1.4 "DejaVu Sans", "Segoe UI Symbol", "Apple Braille", "Noto Sans Symbols2",
  sans-serif; margin-right: 0.5em; }}
.break {{ break-before: page; }}
@media print {{ body {{ margin: 0; max-width: none; }} }}
"""


def to_html(sheet: Sheet, lang: str = "en-GB") -> str:
    """One HTML page: black on white, {TEXT_PT} point and more, headings and lists as such. Cells are hidden from
    screen readers, which read the dots in words beside them instead."""
    out: list[str] = []
    listed = False
    broken = False
    for b in sheet.blocks:
        item = b.kind == ITEM
        if listed and not item:
            out.append("</ul>")
        if item and not listed:
            out.append("<ul>")
        listed = item
        mark = ' class="break"' if broken and b.kind != BREAK else ""
        broken = b.kind == BREAK
        if b.kind == HEADING:
            out.append(f"<h2{mark}>{html.escape(b.text)}</h2>")
        elif item:
            out.append(f"<li{mark}>{html.escape(b.text)}</li>")
        elif b.kind == CELLS:
            lines = _cells(b, PRINT_CELLS)
            said = _described(b)
            if not b.told:
                said = f"{said} {'. '.join(map(_say_line, lines))}.".strip()
            shown = "\n".join(lines)
            kind = "cell" if b.name and len(lines) == 1 else "cells"
            out.append(f"<p{mark}><span class=\"{kind}\" aria-hidden=\"true\">{shown}</span> "
                       f"{html.escape(said)}</p>")
        elif b.kind != BREAK:
            out.append(f"<p{mark}>{html.escape(b.text)}</p>")
    if listed:
        out.append("</ul>")
    title = html.escape(sheet.title)
    return (f'<!DOCTYPE html>\n<html lang="{lang}">\n<head>\n<meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{title}</title>\n'
            f"<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n" + "\n".join(out) +
            "\n</main>\n</body>\n</html>\n")


def to_pdf(sheet: Sheet) -> bytes:
    """Large print on A4: nothing under {LEAST_PT} point, text in reading order."""
    from fpdf import FPDF

    margin = 15.0
    pdf: Any = FPDF(format="A4")
    pdf.set_margins(margin, margin)
    pdf.set_auto_page_break(True, margin)
    pdf.set_title(sheet.title)
    pdf.set_lang("en-GB")
    pdf.add_font("sheet", "", str(sans_typeface()))
    pdf.add_page()
    fresh = True

    def write(text: str, points: float, before: float = 1.5, indent: float = 0.0) -> None:
        nonlocal fresh
        pdf.set_font("sheet", size=points)
        if not fresh:
            pdf.ln(before)
        fresh = False
        pdf.set_x(margin + indent)
        pdf.multi_cell(0, points * 0.3528 * 1.35, text, align="L", new_x="LMARGIN", new_y="NEXT")

    write(sheet.title, HEADING_PT + 4)
    for b in sheet.blocks:
        if b.kind == BREAK:
            pdf.add_page()
            fresh = True
        elif b.kind == HEADING:
            # A heading keeps room for two lines below it.
            if pdf.will_page_break(HEADING_PT * 0.3528 * 1.35 + 2 * TEXT_PT * 0.3528 * 1.6 + 6):
                pdf.add_page()
                fresh = True
            write(b.text, HEADING_PT, before=6)
        elif b.kind == CELLS:
            lines = _cells(b, PRINT_CELLS)
            pdf.set_font("sheet", size=CELLS_PT)
            widest = max((pdf.get_string_width(x) for x in lines), default=1.0)
            room = pdf.epw - 2.5
            points = max(float(LEAST_PT), min(float(CELLS_PT), CELLS_PT * room / widest if widest else CELLS_PT))
            said = _described(b)
            if b.name and len(lines) == 1:
                # Print and cell side by side, on one line.
                height = points * 0.3528 * 1.25
                if pdf.will_page_break(height + TEXT_PT * 0.3528 * 1.35):
                    pdf.add_page()
                pdf.ln(2)
                pdf.set_font("sheet", size=points)
                pdf.cell(max(pdf.get_string_width(lines[0]) + 6, 18), height, lines[0], new_x="RIGHT", new_y="TOP")
                x, top = pdf.get_x(), pdf.get_y()
                text_height = TEXT_PT * 0.3528 * 1.35
                pdf.set_font("sheet", size=TEXT_PT)
                pdf.set_xy(x, top + (height - text_height) / 2)
                pdf.multi_cell(0, text_height, said, align="L", new_x="LMARGIN", new_y="NEXT")
                pdf.set_y(max(pdf.get_y(), top + height))
                fresh = False
            else:
                if said:
                    write(said, TEXT_PT)
                for line in lines:
                    write(line, points, before=1)
        elif b.kind == ITEM:
            write(b.text, TEXT_PT, indent=6)
        else:
            write(b.text, TEXT_PT, before=4 if b.text[:1].isdigit() else 1.5)
    return bytes(pdf.output())
