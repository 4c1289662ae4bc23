"""Bars sung again: what is sung now is written in their place, in the same bars, time signature and key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from companion.ear import PitchTrack, SungNote, find_notes
from companion.errors import NothingSung, Trouble
from companion.messages import _
from companion.transcribe.corrections import both_syllables
from companion.transcribe.folk_counts import MOST_TICKS, TICKS, prior
from companion.transcribe.notation import Notation, WrittenNote
from companion.transcribe.talk import talk_silenced
from companion.tune import Syllable, spell

F = NDArray[np.float64]

LENGTH_SPREAD = 0.15  # of the logarithm of a note's length: a single bar is sung less evenly than a whole tune
LAST_SPREAD = 0.5  # of the last note, which a breath cuts short
TEMPO_SPREAD = 0.25  # of the logarithm of the tempo against that of the take
TEMPI = np.exp(np.linspace(-0.5, 0.5, 21))
#: Semitones that are tried between what is sung now and what stands there, and what each of them costs (in semitones by which
#: a note lies off the key).
SHIFTS, OFF_PLACE = np.arange(-14.0, 14.05, 0.1), 0.03
SURE = 0.9  # of values and pitches: a person has sung them for this place, but no tune stands around them


def sung_again(n: Notation, track: PitchTrack, first: int, last: int) -> Notation:
    """The score with bars `first` to `last` as they are sung in a track. Raises Trouble or NothingSung where they cannot be."""
    here = [i for i, bar in enumerate(n.bars) if first <= bar <= last]
    if not here:
        raise Trouble(_("There is no bar {bar} in which a note begins; the tune has bars {first} to {last}.").format(
            bar=first, first=0 if n.place else 1, last=n.bars[-1]))
    notes = find_notes(talk_silenced(track))
    if not notes:
        raise NothingSung(_("Nothing sung was found. Bar {bar} stays as it is; sing a little closer to the microphone, and once "
                            "more.").format(bar=first))
    old = n.notes[here[0]:here[-1] + 1]
    room = sum(note.length for note in old)
    if len(notes) > room:
        raise Trouble(_("{count} notes were heard, more than go into bar {bar}, which stays as it is. Sing only that "
                        "bar.").format(count=len(notes), bar=first))
    midi = _pitches(n, notes, old)
    place = (n.place + sum(note.length for note in n.notes[:here[0]])) % n.bar_ticks
    ticks = _values(n, notes, place, room, float(np.median([note.quarter_s for note in old])))
    new = _written(n, notes, midi, ticks, old)
    return replace(n, notes=(*n.notes[:here[0]], *new, *n.notes[here[-1] + 1:]))


def _pitches(n: Notation, notes: Sequence[SungNote], old: Sequence[WrittenNote]) -> list[int]:
    """Written pitches: all moved by one shift, such that they lie in the key and near what stood there."""
    sung = np.array([note.midi for note in notes])
    middle = float(np.mean([note.midi for note in old]))
    usual = float(np.median([note.tuning for note in n.notes]))
    scale = np.array([m for m in range(24, 108) if spell(m, n.key).alter == n.key.alter(spell(m, n.key).step)])
    best: tuple[float, list[int]] | None = None
    for shift in SHIFTS:
        moved = sung - usual + shift
        off = np.abs(moved[:, None] - scale[None, :]).min(axis=1)
        cost = float(np.minimum(off, 0.5).mean()) + OFF_PLACE * (abs(float(moved.mean()) - middle) + 0.5 * abs(float(shift)))
        if best is None or cost < best[0]:
            best = cost, [round(x) for x in moved]
    assert best is not None
    return best[1]


def _values(n: Notation, notes: Sequence[SungNote], place: int, room: int, quarter_s: float) -> list[int]:
    """Ticks of each note, together `room`: the likeliest by the counts of this time signature and by their lengths.

    The last takes what is left, a rest with it. Dynamic programming over the ticks that are used, for each tempo.
    """
    value = prior(n.time, n.style).value
    onset = [note.onset_s for note in notes]
    seconds = np.diff([*onset, notes[-1].onset_s + notes[-1].duration_s])
    best: tuple[float, list[int]] | None = None
    for factor in TEMPI:
        tick_s = quarter_s * float(factor) / TICKS
        paths: dict[int, tuple[float, list[int]]] = {0: (-0.5 * float(np.log(factor) / TEMPO_SPREAD) ** 2, [])}
        for k, s in enumerate(seconds.tolist()):
            final = k == len(seconds) - 1
            grown: dict[int, tuple[float, list[int]]] = {}
            for used, (log, so_far) in paths.items():
                left = room - used - (len(seconds) - 1 - k)
                for t in ([left] if final else range(1, min(MOST_TICKS, left) + 1)):
                    spread = LAST_SPREAD if final else LENGTH_SPREAD
                    now = (log + float(value[(place + used) % n.bar_ticks, min(t, MOST_TICKS)])
                           - 0.5 * (float(np.log(max(s, 0.03) / (t * tick_s))) / spread) ** 2)
                    if used + t not in grown or now > grown[used + t][0]:
                        grown[used + t] = now, [*so_far, t]
            paths = grown
        log, ticks = paths[room]
        if best is None or log > best[0]:
            best = log, ticks
    assert best is not None
    return best[1]


def _written(n: Notation, notes: Sequence[SungNote], midi: Sequence[int], ticks: Sequence[int],
             old: Sequence[WrittenNote]) -> list[WrittenNote]:
    """Notes in place of others, at the times that these had, so that the take can still be read again as a whole."""
    start_s, room = old[0].sung.onset_s, sum(ticks)
    end_s = old[-1].sung.onset_s + old[-1].sung.duration_s
    words: list[Syllable | None] = [note.syllable for note in old][:len(notes)]
    words += [None] * (len(notes) - len(words))
    for lost in (note.syllable for note in old[len(notes):]):
        words[-1] = both_syllables(words[-1], lost)
    new, at = [], 0
    for k, (note, m, t) in enumerate(zip(notes, midi, ticks, strict=True)):
        rest = old[-1].rest if k + 1 == len(notes) and old[-1].rest < t else 0
        begin, end = (start_s + x / (room - old[-1].rest if room > old[-1].rest else room) * (end_s - start_s)
                      for x in (at, at + t - rest))
        like = old[min(k, len(old) - 1)]
        new.append(WrittenNote(
            midi=m, ticks=t - rest, rest=rest, breath=old[-1].breath and k + 1 == len(notes), syllable=words[k],
            sung=replace(note, onset_s=begin, duration_s=max(0.05, end - begin), midi=m + like.tuning), tuning=like.tuning,
            quarter_s=like.quarter_s, value_confidence=SURE, other_ticks=max(1, t // 2), pitch_confidence=SURE, other_midi=m + 1))
        at += t
    return _with_slurs(new, old)


def _with_slurs(new: list[WrittenNote], old: Sequence[WrittenNote]) -> list[WrittenNote]:
    """With the ends of slurs that come from before these notes, or go on after them."""
    begun = ended = 0
    for note in old:
        ended += max(0, note.slur_stops - begun)
        begun = max(0, begun - note.slur_stops) + note.slur_starts
    new[0] = replace(new[0], slur_stops=ended)
    new[-1] = replace(new[-1], slur_starts=begun)
    return new
