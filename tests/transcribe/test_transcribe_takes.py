"""Takes from files and the microphone, and what is given with them."""

from __future__ import annotations

import numpy as np
import pytest
from notate_takes import as_sound, as_track, performance

from companion.errors import Trouble
from companion.transcribe import (
    TIMES,
    Action,
    ChangeKind,
    Correction,
    Given,
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
