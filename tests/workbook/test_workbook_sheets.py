"""Sheets: the same source in braille, large print and speech; measured in the files."""

import io
import random
import re
import shutil
from datetime import UTC, datetime, timedelta
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from companion.braille import from_brf, to_ascii
from companion.course import Progress, fact, find_stage, material, stages
from companion.errors import Trouble
from companion.language import English, Variety, say_dots
from companion.match import Verdict
from companion.paper import Sheet, save_sheet, to_brf, to_html, to_pdf, to_text
from companion.tune import shipped_names
from companion.workbook import (
    key_sheet,
    stage_drill_sheet,
    stage_facts,
    stage_sheet,
    tune_sheet,
    week_sheet,
)
from companion.workbook.sheets import _due_on_day

NOW = datetime(2026, 9, 7, 16, 0, tzinfo=UTC)
BRITISH, AMERICAN = English(), English(Variety.AMERICAN)


@cache
def sheets() -> dict[str, Sheet]:
    """Every sheet of stages and tunes; made when first asked for, since making them takes seconds."""
    return {
        **{f"stage {s.number:g}": stage_sheet(s, BRITISH) for s in stages()},
        **{f"drills {s.number:g}": stage_drill_sheet(s, random.Random(1), BRITISH) for s in stages()},
        **{f"tune {n}": tune_sheet(material(n), BRITISH) for n in shipped_names()},
        "key": key_sheet(stages(), BRITISH), "key 3": key_sheet(stages(), BRITISH, find_stage(3)),
        "week": week_sheet("Robin", Progress(), stages(), NOW, BRITISH, ["Slow bells"]),
    }


FEW = ("stage 2", "stage 17", "drills 14", "tune moon-sea", "key", "week")


@pytest.mark.parametrize("whole", [False, True])
def test_braille_pages_are_forty_by_twenty_five(whole: bool) -> None:
    for name, sheet in sheets().items():
        data = to_brf(sheet, whole=whole)
        assert re.fullmatch(rb"[\x20-\x5f\r\n\f]+", data), name
        assert b"\n" not in data.replace(b"\r\n", b"")
        for page in data.decode("ascii").split("\f"):
            lines = page.rstrip("\r\n").split("\r\n")
            assert 1 <= len(lines) <= 25, name
            assert all(len(line) <= 40 for line in lines), (name, max(lines, key=len))
            assert lines[-1].strip(), name


def test_the_cells_of_a_stage_are_on_its_braille_sheet() -> None:
    for stage in stages():
        lines = from_brf(to_brf(stage_sheet(stage, BRITISH)))
        for f in stage_facts(stage):
            assert any(line.rstrip("⠀").endswith(f.cells) for line in lines), (stage.name, f.name)
        if not stage.by_ear:
            joined = "\n".join(lines)
            for line in stage.material.lines(38):
                assert line.strip("⠀") in joined, (stage.name, to_ascii(line))


def test_a_tune_has_its_words_as_words_and_its_bars_numbered() -> None:
    """Nobody hears the words of a song in dots; bar numbers stand before the lines that begin with a bar (De Garmo, chapter
    10), on words' pages in cell 3."""
    said = to_text(tune_sheet(material("lantern"), BRITISH), BRITISH)
    assert said[2:6] == [
        "Dots 3 4 5 6, then 1 4 5, then 2 5 6.", "Words: Hang the lantern in the tree.", said[4],
        "Words: moths are dancing round for me."]
    assert said[4].startswith("Dot 5, then 1 2 4 6, then 1 2 5 6")
    plain = to_text(tune_sheet(material("lantern", ("words",)), BRITISH), BRITISH)
    assert not any(line.startswith("Words") for line in plain)
    numbered = from_brf(to_brf(tune_sheet(material("lantern"), BRITISH, bar_numbers=True)))
    assert [to_ascii(line)[:8] for line in numbered if line.lstrip("⠀").startswith("⠼")][1:] == ["    #A \"", "    #C \""]


def test_the_helpers_parts_are_left_out_of_the_pupils_braille() -> None:
    sheet = stage_sheet(find_stage(2), BRITISH)
    pupils, whole = (to_brf(sheet, whole=w).decode() for w in (False, True))
    assert "TRAP" in whole
    assert "TRAP" not in pupils
    drills = stage_drill_sheet(find_stage(3), random.Random(1), BRITISH)
    assert "ANSWERS" in to_brf(drills, whole=True).decode()
    assert "ANSWERS" not in to_brf(drills).decode()


