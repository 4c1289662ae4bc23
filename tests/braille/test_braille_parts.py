"""The parts of writer and reader by themselves. The source stands beside each expectation: De Garmo, Introduction to
Braille Music Transcription (2005), by chapter, or Music Braille Code 2015 (MBC); what is our own rule says so."""

from dataclasses import replace
from fractions import Fraction

import pytest
from braille.corpus import one_line
from braille.made import FOUR, rest, tune
from braille.made import note as n

from companion.braille import (
    Habits,
    ProblemCode,
    Role,
    decode,
    encode,
    from_dots,
    key_cells,
    signs,
    time_cells,
    to_dots,
    words,
    wrap,
)
from companion.braille.ahead import look_ahead
from companion.braille.expressions import expression_cells, metronome_cells, number_cells, stands_apart
from companion.braille.groups import read_metronome, read_signature
from companion.braille.notes import nearest_octave
from companion.braille.pieces import mark_due
from companion.braille.rhythm import (
    BASES,
    GROUP,
    LARGER,
    REST,
    REST_NOTE,
    SMALLER,
    UNITS,
    GroupCode,
    Value,
    beat,
    capacity,
    comes_out,
    normal_of,
    read_bar,
    write_bar,
)
from companion.braille.text import read_words
from companion.braille.units import UnitKind, unit
from companion.errors import Trouble
from companion.tune import (
    Barline,
    DirectionKind,
    Grace,
    Key,
    Mark,
    Note,
    ScoreDirection,
    Syllable,
    Time,
    Tuplet,
)

THREE, SIX_EIGHT = Time((3,), 4), Time((6,), 8)
FULL = capacity(FOUR)
SEMIBREVE, MINIM, CROTCHET, QUAVER, BREVE = range(5)  # rows of cells
SEMI = 5  # the place of the semiquaver in BASES


# --- the octave rule --------------------------------------------------------------------------------------------

