"""Reading and writing tunes, held against music21; and every kind of broken file answered in a sentence."""

import io
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from companion.errors import Trouble
from companion.tune import load, save, shipped_names, transpose
from companion.tune.catalogue import catalogue, describe
from companion.tune.musicxml import to_musicxml

NAMES = shipped_names()


def written(tune):  # type: ignore[no-untyped-def]
    return [(b.number, b.key, b.time, b.forward_repeat, b.backward_repeat, b.ending,
             [(n.pitch, n.base, n.dots, n.tie, n.slur_starts, n.slur_stops, n.marks,
               tuple(s and (s.text, s.place) for s in n.syllables)) for n in b.notes]) for b in tune.bars]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_written_comes_back(name: str, tmp_path: Path) -> None:
    tune = load(name)
    save(tune, tmp_path / "again.musicxml")
    assert written(load(tmp_path / "again.musicxml")) == written(tune)


@pytest.mark.parametrize("name", ["snail-wall", "rocking-boat", "moon-sea", "sleepy-harbour", "kite"])
def test_music21_reads_the_same_notes(name: str) -> None:
    """Outside check: music21's own flat reading of our MusicXML, ties joined, against the sung line."""
    from music21 import converter

    score = converter.parseData(to_musicxml(load(name)).decode(), format="musicxml")
    theirs = [(int(n.pitch.midi), Fraction(n.quarterLength), n.lyric or "")
              for n in score.stripTies().flatten().notes]
    assert [(n.midi, n.quarters, n.syllable) for n in load(name).line()] == theirs


def test_repeats_unfold_as_music21_expands_them() -> None:
    from music21 import converter

    tune = load("round-again")
    score = converter.parseData(to_musicxml(tune).decode(), format="musicxml")
    theirs = [int(n.pitch.midi) for n in score.parts[0].expandRepeats().flatten().notes]
    assert [n.midi for n in tune.line()] == theirs


def test_midi_comes_back(tmp_path: Path) -> None:
    tune = load("up-the-hill")
    save(tune, tmp_path / "tune.mid")
    again = load(tmp_path / "tune.mid")
    assert [(n.midi, n.quarters) for n in again.line()] == [(n.midi, n.quarters) for n in tune.line()]


def test_compressed_musicxml_comes_back(tmp_path: Path) -> None:
    save(load("mole"), tmp_path / "mole.mxl")
    assert written(load(tmp_path / "mole.mxl")) == written(load("mole"))


@pytest.mark.parametrize("name", ["snail-wall", "window-wind", "sleepy-harbour"])
@pytest.mark.parametrize("semitones", [-7, -3, 2, 5, 11])
def test_transposing_sounds_as_music21_transposes(name: str, semitones: int) -> None:
    from music21 import converter

    moved = transpose(load(name), semitones)
    score = converter.parseData(to_musicxml(load(name)).decode(), format="musicxml").transpose(semitones)
    assert [n.midi for n in moved.line()] == [int(n.pitch.midi) for n in score.stripTies().flatten().notes]
    # Spelled in the new key: no more signs off the key than before.
    def off(tune):  # type: ignore[no-untyped-def]
        return sum(n.pitch.alter != tune.key.alter(n.pitch.step) for n in tune.line())
    assert off(moved) == off(load(name))


def test_the_index_says_what_the_tunes_hold() -> None:
    assert sorted(e.name for e in catalogue()) == NAMES
    for entry in catalogue():
        assert entry == describe(entry.name)


def test_enough_tunes_ship_and_enough_have_words() -> None:
    entries = catalogue()
    assert len(entries) >= 16
    assert sum(bool(e.words) for e in entries) >= 8
    assert {e.beats for e in entries} >= {2, 3, 4, 6}
    assert min(e.reach for e in entries) == 2
    assert max(e.reach for e in entries) >= 18
    assert {e.key.split()[-1] for e in entries} == {"major", "minor"}


