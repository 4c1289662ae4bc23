"""Pages as other writers lay them out: what is no music is set aside and named, never read as words or notes. Sources: Music
Braille Code 2015 (MBC), music21.braille.lookup, De Garmo by chapter."""

from __future__ import annotations

import pytest
from braille.made import to_brf

from companion.braille import SPACE, Hand, decode, encode, from_brf, from_dots, signs, to_ascii, words
from companion.language import English
from companion.language.braille import say_meaning, say_problem
from companion.tune import Key, Mark, load, shipped_names

HEAD = "⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠼⠙⠲"
TUNE = ["C4", "D4", "E4", "F4", "G4", "E4"]


def notes(*lines: str) -> list[str]:
    return [n.pitch.name if n.pitch else "rest" for _, _, n in decode(list(lines)).tune.written()]


def amiss(*lines: str) -> list[tuple[int, int, str]]:
    reading = decode(list(lines))
    return [(p.line, p.column, say_problem(English(), p)) for p in (*reading.problems, *reading.hints)]


def said(*lines: str) -> list[tuple[int, int, str]]:
    return [(s.line, s.column, say_meaning(English(), s.meaning)) for s in decode(list(lines)).said]


@pytest.mark.parametrize(("number", "page"), [("⠼⠓", 8), ("⠼⠁⠃", 12), ("⠼⠁⠚⠋", 106)])
def test_page_numbers_in_any_corner(number: str, page: int) -> None:
    """MBC 1: the page number stands in a corner, three empty cells at least from what else stands there."""
    first, second = "⠐⠹⠱⠫⠻", "⠀⠀⠐⠗⠏⠣⠅"
    title = words("A tune").center(40, SPACE).rstrip(SPACE)
    for lines in (
            [title + SPACE * (40 - len(title) - len(number)) + number, HEAD, first, second],  # top right
            [number + title[len(number):], HEAD, first, second],  # top left
            [title, HEAD, first, second + SPACE * 20 + number],  # at the foot, right of the music
            [title, HEAD, first, second, SPACE * (40 - len(number)) + number],
            [title, HEAD, first, number, second]):  # by itself, where the next page begins
        reading = decode(lines)
        assert notes(*lines) == TUNE, lines
        assert reading.tune.title == "A tune", lines
        assert reading.problems == () == reading.hints, lines
        assert [text for _, _, text in said(*lines) if text.startswith("page")] == [f"page {page}"]


def test_running_heads_are_set_aside() -> None:
    """MBC 1: the title again at the top of each page, with its number or without."""
    title = words("Snail and wall").center(40, SPACE).rstrip(SPACE)
    for again in (title, title[:35].ljust(37, SPACE) + "⠼⠃"):
        lines = [title, HEAD, "⠐⠹⠱⠫⠻", again, "⠀⠀⠐⠗⠏⠣⠅"]
        assert notes(*lines) == TUNE
        assert amiss(*lines) == []
        assert decode(lines).tune.title == "Snail and wall"


def test_lines_where_a_print_page_ends() -> None:
    """MBC 1: hyphens over the whole line, the print page's number at its end; in music and in songs."""
    line = from_dots("36") * 37 + "⠼⠊"
    assert notes(HEAD, "⠐⠹⠱⠫⠻", line, "⠀⠀⠐⠗⠏⠣⠅") == TUNE
    assert (3, 1, "print page 9") in said(HEAD, "⠐⠹⠱⠫⠻", line, "⠀⠀⠐⠗⠏⠣⠅")
    song = [HEAD, words("la so hill day"), "⠀⠀⠐⠹⠱⠫⠻", line, words("up down"), "⠀⠀⠐⠗⠏⠣⠅"]
    reading = decode(song)
    assert [[n.syllables[0].text for n in b.notes] for b in reading.tune.bars] == [["la", "so", "hill", "day"], ["up", "down"]]
    assert reading.problems == () == reading.hints


def test_bar_numbers_and_signatures_at_the_margin() -> None:
    """De Garmo, chapter 10: a number, then the signatures that hold from there."""
    lines = [HEAD, "⠐⠹⠱⠫⠻", "⠼⠃⠀⠩⠼⠉⠲⠀⠐⠗⠫⠀⠻⠫⠱⠣⠅"]
    reading = decode(lines)
    assert reading.problems == ()
    assert [b.number for b in reading.tune.bars] == [1, 2, 3]
    assert reading.tune.bars[1].key == Key(1)
    assert notes(*lines)[6:] == ["F#4", "E4", "D4"]


def test_two_hands_are_both_read() -> None:
    """music21.braille.lookup: dots 46 345 and 456 345 at the beginning of a line are right and left hand."""
    right, left = from_dots("46-345"), from_dots("456-345")
    lines = [HEAD, "⠼⠁⠀" + right + "⠐⠹⠱⠫⠻⠀⠗⠏", SPACE * 3 + left + "⠸⠝⠬⠕⠀⠝⠔⠝", right + "⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅", left + "⠸⠝⠕⠀⠝⠝⠣⠅"]
    assert notes(*lines) == TUNE * 2
    assert amiss(*lines) == [
        (3, 6, "Interval signs stand here, notes that sound together; the written notes alone are read.")]
    parts = decode(lines).parts
    assert [name.hand for name, _part in parts] == [Hand.RIGHT, Hand.LEFT]
    assert [n.pitch.name for n in parts[1][1].tune.bars[0].notes if n.pitch] == ["C3", "D3"]
    assert {(2, 4, "right hand"), (3, 4, "left hand")} <= set(said(*lines))
    assert decode(lines).links[0][1:3] == (2, 6)


