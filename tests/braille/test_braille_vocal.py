"""Songs laid out and read back: MBC 2015, section 35, and the New International Manual (NIM), chapter 16. Tunes are made
from seeds; the words are of one syllable each, so that where they stand is no guess."""

from __future__ import annotations

import itertools
import random
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from braille.corpus import compare
from braille.made import note
from braille.made import tune as made_of

from companion.braille import SPACE, Habits, decode, encode, signs, to_ascii
from companion.errors import Trouble
from companion.tune import Bar, Grace, Key, Note, Pitch, Syllable, Time, Tune

TEXTS = "la so hill rain day moon up down green far".split()
TIMES = (Time((4,), 4), Time((3,), 4), Time((6,), 8), Time((2,), 4))
VALUES = (Fraction(2), Fraction(1), Fraction(1), Fraction(1, 2), Fraction(1, 2), Fraction(1, 4))


def song(seed: int, bars: int = 9) -> Tune:
    """Bars of notes up to their full length, with ties within and over bar lines, melismas, rests and grace notes; no note
    after a rest is without its syllable."""
    rng = random.Random(seed)
    meter = rng.choice(TIMES)
    place = 4 * 7 + rng.randrange(7)
    made: list[Bar] = []
    held: Pitch | None = None  # the pitch to which a tie leads
    fresh = True  # the next note begins a syllable
    for number in range(1, bars + 1):
        row: list[Note] = []
        left = meter.quarters
        while left:
            base = rng.choice([v for v in VALUES if v <= left])
            left -= base
            if held is None and rng.random() < 0.08:
                row.append(Note(pitch=None, base=base))
                fresh = True
                continue
            if held is None and rng.random() < 0.05:
                row.append(Note(pitch=Pitch("C", 5), base=Fraction(1, 2), grace=Grace.SHORT))
            place = min(40, max(26, place + rng.choice((-4, -2, -1, -1, 0, 1, 1, 2, 3))))
            pitch = held or Pitch("CDEFGAB"[place % 7], place // 7)
            sung = held is None and (fresh or rng.random() < 0.75)
            tie = rng.random() < 0.12 and (left > 0 or number < bars)
            row.append(Note(pitch=pitch, base=base, tie=tie, syllables=(Syllable(rng.choice(TEXTS)),) if sung else ()))
            held, fresh = (pitch if tie else None), False
            place = pitch.diatonic
        begins = {"key": Key(0), "time": meter} if number == 1 else {}
        made.append(Bar(number=number, notes=tuple(row), **begins))  # type: ignore[arg-type]
    return Tune(title="", bars=tuple(made))


def sung(tune: Tune) -> list[list[str]]:
    return [[n.syllables[0].text if n.syllables and n.syllables[0] else "-" if n.pitch else "rest" for n in b.notes]
            for b in tune.bars]


def parallels(lines: tuple[str, ...]) -> list[tuple[list[str], list[str]]]:
    """Words with their runovers and the music below them, as they stand on the page after its heading."""
    out: list[tuple[list[str], list[str]]] = []
    for line in lines:
        indent = len(line) - len(line.lstrip(SPACE))
        assert indent in (0, 2, 4), line
        if indent == 0:
            out.append(([line], []))
        elif indent == 2 and out and not out[-1][1]:
            out[-1][1].append(line)
        elif indent == 2:
            out.append(([], [line]))  # a syllable goes on
        else:
            out[-1][1 if out[-1][1] else 0].append(line)
    return out


@pytest.mark.parametrize("width", [20, 28, 32, 40])
def test_words_stand_on_their_notes_and_over_their_music(width: int) -> None:
    """MBC 35.1: words at the margin, their music from cell 3, what runs over two cells further in. A line of music that
    runs over is one bar alone: else fewer bars would have been put under one line of words."""
    alone = 0
    for seed in range(30):
        tune = song(seed)
        page = encode(tune, width=width)
        read = decode(page.lines)
        assert read.problems == (), (seed, page.lines)
        assert sung(read.tune) == sung(tune), (seed, page.lines)
        assert compare(tune, read.tune) == [], seed
        assert max(map(len, page.lines)) <= width
        assert [k.note for k in page.links] == list(range(1, len(page.links) + 1))
        bars = 0
        for _words, music in parallels(page.lines[1:]):
            assert music, page.lines
            cells = SPACE.join(line.strip(SPACE) for line in music).replace(signs.HYPHEN + SPACE, "")
            count = len(cells.split(SPACE))
            alone += len(music) > 1
            assert len(music) == 1 or count == 1, (seed, music)
            bars += count
        assert bars == len(tune.bars)
    assert width > 20 or alone


@pytest.mark.parametrize("width", [28, 40])
def test_a_line_of_words_takes_as_many_bars_as_fit(width: int) -> None:
    """MBC 35.1: neither words nor music of the next bar would fit on the line above it (no rests: no phrase ends)."""
    for seed in range(20):
        tune = song(seed)
        bars = tuple(replace(b, notes=tuple(n for n in b.notes if n.pitch is not None)) for b in tune.bars)
        tune = replace(tune, bars=bars, phrase_starts=(1,))
        made = parallels(encode(tune, width=width).lines[1:])
        for (words, music), (later_words, later_music) in itertools.pairwise(made):
            if len(words) > 1 or len(music) > 1 or len(later_music) > 1:
                continue
            first = later_music[0].strip(SPACE).split(SPACE)[0].lstrip(signs.OCTAVES[4] + signs.OCTAVES[5] + signs.OCTAVES[3])
            room = width - len(music[0]) - 1 - len(first)
            text = width - len(words[0]) - 1 - len(later_words[0].split(SPACE)[0])
            assert room < 1 or text < len(later_words[0]), (seed, words, music, later_words, later_music)


@pytest.mark.slow
def test_songs_and_noise_take_time_in_proportion() -> None:
    """Eight times as long takes about eight times as long, and not sixty-four: songs, number signs, one bar of cells."""
    def seconds(work: Callable[[], object]) -> float:
        took = []
        for _ in range(2):
            began = time.process_time()  # not the clock on the wall: the machine may be busy
            work()
            took.append(time.process_time() - began)
        return min(took)

    short, long = song(3, 100), song(3, 800)
    lines = [encode(one).lines for one in (short, long)]
    for little, much in (
            (lambda: encode(replace(short)), lambda: encode(replace(long))), (lambda: decode(lines[0]), lambda: decode(lines[1])),
            (lambda: decode(["⠼" * 2500]), lambda: decode(["⠼" * 20000])),
            (lambda: decode(["⠹" * 2500]), lambda: decode(["⠹" * 20000]))):
        assert seconds(much) < 30 * max(seconds(little), 0.005)


def test_a_tied_note_has_no_syllable_of_its_own() -> None:
    """NIM 16-7: a syllable goes on over a tie, within a bar and over its line; the next word is on the next note."""
    la, so = (Syllable("la"),), (Syllable("so"),)
    c, d = Pitch("C", 4), Pitch("D", 4)
    bars = (Bar(number=1, notes=(Note(pitch=c, base=Fraction(2), syllables=la), Note(pitch=d, base=Fraction(2), tie=True,
                                                                                   syllables=so)), time=TIMES[0]),
            Bar(number=2, notes=(Note(pitch=d, base=Fraction(1)), Note(pitch=c, base=Fraction(1), tie=True, syllables=la),
                                 Note(pitch=c, base=Fraction(1)), Note(pitch=d, base=Fraction(1), syllables=so))))
    tune = Tune(title="", bars=bars)
    page = encode(tune)
    assert signs.SLUR not in page.lines[-1].replace(signs.TIE, "")  # ties alone
    assert sung(decode(page.lines).tune) == [["la", "so"], ["-", "la", "-", "so"]]


@pytest.mark.parametrize("count", [2, 4, 5, 6, 9, 16, 40])
def test_melismas_of_any_length(count: int) -> None:
    """NIM 16-7: the slur between up to four notes; for more it is doubled at the first and stands once before the last."""
    run = [Note(pitch=Pitch("CDEFG"[k % 5], 4), base=Fraction(1, 2), syllables=(Syllable("la"),) if k == 0 else ())
           for k in range(count)]
    rows = [(run + [replace(run[0], syllables=(Syllable("so"),))] * 8)[i:i + 8] for i in range(0, count + 1, 8)]
    bars = tuple(Bar(number=i + 1, notes=tuple(row), time=TIMES[0] if i == 0 else None) for i, row in enumerate(rows))
    tune = Tune(title="", bars=bars)
    page = encode(tune)
    cells = "".join(line for line in page.lines[1:] if line.startswith(SPACE))
    assert cells.count(signs.SLUR) == (count - 1 if count <= 4 else 3)
    assert cells.count(signs.SLUR * 2) == (count > 4)
    read = decode(page.lines)
    assert sung(read.tune) == sung(tune)
    assert read.problems == ()


def test_a_phrase_begins_a_line_of_its_own() -> None:
    """Our own rule, for those who learn a song by its phrases: where one begins, by a rest of a beat, a line begins."""
    four = tuple(Note(pitch=Pitch(step, 4), base=Fraction(1), syllables=(Syllable("la"),)) for step in "CDEF")
    three = (*four[:3], Note(pitch=None, base=Fraction(1)))
    for rows, lines in (((four, three, four, three), 2), ((four, four, four, four), 1), ((three, three, three, three), 4)):
        bars = tuple(Bar(number=i + 1, notes=row, time=TIMES[0] if i == 0 else None) for i, row in enumerate(rows))
        tune = Tune(title="", bars=bars, phrase_starts=(1,) if lines == 1 else None)
        assert len(parallels(encode(tune, width=80).lines[1:])) == lines


def test_a_grace_note_has_no_syllable() -> None:
    c = Pitch("C", 4)
    notes = (Note(pitch=Pitch("D", 4), base=Fraction(1, 2), grace=Grace.SHORT),
             Note(pitch=c, base=Fraction(2), syllables=(Syllable("la"),)), Note(pitch=c, base=Fraction(2),
                                                                                syllables=(Syllable("so"),)))
    tune = Tune(title="", bars=(Bar(number=1, notes=notes, time=TIMES[0]),))
    assert sung(decode(encode(tune).lines).tune) == [["-", "la", "so"]]


REST = (Note(pitch=None, base=Fraction(4), whole_bar=True),)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 12])
def test_bars_of_rest_in_a_song_are_joined(count: int) -> None:
    """De Garmo, chapter 5, in songs as elsewhere: before the first words, between two lines, and at the end."""
    line = tuple(Note(pitch=Pitch(step, 4), base=Fraction(1), syllables=(Syllable(text),))
                 for step, text in zip("CDEF", ("la", "so", "hill", "day"), strict=True))
    rows = [*[REST] * count, line, *[REST] * count, line, *[REST] * count]
    bars = tuple(Bar(number=i + 1, notes=row, time=TIMES[0] if i == 0 else None) for i, row in enumerate(rows))
    tune = Tune(title="", bars=bars)
    cells = signs.WHOLE_REST * count if count <= 3 else signs.NUMBER + "".join(
        signs.UPPER_DIGITS[d] for d in str(count)) + signs.WHOLE_REST
    for width in (20, 40):
        page = encode(tune, width=width)
        groups = [g for line in page.lines[1:] if line.startswith(SPACE) for g in line.split(SPACE) if g]
        assert [g for g in groups if g[-1] == signs.WHOLE_REST] == [cells] * 3
        read = decode(page.lines)
        assert read.problems == ()
        assert sung(read.tune) == sung(tune)
        assert read.links == page.links


