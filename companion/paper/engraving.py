"""The score in large print for a helper, as SVG and PDF, engraved by Verovio where it is installed.

What a tune leaves to whoever writes it out is settled here: clef, accidentals, beams. Verovio sets the page; its
words are taken out of the drawing and set again in a plain typeface, which is easier to read at the same size.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from companion.errors import Trouble
from companion.language import Language, numbered_page, untitled_tune
from companion.messages import _
from companion.paper.drawing import POINT_PER_MM, save_svgs
from companion.places import sans_typeface, write_whole
from companion.tune import Key, Note, Time, Tune, to_musicxml

STAFF_MM = 13.0  # height of the five lines; the smallest text beside them is then 18 points, large print
PAGE_MM = (210, 297)  # A4
MARGIN_MM = 15
LEAST_PT = 18.0  # large print: 18 points and more (American Printing House, guidelines; from memory)
#: Verovio's staff is 8 of its units of 0.09 mm at a scale of 100 with unit 9 (its default): 7.2 mm.
_STAFF_AT_100 = 7.2
LYRIC_SIZE = 6.0  # in Verovio's units, where its usual is 4.5: 20 points as they are set here
#: Verovio leaves room for Times. Verdana and DejaVu Sans are wider, by 1.28 over most English words and by 1.38 at
#: worst (measured), and no harder to read where they are made smaller by that, as their small letters are larger.
FROM_TIMES = 0.72
WORD_SPACE = 2.0  # in Verovio's units, its usual being 1.2: so a space is left between the widest words too
FAMILY = "Verdana, 'DejaVu Sans', sans-serif"
#: Lines thicker than is usual in print (0.15, 0.2, 0.3, 0.25 of Verovio's units), as thin ones vanish first.
_LINES = {"staffLineWidth": 0.2, "stemWidth": 0.3, "barLineWidth": 0.45, "ledgerLineThickness": 0.35}
_SVG = "{http://www.w3.org/2000/svg}"
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
CROTCHET = Fraction(1)


@dataclass(frozen=True)
class Text:
    """Words on a page: left end, middle or right end (anchor) of their base line, and size, in points."""

    x: float
    y: float
    size: float
    anchor: str
    text: str


@dataclass(frozen=True)
class PrintPage:
    """A page: the drawing without its words, as SVG in points, the words, and the line at its foot ("" for none),
    which is the last of the words."""

    drawing: ET.Element
    texts: tuple[Text, ...]
    foot: str


def check_engraver() -> None:
    """Raises Trouble where what engraves or writes print is not installed."""
    if not (find_spec("verovio") and find_spec("fpdf")):
        raise Trouble(_("Print needs the packages verovio and fpdf2, which are not installed. Install them with pip "
                        "(pip install verovio fpdf2), or write .musicxml or .brf."))


def engraving(tune: Tune) -> str:
    """The tune as MusicXML with the accidentals and beams that a printed score has, and nothing of its tempo."""
    # The tempo mark's note is a sign of Verovio's own font, and the part's name says nothing: both are left out.
    score = to_musicxml(replace(tune, quarter_bpm=None)).decode("utf-8")
    score = re.sub(r"<direction\b(?:(?!</direction>).)*<metronome.*?</direction>", "", score, flags=re.DOTALL)
    score = re.sub("<part-name>.*?</part-name>", "<part-name />", score)
    root = ET.fromstring(score)
    written = root.iter("note")
    key, time = Key(), Time()
    for index, bar in enumerate(tune.bars):
        key, time = bar.key or key, bar.time or time
        elements = [next(written) for _ in bar.notes]
        before = index > 0 and bool(tune.bars[index - 1].notes) and tune.bars[index - 1].notes[-1].tie
        _put_accidentals(bar.notes, elements, key, before)
        length = sum((n.quarters for n in bar.notes if not n.grace), Fraction(0))
        _put_beams(bar.notes, elements, time, time.quarters - length if index == 0 and tune.pickup else Fraction(0))
    return ET.tostring(root, encoding="unicode")


def _put_accidentals(notes: tuple[Note, ...], elements: list[ET.Element], key: Key, tied: bool) -> None:
    """A sign wherever a note is not as the key, or a sign before it in the bar, has it. tied: into the first note."""
    now: dict[tuple[str, int], int] = {}
    for note, element in zip(notes, elements, strict=True):
        if note.pitch is None:
            continue
        place = (note.pitch.step, note.pitch.octave)
        if now.get(place, key.alter(note.pitch.step)) != note.pitch.alter and not tied:
            if element.find("accidental") is None:
                _after(element, ("type", "dot"), ET.Element("accidental")).text = _ACCIDENTALS[note.pitch.alter]
            now[place] = note.pitch.alter
        tied = note.tie if not note.grace else tied


def _put_beams(notes: tuple[Note, ...], elements: list[ET.Element], time: Time, at: Fraction) -> None:
    """Quavers and shorter notes of one beat joined. at: where the bar begins, in crotchets; not 0 in a pickup."""
    beat = Fraction(3, 2) if time.lower == 8 and sum(time.upper) % 3 == 0 else CROTCHET
    groups: list[list[ET.Element]] = [[]]
    for note, element in zip(notes, elements, strict=True):
        if note.grace:
            continue
        short = note.pitch is not None and note.base <= Fraction(1, 2)
        if not short or at % beat == 0:
            groups.append([])
        if short:
            groups[-1].append(element)
        at += note.quarters
    for group in groups:
        for k, element in enumerate(group if len(group) > 1 else []):
            beam = ET.Element("beam", number="1")
            beam.text = "begin" if k == 0 else "end" if k == len(group) - 1 else "continue"
            _after(element, ("type", "dot", "accidental", "time-modification"), beam)


def _after(element: ET.Element, tags: tuple[str, ...], new: ET.Element) -> ET.Element:
    """Put `new` after the last child that has one of these tags; returns it."""
    last = max(k for k, child in enumerate(element) if child.tag in tags)
    element.insert(last + 1, new)
    return new


def engraved_pages(tune: Tune, language: Language, staff_mm: float = STAFF_MM) -> list[PrintPage]:
    """The score on pages of A4. Raises Trouble without Verovio."""
    check_engraver()
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    kit = verovio.toolkit()
    scale = round(100 * staff_mm / _STAFF_AT_100)
    margin = round(MARGIN_MM * 1000 / scale)
    kit.setOptions({
        "scale": scale, "pageWidth": round(PAGE_MM[0] * 1000 / scale), "pageHeight": round(PAGE_MM[1] * 1000 / scale),
        "pageMarginLeft": margin, "pageMarginRight": margin, "pageMarginTop": margin,
        "pageMarginBottom": round(margin * 4 / 3),  # the page's number stands there
        "breaks": "auto", "header": "auto", "footer": "none", "lyricSize": LYRIC_SIZE,
        "lyricWordSpace": WORD_SPACE, "mmOutput": True,
        "svgRemoveXlink": False, "lyricNoStartHyphen": True, **_LINES,
    })
    if not kit.loadData(engraving(tune)):
        if tune.title:
            raise Trouble(_("{tune} could not be engraved. Write it as .musicxml instead.").format(tune=tune.title))
        raise Trouble(_("This tune could not be engraved. Write it as .musicxml instead."))
    count = kit.getPageCount()
    return [_page(kit.renderToSVG(k), numbered_page(language, tune.title, k, count) if count > 1 else "")
            for k in range(1, count + 1)]


def _page(svg: str, foot: str) -> PrintPage:
    """Verovio's SVG with its inner drawing as a group, in points, and its words by themselves."""
    root = ET.fromstring(svg)
    inner = root.find(f"{_SVG}svg")
    assert inner is not None
    factor = PAGE_MM[0] * POINT_PER_MM / float((inner.get("viewBox") or "0 0 1 1").split()[2])
    texts: list[Text] = []
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
    if foot:
        texts.append(Text(width / 2, height - MARGIN_MM / 2 * POINT_PER_MM, LEAST_PT, "middle", foot))
    return PrintPage(root, tuple(texts), foot)


