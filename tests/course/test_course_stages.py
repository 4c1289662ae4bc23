"""The stages as data: complete, in order, nothing asked before it was taught, plain to read."""

import random
import re
from dataclasses import replace
from pathlib import Path

import pytest
from course_pupil import AMERICAN, BRITISH, said

from companion.course import (
    FOLDER,
    MOST_WORDS,
    SIGNS,
    QuestionKind,
    Wants,
    fact,
    find_stage,
    make,
    read_stage,
    stages,
    taught,
    untaught,
    used_signs,
)
from companion.errors import Trouble
from companion.language import evidence_line, question_text, right_answer, stage_lines, stage_text
from companion.tune import shipped_names

STAGES = stages()
#: Words of the trade that a newcomer cannot know; each must be explained by a stage before it is used.
TRADE = ("note", "tune", "glide", "cell", "octave", "octave mark", "move", "beat", "bar", "double bar", "quaver",
         "crotchet", "minim", "semibreve", "rest", "dotted", "step", "skip", "leap", "sharp", "flat", "natural",
         "score", "key signature", "time signature", "number sign", "tie", "slur", "syllable", "repeat", "ending",
         "bar repeat", "semiquaver", "group", "word sign", "fermata", "breath mark", "note names", "six-eight", "segno",
         "da capo", "dal segno", "fine", "triplet", "phrase", "long slur", "verse", "two parts", "upper and lower", "interval",
         "third, fifth, octave", "in-accord", "slate", "brailler", "from the back", "transpose")
#: Trade words that no stage may use at all: they are never explained.
NEVER = ("pitch", "scale", "tonic", "dominant", "stave", "staff", "clef", "metre", "meter", "tempo",
         "melody", "melisma", "accidental", "legato", "chord", "harmony", "semitone", "diatonic")
#: Everyday words that look like trade words, by the stages that use them in their everyday sense.
EVERYDAY = {"group": {"bars"}, "rest": {"higher-lower-same"}, "move": {"whole-row"},
            "step": {"crotchets", "minims-semibreves", "dots"}}


def texts(stage) -> list[str]:  # type: ignore[no-untyped-def]
    """Its texts as they are said."""
    raw = [stage.aim, *stage.need, *stage.adult, *stage.pupil, *(t.means for t in stage.terms),
           *(x for t in stage.troubles for x in (t.sign, t.do))]
    return [stage_text(BRITISH, text) for text in raw]


def sentences(text: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.!?])\s+", text) if s.strip()]


def test_there_are_enough_and_their_numbers_follow() -> None:
    assert len(STAGES) >= 18
    assert [s.number for s in STAGES] == list(range(1, len(STAGES) + 1))
    assert len({s.name for s in STAGES}) == len(STAGES)


def test_the_order_of_the_issue() -> None:
    order = ["higher-lower-same", "c-d-e", "f-g", "whole-row", "octave-marks", "first-tune", "bars", "crotchets",
             "minims-semibreves", "rests", "dots", "skips-leaps", "accidentals", "signatures", "ties-slurs",
             "words", "repeats", "quick-notes", "expression", "alone", "six-eight", "routes", "triplets",
             "long-slurs-verses", "two-parts", "page-from-elsewhere", "another-writer", "slate-brailler", "another-key"]
    assert [s.name for s in STAGES] == order


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_each_stage_is_complete(stage) -> None:  # type: ignore[no-untyped-def]
    adult = [stage_text(BRITISH, text) for text in stage.adult]
    assert len(sentences(stage.aim)) == 1
    assert len(adult) == 5
    assert all(len(sentences(t)) == 1 for t in adult)
    assert sum(len(t.split()) for t in adult) <= MOST_WORDS
    assert stage.pupil
    assert stage.drills
    assert stage.known
    assert stage.troubles
    assert stage.tune in shipped_names()
    assert set(stage.introduces) <= set(SIGNS)
    for drill in stage.drills:
        assert drill.kind in set(QuestionKind)
        items = make(drill, stage.material, random.Random(3))
        assert items, (stage.name, drill.kind)
    for evidence in stage.known:
        assert any(d.way == evidence.way for d in stage.drills)


def test_nothing_is_asked_before_it_was_taught() -> None:
    assert untaught(STAGES) == []


def test_that_check_would_see_what_was_not_taught() -> None:
    shifted = tuple(s for s in STAGES if s.name != "dots")
    assert any(amiss.sign == "dot" for amiss in untaught(shifted))


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_every_question_keeps_to_what_was_taught(stage) -> None:  # type: ignore[no-untyped-def]
    known = taught(stage.number)
    for seed in range(3):
        for drill in stage.drills:
            for item in make(drill, stage.material, random.Random(seed)):
                if item.cells or item.wants is Wants.CELLS or item.choices:
                    assert item.signs <= known, (item.kind, item.signs - known)
                assert fact(item.answer).signs <= known if item.wants is Wants.NAME else True


