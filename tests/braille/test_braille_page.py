"""What stands around the notes: headings, signatures, slurs that meet, mixed groups, the ends of lines and sheets. Sources as in
the other files: De Garmo by chapter, Music Braille Code 2015 (MBC), New International Manual (NIM)."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest
from braille.corpus import one_line
from braille.made import to_brf

from companion.braille import SPACE, Habits, ProblemCode, decode, encode, from_brf, from_dots, signs, to_ascii, words
from companion.braille.expressions import metronome_cells
from companion.errors import Trouble
from companion.tune import Bar, Barline, DirectionKind, Display, Key, Mark, Note, Pitch, ScoreDirection, Time, Tune, Tuplet

FOUR = Time((4,), 4)


def n(name: str, base: float | Fraction = 1, **more: object) -> Note:
    return Note(pitch=Pitch(name[0], int(name[-1])), base=Fraction(base), **more)  # type: ignore[arg-type]


ROW = (n("C4"), n("D4"), n("E4"), n("F4"))


def tune(*bars: Bar, **more: object) -> Tune:
    made = [replace(bar, number=i + 1) for i, bar in enumerate(bars)]
    made[0] = replace(made[0], key=made[0].key or Key(0), time=made[0].time or FOUR)
    return Tune(bars=tuple(made), **({"title": ""} | more))  # type: ignore[arg-type]


def bar(*notes: Note, **more: object) -> Bar:
    return Bar(number=0, notes=notes or ROW, **more)  # type: ignore[arg-type]


# --- headings ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("title", ["", "Hill", "A very long title that needs more than one line of the page", "Song 3.",
                                   "Emperor of Germany's March.", "New Stepney March.", "Come now for Jest & smiling."])
@pytest.mark.parametrize("composer", ["", "Nobody"])
@pytest.mark.parametrize("tempo", ["", "Slow", "Slow and with feeling"])
@pytest.mark.parametrize("metronome", ["", "1=96"])
def test_headings_come_back(title: str, composer: str, tempo: str, metronome: str) -> None:
    """MBC 2015, section 1 and De Garmo, chapter 13: title, then tempo, metronome mark and signatures, each line centred."""
    before = tuple(ScoreDirection(kind, text) for kind, text in ((DirectionKind.WORDS, tempo),
                                                                (DirectionKind.METRONOME, metronome)) if text)
    made = tune(bar(replace(ROW[0], before=before), *ROW[1:]), bar(), title=title, composer=composer)
    for width in (40, 28):
        page = encode(made, width=width)
        assert max(map(len, page.lines)) <= width
        for line in page.lines[:-1]:
            left = len(line) - len(line.lstrip(SPACE))
            assert left <= width - len(line) + 1 <= left + 2, line
        back = decode(page.lines)
        assert back.problems == ()
        if not title and (composer or len(page.lines) > 2):
            continue  # the first line of several is the title
        assert (back.tune.title, back.tune.composer, back.tune.heading) == (title, composer, tempo)
        assert {d for note in back.tune.bars[0].notes for d in note.before} == set(before)
        assert [b.notes[1:] for b in back.tune.bars] == [b.notes[1:] for b in made.bars]


@pytest.mark.parametrize("length", range(22, 31))
def test_a_heading_leaves_three_cells_on_each_side(length: int) -> None:
    """music21.braille.basic.transcribeHeading (De Garmo, chapter 13): words of tempo stand beside the signatures where three
    cells stay empty on each side, else on a line of their own."""
    from music21 import key, meter, tempo
    from music21.braille.basic import transcribeHeading

    words_of_tempo = "A" + "a" * (length - 1)
    theirs = transcribeHeading(key.KeySignature(2), meter.TimeSignature("4/4"), tempo.TempoText(words_of_tempo), None)
    ours = encode(tune(bar(key=Key(2)), heading=words_of_tempo)).lines[:-1]
    assert [line.strip(SPACE) for line in ours] == [line.strip(SPACE) for line in theirs.split("\n")]


def test_signatures_are_written_where_they_change_alone() -> None:
    """De Garmo, chapter 10: a signature that a score gives again is none."""
    again = tune(bar(key=Key(1), time=FOUR), bar(n("C4", 4)), bar(key=Key(1), time=FOUR), bar(n("D4", 4)))
    assert one_line(again) == one_line(tune(bar(key=Key(1)), bar(n("C4", 4)), bar(), bar(n("D4", 4))))
    there_and_back = tune(bar(), bar(n("C4", 2), n("D4"), time=Time((3,), 4)), bar(time=FOUR), bar(n("E4", 4)))
    read = decode(encode(there_and_back).lines)
    assert [b.time for b in read.tune.bars] == [FOUR, Time((3,), 4), FOUR, None]
    assert read.problems == ()


def test_a_metronome_mark_has_one_note_with_cells_of_its_own() -> None:
    """De Garmo, chapter 8: a semibreve to a quaver, dotted or not; what is none is left away."""
    assert [bool(metronome_cells(text)) for text in ("4=30", "2=60", "1=60", "1/2=60", "3=60", "3/2=60", "3/4=60", "7/2=60")] == [
        True] * 8
    assert [metronome_cells(text) for text in ("8=60", "1/4=60", "1/3=60", "5/4=60", "0=60")] == [""] * 5


# --- slurs --------------------------------------------------------------------------------------------------------


def slurs(*spans: tuple[int, int], count: int = 16) -> tuple[Note, ...]:
    notes = [n("CDEFGAB"[i % 7] + "4", Fraction(1, 2)) for i in range(count)]
    for first, last in spans:
        notes[first] = replace(notes[first], slur_starts=notes[first].slur_starts + 1)
        notes[last] = replace(notes[last], slur_stops=notes[last].slur_stops + 1)
    return tuple(notes)


@pytest.mark.parametrize("spans", [((0, 5),), ((0, 5), (5, 10)), ((0, 5), (6, 10)), ((0, 10), (2, 8)), ((0, 4), (4, 8), (8, 12)),
                                   ((0, 15),), ((0, 7), (8, 15))])
def test_slurs_that_meet_and_lie_within_each_other(spans: tuple[tuple[int, int], ...]) -> None:
    """De Garmo, chapter 12: brackets; where one ends at the note at which the next begins both stand there, and one that begins
    within another ends within it: what is kept of a score does not say which of two ends."""
    made = tune(bar(*slurs(*spans), time=Time((8,), 4)))
    cells = one_line(made)
    assert (cells.count(signs.SLUR_OPEN), cells.count(signs.SLUR_CLOSE)) == (len(spans), len(spans))
    back = decode(encode(made).lines)
    assert back.problems == ()
    assert [(x.slur_starts, x.slur_stops) for x in back.tune.bars[0].notes] == [
        (x.slur_starts, x.slur_stops) for x in made.bars[0].notes]


def test_short_slurs_side_by_side() -> None:
    """De Garmo, chapter 12: the single sign after all but the last note of each."""
    made = tune(bar(*slurs((0, 1), (2, 3), (5, 7), count=8)))
    assert one_line(made) == "⠐⠙⠉⠑⠋⠉⠛⠓⠊⠉⠚⠉⠐⠙"
    back = decode(encode(made).lines).tune.bars[0].notes
    assert [(x.slur_starts, x.slur_stops) for x in back] == [(x.slur_starts, x.slur_stops) for x in made.bars[0].notes]


# --- groups --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("values", [
    (Fraction(1, 2), Fraction(1, 4), Fraction(1, 4), Fraction(1, 2)), (Fraction(1), Fraction(1, 2)), (Fraction(1, 2),
    Fraction(1)), (Fraction(1, 4), Fraction(1, 2), Fraction(3, 4)),
    (Fraction(3, 4), Fraction(1, 4), Fraction(1, 2)), (Fraction(1),) * 3, (Fraction(1, 8),) * 3, (Fraction(2), Fraction(1)),
])
@pytest.mark.parametrize("others", [0, 1, 2])
def test_mixed_groups_of_three(values: tuple[Fraction, ...], others: int) -> None:
    """De Garmo, chapter 16: what stands in a triplet need not be three equal notes; other notes stand before and after it."""
    row = []
    for k, value in enumerate(values):
        dots = int(value.numerator == 3)
        place = "start" if k == 0 else "stop" if k == len(values) - 1 else ""
        row.append(n("CDEFGA"[k] + "4", value * 2 / 3 if dots else value, dots=dots, tuplet=Tuplet(3, 2, place)))
    used = sum(note.quarters for note in row)
    base = next(b for b in (Fraction(1, 2), Fraction(1, 4), Fraction(1, 8)) if (4 - used) % b == 0)
    rest = [n("G4", base)] * int((4 - used) / base)
    cut = others * len(rest) // 2
    made = tune(bar(*rest[:cut], *row, *rest[cut:]))
    back = decode(encode(made, width=60).lines)
    assert back.problems == ()
    assert [(x.base, x.dots, x.tuplet) for x in back.tune.bars[0].notes] == [
        (x.base, x.dots, x.tuplet) for x in made.bars[0].notes]


def test_a_bracket_over_two_triplets_is_two_groups() -> None:
    """De Garmo, chapter 16: three notes a group; six equal ones under one bracket of three in the time of two are two."""
    row = tuple(n("CDEFGA"[k] + "4", Fraction(1, 4), tuplet=Tuplet(3, 2, "start" if k == 0 else "stop" if k == 5 else ""))
                for k in range(6))
    made = tune(bar(*row, n("G4", 1), n("G4", 2)))
    assert one_line(made).count(signs.TRIPLET) == 2
    back = decode(encode(made).lines)
    assert back.problems == ()
    assert [x.quarters for x in back.tune.bars[0].notes] == [x.quarters for x in made.bars[0].notes]


# --- lines and sheets -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", range(14, 34))
def test_lines_are_filled_and_never_too_long(width: int) -> None:
    """A bar, a bar repeat or bars of rest stand on a line where they fit, to its last cell, and on the next where not."""
    silent = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    other = (n("E4"), n("D4"), n("C4"), n("D4"))
    rows = [ROW, ROW, other, other, other, other, ROW, *[silent] * 4, ROW, other, other, *[silent] * 2, ROW]
    made = tune(*(bar(*row) for row in rows))
    lines = encode(made, width=width).lines[1:]
    assert max(map(len, lines)) <= width
    for line, later in itertools.pairwise(lines):
        first = later.lstrip(SPACE).split(SPACE)[0]
        marked = signs.BAR_REPEAT + signs.NUMBER in line.split(SPACE)[-1]  # after a number the mark is due all the same
        without = first[1:] if first[0] == signs.OCTAVES[4] and not marked else first
        assert len(line) + 1 + len(without) > width, (line, later)
    assert [b.notes for b in decode(encode(made, width=width).lines).tune.bars] == [b.notes for b in made.bars]


@pytest.mark.parametrize("width", range(14, 30))
def test_the_first_note_of_a_line_has_a_mark_after_bars_of_rest_too(width: int) -> None:
    """MBC 2015, 3.2: rests before it do not take the place of the first note of a line."""
    silent = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    for count in (1, 2):
        made = tune(*[bar(*row) for row in (ROW, *[silent] * count) * 6])
        page = encode(made, width=width, habits=Habits(repeats=count > 1))
        back = decode(page.lines)
        assert back.problems == () == back.hints, page.lines
        assert [b.notes for b in back.tune.bars] == [b.notes for b in made.bars]
        for line in page.lines[1:]:
            first = next((g for g in line.split(SPACE) if g and g.strip(signs.WHOLE_REST)), signs.OCTAVES[4])
            assert first.lstrip(signs.WHOLE_REST).startswith(signs.OCTAVES[4]), line


@pytest.mark.parametrize("length", range(8, 18))
def test_a_running_head_leaves_three_cells_before_the_number(length: int) -> None:
    """MBC 1: at least three empty cells between the title and the page number; a longer title is cut."""
    made = tune(*[bar()] * 3, *[bar(n("E4"), n("D4"), n("C4"), n("D4")), bar()] * 6, title="a" * length)
    page = encode(made, width=18)
    width = max(map(len, page.lines))
    sheets = to_brf(page, height=5, numbered=True).decode().split("\f")
    head = sheets[1].split("\r\n")[0]
    assert len(head) == width
    assert head.endswith("   #B")
    assert head[:-5].strip() == ("A" * length if length <= width - 5 else "A" * (width - 6) + "-")
    assert from_brf(to_brf(page, height=5, numbered=True)) == [line.rstrip(SPACE) for line in page.lines]
    assert to_ascii(page.lines[0]).strip() == "A" * length


def test_bar_numbers_of_several_figures() -> None:
    """De Garmo, chapter 10: the number of a line's first bar, of as many figures as it has."""
    head = encode(tune(bar())).lines[0]
    for number, dots in ((7, "3456-1245"), (12, "3456-1-12"), (123, "3456-1-12-14"), (1234, "3456-1-12-14-145")):
        reading = decode([head, from_dots(dots + "-0-5-1456-156-1246-12456")])
        assert (reading.problems, [b.number for b in reading.tune.bars]) == ((), [number])


