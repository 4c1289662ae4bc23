"""What the sound of a take shows before any note is sought in it: a second voice, a slide, breath without pitch.

The limits were set on synthesised singers of both makers, in rooms and in noise, on pairs of them and on singers
over a piano, and then checked on others (tests/transcribe/test_transcribe_accompaniment.py has a few of each).
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from companion.ear import RATE, PitchTrack
from companion.errors import NothingSung
from companion.messages import _

F32 = NDArray[np.float32]

FRAME = 4096  # samples, 186 ms: partials of two voices a third apart stand apart in it
LOW_HZ, HIGH_HZ = 90.0, 2000.0  # where the partials of voices are strong
STEADY_S, STEADY_SEMITONES = 0.12, 0.6  # so long before and after a moment the pitch must lie so still
EVERY, FEWEST_MOMENTS = 3, 8  # a moment every so many frames (30 ms); fewer show nothing
PROMINENT, AROUND = 20.0, 30  # a partial stands out so many times over the median of so many bins on either side
#: A peak so near a multiple of the pitch belongs to it: Hz (a note's beginning and its wavering spread its partials),
#: and a share of its frequency (vibrato).
NEAR_HZ, NEAR_SHARE = 28.0, 0.045
#: A take is accompanied where in so great a share of its moments so much of the power of all peaks lies elsewhere.
#: Single voices reached a share of 0.06, in a hall with much echo 0.22; two voices or a piano mostly 0.3 to 1.
MOMENT_FROM, TAKE_FROM = 0.03, 0.25
#: So is one where that lasts: that much power in so many moments in a row (0.24 s; an echo is gone by then), in
#: such a share of all. Single voices reached 0.08.
LASTING_FROM, IN_A_ROW, TAKE_LASTING = 0.02, 8, 0.15

SLIDE_S = 0.25  # a moment of a slide: so long before and after it the pitch lies on a slanting line ...
SLIDE_SEMITONES_S, SLIDE_OFF = 0.6, 0.15  # ... at least so steep, and nowhere much farther off it, in semitones
#: A take in which so much of what could be a slide is one (singers reached 0.27), and the fewest moments (10 ms).
SLIDE_FROM, FEWEST_SLIDING = 0.6, 80
#: Periodicity, median over the voice: breath shaped by a mouth reached 0.52, singers in noise no less than 0.70.
BREATH_BELOW = 0.6


def accompaniment(samples: F32, track: PitchTrack) -> tuple[float, float]:
    """In what share of its steady moments a take has partials that are not those of its pitch, and in what share
    such moments last; each 0 to 1.

    samples: mono at the ear's rate, the sound that was tracked. A voice an octave off, or in unison, has its partials
    where the other's are, and is not found.
    """
    midi, reach = track.midi, round(STEADY_S / track.hop_s)
    if len(midi) <= 2 * reach:
        return 0.0, 0.0
    windows = sliding_window_view(midi, 2 * reach + 1)[::EVERY]
    begin = np.round(track.time_s[reach:len(midi) - reach:EVERY] * RATE).astype(int) - FRAME // 2
    still = (windows.max(axis=1) - windows.min(axis=1) <= STEADY_SEMITONES) & (  # false where NaN is
        begin >= 0) & (begin + FRAME <= len(samples))
    if still.sum() < FEWEST_MOMENTS:
        return 0.0, 0.0
    away = np.array([_elsewhere(samples[begin[i]:begin[i] + FRAME], 440.0 * 2 ** ((float(np.median(windows[i])) - 69) / 12))
                     for i in np.flatnonzero(still).tolist()])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], away > LASTING_FROM, [0]])))
    runs = edges[1::2] - edges[::2]
    return float((away > MOMENT_FROM).mean()), float(runs[runs >= IN_A_ROW].sum() / len(away))


def is_accompanied(samples: F32, track: PitchTrack) -> bool:
    """Whether something else is found to sound with the voice (see `accompaniment`)."""
    share, lasting = accompaniment(samples, track)
    return share >= TAKE_FROM or lasting >= TAKE_LASTING


def _elsewhere(frame: F32, f0_hz: float) -> float:
    """The share of the power of all spectral peaks that lies in clear ones away from the multiples of a pitch."""
    power = np.abs(np.fft.rfft(frame * np.hanning(FRAME))) ** 2
    low, high = round(LOW_HZ * FRAME / RATE), round(HIGH_HZ * FRAME / RATE)
    peaks = np.arange(low, high)
    peaks = peaks[(power[peaks] > power[peaks - 1]) & (power[peaks] >= power[peaks + 1])]
    if not len(peaks):
        return 0.0
    floor = np.median(sliding_window_view(np.pad(power, AROUND, mode="edge"), 2 * AROUND + 1)[peaks], axis=1)
    hz = peaks * RATE / FRAME
    multiple = hz / f0_hz
    off_hz = np.abs(multiple - np.round(multiple)) * f0_hz
    away = (off_hz > np.maximum(NEAR_HZ, NEAR_SHARE * hz)) | (multiple < 0.5)
    clear = power[peaks] > PROMINENT * floor
    return float(power[peaks][away & clear].sum() / power[peaks].sum())


def sliding(track: PitchTrack) -> float:
    """In what share of the moments with voice all around them the pitch slides evenly; 0 to 1, 0 where few are."""
    reach = round(SLIDE_S / track.hop_s)
    if len(track.midi) <= 2 * reach:
        return 0.0
    windows = sliding_window_view(track.midi, 2 * reach + 1)
    windows = windows[~np.isnan(windows).any(axis=1)]
    if len(windows) < FEWEST_SLIDING:
        return 0.0
    x = np.arange(-reach, reach + 1) * track.hop_s
    middle = windows.mean(axis=1, keepdims=True)
    slope = (windows - middle) @ x / float(x @ x)  # least squares
    off = (windows - middle - slope[:, None] * x).std(axis=1)
    return float(((np.abs(slope) > SLIDE_SEMITONES_S) & (off < SLIDE_OFF)).mean())


def check_voice(track: PitchTrack) -> None:
    """Raises NothingSung where a take is one long slide, or breath and no voice."""
    if sliding(track) > SLIDE_FROM:
        raise NothingSung(_("The pitch of this take slides all the way and rests on no note, so there is nothing to "
                            "write down. Sing it note by note."))
    voiced = track.f0_hz > 0
    if voiced.any() and float(np.median(track.harmonic[voiced])) < BREATH_BELOW:  # false where NaN is
        raise NothingSung(_("This take holds breath or noise, and no clear voice in it. Sing it aloud, closer to "
                            "the microphone."))
