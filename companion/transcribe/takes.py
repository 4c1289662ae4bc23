"""Takes from files or the microphone, written down as one score with words and corrections."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from companion.ear import DEFAULT_TRACKER, RATE, PitchTrack, Sound, Tracker, is_track_file, join, read_sound, read_track, track
from companion.errors import NothingSung, Trouble
from companion.messages import _
from companion.places import decoded, read_within
from companion.transcribe.accompaniment import check_voice, is_accompanied
from companion.transcribe.combine import notate_together
from companion.transcribe.corrections import Action, Change, Correction, correct_all, lay_words
from companion.transcribe.count_in import FEWEST, MOST
from companion.transcribe.folk_counts import BY_BEATS, TIMES
from companion.transcribe.lyrics import Laid
from companion.transcribe.notation import Given, Notation, SoundDoubt
from companion.transcribe.rhythm import FEWEST_BEATS
from companion.transcribe.score import LONGEST_S
from companion.tune import ENGLISH, Key, Time, check_language

F32 = NDArray[np.float32]

LIVE = "live"  # in place of a take: from the microphone
END_SILENCE_S = 3.0  # longer than any breath inside a tune
WAIT_S = 20.0
LOWEST_BPM, HIGHEST_BPM = 30, 240


@dataclass(frozen=True)
class Take:
    """The pitch track of a take, whether something else sounds with the voice, and the sound (None: a bare pitch track)."""

    track: PitchTrack
    accompanied: bool
    sound: Sound | None = None


def take_of(path: str | Path, tracker: str = DEFAULT_TRACKER) -> Take:
    """A take from a file. tracker: by name, see `companion.ear.PitchTracker`.

    Raises Trouble where it is unreadable, or too long to be a tune.
    """
    if is_track_file(path):
        return Take(read_track(path), False)
    sound = read_sound(path)
    if sound.seconds > LONGEST_S:
        raise Trouble(_("{path} lasts {minutes:.0f} minutes; a tune of up to {most:.0f} minutes can be written "
                        "down. Cut out the part that you want.").format(
                            path=path, minutes=sound.seconds / 60, most=LONGEST_S / 60))
    found = track(sound, tracker)
    return Take(found, is_accompanied(sound.samples, found), sound)


def live_take(read: Callable[[], F32 | None], tracker: str = DEFAULT_TRACKER) -> Take:
    """A take of what comes in from `read` (mono float32 at the ear's rate; None: nothing came in time).

    It ends after END_SILENCE_S of sound without voice once something was sung, after WAIT_S if nothing was, and
    at LONGEST_S in any case. Our own tracker hears when it ends; another one, by its name, is then given the whole.
    """
    stream = Tracker()
    parts: list[PitchTrack] = []
    heard: list[F32] = []
    heard_s, last_voice_s = 0.0, -1.0
    while heard_s < LONGEST_S:
        samples = read()
        if samples is None:
            continue
        heard.append(samples)
        heard_s += len(samples) / RATE
        part = stream.push(samples)
        parts.append(part)
        voiced = part.time_s[part.f0_hz > 0]
        if len(voiced):
            last_voice_s = float(voiced[-1])
        if heard_s - last_voice_s > (END_SILENCE_S if last_voice_s >= 0 else WAIT_S):
            break
    whole = Sound(np.concatenate(heard), RATE)
    found = join([*parts, stream.finish()]) if tracker == DEFAULT_TRACKER else track(whole, tracker)
    return Take(found, is_accompanied(whole.samples, found), whole)


MOST_BEATS_BYTES = 1_000_000  # a line for each beat of an hour comes to a tenth of it


def read_beats(path: str | Path) -> tuple[float, ...]:
    """Times of tapped beats from a text file: one time in seconds a line; other text on a line is passed over."""
    try:
        text = decoded(read_within(Path(path), MOST_BEATS_BYTES), "replace")
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    found = [float(m.group()) for m in (re.match(r"\s*\d+(\.\d+)?", line) for line in text.splitlines()) if m]
    if len(found) < FEWEST_BEATS or any(b <= a for a, b in pairwise(found)):
        raise Trouble(_("{path} holds {found} beats in order; at least three are wanted, one time in seconds a "
                        "line, each later than the one before.").format(path=path, found=len(found)))
    return tuple(found)


def time_named(text: str) -> Time | None:
    """The time signature of "3/4", or of "3" for so many beats to the bar; None where there is none such here."""
    name = text.strip()
    return TIMES.get(name) or (BY_BEATS.get(int(name)) if name.isdecimal() else None)


def given(bpm: float | None = None, time: str | None = None, beats: str | Path | None = None,
          key: Key | None = None, counted_in: int = 0) -> Given:
    """What a person has given, checked. Raises Trouble for what cannot be."""
    if bpm is not None and not LOWEST_BPM <= bpm <= HIGHEST_BPM:
        raise Trouble(_("{bpm:g} beats a minute were given; give 30 to 240.").format(bpm=bpm))
    signature = None if time is None else time_named(time)
    if time is not None and signature is None:
        raise Trouble(_("Time {time} was given; a tune is written in {times} here.").format(
                            time=time, times=", ".join(TIMES)))
    if counted_in and not FEWEST <= counted_in <= MOST:
        raise Trouble(_("Counting in by {counted_in} was given; give a number of counts from {fewest} to {most}.").format(
                            counted_in=counted_in, fewest=FEWEST, most=MOST))
    return Given(bpm, signature, read_beats(beats) if beats else (), key, counted_in)


@dataclass(frozen=True)
class Transcription:
    """A take, or several, written down and corrected. changes: what each correction did, in order.

    laid: how words that were given fitted, None where none were. past, undone: the score before each correction, and the
    scores that were taken back, the latest last. typed: corrections as they were typed. sounds: of the takes, where wanted.
    uncounted: the counts before a tune that was sung just now were not found.
    """

    notation: Notation
    takes: int = 1
    changes: tuple[Change, ...] = ()
    laid: Laid | None = None
    past: tuple[Notation, ...] = ()
    undone: tuple[Notation, ...] = ()
    typed: tuple[str, ...] = ()
    sounds: tuple[Sound, ...] = ()
    uncounted: bool = False

    def mended(self, notation: Notation, changes: tuple[Change, ...] = (), typed: str = "") -> Transcription:
        """With a new score; `taken_back` is the way back."""
        return replace(self, notation=notation, changes=changes, laid=None, past=(*self.past, self.notation), undone=(),
                       typed=(*self.typed, typed) if typed else self.typed)

    def taken_back(self) -> Transcription:
        """The score before the last correction. Raises IndexError where there is none."""
        return replace(self, notation=self.past[-1], changes=(), laid=None, past=self.past[:-1],
                       undone=(*self.undone, self.notation))

    def made_again(self) -> Transcription:
        """The score that was taken back last. Raises IndexError where there is none."""
        return replace(self, notation=self.undone[-1], changes=(), laid=None, past=(*self.past, self.notation),
                       undone=self.undone[:-1])


def write_takes(paths: Sequence[str | Path], given: Given, title: str = "", words: str = "",
                corrections: Sequence[Sequence[Correction]] = (), microphone: Callable[[], F32 | None] | None = None,
                tracker: str = DEFAULT_TRACKER, words_language: str = ENGLISH,
                keep_sound: bool = False) -> Transcription:
    """Takes of one tune (at least one) written down as one score; corrections made line by line; words laid under it.

    microphone: gives sound for a take called LIVE. tracker: by name, see `companion.ear.PitchTracker`. Raises NothingSung
    or Trouble where a take cannot be written down. words_language: by its code.
    keep_sound: the sound of the takes is in what is returned.
    """
    check_language(words_language)
    if given.beats_s and len(paths) > 1:
        raise Trouble(_("Beats belong to one take; give one take with them."))
    takes = [live_take(microphone, tracker) if str(p) == LIVE and microphone else take_of(p, tracker) for p in paths]
    accompanied = any(t.accompanied for t in takes)
    name = title or ("" if str(paths[0]) == LIVE else titled(Path(paths[0]).stem))
    try:
        for take in takes:
            check_voice(take.track)
        notation, uncounted = _notated([t.track for t in takes], name, given, str(paths[0]) == LIVE)
        notation = replace(notation, language=words_language)
    except NothingSung:
        if not accompanied:
            raise
        raise NothingSung(_("More than one voice or instrument sounds here, and a note may come from either. Record the "
                            "voice alone, or listen to each note again.")) from None
    if accompanied:
        notation = replace(notation, sound=SoundDoubt.ACCOMPANIED)
    sounds = tuple(t.sound for t in takes if t.sound) if keep_sound else ()
    done = mended(Transcription(notation, len(paths), sounds=sounds, uncounted=uncounted), corrections)
    return worded(done, words) if words else done


def _notated(tracks: Sequence[PitchTrack], name: str, given: Given, live: bool) -> tuple[Notation, bool]:
    """The score, and whether its counts were not found: what was sung just now is then written without, and not lost."""
    try:
        return notate_together(tracks, name, given).notation, False
    except NothingSung:
        raise
    except Trouble:
        if not (live and given.counted_in):
            raise
        return notate_together(tracks, name, replace(given, counted_in=0)).notation, True


def mended(transcription: Transcription, corrections: Sequence[Sequence[Correction]]) -> Transcription:
    """Corrections made line by line, each of which can be taken back. Raises Trouble where one cannot be made.

    A time signature comes first, since the take is read again in it, and a key with it.
    """
    changes: list[Change] = []
    for line in sorted(corrections, key=lambda line: line[0].action not in (Action.TIME, Action.KEY)):
        notation, made = correct_all(transcription.notation, line)
        changes += made
        transcription = transcription.mended(notation)
    return replace(transcription, changes=tuple(changes))


def worded(transcription: Transcription, words: str) -> Transcription:
    """With words laid under the notes."""
    notation, laid = lay_words(transcription.notation, words)
    return replace(transcription, notation=notation, laid=laid)


def titled(stem: str) -> str:
    """A file's name as a title: "folk-line" is "Folk line"."""
    words = " ".join(stem.replace("-", " ").replace("_", " ").split())
    return words[:1].upper() + words[1:]