def test_a_jump_is_said_at_the_end_of_its_bar() -> None:
    """De Garmo, chapter 17: da capo and the like stand after the bar, between word signs."""
    go = ScoreDirection(DirectionKind.JUMP, "da capo")
    made = tune(bar(), bar(n("E4", 4), after=(go,), barline=Barline.DOUBLE), bar(n("C4", 4)))
    back = decode(encode(made).lines)
    assert [b.after for b in back.tune.bars] == [(), (go,), ()]
    assert back.problems == ()
    slow = ScoreDirection(DirectionKind.WORDS, "poco a poco")
    back = decode(encode(tune(bar(), bar(n("E4", 4, before=(slow,))))).lines)
    assert [b.after for b in back.tune.bars] == [(), ()]
    assert back.tune.bars[1].notes[0].before == (slow,)


def test_a_wrong_bar_that_is_repeated_is_said_once() -> None:
    head = encode(tune(bar())).lines[0]
    lines = [head, from_dots("5-1456-156-1246-12456-0-1456-156-1246-0-2356-0-2356-0-5-1456-156-1246-12456-0-5-13456")]
    assert [(p.code, p.bar) for p in decode(lines).problems] == [(ProblemCode.BEATS, 2)]


def test_hairpins_end_with_their_own_sign() -> None:
    """music21 and De Garmo, chapter 13: what grows louder and what grows softer end with different signs."""
    for kind, cells in ((DirectionKind.CRESCENDO, "345-25"), (DirectionKind.DIMINUENDO, "345-256")):
        made = tune(bar(replace(ROW[0], before=(ScoreDirection(kind),)), ROW[1], ROW[2],
                        replace(ROW[3], before=(ScoreDirection(DirectionKind.HAIRPIN_END),))))
        assert from_dots(cells) in one_line(made)
        back = decode(encode(made).lines).tune.bars[0].notes
        assert [tuple(d.kind for d in note.before) for note in back] == [(kind,), (), (), (DirectionKind.HAIRPIN_END,)]