def test_the_octave_rule_on_every_pair_of_notes() -> None:
    """MBC 2015, 3.2.2: less than a fourth no mark; more than a fifth always; a fourth or fifth only where the second
    note lies in another octave."""
    for before in range(63):
        for place in range(63):
            steps = abs(place - before)
            due = steps > 4 or (steps >= 3 and before // 7 != place // 7)
            assert mark_due(before, place) is due
            if not due:
                assert nearest_octave(before, place % 7) == place // 7
    assert mark_due(None, 30)


@pytest.mark.parametrize(("before", "letter", "octave"), [
    (4 * 7 + 0, 6, 3), (4 * 7 + 6, 0, 5),  # from C4 the B below, from B4 the C above: seconds
    (4 * 7 + 0, 4, 4), (4 * 7 + 4, 0, 4),  # a fifth stays in its octave
    (4 * 7 + 1, 6, 3), (4 * 7 + 5, 0, 5),  # a third into the next octave
])
def test_the_octave_of_a_note_without_a_mark(before: int, letter: int, octave: int) -> None:
    assert nearest_octave(before, letter) == octave


@pytest.mark.parametrize(("bars", "marked"), [
    ({"bar1": {"barline": Barline.DOUBLE}}, True), ({"bar1": {"barline": Barline.FINAL}}, True),
    ({"bar1": {"backward_repeat": 2}}, True), ({"bar2": {"forward_repeat": True}}, True),
    ({"bar2": {"ending": (1,)}}, True), ({"bar2": {"key": Key(1)}}, True), ({"bar2": {"time": THREE}}, True),
    ({"bar1": {"barline": Barline.DOTTED}}, False), ({}, False),
])
def test_octave_marks_after_breaks(bars: dict[str, dict[str, object]], marked: bool) -> None:
    """MBC 2015, 3.2: after a double bar, a repeat, an ending, a change of signature; a plain or dotted bar line is no
    break. The reader asks for the mark at the same places."""
    made = tune((n("C4", 4),), (n("D4", 2, dots=1),), **bars)
    second = one_line(made).split(signs.SPACE)[-1]
    assert (signs.OCTAVES[4] in second) is marked
    lines = list(encode(made).lines)
    due = {p.code for p in decode(lines).problems} - {ProblemCode.BEATS}
    assert due == set()
    unmarked = [lines[0], lines[1][:2] + lines[1][2:].replace(signs.OCTAVES[4], "")]
    wanted = [p.code for p in decode(unmarked).problems if p.code.startswith("mark-")]
    assert bool(wanted) is marked


@pytest.mark.parametrize("dots", [
    "345-145-135-123-14-15-3",  # dolce, kept apart
    "345-1234-3",  # p, kept apart
    "345-14-3", "345-145-3",  # hairpins
    "345-25-3", "345-256-3",  # their ends
    "346-3", "346-123-3",  # segno, coda
    "3456-2-3", "126-2356",  # first ending, repeat from here
])
def test_after_a_sign_that_breaks_the_line_the_next_note_has_a_mark(dots: str) -> None:
    """MBC 2015, 3.2: words, dynamics, hairpins, segno and coda, endings and repeats; with the mark nothing is amiss."""
    head = encode(tune((n("C4"),))).lines[0]
    before, after = from_dots("5-1456-156-1246-12456-0-"), from_dots("1246-1456-135")
    wanting = decode([head, before + from_dots(dots) + after]).problems
    assert [p.code for p in wanting] == [ProblemCode.MARK_AFTER_LEAD]
    right = decode([head, before + from_dots(dots) + from_dots("5") + after])
    assert right.problems == () == right.hints


@pytest.mark.parametrize("dots", range(5))
@pytest.mark.parametrize("base", [4, 2, 1, Fraction(1, 2)])
def test_notes_with_dots_come_back(base: Fraction, dots: int) -> None:
    """De Garmo, chapter 3: as many dots 3 as print has; four occur in print."""
    made = tune((n("C4", base, dots=dots), n("D4", base, dots=dots)), time=None)
    assert one_line(made).count(from_dots("3")) == 2 * dots
    read = decode(encode(made).lines)
    assert [(x.base, x.dots) for x in read.tune.bars[0].notes] == [(base, dots)] * 2
    assert read.problems == ()


def test_a_number_within_a_line_is_no_bar_number() -> None:
    """De Garmo, chapter 10: the number of a bar stands at the beginning of a line."""
    head = encode(tune((n("C4"),))).lines[0]
    bar = from_dots("5-1456-156-1246-12456")
    number = from_dots("3456-15")
    assert decode([head, number + signs.SPACE + bar]).problems == ()
    assert ProblemCode.UNKNOWN_SIGN in {p.code for p in decode([head, bar + signs.SPACE + number + signs.SPACE + bar]).problems}


def test_rests_are_no_break_and_words_are() -> None:
    """MBC 2015, 3.2.2 and 3.2: rests between notes do not change the rule; after a word sign the next note has a mark."""
    assert one_line(tune((n("C4"), rest(), n("D4"), rest()))) == from_dots("5-1456-1236-156-1236")
    dolce = ScoreDirection(DirectionKind.WORDS, "dolce")
    cells = one_line(tune((n("C4"), n("D4", before=(dolce,)), n("E4"), n("F4"))))
    assert cells == from_dots("5-1456-345") + words("dolce") + from_dots("5-156-1246-12456")


def test_the_first_note_of_every_line_has_a_mark() -> None:
    made = tune(*[(n("C4"), n("D4"), n("E4"), n("D4"))] * 2, *[(n("E4"), n("D4"), n("C4"), n("D4"))] * 4)
    for line in encode(made, width=14).lines[1:]:
        assert line.strip(signs.SPACE)[0] in (signs.OCTAVES[4], signs.BAR_REPEAT)


# --- values -----------------------------------------------------------------------------------------------------

def test_bars_and_beats_in_units() -> None:
    """A crotchet has 256 units; in compound time the beat is three of the lower figure (common practice)."""
    assert (UNITS, FULL, capacity(None)) == (256, 1024, 0)
    assert [beat(t) for t in (FOUR, THREE, Time((2,), 2), SIX_EIGHT, Time((3,), 8), Time((9,), 8))] == [
        256, 256, 512, 384, 384, 384]
    assert beat(Time((5,), 8)) == beat(Time((3, 2), 8)) == beat(Time((4, 2), 8)) == beat(Time((2, 2, 2), 8)) == 128
    assert beat(None) == 256


def test_how_many_stand_in_the_time_of_how_many() -> None:
    """Common practice: three in the time of two, five to seven of four, nine of eight; two and four of three."""
    assert {a: normal_of(a) for a in (2, 3, 4, 5, 6, 7, 9, 15)} == {2: 3, 3: 2, 4: 3, 5: 4, 6: 4, 7: 4, 9: 8, 15: 8}


@pytest.mark.parametrize(("shape", "bases"), [
    ((SEMIBREVE,), (0,)), ((MINIM, CROTCHET, QUAVER, QUAVER), (1, 2, 3, 3)),
    # Sixteen cells of the first row fill four crotchets as semiquavers; four of them with a minim's cell are a beat.
    ((SEMIBREVE,) * 16, (SEMI,) * 16),
    ((SEMIBREVE, SEMIBREVE, SEMIBREVE, SEMIBREVE, MINIM, CROTCHET), (SEMI,) * 4 + (1, 2)),
    ((SEMIBREVE,) + (QUAVER,) * 3 + (MINIM, CROTCHET), (SEMI,) * 4 + (1, 2)),  # a group: quavers for semiquavers
    ((SMALLER, SEMIBREVE, LARGER, MINIM, CROTCHET, QUAVER), (SEMI, 1, 2, 3)),  # value signs
    ((CROTCHET, CROTCHET), (2, 2)),  # too short: the larger values as they stand
    ((BREVE,), (4,)),
])
def test_the_rows_of_a_bar(shape: tuple[int, ...], bases: tuple[int, ...]) -> None:
    """De Garmo, chapters 2 to 5 and 15: two values share a row, and the bar tells which is meant."""
    assert tuple(v.base for v in read_bar(shape, FULL, 256)[0]) == bases


def test_dots_and_rests_have_their_lengths() -> None:
    """De Garmo, chapter 3: a dot adds half of the value, a second one half of that."""
    assert read_bar((CROTCHET + 8, QUAVER, MINIM + REST), FULL, 256) == (
        (Value(2, 1), Value(3, 0), Value(1, 0)), Fraction(1024))
    assert read_bar((MINIM + 16, QUAVER), FULL, 256)[1] == 1024  # 512 + 256 + 128, and 128


@pytest.mark.parametrize(("units", "actual", "out"), [
    (384, 3, True), (192, 3, True), (768, 3, True), (576, 3, False), (960, 3, False), (400, 3, False), (640, 5, True),
    (480, 5, False), (1792, 7, True), (896, 7, True), (1344, 7, False),
])
def test_a_group_ends_where_it_holds_so_many_equal_values(units: int, actual: int, out: bool) -> None:
    """Common practice: three quavers, crotchets or semiquavers (128, 256, 64 units), never three dotted ones."""
    assert comes_out(units, actual) is out


def test_a_group_of_dotted_values_goes_on_to_its_end() -> None:
    """De Garmo, chapter 16: a dotted crotchet and two dotted quavers fill a triplet of crotchets; the first two, three dotted
    semiquavers long, are none."""
    row = tuple(n(name, base, dots=1, tuplet=Tuplet(3, 2)) for name, base in (("C4", 1), ("D4", 0.5), ("E4", 0.5)))
    made = tune((*row, n("F4", 2)))
    assert one_line(made) == from_dots("23-5-1456-3-15-3-124-3-12345")
    read = decode(encode(made).lines).tune.bars[0].notes
    assert [x.tuplet and x.tuplet.place for x in read] == ["start", "", "stop", None]
    assert [x.quarters for x in read] == [1, Fraction(1, 2), Fraction(1, 2), 2]


def test_each_group_ends_where_the_next_one_begins() -> None:
    """De Garmo, chapter 16: each sign begins a group of its own, also one of a crotchet and a quaver."""
    values, total = read_bar((GROUP + 3, CROTCHET, QUAVER, GROUP + 3, CROTCHET, QUAVER, MINIM), FULL, 256)
    assert [v.tuplet and v.tuplet[2] for v in values] == ["start", "stop", "start", "stop", None]
    assert total == 1024
    values, total = read_bar((GROUP + 3, QUAVER, QUAVER, QUAVER, GROUP + 5, SEMIBREVE, SEMIBREVE, SEMIBREVE, SEMIBREVE, SEMIBREVE,
                              MINIM), FULL, 256)
    assert [v.tuplet and v.tuplet[0] for v in values] == [3] * 3 + [5] * 5 + [None]
    assert total == 1024
    # A value sign fences a group off too: what follows it is none of the group (our own rule).
    values, total = read_bar((GROUP + 3, CROTCHET, QUAVER, LARGER, CROTCHET, QUAVER, QUAVER, CROTCHET), FULL, 256)
    assert [v.tuplet and v.tuplet[2] for v in values] == ["start", "stop", None, None, None, None]
    # Without a time signature nothing else tells it: written so, and read so.
    values, _ = read_bar((GROUP + 3, CROTCHET, QUAVER, LARGER, CROTCHET, QUAVER), 0, 256)
    assert [v.tuplet and v.tuplet[2] for v in values] == ["start", "stop", None, None]
    row = (n("C4", 1, tuplet=Tuplet(3, 2, "start")), n("D4", 0.5, tuplet=Tuplet(3, 2, "stop")), n("E4", 1), n("F4", 0.5))
    read = decode(encode(tune(row, time=None)).lines).tune.bars[0].notes
    assert [x.tuplet and x.tuplet.place for x in read] == ["start", "stop", None, None]


def test_triplets_are_read_in_the_time_of_two() -> None:
    """De Garmo, chapter 16."""
    values, total = read_bar((GROUP + 3, QUAVER, QUAVER, QUAVER, CROTCHET, MINIM), FULL, 256)
    assert [v.tuplet for v in values] == [(3, 2, "start"), (3, 2, ""), (3, 2, "stop"), None, None]
    assert total == 1024
    # Of five cells in a row the triplet sign holds three: a crotchet and a quaver make them too.
    values, total = read_bar((GROUP + 3, CROTCHET, QUAVER, CROTCHET, MINIM), FULL, 256)
    assert [v.tuplet and v.tuplet[2] for v in values] == ["start", "stop", None, None]
    assert total == 1024


CODES = {"crotchet": 2, "quaver": 3, "minim": 1, "semiquaver": SEMI, "32nd": SEMI + 1}


def rows(codes: list[int], full: int = FULL, beat_units: int = 256, pickup: bool = False, grouped: bool = True) -> list[int]:
    return [w.row for w in write_bar(tuple(codes), full, beat_units, pickup, grouped)[0]]


def test_groups_of_small_values() -> None:
    """De Garmo, chapter 15: three and more that fill a beat, the first in its true value, the others as quavers; not
    where a quaver follows in the same bar, nor off the beat."""
    four = [SEMI] * 4
    assert rows([*four, 2, 1]) == [0, 3, 3, 3, 2, 1]
    assert rows([2, *four, 1]) == [2, 0, 3, 3, 3, 1]
    assert rows([*four, 3, 3, 1]) == [0, 0, 0, 0, 3, 3, 1]  # a quaver follows
    assert rows([3, *four, 3, 1]) == [3, 0, 0, 0, 0, 3, 1]  # off the beat
    assert rows([*four, 2, 1], grouped=False) == [0, 0, 0, 0, 2, 1]
    assert rows([SEMI + REST_NOTE, *four[1:], 2, 1]) == [0, 3, 3, 3, 2, 1]  # the first may be a rest
    assert rows([SEMI, SEMI + REST_NOTE, SEMI, SEMI, 2, 1]) == [0, 0, 0, 0, 2, 1]  # the others may not
    assert rows([*[SEMI] * 6, 2 + 16], 768, 384) == [0, 3, 3, 3, 3, 3, 2]  # six to a beat of 6/8
    joined = [w.joined for w in write_bar((*four, 2, 1), FULL, 256, False, True)[0]]
    assert joined == [False, True, True, True, False, False]  # no line may end within a group


def test_a_pickup_counts_its_beats_from_its_end() -> None:
    """Our own rule from De Garmo, chapter 15: groups fill beats of the bar that the pickup ends."""
    assert rows([SEMI + 0] * 4, pickup=True) == [0, 3, 3, 3]
    assert rows([3, *[SEMI] * 4], pickup=True) == [3, 0, 3, 3, 3]
    assert rows([3, *[SEMI] * 4], pickup=False) == [3, 0, 0, 0, 0]


def test_value_signs_only_where_the_bar_does_not_settle_the_values() -> None:
    """De Garmo, chapter 15: signs of larger and smaller values."""
    assert [w.size for w in write_bar((2, 2, 1), FULL, 256, False, True)[0]] == [0, 0, 0]
    assert [w.size for w in write_bar((SEMI,), FULL, 256, False, True)[0]] == [SMALLER]
    many = write_bar((0, SEMI), FULL, 256, False, True)[0]
    assert [w.size for w in many] == [LARGER, SMALLER]


def test_what_is_written_is_read_as_it_was_meant() -> None:
    for codes in ((2, 3, 3, 1), (SEMI,) * 3, (0, SEMI, 2), (SEMI + 1,) * 5 + (2,), (GroupCode(SEMI, 3, 2, "start"),
                  GroupCode(SEMI, 3, 2, ""), GroupCode(SEMI, 3, 2, "stop"), 2, 3), (4,), (3 + 48, SEMI + 2)):
        for full in (FULL, 768, 0):
            plan, _ = write_bar(codes, full, 256, False, True)
            shape: list[int] = []
            for w, code in zip(plan, codes, strict=True):
                number = code if isinstance(code, int) else code.number
                shape += [x for x in (w.size, GROUP + w.group if w.group else 0) if x]
                shape.append(w.row + 8 * w.dots + (REST if number & REST_NOTE else 0))
            read = [(v.base, v.dots) for v in read_bar(tuple(shape), full, 256)[0]]
            assert read == [((c if isinstance(c, int) else c.number) & 15, (c if isinstance(c, int) else c.number) >> 4 & 7)
                            for c in codes], (codes, full)


# --- numbers, signatures, words ---------------------------------------------------------------------------------

def test_numbers_in_upper_and_lowered_cells() -> None:
    """De Garmo, chapter 2: digits are the letters a to j; lowered ones have the same shape a row down."""
    assert to_dots(number_cells("1234567890")) == "1-12-14-145-15-124-1245-125-24-245"
    assert to_dots(number_cells("1234567890", lower=True)) == "2-23-25-256-26-235-2356-236-35-356"


@pytest.mark.parametrize(("fifths", "dots"), [(1, "146"), (3, "146-146-146"), (4, "3456-145-146"), (-3, "126-126-126"),
                                              (-5, "3456-15-126"), (0, "")])
def test_key_signatures(fifths: int, dots: str) -> None:
    """De Garmo, chapter 6: up to three signs are written out, from four on a number stands before one."""
    assert to_dots(key_cells(Key(fifths))) == dots
    assert read_signature(from_dots(dots)) == ((Key(fifths), None) if dots else None)


@pytest.mark.parametrize(("old", "new", "dots"), [
    (-4, -3, "16-126-126-126"), (3, 0, "16-16-16"), (2, 4, "3456-145-146"), (2, -1, "16-16-126"), (0, 2, "146-146"),
    (-5, 0, "3456-15-16"),
])
def test_naturals_take_back_what_no_longer_holds(old: int, new: int, dots: str) -> None:
    """De Garmo, chapter 10."""
    assert to_dots(key_cells(Key(new), Key(old))) == dots
    assert read_signature(from_dots(dots)) == (Key(new), None)


@pytest.mark.parametrize(("time", "dots"), [
    (FOUR, "3456-145-256"), (Time((12,), 8), "3456-1-12-236"), (Time((3, 2), 8), "3456-14-346-3456-12-236"),
    (Time((4,), 4, "common"), "46-14"), (Time((2,), 2, "cut"), "456-14"),
])
def test_time_signatures(time: Time, dots: str) -> None:
    """De Garmo, chapter 8."""
    assert to_dots(time_cells(time)) == dots
    assert read_signature(from_dots(dots)) == (None, time)
    assert read_signature(from_dots("3456-14-25-3456")) is None
    assert read_signature(from_dots("3456-125-146")) is None  # eight sharps
    assert read_signature(from_dots("3456-14-23-256")) is None  # no value is a 24th
    assert read_signature(from_dots("3456-245-256")) is None  # no bar has nought beats


def test_metronome_marks() -> None:
    """De Garmo, chapter 8: a note, the sign of equality, a number."""
    assert to_dots(metronome_cells("1=96")) == "1456-2356-3456-24-124"
    assert to_dots(metronome_cells("3/2=60")) == "1456-3-2356-3456-124-245"
    assert metronome_cells("nonsense") == metronome_cells("1=x") == ""
    from companion.braille.groups import METRONOME_MARK

    for text in ("1=96", "3/2=60", "1/2=112.5", "2=44"):
        match = METRONOME_MARK.fullmatch(metronome_cells(text))
        assert match
        assert read_metronome(match) == ScoreDirection(DirectionKind.METRONOME, text)


def test_words_of_expression() -> None:
    """De Garmo, chapter 13: one word after a word sign, several between two; an abbreviation's point is dot 3."""
    assert to_dots(expression_cells("cresc.")) == "14-1235-15-234-14-3"
    word, several = (ScoreDirection(DirectionKind.WORDS, text) for text in ("dolce", "poco a poco"))
    assert (stands_apart(word), stands_apart(several)) == (False, True)
    assert stands_apart(ScoreDirection(DirectionKind.WORDS, "c"))  # else it would read as a hairpin (our own rule)
    assert stands_apart(ScoreDirection(DirectionKind.JUMP, "da capo"))
    assert not stands_apart(ScoreDirection(DirectionKind.JUMP, "segno"))
    cells = one_line(tune((n("C4", before=(several,)), n("D4"), n("E4"), n("F4"))))
    assert cells == signs.WORD + words("poco a poco") + signs.WORD + from_dots("0-5-1456-156-1246-12456")


@pytest.mark.parametrize(("text", "read"), [
    ("⠠⠁⠃", "Ab"), ("⠠⠠⠁⠃⠀⠁", "AB a"), ("⠼⠁⠃⠰⠁", "12a"), ("⠠⠠⠁⠃⠠⠄⠉", "ABc"), ("⠁⠂⠀⠼⠉⠲", "a, 3."), ("⠘⠌⠑", "é"),
])
def test_words_are_read_by_the_ueb_rulebook(text: str, read: str) -> None:
    """UEB rulebook: capitals 8.3 to 8.5, numeric mode 6.2 and 5.6, accents 4.2."""
    assert read_words(text) == read


def test_text_is_cut_at_its_spaces() -> None:
    assert wrap(words("one two three"), 8) == [words("one two"), words("three")]
    assert wrap(words("one two three"), 9, 4) == [words("one two"), words("three")]
    assert wrap(words("a abcdefghij"), 6) == [words("a"), words("abcde-"), words("fghij")]
    assert wrap(words("aébéc"), 5) == [words("aé-"), words("béc")]  # an accent stays with its letter
    assert wrap("", 6) == []


# --- a note and what stands at it -------------------------------------------------------------------------------

def test_a_unit_is_taken_apart() -> None:
    u = unit(from_dots("236-146-5-1456-3-14"))  # staccato, sharp, fourth octave, C crotchet, dot, slur
    assert (u.kind, u.step, u.row, u.dots, u.octave, u.alter, u.marks, u.slur) == (
        UnitKind.NOTE, "C", CROTCHET, 1, 4, 1, (Mark.STACCATO,), 1)
    assert u.core == (3, 2)
    assert u.problems == ()
    assert not u.plain
    assert unit(from_dots("146-5-1456-3-4-14")).plain  # accidental, octave, dot and tie are plain
    assert unit(from_dots("1236")).kind is UnitKind.REST
    assert unit(from_dots("126-13")).barline is Barline.FINAL
    assert unit(from_dots("13456-45-14-13456")).row == BREVE  # De Garmo, chapter 5: two semibreves and a sign
    assert unit(from_dots("26-145")).grace is Grace.SHORT
    assert unit(from_dots("3456-2-23-145")).ending == (1, 2)


@pytest.mark.parametrize(("dots", "code", "names"), [
    ("5-146-1456", ProblemCode.OUT_OF_ORDER, (signs.BY_NAME["sharp"], Role.OCTAVE)),
    ("146-236-1456", ProblemCode.OUT_OF_ORDER, (Mark.STACCATO.sign, signs.BY_NAME["sharp"])),
    ("236-23-1456", ProblemCode.OUT_OF_ORDER, (Role.GROUP, Mark.STACCATO.sign)),
    ("5-5-1456", ProblemCode.TWO_OCTAVE_MARKS, ()), ("1456-14-3", ProblemCode.DOT_APART, ()),
    ("1456-3-3-3-3-3", ProblemCode.TOO_MANY_DOTS, ()), ("5-1236", ProblemCode.MARK_AT_A_REST, ()),
    ("146-1236", ProblemCode.MARK_AT_A_REST, ()),
    ("146", ProblemCode.NO_NOTE_AFTER, (signs.BY_NAME["sharp"],)), ("12", ProblemCode.UNKNOWN_SIGN, ()),
])
def test_what_is_amiss_in_a_unit(dots: str, code: ProblemCode, names: tuple[object, ...]) -> None:
    """The order before a note: slurs, groups, marks, accidental, octave mark (De Garmo, chapters 6 to 16)."""
    assert (code, names) in [(slip.code, slip.signs) for _, slip in unit(from_dots(dots)).problems]


def test_accidentals_hold_for_their_bar() -> None:
    """De Garmo, chapter 6: an accidental holds to the end of the bar at its own octave; a tie carries it on."""
    row = (n("F#4"), n("F#4"), n("F4"), n("F#4"))
    sharp, natural = signs.ACCIDENTALS[1], signs.ACCIDENTALS[0]
    assert one_line(tune(row)) == f"{sharp}⠐⠻⠻{natural}⠻{sharp}⠻"
    assert one_line(tune((n("F#4", 4, tie=True),), (n("F#4", 2), n("F#4", 2)))) == f"{sharp}⠐⠿⠈⠉⠀⠟{sharp}⠟"
    assert one_line(tune(row[:2] * 2, key=1)) == "⠐⠻⠻⠻⠻"  # the key has it
    for made in (tune(row), tune((n("F#4", 4, tie=True),), (n("F#4", 2), n("F#4", 2)))):
        read = decode(encode(made).lines).tune
        assert [[x.pitch for x in b.notes] for b in read.bars] == [[x.pitch for x in b.notes] for b in made.bars]


def test_a_tie_to_another_pitch_on_the_same_line_does_not_carry_its_sign() -> None:
    """De Garmo, chapter 6: a tie carries an accidental over the bar line, so that a note which is none of it has its own
    sign; that sign then holds for the bar."""
    made = tune((n("F#4", 4, tie=True),), (n("F4", 2), n("F4", 2)), key=1)
    assert one_line(made).split(signs.SPACE)[1] == signs.ACCIDENTALS[0] + from_dots("12345-12345")
    without_key = tune((n("F#4", 4, tie=True),), (n("F4", 2), n("F4", 2)))
    assert one_line(without_key).split(signs.SPACE)[1] == signs.ACCIDENTALS[0] + from_dots("12345-12345")
    for tied in (made, without_key):
        assert [x.pitch for x in decode(encode(tied).lines).tune.bars[1].notes] == [x.pitch for x in tied.bars[1].notes]


def test_a_tie_goes_on_over_grace_notes() -> None:
    """Common practice: a grace note has no part in the tie around it."""
    grace = n("A4", Fraction(1, 2), grace=Grace.SHORT)
    made = tune((n("F#4", 4, tie=True),), (grace, n("F#4", 2), n("F#4", 2)))
    read = decode(encode(made).lines)
    assert read.problems == ()
    assert [(x.pitch, x.grace) for x in read.tune.bars[1].notes] == [(x.pitch, x.grace) for x in made.bars[1].notes]
    assert one_line(made).split(signs.SPACE)[1] == "⠢⠊⠟⠩⠟"  # the tie carries its sharp to the first F alone


def slurred(count: int, **more: object) -> tuple[Note, ...]:
    notes = [n("CDEFGAB"[i] + "4", Fraction(1, 2)) for i in range(count)]
    notes[0] = replace(notes[0], slur_starts=1)
    notes[-1] = replace(notes[-1], slur_stops=1)
    return tuple(notes)


def test_slurs_short_and_long() -> None:
    """De Garmo, chapter 12: up to four notes the single sign after all but the last; more by brackets."""
    assert one_line(tune(slurred(4), time=None)) == "⠐⠙⠉⠑⠉⠋⠉⠛"
    assert one_line(tune(slurred(5), time=None)) == "⠰⠃⠐⠙⠑⠋⠛⠓⠘⠆"
    ahead = look_ahead(tune(slurred(5)), vocal=False, doubled_slurs=True, slurs_with_ties=False)
    assert ahead.slurs[0, 0].doubled
    assert ahead.slurs[0, 3].short


@pytest.mark.parametrize("doubled", [False, True])
@pytest.mark.parametrize("count", [2, 4, 5, 7])
def test_slurs_come_back_in_either_way_of_writing(count: int, doubled: bool) -> None:
    """De Garmo, chapter 12: long slurs by brackets or by the doubled sign, once more before the last note."""
    made = tune((*slurred(count), n("C4")), time=None)
    page = encode(made, habits=Habits(doubled_slurs=doubled))
    read = decode(page.lines).tune.bars[0].notes
    assert [(x.slur_starts, x.slur_stops) for x in read] == [(x.slur_starts, x.slur_stops) for x in made.bars[0].notes]


def test_marks_that_go_on_are_doubled_from_four_notes() -> None:
    """De Garmo, chapter 14: the sign doubled at the first of four and more, and once at the last."""
    three, four = ((n("C4", marks=(Mark.STACCATO,)),) * count for count in (3, 4))
    assert look_ahead(tune(three), False, False, False).signs == {}
    assert look_ahead(tune(four), False, False, False).signs == {
        (0, 0): {Mark.STACCATO: 2}, (0, 1): {Mark.STACCATO: 0}, (0, 2): {Mark.STACCATO: 0}}
    # Ornaments are written at every note.
    assert look_ahead(tune((n("C4", marks=(Mark.TRILL,)),) * 5), False, False, False).signs == {}


@pytest.mark.parametrize(("mark", "dots"), [
    (Mark.STACCATO, "236"), (Mark.STACCATISSIMO, "6-236"), (Mark.STACCATO_TENUTO, "5-236"), (Mark.TENUTO, "456-236"),
    (Mark.ACCENT, "46-236"), (Mark.STRONG_ACCENT, "56-236")])
def test_all_marks_of_touch_are_doubled(mark: Mark, dots: str) -> None:
    """De Garmo, chapter 14: each of these signs is doubled where it goes on; cells as in music21.braille.lookup."""
    cells = from_dots(dots)
    made = tune(tuple(n(name, marks=(mark,)) for name in ("C4", "D4", "E4", "F4")))
    assert one_line(made) == f"{cells}{cells}⠐⠹⠱⠫{cells}⠻"
    assert [x.marks for x in decode(encode(made).lines).tune.bars[0].notes] == [(mark,)] * 4


def test_a_syllable_over_several_notes_is_slurred_and_a_tie_is_not() -> None:
    """MBC 2015, 35.2: the syllabic slur."""
    moon = (Syllable("moon"),)
    sung = tune((n("C4", syllables=moon), n("D4"), n("E4", syllables=moon), n("E4")))
    assert sorted(look_ahead(sung, True, False, False).slurs) == [(0, 0), (0, 1), (0, 2), (0, 3)]
    held = tune((n("C4", 2, syllables=moon, tie=True), n("C4", 2)), (n("D4", 4, syllables=moon),))
    assert look_ahead(held, True, False, False).slurs == {}
    half_tied = tune((n("C4", syllables=moon), n("D4", tie=True), n("D4"), n("E4", syllables=moon)))
    assert sorted(look_ahead(half_tied, True, False, False).slurs) == [(0, 0), (0, 1)]
    parted = tune((n("C4", syllables=moon), rest(), n("D4"), n("E4", syllables=moon)))
    assert look_ahead(parted, True, False, False).slurs == {}


# --- lines and bars ---------------------------------------------------------------------------------------------

def test_a_bar_longer_than_a_line_is_parted_by_music_hyphens() -> None:
    """De Garmo, chapter 10: dot 5 at the end of the line; the next line begins with an octave mark."""
    for width in range(12, 18):
        long = tune(tuple(n("CG"[i % 2] + "45"[i // 2 % 2], Fraction(1, 2)) for i in range(40)), time=Time((20,), 4))
        assert max(map(len, encode(long, width=width).lines)) <= width
    made = tune(tuple(n("CDEF"[i % 4] + "4", Fraction(1, 2)) for i in range(16)), time=Time((8,), 4))
    lines = encode(made, width=12).lines[1:]
    assert len(lines) > 1
    assert all(line.endswith(signs.HYPHEN) for line in lines[:-1])
    assert all(line.strip(signs.SPACE).startswith(signs.OCTAVES[4]) for line in lines)
    assert max(map(len, lines)) <= 12
    assert decode(encode(made, width=12).lines).tune.bars[0].notes == made.bars[0].notes


def test_bar_repeats_and_bars_of_rest() -> None:
    """De Garmo, chapter 17: one or two signs, from three on a number, after which the next note has a mark. Chapter 5:
    up to three bars of rest written out, more with their number."""
    bar, other = (n("C4"), n("D4"), n("E4"), n("D4")), (n("E4", 4),)
    assert one_line(tune(bar, bar, bar, other)) == "⠐⠹⠱⠫⠱⠀⠶⠀⠶⠀⠯"
    assert one_line(tune(bar, bar, bar, bar, other)) == "⠐⠹⠱⠫⠱⠀⠶⠼⠉⠀⠐⠯"
    silent = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    assert one_line(tune(other, *[silent] * 3, other)) == "⠐⠯⠀⠍⠍⠍⠀⠯"
    assert one_line(tune(other, *[silent] * 5, other)) == "⠐⠯⠀⠼⠑⠍⠀⠯"
    for made in (tune(bar, bar, bar, bar, other), tune(other, *[silent] * 3, other), tune(other, *[silent] * 5, other)):
        assert len(decode(encode(made).lines).tune.bars) == len(made.bars)


@pytest.mark.parametrize(("times", "time"), [(2, FOUR), (3, THREE), (4, FOUR), (6, Time((6,), 4)), (2, SIX_EIGHT)])
def test_parts_of_a_bar_are_repeated(times: int, time: Time) -> None:
    """De Garmo, chapter 17: a bar of equal parts as the first of them and so many repeat signs; they come back on one note
    each."""
    base = time.quarters / times
    half = (n("C4", base / 2), n("E4", base / 2)) if base.numerator == 1 or base == 2 else (n("C4", 1), n("E4", Fraction(1, 2)))
    made = tune(half * times, (n("G4", 4, dots=1) if time == Time((6,), 4) else n("G4", time.quarters / (
        1.5 if time.quarters == 3 else 1), dots=int(time.quarters == 3)),), time=time)
    page = encode(made, habits=Habits(part_repeats=True))
    bar = page.lines[-1].split(signs.SPACE)[0]
    assert bar.count(signs.BAR_REPEAT) == times - 1
    assert bar.endswith(signs.BAR_REPEAT * (times - 1))
    read = decode(page.lines)
    assert [x.pitch for x in read.tune.bars[0].notes] == [x.pitch for x in made.bars[0].notes]
    assert read.links == page.links


@pytest.mark.parametrize("jump", ["segno", "coda"])
def test_a_dot_keeps_segno_and_coda_from_being_an_interval(jump: str) -> None:
    """music21.braille.lookup: a third has the cells of the segno, and with the third finger those of the coda. Before a rest,
    which has no octave mark, nothing but a dot 3 says that they are none."""
    from music21.braille.lookup import fingerMarks, intervals

    cells = intervals[3] + (fingerMarks["3"] if jump == "coda" else "")
    where = ScoreDirection(DirectionKind.JUMP, jump)
    made = tune((n("C4"), n("D4"), n("E4"), rest(before=(where,))))
    assert one_line(made) == f"⠐⠹⠱⠫{cells}⠄⠧"
    read = decode(encode(made).lines)
    assert (read.problems, read.hints) == ((), ())
    assert read.tune.bars[0].notes[3].before == (where,)


def test_a_tempo_within_a_bar_has_no_place() -> None:
    """De Garmo, chapter 13: metronome marks stand at the beginning; ours within a bar is left away, the notes stay whole."""
    mark = ScoreDirection(DirectionKind.METRONOME, "1=96")
    within = tune((n("C4"), n("D4", before=(mark,)), n("E4"), n("F4")), (n("G4", 4),))
    assert one_line(within) == one_line(tune((n("C4"), n("D4"), n("E4"), n("F4")), (n("G4", 4),)))
    later = tune((n("C4", 4),), (n("D4", 4, before=(mark,)),))
    assert metronome_cells("1=96") in one_line(later)
    assert decode(encode(later).lines).tune.bars[1].notes[0].before == (mark,)


@pytest.mark.parametrize("more", [{"bar1": {"backward_repeat": 2}}, {"bar1": {"barline": Barline.DOUBLE}},
                                  {"bar2": {"forward_repeat": True}}, {"bar2": {"ending": (1,)}}, {"bar2": {"key": Key(1)}},
                                  {"bar2": {"time": Time((4,), 4, "common")}}])
def test_no_bar_is_repeated_over_a_break(more: dict[str, dict[str, object]]) -> None:
    """De Garmo, chapter 17: the repeat sign stands for the bar before it in the same part; after a break the bar is written."""
    row = (n("C4"), n("D4"), n("E4"), n("D4"))
    assert signs.BAR_REPEAT not in one_line(tune(row, row, **more)).replace(signs.FORWARD_REPEAT, "")
    assert signs.BAR_REPEAT in one_line(tune(row, row))
    # A repeat sign at the bar that is repeated stands after the bar repeat.
    assert one_line(tune(row, row, bar2={"backward_repeat": 2})).endswith(signs.BAR_REPEAT + signs.BACKWARD_REPEAT)


def test_what_stands_below_a_signature_at_the_margin_is_music() -> None:
    """MBC 2015, section 1: a heading is centred, music begins at the margin; a bar whose end looks like a signature ("Song 3."
    has the cells of one) is no heading where it stands there."""
    head = encode(tune((n("C4"),), key=1)).lines[0]
    for signature in ("3456-14-256", "146-146-3456-145-256"):
        lines = [head, from_dots("5-1456-156-1246-12456-0-" + signature), signs.SPACE * 2 + from_dots("5-1456-156-1246")]
        read = decode(lines).tune
        assert [len(b.notes) for b in read.bars] == [4, 3]
        assert read.bars[1].time == read_signature(from_dots(signature))[1]  # type: ignore[index]


def test_a_pickup_and_the_last_bar_make_one() -> None:
    """Common practice: the last bar is as much shorter as the pickup is long; any other short bar is amiss."""
    def codes(*lengths: int) -> list[tuple[int, Fraction, Fraction]]:
        made = tune(*[(n("C4"),) * k for k in lengths])
        return [(p.bar, p.beats, p.wanted) for p in decode(encode(made).lines).problems]

    assert codes(1, 4, 3) == []
    assert codes(1, 4, 2) == [(2, 2, 4)]
    assert codes(4, 3, 4) == [(2, 3, 4)]
    assert codes(4, 5, 4) == [(2, 5, 4)]


def test_a_bar_that_a_repeat_parts_is_whole_with_what_follows() -> None:
    """Common practice: where a repeat stands within a bar, its two parts make one bar together."""
    row = n("C4"), n("D4"), n("E4"), n("D4")
    bars = {"bar3": {"forward_repeat": True}}
    assert decode(encode(tune(row, row[:3], row[:1], row, **bars)).lines).problems == ()
    assert [p.bar for p in decode(encode(tune(row, row[:3], row[:2], row, **bars)).lines).problems] == [2, 3]
    ended = {"bar2": {"backward_repeat": 2}}
    assert decode(encode(tune(row, row[:3], row[:1], row, **ended)).lines).problems == ()


def test_a_part_repeat_that_fills_no_bar_is_unclear() -> None:
    """Our own rule: a part repeat stands for the shortest part that makes the bar full."""
    head = encode(tune((n("C4"),))).lines[0]
    assert [p.code for p in decode([head, from_dots("5-1456-156-2356")]).problems] == []  # two and two crotchets
    assert ProblemCode.PART_REPEAT_UNCLEAR in {p.code for p in decode([head, from_dots("5-1456-135-2356")]).problems}


def test_words_whose_letters_are_all_notes_are_words_where_that_reads_better() -> None:
    """MBC 2015, section 35: words at the margin, their music from cell 3. "Do" has the cells of notes."""
    sung = (n("C4", 2, syllables=(Syllable("Do"),)), n("D4", 2, syllables=(Syllable("do"),)))
    made = tune(sung, sung, sung)
    read = decode(encode(made).lines)
    assert [[x.syllables[0].text for x in b.notes if x.syllables and x.syllables[0]] for b in read.tune.bars] == \
        [["Do", "do"]] * 3
    assert read.problems == ()


def test_the_point_of_an_abbreviation_is_kept_before_any_sign() -> None:
    """De Garmo, chapter 13: dot 3 is the point of an abbreviation, and also keeps what follows apart."""
    slower = ScoreDirection(DirectionKind.WORDS, "rit.")
    made = tune((n("C4"), n("D4", before=(slower,), marks=(Mark.STACCATO,)), n("E4"), n("F4")))
    assert decode(encode(made).lines).tune.bars[0].notes[1].before == (slower,)
    for text, marks in (("sim.", ()), ("dolce", (Mark.STACCATO,)), ("dolce", ())):
        said = ScoreDirection(DirectionKind.WORDS, text)
        made = tune((n("C4"), n("D4", before=(said,), marks=marks), n("E4"), n("F4")))
        assert decode(encode(made).lines).tune.bars[0].notes[1].before == (said,)
    soft = ScoreDirection(DirectionKind.DYNAMIC, "p")
    made = tune((n("C4"), n("D4", before=(soft,), marks=(Mark.STACCATO,)), n("E4"), n("F4")))
    assert decode(encode(made).lines).tune.bars[0].notes[1].before == (soft,)


def test_rests_are_no_bars_of_rest_where_the_bar_has_several() -> None:
    """De Garmo, chapter 5: a semibreve rest by itself is a bar of rest, whatever the time signature; two or three in one
    bar have a value sign, and bars of rest that would fill one long bar are written one by one (our own rule)."""
    two = tune((n("C4", 4),), (rest(4), rest(4)), (n("D4", 4),))
    eight = tune((n("C4", 8),), *[(Note(pitch=None, base=Fraction(4), whole_bar=True),)] * 2, (n("D4", 8),), time=Time((8,), 4))
    for made in (two, eight):
        assert [len(b.notes) for b in decode(encode(made).lines).tune.bars] == [len(b.notes) for b in made.bars]
    assert signs.LARGER_VALUES in one_line(two)
    assert signs.SMALLER_VALUES in one_line(tune((rest(Fraction(1, 4)),), (n("C4", 4),)))


@pytest.mark.parametrize(("upper", "lower", "count"), [(2, 1, 2), (3, 1, 3), (4, 2, 2), (6, 2, 3), (4, 1, 2), (4, 1, 3),
                                                       (5, 1, 2), (8, 4, 2), (16, 4, 2)])
def test_semibreve_rests_in_a_long_bar(upper: int, lower: int, count: int) -> None:
    """De Garmo, chapter 5: rests side by side are bars of rest; those of one long bar are read so where they fill it, and
    have a value sign where they do not (chapter 15)."""
    full = Fraction(4 * upper, lower)
    first = (n("C4", 4), *[rest(4)] * int(full / 4 - 1))
    made = tune(first, (rest(4),) * count, (n("D4", 4), *[rest(4)] * int(full / 4 - 1)), time=Time((upper,), lower))
    read = decode(encode(made).lines)
    assert [[x.pitch for x in b.notes] for b in read.tune.bars] == [[x.pitch for x in b.notes] for b in made.bars]
    cells = one_line(made).split(signs.SPACE)[1]
    assert cells.startswith(signs.LARGER_VALUES) is (4 * count != full)
    assert cells.endswith(signs.WHOLE_REST * count)


@pytest.mark.parametrize(("count", "cells"), [(1, "⠍"), (2, "⠍⠍"), (3, "⠍⠍⠍"), (4, "⠼⠙⠍")])
def test_bars_of_rest_before_the_first_note(count: int, cells: str) -> None:
    """De Garmo, chapter 5: bars of rest are joined at the beginning of a piece too, also below words of tempo."""
    silent = Note(pitch=None, base=Fraction(4), whole_bar=True)
    slow = replace(silent, before=(ScoreDirection(DirectionKind.WORDS, "Slow"),))
    for first in (silent, slow):
        made = tune((first,), *[(silent,)] * (count - 1), (n("C4", 4),))
        assert one_line(made) == cells + "⠀⠐⠽"
        assert len(decode(encode(made).lines).tune.bars) == count + 1


@pytest.mark.parametrize("count", [1, 2, 3, 4, 9])
@pytest.mark.parametrize("time", [FOUR, THREE, SIX_EIGHT, Time((2,), 1), Time((3,), 1), Time((4,), 2), Time((6,), 2)])
def test_bars_of_rest_in_any_time(count: int, time: Time) -> None:
    """De Garmo, chapter 5: the rest of a bar is the same sign in every time; several bars come back as so many."""
    note = (n("C4", time.quarters / 3 * 2 if time.upper[0] % 3 == 0 else time.quarters, dots=int(time.upper[0] % 3 == 0)),)
    silent = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
    made = tune(note, *[silent] * count, note, time=time)
    read = decode(encode(made).lines)
    assert [[(x.pitch, x.whole_bar) for x in b.notes] for b in read.tune.bars] == [
        [(x.pitch, x.whole_bar) for x in b.notes] for b in made.bars]
    assert read.problems == ()


@pytest.mark.parametrize("width", range(16, 40, 3))
def test_a_line_of_words_stands_over_its_line_of_music(width: int) -> None:
    """MBC 2015, section 35."""
    row = tuple(n(name, syllables=(Syllable(text),)) for name, text in (("C4", "la"), ("G4", "le"), ("D5", "li"), ("A4", "lo")))
    lines = encode(tune(*[row] * 9), width=width).lines[1:]
    assert [line.startswith(signs.SPACE * 2) for line in lines] == [False, True] * (len(lines) // 2)
    assert not any(line.startswith(signs.SPACE * 3) for line in lines)
    assert max(map(len, lines)) <= width


@pytest.mark.parametrize("width", range(14, 24))
def test_after_words_that_stand_apart_no_hyphen_ends_the_line(width: int) -> None:
    """De Garmo, chapter 13: the music goes on after a space."""
    apart = ScoreDirection(DirectionKind.WORDS, "poco a poco")
    made = tune((n("C4"), n("D4", before=(apart,)), *[n("E4", Fraction(1, 2))] * 4), time=FOUR)
    lines = encode(made, width=width).lines
    assert not any(line.endswith((signs.WORD + signs.HYPHEN, signs.SPACE + signs.HYPHEN)) for line in lines)
    assert [x.pitch for x in decode(lines).tune.bars[0].notes] == [x.pitch for x in made.bars[0].notes]


def test_a_line_may_begin_with_a_sign_that_is_not_known() -> None:
    head = encode(tune((n("C4"),))).lines[0]
    found = decode([head, from_dots("5-1456-156-1246-12456"), "⠀⠀" + from_dots("1-1256-1246-126-13")]).problems
    assert [(p.line, p.column, p.code) for p in found][:2] == [
        (3, 3, ProblemCode.UNKNOWN_SIGN), (3, 4, ProblemCode.MARK_FOR_LINE)]


def test_a_group_of_its_number_is_likelier_than_a_mixed_one() -> None:
    """Our own rule: three quavers after a triplet sign are the triplet, though six would make the bar come out."""
    values, total = read_bar((GROUP + 3, *[QUAVER] * 6), 512, 256)
    assert [v.tuplet and v.tuplet[2] for v in values] == ["start", "", "stop", None, None, None]
    assert total == 640


def test_an_ending_goes_on_to_its_repeat_sign() -> None:
    bars = {"bar2": {"ending": (1,), "backward_repeat": 2}, "bar3": {"ending": (2,)}}
    read = decode(encode(tune((n("C4", 4),), (n("D4", 4),), (n("E4", 4),), (n("F4", 4),), **bars)).lines).tune
    assert [(b.ending, b.ending_stop) for b in read.bars] == [((), False), ((1,), True), ((2,), False), ((), True)]
    # Without a repeat sign an ending goes on to the next ending, to a repeat that begins, or to a double bar.
    for more in ({"ending": (2,)}, {"forward_repeat": True}):
        bars = {"bar2": {"ending": (1,)}, "bar4": more}
        read = decode(encode(tune(*[(n(name, 4),) for name in ("C4", "D4", "E4", "F4", "G4")], **bars)).lines).tune
        assert [b.ending_stop for b in read.bars][:4] == [False, False, True, False]
    bars = {"bar2": {"ending": (1,)}, "bar3": {"barline": Barline.DOUBLE}}
    read = decode(encode(tune(*[(n(name, 4),) for name in ("C4", "D4", "E4", "F4")], **bars)).lines).tune
    assert [b.ending_stop for b in read.bars] == [False, False, True, False]


def test_notes_that_cannot_be_written_say_so() -> None:
    for made, text in ((tune((n("C4", Fraction(1, 64)),)), "no cells"), (tune((n("C9"),)), "C9"),
                       (tune((replace(n("C4"), dots=5),)), "5 dots")):
        with pytest.raises(Trouble, match=text):
            encode(made)
    with pytest.raises(Trouble, match="12 to 120"):
        encode(tune((n("C4"),)), width=11)


def test_base_values_have_the_cells_of_their_row() -> None:
    """De Garmo, chapters 2 to 5 and 15: the semiquaver's cell is the semibreve's, and so on."""
    for row in range(4):
        assert signs.REST_CELLS[BASES[row]] == signs.REST_CELLS[BASES[row + SEMI]]
        assert signs.NOTE_CELLS["C", BASES[row]] == signs.NOTE_CELLS["C", BASES[row + SEMI]]
