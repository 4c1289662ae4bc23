"""Corrections of a written-down take. What is typed is read into a `Correction` by `companion.language`."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import Any

from companion.errors import Trouble
from companion.messages import _
from companion.transcribe.folk_counts import TICKS
from companion.transcribe.lyrics import Laid, lay_lines
from companion.transcribe.notation import Estimate, Given, Notation, WrittenNote
from companion.transcribe.score import write
from companion.tune import STEP_SEMITONES, Key, Pitch, Syllable, Time, transposed_key

LAST = -1  # in place of a note's number: the last of its bar; of a bar's number: the last that a note begins in
FIRST = -2  # in place of a bar's number: that of the first note


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
    SCALE = "scale"  # its value times `factor`
    ADD = "add"  # a note after it (`before`: before it), of `ticks` and of a pitch, where these are given
    TRIPLET = "triplet"  # with the two notes after it
    NO_TRIPLET = "no triplet"
    SLUR = "slur"  # from it to `other_note` of `other_bar`
    NO_SLUR = "no slur"
    SYLLABLE = "syllable"  # `text` is sung on it, or nothing new
    COPY = "copy"  # bars to `last_bar` are written as those from `other_bar` on
    REPEAT = "repeat"  # bars to `last_bar` are sung twice; 0 to LAST: the whole tune
    NO_REPEAT = "no repeat"
    TEMPO = "tempo"  # `bpm` beats a minute
    SING_AGAIN = "sing again"  # bars to `last_bar` are sung anew, which wants a microphone


@dataclass(frozen=True, kw_only=True)
class Which:
    """Notes of a bar by what they are: of `ticks`, or on `step` (with `alter` and `octave`, if these are given).

    nth: which of them, from 1, or LAST; 0 where there is only one. every: all of them.
    """

    step: str = ""
    alter: int = 0
    octave: int | None = None
    ticks: int = 0
    nth: int = 0
    every: bool = False


@dataclass(frozen=True, kw_only=True)
class Correction:
    """One correction. bar, note: printed bar number (LAST, FIRST), and which note of those that begin in it, from 1, or LAST.

    which: the note, or notes, by what they are instead of by a number. A sign alone has no `step`: the note keeps its letter. A
    pickup of the first notes has their count as `note`.

    notes: how many notes the bar must have, 0 for any number. beats: `ticks` count a beat as four, whatever it is.
    The other fields are set where the action names them.
    """

    action: Action
    bar: int = 0
    note: int = 0
    which: Which | None = None
    time: Time | None = None
    key: Key | None = None
    semitones: int = 0
    ticks: int = 0
    text: str = ""
    step: str = ""
    alter: int = 0
    octave: int | None = None
    factor: Fraction = Fraction(1)
    parts: int = 2
    before: bool = False
    beats: bool = False
    notes: int = 0
    last_bar: int = 0
    other_bar: int = 0
    other_note: int = 0
    bpm: int = 0


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
    VALUE_SHARED = "value shared"  # a neighbour, `other_note`, has `other_ticks` now, and the bar lines stay
    PARTED = "parted"  # into `parts`
    ADDED = "added"
    TRIPLET = "triplet"
    NO_TRIPLET = "no triplet"
    SLUR = "slur"
    NO_SLUR = "no slur"
    SYLLABLE = "syllable"
    NO_SYLLABLE = "no syllable"
    COPIED = "copied"
    REPEAT = "repeat"
    REPEAT_ALL = "repeat all"
    NO_REPEAT = "no repeat"
    TEMPO = "tempo"
    SUNG_AGAIN = "sung again"
    SUNG_AGAIN_BARS = "bars anew"


@dataclass(frozen=True, kw_only=True)
class Change:
    """What a correction has done, with the values that it did it with.

    later: ticks by which what follows begins later (below 0: sooner). elided: a syllable that lost its note and is now sung
    on another. kept: how many notes that a person had mended were kept when the take was read again. positions: bar and note
    of each note of the tune, where words were laid.
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
    other_note: int = 0
    other_ticks: int = 0
    parts: int = 0
    last_bar: int = 0
    other_bar: int = 0
    bpm: int = 0
    elided: str = ""
    kept: int = 0
    positions: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Corrected:
    """The score after a correction, and what was done."""

    notation: Notation
    change: Change


def correct(n: Notation, correction: Correction) -> Corrected:
    """One correction. Raises Trouble where it cannot be done."""
    notation, changes = correct_all(n, (correction,))
    return Corrected(notation, changes[0])