@pytest.mark.parametrize("text", sorted(signs.DYNAMICS))
def test_dynamics_before_any_sign(text: str) -> None:
    """De Garmo, chapter 13: a dot 3 keeps a dynamic from what follows and is no point of its own."""
    said = ScoreDirection(DirectionKind.DYNAMIC, text)
    for more in ({}, {"marks": (Mark.STACCATO,)}, {"marks": (Mark.TRILL,)}, {"tuplet": Tuplet(3, 2, "start")}):
        row = [replace(note, base=Fraction(1, 2), tuplet=Tuplet(3, 2, place)) if "tuplet" in more else note
               for note, place in zip((*ROW, n("G4")), ("start", "", "stop", "", ""), strict=True)]
        first = replace(row[0], before=(said,), **more)
        notes = (first, *row[1:3], n("F4", 1), n("G4", 2)) if "tuplet" in more else (first, *row[1:4])
        back = decode(encode(tune(bar(*notes))).lines)
        assert back.problems == ()
        assert back.tune.bars[0].notes[0].before == (said,)
    # Other writers may set the dot before every sign.
    head, cells = encode(tune(bar())).lines[0], "".join(signs.LETTERS[c] for c in text)
    back = decode([head, signs.WORD + cells + signs.DOT + from_dots("5-1456-156-1246-12456")])
    assert back.tune.bars[0].notes[0].before == (said,)


