"""Exercises: every key solved by our own reader and match, no sign or move beyond the level that is named."""

from __future__ import annotations

import itertools
import random
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from exercise_keys import prove, read_line
from loud import Loud

from companion.braille import dots_of, to_ascii, words
from companion.braille import signs as S
from companion.errors import Trouble
from companion.language import English, ExerciseKind, Variety, exercise_helper, exercise_level, exercise_title
from companion.paper import Question, to_brf, to_html, to_sound, to_text
from companion.tune import Bar, Key, Note, Pitch, Time, Tune, Tuplet, interval_kind, load, shipped_names, transpose
from companion.workbook import Booklet, Exercise, Item, booklet_of, booklet_sheet, exercises, save_booklet, spoken_sheet
from companion.workbook.booklet import answer, question
from companion.workbook.exercises import GAP, RHYTHM_PITCH, demands, level_of, missing_cells, plain_tune, quavers

BRITISH = English()


def text_of(made: Booklet, answers: bool = False, language: English = BRITISH) -> list[str]:
    return to_text(booklet_sheet(made, language, answers), language)


def all_items(name: str, seed: int = 1) -> list[tuple[Exercise, Item]]:
    return [(e, i) for e in exercises(load(name), seed) for i in e.items]


@pytest.mark.parametrize("name", ["snail-wall", "lantern", "kite", "round-again", "first-alone"])
def test_every_key_is_borne_out_by_the_reader(name: str) -> None:
    items = all_items(name)
    assert [p for p in (prove(e, i, sound=False) for e, i in items) if p] == []
    assert len(items) > 15


def test_every_key_of_one_tune_is_borne_out_by_ear() -> None:
    few = [(e, e.items[0]) for e in exercises(load("snail-wall"))]  # of each kind and level; all of them: overnight
    assert [p for p in (prove(e, i) for e, i in few) if p] == []
    assert {e.kind for e, _ in few} == set(ExerciseKind)


@pytest.mark.overnight
def test_every_key_of_thirty_tunes_is_borne_out_by_reader_and_ear() -> None:
    names = shipped_names()
    tunes = [(n, load(n)) for n in names] + [(f"{n} up", transpose(load(n), 2)) for n in names[:30 - len(names)]]
    assert len(tunes) >= 30
    amiss = []
    for name, tune in tunes:
        amiss += [(name, p) for e in exercises(tune, 3) for i in e.items if (p := prove(e, i))]
    assert amiss == []


def test_a_wrong_key_would_be_found() -> None:
    found = set()
    for e, i in all_items("lantern"):
        said = answer(BRITISH, e, i)
        if e.kind is ExerciseKind.WRONG_NOTE:
            assert prove(e, replace(i, place=i.place % len(i.answer_line) + 1), sound=False, said=said)
        elif e.kind is ExerciseKind.MOVES and "goes up" in said:
            assert prove(e, i, sound=False, said=said.replace("goes up", "goes down"))
        elif e.kind is ExerciseKind.RHYTHM:
            assert prove(e, i, sound=False, said=said.replace("rotchet", "inim"))
        elif e.kind is ExerciseKind.NEW_START:
            assert prove(e, replace(i, semitones=-i.semitones), sound=False)
        elif e.kind is ExerciseKind.WHICH_VERSION and e.kind not in found:
            assert prove(e, replace(i, place=3 - i.place), sound=False)
            assert prove(e, replace(i, play=i.other_line))  # by ear
        else:
            continue
        found.add(e.kind)
    assert len(found) == 5


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


@pytest.mark.parametrize("name", shipped_names())
def test_every_tune_has_lines_to_read_at_each_level_and_none_twice(name: str) -> None:
    made = exercises(load(name))
    lines = [i.cells for e in made for i in e.items if e.kind not in (ExerciseKind.NOTES, ExerciseKind.DICTATION)]
    assert len(lines) == len(set(lines))
    assert {e.level for e in made if e.kind is not ExerciseKind.NOTES} >= {1, 2, 3, 4}
    for e in made:
        assert {level_of(i.demands) for i in e.items} == {e.level}


