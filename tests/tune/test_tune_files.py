"""Reading and writing tunes, held against music21; and every kind of broken file answered in a sentence."""

import io
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from companion.errors import Trouble
from companion.tune import from_music21, load, save, shipped_names, transpose
from companion.tune.musicxml import to_musicxml
from companion.tune.shipped import catalogue, describe

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
        assert entry == describe(entry.name, load(entry.name))


def test_enough_tunes_ship_and_enough_have_words() -> None:
    entries = catalogue()
    assert len(entries) >= 16
    assert sum(bool(e.words) for e in entries) >= 8
    assert {e.beats for e in entries} >= {2, 3, 4, 6}
    assert min(e.reach for e in entries) == 2
    assert max(e.reach for e in entries) >= 18
    assert {e.key.mode for e in entries} == {"major", "minor"}


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


def test_the_top_line_of_chords_and_voices(tmp_path: Path) -> None:
    """A chord's highest note; of voices, a note until a higher one begins, and rests where nothing sounds."""
    chords = tmp_path / "chords.musicxml"
    chords.write_bytes(chord_score())
    with pytest.raises(Trouble, match="--part top"):
        load(chords)
    assert [n.pitch for _, _, n in load(chords, "top").written()] == [n.pitch for _, _, n in load(chords, "1 top").written()]
    assert [n.name for n in (n.pitch for _, _, n in load(chords, "top").written()) if n] == ["E4"]
    voices = tmp_path / "voices.musicxml"
    low = "".join(note_xml(s, length=64, kind="half") for s in "GA").replace("<voice>1", "<voice>2")
    voices.write_bytes(score(note_xml("C", octave=5) + note_xml("E") * 3 + BACK + low))
    with pytest.raises(Trouble, match="--part top"):
        load(voices)
    assert [(n.pitch.name, n.quarters) for _, _, n in load(voices, "top").written() if n.pitch] == [
        ("C5", 1), ("E4", 1), ("A4", 2)]
    with pytest.raises(Trouble, match="has no part Flute"):
        load(voices, "Flute top")


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


# Scores and MIDI files as people and programs write them.


def score(*bars: str, head: str = "<divisions>32</divisions>") -> bytes:
    measures = "".join(f'<measure number="{k}">{f"<attributes>{head}</attributes>" if k == 1 else ""}{bar}</measure>'
                       for k, bar in enumerate(bars, 1))
    return ('<score-partwise><part-list><score-part id="P1"><part-name>Voice</part-name></score-part></part-list>'
            f'<part id="P1">{measures}</part></score-partwise>').encode()


def note_xml(step: str = "C", octave: int = 4, length: int = 32, kind: str = "quarter", alter: str = "") -> str:
    altered = f"<alter>{alter}</alter>" if alter else ""
    return (f"<note><pitch><step>{step}</step>{altered}<octave>{octave}</octave></pitch>"
            f"<duration>{length}</duration><voice>1</voice><type>{kind}</type></note>")


