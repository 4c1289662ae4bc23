"""Drills and their answers: right, not that way, not sure, and what each teaches."""

import itertools
import random
import re

import pytest
from course_pupil import BRITISH, answered, judged, said
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.braille import to_ascii, to_dots
from companion.course import (
    Drill,
    Item,
    Order,
    QuestionKind,
    Wants,
    Way,
    card,
    fact,
    find_stage,
    make,
    material,
    name_cell,
    question_kind,
    say_octave,
    stages,
    write_cell,
)
from companion.errors import Trouble
from companion.language import English, question_text, say_dots
from companion.match import Verdict

VOCABULARY = BRITISH.vocabulary
ROW = material("three-quavers", ("values", "octave marks", "bars"))
FULL = material("round-again")


def one(kind: QuestionKind, *facts: str) -> Item:
    return make(Drill(kind, facts, count=1), None, random.Random(1))[0]


def test_every_kind_gives_questions_from_a_tune() -> None:
    for kind in QuestionKind:
        # A rhythm and a second voice want values; an interval wants facts that name it.
        valued = kind in (QuestionKind.CLAP_THE_RHYTHM, QuestionKind.WHICH_WAY)
        for m in (FULL,) if valued else () if kind is QuestionKind.OTHER_NOTE else (ROW, FULL):
            items = make(Drill(kind, count=4), m, random.Random(2))
            assert 1 <= len(items) <= 4, kind
            assert all(i.way is kind.way and i.cards for i in items)


@pytest.mark.parametrize("order", [Order.UP, Order.DOWN, Order.UP_AND_DOWN])
def test_both_directions_of_the_scale(order: Order) -> None:
    names = [i.answer for i in make(Drill(QuestionKind.NAME_THE_CELL, tuple("CDEFGAB"), order, 13), None, random.Random(1))]
    up = list("CDEFGAB")
    there = {Order.UP: up + up[:6], Order.DOWN: up[::-1] + up[:0:-1], Order.UP_AND_DOWN: up + up[-2::-1]}[order]
    assert names == there[:len(names)]
    assert len(names) == 13


def test_mixed_never_asks_the_same_twice_running() -> None:
    names = [i.answer for i in make(Drill(QuestionKind.NAME_THE_CELL, ("C", "D", "E"), Order.MIXED, 40), None, random.Random(5))]
    assert all(a != b for a, b in itertools.pairwise(names))


def test_the_same_chance_gives_the_same_questions() -> None:
    for kind in QuestionKind:
        a, b = (make(Drill(kind, count=5), FULL, random.Random(9)) for _ in range(2))
        assert a == b


# --- cells named ---

def test_a_note_named_without_its_length_is_asked_on() -> None:
    for name in ("C crotchet", "C quaver"):
        found = answered(name_cell(fact(name)), "C")
        assert (found.verdict, found.say, found.cards) == (Verdict.UNSURE, "C, yes. And how long is it?", {})
        assert judged(name_cell(fact(name)), name).verdict == Verdict.RIGHT
    # Where all are quavers, nobody is asked for a length, and nobody is corrected for giving it.
    assert question_text(BRITISH, name_cell(fact("C"))) == "Which note is this?"
    assert judged(name_cell(fact("C")), "C quaver").verdict == Verdict.RIGHT


def test_what_cannot_be_read_is_not_sure_and_not_remembered() -> None:
    for item, text in ((name_cell(fact("C")), "blah"), (write_cell(fact("C")), "é"), (say_octave(fact(
            "C, fourth octave")), "high"), (one(QuestionKind.HIGHER_OR_LOWER, "C", "E"), "dunno")):
        found = answered(item, text)
        assert found.verdict == Verdict.UNSURE
        assert found.cards == {}
        assert found.say.endswith(".")


def test_cells_that_look_alike_in_two_values_are_taken_either_way() -> None:
    item = name_cell(fact("C semibreve"))
    assert judged(item, "C semiquaver").verdict == Verdict.RIGHT == judged(item, "C semibreve").verdict
    assert judged(name_cell(fact("full bar rest")), "semibreve rest").verdict == Verdict.RIGHT


