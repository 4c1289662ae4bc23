"""Chord symbols: read from a score, in a line of their own below the music, read back. MBC 2015, section 23, from memory: a
capital letter, its accidental as in music, letters, figures in upper cells; a bass note after dots 3 4; the first cell below
that of the note."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from braille.made import note, rest, to_brf, tune

from companion.braille import (
    Habits,
    MeaningKind,
    chord_cells,
    decode,
    encode,
    from_brf,
    read_chord,
    to_ascii,
    to_dots,
)
from companion.command import main
from companion.errors import Trouble
from companion.paper import song_page
from companion.tune import ChordKind, ChordNote, ChordSymbol, Syllable, Tune, load, save, transpose

WITH = Habits(chords=True)
C, F, G7 = (ChordSymbol(ChordNote(letter), kind) for letter, kind in (
    ("C", ChordKind.MAJOR), ("F", ChordKind.MAJOR), ("G", ChordKind.DOMINANT)))


def chords(made: Tune) -> list[tuple[int, int, list[str]]]:
    return [(b, n, [c.name for c in one.chords]) for b, n, one in made.written() if one.chords]


SCORE = """<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>V</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4
</beats><beat-type>4</beat-type></time></attributes>{one}<note><pitch><step>C</step><octave>4</octave></pitch><duration>2
</duration><type>half</type></note>{two}<note><pitch><step>D</step><octave>4</octave></pitch><duration>2</duration><type>half
</type></note></measure></part></score-partwise>"""
HARMONY = "<harmony><root><root-step>{}</root-step>{}</root><kind>{}</kind>{}</harmony>"


def score(tmp_path: Path, one: str, two: str = "") -> Path:
    path = tmp_path / "score.musicxml"
    path.write_text(SCORE.format(one=one, two=two), encoding="utf-8")
    return path


@pytest.mark.parametrize(("root", "alter", "kind", "bass", "name", "dots"), [
    ("C", 0, "major", "", "C", "6-14"), ("F", 1, "minor", "", "F#m", "6-124-146-134"),
    ("B", -1, "dominant", "", "Bb7", "6-12-126-3456-1245"), ("A", 0, "minor-seventh", "", "Am7", "6-1-134-3456-1245"),
    ("E", -1, "major-seventh", "", "Ebmaj7", "6-15-126-134-1-245-3456-1245"),
    ("B", 0, "diminished", "", "Bdim", "6-12-145-24-134"),
    ("D", 0, "suspended-fourth", "", "Dsus4", "6-145-234-136-234-3456-145"),
    ("G", 0, "major-sixth", "", "G6", "6-1245-3456-124"), ("C", 0, "augmented", "", "Caug", "6-14-1-136-1245"),
    ("C", 0, "major", "E", "C/E", "6-14-34-6-15"),
])
def test_a_symbol_of_a_score_in_cells_and_back(tmp_path: Path, root: str, alter: int, kind: str, bass: str, name: str,
                                               dots: str) -> None:
    text = HARMONY.format(root, f"<root-alter>{alter}</root-alter>" if alter else "", kind,
                          f"<bass><bass-step>{bass}</bass-step></bass>" if bass else "")
    read = load(score(tmp_path, text))
    assert chords(read) == [(0, 0, [name])]
    chord = read.bars[0].notes[0].chords[0]
    cells = chord_cells(chord, 1)
    assert to_dots(cells) == dots
    assert read_chord(cells) == chord
    save(read, tmp_path / "again.musicxml")
    assert load(tmp_path / "again.musicxml").bars[0].notes == read.bars[0].notes


def test_what_has_no_sign_here_is_refused_in_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = HARMONY.format("G", "", "half-diminished", "")
    path = score(tmp_path, text)
    assert main(["braille", str(path)]) == 0  # without the option nothing hinders
    assert main(["braille", str(path), "--chords"]) == 2
    said = capsys.readouterr().err
    assert "Bar 1 has the chord symbol G" in said
    assert "leave --chords out" in said
    plain = score(tmp_path, "")
    assert main(["braille", str(plain), "--chords"]) == 2
    assert "has no chord symbols" in capsys.readouterr().err


def test_each_symbol_stands_below_its_note() -> None:
    """Where they would run into each other a music hyphen and spaces make room; a bar ends later where its last one is long."""
    made = tune((note("C4", chords=(C,)), note("D4"), note("E4", chords=(G7,)), note("F4", chords=(C,))),
                (note("G4", chords=(F,)), rest(), note("E4", 2)), (rest(4, whole_bar=True, chords=(C,)),))
    page = encode(made, habits=WITH)
    assert [to_ascii(line) for line in page.lines[1:]] == ['"?:$"   ]  \\VP M', ",C ,G#G ,C ,F  ,C"]
    _music, below = page.lines[-2:]
    symbols = [column for column in range(len(below)) if below[column] == "⠠"]
    starts = [link.column - 1 for link in page.links]
    assert set(symbols[:-1]) <= set(starts)
    for width in (40, 20):
        back = decode(from_brf(to_brf(encode(made, width=width, habits=WITH))))
        assert back.problems == () == back.hints
        assert chords(back.tune) == chords(made) == [(0, 0, ["C"]), (0, 2, ["G7"]), (0, 3, ["C"]), (1, 0, ["F"]), (2, 0, ["C"])]
        assert [b.notes for b in transpose(back.tune, 0).bars] == [b.notes for b in back.tune.bars]


def test_chords_below_a_song() -> None:
    """Words, music, chords: a parallel of three lines; a chord that comes while a note lasts stays in its place."""
    words = [(Syllable("hill", "single"),), (Syllable("so", "single"),), (), ()]
    row = tuple(note(name, syllables=said, chords=has) for name, said, has in zip(
        ("C4", "E4", "G4", "C5"), words, ((C, G7), (), (F,), ()), strict=True))
    made = tune(row, row, row, row, row, row)
    page = encode(made, width=28, habits=WITH)
    below = list(page.chord_lines)
    assert all(read_chord(group) for k in below for group in page.lines[k].split("⠀") if group)
    assert len(below) == len(page.parallels) - 1
    assert all(k + 1 in page.parallels for k in below)
    reading = decode(page.lines)
    assert reading.problems == ()
    assert chords(reading.tune) == chords(made)
    assert [s.meaning.text for s in reading.said if s.meaning.kind is MeaningKind.CHORD][:3] == ["C", "G7", "F"]
    # The same with the number of each line's first bar.
    numbered = song_page(lambda width, title=True: encode(made, width=width, title=title, habits=WITH), 40, bar_numbers=True)
    assert chords(decode(numbered.lines).tune) == chords(made)
    assert [numbered.lines[k].strip("⠀") for k in numbered.chord_lines] == [
        line for line in (line.strip("⠀") for line in numbered.lines) if line.startswith("⠠⠉⠀⠠⠛⠼⠛")] != []


def test_chords_move_with_the_tune() -> None:
    made = tune((note("C4", chords=(C, ChordSymbol(ChordNote("E"), ChordKind.MINOR, ChordNote("G")))), note("D4", 2), note("E4")))
    assert chords(transpose(made, 3)) == [(0, 0, ["Eb", "Gm/Bb"])]
    assert chords(transpose(made, -1)) == [(0, 0, ["B", "D#m/F#"])]


def test_letters_of_songs_are_no_chords() -> None:
    """A line of words that are letters of chords, and a title of one, stay words."""
    made = tune((note("C4", 4, syllables=(Syllable("A"),)),), (note("D4", 4, syllables=(Syllable("B"),)),), title="C")
    back = decode(encode(made, width=12).lines).tune
    assert back.title == "C"
    assert [n.syllables[0].text for _b, _n, n in back.written() if n.syllables and n.syllables[0]] == ["A", "B"]
    assert chords(back) == []


def test_no_room_is_said() -> None:
    many = (replace(G7, bass=ChordNote("B")),) * 4
    with pytest.raises(Trouble, match="no room for the chord symbols"):
        encode(tune((note("C4", 4, chords=many),)), width=20, habits=WITH)


def test_options_that_do_not_go_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = score(tmp_path, HARMONY.format("C", "", "major", ""), HARMONY.format("G", "", "dominant", ""))
    for more, said in ((["--together", "lines"], "one part alone"), (["--pitch-only"], "pitches alone")):
        assert main(["braille", str(path), "--chords", *more]) == 2
        assert said in capsys.readouterr().err
    assert main(["braille", str(path), "--chords", "--json"]) == 0
    assert [to_ascii(line).strip() for line in json.loads(capsys.readouterr().out)["lines"]][-2:] == ['"N" O', ",C  ,G#G"]
