"""Notes of so many ticks laid out in bars: values, rests, ties over bar lines and beats, breath marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.transcribe.folk_counts import TICKS, TIMES, ticks_of
from companion.tune import Bar, Barline, Key, Mark, Note, Pitch, Syllable, Time, Tune, Tuplet, spell

FEWEST_NOTES, FEWEST_TO_A_BREATH = 3, 4  # in a phrase that a rest ends, and in one that only a breath ends


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One sung note in a score: MIDI number, ticks of its value and of the rest after it (4 ticks a crotchet).

    triplet: 1, 2 or 3 for the notes of a triplet, whose ticks are only the nearest whole ones, together right.
    spelled: the name that a person gave its pitch, which is kept while it has that pitch. slur_starts, slur_stops: slurs.
    """

    midi: int
    ticks: int
    rest: int = 0
    breath: bool = False
    syllable: Syllable | None = None
    triplet: int = 0
    spelled: Pitch | None = None
    slur_starts: int = 0
    slur_stops: int = 0

    def pitch(self, key: Key) -> Pitch:
        """Its pitch by name."""
        return self.spelled if self.spelled and self.spelled.midi == self.midi else spell(self.midi, key)

    @property
    def length(self) -> int:
        """Ticks to where the next note begins."""
        return self.ticks + self.rest


#: Lengths in ticks that one value stands for, with (undotted value, dots).
_PLAIN = {1: (Fraction(1, 4), 0), 2: (Fraction(1, 2), 0), 3: (Fraction(1, 2), 1), 4: (Fraction(1), 0),
          6: (Fraction(1), 1), 8: (Fraction(2), 0), 12: (Fraction(2), 1), 16: (Fraction(4), 0)}
_COMPOUND = set(_PLAIN) - {8, 16}  # in compound time a minim would hide the beat
LONGEST = 16  # ticks of one value
DOTTED_CROTCHET = 6


def tied_values(at: int, ticks: int, time: Time, rest: bool = False) -> list[tuple[Fraction, int]]:
    """The values, to be tied, for `ticks` that begin `at` ticks after a bar line and do not leave the bar."""
    beat = ticks_of(time.beat)
    allowed = _COMPOUND if time.compound else set(_PLAIN)
    if ticks in allowed and _shows_beats(at, ticks, beat, rest):
        return [_PLAIN[ticks]]
    # Cut at the next beat, or else at the last that leaves a whole value behind.
    cut = beat - at % beat
    if not at % beat or cut >= ticks:
        cut = next(x for x in sorted(allowed, reverse=True) if x < ticks and (x % beat == 0 or ticks < beat)
                   and not (rest and x > beat and x % beat))
    return tied_values(at, cut, time, rest) + tied_values(at + cut, ticks - cut, time, rest)


def _shows_beats(at: int, ticks: int, beat: int, rest: bool) -> bool:
    """Whether one value may stand there without hiding where the beats are.

    A note may stand across beats where that is usual (a crotchet after a quaver, in simple time); a rest may not, and no
    rest but of whole beats may last longer than one. Nothing longer than a dotted crotchet begins inside a beat.
    """
    inside = at % beat
    crosses = bool(inside) and at // beat != (at + ticks - 1) // beat
    if rest and (crosses or (not inside and ticks > beat and ticks % beat)):
        return False
    if crosses and (ticks % 2 or at % 2 or beat == DOTTED_CROTCHET):
        return False
    return not (inside and ticks > DOTTED_CROTCHET)


def length_values(ticks: int) -> list[tuple[Fraction, int]]:
    """The values, to be tied, for a length that begins on a beat and may be longer than a bar."""
    values = tied_values(0, min(ticks, LONGEST), TIMES["4/4"])
    return values + length_values(ticks - LONGEST) if ticks > LONGEST else values


def triplet_values(notes: Sequence[ScoreNote], place: int, bar: int) -> list[Fraction]:
    """For each note the written value of a triplet's note, 0 where it is none.

    Only whole triplets of quavers or crotchets count, that begin on a beat and do not leave the bar.
    """
    out, at = [Fraction(0)] * len(notes), place % bar
    for i, note in enumerate(notes):
        three = notes[i:i + 3]
        whole = sum(n.ticks for n in three)
        if ([n.triplet for n in three] == [1, 2, 3] and whole in (4, 8) and not any(n.rest for n in three[:2])
                and at % TICKS == 0 and at + whole <= bar):
            out[i:i + 3] = [Fraction(whole, 2 * TICKS)] * 3
        at = (at + note.length) % bar
    return out


def phrase_starts(notes: Sequence[ScoreNote]) -> tuple[int, ...]:
    """Numbers, from 1, of the notes that begin a phrase.

    A phrase begins after a rest of a crotchet or more, the longest rests first, or after a breath; never so near
    another beginning, or the tune's end, that what lies between is too short for a phrase.
    """
    found = {0, len(notes)}
    gaps = [(max(TICKS - 1, n.rest), i) for i, n in enumerate(notes, 1) if n.breath or n.rest >= TICKS]
    for rest, i in sorted(gaps, key=lambda g: (-g[0], g[1])):
        if all(abs(i - other) >= (FEWEST_NOTES if rest >= TICKS else FEWEST_TO_A_BREATH) for other in found):
            found.add(i)
    return tuple(i + 1 for i in sorted(found - {len(notes)}))