def test_skips_and_leaps_are_put_back_one_by_one() -> None:
    tune = quavers([Pitch(step, octave) for step, octave in (("C", 4), ("E", 4), ("G", 4), ("C", 5), ("B", 4), ("C", 5))])
    lines = [[n.pitch.step for n in i.answer_line] for e in exercises(tune) if e.kind is ExerciseKind.BUILT_UP
             for i in e.items]
    # Steps alone, then the first third, then the second; the fourth makes it the tune itself, which is read elsewhere.
    assert lines == [list("CDEFEF"), list("CEFGFG"), list("CEGAGA")]


def test_a_tune_of_steps_gets_skips_and_leaps() -> None:
    made = exercises(quavers([Pitch(step, 4) for step in "CDEFG"]))
    by_level = {e.level: [n.pitch.step for n in e.items[0].answer_line] for e in made if e.kind is ExerciseKind.BUILT_UP}
    assert by_level == {2: list("CEG"), 3: list("CFG")}


def test_ties_and_triplets_are_read_too_and_come_after_what_is_plain() -> None:
    def note(step: str, base: Fraction = Fraction(1), **more: object) -> Note:
        return Note(pitch=Pitch(step, 4), base=base, **more)  # type: ignore[arg-type]

    three = [note("E", Fraction(1, 2), tuplet=Tuplet(3, 2, place)) for place in ("start", "", "stop")]
    tied = Tune("Tied", (Bar(number=1, notes=(note("C"), note("D", Fraction(2), tie=True), note("D")), key=Key(),
                             time=Time((4,), 4)), Bar(number=2, notes=(*three, note("D"), note("C", Fraction(2))))))
    rhythms = {e.level: e for e in exercises(tied) if e.kind is ExerciseKind.RHYTHM}
    assert answer(BRITISH, rhythms[5], rhythms[5].items[0]) == (
        "Crotchet, minim tied to a crotchet, triplet of quaver, quaver, quaver, crotchet, minim.")
    assert answer(BRITISH, rhythms[4], rhythms[4].items[0]) == "Crotchet, minim, crotchet, crotchet, crotchet, minim."
    values = next(e for e in exercises(tied) if e.kind is ExerciseKind.VALUES and e.level == 5)
    assert answer(BRITISH, values, values.items[0]) == (
        "C crotchet in the fourth octave, D minim tied to a crotchet, triplet of E quaver, E quaver, E quaver, D crotchet, "
        "C minim.")
    assert [p for e in exercises(tied) for i in e.items if e.kind is ExerciseKind.VALUES and (p := prove(e, i))] == []


@pytest.mark.slow
def test_a_long_tune_is_read_whole() -> None:
    chance = random.Random(1)
    pitches = [Pitch(chance.choice("CDEFGAB"), chance.choice((4, 5))) for _ in range(120)]
    read = [n.midi for e in exercises(quavers(pitches)) if e.kind is ExerciseKind.READ for i in e.items for n in i.answer_line]
    assert read == [p.midi for p in pitches]


def test_each_kind_asks_what_it_says() -> None:
    by_kind = {e.kind: e for e in exercises(load("lantern"))}
    assert set(by_kind) == set(ExerciseKind)
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


@pytest.mark.slow
def test_the_key_of_a_rhythm_names_every_value_and_rest_as_it_is_written() -> None:
    # Against the reader, over all tunes that ship; in "rocking-boat" rests stand at the end of lines.
    said = [(prove(e, i, sound=False), answer(BRITISH, e, i)) for name in shipped_names() for e, i in all_items(name)
            if e.kind is ExerciseKind.RHYTHM]
    assert [amiss for amiss, _ in said if amiss] == []
    assert sum("rest" in text for _, text in said) > 3


def test_the_diary_may_ask_for_a_interval_kind_move() -> None:
    new = next(e for e in exercises(load("snail-wall"), practise=["skip"]) if e.kind == "new tunes")
    moves = [interval_kind(b.midi - a.midi) for i in new.items for a, b in itertools.pairwise(i.answer_line)]
    assert moves.count("skip") >= len(new.items)
    assert new.level == 2


