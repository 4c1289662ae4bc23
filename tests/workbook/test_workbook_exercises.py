"""Exercises: every key solved by our own reader and match, no sign or move beyond the level that is named."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from companion.braille import signs as S
from companion.braille import to_ascii, words
from companion.errors import Trouble
from companion.tune import Pitch, interval_kind, load, shipped_names, transpose
from companion.workbook import booklet
from companion.workbook.booklet import booklet_of
from companion.workbook.exercises import GAP, KINDS, LEVELS, Exercise, Item, demands, exercises, level_of, plain_tune, quavers
from companion.workbook.prove import prove, read_line


def all_items(name: str, seed: int = 1) -> list[tuple[Exercise, Item]]:
    return [(e, i) for e in exercises(load(name), seed) for i in e.items]


@pytest.mark.parametrize("name", ["snail-wall", "lantern", "kite", "round-again", "first-alone"])
def test_every_key_is_borne_out_by_the_reader(name: str) -> None:
    items = all_items(name)
    assert [p for p in (prove(e, i, sound=False) for e, i in items) if p] == []
    assert len(items) > 15


def test_every_key_of_one_tune_is_borne_out_by_ear() -> None:
    few = [(e, i) for e in exercises(load("snail-wall")) for i in e.items[:2]]
    assert [p for p in (prove(e, i) for e, i in few) if p] == []
    assert {e.kind for e, _ in few} == set(KINDS)


@pytest.mark.slow
def test_every_key_of_thirty_tunes_is_borne_out_by_reader_and_ear() -> None:
    names = shipped_names()
    tunes = [(n, load(n)) for n in names] + [(f"{n} up", transpose(load(n), 2)) for n in names[:30 - len(names)]]
    assert len(tunes) >= 30
    amiss = []
    for name, tune in tunes:
        amiss += [(name, p) for e in exercises(tune, 3) for i in e.items if (p := prove(e, i))]
    assert amiss == []


def test_a_wrong_key_would_be_found() -> None:
    for e, i in all_items("lantern"):
        if e.kind == "wrong note":
            assert prove(e, replace(i, place=i.place + 1), sound=False)
        if e.kind == "moves" and "goes up" in i.answer:
            assert prove(e, replace(i, answer=i.answer.replace("goes up", "goes down")), sound=False)
        if e.kind == "which version":
            assert prove(e, replace(i, place=3 - i.place), sound=False)
            assert prove(e, replace(i, play=i.other_line))  # by ear
            break


def test_levels_are_counted_from_what_is_asked() -> None:
    for name in ("snail-wall", "march-home", "kite"):
        for e in exercises(load(name)):
            kinds = {interval_kind(b.midi - a.midi) for i in e.items for a, b in itertools.pairwise(i.answer_line)}
            if e.level == 1:
                assert kinds <= {"level", "semitone", "step"}
            if e.level < 3:
                assert "leap" not in kinds
            if e.level < 5:
                # No accidental and no key signature stands in any cell.
                assert not any(c in "".join((*i.cells, *i.answer_cells)) for i in e.items
                               for c in (S.ACCIDENTALS[1], S.ACCIDENTALS[-1]))
    assert level_of(frozenset({"step", "values"})) == 4
    assert demands(load("march-home")) >= {"key", "values", "time", "leap"}
    assert plain_tune(load("march-home")).key.fifths == 0


def test_each_kind_asks_what_it_says() -> None:
    by_kind = {e.kind: e for e in exercises(load("lantern"))}
    assert set(by_kind) == set(KINDS)
    for i in by_kind["gap"].items:
        assert sum(c.count(GAP) for c in i.cells) == 1
    for i in by_kind["octave marks"].items:
        assert len("".join(i.cells)) < len("".join(i.answer_cells))
    for i in by_kind["new tunes"].items:
        own = {interval_kind(b.midi - a.midi) for a, b in itertools.pairwise(load("lantern").line())}
        assert {interval_kind(b.midi - a.midi) for a, b in itertools.pairwise(i.answer_line)} <= own
    sizes = [abs(i.answer_line[1].midi - i.answer_line[0].midi) for i in by_kind["moves"].items]
    assert sizes == sorted(sizes)
    rhythm = by_kind["rhythm"].items[0]
    assert len({n.midi for n in rhythm.answer_line}) == 1
    assert rhythm.answer.lower().count("crotchet") + rhythm.answer.lower().count("quaver") >= len(rhythm.answer_line) / 2


def test_the_diary_may_ask_for_a_kind_of_move() -> None:
    new = next(e for e in exercises(load("snail-wall"), practise=["skip"]) if e.kind == "new tunes")
    moves = [interval_kind(b.midi - a.midi) for i in new.items for a, b in itertools.pairwise(i.answer_line)]
    assert moves.count("skip") >= len(new.items)
    assert new.level == 2


def test_the_booklet_fits_the_paper_and_keeps_answers_apart(tmp_path) -> None:
    made = booklet_of("lantern")
    names = booklet.save(made, tmp_path / "lantern")
    assert sorted(n.rsplit("/", 1)[1] for n in names) == sorted(
        f"lantern{a}.{k}" for a in ("", "-answers") for k in ("brf", "html", "txt"))
    for name in names:
        if not name.endswith(".brf"):
            continue
        sheets = Path(name).read_bytes().decode("ascii").split("\f")
        assert all(len(line) <= 40 for sheet in sheets for line in sheet.splitlines())
        assert all(len(sheet.splitlines()) <= 25 for sheet in sheets)
        # Title and page number at the head of every page.
        assert [sheet.splitlines()[0].split()[0] for sheet in sheets] == [",LANTERN" + ("1" if "answers" in name else "")
                                                                          ] * len(sheets)
        assert [sheet.splitlines()[0].split()[-1] for sheet in sheets] == [
            to_ascii(words(str(k))) for k in range(1, len(sheets) + 1)]
    questions = (tmp_path / "lantern.txt").read_text()
    answers = (tmp_path / "lantern-answers.txt").read_text()
    gap = next(e for e in made.exercises if e.kind == "gap").items[0]
    assert gap.answer not in questions and gap.answer in answers  # noqa: PT018
    html = (tmp_path / "lantern.html").read_text()
    assert "font: 20pt" in html
    assert "page \" counter(page)" in html
    assert gap.answer not in html
    # The cells of a question stand in the .brf as they are, and read as its notes.
    read = next(e for e in made.exercises if e.kind == "read").items[0]
    assert to_ascii(read.cells[0]).strip() in (tmp_path / "lantern.brf").read_text()
    assert [n.midi for n in read_line(read.cells).line()] == [n.midi for n in read.answer_line]


def test_cells_in_print_show_each_dot_and_say_it() -> None:
    made = booklet_of("lantern", kinds=["which version", "notes"])
    page = ET.fromstring(re.sub("<!DOCTYPE[^>]*>|<(meta|br)[^>]*>", "", booklet.to_html(made).decode()))
    shapes = {s.get("id"): [float(c.get("r", 0)) for c in s] for s in page.iter("symbol")}
    for name, sizes in shapes.items():
        assert [size > 3 for size in sizes] == [str(d) in str(name) for d in range(1, 7)]
    items = [i for e in made.exercises for i in e.items]
    for li, item in zip(page.iter("li"), items, strict=True):
        shown = [u.get("href") for u in li.iter("use")]
        assert shown == [f"#c{S.dots_of(c)}" for line in item.cells for c in line.strip(S.SPACE) if c != S.SPACE]
        assert all(g.get("aria-hidden") == "true" for g in li.iter("span") if g.get("class") == "group")
    assert [e.tag for e in next(page.iter("body"))] == ["main"]
    versions = "".join(list(page.iter("li"))[-1].itertext())
    assert versions.count("First: ") == versions.count("Second: ") == 2


def test_what_is_the_same_for_all_is_said_once() -> None:
    made = booklet_of("snail-wall")
    said = booklet.lines(made)
    assert said.count("Each time: Which note is this?") == 1
    assert [x for x in said if x.startswith("Level ")] == [f"Level {n}: {LEVELS[n]}." for n in LEVELS
                                                           if n in {e.level for e in made.exercises}]
    braille = booklet.to_braille(made).decode("ascii")
    assert braille.count(to_ascii(words("Which note is this?"))) == 1


def test_no_exercise_speaks_to_eyes_or_by_halves() -> None:
    """Nobody who hears or feels it has a page before them: no "below", "above", "following", "shown"."""
    for e in exercises(load("moon-sea")):
        for text in (e.title, e.helper, *LEVELS.values(), *(i.ask for i in e.items), *(i.answer for i in e.items)):
            assert not re.search(r"\b(see|look|below|above|following|shown?|left|right-hand|here is)\b(?! out)", text), text
        assert e.items[0].ask.split()[0].rstrip(",") in (
            "Which", "Read", "Listen", "Find", "Write", "Clap"), e.items[0].ask


def test_a_booklet_in_american_names() -> None:
    made = booklet_of("moon-sea", american=True)
    said = "\n".join(booklet.lines(made) + booklet.lines(made, answers=True))
    assert not re.search(r"crotchet|quaver|minim\b|semitone|\bbars?\b", said)
    assert "half note, eighth note, eighth note" in said.lower()
    assert 'class="group"' in booklet.to_html(made).decode()


def test_a_long_phrase_is_asked_for_in_equal_parts() -> None:
    pitches = [Pitch("CDEFG"[k % 5], 4) for k in range(17)]
    read = next(e for e in exercises(quavers(pitches)) if e.kind == "read")
    assert [len(i.answer_line) for i in read.items] == [9, 8]


def test_the_booklet_is_spoken() -> None:
    made = booklet_of("snail-wall", kinds=["dictation"])
    sound = booklet.to_sound(made)
    heard = sum(float(n.quarters) for i in made.exercises[0].items for n in i.play or ())
    assert sound.seconds > heard + 2.5 * len(made.exercises[0].items)


def test_what_cannot_be_asked_for_is_said() -> None:
    with pytest.raises(Trouble, match="no exercise of the kind"):
        booklet_of("lantern", kinds=["crossword"])
    with pytest.raises(Trouble, match="no kind of move"):
        booklet_of("lantern", practise=["hop"])
    with pytest.raises(Trouble, match="No exercise of that kind and level"):
        booklet_of("kite", level=1, kinds=["rhythm"])
