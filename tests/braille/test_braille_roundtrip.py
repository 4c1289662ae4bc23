"""Tunes to cells and back: those that ship, and real folk melodies."""

import pytest
from braille.corpus import align, cause, compare, music21_groups, our_groups, parse, sample
from braille.made import to_brf

from companion.braille import Habits, decode, encode, from_brf, read_file, to_ascii
from companion.errors import Trouble
from companion.language import English
from companion.language.braille import reading_json, say_meaning
from companion.tune import Tune, from_music21, load, shipped_names

WIDTHS = (12, 20, 32, 40)


@pytest.fixture(scope="module")
def shipped() -> dict[str, Tune]:
    return {name: load(name) for name in shipped_names()}


@pytest.mark.parametrize("width", [*WIDTHS, 120])
def test_shipped_tunes_come_back_whole(shipped: dict[str, Tune], width: int) -> None:
    assert len(shipped) >= 20
    for name, tune in shipped.items():
        page = encode(tune, width=width)
        assert max(map(len, page.lines)) <= width, name
        for lines in (page.lines, from_brf(to_brf(page)), from_brf(to_brf(page, height=5, numbered=True))):
            reading = decode(lines)
            assert compare(tune, reading.tune) == [], name
            assert reading.problems == (), name
            assert reading.tune.title == tune.title, name
            assert [b.number for b in reading.tune.bars] == [b.number for b in tune.bars], name


def test_shipped_tunes_without_words(shipped: dict[str, Tune]) -> None:
    for name, tune in shipped.items():
        for habits in (Habits(), Habits(repeats=False, grouped=False)):
            reading = decode(encode(tune, width=20, words=False, habits=habits).lines)
            assert compare(tune, reading.tune) == [], name
            assert reading.problems == (), name


def test_words_come_back(shipped: dict[str, Tune]) -> None:
    """The words of each line; where syllables part is not in braille, so it is guessed and not compared."""
    for name, tune in shipped.items():
        wanted = "".join(n.syllable for n in _first_verse(tune))
        read = "".join(n.syllable for n in _first_verse(decode(encode(tune).lines).tune))
        assert read.replace("‿", "") == wanted.replace("‿", "").replace(" ", ""), name


def _first_verse(tune: Tune):  # type: ignore[no-untyped-def]
    from types import SimpleNamespace

    return [SimpleNamespace(syllable=n.syllables[0].text if n.syllables and n.syllables[0] else "")
            for _, _, n in tune.written()]


def test_brf_comes_back_byte_for_byte(shipped: dict[str, Tune]) -> None:
    for tune in shipped.values():
        page = encode(tune, width=30)
        data = to_brf(page)
        assert data.endswith(b"\r\n")
        assert b"\n" not in data.replace(b"\r\n", b"")
        assert from_brf(data) == [line.rstrip("⠀") for line in page.lines]
        assert to_brf(encode(tune, width=30)) == data


def test_sheets_have_numbers_from_the_second_on() -> None:
    page = encode(load("long-road"), width=20)
    data = to_brf(page, height=6, numbered=True).decode()
    sheets = data.split("\f")
    assert len(sheets) > 1
    assert sheets[1].split("\r\n")[0].endswith("   #B")
    for height in (3, 4, 6):
        sheets = to_brf(page, height=height, numbered=True).decode().split("\f")
        assert max(len(sheet.rstrip("\r\n").split("\r\n")) for sheet in sheets) == height
        assert from_brf("\f".join(sheets).encode()) == [line.rstrip("⠀") for line in page.lines]


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize(("width", "height"), [(40, 6), (32, 9), (28, 7), (28, 25)])
def test_words_and_their_music_stand_on_one_sheet(shipped: dict[str, Tune], width: int, height: int, numbered: bool) -> None:
    """MBC 2015, section 35: each line of words over its music; a sheet never ends between them."""
    for name, tune in shipped.items():
        page = encode(tune, width=width)
        data = to_brf(page, height, numbered)
        sheets = [sheet.split("\r\n")[int(numbered and k > 0):] for k, sheet in
                  enumerate(data.decode("ascii").removesuffix("\r\n").split("\r\n\f"))]
        assert [line for sheet in sheets for line in sheet] == [to_ascii(line).rstrip() for line in page.lines], name
        assert max(map(len, sheets)) <= height, name
        first = 0
        for sheet in sheets[:-1]:
            first += len(sheet)
            if page.parallels and page.parallels[0] < first:
                assert first in page.parallels, name
                later = next((k for k in page.parallels if k > first), len(page.lines))
                assert len(sheet) + later - first > height - numbered, name  # as many as fit


