"""Ways through a tune, inner hearing, other keys, two voices, intervals, the slate, solfa, a song of one's own, breaks."""

import itertools
import random
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from course_pupil import AMERICAN, BRITISH, judged, said, sung, sung_notes

from companion.course import (
    BREAK_DAYS,
    Finding,
    Item,
    Progress,
    QuestionKind,
    Wanted,
    Why,
    check_take,
    fact,
    find_stage,
    fresh_material,
    from_the_back,
    line_of,
    mirrored,
    name_cell,
    other_note,
    plan,
    sing_from_another,
    stages,
    taught,
    think_and_sing,
    upper_or_lower,
    visited,
    with_song,
)
from companion.course.drill import Route, which_way
from companion.course.tune_material import make_group, material
from companion.language import question_text, recap_lines, reply_text
from companion.match import Verdict
from companion.tune import Bar, Direction, Key, Note, Pitch, Time, Tune, load, save

NOW = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)


def bar(steps: str, key: int = 0, n: int = 1) -> Bar:
    notes = tuple(Note(pitch=Pitch(s, 4, Key(key).alter(s)), base=Fraction(1)) for s in steps)
    return Bar(number=n, notes=notes, key=Key(key), time=Time((len(steps),)))


def group(steps: str, key: int = 0):  # type: ignore[no-untyped-def]
    return make_group("x", Tune("", (bar(steps, key),), phrase_starts=()), ())


# --- ways ---

@pytest.mark.parametrize(("route", "ways"), [
    # What the signs mean in any primer of notation: a repeat is sung twice, an ending in its turn, d.s. al fine goes back to
    # the sign and stops at fine.
    (Route.REPEATED, {"1 2 1 2 3"}), (Route.FROM_HERE, {"1 2 3 2 3"}), (Route.ENDINGS, {"1 2 1 3"}),
    (Route.TO_THE_END_WORD, {"1 2 3 1 2"}), (Route.FROM_THE_SIGN, {"1 2 3 1 2", "1 2 3 2"}),
])
def test_the_way_through_three_bars(route: Route, ways: set[str]) -> None:
    bars = [bar("CDEF"), bar("EFGE"), bar("GECC")]
    for seed in range(6):
        item = which_way(bars, route, material("there-and-back", ["words"]), random.Random(seed))
        assert item.answer in ways
        assert judged(item, item.answer).verdict is Verdict.RIGHT


def test_a_bar_of_one_note_that_is_sung_twice_running_is_named_twice() -> None:
    long = Bar(number=1, notes=(Note(pitch=Pitch("C", 4), base=Fraction(4)),), key=Key(), time=Time((4,)), backward_repeat=2)
    assert visited(Tune("", (long, bar("CDEF", n=2)), phrase_starts=())) == (1, 1, 2)


@pytest.mark.slow
def test_ways_are_those_that_music21_expands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Second source: music21's `expandRepeats`, on the same bars by way of MusicXML."""
    from music21 import converter

    made: list[Tune] = []

    def keeping(tune: Tune) -> tuple[int, ...]:
        made.append(tune)
        return visited(tune)

    monkeypatch.setattr("companion.course.drill.visited", keeping)
    bars = [bar("CDEF"), bar("EFGE"), bar("GECC"), bar("GFED"), bar("DECC")]
    items = [which_way(bars[:n], route, material("there-and-back", ["words"]), random.Random(seed))
             for route in Route for n in (3, 4, 5) for seed in range(2)]
    for item, tune in zip(items, made, strict=True):
        save(tune, tmp_path / "way.musicxml")
        part = converter.parse(tmp_path / "way.musicxml", forceSource=True).parts[0].expandRepeats()
        pitches = [n.nameWithOctave for m in part.getElementsByClass("Measure") for n in m.notes]
        ours = [n.pitch for number in item.route for n in tune.bars[number - 1].notes]
        assert pitches == [f"{p.step}{p.octave}" for p in ours if p], item.cells


