"""One sheet with every kind of block, in every form: what is read, felt and heard of it."""

from __future__ import annotations

import io
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from companion.braille import to_cells, words
from companion.braille.louis import library
from companion.errors import Trouble
from companion.language import English, Variety
from companion.paper import (
    Block,
    CellGroup,
    Cells,
    Heading,
    ListItem,
    NewPage,
    Only,
    Paragraph,
    Picture,
    Question,
    Sheet,
    save_sheet,
    to_brf,
    to_html,
    to_pdf,
    to_sound,
    to_text,
)
from companion.tune import Bar, Key, Note, Pitch, Tune

BRITISH = English()
CELLS = "⠐⠹⠱⠫"
GROUP = CellGroup((CELLS,), "Cells 5-1456-156-1246.", "First")
SHEET = Sheet("Owl song", (
    Paragraph("Small dots are flat.", helper=True, only=Only.PRINT),
    Paragraph("A hyphen parts cells.", helper=True, only=Only.TEXT),
    Paragraph("Clear the space", strong=True),
    Paragraph("Play it twice.", "For the helper", helper=True),
    Heading("The cells"),
    Cells(lambda width: [CELLS], "C crotchet: dots 1 4 5 6", "C", has_dots=True),
    Cells(lambda width: ["⠀⠀" + CELLS, CELLS], "The tune"),
    ListItem("an ear"),
    Question(1, "Which note?", (GROUP,), dots_in_text=True),
    NewPage(helper=True),
    Heading("Answers", helper=True, gap=True),
    Picture(("⠿", "", "⠿"), helper=True),
))


def braille(sheet: Sheet, **how: int | bool) -> list[list[str]]:
    """Its pages as lines of Unicode cells."""
    text = to_brf(sheet, **how).decode("ascii").removesuffix("\r\n")  # type: ignore[arg-type]
    return [[to_cells(line) for line in page.split("\r\n")] for page in text.split("\r\n\f")]


def line(text: str, indent: int = 0) -> str:
    return "⠀" * indent + words(text)


def test_the_pupils_braille_has_what_is_for_the_pupil() -> None:
    (page,) = [[x.replace(" ", "⠀") for x in p] for p in braille(SHEET)]
    assert page == [
        line("Owl song", 15), "", line("Clear the space", 2), "", line("The cells", 15), line("C") + "⠀⠀" + CELLS, "",
        "⠀⠀⠀⠀" + CELLS, "⠀⠀" + CELLS, "", line("an ear"), line("1 Which note?"), line("First", 2), "⠀⠀" + CELLS]


