"""The reader as a proof-reader, and what it makes of signs that our own tunes do not have."""

from dataclasses import replace
from fractions import Fraction

import pytest
from braille.corpus import one_line
from braille.made import FOUR, note, tune

from companion.braille import Habits, Problem, ProblemCode, decode, encode, from_dots, lines_of, to_ascii, to_dots, words
from companion.braille import signs as S
from companion.braille.signs import WHOLE_REST
from companion.errors import Trouble
from companion.language import English
from companion.language.braille import reading_json, reading_lines, say_problem
from companion.tune import (
    Bar,
    Barline,
    DirectionKind,
    Grace,
    Key,
    Mark,
    Note,
    Pitch,
    ScoreDirection,
    Syllable,
    Time,
    Tune,
    load,
    shipped_names,
)


def names(lines: list[str]) -> list[str]:
    return [n.pitch.name if n.pitch else "rest" for _, _, n in decode(lines).tune.written()]


def problems(*lines: str) -> list[tuple[int, int, str]]:
    return [(p.line, p.column, say_problem(English(), p)) for p in decode(list(lines)).problems]


# Headings of a signature by itself stand in the middle of a line.
HEAD = "⠀⠀⠀⠀⠀⠀⠀⠀⠀⠀⠼⠙⠲"


def test_a_right_page_has_nothing_amiss() -> None:
    assert problems(HEAD, "⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅") == []


@pytest.mark.parametrize(("lines", "line", "column", "say"), [
    (["⠐⠹⠱⠫⠻⠪⠀⠗⠏⠣⠅"], 2, 1, "Bar 1 has 5 beats; 4 are wanted."),
    (["⠐⠹⠱⠫⠻⠀⠗⠫⠀⠗⠏⠣⠅"], 2, 7, "Bar 2 has 3 beats; 4 are wanted."),
    (["⠐⠹⠱⠫⠻⠀⠗⠫⠋⠀⠗⠏⠣⠅"], 2, 7, "Bar 2 has 3 and a half beats; 4 are wanted."),
    (["⠹⠱⠫⠻⠀⠗⠏⠣⠅"], 2, 1, "The first note of the tune wants an octave mark."),
    (["⠐⠹⠱⠫⠻", "⠀⠀⠗⠏⠣⠅"], 3, 3, "The first note of a line wants an octave mark."),
    (["⠐⠹⠱⠫⠻⠣⠅⠄⠀⠗⠏⠣⠅"], 2, 10, "After a double bar the next note wants an octave mark."),
    (["⠐⠹⠱⠫⠻⠣⠆⠀⠗⠏⠣⠅"], 2, 9, "After a repeat sign the next note wants an octave mark."),
    (["⠐⠹⠱⠫⠻⠀⠩⠩⠀⠗⠏⠣⠅"], 2, 10, "After a change of key or time the next note wants an octave mark."),
    (["⠐⠩⠹⠱⠫⠻⠀⠗⠏⠣⠅"], 2, 2, "The sharp stands after the octave mark; it belongs before it."),
    (["⠐⠹⠐⠧⠫⠻⠀⠗⠏⠣⠅"], 2, 3, "A rest has neither octave mark nor accidental; they are passed over."),
    (["⠐⠹⠱⠫⠻⠩⠀⠗⠏⠣⠅"], 2, 6, "The sharp has no note after it."),
    (["⠐⠹⠱⠲⠫⠻⠀⠗⠏⠣⠅"], 2, 4, "A sign that is not known here: dots 2 5 6. It is passed over."),
    (["⠐⠹⠈⠉⠱⠫⠻⠀⠗⠏⠣⠅"], 2, 5, "The tie before this note leads to another pitch; a tie joins two notes of the "
                             "same pitch."),
    (["⠐⠹⠱⠫⠻⠣⠜⠐⠝⠕⠀⠗⠏⠣⠅"], 2, 6, "Here begins a second voice in the same bar; only one voice at a time is read."),
    (["⠐⠹⠱⠫⠻⠘⠆⠀⠗⠏⠣⠅"], 2, 5, "A long slur ends here that never began."),
    (["⠐⠹⠱⠫⠻x⠀⠗⠏⠣⠅"], 2, 6, "This is no braille cell; it is passed over."),
    (["⠶⠀⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅"], 2, 1, "The bar repeat has no bar before it; it is passed over."),
])
def test_proof_reading(lines: list[str], line: int, column: int, say: str) -> None:
    assert (line, column, say) in problems(HEAD, *lines)


def test_what_is_not_understood_does_not_stop_the_rest() -> None:
    assert names([HEAD, "⠐⠹⠱⠲⠔⠲⠫⠻⠀⠗⠏⠣⠅"]) == ["C4", "D4", "E4", "F4", "G4", "E4"]
    assert decode([]).problems == (Problem(1, 1, ProblemCode.NO_MUSIC),)
    assert decode(["xyz"]).tune.bars == ()


def test_a_pickup_and_its_complement_are_right() -> None:
    reading = decode(["⠀⠀⠀⠀⠀⠀⠼⠉⠲", "⠐⠹⠀⠱⠫⠻⠀⠗⠣⠅"])
    assert reading.problems == ()
    assert [b.number for b in reading.tune.bars] == [0, 1, 2]