def test_an_editors_accidental_stands_in_brackets() -> None:
    """De Garmo, chapter 10 and music21.braille.lookup: dots 6 3 before and after the sign."""
    sharp = replace(ROW[3], pitch=Pitch("F", 4, 1), accidental=Display.EDITORIAL)
    assert one_line(tune(bar(*ROW[:3], sharp))) == from_dots("5-1456-156-1246-6-3-146-6-3-12456")
    back = decode(encode(tune(bar(*ROW[:3], sharp))).lines)
    assert (back.problems, back.tune.bars[0].notes[3]) == ((), sharp)


def test_repeats_may_be_left_out() -> None:
    made = tune(bar(), bar(), bar(n("C4", 4)))
    assert signs.BAR_REPEAT not in one_line(made, Habits(repeats=False))
    assert words("a") == from_dots("1")


@pytest.mark.parametrize("width", [40, 28, 20])
@pytest.mark.parametrize("title", [
    "DEUTSCHLAND ÜBER ALLES NACH DER WEISE VON HAYDN", "DONAUDAMPFSCHIFFFAHRTSGESELLSCHAFTSLIED NR 12",
    "Donaudampfschifffahrtsgesellschaftskapitänslied", "DEUTSCHLANDLIED WOHLTEMPERIERTES-KLAVIERBÜCHLEIN",
    "BEAD BEAD BEAD BEAD BEAD BEAD",
    "Hin- und Rückweg durch den Wald- und Wiesengrund"])
