"""Several parts on one page, written and read back. Sources: MBC 2015, sections 28, 29 and 35, from memory, for the layouts;
the signs of the hands and the solo as in music21.braille.lookup."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from braille.corpus import handbook
from braille.made import to_brf

from companion.braille import Hand, Part, ProblemCode, decode, encode_parts, from_brf, from_dots, to_ascii
from companion.command import main
from companion.errors import Trouble
from companion.tune import Bar, Key, Note, Pitch, Syllable, Time, Tune, from_music21, to_musicxml, with_solfa

FOUR = Time((4,), 4)


def tune_of(*bars: str, texts: str = "", title: str = "Two") -> Tune:
    """Bars of notes as "C5 D5:2 r": crotchets where no length is said. texts: their syllables, "-" at the end of one that goes
    on, "." for none."""
    said = iter(texts.split())
    inside = False
    out = []
    for number, bar in enumerate(bars, 1):
        notes = []
        for token in bar.split():
            name, _colon, length = token.partition(":")
            value = Fraction(length or 1)
            pitch = None if name == "r" else Pitch(name[0], int(name[-1]), name.count("#") - name[1:].count("b"))
            text = next(said, ".") if texts and pitch else "."
            place = ("middle" if inside else "begin") if text.endswith("-") else "end" if inside else "single"
            if text != ".":
                inside = text.endswith("-")
            notes.append(Note(pitch=pitch, base=value, syllables=() if text == "." else (Syllable(text.rstrip("-"), place),)))
        first = number == 1
        out.append(Bar(number=number, notes=tuple(notes), time=FOUR if first else None, key=Key(0) if first else None))
    return Tune(title=title, bars=tuple(out))


def notes(tune: Tune) -> list[list[tuple[str | None, Fraction]]]:
    return [[(n.pitch.name if n.pitch else None, n.quarters) for n in b.notes] for b in tune.bars]


def sung(tune: Tune) -> list[tuple[str, str] | None]:
    return [(n.syllables[0].text, n.syllables[0].place) if n.syllables and n.syllables[0] else None
            for _, _, n in tune.written() if n.pitch]


TEXT = "up the hill we go now hill- side so we sing once more"
HIGH = tune_of("C5 D5 E5 C5", "E5 D5 C5:2", "G5 E5 D5 C5", "D5:2 C5:2", texts=TEXT)
LOW = tune_of("C4 B3 C4 C4", "C4 B3 C4:2", "B3 C4 B3 C4", "B3:2 C4:2", texts=TEXT)
OTHER = tune_of("r r C4 B3", "C4 C4 C4:2", "B3 C4 B3 C4", "B3:2 C4:2", texts="wait a lit- tle long- er child of mine to night")
BASS = tune_of("C3:4", "G3:2 C3:2", "G3:2 E3:2", "G3:2 C3:2")


@pytest.mark.parametrize("width", [20, 28, 40])
@pytest.mark.parametrize("bar_over_bar", [False, True])
@pytest.mark.parametrize("parts", [
    (Part("Soprano", HIGH), Part("Alto", LOW)),
    (Part("Voice 1", HIGH), Part("Voice 2", OTHER), Part("Ground", BASS)),
    (Part("Melody", HIGH, Hand.SOLO), Part("Piano", LOW, Hand.RIGHT), Part("Piano", BASS, Hand.LEFT)),
    (Part("Piano", HIGH, Hand.RIGHT), Part("Piano", BASS, Hand.LEFT)),
], ids=["duet", "three voices", "accompanied", "hands"])
def test_parts_come_back(parts: tuple[Part, ...], bar_over_bar: bool, width: int) -> None:
    page = encode_parts(parts, width=width, bar_over_bar=bar_over_bar)
    assert max(map(len, page.lines)) <= width
    read = decode(from_brf(to_brf(page)))
    assert read.problems == ()
    assert [name.hand for name, _part in read.parts] == [part.hand for part in parts]
    assert [name.name for name, _part in read.parts] == [part.name if part.hand is Hand.VOICE else "" for part in parts]
    for (_name, back), part in zip(read.parts, parts, strict=True):
        assert notes(back.tune) == notes(part.tune), part.name
        if part.hand in (Hand.VOICE, Hand.SOLO):
            assert sung(back.tune) == sung(part.tune), part.name
        assert back.tune.title == "Two"
    assert read.tune == read.parts[0][1].tune
    count = sum(n.pitch is not None for _, _, n in parts[0].tune.written())
    assert [link.note for link in page.links] == list(range(1, 1 + count))


def test_a_duet_line_over_line() -> None:
    """Words that both sing stand once, over both; each voice's line begins with its letters, listed under the heading."""
    page = encode_parts((Part("Soprano", HIGH), Part("Alto", LOW)), width=40)
    lines = [to_ascii(line) for line in page.lines]
    assert lines[2:4] == [">S' ,SOPRANO", ">A' ,ALTO"]
    assert lines[4:7] == ["UP THE HILL WE GO NOW HILL-", "  >S'.?:$? $:N", "  >A'\"?W?? ?WN"]