@pytest.mark.parametrize("words", [True, False])
def test_a_bar_whose_rest_is_hidden_is_a_bar_of_rest(words: bool) -> None:
    """A score may hide the rest of an empty bar in print; the bar is there all the same."""
    note = Note(pitch=Pitch("C", 4), base=Fraction(4), syllables=(Syllable("la"),) if words else ())
    for rows in (((note,), (), (note,)), ((), (note,)), ((note,), (), ()), ((), (), (note,)), ((note,), REST, (), (note,))):
        bars = tuple(Bar(number=i + 1, notes=row, time=TIMES[0] if i == 0 else None) for i, row in enumerate(rows))
        read = decode(encode(Tune(title="", bars=bars)).lines)
        assert [[n.pitch for n in b.notes] for b in read.tune.bars] == [[n.pitch for n in row] or [None] for row in rows]
        assert read.problems == ()


def line_of(*texts: str | tuple[str, str], verses: int = 1) -> Tune:
    """One bar of quavers with these syllables (text, or text and its place in the word) in the first verse."""
    notes = tuple(Note(pitch=Pitch("CDEFGAB"[k % 7], 4), base=Fraction(1, 2),
                       syllables=(Syllable(*((text,) if isinstance(text, str) else text)),) * verses if text else ())
                  for k, text in enumerate(texts))
    return Tune(title="", bars=(Bar(number=1, notes=notes, time=Time((len(texts),), 8)),))


