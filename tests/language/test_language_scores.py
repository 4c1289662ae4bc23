"""What is said of a written-down take, in British and American names."""

from __future__ import annotations

from dataclasses import replace

import pytest
from notate_takes import as_track, performance

from companion.language import (
    English,
    Variety,
    a_length,
    change_line,
    doubt_line,
    doubt_lines,
    length,
    score_json,
    score_lines,
    uneven_words,
)
from companion.transcribe import (
    TIMES,
    Change,
    ChangeKind,
    Doubt,
    DoubtKind,
    Laid,
    Notation,
    SoundDoubt,
    Transcription,
    notate,
)
from companion.tune import Key, Pitch, Syllable, load

BRITISH, AMERICAN = English(), English(Variety.AMERICAN)


@pytest.fixture(scope="module")
def lantern() -> Notation:
    n = notate(as_track(performance(load("lantern"))), "Lantern")
    return replace(n, notes=tuple(replace(note, quarter_s=0.5) for note in n.notes))


def test_lengths() -> None:
    assert [length(BRITISH, t) for t in (1, 4, 6, 10)] == \
        ["semiquaver", "crotchet", "dotted crotchet", "minim tied to a quaver"]
    assert a_length(BRITISH, 10) == "a minim tied to a quaver"
    assert a_length(AMERICAN, 2) == "an eighth note"
    assert a_length(AMERICAN, 10) == "a half note tied to an eighth note"


def test_a_score_in_lines(lantern: Notation) -> None:
    said = score_lines(BRITISH, Transcription(lantern, takes=2))
    assert said[:3] == [
        "Lantern: 14 notes, C major, four beats to the bar, about 120 crotchets a minute.", "Made from two takes.",
        "Bar 1: E crotchet in the fourth octave, G crotchet, E crotchet, D crotchet."]
    american = score_lines(AMERICAN, Transcription(lantern))
    assert american[:2] == [
        "Lantern: 14 notes, C major, four beats to the measure, about 120 quarter notes a minute.",
        "Measure 1: E quarter note in the fourth octave, G quarter note, E quarter note, D quarter note."]
    assert not any(word in line for line in american for word in ("crotchet", "quaver", "minim", "Bar ", "bar "))


DOUBTS = [
    (Doubt(kind=DoubtKind.TIME, wrong=0.4, time=TIMES["3/4"], other_time=TIMES["6/8"]),
     "Written with three beats to the bar, but it may have six quavers to the bar.", "3/4 6/8"),
    (Doubt(kind=DoubtKind.KEY, wrong=0.4, key=Key(), other_key=Key(-2)),
     "Written in C major, but it may be in B flat major.", ""),
    (Doubt(kind=DoubtKind.PITCH, wrong=0.4, bar=2, note=1, pitch=Pitch("E", 4), ticks=4, other_pitch=Pitch("E", 4, -1)),
     "Bar 2, first note: E, but it may be E flat.", ""),
    (Doubt(kind=DoubtKind.VALUE, wrong=0.4, bar=2, note=3, pitch=Pitch("E", 4), ticks=4, other_ticks=6),
     "Bar 2, third note: a crotchet, but it may be a dotted crotchet.", ""),
    (Doubt(kind=DoubtKind.HELD, wrong=0.4, bar=2, note=3, pitch=Pitch("E", 4), ticks=4, other_ticks=8),
     "Bar 2, third note: a crotchet and a rest, but it may be a minim held.", ""),
    (Doubt(kind=DoubtKind.PART_REST, wrong=0.4, bar=2, note=3, pitch=Pitch("E", 4), ticks=4, other_ticks=4),
     "Bar 2, third note: a crotchet, but part of it may be a rest.", ""),
    (Doubt(kind=DoubtKind.FAINT, wrong=0.4, bar=2, note=3, pitch=Pitch("E", 4), ticks=2),
     "Bar 2, third note: E, a quaver, was faint or very short; listen whether it belongs there.", ""),
    (Doubt(kind=DoubtKind.DUPLE, wrong=0.4, time=TIMES["4/4"], other_time=TIMES["2/4"]),
     "Written with four beats to the bar; two beats to the bar would sound the same, so take which you like.", "2/4"),
    (Doubt(kind=DoubtKind.PICKUP, wrong=0.4, other_ticks=4),
     "It is unsure where the bars begin: the tune may begin with a crotchet before the first.", "a crotchet"),
    (Doubt(kind=DoubtKind.BEGINS_BAR, wrong=0.4), "It is unsure where the bars begin: the first note may begin one.", ""),
    (Doubt(kind=DoubtKind.SLOW, wrong=0.5), "The beat came out slow; all values may be twice as long.", ""),
    (Doubt(kind=DoubtKind.QUICK, wrong=0.5), "The beat came out quick; all values may be half as long.", ""),
]


@pytest.mark.parametrize(("doubt", "said"), [(d, said) for d, said, _ in DOUBTS])
def test_a_doubt_is_a_sentence(doubt: Doubt, said: str) -> None:
    assert doubt_line(BRITISH, doubt) == said


