"""Corrections of a written-down take. What is typed is read into a `Correction` by `companion.language`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from companion.errors import Trouble
from companion.messages import _
from companion.transcribe.lyrics import Laid, lay
from companion.transcribe.notation import Estimate, Given, Notation
from companion.transcribe.score import write
from companion.tune import STEP_SEMITONES, Key, Pitch, Time, spell, transposed_key

LAST = -1  # in place of a note's number: the last of its bar


class Action(StrEnum):
    """What a correction does: to the whole score first, then to one note."""

    TIME = "time"  # read again in `time`
    KEY = "key"  # written in `key`
    TRANSPOSE = "transpose"  # moved by `semitones`
    NO_PICKUP = "no pickup"
    PICKUP = "pickup"  # a pickup of `ticks`
    DOUBLE = "double"  # all values twice as long
    HALVE = "halve"
    WORDS = "words"  # `text` laid under the notes
    TITLE = "title"  # `text`
    TAKE_OUT = "take out"
    JOIN = "join"  # with the note after it
    SPLIT = "split"
    NO_REST = "no rest"  # none after it
    END_REST = "end rest"  # it ends with a rest of `ticks`
    REST = "rest"  # it is silent
    OTHER_READING = "other reading"
    MOVE = "move"  # by `semitones`
    VALUE = "value"  # of `ticks`
    PITCH = "pitch"  # `step`, `alter` and, where it was given, `octave`


@dataclass(frozen=True, kw_only=True)
class Correction:
    """One correction. bar, note: printed bar number, and which note of those that begin in it, from 1, or LAST.

    The other fields are set where the action names them.
    """

    action: Action
    bar: int = 0
    note: int = 0
    time: Time | None = None
    key: Key | None = None
    semitones: int = 0
    ticks: int = 0
    text: str = ""
    step: str = ""
    alter: int = 0
    octave: int | None = None


class ChangeKind(StrEnum):
    """What a correction has done."""

    TIME = "time"
    KEY = "key"
    TRANSPOSED = "transposed"
    NO_PICKUP = "no pickup"
    PICKUP = "pickup"
    DOUBLED = "doubled"
    HALVED = "halved"
    WORDS = "words"
    TITLE = "title"
    TAKEN_OUT = "taken out"
    TAKEN_OUT_HELD = "held on"
    TAKEN_OUT_BEGINNING = "begins later"
    JOINED = "joined"
    SPLIT = "split"
    NO_REST = "no rest"
    END_REST = "end rest"
    REST = "rest"
    PITCH = "pitch"
    VALUE = "value"
    VALUE_WITH_REST = "value rest"


@dataclass(frozen=True, kw_only=True)
class Change:
    """What a correction has done, with the values that it did it with.

    later: ticks by which what follows begins later (below 0: sooner).
    """

    kind: ChangeKind
    bar: int = 0
    note: int = 0
    time: Time | None = None
    key: Key | None = None
    semitones: int = 0
    ticks: int = 0
    text: str = ""
    pitch: Pitch | None = None
    laid: Laid | None = None
    later: int = 0


@dataclass(frozen=True)
class Corrected:
    """The score after a correction, and what was done."""

    notation: Notation
    change: Change


def correct(n: Notation, correction: Correction) -> Corrected:
    """One correction. Raises Trouble where it cannot be done."""
    whole = _WHOLE.get(correction.action)
    if whole:
        return whole(n, correction)
    i = note_index(n, correction.bar, correction.note)
    done = _NOTE[correction.action](n, i, correction)
    bar, note = n.positions[i]
    return replace(done, change=replace(done.change, bar=bar, note=note))


def note_index(n: Notation, bar: int, note: int) -> int:
    """Which note of the tune (from 0) is note `note` (from 1; LAST) of a bar. Raises Trouble if none is."""
    bars = n.bars
    inside = [i for i, b in enumerate(bars) if b == bar]
    if not inside:
        raise Trouble(_("There is no bar {bar}; the tune has bars {first} to {last}.").format(
                            bar=bar, first=0 if n.place else 1, last=bars[-1]))
    if note == LAST:
        return inside[-1]
    if not 1 <= note <= len(inside):
        raise Trouble((_("Bar {bar} has 1 note that begins in it; there is no note {note}.") if len(inside) == 1 else
                       _("Bar {bar} has {count} notes that begin in it; there is no note {note}.")).format(
                           bar=bar, count=len(inside), note=note))
    return inside[note - 1]


def lay_words(n: Notation, text: str) -> tuple[Notation, Laid]:
    """Words laid under the notes, and how they fitted."""
    laid = lay(len(n.notes), text)
    notes = tuple(replace(note, syllable=s) for note, s in zip(n.notes, laid.under, strict=True))
    return replace(n, notes=notes), laid


# The whole score.


def _time(n: Notation, c: Correction) -> Corrected:
    return Corrected(_read_again(n, replace(n.given, time=c.time)), Change(kind=ChangeKind.TIME, time=c.time))


def _read_again(n: Notation, given: Given) -> Notation:
    """The take read anew, with its words, title and the key kept where they can be."""
    fresh = replace(write(n.sung, n.title, given), sound=n.sound, doubtful=n.doubtful)
    if len(fresh.notes) == len(n.notes):
        kept = tuple(replace(new, syllable=old.syllable, midi=old.midi)
                     for new, old in zip(fresh.notes, n.notes, strict=True))
        fresh = replace(fresh, notes=kept, key_estimate=replace(fresh.key_estimate, value=n.key))
    return fresh


def _key(n: Notation, c: Correction) -> Corrected:
    assert c.key is not None
    estimate = replace(n.key_estimate, value=c.key, confidence=1.0)
    return Corrected(replace(n, key_estimate=estimate), Change(kind=ChangeKind.KEY, key=c.key))


def _transpose(n: Notation, c: Correction) -> Corrected:
    notes = tuple(replace(note, midi=note.midi + c.semitones, other_midi=note.other_midi + c.semitones) for note in n.notes)
    key = transposed_key(n.key, c.semitones)
    old = n.key_estimate
    estimate = Estimate(key, old.confidence, transposed_key(old.runner_up, c.semitones), old.runner_up_confidence)
    return Corrected(replace(n, notes=notes, key_estimate=estimate),
                     Change(kind=ChangeKind.TRANSPOSED, key=key, semitones=c.semitones))


def _no_pickup(n: Notation, c: Correction) -> Corrected:
    return Corrected(replace(n, place=0), Change(kind=ChangeKind.NO_PICKUP))


def _pickup(n: Notation, c: Correction) -> Corrected:
    if not 0 < c.ticks < n.bar_ticks:
        raise Trouble(_("A pickup of {text} does not go into {time}. Give a value shorter than a bar.").format(
                            text=c.text, time=n.time.name))
    return Corrected(replace(n, place=n.bar_ticks - c.ticks), Change(kind=ChangeKind.PICKUP, ticks=c.ticks))


def _double(n: Notation, c: Correction) -> Corrected:
    notes = tuple(replace(note, ticks=note.ticks * 2, rest=note.rest * 2, quarter_s=note.quarter_s / 2) for note in n.notes)
    before = (n.bar_ticks - n.place) % n.bar_ticks * 2
    return Corrected(replace(n, notes=notes, place=(n.bar_ticks - before) % n.bar_ticks), Change(kind=ChangeKind.DOUBLED))


def _halve(n: Notation, c: Correction) -> Corrected:
    if any(note.ticks % 2 or note.rest % 2 for note in n.notes):
        raise Trouble(_("There are semiquavers in it, which are the shortest value written here; they cannot be "
                        "halved."))
    notes = tuple(replace(note, ticks=note.ticks // 2, rest=note.rest // 2, quarter_s=note.quarter_s * 2) for note in n.notes)
    before = (n.bar_ticks - n.place) % n.bar_ticks // 2
    return Corrected(replace(n, notes=notes, place=(n.bar_ticks - before) % n.bar_ticks), Change(kind=ChangeKind.HALVED))


def _words(n: Notation, c: Correction) -> Corrected:
    done, laid = lay_words(n, c.text)
    return Corrected(done, Change(kind=ChangeKind.WORDS, laid=laid))


def _title(n: Notation, c: Correction) -> Corrected:
    return Corrected(replace(n, title=c.text), Change(kind=ChangeKind.TITLE, text=c.text))


_WHOLE: dict[Action, Callable[[Notation, Correction], Corrected]] = {
    Action.TIME: _time, Action.KEY: _key, Action.TRANSPOSE: _transpose, Action.NO_PICKUP: _no_pickup,
    Action.PICKUP: _pickup, Action.DOUBLE: _double, Action.HALVE: _halve, Action.WORDS: _words, Action.TITLE: _title}


# One note.


def _set(n: Notation, i: int, **changes: Any) -> Notation:
    """One note changed, and sure from now on."""
    changed = replace(n.notes[i], value_confidence=1.0, pitch_confidence=1.0, **changes)
    return replace(n, notes=(*n.notes[:i], changed, *n.notes[i + 1:]))


def _without(n: Notation, i: int) -> Notation:
    return replace(n, notes=(*n.notes[:i], *n.notes[i + 1:]))


def _without_first(n: Notation) -> Notation:
    """The tune begins where the second note does."""
    return replace(_without(n, 0), place=(n.place + n.notes[0].length) % n.bar_ticks)


def _take_out(n: Notation, i: int, c: Correction) -> Corrected:
    if len(n.notes) < 3:
        raise Trouble(_("A tune must keep at least two notes."))
    if i == 0:
        return Corrected(_without_first(n), Change(kind=ChangeKind.TAKEN_OUT))
    before, length = n.notes[i - 1], n.notes[i].length
    grown = _set(n, i - 1, rest=before.rest + length) if before.rest else _set(n, i - 1, ticks=before.ticks + length)
    return Corrected(_without(grown, i), Change(kind=ChangeKind.TAKEN_OUT_HELD))


def _join(n: Notation, i: int, c: Correction) -> Corrected:
    if i + 1 >= len(n.notes):
        bar, note = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is the last note; there is none after it to join.").format(
                            bar=bar, note=note))
    after = n.notes[i + 1]
    joined = _set(n, i, ticks=n.notes[i].length + after.ticks, rest=after.rest, breath=after.breath)
    return Corrected(_without(joined, i + 1), Change(kind=ChangeKind.JOINED))


def _split(n: Notation, i: int, c: Correction) -> Corrected:
    note = n.notes[i]
    if note.ticks < 2:
        bar, place = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is a semiquaver, the shortest value written here; it cannot be "
                        "parted.").format(bar=bar, note=place))
    half, half_s = note.ticks // 2, note.sung.duration_s / 2
    first = replace(note.sung, duration_s=half_s)
    second = replace(note.sung, onset_s=note.sung.onset_s + half_s, duration_s=half_s)
    out = replace(n, notes=(*n.notes[:i + 1], *n.notes[i:]))
    out = _set(out, i, ticks=half, rest=0, breath=False, sung=first)
    out = _set(out, i + 1, ticks=note.ticks - half, syllable=None, sung=second)
    return Corrected(out, Change(kind=ChangeKind.SPLIT))


def _no_rest(n: Notation, i: int, c: Correction) -> Corrected:
    return Corrected(_set(n, i, ticks=n.notes[i].length, rest=0), Change(kind=ChangeKind.NO_REST))


def _end_rest(n: Notation, i: int, c: Correction) -> Corrected:
    total = n.notes[i].length
    if total < 2:
        bar, note = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is a semiquaver, the shortest value written here; there is no room "
                        "for a rest.").format(bar=bar, note=note))
    rest = min(c.ticks, total - 1)
    return Corrected(_set(n, i, ticks=total - rest, rest=rest, breath=False), Change(kind=ChangeKind.END_REST, ticks=rest))


def _rest(n: Notation, i: int, c: Correction) -> Corrected:
    if i == 0:
        return Corrected(_without_first(n), Change(kind=ChangeKind.TAKEN_OUT_BEGINNING))
    quiet = _set(n, i - 1, rest=n.notes[i - 1].rest + n.notes[i].length, breath=False)
    return Corrected(_without(quiet, i), Change(kind=ChangeKind.REST))


def _other_reading(n: Notation, i: int, c: Correction) -> Corrected:
    note = n.notes[i]
    if note.pitch_confidence < note.value_confidence:
        return _set_midi(n, i, note.other_midi)
    return _set_ticks(n, i, note.other_ticks)


def _move(n: Notation, i: int, c: Correction) -> Corrected:
    return _set_midi(n, i, n.notes[i].midi + c.semitones)


def _pitch(n: Notation, i: int, c: Correction) -> Corrected:
    target, midi = STEP_SEMITONES[c.step] + c.alter, n.notes[i].midi
    if c.octave is not None:
        return _set_midi(n, i, target + 12 * (c.octave + 1))
    return _set_midi(n, i, midi + (target - midi + 6) % 12 - 6)  # the nearest of that name


def _set_midi(n: Notation, i: int, midi: int) -> Corrected:
    return Corrected(_set(n, i, midi=midi), Change(kind=ChangeKind.PITCH, pitch=spell(midi, n.key)))


def _value(n: Notation, i: int, c: Correction) -> Corrected:
    return _set_ticks(n, i, c.ticks)


def _set_ticks(n: Notation, i: int, ticks: int) -> Corrected:
    """A note's value changed. A rest after it gives or takes the difference; else what follows moves."""
    total = n.notes[i].length
    if n.notes[i].rest and ticks <= total:
        return Corrected(_set(n, i, ticks=ticks, rest=total - ticks), Change(kind=ChangeKind.VALUE_WITH_REST, ticks=ticks))
    later = ticks - total if i + 1 < len(n.notes) else 0
    return Corrected(_set(n, i, ticks=ticks, rest=0), Change(kind=ChangeKind.VALUE, ticks=ticks, later=later))


_NOTE: dict[Action, Callable[[Notation, int, Correction], Corrected]] = {
    Action.TAKE_OUT: _take_out, Action.JOIN: _join, Action.SPLIT: _split, Action.NO_REST: _no_rest,
    Action.END_REST: _end_rest, Action.REST: _rest, Action.OTHER_READING: _other_reading, Action.MOVE: _move,
    Action.VALUE: _value, Action.PITCH: _pitch}
