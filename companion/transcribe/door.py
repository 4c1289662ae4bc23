"""What the commands and the page ask of this room, in whole pieces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from companion.braille import encode, needs_octave, to_brf
from companion.braille import signs as S
from companion.braille.decode import say_written
from companion.ear import RATE, PitchTrack, is_track_file, read_sound, read_track, track
from companion.errors import NothingSung, Trouble
from companion.language.cues import number
from companion.messages import _
from companion.places import write_whole
from companion.transcribe.accompaniment import COMPANY, check, has_company
from companion.transcribe.corrections import correct, key_said
from companion.transcribe.count_in import FEWEST, MOST
from companion.transcribe.doubts import doubt_lines, metre_words, value_words
from companion.transcribe.lyrics import lay
from companion.transcribe.rhythm import BY_BEATS, FEWEST_BEATS, METRES, bar_ticks
from companion.transcribe.score import LONGEST_S, Given, Notation
from companion.transcribe.several_takes import notate_together
from companion.tune import IntervalKind, Tune, load, save
from companion.workbook.booklet import Booklet
from companion.workbook.exercises import KINDS as EXERCISE_KINDS
from companion.workbook.exercises import exercises

if TYPE_CHECKING:
    from companion.audio import Sound

F32 = NDArray[np.float32]

LIVE = "live"  # in place of a take: from the microphone
END_SILENCE_S = 3.0  # longer than any breath inside a tune
WAIT_S = 20.0
LIVE_SAY = "Sing now. Three seconds of silence end it."


def booklet_of(name: str | Path, *, level: int | None = None, kinds: Sequence[str] = (), practise: Sequence[str] = (),
               width: int = 40, seed: int = 1, part: str | None = None, american: bool = False) -> Booklet:
    """Exercises from a tune (file or shipped name). Raises Trouble for kinds that there are not."""
    for kind in kinds:
        if kind not in EXERCISE_KINDS:
            raise Trouble(_("There is no exercise of the kind {kind}. Kinds: {EXERCISE_KINDS}.").format(
                                kind=kind, EXERCISE_KINDS=', '.join(EXERCISE_KINDS)))
    for move in practise:
        if move not in list(IntervalKind):
            raise Trouble(_("{move} is no kind of move. Kinds: {MOVE_KINDS}.").format(
                                move=move, MOVE_KINDS=', '.join(IntervalKind)))
    tune = load(name, part=part)
    if len(tune.line()) < 3:
        raise Trouble(_("{name} has fewer than three notes; exercises want a tune.").format(name=name))
    made = Booklet(tune.title or Path(name).stem, tuple(exercises(tune, seed, practise, width)), american)
    return made.chosen(level, kinds) if level or kinds else made


@dataclass(frozen=True)
class Take:
    """The pitch track of a take, and whether something else sounds with the voice."""

    track: PitchTrack
    company: bool


def _take(samples: F32, found: PitchTrack) -> Take:
    return Take(found, has_company(samples, found))


def take_of(path: str | Path) -> Take:
    """A take from a file. Raises Trouble where it is unreadable, or too long to be a tune."""
    if is_track_file(path):
        return Take(read_track(path), False)
    sound = read_sound(path)
    if sound.seconds > LONGEST_S:
        raise Trouble(_("{path} lasts {seconds:.0f} minutes; a tune of up to {LONGEST_S:.0f} minutes can be written "
                        "down. Cut out the part that you want.").format(
                            path=path, seconds=sound.seconds / 60, LONGEST_S=LONGEST_S / 60))
    return _take(sound.samples, track(sound))


def live_take(read: Callable[[], F32 | None]) -> Take:
    """A take of what comes in from `read` (mono float32 at the ear's rate; None: nothing came in time).

    It ends after END_SILENCE_S of sound without voice once something was sung, after WAIT_S if nothing was, and
    at LONGEST_S in any case.
    """
    from companion.ear import Tracker, join

    tracker = Tracker()
    parts: list[PitchTrack] = []
    heard: list[F32] = []
    heard_s, last_voice_s = 0.0, -1.0
    while heard_s < LONGEST_S:
        samples = read()
        if samples is None:
            continue
        heard.append(samples)
        heard_s += len(samples) / RATE
        part = tracker.push(samples)
        parts.append(part)
        voiced = part.time_s[part.f0_hz > 0]
        if len(voiced):
            last_voice_s = float(voiced[-1])
        if heard_s - last_voice_s > (END_SILENCE_S if last_voice_s >= 0 else WAIT_S):
            break
    return _take(np.concatenate(heard), join([*parts, tracker.finish()]))


def beats_of(path: str | Path) -> tuple[float, ...]:
    """Times of tapped beats from a text file: one time in seconds a line; other text on a line is passed over."""
    import re

    try:
        text = Path(path).read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    found = [float(m.group()) for m in (re.match(r"\s*\d+(\.\d+)?", line) for line in text.splitlines()) if m]
    if len(found) < FEWEST_BEATS or any(b <= a for a, b in pairwise(found)):
        raise Trouble(_("{path} holds {found} beats in order; at least three are wanted, one time in seconds a "
                        "line, each later than the one before.").format(path=path, found=len(found)))
    return tuple(found)


def given(bpm: float | None = None, time: str | None = None, beats: str | Path | None = None,
          key: str | None = None, counted_in: int = 0) -> Given:
    """What a person has said, checked. Raises Trouble for what cannot be."""
    if bpm is not None and not 30 <= bpm <= 240:
        raise Trouble(_("{bpm:g} beats a minute were given; give 30 to 240.").format(bpm=bpm))
    if time is not None:
        time = {str(beats): metre for beats, metre in BY_BEATS.items()}.get(time.strip(), time.strip())
        if time not in METRES:
            raise Trouble(_("Time {time} was given; a tune is written in {METRES} here.").format(
                                time=time, METRES=', '.join(METRES)))
    said = None
    if key is not None:
        said = key_said(key)
        if said is None:
            raise Trouble(_("Key {key} was given; say it as G major, B flat major or E minor.").format(key=key))
    if counted_in and not FEWEST <= counted_in <= MOST:
        raise Trouble(_("Counting in by {counted_in} was given; give a number of counts from {FEWEST} to {MOST}.").format(
                            counted_in=counted_in, FEWEST=FEWEST, MOST=MOST))
    return Given(bpm, time, beats_of(beats) if beats else (), said, counted_in)


@dataclass(frozen=True)
class Written:
    """A take, or several, written down and corrected. said: what each correction did, and how words fitted."""

    notation: Notation
    takes: int
    said: tuple[str, ...]

    def lines(self, american: bool = False) -> list[str]:
        """The score in plain lines: what it is, bar by bar, and what is unsure."""
        n = self.notation
        tune = n.tune
        beat = "dotted crotchets" if METRES[n.metre][1] == 8 else "crotchets"
        if american:
            beat = beat.replace("crotchets", "quarter notes")
        pace = n.quarter_bpm / (1.5 if METRES[n.metre][1] == 8 else 1.0)
        pickup = f" Begins with a pickup of {value_words(bar_ticks(n.metre) - n.place, american)}." if n.place else ""
        out = [f"{n.title + ': ' if n.title else ''}{len(n.events)} notes, {n.key.name}, {metre_words(n.metre)}, "
               f"about {pace:.0f} {beat} a minute.{pickup}"]
        if self.takes > 1:
            out.append(f"Made from {number(self.takes)} takes.")
        doubts = doubt_lines(n, american)
        # What is said of the sound is said whatever else there is to doubt.
        sound = [n.sound] if n.sound and n.sound not in doubts else []
        return [*out, *bar_lines(tune, american), *self.said, *sound, *doubts]


def bar_lines(tune: Tune, american: bool = False) -> list[str]:
    """A tune bar by bar, a line each: "Bar 2: B flat crotchet, crotchet rest, C crotchet in the fifth octave.".

    The octave is said where music braille marks it, ties and breaths where they stand.
    """
    out: list[str] = []
    before, held = None, False
    for bar in tune.bars:
        said: list[str] = []
        for note in bar.notes:
            text = say_written(note, american)
            if note.pitch is not None:
                name, value = text.split(", ")
                text = f"{name} {value}"
                if held:
                    text = f"{said.pop()} tied to a {value}" if said else f"{text} held over"
                elif needs_octave(before, note.pitch) and 0 <= note.pitch.octave <= 8:
                    text += f" in the {S.OCTAVE_WORDS[note.pitch.octave]}"
                if note.tuplet and note.tuplet.place == "start":
                    text = f"{'triplet' if note.tuplet.actual == 3 else 'group'} of {text}"
                text += ", breath" if "breath" in note.marks else ""
                before = note.pitch
            held = note.tie
            said.append(text)
        out.append(f"{'Measure' if american else 'Bar'} {bar.number}: {', '.join(said)}.")
    return out


def write_takes(paths: Sequence[str | Path], said: Given, title: str = "", words: str = "",
                fixes: Sequence[str] = (), microphone: Callable[[], F32 | None] | None = None) -> Written:
    """Takes of one tune (at least one) written down as one score; words laid under it; corrections made in order.

    microphone: gives sound for a take called LIVE.
    """
    if said.beats_s and len(paths) > 1:
        raise Trouble(_("Beats belong to one take; give one take with them."))
    takes = [live_take(microphone) if str(p) == LIVE and microphone else take_of(p) for p in paths]
    with_others = any(t.company for t in takes)
    name = title or ("" if str(paths[0]) == LIVE else titled(Path(paths[0]).stem))
    try:
        for take in takes:
            check(take.track)
        found = notate_together([t.track for t in takes], name, said).notation
    except NothingSung as trouble:
        raise NothingSung(COMPANY) if with_others else trouble from None
    if with_others:
        found = replace(found, sound=COMPANY)
    remarks: list[str] = []
    # What is said of the whole score comes first: it reads the take again.
    ordered = sorted(fixes, key=lambda f: not f.strip().lower().startswith("in "))
    for fix in ordered:
        done = correct(found, fix)
        found = done.notation
        remarks.append(done.say)
    if words:
        laid = lay(found.events, words)
        found = replace(found, events=laid.events)
        remarks += [laid.say] if laid.say else []
    return Written(found, len(paths), tuple(remarks))


def titled(stem: str) -> str:
    """A file's name as a title: "folk-line" is "Folk line"."""
    words = " ".join(stem.replace("-", " ").replace("_", " ").split())
    return words[:1].upper() + words[1:]


#: What a written tune can be saved as.
FORMS = (".musicxml", ".xml", ".mxl", ".mid", ".brf", ".svg", ".pdf", ".wav", ".flac")


def check_outs(outs: Sequence[str | Path], takes: Sequence[str | Path] = ()) -> None:
    """Raises Trouble, before any work is done, where a tune could not be saved under one of these names."""
    for path in map(Path, outs):
        kind = path.suffix.lower()
        if kind not in FORMS:
            raise Trouble(_("{path} ends in {nothing}; a tune is written as {FORMS}. Give such a name.").format(
                                path=path, nothing=kind or 'nothing', FORMS=', '.join(FORMS)))
        if not path.parent.is_dir():
            raise Trouble(_("There is no folder {parent} to write {name} into. Make it, or give another.").format(
                                parent=path.parent, name=path.name))
        if path.exists() and any(Path(t).exists() and path.samefile(t) for t in takes):
            raise Trouble(_("{path} is the take itself, and would be lost. Give another name.").format(path=path))
        if kind in (".svg", ".pdf"):
            from companion.paper.engraving import check

            check()


def save_as(tune: Tune, path: str | Path) -> list[str]:
    """Write a tune in the form that its name asks for (FORMS). Returns the names written."""
    check_outs([path])
    kind = Path(path).suffix.lower()
    if kind == ".brf":
        write_whole(path, to_brf(encode(tune), numbered=True))
    elif kind in (".svg", ".pdf"):
        from companion.paper.engraving import save as save_print

        return save_print(tune, path)
    elif kind in (".wav", ".flac"):
        from companion.audio import save_sound

        save_sound(tune_sound(tune), path)
    else:
        save(tune, path)
    return [str(path)]


def tune_sound(tune: Tune) -> Sound:
    """The tune as it is written, sounded at its own pace."""
    from companion.audio import line_sound

    return line_sound(tune.line(), 0.0, 60.0 / (tune.quarter_bpm or 100.0))