@pytest.mark.parametrize(("text", "name"), [
    ("c", "C"), ("C.", "C"), ("note c", "C"), ("C crotchet", "C crotchet"), ("crotchet C", "C crotchet"),
    ("quarter note c", "C crotchet"), ("a minim", "A minim"), ("a dotted minim", "A dotted minim"),
    ("C as a dotted crotchet", "C dotted crotchet"), ("4th octave", "fourth octave"), ("octave 5", "fifth octave"),
    ("c fourth octave", "C, fourth octave"), ("third octave B", "B, third octave"), ("a sharp", "sharp"),
    ("the sign for tie", "tie"), ("2 flats", "2 flats"), ("one sharp", "1 sharp"), ("3/4", "time 3 4"),
    ("time 4 4", "time 4 4"), ("first ending", "ending 1"), ("p", "dynamic p"), ("breath", "breath mark"),
    ("a crotchet rest", "crotchet rest"), ("quarter note rest", "crotchet rest"), ("xyz", None), ("", None),
    ("h", None), ("f", "F"), ("A", "A"), ("the a", "A"),
])
def test_names_as_people_give_them(text: str, name: str | None) -> None:
    found = VOCABULARY.fact(text)
    assert (found.name if found else None) == name


# --- cells written ---

@pytest.mark.parametrize("text", ["145", "1 4 5", "dots 1 4 5", "541", "d", "D", "⠙", "⡙", " ⠙ ", "ascii:D",
                                  "1-4-5", "dots 1, 4 and 5"])
def test_a_cell_in_every_form(text: str) -> None:
    found = answered(write_cell(fact("C")), text)
    assert found.verdict == Verdict.RIGHT, found.say


@pytest.mark.parametrize("text", ["5-145", "5 145", "dot 5, then 1 4 5", "\"D", "⠐⠙", "5, 145"])
def test_several_cells_in_every_form(text: str) -> None:
    assert judged(write_cell(fact("C, fourth octave")), text).verdict == Verdict.RIGHT


def test_all_forms_of_all_facts_of_the_course() -> None:
    for stage in stages():
        for drill in stage.drills:
            for name in drill.facts:
                item = write_cell(fact(name))
                ascii_form = to_ascii(item.answer)
                if re.fullmatch(r"[0-6 -]+", ascii_form):
                    ascii_form = f"ascii:{ascii_form}"  # "3" alone is dot 3, not Braille ASCII
                for text in (item.answer, to_dots(item.answer), ascii_form, say_dots(English(), fact(name).cells)):
                    assert judged(item, text).verdict == Verdict.RIGHT, (name, text)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=30), st.sampled_from(list(QuestionKind)), st.integers(0, 50))
def test_any_text_gets_a_verdict_and_a_sentence(text: str, kind: str, seed: int) -> None:
    # The other note is made of facts, not of a tune.
    facts = ("C, fourth octave", "interval of a third") if kind is QuestionKind.OTHER_NOTE else ()
    item = make(Drill(kind, facts, count=1), FULL, random.Random(seed))[0]
    if item.wants is Wants.SUNG:
        return
    found = answered(item, text)
    assert found.verdict in (Verdict.RIGHT, Verdict.WRONG, Verdict.UNSURE)
    assert found.say
    assert found.say[0].isupper()
    assert found.say[-1] in ".?"
    if found.verdict == Verdict.WRONG:
        assert found.say != "Wrong."


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="0123456 -,dotsthen⠙⠑⠋ABC?\"'#", max_size=20))
def test_typed_cells_are_six_dot_cells_or_nothing(text: str) -> None:
    for cells in VOCABULARY.cells(text):
        assert all(0x2800 <= ord(c) < 0x2840 for c in cells)


# --- by ear, numbers and choices ---

def test_directions_and_their_words() -> None:
    for seed in range(6):
        item = make(Drill(QuestionKind.HIGHER_OR_LOWER, tuple("CDEFG"), count=1), None, random.Random(seed))[0]
        a, b = (n.midi for n in item.played)
        assert item.answer == ("higher" if b > a else "lower" if b < a else "same")
        for text in {"higher": ("up", "H", "higher."), "lower": ("down", "l"), "same": ("level", "the same")}[
                item.answer]:
            assert judged(item, text).verdict == Verdict.RIGHT