def test_octaves_come_back_by_the_rule() -> None:
    """MBC 2015, 3.2.2 read backwards: B to C without a mark is up a second, C to G up a fifth in its octave."""
    assert names([HEAD, "⠐⠺⠹⠱⠫"]) == ["B4", "C5", "D5", "E5"]
    assert names([HEAD, "⠐⠹⠳⠻⠹"]) == ["C4", "G4", "F4", "C4"]
    assert names([HEAD, "⠐⠳⠨⠹⠐⠫⠹"]) == ["G4", "C5", "E4", "C4"]


def test_the_margin_of_the_paper_is_counted_where_places_are_said() -> None:
    """All lines set in alike, as an embosser's margin is: the same is read, and its places lie so much farther in."""
    lines = ["⠀⠀⠀⠀⠼⠙⠲", "⠐⠹⠱⠫⠻⠀⠯⠯", "⠀⠀⠐⠹⠱⠫⠿⠿⠿"]
    plain, set_in = decode(lines), decode([f"⠀⠀⠀{line}" for line in lines])
    assert set_in.tune.bars == plain.tune.bars
    assert [(p.line, p.column, p.code) for p in plain.problems] == [(2, 7, ProblemCode.BEATS), (3, 3, ProblemCode.BEATS)]
    assert [(p.line, p.column - 3, p.code) for p in set_in.problems] == [(p.line, p.column, p.code) for p in plain.problems]
    assert [(s.line, s.column - 3) for s in set_in.said] == [(s.line, s.column) for s in plain.said]


def test_measure_numbers_at_the_margin() -> None:
    """De Garmo's examples begin a segment with its first bar's number."""
    reading = decode([HEAD, "⠼⠑⠀⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅"])
    assert [b.number for b in reading.tune.bars] == [5, 6]


def test_bar_repeats() -> None:
    four = (note("C4"), note("D4"), note("E4"), note("F4"))
    once = tune(four, four, (note("G4", 4),))
    assert one_line(once) == "⠐⠹⠱⠫⠻⠀⠶⠀⠷"
    many = tune(four, four, four, four, (note("G4", 4),))
    assert one_line(many) == "⠐⠹⠱⠫⠻⠀⠶⠼⠉⠀⠐⠷"  # after a number the next note has its mark (De Garmo, 17-5)
    for t in (once, many):
        page = encode(t)
        reading = decode(page.lines)
        assert [b.notes for b in reading.tune.bars] == [b.notes for b in t.bars]
        assert reading.links == page.links
    assert one_line(once, Habits(repeats=False)) == "⠐⠹⠱⠫⠻⠀⠹⠱⠫⠻⠀⠷"


def test_part_bar_repeats_are_read() -> None:
    """The part before the sign again, of the length that the bar lacks: half a bar, and a beat three times."""
    assert names([HEAD, "⠐⠹⠱⠶⠀⠗⠏⠣⠅"]) == ["C4", "D4", "C4", "D4", "G4", "E4"]
    assert names([HEAD, "⠐⠹⠶⠶⠶⠀⠗⠏⠣⠅"]) == ["C4"] * 4 + ["G4", "E4"]
    assert problems(HEAD, "⠐⠹⠱⠶⠀⠗⠏⠣⠅") == []


def test_part_bar_repeats_are_written_when_asked_for() -> None:
    half = tune((note("C4"), note("D4"), note("C4"), note("D4")), (note("G4", 4),))
    assert one_line(half, Habits(part_repeats=True)) == "⠐⠹⠱⠶⠀⠷"
    beat = tune((note("C4", 0.5), note("E4", 0.5)) * 4, (note("G4", 4),))
    assert one_line(beat, Habits(part_repeats=True)) == "⠐⠙⠋⠶⠶⠶⠀⠷"
    for t in (half, beat):
        page = encode(t, habits=Habits(part_repeats=True))
        assert [b.notes for b in decode(page.lines).tune.bars] == [b.notes for b in t.bars]
        assert [k.note for k in page.links] == list(range(1, sum(len(b.notes) for b in t.bars) + 1))


def test_rests_of_several_bars() -> None:
    """De Garmo, chapter 5: two and three bars with as many rests, more with a number."""
    bar = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    for count, cells in ((1, "⠍"), (2, "⠍⠍"), (3, "⠍⠍⠍"), (5, "⠼⠑⠍"), (12, "⠼⠁⠃⠍")):
        t = tune((note("C4", 4),), *[bar] * count, (note("C4", 4),))
        assert one_line(t).split("⠀")[1] == cells
        assert len(decode(encode(t).lines).tune.bars) == count + 2


