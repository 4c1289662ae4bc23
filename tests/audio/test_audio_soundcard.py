"""What is played comes out of a loudspeaker, in real time: on a sound card of software."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from soundcard import RATE, SoundCard, software_card

parselmouth = pytest.importorskip("parselmouth")
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def card() -> Iterator[SoundCard]:
    """One card for all tests here that leave it as it was."""
    with software_card() as made:
        yield made


def sounding(samples: np.ndarray) -> np.ndarray:
    """From the first sample that is louder than silence to the last."""
    on = np.flatnonzero(np.abs(samples) > 0.0005)
    assert len(on), "nothing was played"
    return samples[on[0]:on[-1] + 1]



def heard_midi(samples: np.ndarray, begin: float, end: float) -> float:
    """Median pitch from `begin` to `end` seconds by Praat's autocorrelation (parselmouth).

    As a MIDI number of equal temperament on A4 = 440 Hz (ISO 16:1975).
    """
    pitch = parselmouth.Sound(samples.astype(float), RATE).to_pitch_ac(time_step=0.01)
    f0, at = pitch.selected_array["frequency"], pitch.xs()
    return 69 + 12 * float(np.log2(np.median(f0[(at > begin) & (at < end) & (f0 > 0)]) / 440))


@pytest.mark.slow
def test_a_whole_cue_comes_out_spoken_and_then_both_glides_at_their_pitches(card: SoundCard) -> None:
    """Played as `hear --speak` plays it, recorded, and measured by Praat.

    The tune's glide begins on the sung pitch and goes as the tune goes; the voice's is what was sung.
    """
    code = """
import json
from companion.audio.playback import play
from companion.language import English
from companion.lesson import cue_sound
from made_matches import turned_answer
found = turned_answer()
move = found.advice.move
notes = [found.match.notes[n - 1].midi for n in (move.start, move.end)]
play(cue_sound(English(), found, rate_wpm=300))
print(json.dumps([*notes, move.wanted_semitones]))
"""
    with card.recording() as record:
        done = card.python(code)
    assert (done.returncode, done.stderr) == (0, "")
    first, last, wanted = json.loads(done.stdout)
    heard = sounding(record.samples)
    # From the end backwards: the voice's glide (1.1 s), a quarter of a second, the tune's glide (1.1 s).
    end = len(heard) / RATE
    tune, voice = end - 2.45, end - 1.1
    assert tune > 1, "speech comes before the glides"
    for at, midi in ((tune, first), (tune + 0.75, first + wanted), (voice, first), (voice + 0.75, last)):
        assert heard_midi(heard, at + 0.1, at + 0.3) == pytest.approx(midi, abs=0.03)


def test_steps_of_an_octave_sound_at_the_pitches_of_iso_16_and_to_their_end(card: SoundCard) -> None:
    """Some drivers drop what is under way when a stream is closed."""
    code = """
from companion.audio.glides import starting_note
from companion.audio.playback import play
from companion.audio.sound import concatenated
play(concatenated(*[starting_note(m, 0.3) for m in (60, 62, 64, 65, 69, 71, 72)]))
"""
    with card.recording() as record:
        assert card.python(code).returncode == 0
    heard = sounding(record.samples)
    assert len(heard) / RATE == pytest.approx(2.1, abs=0.03)
    for i, midi in enumerate((60, 62, 64, 65, 69, 71, 72)):
        assert heard_midi(heard, 0.3 * i + 0.08, 0.3 * i + 0.24) == pytest.approx(midi, abs=0.03)


@pytest.mark.slow
def test_playing_does_not_block_and_stops_softly_when_told(card: SoundCard) -> None:
    code = """