def test_a_solo_over_its_accompaniment() -> None:
    """MBC 2015, section 35: the solo's sign, dots 5 345, at the beginning of its line."""
    lines = [HEAD, "⠐⠜⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅", "⠨⠜⠐⠝⠕⠀⠝⠕⠣⠅", "⠸⠜⠸⠝⠕⠀⠝⠕⠣⠅"]
    assert notes(*lines) == TUNE
    assert amiss(*lines) == []
    assert [name.hand for name, _part in decode(lines).parts] == [Hand.SOLO, Hand.RIGHT, Hand.LEFT]


@pytest.mark.parametrize("interval", ["34", "346", "3456", "35", "356", "25", "36"])
def test_intervals_are_named_once(interval: str) -> None:
    """music21.braille.lookup: notes that sound with the written one, as their distance after it."""
    cells = from_dots(interval)
    lines = [HEAD, f"⠐⠹{cells}⠱⠫{cells}⠻⠀⠗{cells}⠏⠣⠅"]
    assert notes(*lines) == TUNE
    assert amiss(*lines) == [
        (2, 1, "Interval signs stand here, notes that sound together; the written notes alone are read.")]


@pytest.mark.parametrize(("finger", "number"), [("1", 1), ("12", 2), ("123", 3), ("2", 4)])
def test_fingering_is_named_once(finger: str, number: int) -> None:
    """music21.braille.lookup and De Garmo, chapter 9: right after the note."""
    cells = from_dots(finger)
    lines = [HEAD, f"⠐⠹{cells}⠱⠫{cells}⠻⠀⠗{cells}⠏⠣⠅"]
    assert notes(*lines) == TUNE
    assert amiss(*lines) == [(2, 1, "Fingering stands here; it is passed over.")]
    assert (2, 3, f"finger {number}") in said(*lines)


@pytest.mark.parametrize("breath", ["345-2", "6-34"])
def test_half_and_full_breaths(breath: str) -> None:
    """MBC 2015, section 35."""
    reading = decode([HEAD, f"⠐⠹⠱{from_dots(breath)}⠫⠻⠀⠗⠏⠣⠅"])
    assert reading.problems == () == reading.hints
    assert [n.marks for n in reading.tune.bars[0].notes] == [(), (Mark.BREATH,), (), ()]


def test_a_doubled_group_sign_goes_on_to_the_last_group() -> None:
    """De Garmo, chapter 16: four groups and more in a row: the sign doubled at the first, none within, once at the last."""
    row = "⠆⠆⠐⠙⠑⠋⠛⠓⠊⠀⠚⠊⠓⠆⠛⠋⠑⠀⠹⠱⠣⠅"
    lines = [HEAD.replace("⠙⠲", "⠃⠲"), row]
    reading = decode(lines)
    assert reading.problems == ()
    assert [[n.tuplet and n.tuplet.place for n in b.notes] for b in reading.tune.bars] == [
        ["start", "", "stop"] * 2, ["start", "", "stop"] * 2, [None, None]]
    # Groups of a crotchet and a quaver go on in the same way.
    reading = decode([HEAD, "⠆⠆⠐⠹⠑⠫⠛⠳⠊⠆⠪⠓⠀⠐⠽⠣⠅"])
    assert reading.problems == ()
    assert [n.tuplet and n.tuplet.place for n in reading.tune.bars[0].notes] == ["start", "stop"] * 4


def test_our_own_pages_with_what_others_add() -> None:
    """Page numbers, running heads and print pages in every shipped tune: the same tune comes back, nothing amiss."""
    for name in shipped_names():
        tune = load(name)
        page = encode(tune, width=32)
        plain = decode(page.lines)
        title = words(tune.title)
        head = (title.rjust((32 + len(title)) // 2, SPACE).ljust(29, SPACE) if len(title) <= 20 else SPACE * 29) + "⠼⠃"
        lines = list(page.lines)
        at = next((k for k in page.parallels if k > 6), len(lines)) if page.parallels else min(5, len(lines))
        reading = decode([*lines[:at], head, from_dots("36") * 30 + "⠼⠉", *lines[at:]])
        assert reading.tune == plain.tune, name
        assert reading.problems == plain.problems == (), name
        assert from_brf(to_brf(page)) == [to_ascii(line).rstrip() and line.rstrip(SPACE) for line in page.lines]


def test_a_segno_within_a_bar_is_no_interval() -> None:
    """The cells of a third are those of the segno: before an octave mark it is the sign, which wants one (MBC 2015, 3.2)."""
    assert from_dots("346") == signs.SEGNO
    reading = decode([HEAD, "⠐⠹⠱⠬⠐⠫⠻⠀⠗⠏⠣⠅"])
    assert reading.problems == () == reading.hints
    assert [len(n.before) for n in reading.tune.bars[0].notes] == [0, 0, 1, 0]
