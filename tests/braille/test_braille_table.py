"""One row a sign: what is in the tables is written, read, kept in MusicXML, spoken and taught by the same row."""

import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import companion
from companion.braille import MeaningKind, ProblemCode, Role, decode, encode, signs
from companion.braille.units import BARS, HEAD, TAIL, unit
from companion.language import English
from companion.language.braille import say_meaning, say_sign
from companion.tune import (
    ACCIDENTALS,
    Bar,
    Barline,
    DirectionKind,
    Display,
    Jump,
    Key,
    Mark,
    Note,
    Pitch,
    ScoreDirection,
    Stands,
    Time,
    Tune,
    load,
    save,
)

C = Note(pitch=Pitch("C", 4), base=Fraction(1))
FOUR = Time((4,), 4)
SOURCES = ("De Garmo", "MBC 2015", "New International Manual", "MusicXML alone", "music21.braille.lookup", "from memory")


def tune(*notes: Note, barline: Barline = Barline.PLAIN, after: tuple[ScoreDirection, ...] = ()) -> Tune:
    return Tune(title="", bars=(Bar(number=1, notes=notes, key=Key(), time=FOUR, barline=barline, after=after),
                                Bar(number=2, notes=(replace(C, base=Fraction(4)),))))


def through_musicxml(made: Tune, folder: Path) -> Tune:
    save(made, folder / "a.musicxml")
    return load(folder / "a.musicxml")


def said(made: Tune) -> list[str]:
    return [say_meaning(English(), s.meaning) for s in decode(encode(made).lines).said]


@pytest.mark.parametrize("mark", Mark)
def test_every_mark_goes_through_braille_and_musicxml_and_is_spoken(mark: Mark, tmp_path: Path) -> None:
    made = tune(replace(C, marks=(mark,)), C, C, C)
    cells = encode(made).lines[-1]
    assert mark.sign.cells in cells
    assert decode([cells]).tune.bars[0].notes[0].marks == (mark,)
    assert through_musicxml(made, tmp_path).bars[0].notes[0].marks == (mark,)
    assert mark.sign.name in said(made)


@pytest.mark.parametrize("mark", [m for m in Mark if m.sign.stands is Stands.AFTER])
@pytest.mark.parametrize("whole", [False, True])
def test_a_rest_keeps_what_stands_after_it(mark: Mark, whole: bool, tmp_path: Path) -> None:
    rest = Note(pitch=None, base=Fraction(4) if whole else Fraction(1), whole_bar=whole, marks=(mark,))
    made = tune(rest) if whole else tune(rest, C, C, C)
    assert decode(encode(made).lines).tune.bars[0].notes[0].marks == (mark,)
    assert through_musicxml(made, tmp_path).bars[0].notes[0].marks == (mark,)


@pytest.mark.parametrize("line", Barline)
def test_every_bar_line_goes_through_braille_and_musicxml(line: Barline, tmp_path: Path) -> None:
    made = tune(C, C, C, C, barline=line)
    assert through_musicxml(made, tmp_path).bars[0].barline is line
    read = decode(encode(made).lines)
    # A bar without a line has no sign of its own: the space that parts bars stands there.
    assert read.tune.bars[0].barline is (Barline.PLAIN if line is Barline.NONE else line)
    assert read.problems == ()
    assert line in (Barline.PLAIN, Barline.NONE) or line.sign.name in said(made)


@pytest.mark.parametrize("jump", Jump)
def test_every_jump_goes_through_braille_and_musicxml(jump: Jump, tmp_path: Path) -> None:
    where = ScoreDirection(DirectionKind.JUMP, jump.value)
    made = tune(replace(C, before=(where,)), C, C, C) if jump.sign else tune(C, C, C, C, after=(where,))
    for read in (decode(encode(made).lines).tune, through_musicxml(made, tmp_path)):
        bar = read.bars[0]
        assert (bar.notes[0].before if jump.sign else bar.after) == (where,)


@pytest.mark.parametrize("alter", ACCIDENTALS)
def test_every_accidental_goes_through_braille_and_musicxml(alter: int, tmp_path: Path) -> None:
    note = replace(C, pitch=Pitch("C", 4, alter), accidental=Display.NEEDED if alter else Display.SHOWN)
    made = tune(note, C if alter else replace(C, pitch=Pitch("D", 4)), C, C)
    assert ACCIDENTALS[alter].name in said(made)
    for read in (decode(encode(made).lines).tune, through_musicxml(made, tmp_path)):
        assert read.bars[0].notes[0].pitch == note.pitch
    editorial = tune(replace(note, accidental=Display.EDITORIAL), C, C, C)
    for read in (decode(encode(editorial).lines).tune, through_musicxml(editorial, tmp_path)):
        assert read.bars[0].notes[0].accidental is Display.EDITORIAL