def correct_all(n: Notation, corrections: Sequence[Correction]) -> tuple[Notation, tuple[Change, ...]]:
    """All corrections of one line in order; bars and notes are those of the score as it was before the line.

    Raises Trouble where any of them cannot be done; then none is.
    """
    before = n
    n = replace(n, notes=tuple(replace(note, mark=i) for i, note in enumerate(n.notes)))
    changes: list[Change] = []
    for c in itertools.chain.from_iterable(_numbered(before, c) for c in corrections):
        whole = _WHOLE.get(c.action)
        if whole:
            done = whole(n, c)
        else:
            i = note_index(before, c.bar, c.note)
            if c.notes and before.bars.count(c.bar) != c.notes:
                raise Trouble(_("Bar {bar} has another number of notes: {count} begin in it, and {given} were given.").format(
                    bar=c.bar, count=before.bars.count(c.bar), given=c.notes))
            done = _NOTE[c.action](n, _marked(n, i, c), _resolved(n, before, c))
            bar, note = before.positions[i]
            done = replace(done, change=replace(done.change, bar=bar, note=note))
        n, change = done.notation, done.change
        changes.append(change)
    if n.tune.bars and len(n.notes) < 2:
        raise Trouble(_("A tune must keep at least two notes."))
    return n, tuple(changes)


def _numbered(n: Notation, c: Correction) -> list[Correction]:
    """A correction of notes that are described, as one of each of them by its number. Raises Trouble where that is unclear."""
    if c.which is None:
        return [c]
    note_index(n, c.bar, LAST)  # there is such a bar
    bar = n.bars[-1] if c.bar == LAST else c.bar
    here = [note for i, (b, note) in enumerate(n.positions) if b == bar and _is(n, n.notes[i], c.which)]
    if not here:
        raise Trouble(_("Bar {bar} has no such note. Say for example: bar {bar} note 1.").format(bar=bar))
    if len(here) > 1 and not c.which.nth and not c.which.every:
        raise Trouble(_("Bar {bar} has {count} such notes. Say which: bar {bar} note {note}.").format(
            bar=bar, count=len(here), note=here[0]))
    if c.which.nth > len(here):
        raise Trouble(_("Bar {bar} has fewer such notes. Say which: bar {bar} note {note}.").format(bar=bar, note=here[-1]))
    chosen = here if c.which.every else [here[-1 if c.which.nth == LAST else max(c.which.nth, 1) - 1]]
    return [replace(c, bar=bar, note=note, which=None) for note in chosen]


def _is(n: Notation, note: WrittenNote, which: Which) -> bool:
    """Whether a note is as it is described. A letter without a sign is any note of that letter."""
    pitch = note.pitch(n.key)
    return ((not which.ticks or note.ticks == which.ticks) and (not which.step or pitch.step == which.step)
            and (not which.alter or pitch.alter == which.alter) and which.octave in (None, pitch.octave))


def _marked(n: Notation, i: int, c: Correction) -> int:
    """Where the note is now that was note i before the line."""
    found = next((k for k, note in enumerate(n.notes) if note.mark == i), None)
    if found is None:
        raise Trouble(_("Bar {bar}, note {note} is no longer there: the same line takes it out. Nothing is changed.").format(
            bar=c.bar, note=c.note))
    return found


def _resolved(n: Notation, before: Notation, c: Correction) -> Correction:
    """With beats as ticks of this time signature, and the other end of a slur as the index of its note."""
    if c.beats:
        c = replace(c, ticks=int(c.ticks * n.time.beat))
    if c.action is Action.JOIN and c.other_note and (
            note_index(before, c.other_bar, c.other_note) != note_index(before, c.bar, c.note) + 1):
        raise Trouble(_("Only notes that stand beside each other can be joined."))
    if c.action is Action.SLUR:
        c = replace(c, other_note=_marked(n, note_index(before, c.other_bar, c.other_note), c))
    return c


def note_index(n: Notation, bar: int, note: int) -> int:
    """Which note of the tune (from 0) is note `note` (from 1; LAST) of a bar. Raises Trouble if none is."""
    bars = n.bars
    bar = bars[-1] if bar == LAST else bars[0] if bar == FIRST else bar
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
    line = replace(n, repeats=()).tune.line()
    laid = lay_lines([len(list(notes)) for _, notes in itertools.groupby(line, lambda note: note.phrase)], text, n.language)
    notes = tuple(replace(note, syllable=s) for note, s in zip(n.notes, laid.under, strict=True))
    return replace(n, notes=notes), laid