def _take_texts(element: ET.Element, factor: float, dx: float, dy: float, out: list[Text]) -> None:
    moved = re.match(r"translate\(([-\d.]+)[ ,]+([-\d.]+)\)", element.get("transform", ""))
    if moved:
        dx, dy = dx + float(moved.group(1)), dy + float(moved.group(2))
    if element.tag == f"{_SVG}text":
        size, text, x, y = 0.0, "", element.get("x"), element.get("y")
        anchor = element.get("text-anchor", "start")
        for span in element.iter(f"{_SVG}tspan"):
            found = re.match(r"[\d.]+", span.get("font-size", ""))
            size = max(size, float(found.group()) if found else 0.0)
            x, y, anchor = span.get("x") or x, span.get("y") or y, span.get("text-anchor", anchor)
            text += (span.text or "").strip("\n ")
        if text.strip() and y:
            out.append(Text((float(x or 0) + dx) * factor, (float(y) + dy) * factor,
                            max(LEAST_PT, size * factor * FROM_TIMES), anchor, text.strip()))
        return
    for child in element:
        _take_texts(child, factor, dx, dy, out)


def engraved_svgs(tune: Tune, language: Language) -> list[str]:
    """The score as SVG, one text a page of A4, sized in millimetres. Raises Trouble without Verovio."""
    ET.register_namespace("", _SVG[1:-1])
    ET.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    out = []
    for page in engraved_pages(tune, language):
        root = page.drawing
        root.set("width", f"{PAGE_MM[0]}mm")
        root.set("height", f"{PAGE_MM[1]}mm")
        root.set("role", "img")
        root.set("aria-label", page.foot or tune.title or untitled_tune(language))
        for t in page.texts:
            text = ET.SubElement(root, f"{_SVG}text", {
                "x": f"{t.x:.2f}", "y": f"{t.y:.2f}", "font-size": f"{t.size:.2f}", "font-family": FAMILY,
                "text-anchor": t.anchor})
            text.text = t.text
        out.append(ET.tostring(root, encoding="unicode"))
    return out