@pytest.mark.parametrize("line", [Barline.FINAL, Barline.DOUBLE])
@pytest.mark.parametrize("count", [3, 4, 12])
def test_a_bar_line_follows_several_bars_at_once(line: Barline, count: int) -> None:
    """Rests and repeats with a number end in no ending's number, so no dot 3 parts them from the bar line (De Garmo,
    chapter 17 has that dot for endings alone)."""
    rest = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    four = (note("C4"), note("D4"), note("E4"), note("F4"))
    for bars, sign in (([four] + [rest] * count, WHOLE_REST), ([four] * (count + 1), "")):
        t = tune(*bars)
        t = replace(t, bars=(*t.bars[:-1], replace(t.bars[-1], barline=line)))
        cells = one_line(t).split("⠀")[1]
        assert S.DOT not in cells.removesuffix(line.sign.cells)
        assert cells.endswith(sign + line.sign.cells)
        back = decode(encode(t).lines)
        assert [b.notes for b in back.tune.bars] == [b.notes for b in t.bars]
        assert not back.problems
        assert back.tune.bars[-1].barline is line


def test_bars_of_rest_with_a_stray_dot_are_read() -> None:
    """Pages on which a dot 3 stands between the rest and the final bar: the bars count, the dot is said."""
    reading = decode([HEAD, "⠐⠹⠱⠫⠻⠀⠼⠙⠍⠄⠣⠅"])
    assert len(reading.tune.bars) == 5
    assert [(p.line, p.column) for p in reading.problems] == [(2, 10)]


def test_value_signs_where_the_bar_does_not_tell() -> None:
    """A semiquaver by itself in a bar has the cell of a semibreve: the sign for smaller values stands before it."""
    t = tune((note("C4", 0.25),), (note("C4", 4),), time=Time((5,), 4))
    assert to_dots(one_line(t).split("⠀")[0]) == "6-126-2-5-13456"
    assert decode(encode(t).lines).tune.bars[0].notes[0].base == Fraction(1, 4)


def test_grouping() -> None:
    """De Garmo, chapter 15: four semiquavers of a beat, the first in its true value; not where a quaver follows."""
    run = tuple(note(n, 0.25) for n in ("C4", "D4", "E4", "F4"))
    assert one_line(tune((*run, *run, note("C4", 2)))) == "⠐⠽⠑⠋⠛⠽⠑⠋⠛⠝"
    assert one_line(tune((*run, note("C4", 0.5), note("C4", 0.5), note("C4", 2)))) == "⠐⠽⠵⠯⠿⠙⠙⠝"
    rest = Note(pitch=None, base=Fraction(1, 4))
    assert one_line(tune((rest, *run[1:], note("C4", 1), note("C4", 2)))) == "⠍⠐⠑⠋⠛⠹⠝"


def test_a_group_is_not_parted_by_the_end_of_a_line() -> None:
    run = tuple(note(n, 0.25) for n in ("C4", "D4", "E4", "F4"))
    page = encode(tune((*run, *run, *run, *run)), width=12)
    assert page.lines[1:] == ("⠐⠽⠑⠋⠛⠽⠑⠋⠛⠐", "⠀⠀⠐⠽⠑⠋⠛⠽⠑⠋⠛")


def test_long_bars_are_divided_with_the_music_hyphen() -> None:
    page = encode(tune(tuple(note("C4", 0.5) for _ in range(20)), time=Time((10,), 4)), width=12)
    assert all(line.endswith("⠐") for line in page.lines[1:-1])
    assert all(line.lstrip("⠀").startswith("⠐") for line in page.lines[1:])
    assert decode(page.lines).problems == ()


def test_slurs_ties_and_marks() -> None:
    short = tune((note("C4", slur_starts=1), note("D4"), note("E4", slur_stops=1), note("F4")))
    assert one_line(short) == "⠐⠹⠉⠱⠉⠫⠻"
    rows = [note(n, 0.5) for n in ("C4", "D4", "E4", "F4", "G4", "A4", "B4")]
    from dataclasses import replace

    rows[0], rows[-1] = replace(rows[0], slur_starts=1), replace(rows[-1], slur_stops=1)
    long = tune((*rows, Note(pitch=None, base=Fraction(1, 2))))
    assert one_line(long) == "⠰⠃⠐⠙⠑⠋⠛⠓⠊⠚⠘⠆⠭"
    assert one_line(long, Habits(doubled_slurs=True)) == "⠐⠙⠉⠉⠑⠋⠛⠓⠊⠉⠚⠭"
    for habits in (Habits(), Habits(doubled_slurs=True)):
        back = decode(encode(long, habits=habits).lines).tune.bars[0].notes
        assert (back[0].slur_starts, back[6].slur_stops) == (1, 1)
    marked = tune(tuple(note("C4", marks=(Mark.STACCATO,)) for _ in range(4)))
    assert one_line(marked) == "⠦⠦⠐⠹⠹⠹⠦⠹"  # four alike: doubled, and once at the last (De Garmo, chapter 14)