# The whole score.


def _time(n: Notation, c: Correction) -> Corrected:
    return Corrected(read_again(n, replace(n.given, time=c.time)),
                     Change(kind=ChangeKind.TIME, time=c.time, kept=sum(x.value_given or x.pitch_given for x in n.notes)))


def read_again(n: Notation, given: Given) -> Notation:
    """The take read anew, with all that a person has given: values, pitches, words, title, key, tempo, repeats."""
    values = [note.length if note.value_given else 0 for note in n.notes]
    fresh = replace(write(n.sung, n.title, given, fixed=values), sound=n.sound, doubtful=n.doubtful, bpm=n.bpm,
                    place_given=n.place_given, language=n.language)
    notes = []
    for new, old in zip(fresh.notes, n.notes, strict=True):
        if old.value_given:
            new = replace(new, ticks=old.ticks, rest=old.rest, breath=old.breath, triplet=old.triplet, value_given=True,
                          value_confidence=1.0)
        if old.pitch_given:
            new = replace(new, pitch_given=True, pitch_confidence=1.0, spelled=old.spelled)
        notes.append(replace(new, midi=old.midi, syllable=old.syllable, slur_starts=old.slur_starts, slur_stops=old.slur_stops,
                             mark=old.mark))
    fresh = replace(fresh, notes=tuple(notes), key_estimate=replace(fresh.key_estimate, value=n.key))
    if n.place_given:
        before = (n.bar_ticks - n.place) % n.bar_ticks
        fresh = replace(fresh, place=(fresh.bar_ticks - before) % fresh.bar_ticks)
    return replace(fresh, repeats=tuple(_span_again(n, fresh, span) for span in n.repeats))


def _span_again(old: Notation, new: Notation, span: tuple[int, int]) -> tuple[int, int]:
    """Bars that are repeated, where their notes are in another time signature."""
    inside = [i for i, bar in enumerate(old.bars) if span[0] <= bar <= span[1]] or [0]
    return new.bars[inside[0]], new.bars[inside[-1]]


def _key(n: Notation, c: Correction) -> Corrected:
    assert c.key is not None
    estimate = replace(n.key_estimate, value=c.key, confidence=1.0)
    return Corrected(replace(n, key_estimate=estimate), Change(kind=ChangeKind.KEY, key=c.key))


def _transpose(n: Notation, c: Correction) -> Corrected:
    notes = tuple(replace(note, midi=note.midi + c.semitones, spelled=None,
            other_midi=note.other_midi + c.semitones) for note in n.notes)
    key = transposed_key(n.key, c.semitones)
    old = n.key_estimate
    estimate = Estimate(key, old.confidence, transposed_key(old.runner_up, c.semitones), old.runner_up_confidence)
    return Corrected(replace(n, notes=notes, key_estimate=estimate),
                     Change(kind=ChangeKind.TRANSPOSED, key=key, semitones=c.semitones))


def _no_pickup(n: Notation, c: Correction) -> Corrected:
    return Corrected(replace(n, place=0, place_given=True), Change(kind=ChangeKind.NO_PICKUP))


def _pickup(n: Notation, c: Correction) -> Corrected:
    if c.beats:
        c = replace(c, ticks=int(c.ticks * n.time.beat))
    if c.note:
        c = replace(c, ticks=sum(note.length for note in n.notes[:c.note]))
    if not 0 < c.ticks < n.bar_ticks:
        raise Trouble(_("A pickup must be shorter than a bar of {time}. Give a shorter value.").format(time=n.time.name))
    return Corrected(replace(n, place=n.bar_ticks - c.ticks, place_given=True), Change(kind=ChangeKind.PICKUP, ticks=c.ticks))


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
    return Corrected(done, Change(kind=ChangeKind.WORDS, laid=laid, positions=done.positions))


def _title(n: Notation, c: Correction) -> Corrected:
    return Corrected(replace(n, title=c.text), Change(kind=ChangeKind.TITLE, text=c.text))


def _copy(n: Notation, c: Correction) -> Corrected:
    for k in range(c.last_bar - c.bar + 1):
        n = _copied_bar(n, c.bar + k, c.other_bar + k)
    return Corrected(n, Change(kind=ChangeKind.COPIED, bar=c.bar, last_bar=c.last_bar, other_bar=c.other_bar))


