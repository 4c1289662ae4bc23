"""The beat: counted in, and soft under what is played."""

import numpy as np
import pytest

from companion.audio import OUTPUT_RATE, Sound, count_in, line_sound, with_beats
from companion.audio.sound import active_db
from companion.course import line_of
from companion.tune import Pitch


def onsets(sound: Sound) -> list[float]:
    """Where it begins to sound, by librosa's onset detection, seconds."""
    import librosa

    found = librosa.onset.onset_detect(y=np.concatenate([np.zeros(4410, np.float32), sound.samples]), sr=sound.rate,
                                       hop_length=256, units="time")
    return [float(t) - 0.1 for t in found]


@pytest.mark.parametrize(("counts", "beat_s"), [
    (2, 0.6), (3, 0.6), *(pytest.param(*x, marks=pytest.mark.slow) for x in ((4, 0.45), (2, 0.9)))])
def test_a_bar_is_counted_in(counts: int, beat_s: float) -> None:
    sound = count_in(counts, beat_s)
    assert len(sound.samples) == round(counts * beat_s * OUTPUT_RATE)
    assert onsets(sound) == pytest.approx([n * beat_s for n in range(counts)], abs=0.03)
    # The first is the brighter one.
    bright = [np.abs(np.fft.rfft(sound.samples[round(n * beat_s * OUTPUT_RATE):][:2646])).argmax() for n in range(counts)]
    assert all(bright[0] > b for b in bright[1:])


def test_the_beat_is_soft_under_the_notes_and_moves_none_of_them() -> None:
    plain = line_sound(line_of([Pitch("C", 4), Pitch("E", 4), Pitch("G", 4)]), 0.0, 0.6)
    beaten = with_beats(plain, 0.6, 3)
    assert len(beaten.samples) == len(plain.samples)
    assert active_db(beaten) - active_db(plain) < 0.5  # dB: no louder to the ear
    added = beaten.samples - plain.samples
    assert np.abs(added).max() < np.abs(plain.samples).max()
    assert not plain.samples[0]  # the sound that was given is not changed