def test_all_three_directions_are_asked() -> None:
    items = make(Drill(QuestionKind.HIGHER_OR_LOWER, tuple("CDEFG"), count=9), None, random.Random(4))
    assert {i.answer for i in items} == {"higher", "lower", "same"}


def test_where_it_turns_is_told_by_the_notes() -> None:
    for seed in range(20):
        item = make(Drill(QuestionKind.WHERE_IT_TURNS, tuple("CDEFG"), count=1), None, random.Random(seed))[0]
        midis = [n.midi for n in item.played]
        signs = [(b > a) - (b < a) for a, b in itertools.pairwise(midis)]
        turns = [i + 1 for i in range(1, len(signs)) if signs[i] != signs[i - 1]]
        assert 0 not in signs
        assert turns == [int(item.answer)]


def test_counting_and_finding_agree_with_the_notes() -> None:
    for seed in range(20):
        item = make(Drill(QuestionKind.HOW_OFTEN, count=1), ROW, random.Random(seed))[0]
        assert int(item.answer) == sum(n.midi == item.first for n in item.played)
        item = make(Drill(QuestionKind.FIND_THE_WRONG_CELL, count=1), ROW, random.Random(seed))[0]
        assert item.group is not None
        differ = [i + 1 for i, (a, b) in enumerate(zip(item.cells, item.group.cells, strict=True)) if a != b]
        assert differ == [int(item.answer)]


def test_the_wrong_cell_is_one_note_in_a_full_score_too() -> None:
    from companion.braille import decode

    for name in ("march-home", "moon-sea", "round-again", "heron", "sleepy-harbour"):
        for item in make(Drill(QuestionKind.FIND_THE_WRONG_CELL, count=5), material(name, ("words",)), random.Random(3)):
            assert item.group is not None
            true, spoilt = ([(n.pitch.step, n.pitch.octave) for _, _, n in decode([c]).tune.written() if n.pitch]
                            for c in (item.group.cells, item.cells))
            differ = [i + 1 for i, (a, b) in enumerate(zip(true, spoilt, strict=True)) if a != b]
            assert differ == [int(item.answer)]


def test_two_bars_sound_different() -> None:
    for seed in range(10):
        for item in make(Drill(QuestionKind.WHICH_BAR, count=3), FULL, random.Random(seed)):
            assert item.choices[0] != item.choices[1]
            assert item.group is not None
            assert item.choices[int(item.answer) - 1] == item.group.with_key


def test_beats_are_those_of_the_notes() -> None:
    for item in make(Drill(QuestionKind.HOW_MANY_BEATS, count=8), material("first-alone"), random.Random(1)):
        assert item.group is not None
        assert float(item.answer) == float(sum(n.quarters for n in item.group.notes))
    for name, beats in (("C", "half"), ("C crotchet", "1"), ("C dotted crotchet", "one and a half"),
                        ("C minim", "2"), ("C dotted minim", "three"), ("C semibreve", "4"), ("minim rest", "2")):
        assert judged(one(QuestionKind.HOW_MANY_BEATS, name), beats).verdict == Verdict.RIGHT, name


def test_when_a_mark_is_needed() -> None:
    # MBC 2015, 3.2.2: less than a fourth none, more than a fifth always, a fourth or fifth by the octave.
    items = make(Drill(QuestionKind.MARK_OR_NO_MARK, tuple(f"{s}, {o} octave" for s in "CEFGB" for o in ("fourth", "fifth")),
                       count=40), None, random.Random(1))
    assert {i.answer for i in items} == {"yes", "no"}
    for item in items:
        a, b = (n.pitch for n in item.played)
        size = abs(a.diatonic - b.diatonic) + 1
        needed = size >= 6 or (size >= 4 and a.octave != b.octave)
        assert item.answer == ("yes" if needed else "no")
        assert "mark" in said(item, "no" if needed else "yes")


