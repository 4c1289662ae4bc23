"""What a score is unsure of."""

from __future__ import annotations

from dataclasses import replace

import pytest
from notate_takes import as_track, performance

from companion.ear import Doubtful
from companion.transcribe import TIMES, Doubt, DoubtKind, Estimate, Given, SoundDoubt, doubts_of, notate, unsure_bars
from companion.transcribe.metre import Weighed
from companion.tune import Key, load


def test_doubts_name_the_bar_and_another_reading() -> None:
    n = notate(as_track(performance(load("lantern"))), "x")
    k = 4
    unsure = replace(
        n, doubtful=(), readings=(), time_estimate=replace(n.time_estimate, confidence=1.0),
        key_estimate=replace(n.key_estimate, confidence=1.0),
        notes=tuple(replace(note, pitch_confidence=1.0, value_confidence=0.4 if i == k else 0.999,
                            other_ticks=6 if i == k else note.other_ticks) for i, note in enumerate(n.notes)))
    found = doubts_of(unsure)
    assert [(d.kind, d.bar, d.other_ticks) for d in found] == [(DoubtKind.VALUE, n.bars[k], 6)]
    assert unsure_bars(unsure) == [found[0].bar]
    key = Estimate(n.key, 0.5, Key(1), 0.4)
    first = doubts_of(replace(unsure, key_estimate=key))[0]
    assert (first.kind, first.other_key) == (DoubtKind.KEY, Key(1))
    quiet = replace(unsure, notes=tuple(replace(x, value_confidence=1.0) for x in unsure.notes))
    assert doubts_of(quiet) == []
    assert [d.kind for d in doubts_of(replace(quiet, sound=SoundDoubt.ACCOMPANIED))] == [DoubtKind.ACCOMPANIED]


def test_every_kind_of_doubt_about_a_note() -> None:
    found = notate(as_track(performance(load("lantern"))), "x")
    sure = tuple(replace(x, value_confidence=0.999, pitch_confidence=0.999, agreement=1.0) for x in found.notes)
    n = replace(found, given=Given(bpm=120), readings=(), time_estimate=replace(found.time_estimate, confidence=0.9))

    def only(doubtful: tuple[Doubtful, ...] = (), **facts: object) -> Doubt:
        notes = (replace(sure[0], **facts), *sure[1:])
        found = [d for d in doubts_of(replace(n, notes=notes, doubtful=doubtful)) if d.bar]
        assert len(found) == 1
        return found[0]

    ticks = sure[0].ticks
    assert only(pitch_confidence=0.3, other_midi=sure[0].midi + 1).kind is DoubtKind.PITCH
    assert only(value_confidence=0.3, other_ticks=ticks + 2).kind is DoubtKind.VALUE
    assert only(value_confidence=0.3, other_ticks=ticks).kind is DoubtKind.PART_REST
    assert only(value_confidence=0.3, rest=4, other_ticks=ticks + 4).kind is DoubtKind.HELD
    assert only((Doubtful(sure[0].sung.onset_s, 0.0),), agreement=0.9).kind is DoubtKind.FAINT
    assert doubts_of(replace(n, notes=sure)) == []


def test_a_beat_far_from_the_usual_pulse_is_doubted_unless_it_was_given() -> None:
    n = notate(as_track(performance(load("lantern"))), "x")
    slow = replace(n, notes=tuple(replace(x, quarter_s=1.2) for x in n.notes))
    quick = replace(n, notes=tuple(replace(x, quarter_s=0.25) for x in n.notes))
    assert DoubtKind.SLOW in [d.kind for d in doubts_of(slow)]
    assert DoubtKind.QUICK in [d.kind for d in doubts_of(quick)]
    assert DoubtKind.SLOW not in [d.kind for d in doubts_of(replace(slow, given=Given(bpm=50)))]


def test_misplaced_bar_lines_and_two_or_four_beats_are_doubts_of_their_own() -> None:
    n = notate(as_track(performance(load("lantern"))), "x", Given(time=TIMES["4/4"], on_strong_beat=True))
    assert (n.time.name, n.place) == ("4/4", 0)
    unsure = replace(n, readings=(Weighed(TIMES["4/4"], 0, 0.6), Weighed(TIMES["4/4"], 12, 0.3), Weighed(TIMES["2/4"], 4, 0.1)),
                     time_estimate=Estimate(TIMES["4/4"], 0.6, TIMES["2/4"], 0.3))
    found = [d for d in doubts_of(unsure) if not d.bar]
    assert [d.kind for d in found][:2] == [DoubtKind.DUPLE, DoubtKind.PICKUP]
    assert (found[1].other_ticks, found[1].wrong) == (4, pytest.approx(0.333, abs=0.001))
    begins = replace(unsure, place=12)
    assert DoubtKind.BEGINS_BAR in [d.kind for d in doubts_of(begins)]
    assert not {DoubtKind.PICKUP, DoubtKind.BEGINS_BAR} & {d.kind for d in doubts_of(replace(begins, place_given=True))}