def test_the_booklet_fits_the_paper_and_keeps_answers_apart(tmp_path) -> None:
    made = booklet_of("lantern")
    names = save_booklet(made, tmp_path / "lantern", BRITISH)
    assert sorted(n.rsplit("/", 1)[1] for n in names) == sorted(
        f"lantern{a}.{k}" for a in ("", "-answers") for k in ("brf", "html", "txt"))
    for name in names:
        if not name.endswith(".brf"):
            continue
        sheets = Path(name).read_bytes().decode("ascii").split("\f")
        assert all(len(line) <= 40 for sheet in sheets for line in sheet.splitlines())
        assert all(len(sheet.splitlines()) <= 25 for sheet in sheets)
        # Title and page number at the head of every page.
        assert [" ".join(sheet.splitlines()[0].split()[:-1]) for sheet in sheets] == [
            ",LANTERN3 ANSWERS" if "answers" in name else ",LANTERN3 EXERCISES"] * len(sheets)
        assert [sheet.splitlines()[0].split()[-1] for sheet in sheets] == [
            to_ascii(words(str(k))) for k in range(1, len(sheets) + 1)]
    questions = (tmp_path / "lantern.txt").read_text()
    answers = (tmp_path / "lantern-answers.txt").read_text()
    gap = next(e for e in made.exercises if e.kind == "gap").items[0]
    key = answer(BRITISH, next(e for e in made.exercises if e.kind == "gap"), gap)
    assert key not in questions
    assert key in answers
    html = (tmp_path / "lantern.html").read_text()
    assert "font: 20pt" in html
    assert "page \" counter(page)" in html
    assert key not in html
    # The cells of a question stand in the .brf as they are, and read as its notes.
    read = next(e for e in made.exercises if e.kind == "read").items[0]
    assert to_ascii(read.cells[0]).strip() in (tmp_path / "lantern.brf").read_text()
    assert [n.midi for n in read_line(read.cells).line()] == [n.midi for n in read.answer_line]


def test_cells_in_print_show_each_dot_and_say_it() -> None:
    made = booklet_of("lantern", kinds=["which version", "notes"])
    page = ET.fromstring(re.sub("<!DOCTYPE[^>]*>|<(meta|br)[^>]*>", "", to_html(booklet_sheet(made, BRITISH), BRITISH)))
    shapes = {s.get("id"): [float(c.get("r", 0)) for c in s] for s in page.iter("symbol")}
    for name, sizes in shapes.items():
        assert [size > 3 for size in sizes] == [str(d) in str(name) for d in range(1, 7)]
    items = [i for e in made.exercises for i in e.items]
    for li, item in zip(page.iter("li"), items, strict=True):
        shown = [u.get("href") for u in li.iter("use")]
        assert shown == [f"#c{dots_of(c)}" for line in item.cells for c in line.strip(S.SPACE) if c != S.SPACE]
        assert all(g.get("aria-hidden") == "true" for g in li.iter("span") if g.get("class") == "group")
    assert [e.tag for e in next(page.iter("body"))] == ["main"]
    versions = "".join(list(page.iter("li"))[-1].itertext())
    assert versions.count("First: ") == versions.count("Second: ") == 2


def test_what_is_the_same_for_all_is_said_once() -> None:
    made = booklet_of("snail-wall")
    said = text_of(made)
    assert said.count("Each time: Which note is this?") == 1
    assert [x for x in said if x.startswith("Level ")] == [
        exercise_level(BRITISH, n) for n in range(1, 6) if n in {e.level for e in made.exercises}]
    braille = to_brf(booklet_sheet(made, BRITISH)).decode("ascii")
    assert braille.count(to_ascii(words("Which note is this?"))) == 1


def test_no_exercise_speaks_to_eyes_or_by_halves() -> None:
    """Nobody who hears or feels it has a page before them: no "below", "above", "following", "shown"."""
    for e in exercises(load("moon-sea")):
        asked = [question(BRITISH, e, i) for i in e.items]
        for text in (exercise_title(BRITISH, e.kind), exercise_helper(BRITISH, e.kind, RHYTHM_PITCH, e.beats), *asked,
                     *(exercise_level(BRITISH, n) for n in range(1, 6)), *(answer(BRITISH, e, i) for i in e.items)):
            assert not re.search(r"\b(see|look|below|above|following|shown?|left|right-hand|here is)\b(?! out)", text), text
        assert asked[0].split()[0].rstrip(",") in ("Which", "Read", "Listen", "Find", "Write", "Clap"), asked[0]