#: Signs that have no cell to be named: how they are told instead.
TOLD_AS = {"bar line": "empty space"}


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_what_a_stage_asks_for_is_told_in_what_a_sitting_reads_out(stage) -> None:  # type: ignore[no-untyped-def]
    """Nothing is asked that only a sheet told: each sign that a stage brings is in its own text, by its cell or its name."""
    spoken = (*stage.adult, *stage.pupil, *(t.means for t in stage.terms))
    told: set[str] = set()
    for text in spoken:
        for name in re.findall(r"\{(?!added )(?:letter )?([^{}]+)\}", text):
            told |= {*fact(name).signs, name}
    words = " ".join(spoken).lower()
    for sign in stage.introduces:
        assert sign in told or re.search(rf"\b{re.escape(TOLD_AS.get(sign, sign)).lower()}s?\b", words), sign


def test_each_sign_is_introduced_once_and_used_where_it_is_introduced() -> None:
    seen: set[str] = set()
    for stage in STAGES:
        assert not seen & set(stage.introduces), stage.name
        seen |= set(stage.introduces)
        used = frozenset().union(*(use.signs for use in used_signs(stage)))
        drilled = {s for d in stage.drills for n in d.facts for s in fact(n).signs}
        missing = set(stage.introduces) - used - drilled
        assert missing <= {"quaver"}, (stage.name, missing)


def test_the_unseen_tune_is_met_nowhere_before() -> None:
    unseen = [s for s in STAGES if s.unseen]
    assert [s.number for s in unseen] == [20, 27]
    for one in unseen:
        assert all(s.tune != one.tune for s in STAGES if s is not one)
        assert all(one.material.tune.title not in t for s in STAGES if s is not one for t in texts(s))


def test_no_stage_states_a_cell_by_itself() -> None:
    # Every dot number comes from the tables through {...}; numbers 1 to 6 in a row would be a stated cell.
    for path in FOLDER.glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        for line in text.splitlines():
            if line.startswith("facts"):
                continue
            line = re.sub(r"\{[^}]*\}", "", line)
            assert not re.search(r"\bdots? [1-6]|\b[1-6](?: [1-6])+\b(?!,? and)", line), (path.name, line)


def test_sentences_are_short() -> None:
    said = [s for stage in STAGES for t in texts(stage) for s in sentences(t)]
    lengths = [len(s.split()) for s in said]
    assert sum(lengths) / len(lengths) < 14
    for stage in STAGES:
        mine = [len(s.split()) for t in texts(stage) for s in sentences(t)]
        assert sum(mine) / len(mine) < 14, stage.name


def test_every_term_is_explained_where_it_is_first_used() -> None:
    explained = {t.word: stage.number for stage in STAGES for t in stage.terms}
    assert set(TRADE) == set(explained), set(TRADE) ^ set(explained)
    for stage in STAGES:
        for text in texts(stage):
            bare = text.lower()
            for never in NEVER:
                assert not re.search(rf"\b{never}s?\b", bare), (stage.name, text)
            for word, number in sorted(explained.items(), key=lambda pair: -len(pair[0])):
                if re.search(rf"\b{word}s?\b", bare) and number > stage.number:
                    assert stage.name in EVERYDAY.get(word, ()), (stage.name, word, text)
                bare = re.sub(rf"\b{word}s?\b", " ", bare)


def untaught_words(text: str, number: float) -> list[str]:
    """Words of the trade in a text that only a later stage explains."""
    explained = {t.word: stage.number for stage in STAGES for t in stage.terms}
    bare, out = text.lower(), []
    for word, at in sorted(explained.items(), key=lambda pair: -len(pair[0])):
        if re.search(rf"\b{word}s?\b", bare) and at > number:
            out.append(word)
        bare = re.sub(rf"\b{word}s?\b", " ", bare)
    return out


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_questions_and_answers_use_no_word_that_was_not_explained(stage) -> None:  # type: ignore[no-untyped-def]
    rng = random.Random(stage.number)
    known = taught(stage.number)
    lengths: list[int] = []
    for drill in stage.drills:
        for item in make(drill, stage.material, rng)[:4]:
            item = replace(item, known=known)
            heard = [question_text(BRITISH, item), right_answer(BRITISH, item)]
            if item.wants not in (Wants.SUNG, Wants.CLAPPED):
                heard += [said(item, item.answer), said(item, "-"), said(item, "what?")]
            if item.wants is Wants.CELLS:
                for _ in range(25):
                    cells = "".join(chr(0x2800 + rng.randrange(1, 64)) for _ in range(max(1, len(item.answer) +
                                                                                         rng.choice([-1, 0, 0, 1]))))
                    heard.append(said(item, cells))
            if item.wants is Wants.NAME:
                heard += [said(item, s) for s in "CDE"]
            for text in heard:
                assert not untaught_words(text, stage.number), (stage.name, text)
                lengths += [len(s.split()) for s in sentences(text)]
    assert sum(lengths) / len(lengths) < 14, stage.name


