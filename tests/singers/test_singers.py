"""The singers' truth held against an outside ear: Praat's autocorrelation (parselmouth, to_pitch_ac)."""

from __future__ import annotations

import numpy as np
import pytest

from singers import VOICES, LineItem, Style, VoiceKind, corpus, perform, render

LINE = [LineItem(60, 1), LineItem(62, 1, "no"), LineItem(64, 1, "mee"), LineItem(60, 2, "day")]
PLAIN = {"miss": 0.0, "waver": 0.0, "slide_s": 0.0}


@pytest.mark.parametrize("maker", ["formants", "speech", "harmonics"])
@pytest.mark.parametrize("voice", VOICES, ids=lambda v: v.name)
def test_sung_pitch_is_the_truth_within_five_cents(maker: str, voice: VoiceKind) -> None:
    parselmouth = pytest.importorskip("parselmouth")
    rng = np.random.default_rng(5)
    performance = perform(LINE, Style(shift=voice.middle - 62, **PLAIN), rng)
    sound = render(performance, voice, maker, rng)
    pitch = parselmouth.Sound(sound.astype(float), 22050).to_pitch_ac(
        time_step=0.01, pitch_floor=75, pitch_ceiling=1400)
    found, at = pitch.selected_array["frequency"], pitch.xs()
    errors = []
    for note in performance.notes:
        inside = (at > note.onset_s + 0.12) & (at < note.onset_s + note.duration_s - 0.08) & (found > 0)
        assert inside.sum() >= 5
        true = np.interp(at[inside], np.arange(len(performance.contour)) * 0.005,
                         np.nan_to_num(performance.contour))
        errors.extend(100 * np.abs(69 + 12 * np.log2(found[inside] / 440) - true))
    assert np.median(errors) < 5


def test_the_same_seed_sings_the_same() -> None:
    one, two, other = (next(corpus("formants", 1, seed)) for seed in (3, 3, 4))
    assert np.array_equal(one.samples, two.samples)
    assert one.performance.notes == two.performance.notes
    assert one.performance.line != other.performance.line


def test_a_turned_move_goes_the_other_way_and_a_left_out_note_has_no_interval() -> None:
    rng = np.random.default_rng(0)
    turned = perform(LINE, Style(turned=1, **PLAIN), rng)
    assert [turned.interval(i) for i in range(3)] == pytest.approx([2, -2, 0])
    gone = perform(LINE, Style(left_out=(1,), **PLAIN), rng)
    assert [gone.interval(i) for i in range(3)] == [None, None, pytest.approx(-4)]
    assert [n.written for n in gone.notes] == [0, 2, 3]


def test_shrunken_steps_and_drift_are_in_the_targets() -> None:
    rng = np.random.default_rng(0)
    assert perform(LINE, Style(shrink=0.65, **PLAIN), rng).interval(0) == pytest.approx(1.3)
    drifted = perform(LINE, Style(drift=1.0, **PLAIN), rng)
    assert drifted.interval(0) == pytest.approx(2.2)  # a fifth of the line's time later, a fifth of the drift
