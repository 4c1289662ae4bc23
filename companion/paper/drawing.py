"""A drawing of lines, discs and braille dots in true millimetres, as SVG and as PDF; nothing else is needed.

Everything is black: swell paper raises whatever is dark, so no print stands beside the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from companion.braille import SPACE, dots_of
from companion.places import write_whole

#: Library of Congress, Specification 800 (2008), 3.2, as quoted by BANA: mm.
DOT_MM = 1.44  # base diameter of a dot
DOT_PITCH_MM = 2.34  # centre to centre within a cell
CELL_MM = 6.2  # from cell to cell
LINE_MM = 10.0  # from line to line
POINT_PER_MM = 72 / 25.4
#: A circle drawn with four Bezier curves: the distance of the control points (Goldapp 1991; from memory).
BEZIER = 0.5522847


@dataclass
class Drawing:
    """One page. Lengths in mm, y downwards from the top."""

    width: float = 297.0
    height: float = 210.0
    lines: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    discs: list[tuple[float, float, float]] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, width: float) -> None:
        self.lines.append((x1, y1, x2, y2, width))

    def disc(self, x: float, y: float, diameter: float) -> None:
        self.discs.append((x, y, diameter))

    def braille(self, x: float, y: float, cells: str) -> float:
        """Braille with the centre of its first cell's dot 1 at (x, y). Returns the x after the last cell."""
        for k, cell in enumerate(cells):
            for dot in dots_of(cell) if cell != SPACE else "":
                d = int(dot) - 1
                self.disc(x + k * CELL_MM + (d // 3) * DOT_PITCH_MM, y + (d % 3) * DOT_PITCH_MM, DOT_MM)
        return x + len(cells) * CELL_MM


def drawing_svg(page: Drawing, title: str, says: str) -> str:
    """The page as SVG whose units are millimetres. title and says: for screen readers."""
    from xml.sax.saxutils import escape

    out = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width:g}mm" height="{page.height:g}mm" '
           f'viewBox="0 0 {page.width:g} {page.height:g}" role="img" aria-labelledby="title says">',
           f'<title id="title">{escape(title)}</title>', f'<desc id="says">{escape(says)}</desc>',
           f'<rect width="{page.width:g}" height="{page.height:g}" fill="white"/>']
    out += [f'<line x1="{a:.2f}" y1="{b:.2f}" x2="{c:.2f}" y2="{d:.2f}" stroke="black" stroke-width="{w:g}" '
            'stroke-linecap="round"/>' for a, b, c, d, w in page.lines]
    out += [f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{d / 2:g}" fill="black"/>' for x, y, d in page.discs]
    return "\n".join([*out, "</svg>"]) + "\n"


def drawings_pdf(pages: Sequence[Drawing], title: str) -> bytes:
    """Pages as a PDF 1.4 of vector lines and discs, in true size."""
    objects: list[bytes] = []
    kids = " ".join(f"{4 + 2 * k} 0 R" for k in range(len(pages)))
    objects.append(b"<< /Type /Catalog /Pages 2 0 R >>")
    objects.append(f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} >>".encode())
    safe = title.encode("utf-16-be").hex().upper()
    objects.append(f"<< /Title <FEFF{safe}> >>".encode())
    for k, page in enumerate(pages):
        w, h = page.width * POINT_PER_MM, page.height * POINT_PER_MM
        objects.append(f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {w:.3f} {h:.3f}] /Resources << >> "
                       f"/Contents {5 + 2 * k} 0 R >>".encode())
        content = _content(page)
        objects.append(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(content), content))
    out, offsets = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, 1):
        offsets.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % o for o in offsets)
    out += b"trailer\n<< /Size %d /Root 1 0 R /Info 3 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, table)
    return out


def _content(page: Drawing) -> bytes:
    """Drawing operators; the matrix makes a unit a millimetre, y downwards."""
    s, h = POINT_PER_MM, page.height * POINT_PER_MM
    out = [f"{s:.6f} 0 0 {-s:.6f} 0 {h:.3f} cm 0 g 0 G 1 J"]
    out += [f"{w:g} w {a:.3f} {b:.3f} m {c:.3f} {d:.3f} l S" for a, b, c, d, w in page.lines]
    for x, y, d in page.discs:
        r = d / 2
        k = r * BEZIER
        out.append(f"{x + r:.3f} {y:.3f} m "
                   f"{x + r:.3f} {y + k:.3f} {x + k:.3f} {y + r:.3f} {x:.3f} {y + r:.3f} c "
                   f"{x - k:.3f} {y + r:.3f} {x - r:.3f} {y + k:.3f} {x - r:.3f} {y:.3f} c "
                   f"{x - r:.3f} {y - k:.3f} {x - k:.3f} {y - r:.3f} {x:.3f} {y - r:.3f} c "
                   f"{x + k:.3f} {y - r:.3f} {x + r:.3f} {y - k:.3f} {x + r:.3f} {y:.3f} c f")
    return "\n".join(out).encode("ascii")


def save_svgs(svgs: Sequence[str], path: Path) -> list[str]:
    """Write SVGs, one file a page, numbered where there are several. Returns the names written."""
    names = []
    for k, svg in enumerate(svgs, 1):
        name = path if len(svgs) == 1 else path.with_name(f"{path.stem}-{k}{path.suffix}")
        write_whole(name, svg.encode("utf-8"))
        names.append(str(name))
    return names