def test_a_reading_exercise_is_headed_as_one() -> None:
    for stage in stages():
        text = to_brf(stage_sheet(stage, BRITISH)).decode().replace("\r\n", " ")
        assert ("PITCH ONLY" in text) == ("values" in stage.leave_out and not stage.by_ear)


@pytest.mark.slow
def test_a_width_and_height_of_ones_own() -> None:
    for width, height in ((20, 12), (32, 25)):
        data = to_brf(sheets()["stage 2"], width, height, whole=True).decode()
        assert all(len(line) <= width for page in data.split("\f") for line in page.split("\r\n"))
        assert all(len(page.rstrip().split("\r\n")) <= height for page in data.split("\f"))


def test_speech_says_every_text_and_the_dots_of_every_cell() -> None:
    for name, sheet in sheets().items():
        lines = to_text(sheet, BRITISH)
        assert not any(0x2800 <= ord(c) <= 0x28FF for line in lines for c in line), name
        joined = "\n".join(lines)
        for block in sheet.blocks:
            assert getattr(block, "text", "").rstrip(".") in joined, (name, block)
        assert all(line[-1] in ".?!:" for line in lines), [x for x in lines if x[-1] not in ".?!:"]
    assert "C: dots 1 4 5; in a book the letter d." in to_text(sheets()["key 3"], BRITISH)


def test_the_key_has_what_was_taught_and_nothing_else() -> None:
    text = "\n".join(to_text(sheets()["key 3"], BRITISH))
    assert "G: dots 1 2 5" in text
    assert "A:" not in text
    assert "rest" not in text
    whole = "\n".join(to_text(sheets()["key"], BRITISH))
    for stage in stages():
        for f in stage_facts(stage):
            if f.kind in ("note", "rest") and "dotted" not in f.name and len(f.signs) <= 2:
                name = f.name if f.name[1:] != " quaver" else f.name[0]
                assert f"{name[:1].upper()}{name[1:]}: {say_dots(English(), f.cells)}" in whole, f.name
    assert f"Fermata: {say_dots(English(), fact('fermata').cells)}" in whole


def test_a_week_is_one_page_in_every_form() -> None:
    from pypdf import PdfReader

    progress = Progress()
    day = NOW
    for stage in stages():
        sheet = week_sheet("Christopher-James", progress, stages(), day, BRITISH, ["Slow bells", "Wind at the window"])
        assert to_brf(sheet, whole=True).count(b"\f") == 0, stage.name
        if stage.number in (1, 12, 20):
            assert len(PdfReader(io.BytesIO(to_pdf(sheet, BRITISH))).pages) == 1, stage.name
        text = to_text(sheet, BRITISH)
        assert [line.split(" ")[0] for line in text if re.match(r"\w+day \d+: ", line)] == [
            f"{day + timedelta(days=d):%A}" for d in range(7)]
        for n, about in enumerate(stage_facts(stage)[:3]):
            progress.recall.review(f"{about.name} | cell to name", "right", day + timedelta(minutes=n))
        progress.pass_stage(stage, day)
        day += timedelta(days=3)


@pytest.mark.parametrize("name", FEW)
def test_pdf_is_large_and_reads_in_order(name: str) -> None:
    # 18 point is the least that the issue asks for. Sizes and text are read back by pypdf.
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(to_pdf(sheets()[name], BRITISH)))
    sizes: set[float] = set()
    for page in reader.pages:
        assert float(page.mediabox.width) == pytest.approx(595.3, abs=1)

        def note(text, cm, tm, font, size) -> None:  # type: ignore[no-untyped-def]
            if text.strip():
                sizes.add(round(float(size) * abs(tm[0]) * abs(cm[0]), 1))

        page.extract_text(visitor_text=note)
    assert min(sizes) >= 18, sizes
    text = re.sub(r"\s+", " ", " ".join(p.extract_text() for p in reader.pages))
    at = 0
    for block in sheets()[name].blocks:
        wanted = re.sub(r"\s+", " ", getattr(block, "text", ""))
        if wanted:
            found = text.find(wanted, at)
            assert found >= 0, (name, wanted, text[at:at + 200])
            at = found + len(wanted)
    assert reader.metadata is not None
    assert reader.metadata.title == sheets()[name].title