@pytest.mark.parametrize(("texts", "words", "music"), [
    (("come", "to‿a", "hill"), "236-2345-135-0-1-356", "15-12"),
    (("come", "to the", "hill"), "236-2345-135-0-2345-125-15-356", "15-12"),  # print parts them by a space alone
    (("sol‿e‿a", "so", "la"), "236-234-135-123-0-15-0-1-356", "145-123"),
])
def test_syllables_merged_on_one_note(texts: tuple[str, ...], words: str, music: str) -> None:
    """NIM 16-8: a sign after the note says two or three, and in the words they stand in a bracket."""
    tune = line_of(*texts)
    page = encode(tune)
    cells = signs.cells(words)
    assert cells in page.lines[-2]
    assert signs.cells(music) in page.lines[-1]
    assert [n.syllables[0].text for n in decode(page.lines).tune.bars[0].notes] == [t.replace(" ", "‿") for t in texts]
    assert encode(decode(page.lines).tune).lines == page.lines


def test_merged_syllables_within_words_and_beside_quotation_marks() -> None:
    """NIM 16-8; the bracket has the cells of quotation marks (UEB 7.6), which the sign after the note tells from it."""
    tune = line_of("“Oh", "come”", "said", ("san", "begin"), ("to‿e", "end"), "“now", "here”")
    page = encode(tune)
    assert [n.syllables[0].text for n in decode(page.lines).tune.bars[0].notes] == [
        "“Oh", "come”", "said", "san", "to‿e", "“now", "here”"]
    read = decode(encode(line_of("“Oh", "come”", "said", "she")).lines).tune
    assert [n.syllables[0].text for n in read.bars[0].notes] == ["“Oh", "come”", "said", "she"]


