"""What is played comes out of a loudspeaker, in real time: on a sound card of software."""

from __future__ import annotations

import numpy as np
import pytest
from soundcard import RATE, SoundCard

parselmouth = pytest.importorskip("parselmouth")


def spoken_part(samples: np.ndarray) -> np.ndarray:
    """From the first sample that is louder than silence."""
    on = np.flatnonzero(np.abs(samples) > 0.001)
    assert len(on), "nothing was played"
    return samples[on[0]:]


def test_a_glide_comes_out_at_the_pitches_of_iso_16(soundcard: SoundCard) -> None:
    """C4 to G4 of equal temperament on A4 = 440 Hz, measured by Praat's autocorrelation (parselmouth)."""
    with soundcard.recording() as record:
        done = soundcard.python("from companion.cue.glides import glide; from companion.cue.playback import play;"
                                "play(glide(60, 67, 'tune'))")
    assert done.returncode == 0, done.stderr
    heard = spoken_part(record.samples)
    pitch = parselmouth.Sound(heard[:RATE * 13 // 10].astype(float), RATE).to_pitch_ac(time_step=0.01)
    f0, at = pitch.selected_array["frequency"], pitch.xs()
    for begin, end, midi in ((0.15, 0.33, 60), (0.85, 1.02, 67)):
        got = np.median(f0[(at > begin) & (at < end)])
        assert abs(1200 * np.log2(got / (440 * 2 ** ((midi - 69) / 12)))) < 3


def test_the_microphone_set_apart_hears_the_voice_and_not_the_loudspeaker(soundcard_apart: SoundCard) -> None:
    """The card itself: what `voice()` plays reaches sounddevice, what the program plays does not."""
    card = soundcard_apart
    t = np.arange(RATE * 3) / RATE
    singing = card.voice((0.3 * np.sin(2 * np.pi * 330 * t)).astype(np.float32))
    with card.recording() as record:
        done = card.python(
            "import sounddevice as sd, numpy as np; from companion.cue.glides import starting_note;"
            "from companion.cue.playback import play\n"
            "with sd.InputStream(samplerate=48000, channels=1) as mic:\n"
            "    play(starting_note(69, 0.6)); x, _ = mic.read(24000)\n"
            "p = np.abs(np.fft.rfft(x[:, 0] * np.hanning(24000)))\n"
            "print(p.argmax() * 2, p[878:883].max() / p.max())")
    singing.terminate()
    assert done.returncode == 0, done.stderr
    peak, of_ours = done.stdout.split()
    assert float(peak) == 330
    assert float(of_ours) < 0.01
    spectrum = np.abs(np.fft.rfft(spoken_part(record.samples)[:RATE // 2]))
    assert spectrum.argmax() * 2 == 440