def test_every_sign_that_stands_at_a_note_or_bar_is_read_as_itself() -> None:
    """A row whose role the reader does nothing with raises KeyError here: no row is passed over in silence."""
    for cells, entry in HEAD.items():
        read = unit(cells + "⠹")
        assert not read.unknown, entry
        assert not any(slip.code is ProblemCode.UNKNOWN_SIGN for _, slip in read.problems)
        assert [m.sign for _, _, m in read.said if m.kind is MeaningKind.SIGN] == [entry.sign]
        changed = [name for name in read.__slots__ if name not in ("said", "core", "code", "plain", "lead", "reset")
                   and getattr(read, name) != getattr(unit("⠹"), name)]
        assert changed, entry
    for cells, entry in (TAIL | BARS).items():
        read = unit("⠹" + cells)
        assert not read.unknown, entry
        assert entry.role is Role.DOT or [m.sign for _, _, m in read.said] == [entry.sign]
        assert entry.role in (Role.DOT, Role.SECOND_VOICE) or read.plain is (entry.role is Role.TIE)


def test_rows_are_whole_and_stand_once() -> None:
    rows = [entry.sign for entry in signs.TABLE]
    assert max(Counter(row.name for row in rows).values()) == 1
    for row in rows:
        assert row.name
        assert row.source.startswith(SOURCES), row
        assert say_sign(English(), row) == row.name
        assert (row.rank > 0) is (row.stands in (Stands.BEFORE, Stands.AFTER, Stands.EITHER)), row
    for places in ((Stands.BEFORE, Stands.EITHER), (Stands.AFTER, Stands.EITHER), (Stands.BAR,)):
        cells = [row.cells for row in rows if row.stands in places and row.dots != "0"]
        assert len(set(cells)) == len(cells)
    assert all(mark.sign.musicxml for mark in Mark)


def test_marks_stand_in_order_of_rank() -> None:
    """De Garmo, chapter 14: the ornament first, then staccato, then the other marks; after the note the fermata comes
    before the breath."""
    marks = (Mark.BREATH, Mark.TENUTO, Mark.FERMATA, Mark.ACCENT, Mark.STACCATO, Mark.TRILL)
    cells = encode(tune(replace(C, marks=marks), C, C, C)).lines[-1].split(signs.SPACE)[0]
    order = sorted(marks, key=lambda m: (m.sign.stands is Stands.AFTER, m.sign.rank))
    assert [m.value for m in order] == ["trill", "staccato", "accent", "tenuto", "fermata", "breath"]
    assert cells.startswith("".join(m.sign.cells for m in order[:4]) + "⠐⠹" + "".join(m.sign.cells for m in order[4:]))


#: Rows that are in no table: one before a note, one after it.
NEW_ROWS = {
    # music21.braille.lookup.bowingSymbols has these cells; MusicXML 4.0, element down-bow.
    "down bow": '    DOWN_BOW = Sign("down bow", "126-12", _BEFORE, 530, "music21.braille.lookup", ("technical/down-bow",))\n',
    # MusicXML 4.0, element caesura; the cells are from memory.
    "caesura": '    CAESURA = Sign("caesura", "6-34", _AFTER, 510, "from memory", ("articulations/caesura",))\n',
}
SCORE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>V</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>1</beats><beat-type>4</beat-type></time>
</attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration><type>quarter</type>
<notations><{group}><{element}/></{group}></notations></note></measure></part></score-partwise>"""
TRIAL = """
import json, sys
from companion.braille import decode, encode
from companion.course import fact
from companion.language import English
from companion.language.braille import reading_lines, say_meaning
from companion.tune import load, save
score, name = sys.argv[1:]
tune = load(score)
page = encode(tune, title=False)
read = decode(page.lines)
save(read.tune, score + ".out.musicxml")
again = load(score + ".out.musicxml")
print(json.dumps({"cells": page.lines[-1], "problems": len(read.problems),
    "marks": [[m.value for m in t.bars[0].notes[0].marks] for t in (tune, read.tune, again)],
    "said": [say_meaning(English(), s.meaning) for s in read.said], "fact": fact(name).cells}))
"""


@pytest.mark.parametrize("name", NEW_ROWS)
def test_a_new_sign_is_one_row(name: str, tmp_path: Path) -> None:
    """One line more in one file, and the sign goes from MusicXML to braille and back to MusicXML, is spoken, and is a
    fact of the course."""
    package = tmp_path / "companion"
    shutil.copytree(Path(companion.__file__).parent, package, ignore=shutil.ignore_patterns("__pycache__", "shipped"))
    table = package / "tune" / "signs.py"
    text = table.read_text(encoding="utf-8")
    last = next(line for line in text.splitlines(keepends=True) if line.startswith("    BREATH = "))
    table.write_text(text.replace(last, last + NEW_ROWS[name]), encoding="utf-8")
    sign = [part.strip() for part in NEW_ROWS[name].split('"')]
    group, element = sign[7].split("/")
    score = tmp_path / "score.musicxml"
    score.write_text(SCORE.format(group=group, element=element), encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", TRIAL, str(score), name], capture_output=True, text=True, check=False,
                          cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(tmp_path)})
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["marks"] == [[name]] * 3
    cells = "".join(chr(0x2800 + sum(1 << int(d) - 1 for d in group)) for group in sign[3].split("-"))
    assert cells in found["cells"]
    assert found["problems"] == 0
    assert name in found["said"]
    assert found["fact"] == cells