def _copied_bar(n: Notation, bar: int, source: int) -> Notation:
    """Bar `bar` with the notes of bar `source`; its own words and times of singing stay."""
    here, there = ([i for i, b in enumerate(n.bars) if b == x] for x in (bar, source))
    for x, found in ((bar, here), (source, there)):
        if not found:
            raise Trouble(_("There is no bar {bar} in which a note begins; the tune has bars {first} to {last}.").format(
                bar=x, first=0 if n.place else 1, last=n.bars[-1]))
    at = [n.place]
    for note in n.notes:
        at.append(at[-1] + note.length)
    if (at[here[0]] - at[there[0]]) % n.bar_ticks:
        raise Trouble(_("Bar {bar} and bar {source} do not begin at the same place of the bar: a note is held into one of them. "
                        "Mend the notes one by one.").format(bar=bar, source=source))
    room = at[here[-1] + 1] - at[here[0]]
    length = at[there[-1] + 1] - at[there[0]]
    last = n.notes[there[-1]]
    if last.length + room - length < 1:
        raise Trouble(_("The notes of bar {source} do not go into bar {bar}. Mend the notes one by one.").format(
            bar=bar, source=source))
    start_s = n.notes[here[0]].sung.onset_s
    end_s = n.notes[here[-1]].sung.onset_s + n.notes[here[-1]].sung.duration_s
    words = [n.notes[i].syllable for i in here]
    new = []
    for k, i in enumerate(there):
        note = n.notes[i]
        change = room - length if i == there[-1] else 0
        rest = max(0, note.rest + change)
        ticks = note.length + change - rest
        if len(here) == len(there):
            sung = n.notes[here[k]].sung
        else:
            first, after = (at[i] - at[there[0]]) / length, (at[i + 1] - at[there[0]]) / length
            sung = replace(n.notes[here[0]].sung, onset_s=start_s + first * (end_s - start_s),
                           duration_s=max(0.05, (after - first) * (end_s - start_s)))
        syllable = words[k] if k < len(words) else None
        new.append(replace(note, ticks=ticks, rest=rest, sung=sung, syllable=syllable, value_given=True, pitch_given=True,
                           value_confidence=1.0, pitch_confidence=1.0, mark=n.notes[here[k]].mark if k < len(here) else -1))
    for syllable in words[len(there):]:
        new[-1] = replace(new[-1], syllable=both_syllables(new[-1].syllable, syllable))
    return replace(n, notes=(*n.notes[:here[0]], *new, *n.notes[here[-1] + 1:]))


def _repeat(n: Notation, c: Correction) -> Corrected:
    first, last = (0 if n.place else 1), n.tune.bars[-1].number
    span = (first, last) if c.last_bar == LAST and not c.bar else (c.bar, c.last_bar)
    if not first <= span[0] <= span[1] <= last:
        raise Trouble(_("There are no bars {bar} to {until}; the tune has bars {first} to {last}.").format(
            bar=span[0], until=span[1], first=first, last=last))
    if any(span[0] <= b and a <= span[1] for a, b in n.repeats):
        raise Trouble(_("Some of these bars are repeated already. Say no repeat first."))
    kind = ChangeKind.REPEAT_ALL if span == (first, last) else ChangeKind.REPEAT
    return Corrected(replace(n, repeats=tuple(sorted((*n.repeats, span)))), Change(kind=kind, bar=span[0], last_bar=span[1]))


def _no_repeat(n: Notation, c: Correction) -> Corrected:
    if not n.repeats:
        raise Trouble(_("Nothing is repeated."))
    return Corrected(replace(n, repeats=()), Change(kind=ChangeKind.NO_REPEAT))


def _sing_again(n: Notation, c: Correction) -> Corrected:
    raise Trouble(_("Bar {bar} is sung again while corrections are typed: notate TAKE --correct, then say bar {bar} "
                    "again.").format(bar=c.bar))


def _tempo(n: Notation, c: Correction) -> Corrected:
    return Corrected(replace(n, bpm=float(c.bpm)), Change(kind=ChangeKind.TEMPO, bpm=c.bpm))


