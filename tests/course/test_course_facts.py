"""Facts: their cells come from the tables of braille, and those agree with music21's; names and signs."""

import json
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from companion.braille import BraillePage, Meaning, MeaningKind, decode, encode, from_dots, to_ascii
from companion.braille import signs as S
from companion.course import PLAIN, SIGNS, FactKind, by_cells, fact, letter_of, material, mirrored, said_signs, stages
from companion.language import English, Variety, fact_name
from companion.language.braille import say_meaning
from companion.tune import STEPS, Key, Mark, Note, Pitch, load, shipped_names

ROOT = Path(__file__).resolve().parents[2]


def said_of(page: BraillePage) -> list[str]:
    """What the signs of a page say, in order."""
    return [say_meaning(English(), s.meaning) for s in decode(page.lines).said]


def test_notes_and_rests_equal_music21s_tables() -> None:
    # Source: music21.braille.lookup (De Garmo, Introduction to Braille Music Transcription, 2005).
    from music21.braille import lookup

    names = {"quaver": "eighth", "crotchet": "quarter", "minim": "half", "semibreve": "whole"}
    for step in STEPS:
        for british, english in names.items():
            assert fact(f"{step} {british}").cells == lookup.pitchNameToNotes[step][english]
    for british, english in names.items():
        rest = "full bar rest" if british == "semibreve" else f"{british} rest"
        assert fact(rest).cells == lookup.rests[english]


def test_signs_equal_music21s_tables() -> None:
    from music21.braille import lookup

    for octave, words in enumerate(S.OCTAVE_WORDS[1:8], 1):
        assert fact(words).cells == lookup.octaves[octave]
    for name in ("sharp", "flat", "natural"):
        assert fact(name).cells == lookup.accidentals[name]
    symbols = lookup.symbols
    assert fact("dot").cells == symbols["dot"]
    assert fact("tie").cells == symbols["tie"]
    assert fact("slur").cells == symbols["opening_single_slur"]
    assert fact("word sign").cells == symbols["word"]
    assert fact("final double bar").cells == lookup.barlines["final"]


def test_the_letter_trap() -> None:
    # Common practice of the teaching room, no source: the cell of a note is the letter after its name;
    # A and B go on after h, to i and j.
    for step in "CDEFG":
        assert letter_of(fact(step)) == chr(ord(step.lower()) + 1)
    assert (letter_of(fact("A")), letter_of(fact("B"))) == ("i", "j")
    assert "".join(letter_of(fact(s)) or "?" for s in STEPS) == "defghij"


def test_what_the_stages_say_of_shapes() -> None:
    # Stages 2 to 4: pairs that are each other's mirror; F minus one dot is G; which side has two dots.
    assert mirrored(fact("C").cells) == fact("E").cells
    assert mirrored(fact("D").cells) == fact("A").cells
    assert mirrored(fact("G").cells) == fact("B").cells
    assert set(S.dots_of(fact("F").cells)) - set(S.dots_of(fact("G").cells)) == {"4"}  # upper right
    assert len(set(S.dots_of(fact("C").cells)) & set("456")) == 2
    assert len(set(S.dots_of(fact("E").cells)) & set("123")) == 2
    # Stage 9: left is long. Stage 15: the tie ends as the slur. Stage 17: three signs begin with the flat's cell.
    assert S.ROW_DOTS[1] == "3"
    assert S.ROW_DOTS[2] == "6"
    assert fact("tie").cells.endswith(fact("slur").cells)
    assert len(fact("tie").cells) == 2
    for name in ("repeat from here", "repeat to here", "final double bar"):
        assert fact(name).cells[0] == fact("flat").cells
    # Stage 15: no note has the cell of the slur.
    assert fact("slur").cells not in S.NOTE_CELLS.values()
    # Stage 18: a semiquaver's cell is a semibreve's.
    assert all(fact(f"{s} semiquaver").cells == fact(f"{s} semibreve").cells for s in STEPS)


def test_what_stage_13_says_of_the_order_and_16_of_the_margin() -> None:
    # First the accidental, then the octave mark, then the note (MBC 2015); words at the margin, music from cell 3.
    bar = next(g for g in material("window-wind", ("key", "time")).groups if "sharp" in g.signs)
    assert bar.cells.startswith(fact("sharp").cells + fact("fourth octave").cells + fact("C minim").cells)
    lines = encode(load("echo-cave"), title=False).lines[1:]
    words, music = lines[0::2], lines[1::2]
    assert all(not line.startswith(S.SPACE) for line in words)
    assert all(line.startswith(S.SPACE * 2) and line[2] != S.SPACE for line in music)


def test_in_stage_17_a_note_after_a_repeat_or_an_ending_has_a_mark() -> None:
    page = encode(load("round-again"), title=False)
    said = said_of(page)
    for i, words in enumerate(said):
        if words in ("repeat from here",) or words.startswith("ending"):
            assert said[i + 1].endswith("octave")


