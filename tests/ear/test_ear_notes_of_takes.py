"""Notes out of a pitch track."""

from __future__ import annotations

from notate_takes import as_sound, performance
from tracked import track

from companion.ear import find_notes
from companion.tune import load


def test_a_fall_at_the_end_of_a_note_is_no_note_of_its_own() -> None:
    tune = load("lantern")
    plain = len(tune.line())
    for fall in (1.0, 1.6):
        for seed in (1, 2):
            assert len(find_notes(track(as_sound(performance(tune, seed, fall=fall, legato=0.6))))) == plain