def test_ornaments_grace_notes_hairpins_and_words() -> None:
    t = tune((note("D5", 0.5, grace=Grace.SHORT), note("C5", marks=(Mark.TRILL,)),
              note("B4", marks=(Mark.TURN, Mark.FERMATA), before=(ScoreDirection(DirectionKind.CRESCENDO),)),
              note("A4", before=(ScoreDirection(DirectionKind.HAIRPIN_END), ScoreDirection(DirectionKind.DYNAMIC, "mf"))),
              note("G4", before=(ScoreDirection(DirectionKind.WORDS, "dolce"),))))
    line = one_line(t)
    assert line.startswith("⠢⠨⠑⠖")  # short appoggiatura 26, D; trill 235
    back = decode(encode(t).lines).tune.bars[0].notes
    assert [n.grace for n in back] == ["short", "", "", "", ""]
    assert [set(n.marks) for n in back] == [set(), {"trill"}, {"turn", "fermata"}, set(), set()]
    assert [tuple((d.kind, d.text) for d in n.before) for n in back] == [
        (), (), (("crescendo", ""),), (("hairpin end", ""), ("dynamic", "mf")), (("words", "dolce"),)]


def test_metronome_tempo_and_composer() -> None:
    first = note("C4", 4, before=(ScoreDirection(DirectionKind.WORDS, "Andante"),
                                  ScoreDirection(DirectionKind.METRONOME, "1=96")))
    page = encode(Tune(title="A tune", composer="Nobody", bars=(Bar(number=1, notes=(first,), time=FOUR),)))
    assert [line.strip("⠀") for line in page.lines[:3]] == ["⠠⠁⠀⠞⠥⠝⠑", "⠃⠽⠀⠠⠝⠕⠃⠕⠙⠽", "⠠⠁⠝⠙⠁⠝⠞⠑⠲⠀⠹⠶⠼⠊⠋⠀⠼⠙⠲"]
    back = decode(page.lines).tune
    assert back.quarter_bpm == 96
    assert back.heading == "Andante"


@pytest.mark.parametrize("title", ["Song 3.", "Carol No. 1.", "24 songs", "Waltz 2, in C", "Op. 5 No. 3", "3."])
@pytest.mark.parametrize("composer", ["", "J. Bach"])
def test_titles_with_numbers(title: str, composer: str) -> None:
    """A number and a full stop have the cells of a time signature: in a title they are none."""
    t = replace(tune((note("C4"), note("D4"), note("E4"), note("F4")), (note("G4", 4),)), title=title, composer=composer)
    for width in (40, 28):
        back = decode(encode(t, width=width).lines)
        assert (back.tune.title, back.tune.composer, back.tune.heading) == (title, composer, "")
        assert [b.notes for b in back.tune.bars] == [b.notes for b in t.bars]
        assert back.tune.time == FOUR
        assert back.problems == ()
        assert reading_lines(English(), back)[0] == title.removesuffix(".") + "."


def test_what_was_read_before_changes_nothing() -> None:
    """The same bar at the beginning of a line, where its octave mark is due, and within one, where it is not."""
    within, moved = [HEAD, "⠐⠹⠱⠫⠻⠀⠳⠫⠱⠹⠀⠹⠱⠫⠻"], [HEAD, "⠐⠹⠱⠫⠻⠀⠳⠫⠱⠹", "⠹⠱⠫⠻"]
    decode(within)
    assert problems(*moved) == [(3, 1, "The first note of a line wants an octave mark.")]
    assert problems(*within) == []


@pytest.mark.parametrize(("music", "column", "code"), [
    ("⠐⠹⠱⠨⠫⠻", 4, ProblemCode.LEAP), ("⠐⠹⠱⠐⠫⠻", 4, ProblemCode.NEEDLESS_MARK),
    ("⠐⠹⠱⠫⠐⠻⠣⠅", 5, ProblemCode.NEEDLESS_MARK),
    ("⠐⠹⠉⠹⠫⠻", 1, ProblemCode.SLUR_BETWEEN_EQUALS), ("⠐⠹⠡⠱⠫⠻", 3, ProblemCode.NEEDLESS_ACCIDENTAL)])
def test_hints(music: str, column: int, code: ProblemCode) -> None:
    """What is odd is no problem (the rule is MBC 2015, 3.2.2): a hint, at its place, once."""
    reading = decode([HEAD, music])
    assert reading.problems == ()
    assert [(p.line, p.column, p.code) for p in reading.hints] == [(2, column, code)]


def test_a_bar_as_another_but_for_an_accidental_is_odd() -> None:
    """The rarer form is named, of two as rare the one without the sign, with the number of a bar of the other form."""
    said = "Bar {} is as bar {} but for an accidental. Is one missing, or one too many?"
    with_sign, without = "⠹⠫⠩⠻⠳", "⠹⠫⠻⠳"
    between = "⠀⠳⠻⠫⠱⠀"

    def found(*bars: str) -> list[tuple[int, int, str]]:
        return hints(HEAD, "⠐" + between.join(bars) + "⠣⠅")

    assert found(with_sign, without) == [(2, 15, said.format(3, 1))]
    assert found(without, with_sign, without) == [(2, 14, said.format(3, 1))]
    assert found(with_sign, with_sign) == []
    assert found(with_sign, "⠹⠫⠻⠻") == []  # another bar
    assert found("⠩⠏⠗", "⠏⠗") == []  # two notes say little