def test_a_way_is_typed_in_many_forms() -> None:
    item = Item(QuestionKind.WHICH_WAY, cells="x", route=(1, 2, 1, 3))
    for text in ("1 2 1 3", "1,2,1,3", "1213", "one two one three", "bars 1, 2, then 1 and 3", "1-2-1-3"):
        assert judged(item, text).verdict is Verdict.RIGHT, text
    assert judged(item, "1 2 3").verdict is Verdict.WRONG
    assert judged(item, "perhaps back").verdict is Verdict.UNSURE
    assert said(item, "1 2 3") == "The way is 1, 2, 1, 3. Follow it with the finger."
    assert said(item, "1 2 1 3") == "Right: 1, 2, 1, 3."


def test_the_tune_of_stage_22_goes_back_to_its_sign() -> None:
    assert visited(load("there-and-back")) == (1, 2, 3, 4, 5, 6, 3, 4)


# --- singing ---

def test_two_sung_three_thought_and_the_last_one_sung() -> None:
    item = think_and_sing(group("CDEFGE"))
    assert question_text(BRITISH, item).endswith("Sing two, think three, and sing the last.")
    assert [n.pitch.step for n in item.sung] == ["C", "D", "E"]
    assert item.sung[1].rest_after == 3
    assert check_take(item, sung(item.sung, 3)).verdict is Verdict.RIGHT
    assert check_take(item, sung(item.sung, 3, turned=0)).verdict is Verdict.WRONG


def test_from_another_note_the_written_key_is_told_and_not_held_against_anybody() -> None:
    item = sing_from_another(group("CDEC"), 5)
    assert item.first == item.sung[0].midi == 65
    assert check_take(item, _at(item, 0)).verdict is Verdict.RIGHT
    assert check_take(item, _at(item, -12)).verdict is Verdict.RIGHT  # a voice's own octave
    written = check_take(item, _at(item, -5))
    assert (written.verdict, written.finding) == (Verdict.UNSURE, Finding.OTHER_KEY)
    assert reply_text(BRITISH, item, written).startswith("The moves are right, sung from the written note.")


def _at(item: Item, shift: float):  # type: ignore[no-untyped-def]
    """The line sung so many semitones from the note that was given."""
    return sung_notes([n.midi for n in item.sung], [float(n.quarters) for n in item.sung], shift)


def test_a_leap_turned_round_in_a_short_bar_is_told() -> None:
    # C up to E, sung C down to A flat: eight semitones off, which no error of a tracker is.
    item = Item(QuestionKind.READ_AND_SING, cells="x", sung=line_of([Pitch(s, 4) for s in "CEF"], Fraction(2)))
    assert check_take(item, sung_notes([60, 56, 57], [2, 2, 2])).verdict is Verdict.WRONG
    assert check_take(item, sung_notes([60, 64, 65], [2, 2, 2])).verdict is Verdict.RIGHT


# --- two voices, intervals, the slate ---

def test_two_voices_never_cross_and_go_contrary_ways() -> None:
    for upper in (True, False):
        item = upper_or_lower(group("CEDGF", 1), upper)
        assert min(n.midi for n in item.played) > max(n.midi for n in item.below)
        mine, other = (item.played, item.below) if upper else (item.below, item.played)
        assert [n.midi for n in mine] == [n.midi for n in group("CEDGF", 1).line]
        moves = [[b.midi - a.midi for a, b in itertools.pairwise(x)] for x in (mine, other)]
        assert all(a * b < 0 for a, b in zip(*moves, strict=True))
        assert item.direction is (Direction.UP if upper else Direction.DOWN)
        assert said(item, "the upper one") == ("Right, the upper one." if upper else
                                               "It was the lower one. Listen again, and follow with the finger.")


