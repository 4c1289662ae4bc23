"""Whether a take can be written down at all, and whether its sound is doubtful.

The limits lie outside what 75 synthesised takes of both makers and three real singers reach, and inside what
fourteen spoken sentences, slides, sirens and a piano under a voice do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from companion.ear import PitchTrack, SungNote
from companion.errors import NothingSung
from companion.messages import _
from companion.transcribe.notation import SoundDoubt

STEADY_SPREAD = 0.3  # semitones within which a sung note rests, vibrato and all
STEADY_S = 0.12
#: Speech slides within its notes, its tracker is unsure, and it rests less. So much for each share beyond a middle
#: value; spoken sentences of eSpeak NG come to 1.4 and more, singers to 0 and less.
SPEECH = (8.0, 0.45, 12.0, 0.2, 8.0, 0.85)
SPEECH_FROM = 0.8
#: The notes of a quick song by a low man have all three, but they lie on a scale: their pitches, or the moves between them,
#: crowd at one place of the semitone, which those of talk do by so much (Rayleigh's test) once in 150 times. 36 pieces of
#: talk, two thirds of them real, came to 0.1 to 2.7; five such songs, which were refused before, to 6.8 to 17.8.
ON_A_SCALE = 5.0
GLIDE = 0.4  # semitones from a note's first third to its last, all the same way, make a slide
MOST_GLIDES, SLIDE_SURE = 0.6, 0.3  # in one long slide the pitch itself is clear
MOST_HISS = 0.6  # share of the louder frames that is no voice
MOST_JUMPS, JUMP, UNSURE = 0.15, 9.0, 0.2  # a tracker torn between two sounds jumps by sixths and more
CLEAR_SURE = 0.25  # a tracker less sure than this hears noise or a second sound beside the voice

#: Voices that sing in turn part at pauses of so many seconds; each turn has so many notes; and between the middles of the low
#: ones and of the high ones lie so many semitones. The phrases of 362 tunes of eight
#: collections never lie so; with every other phrase an octave lower three of four do.
TURN_S, TURN_NOTES, TURNS_APART = 0.25, 3, 8.0


@dataclass(frozen=True)
class Suitability:
    """What was measured of a take, as shares from 0 to 1.

    steady: of the voice that rests on notes. glides: of notes that slide. hiss: of the louder frames without voice.
    jumps: of moves by more than a sixth. sure: the tracker's confidence, median over the voice.
    """

    steady: float
    glides: float
    hiss: float
    jumps: float
    sure: float


def measure(track: PitchTrack, notes: Sequence[SungNote]) -> Suitability:
    """How a take's notes rest, slide and jump (at least one note)."""
    voiced = track.f0_hz > 0
    voice_s = max(float(voiced.sum()) * track.hop_s, 1e-6)
    steady = sum(n.duration_s for n in notes if n.spread < STEADY_SPREAD and n.duration_s >= STEADY_S) / voice_s
    midi, start = track.midi, float(track.time_s[0])
    glides = []
    for n in notes:
        a = round((n.onset_s - start) / track.hop_s)
        inside = midi[a:a + max(3, round(n.duration_s / track.hop_s))]
        inside = inside[~np.isnan(inside)]
        third = len(inside) // 3
        if third and n.duration_s >= STEADY_S:
            glides.append(abs(float(np.median(inside[-third:]) - np.median(inside[:third]))) > GLIDE)
    if np.isnan(track.level_db).all():
        hiss, sure = 0.0, 1.0  # a bare pitch track says nothing of its sound
    else:
        level = np.nan_to_num(track.level_db, nan=-120.0)
        loud = level > np.percentile(level[voiced], 50) - 15.0
        hiss = float((loud & ~voiced).sum()) / max(1.0, float(loud.sum()))
        sure = float(np.median(track.sure[voiced]))
    jumps = [abs(b.midi - a.midi) > JUMP for a, b in pairwise(notes)]
    return Suitability(min(1.0, steady), float(np.mean(glides)) if glides else 0.0, hiss,
                   float(np.mean(jumps)) if jumps else 0.0, sure)


def crowding(notes: Sequence[SungNote]) -> float:
    """How much the pitches of notes, or the moves between them where the voice drifts, crowd at one place of the semitone.

    N times the square of the mean resultant length (Rayleigh's z; Mardia and Jupp 2000, from memory), the greater of the two.
    """
    midi = np.array([n.midi for n in notes])
    return max((float(abs(np.exp(2j * np.pi * x).sum()) ** 2 / len(x)) for x in (midi, np.diff(midi)) if len(x)), default=0.0)


def check_suitable(track: PitchTrack, notes: Sequence[SungNote]) -> Suitability:
    """What was measured of a take. Raises NothingSung where its sound is no tune."""
    s = measure(track, notes)
    if s.hiss > MOST_HISS:
        raise NothingSung(_("Most of this take is too soft or too noisy to be heard as singing. Sing closer to the "
                            "microphone, in a quieter place."))
    if s.glides > MOST_GLIDES and s.sure > SLIDE_SURE:
        raise NothingSung(_("The pitch of this take slides all the way and rests on no note, so there is nothing to "
                            "write down. Sing it note by note."))
    a, glides, b, sure, c, steady = SPEECH
    if a * (s.glides - glides) + b * (sure - s.sure) + c * (steady - s.steady) > SPEECH_FROM and crowding(notes) < ON_A_SCALE:
        raise NothingSung(_("This take sounds like speech or like a voice that rests on no note. Sing the tune on "
                            "clear notes."))
    if s.jumps > MOST_JUMPS and s.sure < UNSURE:
        raise NothingSung(_("Something else sounds with the voice, and the two cannot be told apart. Record the "
                            "voice alone."))
    return s


def sound_doubt(s: Suitability, notes: Sequence[SungNote]) -> SoundDoubt | None:
    """What is doubtful about the sound of a take that is written down all the same."""
    return SoundDoubt.IN_TURN if in_turn(notes) else SoundDoubt.UNCLEAR if s.sure < CLEAR_SURE else None


def in_turn(notes: Sequence[SungNote]) -> bool:
    """Whether two voices sing in turn: the turns lie in two registers, and hardly a note of one lies in the other."""
    turns: list[list[float]] = [[]]
    for k, note in enumerate(notes):
        if k and note.onset_s - notes[k - 1].onset_s - notes[k - 1].duration_s > TURN_S:
            turns.append([])
        turns[-1].append(note.midi)
    turns = sorted((t for t in turns if len(t) >= TURN_NOTES), key=np.median)
    if len(turns) < 2:
        return False
    gaps = [float(np.median(b) - np.median(a)) for a, b in pairwise(turns)]
    k = int(np.argmax(gaps)) + 1
    low, high = ([note for turn in some for note in turn] for some in (turns[:k], turns[k:]))
    return bool(max(gaps) >= TURNS_APART and np.percentile(low, 90) < np.percentile(high, 10))