def test_phrases_by_lines_of_words_rests_and_bars() -> None:
    assert [n.phrase for n in load("snail-wall").line()] == [1] * 7 + [2] * 7
    assert max(n.phrase for n in load("sleepy-harbour").line()) >= 3  # breath marks
    assert max(n.phrase for n in load("whole-row").line()) >= 1


def test_phrases_that_somebody_gave_lead() -> None:
    tune = replace(load("whole-row"), phrase_starts=(1, 5, 9))
    assert [n.phrase for n in tune.line()] == [1] * 4 + [2] * 4 + [3] * 8


BOMB = (b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
        b'<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><score-partwise>&c;</score-partwise>')


@pytest.mark.parametrize(("name", "data", "says"), [
    ("empty.musicxml", b"", "empty"),
    ("cut.musicxml", b"<?xml version='1.0'?><score-partwise><part", "cut off"),
    ("other.xml", b"<html><note/></html>", "no MusicXML score"),
    ("bomb.musicxml", BOMB, "entities"),
    ("silent.musicxml", b"<score-partwise><part-list/></score-partwise>", "no notes"),
    ("text.mid", b"this is text", "no MIDI"),
    ("tune.docx", b"PK", "is read from"),
    ("broken.mxl", b"PK\x03\x04 nothing more", "damaged"),
])
def test_broken_files_are_answered_in_a_sentence(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(Trouble, match=says) as trouble:
        load(tmp_path / name)
    assert "\n" not in str(trouble.value)
    assert str(trouble.value).endswith(".")


def test_midi_without_notes(tmp_path: Path) -> None:
    (tmp_path / "x.mid").write_bytes(b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00\x04\x00\xff\x2f\x00")
    with pytest.raises(Trouble, match="no notes"):
        load(tmp_path / "x.mid")


def test_an_unknown_name_suggests_the_nearest() -> None:
    with pytest.raises(Trouble, match="Did you mean snail-wall"):
        load("snail-wal")


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="folder"):
        load(tmp_path)
    with pytest.raises(Trouble, match="no file"):
        load(tmp_path / "none.musicxml")


def chord_score(parts: int = 1) -> bytes:
    from music21 import chord, note, stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    score = stream.Score()
    for k in range(parts):
        part = stream.Part()
        part.partName = f"Voice {k + 1}"
        measure = stream.Measure(number=1)
        measure.append(chord.Chord(["C4", "E4"]) if parts == 1 else note.Note("C4", quarterLength=4))
        part.append(measure)
        score.insert(0, part)
    return bytes(GeneralObjectExporter(score).parse())


def test_chords_are_named_with_their_bar(tmp_path: Path) -> None:
    (tmp_path / "chords.musicxml").write_bytes(chord_score())
    with pytest.raises(Trouble, match="Bar 1 has a chord"):
        load(tmp_path / "chords.musicxml")


def test_a_part_is_chosen_plainly(tmp_path: Path) -> None:
    path = tmp_path / "two.musicxml"
    path.write_bytes(chord_score(2))
    with pytest.raises(Trouble, match="2 parts: 1 Voice 1, 2 Voice 2"):
        load(path)
    assert load(path, part="2").line()[0].midi == 60
    assert load(path, part="voice 1").line()[0].midi == 60
    with pytest.raises(Trouble, match="no part 3"):
        load(path, part=3)


def test_a_zip_that_unpacks_to_too_much_is_refused(tmp_path: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", b" " * 40_000_000)
    (tmp_path / "big.mxl").write_bytes(packed.getvalue())
    with pytest.raises(Trouble, match="more than a tune"):
        load(tmp_path / "big.mxl")


def test_nothing_half_written(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="could not be written"):
        save(load("mole"), tmp_path / "none" / "mole.musicxml")
    with pytest.raises(Trouble, match="is written to"):
        save(load("mole"), tmp_path / "mole.pdf")
    assert list(tmp_path.iterdir()) == []
