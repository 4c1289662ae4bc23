"""A line given with no tune: what is said around it is left out, and the line is whole."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from other_sounds import speech
from singers import VOICES, LineItem, Style, noisy, perform, render
from tracked import track

from companion.ear import find_notes
from companion.lesson.singing import CLOSE, SINGING_FROM, SoundKind, kind_of_sound, singing_odds, without_words
from companion.match import Verdict, match_take
from companion.tune import load

RATE = 22050
LINE = [LineItem(m, q, "la") for m, q in zip((60, 62, 64, 62, 60), (1, 1, 1, 1, 2), strict=True)]


def given(before: int | None, after: int | None, voice: int) -> np.ndarray:
    """The line, and talk that ends or begins 0.3 s from it (by its seed; None: none)."""
    rng = np.random.default_rng(4)
    style = Style(shift=VOICES[voice].middle - 62, miss=0.08, legato=0.9)
    song = render(perform(LINE, style, rng), VOICES[voice], "formants", rng)
    pause = np.zeros(round(0.3 * RATE), dtype=np.float32)
    said = [None if seed is None else speech(np.random.default_rng(seed)) for seed in (before, after)]
    loud = [None if s is None else (0.3 * s / np.abs(s).max()).astype(np.float32) for s in said]
    parts = [*([] if loud[0] is None else [loud[0], pause]), song, *([] if loud[1] is None else [pause, loud[1]])]
    return noisy(np.concatenate(parts), rng, 40.0)


@pytest.mark.parametrize("voice", [0, 3])
@pytest.mark.parametrize(("before", "after"), [(None, None), (8, None), (None, 8), (8, 1)])
def test_a_line_is_whole_and_alone(before: int | None, after: int | None, voice: int) -> None:
    kept = without_words(track(given(before, after, voice)))
    assert kind_of_sound(kept, None) is SoundKind.SINGING
    notes = [n.midi for n in find_notes(kept)]
    assert [round(b - a) for a, b in pairwise(notes)] == [2, 2, -2, -2]


def test_a_quick_line_with_a_move_the_wrong_way_is_singing() -> None:
    """Half a second a crotchet, short notes: alone it is as like talk as singing, but the line is there."""
    line = load("snail-wall").phrase(1)
    style = Style(waver=0.02, miss=0.05, legato=0.5, quarter_s=0.5, turned=2, turned_stays=True)
    items = [LineItem(n.midi + 3, float(n.quarters), n.syllable) for n in line]
    song = render(perform(items, style, np.random.default_rng(9)), VOICES[1], "formants", np.random.default_rng(9))
    quiet = np.zeros(RATE // 2, dtype=np.float32)
    heard = track(noisy(np.concatenate([quiet, song, quiet]), np.random.default_rng(1), 50.0))
    match = match_take(heard, line)
    assert match.moves[2].verdict is Verdict.WRONG
    assert match.closeness < CLOSE
    assert singing_odds(heard) < SINGING_FROM
    assert kind_of_sound(heard, match) is SoundKind.SINGING