def test_the_letter_trap_is_met_where_notes_begin() -> None:
    stage = find_stage("c-d-e")
    assert any("letter trap" in t.sign.lower() for t in stage.troubles)
    assert any("letter d" in stage_text(BRITISH, t) for t in stage.adult)


def test_nobody_is_scolded_flattered_or_joked_with() -> None:
    for stage in STAGES:
        for text in texts(stage):
            assert not re.search(r"\b(bad|stupid|lazy|clever|brilliant|genius|amazing|silly)\b", text, re.I)
            assert "!" not in text, text


def test_a_stage_is_found_by_number_or_name() -> None:
    assert find_stage(4).name == "whole-row" == find_stage("whole-row").name == find_stage("4").name
    with pytest.raises(Trouble, match="no stage 99"):
        find_stage(99)


def test_places_are_filled_from_the_tables() -> None:
    # The cells of C, and of C as a crotchet, are those of music21's tables (see test_course_facts).
    text = "C is {C}, {C crotchet} or {C, fourth octave}; letter {letter C}; add {added crotchet}, {added semibreve}."
    assert stage_text(BRITISH, text) == ("C is dots 1 4 5, dots 1 4 5 6 or dot 5, then 1 4 5; letter d; add dot 6, "
                                         "dots 3 and 6.")
    for wrong in ("{X}", "{letter sharp and flat}", "{added note}"):
        with pytest.raises((KeyError, ValueError)):
            stage_text(BRITISH, wrong)


def test_a_whole_stage_in_american_names() -> None:
    british, american = (stage_lines(language, find_stage("crotchets")) for language in (BRITISH, AMERICAN))
    assert american[0] == "Stage 8: Quarter notes."
    assert "Quarter note: a note of one beat." in american
    assert len(american) == len(british)
    for stage in STAGES:
        lines = " ".join(stage_lines(AMERICAN, stage))
        # "double bar", "bar line" and a braille "space bar" keep their name.
        assert not re.search(r"crotchet|quaver|minim|semibreve|\bbars?\b(?! line)(?<!double bar)", lines, re.I), stage.name


# --- stages of an adult's own ---

OWN = '''number = 4.5
name = "own"
title = "Our own"
aim = "The pupil sings our tune."
introduces = []
tune = "whole-row"
leave_out = ["values", "octave marks", "bars"]
adult = ["One sentence."]
pupil = ["Sing."]

[[drill]]
kind = "name the cell"
facts = ["C", "B"]

[[known]]
way = "cell to name"
right = 3
of = 4

[[trouble]]
sign = "It goes astray."
do = "Try again."
'''


def test_an_own_stage_slips_in_between(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    together = stages(tmp_path)
    assert [s.number for s in together][3:6] == [4, 4.5, 5]
    evidence = find_stage("own", together).known[0]
    assert evidence_line(BRITISH, evidence) == "Reads a cell and names it: three of the last four right."


@pytest.mark.parametrize(("old", "new", "line", "say"), [
    ('title = "Our own"\n', "", 1, "lacks title"),
    ("number = 4.5", "number = ", 1, "not the form"),
    ('tune = "whole-row"', 'tune = "no-such"', 6, "no tune 'no-such'"),
    ('kind = "name the cell"', 'kind = "nme the cell"', 12, "no drill"),
    ('facts = ["C", "B"]', 'facts = ["C", "H"]', 13, "'H' names no note"),
    ("right = 3", "right = 5", 17, "right and days"),
    ("right = 3", 'right = "3"', 17, "a whole number"),
    ('way = "cell to name"', 'way = "name to cell"', 16, "could never be shown"),
    ('adult = ["One sentence."]', 'adult = ["' + "word " * 121 + '."]', 8, "120 at most"),
    ("introduces = []", 'introduces = ["squiggle"]', 5, "no sign"),
    ('pupil = ["Sing."]', 'pupil = ["Sing {X}."]', 9, "names no note or sign"),
    ('leave_out = ["values", ', 'leave_out = ["colour", ', 7, "cannot be left out"),
    ('do = "Try again."\n', "", 20, "lacks do"),
    ("introduces = []", "introduces = []\ncolour = 1", 6, "not part of a stage"),
])
def test_a_mistake_is_answered_with_file_line_and_a_sentence(tmp_path: Path, old: str, new: str, line: int,
                                                             say: str) -> None:
    path = tmp_path / "own.toml"
    assert old in OWN
    path.write_text(OWN.replace(old, new), encoding="utf-8")
    with pytest.raises(Trouble) as trouble:
        read_stage(path)
    assert str(trouble.value).startswith(f"{path}, line {line}:"), str(trouble.value)
    assert say in str(trouble.value)


def test_an_own_stage_may_not_ask_for_what_was_not_taught(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN.replace('"bars"]', '"time", "words"]').replace('["values", "octave marks", ', "["),
                    encoding="utf-8")
    with pytest.raises(Trouble, match=r"own.toml, line 5: the tune needs 'bar line'"):
        stages(tmp_path)