class _Bars:
    """Bars of written notes, filled from the left. at: ticks after the last bar line."""

    def __init__(self, time: Time, place: int, key: Key) -> None:
        self.time, self.key = time, key
        self.bar = ticks_of(time.quarters)
        self.at = place % self.bar
        self.notes: list[list[Note]] = [[]]

    def _parts(self, ticks: int) -> Iterator[tuple[int, int, bool]]:
        """A length cut at bar lines: for each part its place, its ticks, and whether another follows."""
        while ticks > 0:
            if self.at == self.bar:
                self.notes.append([])
                self.at = 0
            at, part = self.at, min(ticks, self.bar - self.at)
            self.at += part
            ticks -= part
            yield at, part, ticks > 0

    def rest(self, ticks: int) -> None:
        for at, part, _ in self._parts(ticks):
            if part == self.bar:
                self.notes[-1].append(Note(pitch=None, base=Fraction(4), whole_bar=True))
            else:
                self.notes[-1] += [Note(pitch=None, base=base, dots=dots)
                                   for base, dots in tied_values(at, part, self.time, rest=True)]

    def note(self, note: ScoreNote, breath: bool) -> None:
        syllables, starts = (note.syllable,) if note.syllable else (), note.slur_starts
        for at, part, goes_on in self._parts(note.ticks):
            values = tied_values(at, part, self.time)
            for k, (base, dots) in enumerate(values, 1):
                tie = goes_on or k < len(values)
                self.notes[-1].append(Note(pitch=note.pitch(self.key), base=base, dots=dots, tie=tie, slur_starts=starts,
                                           slur_stops=0 if tie else note.slur_stops,
                                           marks=(Mark.BREATH,) if breath and not tie else (), syllables=syllables))
                syllables, starts = (), 0

    def triplet(self, note: ScoreNote, base: Fraction, breath: bool) -> None:
        for _ in self._parts(note.ticks):  # one part: a triplet does not leave its bar
            self.notes[-1].append(Note(
                pitch=note.pitch(self.key), base=base, tuplet=Tuplet(3, 2, ("start", "", "stop")[note.triplet - 1]),
                slur_starts=note.slur_starts, slur_stops=note.slur_stops,
                marks=(Mark.BREATH,) if breath else (), syllables=(note.syllable,) if note.syllable else ()))


def lay_out_in_breaths(notes: Sequence[ScoreNote], key: Key, title: str = "", quarter_bpm: float | None = None) -> Tune:
    """Notes that no steady beat goes through: each breath is a bar, with a time signature of its own length.

    A length that is no whole number of quavers is filled up with a rest.
    """
    starts = phrase_starts(notes)
    bars: list[Bar] = []
    last: Time | None = None
    for k, (first, after) in enumerate(zip(starts, (*starts[1:], len(notes) + 1), strict=True)):
        some = notes[first - 1:after - 1]
        length = sum(note.length for note in some)
        time = Time((-(-length // TICKS),), 4) if length % TICKS in (0, 3) else Time((-(-length // 2),), 8)
        one = _Bars(time, 0, key)
        for note in some:
            one.note(note, False)
            one.rest(note.rest)
        if one.at < one.bar:
            one.rest(one.bar - one.at)
        bars.append(Bar(number=k + 1, notes=tuple(one.notes[0]), key=None if k else key,
                        time=time if time != last else None,
                        barline=Barline.FINAL if after > len(notes) else Barline.PLAIN))
        last = time
    return Tune(title=title, quarter_bpm=quarter_bpm, phrase_starts=starts if len(starts) > 1 else None, bars=tuple(bars))


def lay_out(notes: Sequence[ScoreNote], time: Time, place: int, key: Key, title: str = "",
            quarter_bpm: float | None = None, repeats: Sequence[tuple[int, int]] = ()) -> Tune:
    """Bars of notes. place: ticks of the first note after its bar line; not 0 makes a pickup.

    repeats: first and last bar, by their printed numbers, of each part that is sung twice.
    """
    bars = _Bars(time, place, key)
    starts = phrase_starts(notes)
    threes = triplet_values(notes, place, bars.bar)
    for i, note in enumerate(notes):
        # A silence inside a phrase is a consonant or a catch of breath, and no mark for it stands in a score.
        breath = note.breath and i + 2 in starts
        if threes[i]:
            bars.triplet(note, threes[i], breath)
        else:
            bars.note(note, breath)
        bars.rest(note.rest)
    # The last bar is filled up, unless with the pickup it makes a whole one (common practice).
    if bars.at % bars.bar and not (place and bars.at == place):
        bars.rest(bars.bar - bars.at)
    last, number = len(bars.notes) - 1, 0 if place else 1
    # Phrases are numbered by the notes as they are sung, so that a tune with repeats finds its own.
    phrases = tuple(starts) if len(starts) > 1 and not repeats else None
    return Tune(title=title, quarter_bpm=quarter_bpm, phrase_starts=phrases, bars=tuple(
        Bar(number=k + number, notes=tuple(written), key=None if k else key, time=None if k else time,
            forward_repeat=any(k + number == first for first, _ in repeats),
            backward_repeat=2 * any(k + number == end for _, end in repeats),
            barline=Barline.FINAL if k == last else Barline.PLAIN)
        for k, written in enumerate(bars.notes)))