_WHOLE: dict[Action, Callable[[Notation, Correction], Corrected]] = {
    Action.TIME: _time, Action.KEY: _key, Action.TRANSPOSE: _transpose, Action.NO_PICKUP: _no_pickup,
    Action.PICKUP: _pickup, Action.DOUBLE: _double, Action.HALVE: _halve, Action.WORDS: _words, Action.TITLE: _title,
    Action.COPY: _copy, Action.REPEAT: _repeat, Action.NO_REPEAT: _no_repeat, Action.TEMPO: _tempo,
    Action.SING_AGAIN: _sing_again}


# One note.


def _set(n: Notation, i: int, **changes: Any) -> Notation:
    """One note changed, sure from now on, and what was changed of it given by a person."""
    value, pitch = not changes.keys().isdisjoint(("ticks", "rest")), "midi" in changes
    old = n.notes[i]
    changed = replace(old, **{"value_confidence": 1.0, "pitch_confidence": 1.0, "value_given": old.value_given or value,
                              "pitch_given": old.pitch_given or pitch, **changes})
    if "ticks" in changes and "triplet" not in changes and old.triplet:
        n = _plain(n, i)
        changed = replace(changed, triplet=0)
    return replace(n, notes=(*n.notes[:i], changed, *n.notes[i + 1:]))


def _plain(n: Notation, i: int) -> Notation:
    """Without the triplet that note i is part of."""
    first = i - n.notes[i].triplet + 1
    return replace(n, notes=tuple(replace(note, triplet=0) if n.notes[i].triplet and first <= k < first + 3 else note
                                  for k, note in enumerate(n.notes)))


def both_syllables(first: Syllable | None, second: Syllable | None) -> Syllable | None:
    """Two syllables on one note: parts of a word together, words run together as MusicXML's elision has it."""
    if first is None or second is None:
        return first or second
    within = first.place in ("begin", "middle")
    place = {("begin", "end"): "single", ("begin", "middle"): "begin", ("middle", "middle"): "middle",
             ("middle", "end"): "end"}.get((first.place, second.place), second.place if within else first.place)
    return Syllable(first.text + ("" if within else "‿") + second.text, place, second.extends)


def _without(n: Notation, i: int) -> tuple[Notation, str]:
    """Without note i. Its syllable goes to the note before it, or after it, and is returned; slurs end beside it."""
    gone = n.notes[i]
    n = _plain(n, i)
    other = i - 1 if i else 1
    near = n.notes[other]
    lost = gone.syllable
    both = both_syllables(near.syllable, lost) if other < i else both_syllables(lost, near.syllable)
    near = replace(near, syllable=both, slur_starts=near.slur_starts + (gone.slur_starts if other > i else 0),
                   slur_stops=near.slur_stops + (gone.slur_stops if other < i else 0))
    notes = [*n.notes[:other], near, *n.notes[other + 1:]]
    if other < i and gone.slur_starts and i + 1 < len(notes) and not notes[i + 1].slur_stops:
        notes[i + 1] = replace(notes[i + 1], slur_starts=notes[i + 1].slur_starts + gone.slur_starts)
    elif other < i and gone.slur_starts and i + 1 < len(notes):
        notes[i + 1] = replace(notes[i + 1], slur_stops=notes[i + 1].slur_stops - gone.slur_starts)
    both_ends = min(notes[other].slur_starts, notes[other].slur_stops)
    if gone.slur_stops or gone.slur_starts:
        notes[other] = replace(notes[other], slur_starts=notes[other].slur_starts - both_ends,
                               slur_stops=notes[other].slur_stops - both_ends)
    return replace(n, notes=(*notes[:i], *notes[i + 1:])), lost.text if lost else ""


def _without_first(n: Notation) -> tuple[Notation, str]:
    """The tune begins where the second note does."""
    place = (n.place + n.notes[0].length) % n.bar_ticks
    out, lost = _without(n, 0)
    return replace(out, place=place), lost


def _take_out(n: Notation, i: int, c: Correction) -> Corrected:
    if len(n.notes) < 3:
        raise Trouble(_("A tune must keep at least two notes."))
    if i == 0:
        shorter, lost = _without_first(n)
        return Corrected(shorter, Change(kind=ChangeKind.TAKEN_OUT, elided=lost))
    before, length = n.notes[i - 1], n.notes[i].length
    grown = _set(n, i - 1, rest=before.rest + length) if before.rest else _set(n, i - 1, ticks=before.ticks + length)
    shorter, lost = _without(grown, i)
    return Corrected(shorter, Change(kind=ChangeKind.TAKEN_OUT_HELD, elided=lost))