def test_long_titles_come_back(title: str, width: int) -> None:
    """A passage in capitals runs on from line to line (UEB 8.5); a word longer than a line is cut with a hyphen, and no sign of
    several cells is parted."""
    made = tune(Bar(number=1, notes=ROW, time=FOUR), Bar(number=2, notes=ROW), title=title,
                composer="ANNA VON DER MOSEL UND BRUDER")
    page = encode(made, width=width)
    back = decode(page.lines).tune
    assert (back.title, back.composer) == (made.title, made.composer)
    assert max(map(len, page.lines)) <= width
    if width == 20 and "Donau" in title:
        assert page.lines[0].endswith("⠤")


def test_long_words_of_tempo_run_on_below_a_composer() -> None:
    made = tune(bar(), bar(), title="One", composer="Ann Lee", heading="Slowly and with a great deal of feeling, as it comes")
    for width in (40, 28, 20):
        back = decode(encode(made, width=width).lines).tune
        assert (back.title, back.composer, back.heading) == (made.title, made.composer, made.heading), width


def test_groups_in_a_time_of_their_own_are_refused() -> None:
    """A group's sign has the number of its notes alone (De Garmo, chapter 16); eight in compound time stand for six."""
    def group(actual: int, normal: int, time: Time) -> Tune:
        notes = tuple(n("C4", 0.25, tuplet=Tuplet(actual, normal, "start" if k == 0 else "stop" if k == actual - 1 else ""))
                      for k in range(actual))
        return tune(bar(*notes, time=time))

    eight = group(8, 6, Time((3,), 8))
    assert [note.tuplet for _b, _n, note in decode(encode(eight).lines).tune.written()] == [
        note.tuplet for _b, _n, note in eight.written()]
    with pytest.raises(Trouble, match="7 notes in the time of 6, which in braille would be read as in the time of 4"):
        encode(group(7, 6, Time((3,), 8)))


def test_the_bar_line_stands_after_the_last_of_two_repeats() -> None:
    """De Garmo, chapter 17: two bars like the one before have a sign each; what ends the piece comes after the second."""
    made = tune(bar(), bar(), bar(barline=Barline.FINAL), bar())
    assert one_line(made).startswith("⠐⠹⠱⠫⠻⠀⠶⠀⠶⠣⠅⠀⠐")


def test_a_tie_carries_its_accidental_to_one_note_alone() -> None:
    """De Garmo, chapter 6: over the bar line the tied note has no sign; the same letter after it is as the key has it."""
    back = decode(["⠀⠀⠀⠀⠼⠃⠲", "⠐⠱⠩⠹⠈⠉⠀⠹⠹⠣⠅"])
    assert back.problems == ()
    assert [[n.pitch.alter for n in b.notes if n.pitch] for b in back.tune.bars] == [[0, 1], [1, 0]]


def test_figures_in_words_of_the_music() -> None:
    """MBC 2015, section 22, from memory: figures in words have the number sign and upper cells. What is no word is left out."""
    made = tune(bar(n("C4", before=(ScoreDirection(DirectionKind.WORDS, "tempo 10"),)), *ROW[1:]),
                bar(n("C4", before=(ScoreDirection(DirectionKind.WORDS, "."),)), *ROW[1:]),
                bar(n("C4", before=(ScoreDirection(DirectionKind.WORDS, "— dolce & lento —"),)), *ROW[1:]))
    assert to_ascii(one_line(made)) == ">TEMPO #AJ> \"?:$] ?:$] >DOLCE LENTO> \"?:$]"
    back = decode(encode(made).lines)
    assert back.problems == ()
    assert [d.text for _b, _n, note in back.tune.written() for d in note.before] == ["tempo 10", "dolce lento"]