def engraved_pdf(tune: Tune, language: Language) -> bytes:
    """The score as a PDF of A4 pages in true size. Raises Trouble without Verovio, fpdf2 or the typeface."""
    check_engraver()
    import logging

    from fpdf import FPDF
    from fpdf.svg import SVGObject

    logging.getLogger("fpdf").setLevel(logging.ERROR)
    pdf: Any = FPDF(unit="pt", format=(PAGE_MM[0] * POINT_PER_MM, PAGE_MM[1] * POINT_PER_MM))
    pdf.set_title(tune.title or untitled_tune(language))
    pdf.set_auto_page_break(False)
    pdf.add_font("print", "", str(sans_typeface()))
    for page in engraved_pages(tune, language):
        pdf.add_page()
        SVGObject(ET.tostring(page.drawing, encoding="unicode")).draw_to_page(pdf, 0, 0)
        for t in page.texts:
            pdf.set_font("print", size=t.size)
            wide = pdf.get_string_width(t.text)
            pdf.text(t.x - (wide if t.anchor == "end" else wide / 2 if t.anchor == "middle" else 0), t.y, t.text)
    return bytes(pdf.output())


def save_engraving(tune: Tune, path: str | Path, language: Language) -> list[str]:
    """Write .svg (one file a page) or .pdf. Returns the names written."""
    path = Path(path)
    if path.suffix.lower() == ".pdf":
        write_whole(path, engraved_pdf(tune, language))
        return [str(path)]
    return save_svgs(engraved_svgs(tune, language), path)
