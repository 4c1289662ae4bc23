"""Glides and tones: pitch against ISO 16, the two voices told apart, parts of a cue at one level."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_matches import made_match, turned_answer

from companion.audio.glides import OUTPUT_RATE, glide, hertz, line_sound, move_glides, starting_note
from companion.audio.playback import finish
from companion.audio.sound import PART_DB, Sound, active_db
from companion.language import English, Language
from companion.lesson.sounds import AFTER_SPEECH_S, cue_sound, said_then, start_sound
from companion.match import advise
from companion.tune import load


def spectrum_peak(samples: np.ndarray) -> float:
    """Frequency of the strongest partial below 1.5 times the lowest strong one, by parabolic interpolation."""
    window = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 8 * len(samples)))
    strong = np.flatnonzero(window > window.max() * 0.3)
    low = strong[0]
    near = window[low:round(low * 1.4)]
    k = low + int(near.argmax())
    a, b, c = np.log(window[k - 1:k + 2])
    return float((k + 0.5 * (a - c) / (a - 2 * b + c)) * OUTPUT_RATE / (8 * len(samples)))


def test_equal_temperament_on_a4_440() -> None:
    """ISO 16:1975 sets A4 = 440 Hz; the others by 2 ** (n / 12), as any table of equal temperament has them."""
    table = {69: 440.0, 60: 261.6256, 57: 220.0, 72: 523.2511, 48: 130.8128, 64: 329.6276}
    for midi, hz in table.items():
        assert float(hertz(midi)) == pytest.approx(hz, abs=1e-4)


@pytest.mark.parametrize("midi", [45, 57, 60, 66, 69, 76, 84])
def test_tones_sound_at_their_pitch(midi: int) -> None:
    for sound in (starting_note(midi, 0.6), glide(midi, midi, "voice")):
        got = spectrum_peak(sound.samples[4410:-4410].astype(float))
        assert abs(1200 * np.log2(got / (440 * 2 ** ((midi - 69) / 12)))) < 1


def test_glides_rise_and_fall_as_praat_hears_them() -> None:
    parselmouth = pytest.importorskip("parselmouth")
    for timbre in ("tune", "voice"):
        for start, end in ((60, 67), (67, 60), (64, 65), (62, 62)):
            sound = glide(start, end, timbre)
            pitch = parselmouth.Sound(sound.samples.astype(float), OUTPUT_RATE).to_pitch_ac(time_step=0.01)
            f0, at = pitch.selected_array["frequency"], pitch.xs()
            midi = 69 + 12 * np.log2(f0[f0 > 0] / 440)
            at = at[f0 > 0]
            assert np.median(midi[at < 0.32]) == pytest.approx(start, abs=0.03)
            assert np.median(midi[at > 0.78]) == pytest.approx(end, abs=0.03)
            assert (np.diff(midi) * np.sign(end - start) > -0.02).all()


@pytest.mark.slow
def test_the_same_pitch_as_librosa_hears_it() -> None:
    """librosa.pyin, the outside tracker that the project stands on."""
    librosa = pytest.importorskip("librosa")
    sound = glide(60, 64, "tune")
    y = librosa.resample(sound.samples, orig_sr=OUTPUT_RATE, target_sr=22050)
    f0, voiced, _ = librosa.pyin(y, fmin=110, fmax=880, sr=22050, frame_length=2048)
    midi = librosa.hz_to_midi(f0[voiced])
    assert np.median(midi[:10]) == pytest.approx(60, abs=0.11)  # pyin's own grid is 0.1 semitone
    assert np.median(midi[-12:-2]) == pytest.approx(64, abs=0.11)


def test_the_two_voices_are_told_apart_by_timbre() -> None:
    """Spectral centroid in harmonics: the flute's lies near its first, the reed's near its third or fourth."""
    def centre(timbre: str) -> float:
        samples = glide(62, 62, timbre).samples[8820:17640].astype(float)
        power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
        at = np.arange(len(power)) * OUTPUT_RATE / len(samples)
        return float((power * at).sum() / power.sum() / hertz(62))

    assert centre("tune") < 1.3
    assert centre("voice") > 2.5


def test_no_sound_folds_back_from_above_half_the_rate() -> None:
    """A very high tone: nothing but its harmonics in the spectrum."""
    samples = glide(103, 103, "voice").samples[4410:-4410].astype(float)
    power = np.abs(np.fft.rfft(samples * np.blackman(len(samples))))
    at = np.arange(len(power)) * OUTPUT_RATE / len(samples)
    off = np.abs(at / hertz(103) - np.round(at / hertz(103))) * hertz(103)
    assert power[(off > 40)].max() < power.max() * 1e-3


def test_the_glides_of_a_move_are_in_the_pupils_key_and_octave() -> None:
    found = turned_answer()
    move = found.advice.move
    assert move is not None
    sound = move_glides(found.match, move)
    first = found.match.notes[move.start - 1].midi
    assert first is not None
    rest = OUTPUT_RATE * 3 // 10
    at = {"tune begins": 0.05, "tune ends": 0.78, "voice begins": 1.4, "voice ends": 2.13}
    heard = {k: 69 + 12 * np.log2(spectrum_peak(sound.samples[round(s * OUTPUT_RATE):round(s * OUTPUT_RATE) + rest]) / 440)
             for k, s in at.items()}
    assert heard["tune begins"] == pytest.approx(first, abs=0.02)
    assert heard["tune ends"] == pytest.approx(first + move.wanted_semitones, abs=0.02)
    assert heard["voice begins"] == pytest.approx(first, abs=0.02)
    assert heard["voice ends"] == pytest.approx(first + 2, abs=0.02)


def test_where_a_note_was_left_out_only_the_tunes_glide_sounds() -> None:
    match = made_match(load("snail-wall").line(), {}, left_out=[3])
    assert move_glides(match, match.moves[2]).seconds == pytest.approx(1.1, abs=0.01)
    assert move_glides(match, match.moves[3]).seconds == pytest.approx(1.1, abs=0.01)


def test_speech_and_glides_have_one_level() -> None:
    """They were 12 dB apart. As saved and as played: what `finish` does keeps them together."""
    found = turned_answer()
    made = cue_sound(English(), found)
    glides = round(2.45 * OUTPUT_RATE)
    for sound, at_most in ((made, 0.5), (finish(made), 1.5)):
        speech = active_db(Sound(sound.samples[:-glides], OUTPUT_RATE))
        tune = active_db(Sound(sound.samples[-glides:-glides + round(1.1 * OUTPUT_RATE)], OUTPUT_RATE))
        voice = active_db(Sound(sound.samples[-round(1.1 * OUTPUT_RATE):], OUTPUT_RATE))
        assert max(speech, tune, voice) - min(speech, tune, voice) < at_most
    assert active_db(made) == pytest.approx(PART_DB, abs=0.5)


def test_whatever_level_speech_and_sounds_come_at_they_leave_at_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def loud(say: str, language: Language, rate_wpm: int) -> Sound:
        return Sound(0.9 * np.sign(starting_note(50, 0.8).samples), OUTPUT_RATE)

    def soft(say: str, language: Language, rate_wpm: int) -> Sound:
        return Sound(0.001 * starting_note(50, 0.8).samples, OUTPUT_RATE)

    for speak in (loud, soft):
        monkeypatch.setattr("companion.lesson.sounds.speak", speak)
        sound = said_then(English(), "x", Sound(glide(60, 67).samples * 0.02, OUTPUT_RATE))
        for part in (sound.samples[:round(0.8 * OUTPUT_RATE)], sound.samples[round(1.1 * OUTPUT_RATE):]):
            assert active_db(Sound(part, OUTPUT_RATE)) == pytest.approx(PART_DB, abs=0.3)


def test_without_a_move_to_try_there_are_no_glides() -> None:
    found = turned_answer()
    match = made_match(found.line)
    only = cue_sound(English(), replace(found, match=match, advice=advise(match)))
    assert only.seconds < 3


def test_the_starting_note_is_said_and_then_sounded() -> None:
    note = load("lantern").line()[0]
    sound = start_sound(English(), note, shift=-2.5)
    tone = sound.samples[-OUTPUT_RATE + 4410:-4410].astype(float)
    assert 69 + 12 * np.log2(spectrum_peak(tone) / 440) == pytest.approx(note.midi - 2.5, abs=0.02)
    assert sound.seconds > 1 + AFTER_SPEECH_S + 0.4
    assert said_then(English(), "Listen.", starting_note(60)).seconds > 1 + AFTER_SPEECH_S + 0.2


def test_a_line_sounds_note_for_note() -> None:
    line = load("snail-wall").line()
    sound = line_sound(line, shift=3, quarter_s=0.4)
    length = sum(float(n.quarters + n.rest_after) for n in line)
    assert sound.seconds == pytest.approx(0.4 * length, abs=0.01)
    at = 0.0
    for note in line:
        piece = sound.samples[round((at + 0.03) * OUTPUT_RATE):round((at + 0.4 * float(note.quarters) - 0.03) * OUTPUT_RATE)]
        heard = 69 + 12 * np.log2(spectrum_peak(piece.astype(float)) / 440)
        assert heard == pytest.approx(note.midi + 3, abs=0.05)
        at += 0.4 * float(note.quarters + note.rest_after)
    assert len(line_sound([]).samples) == 0


