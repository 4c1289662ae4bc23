"""The score in large print for a helper, as SVG and PDF, engraved by Verovio where it is installed."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from companion.errors import Trouble
from companion.notate.drawing import POINT_PER_MM
from companion.places import write_whole
from companion.tune.model import Tune
from companion.tune.musicxml import to_musicxml

STAFF_MM = 13.0  # height of the five lines; the smallest text beside them is then 18 points, large print
PAGE_MM = (210, 297)  # A4
MARGIN_MM = 15
#: Verovio's staff is 8 of its units of 0.09 mm at a scale of 100 with unit 9 (its default): 7.2 mm.
_STAFF_AT_100 = 7.2
LYRIC_SIZE = 5.0  # in Verovio's units, where its usual is 4.5
_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
MISSING = ("Print needs the packages verovio and fpdf2, which are not installed. Install them with pip (pip install "
           "verovio fpdf2), or write .musicxml or .brf.")


def _toolkit() -> Any:
    try:
        import verovio
    except ImportError as error:
        raise Trouble(MISSING) from error
    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def to_svgs(tune: Tune, staff_mm: float = STAFF_MM) -> list[str]:
    """The score as SVG, one text a page of A4, sized in millimetres. Raises Trouble without Verovio."""
    kit = _toolkit()
    scale = round(100 * staff_mm / _STAFF_AT_100)
    kit.setOptions({
        "scale": scale, "pageWidth": round(PAGE_MM[0] * 1000 / scale), "pageHeight": round(PAGE_MM[1] * 1000 / scale),
        "pageMarginLeft": round(MARGIN_MM * 1000 / scale), "pageMarginRight": round(MARGIN_MM * 1000 / scale),
        "pageMarginTop": round(MARGIN_MM * 1000 / scale), "pageMarginBottom": round(MARGIN_MM * 1000 / scale),
        "breaks": "auto", "header": "auto", "footer": "none", "lyricSize": LYRIC_SIZE, "mmOutput": True,
        "svgRemoveXlink": False, "lyricNoStartHyphen": True,
    })
    # The tempo mark's note is a sign of Verovio's own font, and the part's name says nothing: both are left out.
    score = to_musicxml(replace(tune, quarter_bpm=None)).decode("utf-8")
    score = re.sub(r"<direction\b(?:(?!</direction>).)*<metronome.*?</direction>", "", score, flags=re.DOTALL)
    score = re.sub("<part-name>.*?</part-name>", "<part-name />", score)
    if not kit.loadData(score):
        raise Trouble(f"{tune.title or 'This tune'} could not be engraved. Write it as .musicxml instead.")
    return [kit.renderToSVG(k) for k in range(1, kit.getPageCount() + 1)]


def _flat(svg: str) -> tuple[ET.Element, list[tuple[float, float, float, str, str]]]:
    """Verovio's SVG with its inner drawing as a group, in points, and its texts by themselves (x, y, size, anchor, text)."""
    root = ET.fromstring(svg)
    inner = root.find(f"{_SVG}svg")
    assert inner is not None
    w = float((inner.get("viewBox") or "0 0 1 1").split()[2])
    factor = PAGE_MM[0] * POINT_PER_MM / w
    texts: list[tuple[float, float, float, str, str]] = []
    _take_texts(inner, factor, 0.0, 0.0, texts)
    inner.tag = f"{_SVG}g"
    for name in ("viewBox", "class", "font-family", "overflow"):
        inner.attrib.pop(name, None)
    inner.set("transform", f"scale({factor:.6f})")
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}style", f"{_SVG}desc", f"{_SVG}text", f"{_SVG}title"):
                parent.remove(child)
    width, height = (x * POINT_PER_MM for x in PAGE_MM)
    root.set("viewBox", f"0 0 {width:.3f} {height:.3f}")
    root.set("width", f"{width:.3f}")
    root.set("height", f"{height:.3f}")
    return root, texts


def _take_texts(element: ET.Element, factor: float, dx: float, dy: float,
                out: list[tuple[float, float, float, str, str]]) -> None:
    moved = re.match(r"translate\(([-\d.]+)[ ,]+([-\d.]+)\)", element.get("transform", ""))
    if moved:
        dx, dy = dx + float(moved.group(1)), dy + float(moved.group(2))
    if element.tag == f"{_SVG}text":
        size, text, x, y = 0.0, "", element.get("x"), element.get("y")
        for span in element.iter(f"{_SVG}tspan"):
            found = re.match(r"[\d.]+", span.get("font-size", ""))
            size = max(size, float(found.group()) if found else 0.0)
            x, y = span.get("x") or x, span.get("y") or y
            text += (span.text or "").strip("\n ")
        anchor = element.get("text-anchor", "start")
        for span in element.iter(f"{_SVG}tspan"):
            anchor = span.get("text-anchor", anchor)
        if text.strip() and x and y:
            out.append(((float(x) + dx) * factor, (float(y) + dy) * factor, size * factor, anchor, text.strip()))
        return
    for child in element:
        _take_texts(child, factor, dx, dy, out)


def to_pdf(tune: Tune, staff_mm: float = STAFF_MM) -> bytes:
    """The score as a PDF of A4 pages in true size. Raises Trouble without Verovio or fpdf2."""
    try:
        from fpdf import FPDF
        from fpdf.svg import SVGObject
    except ImportError as error:
        raise Trouble(MISSING) from error
    import logging

    logging.getLogger("fpdf").setLevel(logging.ERROR)
    pdf = FPDF(unit="pt", format=(PAGE_MM[0] * POINT_PER_MM, PAGE_MM[1] * POINT_PER_MM))
    pdf.set_title(tune.title or "A tune")
    pdf.set_auto_page_break(False)
    for svg in to_svgs(tune, staff_mm):
        root, texts = _flat(svg)
        pdf.add_page()
        SVGObject(ET.tostring(root, encoding="unicode")).draw_to_page(pdf, 0, 0)
        for x, y, size, anchor, text in texts:
            pdf.set_font("Times", size=size)
            plain = text.encode("latin-1", "replace").decode("latin-1")
            wide = pdf.get_string_width(plain)
            pdf.text(x - (wide if anchor == "end" else wide / 2 if anchor == "middle" else 0), y, plain)
    return bytes(pdf.output())


def save(tune: Tune, path: str | Path) -> list[str]:
    """Write .svg (one file a page) or .pdf. Returns the names written."""
    path = Path(path)
    if path.suffix.lower() == ".pdf":
        write_whole(path, to_pdf(tune))
        return [str(path)]
    pages = to_svgs(tune)
    names = []
    for k, svg in enumerate(pages, 1):
        name = path if len(pages) == 1 else path.with_name(f"{path.stem}-{k}{path.suffix}")
        write_whole(name, svg.encode("utf-8"))
        names.append(str(name))
    return names
