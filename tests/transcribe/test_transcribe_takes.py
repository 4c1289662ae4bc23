"""Takes from files and the microphone, and what is given with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from notate_takes import as_sound, as_track, items, performance
from singers import Style, perform

from companion.errors import Trouble
from companion.language import English, score_lines
from companion.transcribe import (
    LIVE,
    TIMES,
    Action,
    ChangeKind,
    Correction,
    Given,
    Take,
    Transcription,
    correct,
    given,
    live_take,
    notate,
    take_of,
    write_takes,
)
from companion.transcribe.takes import END_SILENCE_S
from companion.tune import Key, load


def test_what_is_given_is_checked() -> None:
    assert given(90, "3", key=Key(1)) == Given(bpm=90, time=TIMES["3/4"], key=Key(1))
    for facts, part in (({"bpm": 900.0}, "900"), ({"time": "5/4"}, "5/4"), ({"counted_in": 1}, "from 2 to 8")):
        with pytest.raises(Trouble, match=part):
            given(**facts)


def test_takes_words_and_corrections_in_one_call(tmp_path) -> None:
    track = as_track(performance(load("rain-down")))
    path = tmp_path / "take.csv"
    path.write_text("time_s,f0_hz\n" + "\n".join(f"{t:.3f},{f:.3f}" for t, f in
                                                 zip(track.time_s, track.f0_hz, strict=True)), encoding="utf-8")
    done = write_takes([path], Given(), words="Rain comes down, soft and brown, drip drop drip drop", corrections=[
        [Correction(action=Action.VALUE, bar=1, note=1, ticks=8)], [Correction(action=Action.TIME, time=TIMES["3/4"])]])
    # What reads the take anew comes first.
    assert [c.kind for c in done.changes] == [ChangeKind.TIME, ChangeKind.VALUE]
    assert done.notation.notes[0].ticks == 8
    assert done.notation.title == "Take"
    assert (done.notation.key, done.notation.time) == (Key(), TIMES["3/4"])
    assert done.laid is not None
    assert np.isclose(done.notation.quarter_bpm, 120, rtol=0.1)


def test_a_live_take_ends_after_three_seconds_of_silence() -> None:
    sound = as_sound(performance(load("rain-down"), shift=5.0))
    rest = np.zeros(22050 * 30, dtype=np.float32)
    whole = np.concatenate([np.zeros(22050, dtype=np.float32), sound, rest])
    blocks = iter(np.array_split(whole, len(whole) // 1024))
    sent = 0

    def read() -> np.ndarray:
        nonlocal sent
        block = next(blocks)
        sent += len(block)
        return block

    track = live_take(read).track
    assert sent / 22050 == pytest.approx(1 + len(sound) / 22050 - 0.45 + END_SILENCE_S, abs=0.6)
    assert [e.midi for e in notate(track).notes] == [n.midi + 5 for n in load("rain-down").line()]


def test_ten_minutes_are_refused_before_they_are_tracked(tmp_path) -> None:
    import soundfile

    path = tmp_path / "long.flac"
    soundfile.write(path, np.zeros(8000 * 600, dtype=np.float32), 8000)
    with pytest.raises(Trouble, match="10 minutes"):
        take_of(path)


def test_a_take_sung_just_now_is_not_lost_where_its_counts_are_not_found(monkeypatch) -> None:
    track = as_track(performance(load("rain-down")))
    monkeypatch.setattr("companion.transcribe.takes.live_take", lambda read, tracker: Take(track, False))
    done = write_takes([LIVE], Given(counted_in=7), microphone=lambda: None)
    assert done.uncounted
    assert len(done.notation.notes) == len(load("rain-down").line())
    assert "The counts were not found, so the tune is written without them." in score_lines(English(), done)
    assert not write_takes([LIVE], Given(), microphone=lambda: None).uncounted


def test_a_tune_without_a_steady_beat_is_written_in_breaths() -> None:
    """Lengths drawn at random (log-normal, spread 0.6), a breath after each eight notes; of five such tunes four are found."""
    rng = np.random.default_rng(0)
    free = [replace(x, quarters=float(rng.lognormal(0, 0.6)), rest_after=0.7 if k % 8 == 7 else 0.0)
            for k, x in enumerate(items(load("kite")) + items(load("lantern")))]
    track = as_track(perform(free, Style(miss=0.06, waver=0.03, slide_s=0.04, quarter_s=0.6), np.random.default_rng(3)))
    n = notate(track, "x")
    assert n.in_breaths
    said = score_lines(English(), Transcription(n))
    assert said[0] == f"x: {len(n.notes)} notes, {English().key(n.key)}, no steady beat."
    assert any(s.startswith("No steady beat; written in breaths") for s in said)
    assert len(n.tune.bars) == len(set(n.bars)) > 2
    assert [x.midi for x in n.tune.line()] == [x.midi for x in n.notes]
    # Where somebody says how many beats there are, it has bars of these.
    assert correct(n, Correction(action=Action.TIME, time=TIMES["3/4"])).notation.tune.time == TIMES["3/4"]
    assert not notate(as_track(performance(load("kite"))), "x").in_breaths