def test_a_page_whose_first_mark_was_forgotten_is_no_song() -> None:
    """Its first line stands at the margin and the others further in, as words and their music do."""
    music = [HEAD, "⠹⠱⠫⠻⠀⠳⠻⠫⠱", "⠀⠀⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅"]
    assert problems(*music) == [(2, 1, "The first note of the tune wants an octave mark.")]
    assert len(decode(music).tune.bars) == 4


def test_hints_that_real_music_gave_for_nothing_are_gone() -> None:
    """The same leap twice, a leap behind a double bar, equal notes on one syllable of a song with melismas."""
    leap = "⠨⠹⠱⠐⠹⠻"
    said = ProblemCode.LEAP
    assert [p.code for p in decode([HEAD, f"{leap}⠀⠗⠏⠣⠅"]).hints] == [said]
    assert decode([HEAD, f"{leap}⠀⠗⠏⠀{leap}⠣⠅"]).hints == ()
    assert decode([HEAD, "⠨⠹⠱⠫⠻⠣⠅⠄⠀⠸⠗⠏⠣⠅"]).hints == ()
    words_, song = "⠇⠁⠀⠎⠕⠀⠥⠏⠀⠓⠊⠀⠇⠁⠀⠎⠕", "⠀⠀⠐⠹⠉⠹⠫⠻⠀{}⠀⠹⠳"
    assert [p.code for p in decode([HEAD, words_, song.format("⠹⠉⠱⠉⠫⠉⠻")]).hints] == []
    assert [p.code for p in decode([HEAD, "⠇⠁⠀⠎⠕⠀⠥⠏", "⠀⠀⠐⠹⠉⠹⠫⠻"]).hints] == [ProblemCode.SLUR_BETWEEN_EQUALS]


@pytest.mark.parametrize("title", ["Hide", "High Hedge", "Jig"])
@pytest.mark.parametrize("indent", [3, 9, 17])
def test_a_title_of_note_letters_off_the_middle(title: str, indent: int) -> None:
    """Its capital sign has the cell of the seventh octave; the line with the signature below it is set in."""
    reading = decode(["⠀" * indent + words(title), HEAD, "⠐⠹⠱⠫⠻⠀⠗⠏⠣⠅"])
    assert (reading.tune.title, len(reading.tune.bars), reading.problems) == (title, 2, ())


def test_cautionary_accidentals_are_where_music21_puts_them() -> None:
    """Common practice, by music21's makeAccidentals: in the bar after an altered note the same letter is reminded of its
    signature, two bars after it is not; the first is no needless sign."""
    from music21 import meter, stream
    from music21 import note as notes21

    part = stream.Part()
    for name, first in (("F#4", True), ("F4", False), ("F4", False)):
        measure = stream.Measure()
        if first:
            measure.append(meter.TimeSignature("4/4"))
        measure.append(notes21.Note(name, quarterLength=4))
        part.append(measure)
    part.makeAccidentals(inPlace=True, cautionaryNotImmediateRepeat=False)
    shown = [bool(n.pitch.accidental and n.pitch.accidental.displayStatus) for n in part.recurse().notes]
    assert shown == [True, True, False]
    bars = [("⠩" if k == 0 else "⠡" if on else "") + ("⠐" if k == 0 else "") + "⠿" for k, on in enumerate(shown)]
    reading = decode([HEAD, "⠀".join(bars) + "⠣⠅"])
    assert (reading.problems, reading.hints) == ((), ())
    reading = decode([HEAD, "⠀".join([*bars[:2], "⠡⠿"]) + "⠣⠅"])
    assert [(p.column, p.code) for p in reading.hints] == [(8, ProblemCode.NEEDLESS_ACCIDENTAL)]


def test_who_plays_over_two_octaves_leaps() -> None:
    """More than an octave between two notes is a hint where all else lies within one; a tune that goes over two octaves leaps
    as it likes. Two slurs between equal notes among many others are how it is bowed."""
    assert [(p.line, p.code) for p in decode([HEAD, "⠐⠹⠱⠫⠻⠀⠨⠳⠻⠫⠱⠣⠅"]).hints] == [(2, ProblemCode.LEAP)]
    wide = decode([HEAD, "⠐⠹⠫⠳⠹⠀⠨⠫⠳⠪⠨⠹⠀⠐⠹⠫⠳⠨⠹⠀⠨⠫⠳⠪⠐⠪⠀⠐⠹⠫⠳⠹⠣⠅"]).hints
    assert ProblemCode.LEAP not in {p.code for p in wide}
    equal, other = "⠹⠉⠹⠫⠻", "⠳⠉⠪⠳⠉⠻"
    assert {p.code for p in decode([HEAD, f"⠐{equal}⠀{equal}⠣⠅"]).hints} == {ProblemCode.SLUR_BETWEEN_EQUALS}
    assert decode([HEAD, f"⠐{equal}⠀{equal}⠀{other}⠀{other}⠣⠅"]).hints == ()


def test_right_pages_have_few_hints() -> None:
    for name in shipped_names():
        assert decode(encode(load(name)).lines).hints == (), name


