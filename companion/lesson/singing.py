"""Was that singing? Told from the pitch track alone, so that speech, barks, claps and engines are not judged.

Sung notes rest: the pitch stays near one place for longer than speech ever lets it. Speech glides all the
time (its intonation), a bark is short and falls, a clap has no pitch, an engine has one pitch that never
begins anew. Where it cannot be told, the answer is "unclear", and one asks instead of judging.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from companion.ear.model import PitchTrack
from companion.match.model import Match

F = NDArray[np.float64]

WINDOW_S = 0.18  # one period of a slow vibrato: over it, vibrato has no slope
STEADY_SLOPE = 5.0  # semitones a second: slower is a rest on a note, faster a glide
STEADY_SPREAD = 0.6  # semitones, mean distance from the line of that slope
SINGING, UNCLEAR, OTHER = "singing", "unclear", "something else"


def steady_frames(track: PitchTrack) -> NDArray[np.bool_]:
    """True for frames in the middle of a window of voice in which the pitch rests."""
    midi = track.midi
    half = max(2, round(WINDOW_S / track.hop_s / 2))
    out = np.zeros(len(midi), dtype=bool)
    if len(midi) < 2 * half + 1:
        return out
    windows = np.lib.stride_tricks.sliding_window_view(midi, 2 * half + 1)
    t = np.arange(-half, half + 1) * track.hop_s
    slope = windows @ t / float(t @ t)
    rest = windows - windows.mean(axis=1)[:, None] - slope[:, None] * t
    with np.errstate(invalid="ignore"):
        good = (np.abs(slope) < STEADY_SLOPE) & (np.abs(rest).mean(axis=1) < STEADY_SPREAD)
    out[half:half + len(good)] = good  # NaN anywhere in the window: not voiced throughout, not steady
    return out


def features(track: PitchTrack, match: Match | None) -> dict[str, float]:
    """What is looked at: seconds of voice and of rest, share of rest, share of notes found, closeness."""
    voiced = track.f0_hz > 0
    steady = steady_frames(track)
    voice_s = float(voiced.sum()) * track.hop_s
    steady_s = float(steady.sum()) * track.hop_s
    found = {"voice_s": voice_s, "steady_s": steady_s, "steady": steady_s / max(voice_s, 1e-6),
             "sure": float(track.sure[voiced].mean()) if voiced.any() else 0.0,
             "harmonic": float(track.harmonic[voiced].mean()) if voiced.any() else 0.0}
    if match is not None and match.notes:
        found["notes"] = sum(n.sung for n in match.notes) / len(match.notes)
        found["closeness"] = match.closeness
    return found


#: On 240 synthesised takes of both makers the share of rest was 0.41 at least (2 in 100 under 0.48), on 120
#: spoken sentences 0.41 at most (2 in 100 over 0.35); `tests/lesson/test_other_sounds.py` measures it anew.
SINGING_FROM, SPEECH_TO = 0.44, 0.37
LEAST_REST_S = 0.15  # a shorter rest is one note's at most
LEAST_NOTES = 0.5  # share of the tune's notes that must be there, where there is a tune
CHANGE_S = 0.05  # a change of note breaks the rest for at least so long (0.1 s and more in both makers' takes)


def kind_of_sound(track: PitchTrack, match: Match | None) -> str:
    """SINGING, UNCLEAR or OTHER for a stretch of sound between two silences."""
    found = features(track, match)
    if match is None and found["voice_s"] < LEAST_REST_S:
        return OTHER
    few = len(match.notes) <= 2 if match is not None else False
    if found["steady_s"] < (LEAST_REST_S / 2 if few else LEAST_REST_S) or found["steady"] < SPEECH_TO:
        return OTHER
    if match is not None and len(match.notes) > 2:
        if found["notes"] < LEAST_NOTES:
            return OTHER
        # A hum goes on without a break where the tune has many notes.
        if found["voice_s"] - found["steady_s"] < WINDOW_S + CHANGE_S * (len(match.notes) - 1):
            return OTHER
    return SINGING if found["steady"] >= SINGING_FROM else UNCLEAR
