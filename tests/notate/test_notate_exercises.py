"""Exercises: every key solved by our own reader and match, no sign or move beyond the level that is named."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest

from companion.braille import signs as S
from companion.errors import Trouble
from companion.notate import booklet
from companion.notate.door import booklet_of
from companion.notate.exercises import GAP, KINDS, Exercise, Item, demands, exercises, level_of, plain_tune
from companion.notate.prove import prove, read_line
from companion.tune import load, shipped_names, transpose
from companion.tune.catalogue import kind_of


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
            kinds = {kind_of(b.midi - a.midi) for i in e.items for a, b in itertools.pairwise(i.answer_line)}
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
        own = {kind_of(b.midi - a.midi) for a, b in itertools.pairwise(load("lantern").line())}
        assert {kind_of(b.midi - a.midi) for a, b in itertools.pairwise(i.answer_line)} <= own
    sizes = [abs(i.answer_line[1].midi - i.answer_line[0].midi) for i in by_kind["moves"].items]
    assert sizes == sorted(sizes)
    rhythm = by_kind["rhythm"].items[0]
    assert len({n.midi for n in rhythm.answer_line}) == 1
    assert rhythm.answer.lower().count("crotchet") + rhythm.answer.lower().count("quaver") >= len(rhythm.answer_line) / 2


def test_the_diary_may_ask_for_a_kind_of_move() -> None:
    new = next(e for e in exercises(load("snail-wall"), practise=["skip"]) if e.kind == "new tunes")
    moves = [kind_of(b.midi - a.midi) for i in new.items for a, b in itertools.pairwise(i.answer_line)]
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
    questions = (tmp_path / "lantern.txt").read_text()
    answers = (tmp_path / "lantern-answers.txt").read_text()
    gap = next(e for e in made.exercises if e.kind == "gap").items[0]
    assert gap.answer not in questions and gap.answer in answers  # noqa: PT018
    html = (tmp_path / "lantern.html").read_text()
    assert "font: 20pt" in html
    assert gap.answer not in html
    # The cells of a question stand in the .brf as they are, and read as its notes.
    read = next(e for e in made.exercises if e.kind == "read").items[0]
    from companion.braille import to_ascii

    assert to_ascii(read.cells[0]).strip() in (tmp_path / "lantern.brf").read_text()
    assert [n.midi for n in read_line(read.cells).line()] == [n.midi for n in read.answer_line]


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
