"""MIDI: a played or written track brought to note values, and a tune as sung written as a file."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from companion.tune.tune import Tune

GRID = 12  # parts of a crotchet: semiquavers (3 each) and quavers of a triplet (4 each) both come out even
SEMIQUAVER, TRIPLET_QUAVER = 3, 4
LONGEST_NUMBER = 4  # bytes of a number of variable length (RP-001)
WRITTEN = 48  # a file whose notes begin within this part of a crotchet of the grid was written, not played


@dataclass(frozen=True)
class MidiSize:
    """How much a MIDI file holds. quarter: its ticks of a crotchet, None where it counts time in frames of film.

    tracks: as its head says. events, notes: of all tracks. ticks: of the longest track. text: bytes of the longest name,
    word, title or message of a maker.
    """

    quarter: int | None
    tracks: int = 0
    events: int = 0
    notes: int = 0
    ticks: int = 0
    text: int = 0


def measure_midi(data: bytes, most_events: int) -> MidiSize:
    """The size of a standard MIDI file (RP-001), from its bytes alone, before anything is made of it.

    Of a file that was cut as much as there is; counting ends beyond `most_events`. Raises ValueError for what no file has:
    a crotchet of no ticks, a number of more than four bytes.
    """
    division = int.from_bytes(data[12:14], "big")
    if not division:
        raise ValueError("a crotchet of no ticks")
    size = MidiSize(None if division & 0x8000 else division, int.from_bytes(data[10:12], "big"))
    at = 8 + int.from_bytes(data[4:8], "big")
    while at + 8 <= len(data) and size.events <= most_events:
        length = int.from_bytes(data[at + 4:at + 8], "big")
        if data[at:at + 4] == b"MTrk":
            size = _with_track(size, data, at + 8, min(len(data), at + 8 + length), most_events)
        at += 8 + length
    return size


def _with_track(size: MidiSize, data: bytes, at: int, end: int, most_events: int) -> MidiSize:
    """The size with a track that stands between two places of the file."""
    events, notes, ticks, text, status = size.events, size.notes, 0, size.text, 0
    try:
        while at < end and events <= most_events:
            gap, at = _variable(data, at)
            ticks += gap
            events += 1
            if data[at] & 0x80:
                status, at = data[at], at + 1
            if status in (0xFF, 0xF0, 0xF7):  # a meta event with its kind, or a message of a maker; then the length
                kind = data[at] if status == 0xFF else None
                length, at = _variable(data, at + (status == 0xFF))
                text = max(text, length) if kind is None or kind < 0x20 else text
                at += length
            else:
                notes += status & 0xF0 == 0x90 and data[at + 1] > 0
                at += 1 if status & 0xE0 == 0xC0 else 2
    except IndexError:
        pass  # cut off: the reader says so
    return replace(size, events=events, notes=notes, ticks=max(size.ticks, ticks), text=text)


def _variable(data: bytes, at: int) -> tuple[int, int]:
    """A number of variable length and the place after it. Raises IndexError at the end of the data, ValueError beyond four
    bytes."""
    value = 0
    for k in range(at, at + LONGEST_NUMBER):
        value = value << 7 | data[k] & 0x7F
        if not data[k] & 0x80:
            return value, k + 1
    raise ValueError("a number of more than four bytes")


@dataclass
class _Played:
    """A note of a track. begin, end: in the file's ticks; on, off: which of the track's timed events bound it."""

    begin: int
    end: int
    on: int
    off: int


def quantise(track: Any, quarter: int) -> None:
    """Bring a music21 track to the nearest semiquavers, with quavers of triplets where it was written and not played.

    quarter: ticks of a crotchet; they become GRID times as fine. music21 rounds where a note begins and how long it
    is apart from each other, so that a played line comes to overlap itself; here both ends of a note are rounded. A
    note held over into the next, as a player binds notes, is let go where the next one begins; a voice that goes on
    under others is left alone.
    """
    timed = _timed(track)
    notes = _notes([e for _, e in timed], [at for at, _ in timed])
    _end_at_next(notes)
    nearest = _nearest(_grid_marks(notes, quarter), quarter)
    ticks = [nearest(at) for at, _ in timed]
    begins = sorted(ticks[n.on] for n in notes)
    shortest = SEMIQUAVER * quarter
    for n in notes:
        ticks[n.off] = nearest(n.end)
        if ticks[n.off] <= ticks[n.on] and n.end >= n.begin:  # too short for the grid: a semiquaver, or up to the next note
            following = next((b for b in begins if b > ticks[n.on]), ticks[n.on] + shortest)
            ticks[n.off] = min(ticks[n.on] + shortest, following)
    track.events = _in_order(track, [e for _, e in timed], ticks)


def _timed(track: Any) -> list[tuple[int, Any]]:
    """The events of a track with the tick at which each stands, counted from the beginning."""
    now, timed = 0, []
    for e in track.events:
        if e.isDeltaTime():
            now += e.time
        else:
            timed.append((now, e))
    return timed


def _notes(events: list[Any], at: list[int]) -> list[_Played]:
    """The notes that begin and end, in order of their beginnings."""
    notes: list[_Played] = []
    sounding: dict[tuple[Any, Any], _Played] = {}
    for place, e in enumerate(events):
        if e.isNoteOn() and e.velocity:
            sounding[e.channel, e.pitch] = note = _Played(at[place], -1, place, -1)
            notes.append(note)
        elif (e.isNoteOff() or e.isNoteOn()) and (open_note := sounding.pop((e.channel, e.pitch), None)):
            open_note.end, open_note.off = at[place], place
    return [n for n in notes if n.off >= 0]


def _end_at_next(notes: list[_Played]) -> None:
    """Let a note that was held over go where the next one begins."""
    for a, b in itertools.pairwise(notes):
        held = a.end - b.begin
        if 0 < held <= min(a.end - a.begin, b.end - b.begin) / 2 and b.end >= a.end:
            a.end = b.begin


def _grid_marks(notes: list[_Played], quarter: int) -> list[int]:
    """Where notes may begin within a crotchet, in fine ticks: triplets too where every note lies near the grid."""
    semiquavers = [k * quarter for k in range(0, GRID + 1, SEMIQUAVER)]
    marks = sorted({*semiquavers, *(k * quarter for k in range(0, GRID + 1, TRIPLET_QUAVER))})
    off_grid = (min(abs(n.begin * GRID % (quarter * GRID) - m) for m in marks) for n in notes)
    return semiquavers if any(off * WRITTEN > quarter * GRID for off in off_grid) else marks


def _nearest(marks: list[int], quarter: int) -> Callable[[int], int]:
    def nearest(at: int) -> int:
        whole, rest = divmod(at * GRID, quarter * GRID)
        return whole * quarter * GRID + min(marks, key=lambda m: abs(m - rest))

    return nearest


def _in_order(track: Any, events: list[Any], ticks: list[int]) -> list[Any]:
    """The events at their new ticks with the times between them; at one tick notes end before others begin."""
    from music21 import midi

    rank = [0 if e.isNoteOff() or (e.isNoteOn() and not e.velocity) else 2 if e.isNoteOn() else 1 for e in events]
    order = sorted(range(len(events)), key=lambda i: (ticks[i], rank[i], i))
    if events:  # the end of the track stays its end
        order.sort(key=lambda i: i == len(events) - 1)
    out, before = [], 0
    for i in order:
        gap = midi.DeltaTime(track)
        gap.time, before = max(0, ticks[i] - before), max(before, ticks[i])
        out += [gap, events[i]]
    return out


def to_midi(tune: Tune) -> bytes:
    """The tune as sung, as a MIDI file of one track (format 0), by music21."""
    from music21 import midi, note, stream, tempo

    part = stream.Part()
    part.append(tempo.MetronomeMark(number=tune.quarter_bpm or 90))
    for n in tune.line():
        part.insert(float(n.onset_quarters), note.Note(n.midi, quarterLength=n.quarters))
    file = midi.translate.streamToMidiFile(part)
    data: bytes = file.writestr()
    return data