def test_hands_bar_over_bar() -> None:
    """The bar's number, then each hand's sign; bars that sound together begin in the same cell."""
    page = encode_parts((Part("", replace(HIGH, title=""), Hand.RIGHT), Part("", BASS, Hand.LEFT)), bar_over_bar=True)
    right, left = page.lines[1:3]
    assert right.startswith("⠁⠀" + from_dots("46-345"))
    assert left.startswith("⠀⠀" + from_dots("456-345"))
    starts = [[k for k in range(5, len(line)) if line[k] != "⠀" and line[k - 1] == "⠀"] for line in (right, left)]
    assert starts[0] == starts[1]


def test_what_cannot_stand_together_is_told() -> None:
    with pytest.raises(Trouble, match="Alto has 3"):
        encode_parts((Part("Soprano", HIGH), Part("Alto", replace(LOW, bars=LOW.bars[:3]))))
    with pytest.raises(Trouble, match="one part alone"):
        encode_parts((Part("Soprano", HIGH),))


def test_the_command_writes_and_reads_parts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = (to_musicxml(t).decode() for t in (HIGH, LOW))
    second = two[two.index('<part id="P1">'):two.index("</score-partwise>")].replace("P1", "P2")
    heads = ('<score-part id="P1"><part-name>Soprano</part-name></score-part>'
             '<score-part id="P2"><part-name>Alto</part-name></score-part>')
    head = one[one.index("<score-part "):one.index("</part-list>")]
    (tmp_path / "duet.musicxml").write_text(one.replace(head, heads).replace("</score-partwise>", second + "</score-partwise>"))
    assert main(["braille", str(tmp_path / "duet.musicxml"), "--together", "lines", "--out", str(tmp_path / "duet.brf")]) == 0
    assert main(["read", str(tmp_path / "duet.brf")]) == 0
    said = capsys.readouterr().out.splitlines()
    assert [line for line in said if line.endswith(":")] == ["Soprano:", "Alto:"]
    assert said[4].startswith("Bar 1, up the hill we: C, fifth octave, crotchet; D")
    assert main(["read", str(tmp_path / "duet.brf"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["notes"] == data["parts"][0]["notes"]
    assert [n["midi"] for n in data["parts"][1]["notes"]][:3] == [60, 59, 60]
    assert main(["braille", str(tmp_path / "duet.musicxml"), "--part", "2", "--words", "solfa", "--as", "ascii"]) == 0
    assert "DO TI DO DO" in capsys.readouterr().out


def test_solfa_names() -> None:
    """Movable do: the keynote of the major key is do, of the minor key la; a raised note ends in i (from memory)."""
    tune = tune_of("D4 E4 F#4 G4", "A4 B4 C#5 D5", "F4 G#4 r:2")
    tune = replace(tune, bars=(replace(tune.bars[0], key=Key(2)), *tune.bars[1:]))
    assert [one[0] for one in sung(with_solfa(tune)) if one] == "do re mi fa so la ti do me fi".split()
    assert [one[0] for one in sung(with_solfa(tune_of("A4 B4 C5 G#4"))) if one] == "la ti do si".split()


@pytest.mark.parametrize("name", ["test_example24_2", "test_example24_3", "test_example24_4"])
def test_the_books_examples_for_two_hands(name: str) -> None:
    """De Garmo, chapter 24, as music21.braille.test has them: read as its music; those without fingering written cell for
    cell, layout of the heading aside."""
    [example] = handbook(name)
    for note in example.stream.recurse().notes:
        for pitch in note.pitches:
            if pitch.accidental is not None and pitch.accidental.displayStatus is None:
                pitch.accidental.displayStatus = True
    tunes = [from_music21(part) for part in example.stream.getElementsByClass("Part")]
    read = decode(example.lines)
    assert read.problems == ()
    assert [[[n.pitch for n in b.notes] for b in part.tune.bars] for _name, part in read.parts] == [
        [[n.pitch for n in b.notes] for b in tune.bars] for tune in tunes]
    assert not [hint for hint in read.hints if hint.code is ProblemCode.NEEDLESS_MARK]
    if name != "test_example24_3":
        page = encode_parts([Part("", tunes[0], Hand.RIGHT), Part("", tunes[1], Hand.LEFT)], bar_over_bar=True)
        book = [line.rstrip("⠀") for line in example.lines[1:]]
        assert list(page.lines[1:]) == [line for line in book if line]