def test_merged_syllables_in_a_further_verse() -> None:
    notes = tuple(replace(n, syllables=(Syllable(a), Syllable(b))) for n, a, b in zip(
        line_of("a", "b", "c", "d").bars[0].notes, ("one", "two", "three", "four"), ("up", "in‿a", "blue", "sky"), strict=True))
    tune = Tune(title="", bars=(Bar(number=1, notes=notes, time=TIMES[0]),))
    read = decode(encode(tune).lines).tune.bars[0].notes
    assert [tuple(s.text for s in n.syllables if s) for n in read] == [
        ("one", "up"), ("two", "in‿a"), ("three", "blue"), ("four", "sky")]


@pytest.mark.parametrize("numbered", [True, False])
def test_verses_in_parallel_are_read(numbered: bool) -> None:
    """MBC 2015, section 35: several lines of words over one of music, with their verses' numbers or in their order."""
    rows = (("la so hill day", "up in blue sky"), ("far down rain moon", "la so up day"))
    notes = "⠐⠹⠱⠫⠻"
    lines = ["⠀⠀⠀⠀⠀⠀⠀⠀⠼⠙⠲"]
    for verses in rows:
        for number, text in zip("⠁⠃", verses, strict=True):
            cells = "".join(signs.LETTERS.get(c, SPACE) for c in text)
            lines.append(f"⠼{number}⠀{cells}" if numbered else cells)
        lines.append("⠀⠀" + notes)
    read = decode(lines)
    assert read.problems == () == read.hints
    assert [[tuple(s.text for s in n.syllables if s) for n in b.notes] for b in read.tune.bars] == [
        list(zip(a.split(), b.split(), strict=True)) for a, b in rows]