def test_the_note_below_an_interval() -> None:
    # A third below C is A, a fifth below G is C, an octave below E is E (any primer of theory); the cells of the intervals
    # by music21.braille's table stand in tests/braille.
    for note, interval, below in (("C, fifth octave", "a third", "A"), ("G, fourth octave", "a fifth", "C"),
                                  ("E, fifth octave", "an octave", "E")):
        item = other_note(fact(note), fact(f"interval of {interval}"))
        assert item.answer == below
        assert item.cells == fact(note).cells + fact(f"interval of {interval}").cells
    assert said(item, "D").startswith("The note below is E. Count down from the written note, which is one.")


def test_cells_from_the_back() -> None:
    # The two columns of a cell change places: 145 and 124, 15 and 24, 125 and 245; 1245 is its own image.
    for note, looks in (("C", "E"), ("D", "A"), ("G", "B"), ("F", "F")):
        item = from_the_back(fact(note))
        assert item.cells == fact(looks).cells == mirrored(fact(note).cells)
        assert judged(item, note).verdict is Verdict.RIGHT
        assert said(item, note).startswith(f"Right. {note}, dots")
    assert judged(from_the_back(fact("C")), "E").verdict is Verdict.WRONG


# --- solfa ---

def test_notes_by_solfa_move_with_the_key() -> None:
    item = think_and_sing(group("GABG", 1))
    right = "Right. doh; up to ray; down to doh."
    assert reply_text(BRITISH.by_solfa(), item, judged(item, "+")) == right
    assert reply_text(AMERICAN.by_solfa(), item, judged(item, "+")) == "Right. do; up to re; down to do."
    assert reply_text(BRITISH, item, judged(item, "+")) == "Right. G; up to A; down to G."
    in_g, in_f = BRITISH.by_solfa().in_key(1), BRITISH.by_solfa().in_key(-1)
    assert (in_g.pitch_class(Pitch("F", 4, 1)), in_f.pitch_class(Pitch("B", 4, -1))) == ("te", "fah")
    assert in_g.pitch_class(Pitch("F", 4)) == "te flat"
    assert reply_text(BRITISH.by_solfa(), name_cell(fact("E")), judged(name_cell(fact("E")), "me")) == "Right. Me, dots 1 2 4."


# --- a song of one's own, breaks ---

def test_a_song_of_ones_own_is_the_tune_of_the_stages_it_suits() -> None:
    song = Tune("Mine", (bar("CDEC"), bar("EFGE", n=2), bar("GECC", n=3)), phrase_starts=())
    some = with_song(stages(), song, "mine.musicxml")
    suited = [s.key for s in some if s.tune == "mine.musicxml"]
    assert "3" in suited  # C to G, pitch alone
    assert "2" not in suited  # F and G are not taught yet
    assert "1" not in suited
    assert not set(suited) & {"13", "15", "18", "20", "27"}  # no accidental, tie or semiquaver in it; what nobody may know


def test_after_a_break_what_is_known_comes_first_and_nothing_new() -> None:
    some, progress = stages(), Progress()
    stage = find_stage("2", some)
    progress.pass_stage(some[0], NOW)
    for note in "CDE":
        item = name_cell(fact(note))
        progress.record(item, judged(item, note), stage, NOW)
    later = NOW + timedelta(days=BREAK_DAYS + 20)
    assert progress.away(later) == BREAK_DAYS + 20
    assert all(s.why is not Why.NEW for s in plan(progress, some, later, random.Random(1)))
    assert any(s.why is Why.NEW for s in plan(progress, some, NOW + timedelta(days=1), random.Random(1)))
    lines = recap_lines(BRITISH, 30, [stage])
    assert lines[0] == "It is 30 days since the last time. First, what you know already."
    assert lines[1:] == ["Stage 2: Three cells: C, D, E.", "C is dots 1 4 5.", "D is dots 1 5.", "E is dots 1 2 4."]


@pytest.mark.parametrize("number", [22, 23, 24, 25, 26, 27, 28, 29])
def test_new_bars_of_the_later_stages_are_made(number: int) -> None:
    stage = find_stage(number)
    wanted = Wanted(taught(stage.number), frozenset(stage.introduces), (), 2)
    made = fresh_material(stage.material, "bars", wanted, 4, random.Random(2)).made
    assert len(made) == 4