def test_octaves_and_words_are_said() -> None:
    t = _sung(*"one two three four five six sev'n eight".split(), slur=(0, 7))
    reading = decode(encode(t).lines)
    assert reading_lines(English(), reading)[2].startswith(
        "Bar 1, one two three four five six sev'n eight: C, fourth octave, quaver; D, fourth octave, quaver; ")
    made = reading_json(English(), reading)
    assert [(n["octave"], n["tie"], n["slur"], n["words"]) for n in made["notes"]][::7] == [
        (4, False, True, ["one"]), (5, False, False, ["eight"])]
    assert made["hints"] == []


def test_marks_ties_and_a_missing_final_bar_are_said() -> None:
    """De Garmo, chapters 4 and 14: staccato before the note, tie and fermata after it; a piece ends with a double bar."""
    lines = [HEAD, "⠦⠐⠹⠣⠇⠫⠈⠉⠫⠧⠀⠷"]
    said = reading_lines(English(), decode(lines))
    assert said[2] == ("Bar 1: C, fourth octave, crotchet, staccato, fermata; E, fourth octave, crotchet, tied; "
                       "E, fourth octave, crotchet; crotchet rest.")
    assert said[4:] == ["No double bar stands at the end.", "Nothing amiss was found."]
    assert reading_lines(English(), decode(lines), range(1, 2))[1:] == ["Nothing amiss was found."]
    assert reading_lines(English(), decode([lines[0], lines[1] + "⠣⠅"]))[4:] == ["Nothing amiss was found."]


def test_changes_of_key_and_time() -> None:
    """De Garmo, chapter 10: naturals take back what no longer holds; key and time stand together."""
    bars = (Bar(number=1, notes=(note("C4", 4),), key=Key(-4), time=FOUR),
            Bar(number=2, notes=(note("C4", 2, dots=1),), key=Key(-3), time=Time((3,), 4)),
            Bar(number=3, notes=(note("C4", 2, dots=1),), key=Key(0)))
    t = Tune(title="", bars=bars)
    assert one_line(t) == "⠐⠽⠀⠡⠣⠣⠣⠼⠉⠲⠀⠐⠝⠄⠀⠡⠡⠡⠀⠐⠝⠄"
    back = decode(encode(t).lines).tune.bars
    assert [(b.key, b.time) for b in back] == [(b.key, b.time) for b in bars]


def test_repeats_endings_and_jumps() -> None:
    c = (note("C4", 4),)
    bars = (Bar(number=1, notes=c, time=FOUR, forward_repeat=True),
            Bar(number=2, notes=(note("D4", 4),), ending=(1,), ending_stop=True, backward_repeat=2),
            Bar(number=3, notes=(note("E4", 4),), ending=(2,), ending_stop=True, barline=Barline.FINAL,
                after=(ScoreDirection(DirectionKind.JUMP, "da capo al fine"),)))
    t = Tune(title="", bars=bars)
    back = decode(encode(t).lines).tune.bars
    assert [(b.forward_repeat, b.backward_repeat, b.ending, b.ending_stop, b.after) for b in back] == [
        (b.forward_repeat, b.backward_repeat, b.ending, b.ending_stop, b.after) for b in bars]


def test_a_melisma_is_slurred() -> None:
    """MBC 2015, 35.2: the syllabic slur shows several notes on one syllable."""
    t = tune((note("C4", syllables=(Syllable("moon"),)), note("D4"), note("E4", syllables=(Syllable("lit"),)),
              note("F4")))
    assert encode(t).lines[-1].strip("⠀") == "⠐⠹⠉⠱⠫⠉⠻"
    back = decode(encode(t).lines).tune.bars[0].notes
    assert [n.syllables[0].text if n.syllables else "" for n in back] == ["moon", "", "lit", ""]


def _sung(*syllables: str, slur: tuple[int, int] | None = None) -> Tune:
    """Quavers up from C, each with its syllable ("" goes on with the one before). slur: first and last note of a mark."""
    pitches = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5")
    row = tuple(note(name, 0.5, syllables=(Syllable(text),) if text else (), slur_starts=int(slur is not None and k == slur[0]),
                     slur_stops=int(slur is not None and k == slur[1]))
                for k, (name, text) in enumerate(zip(pitches, syllables, strict=True)))
    return tune(row)


@pytest.mark.parametrize(("length", "cells"), [
    (2, "⠐⠙⠉⠑"), (3, "⠐⠙⠉⠑⠉⠋"), (4, "⠐⠙⠉⠑⠉⠋⠉⠛"), (5, "⠐⠙⠉⠉⠑⠋⠛⠉⠓"), (7, "⠐⠙⠉⠉⠑⠋⠛⠓⠊⠉⠚")])
@pytest.mark.parametrize("printed", [True, False])
def test_the_syllabic_slur(length: int, cells: str, printed: bool) -> None:
    """New International Manual 16-7: the slur between the notes of one syllable, doubled for more than four."""
    words = ["ah", *[""] * (length - 1), *"one two three four five six".split()[:8 - length]]
    t = _sung(*words, slur=(0, length - 1) if printed else None)
    line = encode(t).lines[-1].strip("⠀")
    assert line.startswith(cells)
    assert S.SLUR not in line.removeprefix(cells)
    assert S.SLUR_OPEN not in line
    back = decode(encode(t).lines)
    assert [n.syllables[0].text if n.syllables else "" for n in back.tune.bars[0].notes] == words
    assert encode(back.tune).lines[-1] == encode(t).lines[-1]


