"""Braille pages as they are embossed: PEF, headings, running heads, bar numbers, sizes kept on this machine.

Layout by the common practice of the trade (Braille Authority of North America, Braille Formats, 2016: at least three free
cells on both sides of a centred heading and before the page number of a running head; MBC 2015, section 1, the same of
music). PEF by its specification, version 2008-1.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from companion.braille import SPACE, decode, encode, from_brf, to_ascii, words
from companion.command import main
from companion.errors import Trouble
from companion.language import English
from companion.paper import (
    Heading,
    NewPage,
    PageSize,
    Paragraph,
    Sheet,
    brf_pages,
    keep_size,
    kept_sizes,
    page_size,
    save_as,
    save_sheet,
    song_brf,
    song_page,
    to_brf,
    to_pef,
)
from companion.places import shipped
from companion.tune import Bar, Key, Note, Pitch, Syllable, Time, Tune, load

BRITISH = English()
PEF = "{http://www.daisy.org/ns/2008/pef}"
DC = "{http://purl.org/dc/elements/1.1/}"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    monkeypatch.setattr("companion.paper.page_sizes.user_folder", lambda: tmp_path / "data")
    monkeypatch.chdir(tmp_path)

    def go(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments)
        out, err = capsys.readouterr()
        return code, out, err

    return go


def song(bars: int, sung: bool = False, title: str = "Owl song") -> Tune:
    """So many bars of four crotchets, each bar another than the one before; sung: a word of one syllable a note."""
    rows = ("CDEF", "GFED", "EGFA", "DBAC")
    return Tune(title, tuple(Bar(
        number=k + 1, key=Key() if k == 0 else None, time=Time((4,), 4) if k == 0 else None,
        notes=tuple(Note(pitch=Pitch(letter, 4), base=Fraction(1), syllables=(Syllable("owl"),) if sung else ())
                    for letter in rows[k % 4])) for k in range(bars)))


def pef_rows(data: bytes) -> list[list[str]]:
    """The pages of a PEF document, after a check of all that the specification asks of one."""
    root = ET.fromstring(data)
    assert (root.tag, root.get("version"), [x.tag for x in root]) == (f"{PEF}pef", "2008-1", [f"{PEF}head", f"{PEF}body"])
    (meta,) = root[0]
    assert meta.tag == f"{PEF}meta"
    assert [x.text for x in meta.findall(f"{DC}format")] == ["application/x-pef+xml"]
    (identifier,) = meta.findall(f"{DC}identifier")
    assert identifier.text
    assert all(x.tag.startswith(DC) for x in meta)
    pages = []
    for volume in root[1]:
        assert (volume.tag, set(volume.keys())) == (f"{PEF}volume", {"cols", "rows", "rowgap", "duplex"})
        assert (volume.get("rowgap"), volume.get("duplex")) == ("0", "false")
        for section in volume:
            assert section.tag == f"{PEF}section"
            for page in section:
                assert page.tag == f"{PEF}page"
                assert 0 < len(page) <= int(volume.get("rows", "0"))
                assert all(row.tag == f"{PEF}row" and not len(row) for row in page)
                assert all(re.fullmatch("[\u2800-\u28ff]*", row.text or "") for row in page)
                assert all(len(row.text or "") <= int(volume.get("cols", "0")) for row in page)
                pages.append([row.text or "" for row in page])
    assert pages
    return pages


def title_of(data: bytes) -> str | None:
    return ET.fromstring(data).findtext(f".//{DC}title")


# --- PEF ---

def test_pef_has_the_cells_of_the_brf(tmp_path: Path) -> None:
    sheet = Sheet("Owl & <song>", (Heading("Bars"), *(Paragraph(f"Sentence {n}.") for n in range(30)), NewPage(),
                                   Paragraph("The answers.", helper=True)))
    for whole in (False, True):
        save_sheet(sheet, tmp_path / "x.brf", BRITISH, whole=whole, size=PageSize(30, 12))
        save_sheet(sheet, tmp_path / "x.pef", BRITISH, whole=whole, size=PageSize(30, 12))
        data = (tmp_path / "x.pef").read_bytes()
        pages = pef_rows(data)
        text = (tmp_path / "x.brf").read_bytes().decode("ascii")
        assert [[to_ascii(row) for row in page] for page in pages] == [
            page.removesuffix("\r\n").split("\r\n") for page in text.split("\f")]
        assert len(pages) > 2
        assert title_of(data) == "Owl & <song>"
    assert 'cols="30" rows="12"' in data.decode()


def test_pef_is_the_same_file_for_the_same_pages_and_is_xml_whatever_the_title() -> None:
    brf = to_brf(Sheet("", (Paragraph("one"),)))
    assert to_pef(brf, "a", 40, 25) == to_pef(brf, "a", 40, 25) != to_pef(brf, "b", 40, 25)
    assert title_of(to_pef(brf, "", 40, 25)) is None
    assert title_of(to_pef(brf, "a\x01\ufffe\ud800b\nc", 40, 25)) == "a\\u0001\\ud800b c"
    assert pef_rows(to_pef(b"#A" + b"A" * 50 + b"\r\n", "", 40, 25)) == [[words("1") + "⠁" * 50]]  # as wide as its lines


def test_a_song_as_pef_from_every_command_that_writes_braille(run: Run, tmp_path: Path) -> None:
    for arguments in (("braille", "lantern"), ("line", "lantern"), ("sheet", "fingers", "3"), ("guide", "pupil"),
                      ("wall", "lantern", "--shoulder", "98")):
        for ending in ("brf", "pef"):
            assert run(*arguments, "--width", "34", "--height", "20", "--out", f"x.{ending}")[0] == 0
        pages = pef_rows((tmp_path / "x.pef").read_bytes())
        assert pages == brf_pages((tmp_path / "x.brf").read_bytes()), arguments
        assert all(len(page) <= 20 and max(map(len, page)) <= 34 for page in pages)
    assert run("exercises", "lantern", "--level", "1", "--out", "e", "--as", "pef")[0] == 0
    assert run("exercises", "lantern", "--level", "1", "--out", "e.brf")[0] == 0
    for name in ("e", "e-answers"):
        assert pef_rows((tmp_path / f"{name}.pef").read_bytes()) == brf_pages((tmp_path / f"{name}.brf").read_bytes())
    _, out, _ = run("braille", "lantern", "--as", "pef")
    assert run("braille", "lantern", "--as", "pef", "--out", "song.txt")[0] == 0
    assert out.encode() == (tmp_path / "song.txt").read_bytes()
    save_as(load("lantern"), tmp_path / "n.pef", BRITISH)
    assert (tmp_path / "n.pef").read_bytes() == out.encode()


def test_a_song_in_pef_is_read_as_the_same_song_in_brf_is(run: Run, tmp_path: Path) -> None:
    for ending in ("brf", "pef"):
        assert run("braille", "sleepy-harbour", "--width", "20", "--height", "5", "--out", f"x.{ending}")[0] == 0
    code, out, _ = run("read", "x.pef", "--json")
    assert (code, out) == run("read", "x.brf", "--json")[:2]
    assert len(json.loads(out)["notes"]) == len(load("sleepy-harbour").line())
    bomb = '<!DOCTYPE pef [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><pef xmlns="http://www.daisy.org/ns/2008/pef">&b;</pef>'
    for text, says in (("<pef", "is no PEF document"), ("<pef/>", "is no PEF document"), (bomb, "is no PEF document"),
                       ("", "is no PEF document"), ('<pef xmlns="http://www.daisy.org/ns/2008/pef"/>', "holds no cells")):
        (tmp_path / "y.pef").write_text(text)
        code, out, err = run("read", "y.pef")
        assert (code, out, says in err) == (2, "", True), text
    assert "could not be read" in run("read", "none.pef")[2]


@pytest.mark.parametrize("width", [20, 28, 40])
def test_a_title_of_several_lines_and_its_composer_are_read_back_from_the_pages(width: int) -> None:
    for title in ("Owls", "A very long title of a very small tune", "A very long title of a very small tune about owls in it"):
        for composer in ("", "A. N. Other"):
            made = replace(load("lantern"), title=title, composer=composer)
            back = decode(from_brf(song_brf(song_page(partial(encode, made), width), PageSize(width)))).tune
            assert (back.title, back.composer) == (title, composer)


def test_a_pupils_name_is_in_the_pef_only_where_it_is_on_the_page() -> None:
    sheet = Sheet("Exercises", (Paragraph("Ask Robin.", helper=True), Paragraph("Sing.")))
    data = to_pef(to_brf(sheet), sheet.title, 40, 25)
    assert "obin" not in data.decode()
    assert words("Robin") not in data.decode()


# --- headings and running heads ---

@pytest.mark.parametrize("width", [20, 28, 32, 40])
def test_headings_are_centred_with_three_free_cells_and_a_line_after_the_title(width: int) -> None:
    title, heading = "The owl who sang in the old wood", "What the small owl sang to the moon"
    sheet = Sheet(title, (Paragraph("One."), Heading(heading), *(Paragraph("Two three.") for _ in range(40))))
    first, *later = brf_pages(to_brf(sheet, width, 25))
    free = first.index("")
    assert first[free + 1] == SPACE * 2 + words("One.")
    begin = first.index("", free + 1) + 1
    end = next(k for k in range(begin, len(first)) if first[k] == SPACE * 2 + words("Two three."))
    first[0] = first[0].removesuffix(SPACE * 3 + words("1"))
    for lines, text in ((first[:free], title), (first[begin:end], heading)):
        assert SPACE.join(line.strip(SPACE) for line in lines) == words(text)
        for line in lines:
            left = len(line) - len(line.lstrip(SPACE))
            beside = line == first[0]  # the page's number, which may move a title to the left
            assert left >= (1 if beside else 3)
            assert len(line) <= width - (5 if beside else 3)
            assert beside or 0 <= width - len(line) - left <= 1
    for number, page in enumerate(later, 2):
        match = re.fullmatch(f"{SPACE}*(?P<title>.*?){SPACE}{{3,}}(?P<number>\\S+?)", page[0])
        assert match
        assert match["number"] == words(str(number))
        assert words(title).startswith(match["title"])
        assert len(page[0]) == width


def test_a_running_head_is_in_the_middle_and_never_near_the_number() -> None:
    pages = brf_pages(song_brf(song_page(partial(encode, song(120)), 40), PageSize(40, 8)))
    assert len(pages) > 2
    for number, page in enumerate(pages[1:], 2):
        title = words("Owl song")
        assert page[0] == (SPACE * ((40 - len(title)) // 2) + title).ljust(38, SPACE) + words(str(number))
        assert len(page) <= 8
    assert pages[0][:2] == [SPACE * ((40 - len(words("Owl song"))) // 2) + words("Owl song"), ""]
    long = brf_pages(song_brf(song_page(partial(encode, song(120, title="a" * 33)), 40), PageSize(40, 8)))
    assert long[1][0].endswith("⠁" + SPACE * 3 + words("2"))  # in the middle it would leave one cell


def test_the_free_line_is_given_up_where_it_costs_a_page() -> None:
    def pages(lines: int) -> list[list[str]]:
        return brf_pages(to_brf(Sheet("Owl", tuple(Paragraph("One.") for _ in range(lines))), 40, 10))

    assert (len(pages(8)), pages(8)[0][1]) == (1, "")
    assert (len(pages(9)), pages(9)[0][1].strip(SPACE)) == (1, words("One."))
    assert (len(pages(10)), pages(10)[0][1]) == (2, "")


@pytest.mark.parametrize("title", ["", "Owl", "a" * 60, "A very long title of a very small tune about owls in the wood"])
def test_no_page_is_longer_or_wider_than_was_asked_for(title: str) -> None:
    blocks = (Heading("x" * 30), Paragraph("One."), Heading("Of several words"), *(Paragraph("Two three.") for _ in range(9)))
    for width in (12, 14, 20, 40):
        for height in (4, 5, 25):
            sheet = brf_pages(to_brf(Sheet(title, blocks), width, height))
            made = brf_pages(song_brf(song_page(partial(encode, song(12, title=title)), width), PageSize(width, height)))
            for page in sheet + made:
                assert len(page) <= height
                assert max(map(len, page)) <= width
            text = "".join(line for page in sheet for line in page)
            assert text.count(words("Two three.")[:4]) == 9  # nothing is lost


@pytest.mark.parametrize(("width", "height"), [(40, 25), (32, 27), (28, 25), (28, 6)])
def test_words_and_their_music_stay_on_one_sheet(width: int, height: int) -> None:
    """MBC 2015, section 35."""
    shipped_tunes = sorted(path.stem for path in shipped("exercises").glob("*.musicxml"))
    assert len(shipped_tunes) >= 20
    for made in (song(24, sung=True), *map(load, shipped_tunes)):
        page = song_page(partial(encode, made), width)
        data = song_brf(page, PageSize(width, height))
        for sheet in brf_pages(data):
            assert len(sheet) <= height
            assert all(len(line) <= width for line in sheet)
            if page.parallels:
                assert sheet[-1].startswith(SPACE * 2)  # music, never words that wait for it
        assert [b.notes for b in decode(from_brf(data)).tune.bars] == [b.notes for b in decode(list(page.lines)).tune.bars]


# --- bar numbers ---

@pytest.mark.parametrize("sung", [False, True])
@pytest.mark.parametrize("width", [20, 28, 40])
def test_a_line_that_begins_with_a_bar_has_its_number_and_reads_as_before(sung: bool, width: int) -> None:
    """De Garmo, chapter 10: the number of a line's first bar at the beginning of the line."""
    made = song(120, sung)
    page = song_page(partial(encode, made), width, bar_numbers=True)
    assert all(len(line) <= width for line in page.lines)
    reading = decode(list(page.lines))
    assert (reading.problems, [b.notes for b in reading.tune.bars]) == ((), [b.notes for b in made.bars])
    found = {}
    for k, line in enumerate(page.lines):
        if match := re.match(f"{SPACE * 2 if sung else ''}⠼([⠁-⠛]+){SPACE}", line):
            found[k + 1] = int("".join("1234567890"["⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚".index(c)] for c in match[1]))
    firsts: dict[int, int] = {}
    for bar, _note, line, _column, _cells in reversed(reading.places):
        firsts[line] = bar + 1
    assert len(found) > 10
    assert found.items() <= firsts.items()
    # A line without a number goes on with a bar that began above.
    assert all(firsts[line] in [firsts[k] for k in firsts if k < line] for line in set(firsts) - set(found))
    # Every note is still found where the page says that it is.
    assert [(k.note, k.line, k.column) for k in page.links] == [(k.note, k.line, k.column) for k in reading.links]