import json, time, threading
from companion.audio.glides import starting_note
from companion.audio.playback import play, start_playing
stop = threading.Event(); stop.set()
begin = time.monotonic(); play(starting_note(69, 20.0), stop=stop)
never = time.monotonic() - begin
begin = time.monotonic()
playing = start_playing(starting_note(69, 20.0))
returned = time.monotonic() - begin
early = playing.wait(0.4), playing.done
told = time.monotonic()
playing.stop(); playing.stop()
ended = playing.wait(5), playing.done
took = time.monotonic() - told
print(json.dumps([returned, early, ended, took, never]))
"""
    with card.recording() as record:
        done = card.python(code)
    returned, early, ended, took, never = json.loads(done.stdout)
    # The sound would last 20 s; the bounds leave room for a machine with much else to do.
    assert returned < 3
    assert early == [False, False]
    assert ended == [True, True]
    assert took < 3
    assert never < 3
    heard = sounding(record.samples)
    assert len(heard) / RATE < 5
    # A cut would leave full level up to the last sample.
    assert np.abs(heard[-RATE // 200:]).max() < 0.3 * np.abs(heard).max()


def test_a_program_that_ends_while_sound_plays_ends_quietly(card: SoundCard) -> None:
    done = card.python("from companion.audio.glides import starting_note; from companion.audio.playback import start_playing;"
                       "p = start_playing(starting_note(69, 20.0)); p.wait(0.2)", timeout=10)
    assert (done.returncode, done.stderr) == (0, "")


def test_an_unknown_loudspeaker_is_named_and_those_there_are_listed(card: SoundCard) -> None:
    code = ("from companion.audio.glides import glide; from companion.audio.playback import play;"
            "from companion.errors import Trouble\n"
            "play(glide(60, 62), device='pulse')\n"
            "try: play(glide(60, 62), device='nosuch')\nexcept Trouble as t: print(t)")
    done = card.python(code)
    assert done.stdout == "No loudspeaker is called 'nosuch'. There are: pulse, default.\n", done.stderr
    assert done.stderr == ""


def unplugged(card: SoundCard, pull: Callable[[], object]) -> tuple[str, str]:
    """Standard output and error of a program whose loudspeaker goes away while it plays."""
    code = ("from companion.audio import playback; from companion.audio.glides import starting_note\n"
            "from companion.audio.playback import start_playing; from companion.errors import Trouble\n"
            "playback.STALLED_S = 0.8\n"  # three seconds of waiting would prove no more
            "p = start_playing(starting_note(69, 20.0)); p.wait(0.5); print('plays', flush=True)\n"
            "try: p.wait(); print('ended')\nexcept Trouble as t: print(t)")
    process = subprocess.Popen([sys.executable, "-c", code], env=card.env, cwd=ROOT, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "plays\n"
    pull()
    out, err = process.communicate(timeout=15)
    assert process.returncode == 0
    return out, err


SENTENCE = "The loudspeaker went away while sound was playing. Plug it in again, and play once more.\n"


def test_unplugging_in_the_middle_is_one_sentence(soundcard: SoundCard) -> None:
    assert unplugged(soundcard, soundcard.unplug) == (SENTENCE, "")


@pytest.mark.slow
def test_a_card_that_takes_no_more_sound_is_one_sentence_too(soundcard: SoundCard) -> None:
    assert unplugged(soundcard, lambda: soundcard.pactl("suspend-sink", "loudspeaker", "1")) == (SENTENCE, "")


@pytest.mark.slow
def test_a_link_that_stalls_for_seconds_goes_on_and_nothing_of_the_sound_is_lost(soundcard: SoundCard) -> None:
    """As a wireless loudspeaker does; and the next sound comes out of the same opening."""
    code = ("from companion.audio import Loudspeaker, starting_note\n"
            "speaker = Loudspeaker()\n"
            "p = speaker.play(starting_note(69, 3.0)); p.wait(0.8); print('plays', flush=True)\n"
            "print(p.wait()); print(speaker.play(starting_note(72, 0.5)).wait()); print(speaker.close())")
    with soundcard.recording() as record:
        process = subprocess.Popen([sys.executable, "-c", code], env=soundcard.env, cwd=ROOT, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True)
        assert process.stdout is not None
        assert process.stdout.readline() == "plays\n"
        soundcard.pactl("suspend-sink", "loudspeaker", "1")
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(2.0)  # it neither ends nor fails meanwhile
        soundcard.pactl("suspend-sink", "loudspeaker", "0")
        out, err = process.communicate(timeout=20)
    assert (process.returncode, out, err) == (0, "True\nTrue\nTrue\n", "")
    # The record stands still while the sink does, so what was played is there without a gap.
    loud = np.abs(record.samples) > 0.003
    assert np.count_nonzero(np.convolve(loud, np.ones(480), "same") > 0) / RATE == pytest.approx(3.5, abs=0.1)


def test_the_microphone_set_apart_hears_the_voice_and_not_the_loudspeaker(soundcard_apart: SoundCard) -> None:
    """The card itself: what `voice()` plays reaches sounddevice, what the program plays does not."""
    card = soundcard_apart
    t = np.arange(RATE * 30) / RATE  # longer than a busy machine takes to start the program
    singing = card.voice((0.3 * np.sin(2 * np.pi * 330 * t)).astype(np.float32))
    with card.recording() as record:
        done = card.python(
            "import sounddevice as sd, numpy as np; from companion.audio.glides import starting_note;"
            "from companion.audio.playback import play\n"
            "with sd.InputStream(samplerate=48000, channels=1) as mic:\n"
            "    play(starting_note(69, 0.6)); x, _ = mic.read(24000)\n"
            "p = np.abs(np.fft.rfft(x[:, 0] * np.hanning(24000)))\n"
            "print(p.argmax() * 2, p[219:222].max() / p.max())")
    singing.terminate()
    assert done.returncode == 0, done.stderr
    peak, of_ours = done.stdout.split()
    assert float(peak) == 330
    assert float(of_ours) < 0.01
    spectrum = np.abs(np.fft.rfft(sounding(record.samples)[:RATE // 2]))
    assert spectrum.argmax() * 2 == 440