def test_two_cells_to_sing_are_marked_by_the_rule() -> None:
    pairs = {("B, fourth octave", "C, fifth octave"): '"JD', ("G, fourth octave", "C, fifth octave"): '"H.D',
             ("F, fourth octave", "C, fourth octave"): '"GD', ("C, fifth octave", "E, fourth octave"): '.D"F'}
    for facts, cells in pairs.items():
        item = make(Drill(QuestionKind.SING_THE_CELL, facts, Order.UP, 2), None, random.Random(1))[1]
        assert to_ascii(item.cells) == cells


def test_numbers_as_people_give_them() -> None:
    for text, value in (("2", 2), ("two", 2), ("2nd", 2), ("second", 2), ("twice", 2), ("1.5", 1.5), ("1,5", 1.5),
                        ("one and a half", 1.5), ("half", 0.5), ("never", 0), ("note 3", 3), ("x", None),
                        ("", None), ("1e9", None), ("nan", None), ("٣", None)):
        assert VOCABULARY.number(text) == value, text


def test_a_helper_says_what_was_spoken_aloud() -> None:
    item = name_cell(fact("C"))
    assert judged(item, "+").verdict == Verdict.RIGHT
    assert judged(item, "+").cards == {card("C", Way.CELL_TO_NAME): Verdict.RIGHT}
    assert judged(item, "-").verdict == Verdict.WRONG
    assert "dots 1 4 5" in said(item, "-")


def test_what_there_is_not_is_said() -> None:
    with pytest.raises(Trouble, match="no drill"):
        question_kind("guess")
    with pytest.raises(Trouble, match="name one"):
        make(Drill(QuestionKind.READ_AND_SING), None, random.Random(1))
    with pytest.raises(Trouble, match="cannot be left out"):
        material("heron", ("colour",))


@pytest.mark.slow
def test_folk_tunes_make_drills_and_sheets_that_solve_themselves() -> None:
    # Real tunes: the Essen collection in music21's corpus.
    from pathlib import Path

    from music21 import converter, corpus

    from companion.paper import to_brf, to_text
    from companion.tune.convert import from_music21
    from companion.workbook import drill_sheet, tune_sheet

    paths = sorted(p for p in corpus.getCorePaths() if "essen" in str(p).lower())[:6]
    pieces = [t for p in paths for t in re.split(r"(?m)^(?=X:)", Path(p).read_text("utf-8", "replace"))[1:5]]
    assert len(pieces) > 20
    for piece in pieces:
        tune = from_music21(converter.parse(piece, format="abc").parts[0], title="Folk")
        for leave_out in ((), ("values", "octave marks", "bars")):
            m = material(tune, leave_out)
            items = [i for kind in QuestionKind for i in make(Drill(kind, count=2), m, random.Random(1))]
            assert len({i.kind for i in items}) >= 12
            for item in items:
                assert judged(item, "+" if item.wants in (Wants.SUNG, Wants.CLAPPED) else item.answer).verdict == Verdict.RIGHT
            for sheet in (tune_sheet(m, BRITISH), drill_sheet("Folk", items, BRITISH)):
                assert to_text(sheet, BRITISH)
                assert all(len(line) <= 40 for line in re.split(r"[\r\n\f]+", to_brf(sheet).decode()))


# --- a tune as far as taught ---

def test_what_is_left_out_is_not_shown() -> None:
    from companion.braille import signs as S

    assert [to_ascii(x) for x in ROW.lines()] == ["DEFEDFED", "FEDEFFED"]
    marked = material("two-octaves-meet", ("values", "bars"))
    assert all(line[0] in S.OCTAVES.values() for line in marked.lines())
    plain = material("window-wind", ("key", "time"))
    assert "flat" in plain.signs
    assert "key signature" not in plain.signs
    # The same pitches, written out at the notes.
    assert [n.midi for n in plain.shown.line()] == [n.midi for n in material("window-wind").shown.line()]
    assert "time signature" not in plain.signs
    assert "time signature" in material("window-wind").signs
    assert "words" not in material("echo-cave", ("words",)).signs
    assert "bar repeated" in material("tick-tock", ("words",)).signs
    assert "bar repeated" not in material("tick-tock", ("words", "bar repeats")).signs