def test_a_booklet_in_american_names() -> None:
    made, american = booklet_of("moon-sea"), English(Variety.AMERICAN)
    said = "\n".join(text_of(made, language=american) + text_of(made, answers=True, language=american))
    assert not re.search(r"crotchet|quaver|minim\b|semitone|\bbars?\b", said)
    assert "half note, eighth note, eighth note" in said.lower()
    html = to_html(booklet_sheet(made, american), american)
    assert '<html lang="en-US">' in html
    assert 'class="group"' in html


def test_every_sentence_of_a_booklet_comes_through_the_language() -> None:
    made, language = booklet_of("moon-sea"), Loud()
    for answers in (False, True):
        for line in text_of(made, answers, language)[1:]:  # after the title, which is the tune's
            assert not re.search("[a-z]", line), line
    for line in to_text(spoken_sheet(made, language), language)[1:]:
        assert not re.search("[a-z]", line), line


def test_a_long_phrase_is_asked_for_in_equal_parts() -> None:
    pitches = [Pitch("CDEFG"[k % 5], 4) for k in range(17)]
    read = next(e for e in exercises(quavers(pitches)) if e.kind == "read")
    assert [len(i.answer_line) for i in read.items] == [9, 8]


def test_the_booklet_is_spoken() -> None:
    made = booklet_of("snail-wall", kinds=["dictation"])
    sound = to_sound(spoken_sheet(made, BRITISH), BRITISH)
    heard = sum(float(n.quarters) for i in made.exercises[0].items for n in i.play or ())
    assert sound.seconds > heard + 2.5 * len(made.exercises[0].items)


def test_the_spoken_booklet_leaves_the_time_that_writing_takes(tmp_path) -> None:
    made = booklet_of("snail-wall", kinds=["dictation", "gap"])
    sheet = spoken_sheet(made, BRITISH)
    asked = [b for b in sheet.blocks if isinstance(b, Question)]
    items = [(e, i) for e in made.exercises for i in e.items]
    for block, (e, i) in zip(asked, items, strict=True):
        written = "".join(i.answer_cells) if e.kind is ExerciseKind.DICTATION else missing_cells(i)
        assert block.answer_s == 4.0 * len(written.replace(S.SPACE, ""))
    assert to_text(sheet, BRITISH).count("Go on.") == len(items)
    quick = [b.answer_s for b in spoken_sheet(made, BRITISH, 2.0).blocks if isinstance(b, Question)]
    assert quick == [(b.answer_s or 0) / 2 for b in asked]
    with pytest.raises(Trouble, match="0 seconds a cell were given; give 1 to 30"):
        save_booklet(made, tmp_path / "x", BRITISH, seconds_a_cell=0)


def test_what_cannot_be_asked_for_is_said() -> None:
    with pytest.raises(Trouble, match="no exercise of the kind"):
        booklet_of("lantern", kinds=["crossword"])
    with pytest.raises(Trouble, match="no kind of move"):
        booklet_of("lantern", practise=["hop"])
    with pytest.raises(Trouble, match="No exercise of that kind and level"):
        booklet_of("kite", level=1, kinds=["rhythm"])


@pytest.mark.parametrize(("second", "cells"), [(Pitch("C", 5), "⠨⠙"), (Pitch("G", 4), "⠓"), (Pitch("F", 4), "⠛")])
def test_the_key_to_a_gap_has_the_octave_mark_that_is_due(second: Pitch, cells: str) -> None:
    """From E4 a sixth up has its mark (dots 4 6 for the fifth octave), a third or a second has none (MBC 2015, 3.2.2)."""
    line = quavers([Pitch("E", 4), second]).line()
    assert missing_cells(Item((), None, (), line, frozenset(), place=2)) == cells
