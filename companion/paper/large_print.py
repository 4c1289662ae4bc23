"""What papers of this room share: the head of a braille page, and large print as HTML with cells drawn in it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from companion.braille import BraillePage, to_brf
from companion.braille import signs as S
from companion.braille import words as in_braille
from companion.braille.encode import wrap
from companion.paper.drawing import CELL_MM, DOT_PITCH_MM

LEAST_PT = 18  # large print is 18 points and more (American Printing House, guidelines; from memory)
#: A drawn cell: dots 10 apart, cells as far apart as in braille (`drawing`), raised dots large, flat ones small.
_WIDE, _HIGH = 10 * CELL_MM / DOT_PITCH_MM, 30
_RAISED, _FLAT = 4.2, 1.4


def heading(title: str, width: int, page: int) -> str:
    """The first line of a braille page: the title, and the page's number (0 for none) at the right end."""
    number = in_braille(str(page)) if page else ""
    room = width - (len(number) + 2 if number else 0)
    left = wrap(in_braille(title), room)[0] if title else ""
    return left + S.SPACE * (width - len(left) - len(number)) + number if number else left


def pages_brf(pages: Sequence[Sequence[str]], height: int = 25) -> bytes:
    """Pages of lines of cells as a .brf file, each on a sheet of its own."""
    lines: list[str] = []
    for page in pages:
        lines += [""] * (-len(lines) % height) + list(page)
    return to_brf(BraillePage(tuple(lines), ()), height)


def html_page(title: str, body: str, points: int, more_style: str = "") -> bytes:
    """A page of large print, black on white; on paper A4 with title and page number at the foot.

    body: HTML. points: size of its text.
    """
    foot = escape(title).replace("\\", "").replace("&quot;", "'").replace('"', "'")
    return (f'<!DOCTYPE html>\n<html lang="en-GB"><head><meta charset="utf-8">\n'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{escape(title)}</title>\n'
            f'<style>\nbody {{ font: {points}pt/1.45 Verdana, "DejaVu Sans", Arial, sans-serif; color: #000; '
            "background: #fff; max-width: 34em; margin: 1.5em; }\n"
            f"h1 {{ font-size: {points + 8}pt; line-height: 1.2; }} h2 {{ font-size: {points + 4}pt; line-height: 1.2; }}\n"
            "h1, h2, .with-next { break-after: avoid; } li { margin-bottom: 0.7em; }\n"
            "p, li { overflow-wrap: anywhere; break-inside: avoid; }\n"
            f".cells {{ display: block; margin-top: 0.3em; line-height: 1.8; }}\n"
            f".group {{ display: inline-block; max-width: 100%; margin-right: {points}pt; }}\n"
            f".group svg {{ width: {1.5 * points * _WIDE / _HIGH:.2f}pt; height: {1.5 * points:g}pt; "
            "vertical-align: middle; }\n"
            f'@page {{ size: A4; margin: 18mm; @bottom-center {{ font: {LEAST_PT}pt Verdana, "DejaVu Sans", sans-serif; '
            f'content: "{foot}, page " counter(page) " of " counter(pages); }} }}\n'
            f"@media print {{ body {{ margin: 0; max-width: none; }} }}\n{more_style}</style></head>\n<body>\n"
            f"<main>\n<h1>{escape(title)}</h1>\n{body}\n</main>\n</body></html>\n").encode()


def drawn(cells: str) -> str:
    """A line of cells as pictures for the eye of a helper; they wrap between bars. Hidden from screen readers."""
    groups = ["".join(f'<svg viewBox="0 0 {_WIDE:.2f} {_HIGH}"><use href="#c{S.dots_of(c)}"/></svg>' for c in group)
              for group in cells.split(S.SPACE) if group]
    return "\n".join(f'<span class="group" aria-hidden="true">{g}</span>' for g in groups)


def cell_shapes(texts: str) -> str:
    """The shapes that `drawn` uses, for all cells in `texts`; to stand once in a page."""
    out = []
    for cell in sorted(set(texts) - {S.SPACE}):
        dots = S.dots_of(cell)
        discs = "".join(f'<circle cx="{_WIDE / 2 - 5 + 10 * (d // 3):.2f}" cy="{5 + 10 * (d % 3)}" '
                        + (f'r="{_RAISED}" fill="#000"/>' if str(d + 1) in dots else f'r="{_FLAT}" fill="#767676"/>')
                        for d in range(6))
        out.append(f'<symbol id="c{dots}" viewBox="0 0 {_WIDE:.2f} {_HIGH}">{discs}</symbol>')
    return f'<svg width="0" height="0" style="position: absolute" aria-hidden="true">{"".join(out)}</svg>'
