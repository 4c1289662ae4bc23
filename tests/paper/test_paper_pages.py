"""What goes on paper, measured in the files: the finger line, the wall card, print for a helper."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from xml.etree import ElementTree as ET

import pytest
from loud import Loud

from companion.braille import to_cells, words
from companion.errors import Trouble
from companion.language import English, Variety
from companion.paper import (
    finger_line_picture,
    finger_line_sheet,
    finger_line_words,
    save_engraving,
    save_finger_line,
    save_wall_card,
    to_brf,
    to_text,
    wall_card_sheet,
)
from companion.paper.drawing import POINT_PER_MM, Drawing, drawings_pdf
from companion.paper.engraving import STAFF_MM, engraved_pages, engraving
from companion.tune import Bar, Key, Mark, Note, Pitch, Syllable, Time, Tune, load, to_musicxml

BRITISH = English()
SVG = "{http://www.w3.org/2000/svg}"
#: Library of Congress, Specification 800 (2008), 3.2: mm.
DOT, PITCH, CELL = 1.44, 2.34, 6.2


def svg_of(name: str, tmp_path) -> list[ET.Element]:
    return [ET.parse(n).getroot() for n in save_finger_line(load(name), tmp_path / f"{name}.svg", BRITISH)]


@pytest.mark.parametrize("name", ["snail-wall", "lantern", "kite", "rocking-boat"])
def test_sizes_in_the_svg(name: str, tmp_path) -> None:
    for page in svg_of(name, tmp_path):
        assert (page.get("width"), page.get("height"), page.get("viewBox")) == ("297mm", "210mm", "0 0 297 210")
        widths = {float(x.get("stroke-width", "0")) for x in page.iter(f"{SVG}line")}
        assert widths == {1.5}
        circles = [(float(c.get("cx")), float(c.get("cy")), 2 * float(c.get("r"))) for c in page.iter(f"{SVG}circle")]
        points = [c for c in circles if c[2] > 3]
        dots = [c for c in circles if c[2] < 3]
        assert {round(c[2], 2) for c in points} == {6.4}
        assert {round(c[2], 2) for c in dots} <= {DOT}
        # Everything within the margins.
        assert all(15 < x < 297 - 12 and 15 < y < 210 - 12 for x, y, _ in circles)
        near = [((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5 for i, a in enumerate(dots) for b in dots[:i]]
        if near:  # no two dots nearer than in one cell
            assert min(near) == pytest.approx(PITCH, abs=0.02)
        between = [((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5 - 6.4 for i, a in enumerate(points)
                   for b in points[:i]]
        assert min(between) >= 3.2
        to_braille = [((p[0] - d[0]) ** 2 + (p[1] - d[1]) ** 2) ** 0.5 - 3.2 - DOT / 2 for p in points for d in dots]
        assert min(to_braille, default=9) >= 3.19  # an eighth of an inch
        # Neither does a line come nearer to braille.
        for ln in page.iter(f"{SVG}line"):
            x1, y1, x2, y2 = (float(ln.get(k)) for k in ("x1", "y1", "x2", "y2"))
            for k in range(21):
                x, y = x1 + (x2 - x1) * k / 20, y1 + (y2 - y1) * k / 20
                assert all(((x - d[0]) ** 2 + (y - d[1]) ** 2) ** 0.5 - 0.75 - DOT / 2 > 3.1 for d in dots)


def test_the_picture_rises_as_the_tune_does() -> None:
    tune = load("lantern")
    picture = finger_line_picture(tune)
    for page in picture.places:
        for a in page:
            for b in page:
                if a.note.midi > b.note.midi and abs(a.label_y - b.label_y) < 0.01:
                    assert a.y < b.y
    assert sum(len(p) for p in picture.places) == len(tune.line())
    assert finger_line_words(tune, BRITISH, 1)[0].startswith("'Hang' is the first, up a skip to 'the', down a skip to 'lan'")
    assert finger_line_words(load("moon-sea"), BRITISH)[0].startswith(
        "'Moon' is the first, up a semitone to 'light', down a semitone to the note A, down a step to 'on'")
    with pytest.raises(Trouble, match="no phrase 9"):
        finger_line_picture(tune, 9)


def test_cells_of_a_row_stand_as_specification_800_says() -> None:
    page = Drawing()
    page.braille(10, 10, "⠿⠿")
    assert page.discs == [(pytest.approx(10 + c * CELL + (d // 3) * PITCH), pytest.approx(10 + (d % 3) * PITCH), DOT)
                          for c in range(2) for d in range(6)]
    page = Drawing()
    page.braille(10, 10, "⠁⠀⠁")  # nothing is felt between words
    assert [x for x, _, _ in page.discs] == [10, pytest.approx(10 + 2 * CELL)]


def test_the_pdf_is_in_true_size_and_whole() -> None:
    pytest.importorskip("pypdf")
    import io

    from pypdf import PdfReader

    picture = finger_line_picture(load("lantern"))
    data = drawings_pdf(picture.pages, "Lantern")
    reader = PdfReader(io.BytesIO(data))
    assert len(reader.pages) == len(picture.pages)
    box = reader.pages[0].mediabox
    assert (float(box.width) / POINT_PER_MM, float(box.height) / POINT_PER_MM) == pytest.approx((297, 210), abs=0.01)
    assert reader.metadata is not None
    assert reader.metadata.title == "Lantern"
    content = reader.pages[0].get_contents().get_data().decode()
    assert content.startswith(f"{POINT_PER_MM:.6f} 0 0 ")  # a unit is a millimetre
    assert set(re.findall(r"([\d.]+) w ", content)) == {"1.5"}


def test_rows_are_phrases_and_no_note_stands_alone() -> None:
    pitches = ["C4", "D4", "E4", "C4"]
    notes = [Note(pitch=Pitch(p[0], int(p[1])), base=Fraction(1)) for p in pitches]
    breath = replace(notes[3], marks=(Mark.BREATH,))
    bars = (Bar(number=1, notes=(*notes[:3], breath), key=Key(), time=Time((4,), 4)),
            Bar(number=2, notes=(notes[0], notes[1], breath, notes[2])), Bar(number=3, notes=tuple(notes)))
    picture = finger_line_picture(Tune(title="Hen", bars=bars, phrase_starts=(1, 5, 7, 8)))
    rows = [list(g) for page in picture.places for _, g in groupby(page, lambda p: p.label_y)]
    assert [[p.note.number for p in row] for row in rows] == [[1, 2, 3, 4, 5, 6, 7], [8, 9, 10, 11, 12]]
    # No line leads over the end of a phrase: 3 moves, 1, 0 and 4, each drawn as two strokes.
    assert sum(len(p.lines) for p in picture.pages) == 2 * (3 + 1 + 0 + 4)
    # Without words the music cell of each note stands below it, as a quaver, with an octave mark where one is due.
    assert [p.label for p in rows[0]][:3] == ["⠐⠙", "⠑", "⠋"]
    long = finger_line_picture(scale(*["B3", "C#4"] * 12))
    widths = [len(list(g)) for page in long.places for _, g in groupby(page, lambda p: p.label_y)]
    assert max(widths) - min(widths) <= 1


def pages_of(data: bytes) -> list[list[str]]:
    """The pages of a .brf file, as lines of Unicode cells."""
    return [[to_cells(line) for line in page.split("\r\n")] for page in data.decode("ascii").removesuffix("\r\n").split("\f")]


def test_every_page_of_a_line_has_its_title_and_number() -> None:
    pages = pages_of(to_brf(finger_line_sheet(load("sleepy-harbour"), BRITISH)))
    assert len(pages) > 1
    for k, page in enumerate(pages, 1):
        assert page[0].strip("⠀").startswith(words("Sleepy harbour"))
        assert page[0].endswith(words(str(k)))
        assert len(page[0]) == 40
    one = pages_of(to_brf(finger_line_sheet(load("kite"), BRITISH, 1)))
    assert len(one) == 1
    assert one[0][0].strip("⠀") == words("Kite")


def test_the_embosser_picture_fits_and_reads(tmp_path) -> None:
    tune = load("snail-wall")
    save_finger_line(tune, tmp_path / "x.brf", BRITISH)
    pages = pages_of((tmp_path / "x.brf").read_bytes())
    assert all(len(page) <= 25 and all(len(line) <= 40 for line in page) for page in pages)
    block = pages[0][2:8]
    # As many full cells in the picture's rows as there are notes, each in the column where its word begins.
    places = sorted((x, y) for y, row in enumerate(block[:5]) for x, c in enumerate(row) if c == "⠿")
    assert len(places) == 7
    heights = [4 - y for _, y in places]
    assert heights == [0, 0, 2, 4, 4, 2, 0]  # C C D E E D C, in semitones
    assert all(block[5][x] != "⠀" and (x == 0 or block[5][x - 1] == "⠀") for x, _ in places)


def test_empty_rows_of_a_picture_stay() -> None:
    """A leap after a rest has no line: the rows between are empty, and tell by their number how far it goes."""
    notes = tuple(Note(pitch=p, base=Fraction(1)) for p in (Pitch("C", 4), None, Pitch("A", 4)))
    tune = Tune("Gap", (Bar(number=1, notes=notes, key=Key()),), phrase_starts=(1,))
    page = pages_of(to_brf(finger_line_sheet(tune, BRITISH)))[0]
    rows = [k for k, line in enumerate(page) if "⠿" in line]
    assert rows[1] - rows[0] == 9  # A to C, nine semitones


def test_a_rise_is_never_level_in_cells() -> None:
    """C and C sharp are one letter, and E and F a semitone: each has its own line of the page, also where the row is wide."""
    for pitches in (("C4", "C#4", "D4", "E4", "F4", "E4"), ("C4", "C#4", "E5", "A5", "G4", "G#4", "B5", "C6", "C4", "C#4")):
        row = list(scale(*pitches).line())
        page = pages_of(to_brf(finger_line_sheet(scale(*pitches), BRITISH)))[0]
        full = sorted((x, y) for y, line in enumerate(page) for x, c in enumerate(line) if c == "⠿")
        assert len(full) == len(row)
        for (_, a), (_, b), first, second in zip(full, full[1:], row, row[1:], strict=False):
            assert (a > b) == (second.midi > first.midi), (first.midi, second.midi)
            assert (a == b) == (second.midi == first.midi)


def test_the_finger_line_in_words_is_the_helpers_and_in_any_language(tmp_path) -> None:
    tune = load("moon-sea")
    save_finger_line(tune, tmp_path / "x.txt", English(Variety.AMERICAN))
    assert (tmp_path / "x.txt").read_text().splitlines()[1].startswith("'Moon' is the first, up a half step to 'light', ")
    # In words: the moves in capitals; only the words of the song are as they are.
    line = finger_line_words(tune, Loud())[0]
    assert line.startswith("'Moon' IS THE FIRST, UP A SEMITONE TO 'light', DOWN A SEMITONE TO THE NOTE A, ")
    with pytest.raises(Trouble, match=r"x\.png ends in \.png; the line is written as"):
        save_finger_line(tune, tmp_path / "x.png", BRITISH)


@pytest.mark.parametrize("name", ["snail-wall", "kite", "lantern"])
def test_the_wall_card_stays_below_a_stretch(name: str) -> None:
    lines = to_text(wall_card_sheet(load(name), 98, BRITISH), BRITISH)
    assert lines[1].startswith("Clear the space first")
    assert "at 98 centimetres" in lines[2]
    rows = [x for x in lines if re.match(r"[\d.]+ centimetres: ", x)]
    cm = [float(x.split()[0]) for x in rows]
    assert cm == sorted(cm, reverse=True)
    assert max(cm) <= 98 * 1.25
    assert min(cm) >= 98 * 0.65 - 0.5
    walk = [float(x) for x in re.findall(r" ([\d.]+)(?=[,.](?: |$))", lines[-1])]
    midi = [n.midi for n in load(name).line()]
    assert [a > b for a, b in pairwise(walk)] == [a > b for a, b in pairwise(midi)]


def test_the_wall_card_in_its_forms(tmp_path) -> None:
    card = wall_card_sheet(load("lantern"), 98, BRITISH)
    save_wall_card(card, tmp_path / "c.html", BRITISH)
    html = (tmp_path / "c.html").read_text()
    assert "font: 24pt" in html
    assert "<strong>Clear the space first, and let someone who can see it say that it is clear.</strong>" in html
    save_wall_card(card, tmp_path / "c.brf", BRITISH)
    assert all(len(x) <= 40 for x in (tmp_path / "c.brf").read_text().splitlines())
    save_wall_card(wall_card_sheet(load("sleepy-harbour"), 98, BRITISH), tmp_path / "c.brf", BRITISH)
    first, second = (tmp_path / "c.brf").read_text().split("\f")
    assert max(len(page.splitlines()) for page in (first, second)) <= 25
    assert ",NOTE BY NOTE3" not in first  # the last paragraph is not parted
    assert second.splitlines()[0].split()[:2] == [",SLEEPY", "HARBOUR3"]
    assert second.splitlines()[0].split()[-1] == "#B"
    # Two notes of one letter are told apart, and the walk says which note is how high.
    moon = to_text(wall_card_sheet(load("moon-sea"), 98, BRITISH), BRITISH)
    assert [x.split(": ")[1][:14] for x in moon if "C, " in x[:25]] == ["C, fifth octav", "C, fourth octa"]
    assert moon[-1].startswith("Note by note: Moon 108.5, light 112, note A 108.5, on 101.5, ")
    american = to_text(wall_card_sheet(load("moon-sea"), 98, English(Variety.AMERICAN)), English(Variety.AMERICAN))
    assert "at 98 centimeters" in american[2]
    assert not any("centimetre" in x for x in american)
    with pytest.raises(Trouble, match="shoulder"):
        wall_card_sheet(load("kite"), 12, BRITISH)
    with pytest.raises(Trouble, match="ends in nothing; the card is written as"):
        save_wall_card(card, tmp_path / "card", BRITISH)


def scale(*pitches: str) -> Tune:
    """Quavers in B major, 4/4: "A#3 A3" and so on."""
    notes = [Note(pitch=Pitch(p[0], int(p[-1]), p.count("#") - p.count("b")), base=Fraction(1, 2)) for p in pitches]
    bars = [Bar(number=k // 8 + 1, notes=tuple(notes[k:k + 8]), key=Key(5) if k == 0 else None,
                time=Time((4,), 4) if k == 0 else None) for k in range(0, len(notes), 8)]
    return Tune(title="Žółw", bars=tuple(bars))


def test_print_has_the_accidentals_and_beams_that_the_notes_ask_for() -> None:
    tune = scale("A#3", "A3", "A3", "A#3", "A4", "F#4", "E#4", "F#4", "A3", "A#3")
    notes = list(ET.fromstring(engraving(tune)).iter("note"))
    # The key has A sharp, F sharp and E; a sign holds in its bar and octave, and the next bar begins anew.
    assert [n.findtext("accidental") for n in notes] == [
        None, "natural", None, "sharp", "natural", None, "sharp", None, "natural", "sharp"]
    assert [n.findtext("beam") for n in notes] == ["begin", "end"] * 5
    # By the schema an accidental comes after the type, and a beam after that.
    assert [c.tag for c in notes[1]][-3:] == ["type", "accidental", "beam"]
    # In six eight a beat is three quavers; rests and crotchets part beams.
    assert [n.findtext("beam") for n in ET.fromstring(engraving(load("rocking-boat"))).iter("note")][:8] == [
        None, None, None, None, "begin", "continue", "end", None]


@pytest.mark.parametrize(("pitches", "clef"), [
    (("C4", "G4", "C5"), ("G", None)), (("F#3", "B3", "F#4"), ("G", "-1")), (("Bb2", "D3", "F3"), ("F", None))])
def test_a_low_voice_has_a_clef_that_keeps_it_on_the_staff(pitches: tuple[str, ...], clef: tuple[str, str | None]) -> None:
    root = ET.fromstring(to_musicxml(scale(*pitches)))
    assert (root.findtext(".//clef/sign"), root.findtext(".//clef/clef-octave-change")) == clef


def test_print_is_large_and_holds_the_words(tmp_path) -> None:
    pytest.importorskip("verovio")

    names = save_engraving(load("rocking-boat"), tmp_path / "p.svg", BRITISH)
    root = ET.parse(names[0]).getroot()
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    unit = 210 / float(root.get("viewBox").split()[2]) * 72 / 25.4  # points a unit of the page
    assert unit == pytest.approx(1, abs=0.001)
    texts = list(root.iter(f"{SVG}text"))
    assert {"Rock", "ing,", "3", "Rocking boat"} <= {t.text for t in texts}
    assert min(float(t.get("font-size")) for t in texts) >= 18  # points: large print
    drawn = next(g for g in root.findall(f"{SVG}g") if g.get("transform"))
    factor = float(re.fullmatch(r"scale\(([\d.]+)\)", drawn.get("transform")).group(1))
    rows = sorted({float(m.group(1)) for p in drawn.iter(f"{SVG}path")
                   if (m := re.fullmatch(r"M\d+ (\d+) L\d+ \1", p.get("d", "")))})[:5]
    assert (rows[4] - rows[0]) * factor * 25.4 / 72 == pytest.approx(STAFF_MM, rel=0.05)
    save_engraving(scale("B3", "C#4", "B3"), tmp_path / "p.pdf", BRITISH)
    assert (tmp_path / "p.pdf").read_bytes().startswith(b"%PDF")
    pypdf = pytest.importorskip("pypdf")
    assert "Žółw" in pypdf.PdfReader(tmp_path / "p.pdf").pages[0].extract_text()


def worded(words: str) -> Tune:
    """As many crotchets as words, four to a bar."""
    notes = [Note(pitch=Pitch("B", 3), base=Fraction(1), syllables=(Syllable(w),)) for w in words.split()]
    return Tune(title="Mud", bars=tuple(
        Bar(number=k // 4 + 1, notes=tuple(notes[k:k + 4]), key=Key() if k == 0 else None,
            time=Time((4,), 4) if k == 0 else None) for k in range(0, len(notes), 4)))


@pytest.mark.parametrize("tune", [load("rocking-boat"), load("sleepy-harbour"), load("window-wind"), worded(
    "straight through mud and marsh we marched, six fifths, eighths, strengths, thought, mammoth, wow, a I a I")],
    ids=lambda t: t.title)
def test_no_words_of_the_print_overlap_or_leave_the_page(tune: Tune) -> None:
    pytest.importorskip("verovio")
    fpdf = pytest.importorskip("fpdf")
    from companion.places import sans_typeface

    ruler = fpdf.FPDF(unit="pt")
    ruler.add_font("print", "", str(sans_typeface()))
    for page in engraved_pages(tune, BRITISH):
        rows: dict[int, list[tuple[float, float]]] = {}
        for t in page.texts:
            ruler.set_font("print", size=t.size)
            wide = ruler.get_string_width(t.text)
            left = t.x - {"start": 0, "middle": wide / 2, "end": wide}[t.anchor]
            rows.setdefault(round(t.y), []).append((left, left + wide))
        for row in rows.values():
            assert all(25 < left < right < 595 - 25 for left, right in row)
            assert all(b[0] - a[1] > 4 for a, b in pairwise(sorted(row)))


def test_a_score_of_several_pages_has_its_title_and_number_on_each() -> None:
    pytest.importorskip("verovio")

    pages = engraved_pages(scale(*["B3", "C#4", "D#4", "B3"] * 60), BRITISH)
    assert len(pages) > 1
    assert [p.texts[-1].text for p in pages] == [f"Žółw, page {k} of {len(pages)}" for k in range(1, len(pages) + 1)]
