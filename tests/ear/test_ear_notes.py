"""Notes out of a pitch track: what makes a note, and what does not."""

import numpy as np
import pytest
from singers import VOICES, LineItem, Style, perform, render
from tracked import track

from companion.ear.model import PitchTrack
from companion.ear.notes import find_notes, mend_octaves

HOP = 0.01


def drawn(midi: list[float], level_db: list[float] | None = None) -> PitchTrack:
    m = np.array(midi, dtype=float)
    hz = np.where(np.isnan(m), 0.0, 440.0 * 2 ** ((np.nan_to_num(m) - 69) / 12))
    level = np.where(hz > 0, -20.0, -70.0) if level_db is None else np.array(level_db)
    return PitchTrack(np.arange(len(m)) * HOP, hz, np.where(hz > 0, 0.95, 0.0), level, np.where(hz > 0, 0.9, 0.1),
                      HOP, len(m) * HOP)


def pitches(found: PitchTrack) -> list[float]:
    return [round(n.midi, 1) for n in find_notes(found)]


NONE = float("nan")


def test_steady_notes_and_silence() -> None:
    found = find_notes(drawn([NONE] * 20 + [60.0] * 40 + [NONE] * 10 + [64.0] * 30 + [NONE] * 20))
    assert [round(n.midi, 2) for n in found] == [60.0, 64.0]
    assert found[0].onset_s == pytest.approx(0.2, abs=0.02)
    assert found[1].duration_s == pytest.approx(0.3, abs=0.03)
    assert find_notes(drawn([NONE] * 50)) == []


def test_a_slide_a_scoop_and_a_fall_make_no_notes() -> None:
    slide = list(np.linspace(60, 64, 8))
    scoop, fall = list(np.linspace(58, 60, 8)), list(np.linspace(64, 62, 10))
    assert pitches(drawn([NONE] * 10 + scoop + [60.0] * 40 + slide + [64.0] * 40 + fall + [NONE] * 20)) == [60.0, 64.0]


def test_vibrato_makes_one_note() -> None:
    t = np.arange(120) * HOP
    assert pitches(drawn([NONE] * 10 + list(67 + 0.5 * np.sin(2 * np.pi * 5.5 * t)) + [NONE] * 20)) == [
        pytest.approx(67.0, abs=0.3)]


def test_a_dip_parts_a_repeated_note() -> None:
    level = np.full(100, -20.0)
    level[48:52] = -32.0
    held = [NONE] * 10 + [62.0] * 80 + [NONE] * 10
    assert pitches(drawn(held)) == [62.0]
    assert pitches(drawn(held, list(np.where(np.isnan(held), -70.0, level)))) == [62.0, 62.0]


@pytest.mark.parametrize(("after_db", "notes"), [(4.0, 2), (-8.0, 1)])
def test_a_shallow_dip_parts_notes_where_the_voice_comes_back_louder(after_db: float, notes: int) -> None:
    """A new syllable begins with its vowel; what is softer after the dip is the end of the one before."""
    held = [NONE] * 10 + [62.0] * 80 + [NONE] * 10
    level = np.full(100, -20.0)
    level[50:] += after_db
    level[47:51] = -27.0 + min(after_db, 0.0)
    assert len(find_notes(drawn(held, list(np.where(np.isnan(held), -70.0, level))))) == notes


def test_a_short_slip_of_an_octave_is_mended_and_a_sung_octave_is_not() -> None:
    slip = [60.0] * 30 + [72.0] * 8 + [60.0] * 30
    assert pitches(drawn([NONE] * 5 + slip + [NONE] * 10)) == [60.0]
    sung = [60.0] * 30 + [72.0] * 30 + [60.0] * 30
    assert pitches(drawn([NONE] * 5 + sung + [NONE] * 10)) == [60.0, 72.0, 60.0]
    gap = np.array([60.0] * 5 + [NONE] + [72.0] * 5 + [NONE] + [60.0] * 5)
    assert np.array_equal(mend_octaves(gap, HOP), gap, equal_nan=True)


@pytest.mark.parametrize("maker", ["formants", "speech"])
def test_notes_of_singers_are_found(maker: str) -> None:
    """Onset within 50 ms and pitch within 50 cents, as mir_eval.transcription counts.

    A joined note's `onset_s` is where its slide begins; counted is the middle of the slide or dip, 30 ms later.
    """
    import mir_eval

    total = 0.0
    for seed in range(4):
        rng = np.random.default_rng(seed)
        line = [LineItem(m, q, "la") for m, q in zip((60, 62, 64, 64, 65, 67, 60), (1, 1, 1, 1, 0.5, 0.5, 2), strict=True)]
        p = perform(line, Style(vibrato=0.2, scoop=0.8, fall=1.0, miss=0.1), rng)
        found = find_notes(track(render(p, VOICES[1], maker, rng)))
        reference = np.array([[n.onset_s + 0.03 * n.joined, n.onset_s + n.duration_s] for n in p.notes])
        heard = np.array([[n.onset_s, n.onset_s + n.duration_s] for n in found])
        total += mir_eval.transcription.precision_recall_f1_overlap(
            reference, 440 * 2 ** ((np.array([n.midi for n in p.notes]) - 69) / 12),
            heard, 440 * 2 ** ((np.array([n.midi for n in found]) - 69) / 12), offset_ratio=None)[2]
    assert total / 4 > 0.8
