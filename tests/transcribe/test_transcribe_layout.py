"""Notes laid out in bars: values that show the beat, ties, rests, phrases."""

from __future__ import annotations

from fractions import Fraction

import pytest

from companion.braille import decode, encode
from companion.transcribe import TIMES, ScoreNote, lay_out, length_values
from companion.transcribe.layout import lay_out_in_breaths, tied_values
from companion.tune import Key, Mark


@pytest.mark.parametrize(("at", "ticks", "metre", "out"), [
    (0, 16, "4/4", [(4, 0)]), (0, 5, "4/4", [(1, 0), (Fraction(1, 4), 0)]), (2, 4, "4/4", [(1, 0)]),
    (0, 10, "6/8", [(1, 1), (1, 0)]), (0, 12, "6/8", [(2, 1)]), (3, 2, "2/4", [(Fraction(1, 4), 0)] * 2),
    (0, 6, "3/4", [(1, 1)])])
def test_tied_values_show_the_beat(at: int, ticks: int, metre: str, out: list) -> None:
    assert tied_values(at, ticks, TIMES[metre]) == out


def test_layout_ties_over_bars_writes_rests_and_fills_up() -> None:
    tune = lay_out([ScoreNote(60, 4), ScoreNote(62, 12), ScoreNote(64, 2, 2), ScoreNote(65, 4)], TIMES["4/4"], 8, Key())
    assert [b.number for b in tune.bars] == [0, 1]
    assert tune.pickup == 2
    assert [x.tie for x in tune.bars[0].notes] == [False, True]
    assert [x.pitch is None for x in tune.bars[1].notes] == [False, False, True, False]
    assert tune.bars[1].quarters == 4
    assert [float(x.quarters) for x in tune.line()] == [1, 3, 0.5, 1]
    # The last bar is filled up, or makes a whole one with the pickup.
    assert lay_out([ScoreNote(60, 8)] * 3, TIMES["4/4"], 0, Key()).bars[-1].quarters == 4
    assert lay_out([ScoreNote(60, 4), *[ScoreNote(60, 8)] * 3, ScoreNote(60, 4)], TIMES["4/4"], 12, Key()).bars[-1].quarters == 3


def test_phrases_begin_after_rests_and_breaths() -> None:
    notes = [ScoreNote(60, 4)] * 3 + [ScoreNote(62, 4, breath=True)] + [ScoreNote(64, 4)] * 4
    tune = lay_out(notes, TIMES["4/4"], 0, Key())
    assert tune.phrase_starts == (1, 5)
    assert Mark.BREATH in tune.bars[0].notes[-1].marks
    # A rest parts phrases before a breath does, and a breath within a few notes is none of the score's.
    notes = [ScoreNote(60, 4), ScoreNote(60, 4, breath=True), ScoreNote(62, 4), ScoreNote(64, 4, rest=4),
              ScoreNote(62, 4), ScoreNote(60, 4, breath=True), ScoreNote(62, 4), ScoreNote(60, 4, rest=4), ScoreNote(60, 4)]
    tune = lay_out(notes, TIMES["4/4"], 0, Key())
    assert tune.phrase_starts == (1, 5)
    assert not any(n.marks for _, _, n in tune.written())


def test_a_length_longer_than_a_bar_is_tied() -> None:
    assert length_values(6) == [(Fraction(1), 1)]
    assert length_values(20) == [(Fraction(4), 0), (Fraction(1), 0)]
    assert sum(base * (2 - Fraction(1, 2**dots)) for base, dots in length_values(27)) == Fraction(27, 4)


def test_what_has_no_steady_beat_is_written_in_breaths() -> None:
    notes = [ScoreNote(60, 4), ScoreNote(62, 4), ScoreNote(64, 6, breath=True), ScoreNote(65, 2), ScoreNote(64, 4),
             ScoreNote(62, 4), ScoreNote(60, 7, rest=1, breath=True), ScoreNote(67, 4), ScoreNote(60, 4), ScoreNote(60, 4),
             ScoreNote(64, 6)]
    tune = lay_out_in_breaths(notes, Key(), "Free")
    assert [(b.time.name if b.time else None) for b in tune.bars] == ["8/4", "9/8"]
    assert [(n.midi, n.quarters * 4) for n in tune.line()] == [(n.midi, n.ticks) for n in notes]
    assert all(b.quarters == (b.time or tune.time).quarters for b in tune.bars)
    assert [n.midi for n in decode(list(encode(tune).lines)).tune.line()] == [n.midi for n in notes]


def test_a_slur_over_a_tied_note_begins_and_ends_once() -> None:
    """From the first note to a second that is tied over the bar line: it ends with the second part (MusicXML: the note that
    a slur stops at is the last under it)."""
    tune = lay_out([ScoreNote(60, 12, slur_starts=1), ScoreNote(62, 8, slur_stops=1), ScoreNote(64, 12)], TIMES["4/4"], 0, Key())
    notes = [n for b in tune.bars for n in b.notes if n.pitch]
    assert [(n.slur_starts, n.slur_stops, n.tie) for n in notes] == [(1, 0, False), (0, 0, True), (0, 1, False), (0, 0, False)]