def _join(n: Notation, i: int, c: Correction) -> Corrected:
    if i + 1 >= len(n.notes):
        bar, note = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is the last note; there is none after it to join.").format(
                            bar=bar, note=note))
    after = n.notes[i + 1]
    here = n.notes[i].sung
    sung = replace(here, duration_s=after.sung.onset_s + after.sung.duration_s - here.onset_s)
    joined = _set(n, i, ticks=n.notes[i].length + after.ticks, rest=after.rest, breath=after.breath, sung=sung)
    shorter, lost = _without(joined, i + 1)
    # The same line may go on from the note that was joined to this one ("join notes 2, 3 and 4").
    shorter = replace(shorter, notes=(*shorter.notes[:i], replace(shorter.notes[i], mark=after.mark), *shorter.notes[i + 1:]))
    return Corrected(shorter, Change(kind=ChangeKind.JOINED, elided=lost))


def _split(n: Notation, i: int, c: Correction) -> Corrected:
    note, parts = n.notes[i], c.parts
    bar, place = n.positions[i]
    if note.ticks < parts:
        raise Trouble(_("Bar {bar}, note {note} is too short for that: a semiquaver is the shortest value written here. It "
                        "cannot be parted.").format(bar=bar, note=place))
    each_s = note.sung.duration_s / parts
    three = parts == 3 and note.ticks in _TRIPLETS and not n.time.compound and _on_beat(n, i, note.ticks)
    ticks = _TRIPLETS[note.ticks] if three else tuple(
        note.ticks * (k + 1) // parts - note.ticks * k // parts for k in range(parts))
    new = []
    for k in range(parts):
        last = k == parts - 1
        new.append(replace(
            note, ticks=ticks[k], rest=note.rest if last else 0, breath=note.breath and last, triplet=k + 1 if three else 0,
            syllable=None if k else note.syllable, sung=replace(note.sung, onset_s=note.sung.onset_s + k * each_s,
                                                                 duration_s=each_s),
            slur_starts=0 if k else note.slur_starts, slur_stops=note.slur_stops if last else 0, value_given=True,
            value_confidence=1.0, pitch_confidence=1.0, mark=-1 if k else note.mark))
    out = replace(_plain(n, i), notes=(*_plain(n, i).notes[:i], *new, *_plain(n, i).notes[i + 1:]))
    if parts == 2:
        return Corrected(out, Change(kind=ChangeKind.SPLIT))
    return Corrected(out, Change(kind=ChangeKind.PARTED, parts=parts))


#: Ticks that a triplet fills, and of its notes: the nearest whole ones.
_TRIPLETS = {4: (1, 2, 1), 8: (3, 2, 3)}


def _place_of(n: Notation, i: int) -> int:
    return (n.place + sum(note.length for note in n.notes[:i])) % n.bar_ticks


def _on_beat(n: Notation, i: int, ticks: int) -> bool:
    """Whether a triplet of so many ticks may stand at note i."""
    at = _place_of(n, i)
    return at % TICKS == 0 and at + ticks <= n.bar_ticks


def _triplet(n: Notation, i: int, c: Correction) -> Corrected:
    three = n.notes[i:i + 3]
    if len(three) < 3:
        raise Trouble(_("A triplet has three notes; there are fewer from there to the end of the tune."))
    total = sum(note.length for note in three) - three[2].rest
    whole = min(_TRIPLETS, key=lambda ticks: abs(ticks - total))
    if n.time.compound or not _on_beat(n, i, whole):
        raise Trouble(_("A triplet begins on a beat and stays in its bar, in two, three or four beats; this one would not. "
                        "Mend the notes before it first."))
    out = n
    for k, ticks in enumerate(_TRIPLETS[whole]):
        rest = three[2].rest if k == 2 else 0
        out = _set(out, i + k, ticks=ticks, rest=rest, triplet=k + 1)
    change = Change(kind=ChangeKind.TRIPLET)
    if whole != total:
        out, change = _make_room(out, i + 2, whole - total, change)
    return Corrected(out, change)


def _no_triplet(n: Notation, i: int, c: Correction) -> Corrected:
    if not n.notes[i].triplet:
        bar, note = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is in no triplet.").format(bar=bar, note=note))
    return Corrected(_plain(n, i), Change(kind=ChangeKind.NO_TRIPLET))


def _add(n: Notation, i: int, c: Correction) -> Corrected:
    """A note after note i, or before it. It takes its time from the note before it, so that the bar lines stay."""
    like = n.notes[i]
    at = i if c.before else i + 1
    source = at - 1
    midi = like.midi if not c.step else _nearest(c, like.midi)
    spelled = Pitch(c.step, (midi - STEP_SEMITONES[c.step] - c.alter) // 12 - 1, c.alter) if c.step else None
    later, out = 0, n
    if source < 0:
        ticks = c.ticks or like.ticks
        begin = like.sung.onset_s - max(0.1, ticks / TICKS * like.quarter_s)
        sung = replace(like.sung, onset_s=begin, duration_s=like.sung.onset_s - begin)
        out = replace(n, place=(n.place - ticks) % n.bar_ticks)
    else:
        before = n.notes[source]
        ticks = c.ticks or max(1, before.length // 2)
        left = before.length - ticks
        if left >= 1:
            out = _set(n, source, ticks=min(before.ticks, left), rest=left - min(before.ticks, left), breath=False)
        else:
            later = ticks
        end_s = n.notes[at].sung.onset_s if at < len(n.notes) else before.sung.onset_s + before.sung.duration_s
        share = max(left, 0) / max(before.length, 1) if left >= 1 else 0.9
        begin = before.sung.onset_s + share * (end_s - before.sung.onset_s)
        sung = replace(before.sung, onset_s=begin, duration_s=max(0.02, end_s - begin))
    new = replace(like, midi=midi, ticks=ticks, rest=0, breath=False, syllable=None, triplet=0, spelled=spelled, slur_starts=0,
                  slur_stops=0, sung=sung, value_confidence=1.0, pitch_confidence=1.0, value_given=True, pitch_given=True,
                  mark=-1)
    out = replace(out, notes=(*out.notes[:at], new, *out.notes[at:]))
    return Corrected(out, Change(kind=ChangeKind.ADDED, pitch=new.pitch(n.key), ticks=ticks,
            later=later if at < len(n.notes) else 0))


def _slur(n: Notation, i: int, c: Correction) -> Corrected:
    j = c.other_note
    out = _slurred(_slurred(n, i, starts=1), j, stops=1)
    return Corrected(out, Change(kind=ChangeKind.SLUR, other_bar=n.positions[j][0], other_note=n.positions[j][1]))


def _slurred(n: Notation, i: int, starts: int = 0, stops: int = 0) -> Notation:
    note = n.notes[i]
    note = replace(note, slur_starts=note.slur_starts + starts, slur_stops=note.slur_stops + stops)
    return replace(n, notes=(*n.notes[:i], note, *n.notes[i + 1:]))


def _no_slur(n: Notation, i: int, c: Correction) -> Corrected:
    """Without the slur that begins at a note, or goes over it."""
    open_at: list[int] = []
    for k, note in enumerate(n.notes):
        for _stop in range(note.slur_stops):
            if open_at:
                begin = open_at.pop()
                if begin <= i <= k:
                    return Corrected(_slurred(_slurred(n, begin, starts=-1), k, stops=-1), Change(kind=ChangeKind.NO_SLUR))
        open_at += [k] * note.slur_starts
    bar, place = n.positions[i]
    raise Trouble(_("There is no slur at bar {bar}, note {note}.").format(bar=bar, note=place))


def _syllable(n: Notation, i: int, c: Correction) -> Corrected:
    text = c.text.strip("-")
    begins, ends = c.text.endswith("-"), c.text.startswith("-")
    place = "middle" if begins and ends else "begin" if begins else "end" if ends else "single"
    note = replace(n.notes[i], syllable=Syllable(text, place) if text else None)
    return Corrected(replace(n, notes=(*n.notes[:i], note, *n.notes[i + 1:])),
                     Change(kind=ChangeKind.SYLLABLE if text else ChangeKind.NO_SYLLABLE, text=text))


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
        shorter, lost = _without_first(n)
        return Corrected(shorter, Change(kind=ChangeKind.TAKEN_OUT_BEGINNING, elided=lost))
    quiet = _set(n, i - 1, rest=n.notes[i - 1].rest + n.notes[i].length, breath=False)
    shorter, lost = _without(quiet, i)
    return Corrected(shorter, Change(kind=ChangeKind.REST, elided=lost))


def _other_reading(n: Notation, i: int, c: Correction) -> Corrected:
    note = n.notes[i]
    if note.pitch_confidence < note.value_confidence:
        return _set_midi(n, i, note.other_midi)
    return _set_ticks(n, i, note.other_ticks)


def _move(n: Notation, i: int, c: Correction) -> Corrected:
    return _set_midi(n, i, n.notes[i].midi + c.semitones)


def _nearest(c: Correction, midi: int) -> int:
    """The pitch of a correction: in its octave where that was given, else the nearest of that name."""
    target = STEP_SEMITONES[c.step] + c.alter
    return target + 12 * (c.octave + 1) if c.octave is not None else midi + (target - midi + 6) % 12 - 6


def _pitch(n: Notation, i: int, c: Correction) -> Corrected:
    c = c if c.step else replace(c, step=n.notes[i].pitch(n.key).step)
    midi = _nearest(c, n.notes[i].midi)
    return _set_midi(n, i, midi, Pitch(c.step, (midi - STEP_SEMITONES[c.step] - c.alter) // 12 - 1, c.alter))


def _set_midi(n: Notation, i: int, midi: int, spelled: Pitch | None = None) -> Corrected:
    out = _set(n, i, midi=midi, spelled=spelled)
    return Corrected(out, Change(kind=ChangeKind.PITCH, pitch=out.notes[i].pitch(n.key)))


def _value(n: Notation, i: int, c: Correction) -> Corrected:
    return _set_ticks(n, i, c.ticks)


def _scale(n: Notation, i: int, c: Correction) -> Corrected:
    ticks = n.notes[i].ticks * c.factor
    if ticks.denominator != 1:
        bar, note = n.positions[i]
        raise Trouble(_("Bar {bar}, note {note} is a semiquaver, the shortest value written here; it cannot be "
                        "parted.").format(bar=bar, note=note))
    return _set_ticks(n, i, int(ticks))


def _set_ticks(n: Notation, i: int, ticks: int) -> Corrected:
    """A note's value changed. A rest after it gives or takes the difference, or else a neighbour in its bar that no person
    has mended, so that no bar line moves; where there is none, what follows moves."""
    total = n.notes[i].length
    if n.notes[i].rest and ticks <= total:
        return Corrected(_set(n, i, ticks=ticks, rest=total - ticks), Change(kind=ChangeKind.VALUE_WITH_REST, ticks=ticks))
    out, change = _set(n, i, ticks=ticks, rest=0), Change(kind=ChangeKind.VALUE, ticks=ticks)
    out, change = _make_room(out, i, ticks - total, change, n.bars)
    return Corrected(out, change)


def _make_room(n: Notation, i: int, longer: int, change: Change, bars: Sequence[int] | None = None) -> tuple[Notation, Change]:
    """Note i has grown by some ticks: a neighbour in its bar gives them, the next one first, else what follows moves.

    bars: of the notes before it grew.
    """
    bars = bars or n.bars
    able = [j for j in range(len(n.notes)) if j != i and bars[j] == bars[i] and _can_give(n.notes[j], longer)]
    j = next((j for j in able if j > i), max((j for j in able if j < i), default=None))
    last = i + 1 == len(n.notes)
    if not longer or (last and (j is None or longer < 0)):
        return n, change
    if j is None:
        return n, replace(change, later=longer)
    note = n.notes[j]
    rest = max(0, note.rest - longer) if note.rest else 0
    shared = replace(note, ticks=note.length - longer - rest, rest=rest)
    n = replace(n, notes=(*n.notes[:j], shared, *n.notes[j + 1:]))
    kind = ChangeKind.VALUE_SHARED if change.kind is ChangeKind.VALUE else change.kind
    return n, replace(change, kind=kind, other_note=j - list(bars).index(bars[j]) + 1, other_ticks=shared.ticks)


def _can_give(note: WrittenNote, ticks: int) -> bool:
    return not note.value_given and not note.triplet and note.length - ticks >= 1


_NOTE: dict[Action, Callable[[Notation, int, Correction], Corrected]] = {
    Action.TAKE_OUT: _take_out, Action.JOIN: _join, Action.SPLIT: _split, Action.NO_REST: _no_rest,
    Action.END_REST: _end_rest, Action.REST: _rest, Action.OTHER_READING: _other_reading, Action.MOVE: _move,
    Action.VALUE: _value, Action.PITCH: _pitch, Action.SCALE: _scale, Action.ADD: _add, Action.TRIPLET: _triplet,
    Action.NO_TRIPLET: _no_triplet, Action.SLUR: _slur, Action.NO_SLUR: _no_slur, Action.SYLLABLE: _syllable}