@pytest.mark.parametrize("last", [1, 3, 7])
def test_a_phrase_over_syllables_has_brackets(last: int) -> None:
    """New International Manual 16-7: the brackets are for phrases, however short, and words stay on their notes."""
    words = "one two three four five six sev'n eight".split()
    t = _sung(*words, slur=(0, last))
    line = encode(t).lines[-1].strip("⠀")
    assert (line.count(S.SLUR_OPEN), line.count(S.SLUR_CLOSE)) == (1, 1)
    assert S.SLUR not in line
    back = decode(encode(t).lines).tune.bars[0].notes
    assert [n.syllables[0].text for n in back] == words
    assert [(n.slur_starts, n.slur_stops) for n in back] == [(n.slur_starts, n.slur_stops) for n in t.bars[0].notes]


def test_verses_come_back() -> None:
    """Verses after the song, each with its number (our page's own form), are sung on the notes of the first."""
    verses = ("one two three four", "five, six seven eight", "nine ten more come")
    names = ("C4", "D4", "E4", "F4")
    t = tune(tuple(note(name, syllables=tuple(Syllable(v.split()[k]) for v in verses)) for k, name in enumerate(names)))
    for width in (40, 16):
        page = encode(t, width=width)
        back = decode(page.lines)
        assert [tuple(s.text if s else "" for s in n.syllables) for n in back.tune.bars[0].notes] == [
            tuple(v.split()[k] for v in verses) for k in range(4)]
        assert back.problems == ()
        assert encode(back.tune, width=width).lines == page.lines


def test_a_melisma_within_a_phrase() -> None:
    words = ["one", "two", "", "", "", "", "three", "four"]
    t = _sung(*words, slur=(0, 7))
    back = decode(encode(t).lines).tune.bars[0].notes
    assert [n.syllables[0].text if n.syllables else "" for n in back] == words
    assert encode(t).lines[-1].strip("⠀").count(S.SLUR) == 3  # doubled at the first of five notes, once before the last


def test_files_in_their_forms() -> None:
    page = encode(tune((note("C4"), note("D4"), note("E4"), note("F4"))))
    wanted = decode(page.lines).tune.bars
    forms = {
        "unicode": "\n".join(page.lines).encode(),
        "utf-16": "\n".join(page.lines).encode("utf-16"),
        "ascii": "\r\n".join(map(to_ascii, page.lines)).encode(),
        "lower case": "\n".join(map(to_ascii, page.lines)).lower().encode(),
        "dots": "\n".join(to_dots(line).strip() for line in page.lines).encode(),
    }
    for form, data in forms.items():
        assert decode(lines_of(data)).tune.bars == wanted, form
    assert from_dots("145") == "⠙"


def test_tunes_that_have_no_cells_say_which_bar() -> None:
    with pytest.raises(Trouble, match="Bar 2 has C9"):
        encode(tune((note("C4", 4),), (Note(pitch=Pitch("C", 9), base=Fraction(4)),)))
    with pytest.raises(Trouble, match="Bar 1 has a note raised or lowered by more than two semitones"):
        encode(tune((Note(pitch=Pitch("C", 4, 3), base=Fraction(4)),)))


def test_the_page_for_newcomers_is_true() -> None:
    """The bar of companion/braille/PAGE.md, its cells and what its table says of them."""
    from pathlib import Path

    import companion.braille

    page = (Path(companion.braille.__file__).parent / "PAGE.md").read_text(encoding="utf-8")
    bar = (note("F#4", 0.5), note("A4", 0.5), note("G#4"), note("D5"))
    cells = one_line(tune((note("D4"), note("D4"), note("D4")), bar, time=Time((3,), 4), key=2)).split("⠀")[1]
    assert f"    {cells}\n" in page
    rows = [[part.strip() for part in line.split("|")[1:-1]] for line in page.splitlines() if line.startswith("| ⠀"[:2])]
    table = [row for row in rows if len(row) == 4 and len(row[0]) == 1 and "⠀" <= row[0] <= "⣿"]
    assert "".join(row[0] for row in table) == cells
    assert [row[1].replace(" ", "") for row in table] == [to_dots(c) for c in cells]
    lines = encode(tune((note("D4"), note("D4"), note("D4")), bar, time=Time((3,), 4), key=2)).lines
    reading = decode(lines)
    assert [n.pitch.name for n in reading.tune.bars[1].notes if n.pitch] == ["F#4", "A4", "G#4", "D5"]
    without = [line.replace("⠨", "") for line in lines]
    assert [n.pitch.name for n in decode(without).tune.bars[1].notes if n.pitch][-1] == "D4"