def test_pdf_keeps_inside_its_margins_for_all_tunes() -> None:
    from pypdf import PdfReader

    for name in ("tune rocking-boat", "tune sleepy-harbour", "tune kite"):
        reader = PdfReader(io.BytesIO(to_pdf(sheets()[name], BRITISH)))
        for page in reader.pages:
            spots: list[tuple[float, str, float]] = []

            def note(text, cm, tm, font, size, spots=spots) -> None:  # type: ignore[no-untyped-def]
                if any(0x2800 <= ord(c) <= 0x28FF for c in text):
                    spots.append((float(tm[4]), text, float(size)))

            page.extract_text(visitor_text=note)
            for x, text, size in spots:
                # A cell of DejaVu Sans is 0.732 em wide (its own table of widths).
                assert x + len(text.strip("\n")) * 0.732 * size <= 595.3 - 30, (name, text)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_html_is_plain_large_and_of_full_contrast() -> None:
    for name, sheet in sheets().items():
        page = to_html(sheet, BRITISH)
        seen = _Tags()
        seen.feed(page)
        names = [t for t, _ in seen.tags]
        assert names.count("h1") == names.count("main") == names.count("title") == 1, name
        assert dict(seen.tags)["html"]["lang"] == "en-GB"
        assert not {"table", "img", "script", "link"} & set(names)
        assert all(a.get("aria-hidden") == "true" for t, a in seen.tags if t == "span")
        points = [float(x) for x in re.findall(r"(\d+)pt", page.split("<style>")[1].split("</style>")[0])]
        assert min(points) >= 18
        assert "background: #fff; color: #000" in page
        # What is hidden from a screen reader is only cells, and their dots stand beside them.
        beside = re.findall(r'<span class="cells?" aria-hidden="true">(.*?)</span> ([^<]*)</p>', page, re.S)
        assert len(beside) == page.count('<span class="cell')
        for shown, said in beside:
            assert re.fullmatch(r'(<(/?span|/?svg|use|br)[^>]*>|\s)*', shown)  # drawings, no text
            assert "dot" in said.lower() or re.search(r"\d", said), said


def test_forms_by_the_files_name(tmp_path: Path) -> None:
    for ending in (".txt", ".brf", ".html", ".pdf"):
        path = tmp_path / f"sheet{ending}"
        save_sheet(sheets()["week"], path, BRITISH)
        assert path.stat().st_size > 200
    save_sheet(sheets()["key 3"], tmp_path / "key.wav", BRITISH)
    import soundfile

    # 150 words a minute: about 60 words are 20 to 60 s.
    assert 20 < soundfile.info(tmp_path / "key.wav").duration < 60
    with pytest.raises(Trouble, match=r"written to \.brf"):
        save_sheet(sheets()["week"], tmp_path / "sheet.docx", BRITISH)


def test_american_sheets() -> None:
    text = "\n".join(to_text(stage_sheet(find_stage(8), AMERICAN), AMERICAN))
    assert "quarter note" in text
    assert "rotchet" not in text


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("chromium"), reason="needs chromium")
def test_axe_finds_nothing(tmp_path: Path) -> None:
    # axe-core, through axe-playwright-python.
    playwright = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page()
        for name in FEW:
            path = tmp_path / "sheet.html"
            path.write_text(to_html(sheets()[name], BRITISH), encoding="utf-8")
            page.goto(path.as_uri())
            found = axe.Axe().run(page)
            assert found.violations_count == 0, (name, found.generate_report())
        browser.close()


def test_what_is_overdue_is_to_be_repeated_on_the_first_day_of_a_week() -> None:
    progress = Progress()
    progress.recall.review("C | cell to name", Verdict.WRONG, NOW - timedelta(days=5))  # due again within minutes
    progress.recall.review("D | cell to name", Verdict.WRONG, NOW)
    assert [_due_on_day(progress, stages(), NOW, d) for d in range(3)] == [2, 0, 0]


def test_answers_begin_a_page_of_their_own() -> None:
    """The pupil's questions lie on the table; the helper keeps the answers."""
    pages = to_brf(stage_drill_sheet(find_stage(3), random.Random(1), BRITISH), whole=True).decode().split("\f")
    apart = [page for page in pages if "ANSWERS" in page]
    assert len(apart) == 1
    assert pages.index(apart[0]) > 0
    _head, *lines = filter(None, apart[0].split("\r\n"))
    assert "ANSWERS" in lines[0], "nothing of the questions is on it but their title, in the head of each page"