def test_the_whole_braille_has_the_helpers_pages_with_title_and_number() -> None:
    first, second = braille(SHEET, whole=True)
    assert first[1] == ""
    assert words("Play it twice.") in first[3]
    assert words("Small dots are flat.") not in "".join(first)  # there are no drawn cells in braille
    assert words("A hyphen parts cells.") not in "".join(first)  # nor dots in words
    assert first[0].endswith(words("1"))
    head = line("Owl song", (40 - len(words("Owl song"))) // 2)
    answers = line("Answers", (40 - len(words("Answers"))) // 2)
    assert second == [head + "⠀" * (40 - len(head) - 2) + words("2"), "", answers, "",
                      "⠿", "", "⠿"]


def test_a_heading_stays_with_its_first_question_and_a_question_is_not_parted() -> None:
    blocks: list[Block] = [Paragraph("word") for _ in range(5)]
    for number in range(1, 4):
        blocks += [Heading("Exercise"), Paragraph("Each time the same."),
                   *(Question(n, f"Question {number} {n}", (GROUP,)) for n in (1, 2))]
    pages = braille(Sheet("Owl", tuple(blocks)), height=12)
    assert len(pages) > 2
    for page in pages:
        assert len(page) <= 12
        for k, text in enumerate(page):
            if text.strip("⠀") == words("Exercise"):
                assert page[k + 1] == line("Each time the same.", 2)
                assert page[k + 4].strip("⠀") == CELLS
            if re.search(words("Question"), text):
                assert page[k + 2].strip("⠀") == CELLS


def test_a_long_title_is_whole_on_the_first_page_and_cut_at_a_word_on_the_others() -> None:
    title = "A very long title of a very small tune about owls in the wood"
    sheet = Sheet(title, tuple(Paragraph("one two three four five six") for _ in range(60)))
    first, second, *_ = braille(sheet)
    head, number = first[0][:-5], first[0][-5:]
    assert number == "⠀⠀⠀" + words("1")
    assert "⠀".join(x.strip("⠀") for x in (head, first[1])) == words(title)
    assert first[2] == ""
    assert second[0].strip("⠀").startswith(words("A very long title of a very small"))
    assert second[0].endswith("⠀⠀⠀" + words("2"))
    assert len(second[0]) == 40


def test_without_a_title_no_empty_line_stands_first() -> None:
    assert braille(Sheet("", (Paragraph("Owl."),))) == [[line("Owl.", 2)]]
    assert to_text(Sheet("", (Paragraph("Owl."),)), BRITISH) == ["Owl."]


def test_text_is_said_in_full_and_cells_in_words() -> None:
    assert to_text(SHEET, BRITISH) == [
        "Owl song.", "A hyphen parts cells.", "Clear the space.", "For the helper: Play it twice.",
        "The cells.", "C: C crotchet: dots 1 4 5 6.",
        "The tune.", "Dot 5, then 1 4 5 6, then 1 5 6, then 1 2 4 6.",
        "Dot 5, then 1 4 5 6, then 1 5 6, then 1 2 4 6.", "an ear.",
        "1: Which note? Cells 5-1456-156-1246.", "", "Answers."]


def test_html_has_cells_drawn_and_said() -> None:
    page = ET.fromstring(re.sub("<!DOCTYPE[^>]*>|<(meta|br)[^>]*>", "", to_html(SHEET, English(Variety.AMERICAN))))
    assert page.get("lang") == "en-US"
    body = next(page.iter("main"))
    assert [e.tag for e in body] == ["h1", "svg", "p", "p", "p", "h2", "p", "p", "ul", "ol", "h2"]
    shapes = {s.get("id"): [float(c.get("r", 0)) > 3 for c in s] for s in page.iter("symbol")}
    assert shapes == {f"c{dots}": [str(d) in dots for d in range(1, 7)] for dots in ("5", "1456", "156", "1246")}
    drawn = [[u.get("href") for u in e.iter("use")] for e in body.iter("p") if list(e.iter("use"))]
    assert drawn == [["#c5", "#c1456", "#c156", "#c1246"], ["#c5", "#c1456", "#c156", "#c1246"] * 2]
    # The indent of a line stays: two empty cells before the first, none before the second.
    groups = [len(list(g.iter("svg"))) for g in list(body)[7].iter("span") if g.get("class") == "group"]
    assert groups == [6, 4]
    assert list(body)[-1].get("class") == "break"
    assert [s.text for s in body.iter("strong")] == ["Clear the space", "For the helper:"]


def test_the_foot_of_a_printed_page_is_text_of_the_language() -> None:
    style = to_html(Sheet('The "owl"', ()), BRITISH)
    assert """content: "The 'owl', page " counter(page) " of " counter(pages) "";""" in style


def test_pdf_reads_in_order() -> None:
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(to_pdf(SHEET, BRITISH)))
    text = re.sub(r"\s+", " ", " ".join(p.extract_text() for p in reader.pages))
    found = [text.find(x) for x in ("Owl song", "Small dots are flat.", "Clear the space", "For the helper: Play", "The cells",
                                    CELLS, "C crotchet", "an ear", "1: Which note?", "Cells 5-1456", "Answers")]
    assert -1 not in found
    assert found == sorted(found)
    assert "A hyphen parts cells" not in text + to_html(SHEET, BRITISH)  # text alone has it
    assert len(reader.pages) == 2  # the answers on a page of their own


def structure(data: bytes) -> list[tuple[str, str]]:
    """A tagged PDF as a screen reader finds it: (tag, text) of each element in the order of its structure tree, by the
    content between its marks (ISO 32000-1, 14.7 and 14.8), read here without fpdf2."""
    pypdf = pytest.importorskip("pypdf")
    root = pypdf.PdfReader(io.BytesIO(data)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    out = []
    for element in root["/StructTreeRoot"]["/K"][0]["/K"]:
        found = element.get_object()
        page, wanted = found["/Pg"].get_object(), found["/K"][0]
        marks = page["/Contents"].get_object().get_data().decode("latin-1")
        begin = re.search(rf"(/\w+) <</MCID {wanted}>> BDC(.*?)EMC", marks, re.S)
        assert begin is not None
        assert begin[1] == found["/S"]
        out.append((str(found["/S"]), begin[2]))
    return out


def test_pdf_is_tagged_and_its_pages_are_numbered() -> None:
    pypdf = pytest.importorskip("pypdf")
    data = to_pdf(SHEET, BRITISH)
    tags = [tag for tag, _unused in structure(data)]
    # Title, three paragraphs, a heading, a cell with its name, ...
    assert tags[:6] == ["/H1", "/P", "/P", "/P", "/H2", "/P"]
    assert tags.count("/H2") == 2
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    assert [p.extract_text().rstrip().splitlines()[-1] for p in pages] == ["Owl song, page 1 of 2", "Owl song, page 2 of 2"]
    # All that is drawn is in an element or, as the foot of a page, an artifact.
    for page in pages:
        marks = page["/Contents"].get_object().get_data().decode("latin-1")
        outside = re.sub(r"/\w+ (<</MCID \d+>> BDC|BMC).*?EMC", "", marks, flags=re.S)
        assert "Tj" not in outside
        assert "TJ" not in outside


def test_a_paragraph_is_not_parted_by_the_end_of_a_page_and_a_longer_one_goes_on() -> None:
    pypdf = pytest.importorskip("pypdf")
    lines = "one two three four five six seven eight nine ten " * 3
    sheet = Sheet("Owl", tuple(Paragraph(f"{n}. {lines}") for n in range(12)))
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(to_pdf(sheet, BRITISH))).pages]
    assert len(pages) > 1
    for page in pages:
        assert page.count("ten") % 3 == 0
    long = Sheet("Owl", (Paragraph("word " * 900),))
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(to_pdf(long, BRITISH))).pages]
    assert sum(p.count("word") for p in pages) == 900