BACK = "<backup><duration>128</duration></backup>"
GRACE = "<note><grace/><pitch><step>D</step><octave>4</octave></pitch><type>eighth</type></note>"
DRUM = ("<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        "<duration>32</duration></note>")
REPEAT = '<barline location="right"><repeat direction="backward" times="1000000"/></barline>'


@pytest.mark.parametrize(("data", "says"), [
    (score(note_xml() * 4 + BACK + note_xml("E") * 4), "begins before the last one ends"),
    (score(note_xml() * 3 + DRUM), "Bar 1 has a note without a pitch"),
    (score(DRUM * 4), "holds no notes"),
    (score(GRACE * 3, head="<divisions>32</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"),
     "holds no notes"),
    (score(note_xml(alter="0.5")), "microtone .near C4"),
    (score(note_xml(alter="3")), "more than two semitones"),
    (score(note_xml(octave=99)), "C99, far from what any voice sings"),
    (score(note_xml(octave=9)), "C9, far from"),
    (score(note_xml(kind="256th", length=1)), "shortest is a 128th note"),
    (score(note_xml(kind="", length=1).replace("<type></type>", ""), head="<divisions>997</divisions>"), "of no length"),
    (score(note_xml(), head="<divisions>32</divisions><key><fifths>99</fifths></key>"), "99 sharps; seven is the most"),
    (score(*[note_xml() * 4 + REPEAT] * 3), "2000 bars or more with its repeats"),
])
def test_what_cannot_be_sung_or_written_is_named(tmp_path: Path, data: bytes, says: str) -> None:
    (tmp_path / "t.musicxml").write_bytes(data)
    with pytest.raises(Trouble, match=says) as trouble:
        load(tmp_path / "t.musicxml")
    assert str(trouble.value).endswith(".")


def test_a_long_score_without_repeats_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.tune.line.MOST_BARS", 3)
    (tmp_path / "t.musicxml").write_bytes(score(*[note_xml() * 4] * 5))
    assert len(load(tmp_path / "t.musicxml").line()) == 20


def test_a_score_by_bars_is_read_as_one_by_parts(tmp_path: Path) -> None:
    """MusicXML 4.0 has both orders; music21 reads one of them."""
    (tmp_path / "t.musicxml").write_bytes(score(note_xml() + note_xml("E"), note_xml("G")))
    by_bars = score(note_xml() + note_xml("E"), note_xml("G")).decode().replace("partwise", "timewise")
    by_bars = by_bars.replace('<part id="P1">', "").replace("</part>", "")
    for k in (1, 2):
        by_bars = by_bars.replace(f'<measure number="{k}">', f'<measure number="{k}"><part id="P1">')
    by_bars = by_bars.replace("</measure>", "</part></measure>")
    (tmp_path / "w.musicxml").write_text(by_bars)
    assert [n.midi for n in load(tmp_path / "w.musicxml").line()] == [60, 64, 67]
    assert written(load(tmp_path / "w.musicxml")) == written(load(tmp_path / "t.musicxml"))


def test_a_packed_score_is_the_one_that_its_container_names(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "t.mxl", "w") as archive:
        archive.writestr("about.xml", "<about/>")
        archive.writestr("META-INF/container.xml", '<container xmlns="urn:x"><rootfiles><rootfile '
                                                   'full-path="in/score.xml"/></rootfiles></container>')
        archive.writestr("in/score.xml", score(note_xml("G")))
    assert [n.midi for n in load(tmp_path / "t.mxl").line()] == [67]


def test_damage_inside_a_packed_score_is_a_sentence(tmp_path: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", score(*[note_xml(s) for s in "CDEFGAB"]))
    data = bytearray(packed.getvalue())
    data[60:90] = b"\xff" * 30
    (tmp_path / "t.mxl").write_bytes(data)
    with pytest.raises(Trouble, match="cut or damaged"):
        load(tmp_path / "t.mxl")


def test_titles_and_words_are_one_line(tmp_path: Path) -> None:
    text = score(note_xml().replace("</note>", "<lyric><text>\n la \n</text></lyric></note>")).decode()
    text = text.replace("<part-list>", "<movement-title>One\ntwo</movement-title><part-list>")
    (tmp_path / "t.musicxml").write_text(text)
    tune = load(tmp_path / "t.musicxml")
    assert (tune.title, tune.line()[0].syllable) == ("One two", "la")
    (tmp_path / "my_own_tune.musicxml").write_bytes(score(note_xml()))
    assert load(tmp_path / "my_own_tune.musicxml").title == "my own tune"  # as it is to be spoken and written


@pytest.mark.parametrize("name", ["Snail-Wall", "snail wall", "Snail on the wall", "SNAIL ON THE WALL"])
def test_a_shipped_tune_goes_by_its_title_too(name: str) -> None:
    assert load(name).line() == load("snail-wall").line()


@pytest.mark.parametrize("name", ["", "  ", "a" * 5000])
def test_names_that_no_tune_can_have(name: str) -> None:
    with pytest.raises(Trouble, match=r"name of the tune is empty|could not be read"):
        load(name)


def midi_file(events: list[tuple[int, bytes]], quarter: int = 480) -> bytes:
    """A standard MIDI file (RP-001) of one track: (tick, event) in any order."""
    track, now = b"", 0
    for at, event in sorted(events):
        gap, now = at - now, at
        delta = bytes([gap & 127])
        while gap := gap >> 7:
            delta = bytes([gap & 127 | 128]) + delta
        track += delta + event
    track += b"\x00\xff\x2f\x00"
    return (b"MThd" + (6).to_bytes(4, "big") + b"\x00\x00\x00\x01" + quarter.to_bytes(2, "big")
            + b"MTrk" + len(track).to_bytes(4, "big") + track)


def played(*notes: tuple[int, int, int]) -> bytes:
    """(begin, end, pitch) in ticks, 480 to the crotchet."""
    return midi_file([e for begin, end, pitch in notes
                      for e in ((begin, bytes([0x90, pitch, 64])), (end, bytes([0x80, pitch, 0])))])


def values(path: Path) -> list[tuple[int, Fraction, Fraction]]:
    return [(n.midi, n.onset_quarters, n.quarters) for n in load(path).line()]


def test_a_line_that_was_played_does_not_overlap_itself(tmp_path: Path) -> None:
    """Notes bound as a player binds them, each a little early or late: five crotchets over a bar line."""
    (tmp_path / "t.mid").write_bytes(played((5, 530, 60), (470, 1010, 62), (975, 1400, 64), (1425, 1960, 65),
                                            (1890, 2400, 67)))
    assert values(tmp_path / "t.mid") == [(p, Fraction(k), Fraction(1)) for k, p in enumerate((60, 62, 64, 65, 67))]


def test_triplets_that_were_written_stay_triplets(tmp_path: Path) -> None:
    (tmp_path / "t.mid").write_bytes(played((0, 160, 60), (160, 320, 62), (320, 480, 64), (480, 600, 65),
                                            (600, 720, 67)))
    third, quarter = Fraction(1, 3), Fraction(1, 4)
    assert values(tmp_path / "t.mid") == [(60, 0 * third, third), (62, third, third), (64, 2 * third, third),
                                          (65, Fraction(1), quarter), (67, Fraction(5, 4), quarter)]


def test_two_voices_of_a_midi_track_are_not_made_into_one(tmp_path: Path) -> None:
    (tmp_path / "t.mid").write_bytes(played((0, 1920, 48), (480, 960, 60), (960, 1440, 62)))
    with pytest.raises(Trouble, match="single line is wanted"):
        load(tmp_path / "t.mid")


@pytest.mark.parametrize("name", NAMES)
def test_a_tune_written_as_midi_comes_back(name: str, tmp_path: Path) -> None:
    save(load(name), tmp_path / "t.mid")
    assert values(tmp_path / "t.mid") == [(n.midi, n.onset_quarters, n.quarters) for n in load(name).line()]


def test_a_midi_file_of_hours_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "t.mid").write_bytes(played((200_000_000, 200_000_480, 60)))
    with pytest.raises(Trouble, match="longer than any tune"):
        load(tmp_path / "t.mid")


@pytest.mark.parametrize(("abc", "spans"), [
    ("(CD) EF|", [(1, 0), (0, 1), (0, 0), (0, 0)]),
    ("(CDE z)|", [(1, 0), (0, 0), (0, 1), (0, 0)]),  # music21 ends this one at the rest
    ("({B}CD) EF|", [(0, 0), (1, 0), (0, 1), (0, 0), (0, 0)]),  # and begins this one at a grace note that is in no bar
])
def test_slurs_of_abc_begin_and_end_at_notes(abc: str, spans: list[tuple[int, int]]) -> None:
    from music21 import converter

    part = converter.parse(f"X:1\nL:1/4\nM:4/4\nK:C\n{abc}CDEF|]\n", format="abc").parts[0]
    tune = from_music21(part)
    assert [(n.slur_starts, n.slur_stops) for _b, _n, n in tune.written()][:-4] == spans


@pytest.mark.parametrize("figures", ["1/3", "1/6", "2/12"])
def test_a_time_signature_that_counts_no_values_is_said(figures: str) -> None:
    from music21 import meter, note, stream

    measure = stream.Measure([meter.TimeSignature(figures), note.Note("C4", quarterLength=1)], number=1)
    with pytest.raises(Trouble, match=f"Bar 1 has the time signature {figures}, which is no count of note values"):
        from_music21(stream.Part([measure]))