@pytest.mark.parametrize("width", [20, 28, 40])
def test_all_verses_over_each_line_of_music(width: int) -> None:
    """MBC 2015, section 35: the lines of words of all verses, each with its number, over one line of music."""
    rng = random.Random(4)
    for seed in range(12):
        tune = song(seed)
        bars = tuple(replace(bar, notes=tuple(
            replace(n, syllables=(n.syllables[0], *[Syllable(rng.choice(TEXTS)) for _ in range(2)])) if n.syllables else n
            for n in bar.notes)) for bar in tune.bars)
        page = encode(replace(tune, bars=bars), width=width, habits=Habits(verses_under=True))
        assert max(map(len, page.lines)) <= width
        read = decode(page.lines)
        assert read.problems == ()
        assert [[tuple(s.text if s else "" for s in n.syllables) for n in b.notes if n.syllables] for b in read.tune.bars] == [
            [tuple(s.text if s else "" for s in n.syllables) for n in b.notes if n.syllables] for b in bars], page.lines


@pytest.mark.parametrize("width", [16, 20, 28])
def test_a_word_that_goes_on_in_the_next_line(width: int) -> None:
    """MBC 2015, section 35: a word parted by the end of a line has a hyphen there, which is none of its letters."""
    places = ("begin", "middle", "middle", "end")
    texts = ("al", "le", "lu", "ia") * 4
    notes = [Note(pitch=Pitch("CDEF"[k % 4], 4), base=Fraction(1), syllables=(Syllable(t, places[k % 4]),))
             for k, t in enumerate(texts)] + [Note(pitch=None, base=Fraction(1))] * 2
    bars = tuple(Bar(number=i + 1, notes=tuple(notes[3 * i:3 * i + 3]), time=TIMES[1] if i == 0 else None) for i in range(6))
    page = encode(Tune(title="", bars=bars), width=width)
    assert any(line.endswith(signs.cells("36")) for line in page.lines)
    read = decode(page.lines).tune
    said = [n.syllables[0] for b in read.bars for n in b.notes if n.pitch]
    assert "".join(s.text for s in said if s) == "alleluia" * 4
    assert all(s for s in said)
    assert [s.place for s in said if s] == list(places) * 4


def test_a_bar_in_which_words_would_move_is_written_in_parts() -> None:
    """A reader counts syllables (MBC 2015, section 35: print's hyphens are not written): "li-on" on two notes, then "lion" on
    one, would be read the other way round. The line of words ends between them, the bar with a music hyphen."""
    tune = line_of(("li", "begin"), ("on", "end"), "lion")
    page = encode(tune)
    assert [line for line in page.lines if line.endswith(signs.HYPHEN)]
    back = decode(page.lines)
    assert back.problems == ()
    assert [(n.syllables[0].text, n.syllables[0].place) for n in back.tune.bars[0].notes if n.pitch] == [
        ("li", "begin"), ("on", "end"), ("lion", "single")]
    assert len(back.tune.bars) == 1
    plain = encode(line_of("lion", ("li", "begin"), ("on", "end")))  # as a reader counts: one line
    assert not [line for line in plain.lines if line.endswith(signs.HYPHEN)]


def test_a_further_verse_that_would_be_read_onto_other_notes_stands_over_the_music() -> None:
    """The words of verses after the song are counted from its beginning: one that would move goes over each line instead."""
    first = line_of("one", "two", "three").bars[0].notes

    def song_of(*second: Syllable) -> Tune:
        notes = tuple(replace(n, syllables=(n.syllables[0], said)) for n, said in zip(first, second, strict=False))
        return Tune(title="", bars=(Bar(number=1, notes=notes, time=TIMES[1]),))

    for tune, after in ((song_of(Syllable("li", "begin"), Syllable("on", "end"), Syllable("lion")), False),
                        (song_of(Syllable("lion"), Syllable("li", "begin"), Syllable("on", "end")), True)):
        page = encode(tune)
        assert (page.lines[-1][0] == signs.NUMBER) is after
        read = [n.syllables[1] for n in decode(page.lines).tune.bars[0].notes]
        assert [s and (s.text, s.place) for s in read] == [
            s and (s.text, s.place) for s in (n.syllables[1] for n in tune.bars[0].notes)]