def test_bar_numbers_on_request_and_in_json(run: Run, tmp_path: Path) -> None:
    _, plain, _ = run("braille", "lantern", "--width", "32")
    _, numbered, _ = run("braille", "lantern", "--width", "32", "--bar-numbers")
    assert "⠼⠁⠀" not in plain
    assert "⠀⠀⠼⠉⠀⠐⠪" in numbered
    _, out, _ = run("braille", "lantern", "--width", "32", "--bar-numbers", "--json")
    assert json.loads(out)["lines"] == numbered.removesuffix("\n").split("\n")
    assert run("braille", "lantern", "--width", "32", "--bar-numbers", "--out", "x.brf")[0] == 0
    assert "  #C " in (tmp_path / "x.brf").read_text()
    with pytest.raises(Trouble, match="has no room for bar numbers"):
        song_page(partial(encode, song(120)), 14, bar_numbers=True)


# --- sizes that are kept ---

def test_a_kept_paper_is_used_by_name_and_what_is_given_comes_first(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("braille", "lantern", "--width", "32", "--height", "27", "--keep-paper", "My  embosser", "--out", "a.brf")
    assert code == 0
    assert out.startswith("Paper My  embosser kept in ")
    assert "32 cells in a line, 27 lines on a page" in out
    assert json.loads((tmp_path / "data" / "papers.json").read_text()) == {
        "papers": {"My embosser": {"width": 32, "height": 27}}}
    assert kept_sizes() == {"My embosser": PageSize(32, 27)}
    assert page_size("my embosser") == PageSize(32, 27)
    assert page_size("my embosser", height=20) == PageSize(32, 20)
    assert page_size() == PageSize(40, 25)
    for arguments in (("guide",), ("sheet", "key"), ("exercises", "lantern")):
        assert run(*arguments, "--paper", "my embosser", "--out", "b.brf")[0] == 0
        pages = brf_pages((tmp_path / "b.brf").read_bytes())
        assert 20 < max(len(line) for page in pages for line in page) <= 32, arguments
        assert 25 < max(map(len, pages)) <= 27, arguments
    # JSON stays JSON when a paper is kept beside it, and another paper does not lose the first.
    assert json.loads(run("braille", "lantern", "--width", "28", "--keep-paper", "small", "--json")[1])["lines"]
    assert kept_sizes() == {"My embosser": PageSize(32, 27), "small": PageSize(28, 25)}


def test_what_is_wrong_with_a_paper_is_said_and_nothing_is_lost(run: Run, tmp_path: Path) -> None:
    code, out, err = run("braille", "lantern", "--paper", "my embosser")
    assert (code, out) == (2, "")
    assert err == ("No paper is kept as 'my embosser', nor under another name. Give --width, --height and --keep-paper once to "
                   "keep one.\n")
    keep_size("big", PageSize(42, 29))
    assert run("braille", "lantern", "--paper", "my embosser")[2].startswith(
        "No paper is kept as 'my embosser'; kept are big. Give one of these")
    assert run("braille", "lantern", "--height", "3", "--keep-paper", "big")[2].startswith("A page of 3 lines was asked for")
    assert run("braille", "lantern", "--keep-paper", " ")[2].startswith("The name of a paper has 1 to 60 characters")
    assert kept_sizes() == {"big": PageSize(42, 29)}
    for damaged in (b"{", b"[]", b'{"papers": {"big": {"width": 1, "height": 29}}}', b"\xff"):
        (tmp_path / "data" / "papers.json").write_bytes(damaged)
        for option in ("--paper", "--keep-paper"):
            assert "could not be read, and the file was left as it is" in run("braille", "lantern", option, "big")[2]
        assert (tmp_path / "data" / "papers.json").read_bytes() == damaged
        assert run("braille", "lantern")[0] == 0


def test_margins_of_a_kept_paper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    """Empty cells before each line and empty lines above each page, in every file of braille, and read back; PEF (2008-1)
    counts them in its columns and rows."""
    monkeypatch.chdir(tmp_path)
    code, _out, err = run("braille", "lantern", "--width", "30", "--height", "6", "--out", "plain.brf")
    assert (code, err) == (0, "")
    margins = ("--left", "3", "--top", "2", "--keep-paper", "set in")
    assert run("braille", "lantern", "--width", "30", "--height", "6", *margins, "--out", "in.brf")[0] == 0
    plain, moved = (Path(name).read_bytes().decode().split("\f") for name in ("plain.brf", "in.brf"))
    assert len(plain) == len(moved) > 1
    for a, b in zip(plain, moved, strict=True):
        assert b.split("\r\n") == ["", ""] + [" " * 3 + line if line else "" for line in a.split("\r\n")]
    notes = [json.loads(run("read", name, "--json")[1]) for name in ("plain.brf", "in.brf")]
    assert notes[0]["notes"] == notes[1]["notes"]
    assert notes[1]["problems"] == []
    assert run("sheet", "tune", "lantern", "--paper", "SET IN", "--out", "sheet.pef")[0] == 0
    pef = Path("sheet.pef").read_text(encoding="utf-8")
    assert 'cols="33" rows="8"' in pef
    for page in pef.split("<page>")[1:]:
        rows = [re.sub("</?row/?>", "", row) for row in page.split("\n") if row.startswith("<row")]
        assert rows[:2] == ["", ""]
        assert len(rows) <= 8
        assert all(row.startswith(SPACE * 3) for row in rows if row)
    # Printed PEF has them too.
    assert run("braille", "lantern", "--paper", "set in", "--out", "song.pef")[0] == 0
    printed = run("braille", "lantern", "--paper", "set in", "--as", "pef")[1]
    assert printed == Path("song.pef").read_text(encoding="utf-8")
    assert printed.count("<row>") == printed.count(f"<row>{SPACE * 3}") > 5
    assert "A margin of 41 was asked for" in run("braille", "lantern", "--left", "41", "--out", "x.brf")[2]