@pytest.mark.skipif(library() is None, reason="liblouis is not on this machine")
def test_words_in_contracted_braille() -> None:
    (page,) = braille(SHEET, in_contracted=True)
    # The Rules of Unified English Braille, 10.3 and 10.4: "the" dots 2 3 4 6, "ar" 3 4 5.
    assert page[2] == "⠀⠀" + to_cells(",CLE> ! SPACE")
    assert page[4].strip("⠀") == to_cells(",! CELLS")
    assert CELLS in page[5]  # music stays as it is


def test_what_a_question_plays_is_sounded_with_time_to_answer() -> None:
    notes = tuple(Note(pitch=Pitch(step, 4), base=2) for step in "CDE")  # type: ignore[arg-type]
    line = Tune("", (Bar(number=1, notes=notes, key=Key()),), phrase_starts=(1,)).line()
    silent, played = (to_sound(Sheet("", (Question(1, play=play),)), BRITISH).seconds for play in ((), line))
    assert played - silent == pytest.approx(3 * 2 * 1.0, abs=0.3)  # six crotchets of one second
    assert silent > 2.5  # seconds to answer
    assert to_sound(Sheet("", (Question(1),)), BRITISH).seconds < 2.5


def test_a_bar_that_fits_no_line_is_given_a_wider_one() -> None:
    def lines(width: int) -> list[str]:
        if width < 24:
            raise Trouble("too narrow")
        return ["⠿" * width]

    assert Cells(lines).at_width(20) == ["⠿" * 24]
    with pytest.raises(Trouble, match="too narrow"):
        Cells(lambda width: lines(10)).at_width(20)


def test_each_form_by_its_name(tmp_path: Path) -> None:
    for ending in (".txt", ".brf", ".html", ".pdf"):
        save_sheet(SHEET, tmp_path / f"x{ending}", BRITISH)
        assert (tmp_path / f"x{ending}").stat().st_size > 50
    for name, wrong in (("x.docx", r"ends in \.docx"), ("x", "ends in nothing")):
        with pytest.raises(Trouble, match=wrong):
            save_sheet(SHEET, tmp_path / name, BRITISH)