def test_a_word_sung_over_a_rest_keeps_its_slur() -> None:
    """NIM 16-7: one syllable on all notes under the slur, a rest among them or not, until the word goes on."""
    a, rest, b, c = (Note(pitch=Pitch("C", 4), base=Fraction(1), syllables=(Syllable("hal", "begin"),)),
                     Note(pitch=None, base=Fraction(1)), Note(pitch=Pitch("D", 4), base=Fraction(1)),
                     Note(pitch=Pitch("E", 4), base=Fraction(1), syllables=(Syllable("lo", "end"),)))
    read = decode(encode(Tune(title="", bars=(Bar(number=1, notes=(a, rest, b, c), time=TIMES[0]),))).lines).tune
    assert [n.syllables[0].text if n.syllables and n.syllables[0] else None for n in read.bars[0].notes] == [
        "hal", None, None, "lo"]


@pytest.mark.parametrize("parts", [("but", "ter", "fly"), ("ca", "ter", "pil", "lar")])
def test_a_word_of_several_syllables_stands_undivided(parts: tuple[str, ...]) -> None:
    """The hyphens that part syllables in print are left out (MBC 2015, section 35): the word as it stands in a book."""
    places = ("begin", *("middle",) * (len(parts) - 2), "end")
    notes = tuple(Note(pitch=Pitch("CDEF"[k], 4), base=Fraction(1), syllables=(Syllable(text, place),))
                  for k, (text, place) in enumerate(zip(parts, places, strict=True)))
    page = encode(Tune(title="", bars=(Bar(number=1, notes=notes, key=Key(0), time=Time((len(parts),), 4)),)))
    assert "".join(signs.LETTERS[letter] for letter in "".join(parts)) in [line.strip(SPACE) for line in page.lines]


def test_words_on_a_note_that_a_tie_leads_to_are_refused() -> None:
    """A tied note sounds on (MBC 2015, section 10): nobody sings a new syllable on it."""
    made = made_of((note("C4", 2, tie=True, syllables=(Syllable("hill"),)), note("C4", 2, syllables=(Syllable("down"),))))
    with pytest.raises(Trouble, match="Bar 1 has words on a note that a tie leads to, which is not sung anew; take the tie out"):
        encode(made)
    assert encode(made, words=False).lines


def test_the_number_of_a_verse_is_no_word_to_sing() -> None:
    """Scores have it in the first syllable; pages number their verses themselves (MBC 2015, section 35)."""
    row = (Syllable("1. Lord,"), Syllable("2. Come")), (Syllable("hear"), Syllable("down")), (Syllable("us"), Syllable("9. now"))
    made = made_of(tuple(note(name, syllables=said) for name, said in zip(("C4", "D4", "E4"), row, strict=True)),
                time=Time((3,), 4))
    page = encode(made)
    assert to_ascii("\n".join(page.lines)).split("\n")[1:] == [",LORD1 HEAR US", "  \"?:$", "#B ,COME DOWN 8#I4 NOW0"]


def test_a_bracket_in_words_is_no_hand() -> None:
    """UEB 7.1: a closing bracket has the cells of the right hand's sign."""
    made = made_of((note("C4", 2, syllables=(Syllable("so"),)), note("E4", 2, syllables=(Syllable("]dear"),))),
                (note("D4", 2, syllables=(Syllable("]dear]"),)), note("C4", 2, syllables=(Syllable("one"),))))
    for width in (12, 40):
        reading = decode(encode(made, width=width).lines)
        assert reading.parts == ()
        assert [n.syllables[0].text for _b, _n, n in reading.tune.written()] == ["so", "]dear", "]dear]", "one"]
