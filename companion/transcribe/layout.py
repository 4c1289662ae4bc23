"""Notes of so many ticks laid out in bars: values, rests, ties over bar lines and beats, breath marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from companion.transcribe.rhythm import METRES, TICKS, bar_ticks
from companion.tune import VALUES, Bar, Key, Note, Syllable, Time, Tune, Tuplet, spell

FEWEST_NOTES, FEWEST_TO_A_BREATH = 3, 4  # in a phrase that a rest ends, and in one that only a breath ends


@dataclass(frozen=True, slots=True)
class Event:
    """One sung note: MIDI number, ticks of its value and of the rest after it (4 ticks a crotchet).

    triplet: 1, 2 or 3 for the notes of a triplet, whose ticks are only the nearest whole ones, together right.
    """

    midi: int
    ticks: int
    rest: int = 0
    breath: bool = False
    syllable: Syllable | None = None
    triplet: int = 0


#: Lengths in ticks that one sign stands for, with (undotted value, dots), in metres of crotchets; a metre of
#: dotted crotchets has no minim (it would hide the beat).
_PLAIN = {1: (Fraction(1, 4), 0), 2: (Fraction(1, 2), 0), 3: (Fraction(1, 2), 1), 4: (Fraction(1), 0),
          6: (Fraction(1), 1), 8: (Fraction(2), 0), 12: (Fraction(2), 1), 16: (Fraction(4), 0)}


def signs(at: int, ticks: int, metre: str, rest: bool = False) -> list[tuple[Fraction, int]]:
    """The values, to be tied, for `ticks` that begin `at` ticks after a bar line and do not leave the bar."""
    bar = bar_ticks(metre)
    beat = 6 if METRES[metre][1] == 8 else TICKS
    allowed = set(_PLAIN) - ({8, 16} if beat == 6 else set())
    if ticks in allowed:
        crosses = at % beat and at // beat != (at + ticks - 1) // beat
        # A note may stand across beats where that is usual (crotchet after a quaver, in crotchet metres);
        # a rest may not, and no rest but of whole beats hides a beat.
        # Nothing longer than a dotted crotchet begins inside the beat.
        if not (rest and (crosses or (at % beat == 0 and ticks > beat and ticks % beat))) and not (
                crosses and (ticks % 2 or at % 2 or beat == 6)) and not (at % beat and ticks > 6):
            return [_PLAIN[ticks]]
    # Cut at the next beat, or else at the last that leaves a whole sign behind.
    to_beat = beat - at % beat
    if at % beat and to_beat < ticks:
        return signs(at, to_beat, metre, rest) + signs(at + to_beat, ticks - to_beat, metre, rest)
    for piece in sorted((x for x in allowed if x < ticks), reverse=True):
        if (piece % beat == 0 or ticks < beat) and not (rest and piece > beat and piece % beat):
            return signs(at, piece, metre, rest) + signs(at + piece, ticks - piece, metre, rest)
    assert bar
    return [_PLAIN[1]] * ticks


def triplet_values(events: Sequence[Event], place: int, bar: int) -> list[Fraction]:
    """For each event the written value of a triplet's note, 0 where it is none.

    Only whole triplets of quavers or crotchets count, that begin on a beat and do not leave the bar.
    """
    out, at = [Fraction(0)] * len(events), place % bar
    for i, event in enumerate(events):
        three = events[i:i + 3]
        whole = sum(e.ticks for e in three)
        if ([e.triplet for e in three] == [1, 2, 3] and whole in (4, 8) and not any(e.rest for e in three[:2])
                and at % TICKS == 0 and at + whole <= bar):
            out[i:i + 3] = [Fraction(whole, 2 * TICKS)] * 3
        at = (at + event.ticks + event.rest) % bar
    return out


def phrase_starts(events: Sequence[Event]) -> tuple[int, ...]:
    """Numbers, from 1, of the notes that begin a phrase.

    A phrase begins after a rest of a crotchet or more, the longest rests first, or after a breath; never so near
    another beginning, or the tune's end, that what lies between is too short for a phrase.
    """
    found = {0, len(events)}
    gaps = [(max(TICKS - 1, e.rest), i) for i, e in enumerate(events, 1) if e.breath or e.rest >= TICKS]
    for rest, i in sorted(gaps, key=lambda g: (-g[0], g[1])):
        if all(abs(i - other) >= (FEWEST_NOTES if rest >= TICKS else FEWEST_TO_A_BREATH) for other in found):
            found.add(i)
    return tuple(i + 1 for i in sorted(found - {len(events)}))


def lay_out(events: Sequence[Event], metre: str, place: int, key: Key, title: str = "",
            quarter_bpm: float | None = None) -> Tune:
    """Bars of notes. place: ticks of the first note after its bar line; not 0 makes a pickup."""
    bar = bar_ticks(metre)
    upper, lower = METRES[metre]
    cells: list[list[Note]] = [[]]
    at = place % bar

    def put(ticks: int, event: Event | None) -> None:
        nonlocal at
        left, first = ticks, True
        while left > 0:
            if at == bar:
                cells.append([])
                at = 0
            take = min(left, bar - at)
            if event is None and take == bar:
                cells[-1].append(Note(pitch=None, base=Fraction(4), whole_bar=True))
                at += take
                left -= take
                continue
            pieces = signs(at, take, metre, event is None)
            for k, (base, dots) in enumerate(pieces):
                more = event is not None and (k < len(pieces) - 1 or left > take)
                if event is None:
                    cells[-1].append(Note(pitch=None, base=base, dots=dots))
                else:
                    cells[-1].append(Note(
                        pitch=spell(event.midi, key), base=base, dots=dots, tie=more,
                        marks=("breath",) if event.breath and not more else (),
                        syllables=(event.syllable,) if first and event.syllable else ()))
                first = False
            at += take
            left -= take

    starts = phrase_starts(events)
    threes = triplet_values(events, place, bar)
    for i, event in enumerate(events):
        if threes[i]:
            if at == bar:
                cells.append([])
                at = 0
            cells[-1].append(Note(
                pitch=spell(event.midi, key), base=threes[i],
                tuplet=Tuplet(3, 2, ("start", "", "stop")[event.triplet - 1]),
                marks=("breath",) if event.breath and i + 2 in starts else (),
                syllables=(event.syllable,) if event.syllable else ()))
            at += event.ticks
            put(event.rest, None)
            continue
        # A silence inside a phrase is a consonant or a catch of breath, and no sign for it stands in a score.
        put(event.ticks, event if i + 2 in starts else replace(event, breath=False))
        put(event.rest, None)
    # The last bar is filled up, unless with the pickup it makes a whole one (common practice).
    if at % bar and not (place and at == place):
        put(bar - at, None)
    bars = []
    for k, notes in enumerate(cells):
        number = k if place else k + 1
        bars.append(Bar(number=number, notes=tuple(notes), key=key if k == 0 else None,
                        time=Time((upper,), lower) if k == 0 else None,
                        barline="final" if k == len(cells) - 1 else ""))
    return Tune(title=title, bars=tuple(bars), quarter_bpm=quarter_bpm,
                phrase_starts=tuple(starts) if len(starts) > 1 else None)


assert all(base in VALUES for base, _ in _PLAIN.values())
