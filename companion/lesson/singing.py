"""Was that singing? Told from the pitch track, so that speech, barks, claps and engines are not judged.

Sung notes rest: the pitch stays near one place for longer than speech ever lets it, and the voice goes on for
longer without a stop. A bark is short and falls, a clap has no pitch, an engine has one tone that never begins
anew. Where it cannot be told the answer is "unclear", and one asks instead of judging.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack
from companion.errors import NothingSung
from companion.match import PARAMETERS, Match, Presence, Verdict, match_take
from companion.tune import LineNote

F = NDArray[np.float64]


class SoundKind(StrEnum):
    """What a stretch of sound was."""

    SINGING = "singing"
    UNCLEAR = "unclear"
    OTHER = "something else"


SMOOTH_S = 0.18  # one period of a slow vibrato: over it, vibrato has no slope
REST_SPAN = 1.0  # semitones from lowest to highest within which a pitch rests
REST_S = 0.2  # a rest as long as a quick note
SMOOTH_SPAN = 0.8  # the same for the smoothed pitch
#: Logarithmic odds of singing: a constant; share of the voice in rests of REST_S and more; logarithms of the
#: longest rest of the smoothed pitch (s), of the longest voice without a stop (s), and of how fast the smoothed
#: pitch moves in its calmest third (semitones a second, plus a half). A logistic regression on real singers
#: (375 graded takes and three recordings of one voice each, which do not ship), 120 synthesised takes of both
#: makers, and 392 spoken sentences of eSpeak NG; with any of the singers held out it parts them as well.
ODDS = (0.703, 2.657, 1.54, 1.315, -0.573)
SINGING_FROM = 0.3  # 1 in 150 spoken sentences lies above, 1 in 90 takes below
OTHER_BELOW = -0.5
CLOSE = 0.3  # a take this close to the tune was meant as singing (spoken sentences reach 0.12) ...
THERE = 1.0  # ... or one in which the line, right or wrong, was found at such odds

LEAST_VOICE_S = 0.15
LEAST_NOTES = 0.5  # share of the tune's notes that must be there, where it is not sure that it was sung
STEADY_SLOPE = 5.0  # semitones a second: slower is a rest on a note, faster a change
CHANGE_S = 0.03  # a change of note breaks the rest for at least so long (0.04 s a note in the quickest real take)


def smoothed(track: PitchTrack) -> F:
    """The pitch (MIDI) averaged over SMOOTH_S of voice; NaN where not voiced."""
    midi = track.midi
    window = np.ones(max(3, round(SMOOTH_S / track.hop_s)))
    voiced = ~np.isnan(midi)
    total = np.convolve(np.where(voiced, midi, 0.0), window, "same")[:len(midi)]
    count = np.convolve(voiced.astype(float), window, "same")[:len(midi)]
    return np.where(voiced, total / np.maximum(count, 1.0), np.nan)


def rests(midi: F, hop_s: float, span: float) -> F:
    """Lengths (s) of the stretches in which a pitch stays within `span` semitones, from left to right."""
    out = []
    low = high = math.nan
    frames = 0
    for m in midi.tolist():
        if frames and m == m and max(high, m) - min(low, m) <= span:
            low, high = min(low, m), max(high, m)
            frames += 1
            continue
        if frames:
            out.append(frames * hop_s)
        low = high = m
        frames = 1 if m == m else 0
    if frames:
        out.append(frames * hop_s)
    return np.array(out if out else [0.0])


def singing_odds(track: PitchTrack) -> float:
    """Logarithmic odds that a stretch of sound is singing and not speech; -10 where nothing is voiced."""
    voiced = track.f0_hz > 0
    voice_s = float(voiced.sum()) * track.hop_s
    if voice_s < LEAST_VOICE_S:
        return -10.0
    rested = rests(track.midi, track.hop_s, REST_SPAN)
    smooth = smoothed(track)
    longest = float(rests(smooth, track.hop_s, SMOOTH_SPAN).max())
    runs = rests(np.where(voiced, 0.0, np.nan), track.hop_s, 1.0)
    speed = np.abs(np.diff(smooth)) / track.hop_s
    speed = speed[~np.isnan(speed)]
    calm = float(np.quantile(speed, 0.3)) if len(speed) else 99.0
    values = (1.0, float(rested[rested >= REST_S].sum()) / voice_s, math.log(max(longest, 0.01)),
              math.log(max(float(runs.max()), 0.05)), math.log(calm + 0.5))
    return sum(w * x for w, x in zip(ODDS, values, strict=True))


def steady_s(track: PitchTrack) -> float:
    """Seconds of voice in which the pitch moves slowly over a whole window of SMOOTH_S."""
    midi = track.midi
    half = max(2, round(SMOOTH_S / track.hop_s / 2))
    if len(midi) < 2 * half + 1:
        return 0.0
    t = np.arange(-half, half + 1) * track.hop_s
    slope = np.lib.stride_tricks.sliding_window_view(midi, 2 * half + 1) @ t / float(t @ t)
    with np.errstate(invalid="ignore"):
        return float(np.count_nonzero(np.abs(slope) < STEADY_SLOPE)) * track.hop_s


def kind_of_sound(track: PitchTrack, match: Match | None) -> SoundKind:
    """Singing or not, for a stretch of sound between two silences."""
    voice_s = float(np.count_nonzero(track.f0_hz > 0)) * track.hop_s
    if voice_s < LEAST_VOICE_S:
        return SoundKind.OTHER
    odds = singing_odds(track)
    if match is not None and len(match.notes) > 2:
        if match.presence is not Presence.PRESENT and (
                sum(n.sung for n in match.notes) < LEAST_NOTES * len(match.notes)):
            # Two or three notes of the tune perhaps, and then no more: it is asked for again, and not passed over.
            return SoundKind.UNCLEAR if match.presence is Presence.DOUBTFUL and odds >= SINGING_FROM else SoundKind.OTHER
        # A hum goes on without a break where the tune has many notes.
        if voice_s - steady_s(track) < SMOOTH_S + CHANGE_S * (len(match.notes) - 1):
            return SoundKind.OTHER
        weighed = len(match.notes) >= PARAMETERS.weighed_from and match.presence is Presence.PRESENT
        if (match.closeness >= CLOSE or (weighed and match.presence_odds >= THERE)) and odds >= OTHER_BELOW:
            return SoundKind.SINGING
    if odds >= SINGING_FROM:
        return SoundKind.SINGING
    return SoundKind.UNCLEAR if odds >= OTHER_BELOW else SoundKind.OTHER


TALK_PAUSE_S = 0.2  # what was said before singing is parted from it by a pause at least so long
MOST_PAUSES = 5
LEAST_WORDS_S = 0.4  # seconds of voice: a single short note is no word yet
BETTER = 0.05  # closeness by which a take must gain where its beginning is left out as talk


def without_talk(track: PitchTrack, match: Match, line: Sequence[LineNote]) -> tuple[PitchTrack, Match]:
    """A take without what was said before it: "now listen", and then the singing.

    A beginning before a pause is left out where it is not clearly singing and the rest is closer to the tune
    without it. A take that is all right as it stands is left alone.
    """
    if all(m.verdict == Verdict.RIGHT for m in match.moves):
        return track, match
    best = track, match
    for cut in _pauses(track)[:MOST_PAUSES]:
        if singing_odds(track.part(slice(0, cut))) >= SINGING_FROM:
            break
        rest = track.part(slice(cut, len(track.f0_hz)))
        if singing_odds(rest) < OTHER_BELOW:  # whatever it is close to, it will not be taken for singing
            continue
        try:
            found = match_take(rest, line)
        except NothingSung:
            break
        if found.closeness > best[1].closeness + BETTER:
            best = rest, found
    return best


def without_words(track: PitchTrack) -> PitchTrack:
    """The same where no tune is known: what is clearly speech, before it or after it, and long enough to be told, is left
    out."""
    for cut in reversed(_pauses(track)[:MOST_PAUSES]):
        if _spoken(track.part(slice(0, cut))):
            track = track.part(slice(cut, len(track.f0_hz)))
            break
    for cut in _pauses(track)[-MOST_PAUSES:]:
        if _spoken(track.part(slice(cut, len(track.f0_hz)))):
            return track.part(slice(0, cut))
    return track


def _spoken(part: PitchTrack) -> bool:
    return bool(np.count_nonzero(part.f0_hz > 0) * part.hop_s >= LEAST_WORDS_S) and singing_odds(part) < OTHER_BELOW


def _pauses(track: PitchTrack) -> list[int]:
    """The frame in the middle of each pause between voices."""
    voiced = np.flatnonzero(track.f0_hz > 0)
    gaps = np.flatnonzero(np.diff(voiced) * track.hop_s >= TALK_PAUSE_S)
    return [int((voiced[g] + voiced[g + 1]) // 2) for g in gaps]
