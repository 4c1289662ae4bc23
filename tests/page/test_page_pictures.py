"""Pictures for those who look, each with a text of its own: the path, the voice over it, the weeks."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_matches import made_match
from scripted_diary import some_match

from companion.diary import Diary, SessionKind, weeks_of
from companion.ear import PitchTrack
from companion.language import choose_language, weeks_lines
from companion.match import Verdict
from companion.page.picture import Hillside, VoiceOverPath, hillside, weeks_picture
from companion.tune import load

ENGLISH = choose_language("british")


def track(midi: np.ndarray, start_s: float = 0.0) -> PitchTrack:
    """A pitch track of a frame every 10 ms; NaN is silence."""
    n = len(midi)
    sung = ~np.isnan(midi)
    f0 = np.where(sung, 440.0 * 2.0 ** ((np.nan_to_num(midi) - 69.0) / 12.0), 0.0)
    nothing = np.zeros(n)
    return PitchTrack(start_s + np.arange(n) * 0.01, f0, sung.astype(float), nothing, nothing, 0.01, n * 0.01)


@pytest.mark.parametrize("shift", [0.0, 4.3, -12.0])
def test_a_voice_that_keeps_to_the_tune_is_drawn_on_the_path_in_any_key(shift: float) -> None:
    """Sung at the tempo that was given, block by block: every point lies on the ledge of its note."""
    line = load("tick-tock").phrase(1)
    hill, tempo_s = Hillside(line), 0.6
    midi = np.concatenate([np.full(round(float(n.quarters) * tempo_s * 100), n.midi + shift) for n in line])
    voice = VoiceOverPath(hill, tempo_s)
    points: list[Any] = []
    for at in range(0, len(midi), 7):
        points += voice.points(track(midi[at:at + 7], at * 0.01))
    drawn = [p for p in points if p is not None]
    assert len(drawn) > len(midi) / 5
    ledges = [(x, x + w, hill.height(n.midi)) for n, x, w in zip(line, hill.starts, hill.widths, strict=True)]
    off = [p for p in drawn if not any(a - 3 <= p[0] <= b + 3 and abs(p[1] - y) < 1 for a, b, y in ledges)]
    assert off == []
    assert [p[0] for p in drawn] == sorted(p[0] for p in drawn)


def test_silence_is_a_gap_and_a_voice_far_off_stays_inside_the_picture() -> None:
    line = load("tick-tock").phrase(1)
    hill = Hillside(line)
    voice = VoiceOverPath(hill, 0.6)
    first = float(line[0].midi)
    points = voice.points(track(np.concatenate([np.full(40, first), np.full(30, np.nan), np.full(40, first + 40.0)])))
    assert points.count(None) == 1
    assert all(0 < y < hill.floor for p in points if p is not None for y in p[1:])


def test_the_picture_says_its_moves_and_marks_the_other_way_in_its_own_phrase() -> None:
    """Thirteen moves in two phrases; the second move goes the other way."""
    tune = load("snail-wall")
    line = tune.line()
    picture = hillside(ENGLISH, line, made_match(line, {1: Verdict.WRONG}))
    texts = re.findall(r"<desc[^>]*>([^<]*)</desc>", picture)
    assert len(texts) == 2
    assert sum(len(t.partition("Move by move: ")[2].partition(".")[0].split(", ")) for t in texts) == len(line) - 1
    assert "A ring marks where the voice went another way." in texts[0]
    assert "A ring" not in texts[1]
    assert picture.count("<circle") == 1
    ids = re.findall(r' id="([^"]+)"', picture)
    assert len(ids) == len(set(ids)) == 4


def test_weeks_are_counted_from_monday_and_said_newest_first(tmp_path: Path) -> None:
    """Two takes three weeks ago, none in between, one this week: the empty weeks before the first are left out."""
    now = [datetime(2026, 3, 18, 12, tzinfo=UTC)]  # a Wednesday
    with Diary(tmp_path / "d.db", clock=lambda: now[0]) as diary:
        pupil = diary.pupil("Wren", new=True)
        assert weeks_of(diary, pupil) == []
        assert weeks_lines(ENGLISH, []) == ["Nothing was sung in the last weeks."]
        assert weeks_picture(ENGLISH, []) == ""
        end = now[0]
        now[0] = end - timedelta(days=23)  # Monday 23 February
        diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(), "")
        diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(verdict=Verdict.WRONG), "")
        now[0] = end
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "")
        weeks = weeks_of(diary, pupil)
    assert [(monday.isoformat(), sung.takes, sung.right, sung.moves) for monday, sung in weeks] == [
        ("2026-02-23", 2, 3, 6), ("2026-03-02", 0, 0, 0), ("2026-03-09", 0, 0, 0), ("2026-03-16", 1, 3, 3)]
    assert weeks_lines(ENGLISH, weeks) == [
        "Week from Monday 16 March: 1 take on 1 day; 3 of 3 moves right.", "Week from Monday 9 March: nothing sung.",
        "Week from Monday 2 March: nothing sung.", "Week from Monday 23 February: 2 takes on 1 day; 3 of 6 moves right."]
    picture = weeks_picture(ENGLISH, weeks)
    assert picture.count('class="hill"') == picture.count('class="right"') == 4
    assert 'aria-label="The weeks as hills' in picture