def test_what_is_sung_is_what_is_shown() -> None:
    for stage in stages():
        for group in stage.material.groups:
            assert len(group.line) == len([n for n in group.notes if n.pitch]) or any(n.tie for n in group.notes)
            if "values" in stage.leave_out:
                assert {n.quarters for n in group.line} == {group.line[0].quarters}


# --- what a question sounds like ---

def test_a_question_sounds_what_it_says() -> None:
    # Pitches of the sound are found by librosa's pYIN, another tracker than ours.
    import librosa
    import numpy as np

    from companion.lesson import sound_of_question

    item = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, order=Order.UP, count=1), ROW, random.Random(1))[0]
    for shift in (0, 5):
        sound = sound_of_question(item, shift)
        assert sound is not None
        f0, voiced, _ = librosa.pyin(sound.samples, fmin=150, fmax=800, sr=sound.rate, frame_length=4096)
        midi = np.round(librosa.hz_to_midi(f0[voiced])).astype(int)
        # What lasts longer than the tracker's blur where one note gives way to the next; the first note is given
        # alone, and then begins the line.
        heard = [int(m) for m, run in itertools.groupby(midi) if len(list(run)) > 12]
        wanted = [n.midi + shift for n in item.played]
        assert heard in (wanted, [wanted[0], *wanted])


def test_what_has_values_is_counted_in_and_has_a_beat() -> None:
    from companion.course import QUARTER_S
    from companion.lesson import sound_of_question
    from companion.lesson.question_sound import BETWEEN_S

    m = find_stage(10).material  # four crotchets in a bar, with rests; its time is not shown yet
    read = make(Drill(QuestionKind.READ_AND_SING, order=Order.UP, count=1), m, random.Random(1))[0]
    assert read.pulse is not None
    assert (read.pulse.counts, read.pulse.beat) == (4, 1)
    assert question_text(BRITISH, read).endswith("You hear the first, and four beats. Then sing them.")
    sound = sound_of_question(read)
    assert sound is not None
    # The first note, a pause, and the count: nothing of the line itself, which is to be read.
    assert len(sound.samples) / sound.rate == pytest.approx(1.0 + BETWEEN_S + 4 * QUARTER_S, abs=0.01)
    heard = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, count=8), m, random.Random(1))
    assert heard
    for item in heard:
        assert item.group is not None
        assert item.group.notes[-1].pitch is not None  # silence at the end cannot be heard, so it is not asked for
        line = float(item.played[-1].onset_quarters + item.played[-1].quarters)  # a rest before it counts too
        sound = sound_of_question(item)
        assert sound is not None
        assert len(sound.samples) / sound.rate == pytest.approx(1.0 + BETWEEN_S + (4 + line) * QUARTER_S, abs=0.01)
    # Where all notes are quavers nothing is counted.
    assert make(Drill(QuestionKind.READ_AND_SING, count=1), ROW, random.Random(1))[0].pulse is None


def test_a_dictation_names_its_key_and_takes_it_written_or_not() -> None:
    m = find_stage(15).material  # one flat, three crotchets in a bar
    item = make(Drill(QuestionKind.WRITE_WHAT_YOU_HEAR, count=1), m, random.Random(2))[0]
    assert item.group is not None
    assert "The key has 1 flat." in question_text(BRITISH, item)
    assert to_ascii(item.group.before) == "<#C4"  # De Garmo: the flat, then three over four
    for text in (item.group.cells, item.group.with_key):
        assert judged(item, text).verdict is Verdict.RIGHT
    wrong_key = to_ascii(item.group.with_key).replace("<#C4", "%#C4")
    assert judged(item, f"ascii:{wrong_key}").verdict is Verdict.WRONG


def test_notes_are_sounded_inside_the_voice() -> None:
    from companion.lesson import shift_for

    m = material("heron", ("time", "words"))  # C4 to C5
    assert shift_for(m, None, None) == 0
    assert shift_for(m, 58, 74) == 0  # it fits as it stands
    for low, high in ((53, 67), (62, 76)):
        shift = shift_for(m, low, high)
        midis = [p.midi + shift for p in m.pitches]
        assert low <= min(midis)
        assert max(midis) <= high