def test_links_hold_every_note_once(shipped: dict[str, Tune]) -> None:
    for name, tune in shipped.items():
        for width in WIDTHS:
            page = encode(tune, width=width)
            reading = decode(page.lines)
            notes = [n for _, _, n in tune.written() if n.pitch is not None and not n.grace]
            assert [k.note for k in page.links] == list(range(1, len(notes) + 1)), name
            for link, note in zip(page.links, notes, strict=True):
                said = [s.meaning.note for s in reading.said if s.line == link.line and
                        link.column <= s.column < link.column + link.cells]
                assert any(n and n.pitch == note.pitch for n in said), (name, link, said)
            assert reading.links == page.links, name


def test_every_cell_says_something(shipped: dict[str, Tune]) -> None:
    for name, tune in shipped.items():
        page = encode(tune, width=32)
        said = {(s.line, s.column + k): say_meaning(English(), s.meaning)
                for s in decode(page.lines).said for k in range(s.cells)}
        for number, line in enumerate(page.lines, 1):
            for column, cell in enumerate(line, 1):
                assert cell == "⠀" or said[number, column], (name, number, column)


def test_pitch_only_keeps_pitch_and_bars_and_is_never_read_as_values(shipped: dict[str, Tune]) -> None:
    for name, tune in shipped.items():
        for width in WIDTHS:
            page = encode(tune, width=width, pitch_only=True)
            reading = decode(page.lines)
            assert reading.pitch_only, name
            assert all(n["quarters"] is None for n in reading_json(English(), reading)["notes"])
            read = [[n.pitch for n in b.notes if n.pitch] for b in reading.tune.bars]
            tied: list[list[object]] = []
            held = False
            for bar in tune.bars:
                row = []
                for note in bar.notes:
                    if note.pitch is not None and not note.grace and not held:
                        row.append(note.pitch)
                    held = note.tie
                tied.append(row)
            assert read == tied, name
            assert reading.problems == (), name


def check_melodies(count: int, every: int) -> tuple[int, int, dict[str, int]]:
    """Melodies there and back, the four widths in turn; every so many bar by bar against music21.

    music21's own braille takes most of the time; the benchmark asks it for all. Gives bars, different ones, causes.
    """
    from music21.exceptions21 import Music21Exception

    bars = different = 0
    causes: dict[str, int] = {}
    for number, (name, abc) in enumerate(sample(count)):
        part = parse(abc)
        if not part.recurse().notes:
            continue
        tune = from_music21(part)
        width = WIDTHS[number % 4]
        page = encode(tune, width=width)
        assert max(map(len, page.lines)) <= width, name
        assert compare(tune, decode(from_brf(to_brf(page))).tune) == [], name
        if number % every:
            continue
        try:
            theirs = music21_groups(part)
        except Music21Exception:
            continue  # a time signature that music21.braille cannot divide
        for a, b in align(our_groups(tune), theirs):
            bars += 1
            if a != b:
                different += 1
                causes[cause(tune, a, b)] = causes.get(cause(tune, a, b), 0) + 1
    return bars, different, causes


@pytest.mark.parametrize(("count", "least_bars"), [(40, 50), pytest.param(200, 260, marks=pytest.mark.slow)])
def test_a_sample_of_folk_melodies(count: int, least_bars: int) -> None:
    """Some of the Essen collection: all come back; the same cells as music21, bar by bar, in 99 of 100."""
    bars, different, causes = check_melodies(count, 10)
    assert bars > least_bars, bars
    assert different <= bars / 100, causes


@pytest.mark.overnight
def test_all_folk_melodies() -> None:
    """All of the collection, some eight thousand."""
    bars, different, causes = check_melodies(1_000_000, 25)
    assert bars > 4000
    assert different <= bars / 100, causes


def test_what_cannot_be_written_is_said() -> None:
    with pytest.raises(Trouble, match="width from 12 to 120"):
        encode(load("snail-wall"), width=11)


def test_reading_files(tmp_path) -> None:  # type: ignore[no-untyped-def]
    page = encode(load("snail-wall"))
    (tmp_path / "a.brf").write_bytes(to_brf(page))
    (tmp_path / "a.txt").write_text("\n".join(page.lines), encoding="utf-8")
    for name in ("a.brf", "a.txt"):
        assert read_file(tmp_path / name).tune.bars == decode(page.lines).tune.bars
    for name, wanted in (("none.brf", "could not be read"), ("empty.brf", "is empty")):
        if name.startswith("empty"):
            (tmp_path / name).write_bytes(b"")
        with pytest.raises(Trouble, match=wanted):
            read_file(tmp_path / name)
    with pytest.raises(Trouble, match="is a folder"):
        read_file(tmp_path)
