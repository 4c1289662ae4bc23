"""Notes out of a pitch track."""

from __future__ import annotations

import numpy as np
from notate_takes import as_sound, performance
from singers import VOICES, Style, melody, noisy, perform, render, room
from tracked import track

from companion.ear import PitchTrack, find_notes
from companion.tune import load


def test_a_fall_at_the_end_of_a_note_is_no_note_of_its_own() -> None:
    tune = load("lantern")
    plain = len(tune.line())
    for fall in (1.0, 1.6):
        for seed in (1, 2):
            assert len(find_notes(track(as_sound(performance(tune, seed, fall=fall, legato=0.6))))) == plain


def echoing(midi: float, fall_db_s: float, softer_db: float) -> PitchTrack:
    """A note of half a second, a dip, and a second stretch of voice of the same pitch that dies away."""
    hop = 0.01
    level = np.concatenate([np.full(20, -70.0), np.full(50, -20.0), np.full(4, -45.0 - softer_db),
                            -20.0 - softer_db - fall_db_s * hop * np.arange(20), np.full(20, -70.0)])
    voiced = level > -65
    hz = np.where(voiced, 440.0 * 2.0 ** ((midi - 69) / 12), 0.0)
    harmonic = np.where(voiced, np.where(level == -45.0 - softer_db, 0.3, 0.95), 0.1)
    return PitchTrack(np.arange(len(level)) * hop, hz, np.where(voiced, 0.9, 0.0), level, harmonic, hop, len(level) * hop)


def test_the_echo_of_a_note_is_no_note_and_a_soft_repeated_one_is() -> None:
    """A room's echo of 0.6 s falls by 100 dB a second (60 dB over its length); a sung note keeps its level."""
    assert len(find_notes(echoing(62.0, 100.0, 8.0))) == 1
    assert len(find_notes(echoing(62.0, 0.0, 8.0))) == 2
    assert len(find_notes(echoing(62.0, 100.0, 0.0))) == 2, "as loud as before, it is sung"


def test_in_a_room_hardly_more_notes_are_found_than_were_sung() -> None:
    """Exponentially fading noise of 0.5 s as the room; 65 notes were once found in such takes for 25."""
    found = sung = 0
    for seed in range(3):
        rng = np.random.default_rng([8, seed])
        take = perform(melody(rng, 12), Style(miss=0.1, vibrato=0.15, fall=0.5), rng)
        samples = room(render(take, VOICES[1], "formants", rng), rng, 0.5, 0.3)
        found, sung = found + len(find_notes(track(noisy(samples, rng, 40.0)))), sung + len(take.notes)
    assert 0.92 * sung <= found <= 1.08 * sung