def test_triplets_whose_beginnings_the_score_does_not_say() -> None:
    """Scores read from ABC have no brackets: the sign stands before every three equal values all the same."""
    from companion.tune import Tuplet

    row = tuple(note(n, 0.5, tuplet=Tuplet(3, 2)) for n in ("C4", "D4", "E4", "F4", "E4", "D4"))
    t = tune((*row, note("C4", 2)))
    assert one_line(t) == "⠐⠆⠙⠑⠋⠆⠛⠋⠑⠝".replace("⠐⠆", "⠆⠐")
    assert [n.quarters for n in decode(encode(t).lines).tune.bars[0].notes] == [n.quarters for n in t.bars[0].notes]


def test_a_tune_with_words_for_its_second_verse_only() -> None:
    t = tune((note("C4", 2, syllables=(None, Syllable("up"))), note("D4", 2)), (note("E4", 4),))
    reading = decode(encode(t, width=20).lines)
    assert [[n.pitch for n in b.notes] for b in reading.tune.bars] == [[n.pitch for n in b.notes] for b in t.bars]
    assert reading.problems == ()


def hints(*lines: str) -> list[tuple[int, int, str]]:
    return [(p.line, p.column, say_problem(English(), p)) for p in decode(list(lines)).hints]


def test_a_space_too_many_or_too_few_is_named() -> None:
    """Two bars that make one together, where nothing divides them; one that has the beats of two."""
    assert problems(HEAD, "⠐⠹⠱⠫⠻⠀⠹⠱⠀⠫⠻⠀⠗⠏⠣⠅") == [
        (2, 10, "A space too many: this and the bar before it make one bar.")]
    assert problems(HEAD, "⠐⠹⠱⠀⠫⠻⠀⠹⠱⠫⠻⠀⠗⠏⠣⠅") == [
        (2, 5, "A space too many: this and the bar before it make one bar.")]
    assert problems(HEAD, "⠐⠹⠱⠫⠻⠀⠗⠏⠀⠹⠱⠀⠫⠻⠣⠅") == [
        (2, 13, "A space too many: this and the bar before it make one bar.")]
    assert problems(HEAD, "⠐⠹⠱⠫⠻⠹⠱⠫⠻⠀⠗⠏⠣⠅") == [(2, 1, "A space is missing: bar 1 has the beats of two.")]
    # A double bar or a repeat divides a bar in two (common practice); a pickup has its other part at the end.
    assert problems(HEAD, "⠐⠹⠱⠫⠻⠀⠹⠱⠣⠆⠀⠐⠫⠻⠀⠐⠗⠏⠣⠅") == []
    assert problems(HEAD, "⠐⠹⠀⠱⠫⠻⠹⠀⠱⠫⠻⠣⠅") == []


def test_a_short_first_bar_beside_a_whole_last_one_is_odd() -> None:
    said = "The first bar is short, though the last one is whole. Is something missing here?"
    assert hints(HEAD, "⠐⠹⠱⠫⠀⠹⠱⠫⠻⠀⠗⠏⠣⠅") == [(2, 1, said)]
    assert hints(HEAD, "⠐⠹⠱⠀⠹⠱⠫⠻⠀⠗⠏⠣⠅") == []  # half a bar and less is a pickup, as a rule
    assert hints(HEAD, "⠐⠹⠀⠹⠱⠫⠻⠀⠗⠫⠣⠅") == []  # the last bar is its other part
    assert hints(HEAD, "⠐⠹⠀⠹⠱⠫⠻⠀⠗⠫⠣⠆⠀⠐⠹⠀⠹⠱⠫⠻⠀⠗⠏⠣⠅") == []  # so is one before a repeat


def test_a_bar_before_a_repeat_or_double_bar_is_whole_with_the_pickup() -> None:
    """Common practice: what is repeated from the beginning begins with the pickup again, so the bar before the sign lacks it,
    though a whole bar follows."""
    for sign in ("⠣⠆", "⠣⠅⠄"):
        assert problems(HEAD, f"⠐⠹⠀⠹⠱⠫⠻⠀⠗⠫{sign}⠀⠐⠹⠱⠫⠻⠀⠗⠫⠣⠅") == []
        assert problems(HEAD, f"⠐⠹⠀⠹⠱⠫⠻⠀⠗{sign}⠀⠐⠹⠱⠫⠻⠀⠗⠫⠣⠅") == [
            (2, 9, "Bar 2 has 2 beats; 4 are wanted.")]


def test_words_that_cannot_fit_their_notes_are_odd() -> None:
    """Each word wants a note, each syllable has a vowel: more words than notes, fewer vowels than notes."""
    four = "⠀⠀⠐⠹⠱⠫⠻"
    fits, many, few = "⠇⠁⠀⠎⠕⠀⠥⠏⠀⠓⠊", "⠇⠁⠀⠎⠕⠀⠥⠏⠀⠓⠊⠀⠇⠁", "⠇⠁⠀⠎⠕⠀⠥⠏"
    assert hints(HEAD, fits, four, fits, four) == []
    assert hints(HEAD, fits, four, many, four) == [
        (4, 1, "These words are 5, and the notes to sing them on 4. Is a note missing, or a slur too many?")]
    assert hints(HEAD, few, four, fits, four) == [
        (2, 1, "There are more notes here than these words have syllables. Is a slur missing?")]