def test_every_kind_of_doubt_and_change_has_its_sentence() -> None:
    facts = {"bar": 1, "note": 2, "pitch": Pitch("C", 4), "ticks": 4}
    doubts = {doubt_line(BRITISH, Doubt(kind=k, wrong=0.5, other_ticks=6, time=TIMES["2/4"], other_time=TIMES["3/4"],
                                        key=Key(), **facts)) for k in DoubtKind}
    changes = {change_line(BRITISH, Change(kind=k, time=TIMES["2/4"], key=Key(), semitones=2, **facts)) for k in ChangeKind}
    assert (len(doubts), len(changes)) == (len(DoubtKind), len(ChangeKind))
    assert all(s.endswith(".") and "{" not in s and "  " not in s for s in doubts | changes)


def test_a_doubt_in_american_names() -> None:
    assert doubt_line(AMERICAN, DOUBTS[3][0]) == \
        "Measure 2, third note: a quarter note, but it may be a dotted quarter note."
    assert doubt_line(AMERICAN, DOUBTS[0][0]) == \
        "Written with three beats to the measure, but it may have six eighth notes to the measure."


def test_no_more_doubts_than_can_be_listened_to(lantern: Notation) -> None:
    unsure = replace(lantern, sound=SoundDoubt.UNCLEAR,
                     notes=tuple(replace(n, value_confidence=0.3) for n in lantern.notes))
    said = doubt_lines(BRITISH, unsure)
    assert said[0].startswith("The sound is not clear")
    assert len([s for s in said if s.startswith("Bar ")]) <= 12
    assert said[-1].endswith("more are a little unsure.")
    sure = replace(lantern, readings=(),
                   notes=tuple(replace(n, value_confidence=1.0, pitch_confidence=1.0) for n in lantern.notes),
                   time_estimate=replace(lantern.time_estimate, confidence=1.0),
                   key_estimate=replace(lantern.key_estimate, confidence=1.0), doubtful=())
    assert doubt_lines(BRITISH, sure) == ["Nothing in it is unsure."]


def test_json_says_in_the_language_and_keeps_its_keys(lantern: Notation) -> None:
    british, american = score_json(BRITISH, lantern), score_json(AMERICAN, lantern)
    assert list(british) == ["notes", "problems", "key", "time", "quarter_bpm", "key_sure", "key_runner_up", "time_sure",
                             "time_runner_up", "pickup_quarters", "phrases"]
    assert {k: v for k, v in british.items() if k != "problems"} == {k: v for k, v in american.items() if k != "problems"}
    first = next(p for p in british["problems"] if p["bar"])
    assert set(first) == {"bar", "note", "say", "or"}
    assert any("quarter note" in p["say"] for p in american["problems"])


@pytest.mark.parametrize(("change", "said"), [
    (Change(kind=ChangeKind.VALUE, bar=3, note=2, ticks=4, later=2),
     "Bar 3, note 2 is a crotchet now. What follows begins a quaver later."),
    (Change(kind=ChangeKind.VALUE, bar=3, note=2, ticks=2, later=-2),
     "Bar 3, note 2 is a quaver now. What follows begins a quaver sooner."),
    (Change(kind=ChangeKind.TRANSPOSED, semitones=-2, key=Key()), "All of it is a tone lower, now in C major."),
    (Change(kind=ChangeKind.TRANSPOSED, semitones=6, key=Key(6)), "All of it is six semitones higher, now in F sharp major."),
    (Change(kind=ChangeKind.TIME, time=TIMES["3/4"]), "Read again in 3/4."),
    (Change(kind=ChangeKind.PITCH, bar=1, note=1, pitch=Pitch("B", 3, -1)), "Bar 1, note 1 is B flat now."),
])
def test_a_change_is_a_sentence(change: Change, said: str) -> None:
    assert change_line(BRITISH, change) == said


def test_changes_in_american_names() -> None:
    assert change_line(AMERICAN, Change(kind=ChangeKind.END_REST, bar=3, note=2, ticks=2)) == \
        "Measure 3, note 2 ends with an eighth note of rest."
    assert change_line(AMERICAN, Change(kind=ChangeKind.TRANSPOSED, semitones=-2, key=Key())) == \
        "All of it is a whole step lower, now in C major."


def test_words_that_did_not_come_out_even() -> None:
    """What is missing or too much is said, and where: nothing is lost in silence."""
    la, places = Syllable("la"), ((1, 1), (1, 2), (2, 1), (2, 2))
    assert uneven_words(BRITISH, Laid((la, la), 2), places) == []
    assert uneven_words(BRITISH, Laid((la, la, None), 2), places) == [
        "Two syllables for three notes: bar 2, note 1, the last, has none. Part words with hyphens, and write _ for a note on "
        "which a syllable goes on."]
    assert uneven_words(BRITISH, Laid((la, la, None, None), 2), places)[0].startswith(
        "Two syllables for four notes: the last two notes, from bar 2, note 1 on, have none.")
    assert uneven_words(BRITISH, Laid((la,) * 2, 4, ("left", "over")), places) == [
        "Four syllables for two notes: after bar 1, note 2, there was no note for left over."]
    lines = Laid((la,) * 4, 5, ("over",), (Laid((la,) * 2, 2), Laid((la,) * 2, 3, ("over",), start=2)))
    assert uneven_words(BRITISH, lines, places) == [
        "Line 2, three syllables for two notes: after bar 2, note 2, there was no note for over."]