def test_what_stage_5_says_of_lines_and_19_of_words() -> None:
    # The first note of every line has a mark, and so has the note after words and dynamics (MBC 2015, 3.2).
    for name in ("two-octaves-meet", "heron", "sleepy-harbour", "first-alone"):
        page = encode(load(name), width=20, title=False)
        marks = {(s.line, s.column) for s in decode(page.lines).said if s.meaning.sign and s.meaning.sign.name in S.OCTAVE_WORDS}
        for line in {k.line for k in page.links}:
            first = min((k for k in page.links if k.line == line), key=lambda k: k.column)
            assert any(at[0] == line and first.column <= at[1] < first.column + first.cells for at in marks)
    said = said_of(encode(load("sleepy-harbour"), title=False))
    for i, words in enumerate(said):
        if words.startswith(("words: ", "dynamic ", "louder from")):
            after = next(w for w in said[i + 1:] if not w.startswith(("words: ", "dynamic ", "louder", "space")))
            assert after.endswith("octave"), (words, after)


def test_every_sign_has_a_fact_or_is_built() -> None:
    for sign in SIGNS:
        if sign in PLAIN:
            assert fact(sign).cells == PLAIN[sign]
    assert fact("C").signs == {"C", "quaver"}
    assert fact("E dotted minim").signs == {"E", "minim", "dot"}
    assert fact("E dotted minim").cells == from_dots("1234-3")
    assert fact("time 3 4").cells == from_dots("3456-14-256")  # #c and a lowered 4
    assert fact("4 flats").cells == from_dots("3456-145-126")
    assert to_ascii(fact("ending 2").cells) == "#2"
    with pytest.raises(KeyError):
        fact("H")


def test_what_a_page_says_is_made_of_signs() -> None:
    sharp = Note(pitch=Pitch("C", 4, 1), base=Fraction(1), dots=1)
    assert said_signs(Meaning(MeaningKind.NOTE, note=sharp)) == {"C", "crotchet", "dot"}
    assert said_signs(Meaning(MeaningKind.NOTE, note=Note(pitch=None, base=Fraction(2)))) == {"minim rest"}
    assert said_signs(Meaning(MeaningKind.KEY, key=Key(-2))) == {"key signature", "flat"}
    assert said_signs(Meaning(MeaningKind.WORDS, text="calm")) == {"word sign"}
    # What the course does not teach stands for itself and is never taken for something taught.
    assert not said_signs(Meaning(MeaningKind.SIGN, Mark.TRILL.sign)) & set(SIGNS)


def test_every_sign_of_every_shipped_tune_is_known_by_name() -> None:
    for name in shipped_names():
        for said in decode(encode(load(name)).lines).said:
            if said.meaning.kind is not MeaningKind.METRONOME:
                assert said_signs(said.meaning) <= set(SIGNS), (name, said.meaning)


def test_cells_are_told_back() -> None:
    assert by_cells(from_dots("145"))[0].name == "C"
    assert by_cells(from_dots("13456"))[0].name == "C semibreve"
    assert [f.name for f in by_cells(from_dots("13456"), frozenset({"C", "semiquaver"}))] == ["C semiquaver"]
    assert by_cells(from_dots("5-145"))[0].name == "C, fourth octave"
    assert by_cells(from_dots("456-12")) == ()
    for stage in stages():
        for drill in stage.drills:
            for name in drill.facts:
                told = [f.name for f in by_cells(fact(name).cells)]
                assert told or fact(name).kind == "time" or name.startswith("dynamic"), name


@pytest.mark.parametrize(("name", "american"), [
    ("C", "C"), ("C crotchet", "C quarter note"), ("C dotted minim", "C dotted half note"),
    ("B, third octave", "B, third octave"), ("quaver rest", "eighth note rest"), ("1 sharp", "1 sharp"),
    ("2 flats", "2 flats"), ("time 3 4", "time 3 4"),
    ("fourth octave", "fourth octave"), ("double flat", "double flat"), ("ending 1", "ending 1"), ("dynamic mf", "dynamic mf"),
    ("full bar rest", "full measure rest"), ("final double bar", "final double bar"), ("bar line", "bar line"),
    ("bar repeated", "measure repeated"), ("getting louder", "getting louder"),
])
def test_a_fact_is_said_by_the_language(name: str, american: str) -> None:
    assert fact_name(English(), fact(name)) == name
    assert fact_name(English(Variety.AMERICAN), fact(name)) == american


def test_every_plain_sign_has_a_name_in_words() -> None:
    for name in PLAIN:
        assert fact_name(English(), fact(name)) == name
        assert fact(name).kind in (FactKind.SIGN, FactKind.OCTAVE, FactKind.ACCIDENTAL)


@pytest.mark.parametrize(("count", "sittings"), [pytest.param(2, 1, marks=pytest.mark.slow),
                                                 pytest.param(20, 5, marks=pytest.mark.overnight)])
def test_new_bars_of_every_stage_equal_what_music21_writes(count: int, sittings: int) -> None:
    """The benchmark's figures, on fewer bars: facts, bars and questions against music21.braille."""
    done = subprocess.run([sys.executable, "tests/benchmarks/course_facts.py", "--bars", str(count), "--sittings", str(sittings)],
                          cwd=ROOT, capture_output=True, text=True, check=True)
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["facts"]["same"] == found["facts"]["compared"] >= 140
    assert found["bars"]["same"] == found["bars"]["bars"] > 20 * count
    asked = found["questions"]
    assert asked["right"] == asked["only_what_was_taught"] == asked["made"] > 400 * sittings
    assert found["sheets"]["problems"] == 0
