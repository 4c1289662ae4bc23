"""A sung take as a written tune, with what is unsure of it said bar by bar.

The way: notes are found in the pitch track (`segment`), their pitches brought to a key with the singer's
drift taken out (`pitches`), their times to values in a metre with a bending tempo (`rhythm`, `metre`), and
all of it is laid out in bars (`layout`). Each step weighs all readings, so the score knows its doubts.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from companion.ear import PitchTrack, SungNote
from companion.errors import NothingSung, Trouble
from companion.messages import _
from companion.transcribe.count_in import CountIn, find_counts, without_counts
from companion.transcribe.layout import Event, lay_out
from companion.transcribe.metre import choose
from companion.transcribe.pitches import Pitches
from companion.transcribe.pitches import find as find_pitches
from companion.transcribe.rhythm import (
    METRES,
    MOST_TICKS,
    TICKS,
    Evidence,
    Reading,
    bar_ticks,
    counted,
    likelihood,
    moves,
    triplets,
)
from companion.transcribe.segmentation import Doubtful, sung_and_doubtful
from companion.tune import Key, Tune

#: A syllable is felt to begin between its consonant and its vowel (Morton, Marcus and Frankish 1976; from memory): of
#: the silence of a consonant, this part belongs to the note that it begins.
BEAT_BEFORE = 0.5
BREATH_S = 0.13  # a silence before a note from here on is a breath; a stopped consonant takes less
#: Silence before the next note where no rest is written: a consonant, or a breath of a usual length. And how often
#: a breath is taken inside a phrase, and where one ends.
CLOSE_S, BREATH_USUAL_S, BREATH_SPREAD_S, BREATH_INSIDE, BREATH_AT_END = 0.04, 0.21, 0.09, 0.01, 0.85
#: A rest is heard at its length and a little more: consonants take from the next note.
REST_MORE_S, REST_SPREAD_S, REST_SPREAD = 0.03, 0.05, 0.06
LONGEST_S = 300.0  # what is longer than five minutes is no tune
FEWEST_NOTES = 3
MOST_DOUBTFUL = 16  # so many are weighed; a take with more is too rough for it
LEAST_PART_S = 0.07  # no note is parted so that one of the two is shorter
SAME_DIP_S = 0.06  # a note that begins so near a dip begins because of it


@dataclass(frozen=True)
class Given:
    """What a person has said beforehand. bpm: beats a minute (in 6/8 the beat is a dotted crotchet).

    time: "3/4". beats_s: times of tapped beats in the take. key: the key of the score. counted_in: how many counts
    stand before the tune; downbeat_s: when the bar after them begins, which is found in the take.
    """

    bpm: float | None = None
    time: str | None = None
    beats_s: tuple[float, ...] = ()
    key: Key | None = None
    counted_in: int = 0
    downbeat_s: float | None = None


@dataclass(frozen=True)
class Notation:
    """A take written down.

    events: one a note, with values in ticks (a quarter of a crotchet). place: ticks of the first note after
    its bar line. sung: the notes as found in the take (seconds, MIDI with fractions). tuning: semitones by
    which the singer was above concert pitch, note by note. quarter_s: seconds a crotchet, note by note.
    sure_value, sure_pitch: probabilities, one a note. other_value: the second-best length in ticks.
    """

    title: str
    events: tuple[Event, ...]
    metre: str
    place: int
    key: Key
    key_sure: float
    key_other: Key
    key_other_sure: float
    metre_sure: float
    metre_other: str
    metre_other_sure: float
    sung: tuple[SungNote, ...]
    tuning: tuple[float, ...]
    quarter_s: tuple[float, ...]
    sure_value: tuple[float, ...]
    other_value: tuple[int, ...]
    sure_pitch: tuple[float, ...]
    other_pitch: tuple[int, ...]
    evidence: Evidence
    given: Given = Given()
    sound: str = ""  # what is to be said of the sound itself
    doubtful: tuple[Doubtful, ...] = ()  # what may or may not be notes of their own

    @property
    def quarter_bpm(self) -> float:
        """Crotchets a minute, over the whole take."""
        return round(60.0 / float(np.exp(np.mean(np.log(self.quarter_s)))), 1)

    @property
    def tune(self) -> Tune:
        """The score, laid out in bars."""
        return lay_out(self.events, self.metre, self.place, self.key, title=self.title,
                       quarter_bpm=self.quarter_bpm)


def notate(track: PitchTrack, title: str = "", given: Given | None = None) -> Notation:
    """Write down what is sung in a track. Raises NothingSung or Trouble, one sentence, where it cannot be.

    Source of the method: the metrical hidden Markov model of `rhythm`; its tempo wanders (Cemgil and Kappen
    2003 treat tempo likewise; from memory).
    """
    given = given or Given()
    if given.counted_in:
        counts = find_counts(track, given.counted_in)
        track, given = without_counts(track, counts), after_counts(given, counts)
    notes, doubtful, sound = usable_notes(track)
    found = write(notes, title, given)
    decided = decide(found, doubtful)
    if decided != list(found.sung):
        found = write(decided, title, given)
    return replace(found, sound=sound, doubtful=tuple(doubtful))


def after_counts(given: Given, counts: CountIn) -> Given:
    """What was given, with what the counts tell: the tempo, and where the first bar begins. Six counts are quavers."""
    six = given.counted_in == 6 and given.time in (None, "6/8")
    bpm = 60.0 / counts.beat_s / (3.0 if six else 1.0)
    return replace(given, bpm=given.bpm or bpm, time="6/8" if six else given.time, downbeat_s=counts.downbeat_s)


def decide(n: Notation, doubtful: Sequence[Doubtful]) -> list[SungNote]:
    """The notes of a take, with what is doubtful decided by what the rhythm makes of it.

    A note is parted, or joined to the one before, where the times are then so much likelier in the metre found
    that it outweighs how it sounds.
    """
    quarter_s = None if n.given.bpm is None else 60.0 / n.given.bpm / (1.5 if METRES[n.metre][1] == 8 else 1.0)
    notes = list(n.sung)
    midi = [e.midi for e in n.events]
    tonic = (7 * n.key.fifths + (9 if n.key.mode == "minor" else 0)) % 12

    def weigh(some: list[SungNote], pitches: list[int]) -> float:
        return likelihood(evidence_from(some, pitches, tonic), n.metre, quarter_s, n.given.beats_s)

    now = weigh(notes, midi) if doubtful else 0.0
    for doubt in sorted(doubtful, key=lambda d: abs(d.odds))[:MOST_DOUBTFUL]:
        when, odds = doubt.time_s, doubt.odds
        inside = next((i for i, x in enumerate(notes) if x.onset_s + LEAST_PART_S < when
                       < x.onset_s + x.duration_s - LEAST_PART_S), None)
        begins = next((i for i, x in enumerate(notes) if i and abs(x.onset_s - when) < SAME_DIP_S), None)
        if inside is not None:
            x = notes[inside]
            first = replace(x, duration_s=when - x.onset_s)
            second = doubt.piece or replace(x, onset_s=when, duration_s=x.onset_s + x.duration_s - when)
            some = [*notes[:inside], first, second, *notes[inside + 1:]]
            pitches = [*midi[:inside + 1], midi[inside] + round(second.midi - x.midi), *midi[inside + 1:]]
        elif begins is not None and len(notes) > FEWEST_NOTES and (doubt.piece or midi[begins] == midi[begins - 1]):
            a, b = notes[begins - 1], notes[begins]
            odds = -odds
            some = [*notes[:begins - 1], replace(a, duration_s=b.onset_s + b.duration_s - a.onset_s), *notes[begins + 1:]]
            pitches = [*midi[:begins], *midi[begins + 1:]]
        else:
            continue
        then = weigh(some, pitches)
        if then - now + odds > 0:
            notes, midi, now = some, pitches, then
    return notes


def usable_notes(track: PitchTrack) -> tuple[list[SungNote], list[Doubtful], str]:
    """The notes of a take, what may or may not be notes, and a doubt about its sound (or "").

    Raises Trouble or NothingSung, one sentence, where it cannot be written down.
    """
    from companion.transcribe.suitability import check, sound_doubt

    if track.duration_s > LONGEST_S:
        raise Trouble(_("This take lasts {duration_s:.0f} minutes; a tune of up to five minutes can be written "
                        "down. Cut out the part that you want.").format(duration_s=track.duration_s / 60))
    notes, doubtful = sung_and_doubtful(track)
    if not notes:
        raise NothingSung(_("Nothing sung was found in this take. Sing a little closer to the microphone, and once "
                            "more."))
    fit = check(track, notes)
    if len(notes) < FEWEST_NOTES:
        raise NothingSung(_("Only {notes} sung note{notes2} could be found; a tune has at least three. Sing it once "
                            "more, a little closer.").format(notes=len(notes), notes2='s' if len(notes) > 1 else ''))
    return notes, doubtful, sound_doubt(fit)


def evidence_of(notes: Sequence[SungNote], pitches: Pitches) -> Evidence:
    """Times, degrees, moves and breaths of N notes."""
    return evidence_from(notes, pitches.midi.tolist(), pitches.tonic)


def evidence_from(notes: Sequence[SungNote], midi: Sequence[int], tonic: int) -> Evidence:
    """The same, from written pitches and the keynote (0 = C)."""
    onset = np.array([n.onset_s for n in notes] + [notes[-1].onset_s + notes[-1].duration_s])
    gap = np.array([0.0] + [max(0.0, b.onset_s - a.onset_s - a.duration_s) for a, b in itertools.pairwise(notes)])
    onset[:-1] -= BEAT_BEFORE * np.where(gap > BREATH_S, 0.0, gap)
    return Evidence(onset, (np.array(midi) - tonic) % 12, moves(midi), gap > BREATH_S)


def write(notes: Sequence[SungNote], title: str, given: Given, sharpness: float = 1.0) -> Notation:
    """Written notes from sung ones. sharpness: how many takes stand behind each time."""
    tonic = mode = None
    if given.key is not None:
        mode = given.key.mode if given.key.mode in ("major", "minor") else None
        tonic = (7 * given.key.fifths + (9 if mode == "minor" else 0)) % 12
    pitches = find_pitches([n.midi for n in notes], [n.duration_s for n in notes], tonic, mode)
    e = evidence_of(notes, pitches)
    chosen = choose(e, pitches.midi.tolist(), given.time, given.bpm, given.beats_s, sharpness,
                    given.downbeat_s, given.counted_in)
    reading = chosen.reading
    events, sure, other = _events(notes, e, reading, pitches)
    return Notation(
        title=title, events=tuple(events), metre=reading.metre, place=int(reading.place[0]), key=pitches.key,
        key_sure=pitches.sure, key_other=pitches.runner_up, key_other_sure=pitches.runner_up_sure,
        metre_sure=chosen.sure, metre_other=chosen.other, metre_other_sure=chosen.other_sure,
        sung=tuple(notes), tuning=tuple(float(t) for t in pitches.tuning),
        quarter_s=tuple(float(q) for q in reading.quarter_s), sure_value=tuple(sure), other_value=tuple(other),
        sure_pitch=tuple(float(c) for c in pitches.chance[:, 1]),
        other_pitch=tuple(int(m) + (-1 if c[0] > c[2] else 1) for m, c in
                          zip(pitches.midi, pitches.chance, strict=True)),
        evidence=e, given=given)


def _events(notes: Sequence[SungNote], e: Evidence, r: Reading,
            p: Pitches) -> tuple[list[Event], list[float], list[int]]:
    events, sure, other = [], [], []
    silences = [max(0.0, b.onset_s - a.onset_s - a.duration_s) for a, b in itertools.pairwise(notes)]
    rests = rest_ticks(silences, r.ticks[:-1].tolist(), r.quarter_s[:-1].tolist(), r.metre)
    threes = triplets(e, r)
    for i, (rest, rest_sure) in enumerate([*rests, (0, 1.0)]):
        ticks = int(r.ticks[i])
        ranked = np.argsort(-r.chance[i])
        second = int(ranked[0]) if int(ranked[0]) != ticks else int(ranked[1])
        breath = bool(i + 1 < len(notes) and e.phrase[i + 1])
        part = 0 if rest else next((i - t + 1 for t in threes if t <= i < t + 3), 0)
        events.append(Event(int(p.midi[i]), ticks - rest, rest, breath=breath and rest == 0, triplet=part))
        sure.append(float(r.chance[i, ticks]) * rest_sure)
        other.append(max(1, second))
    return events, sure, other


def rest_ticks(silence_s: Sequence[float], ticks: Sequence[int], quarter_s: Sequence[float],
               metre: str) -> list[tuple[int, float]]:
    """How many ticks of each of some lengths (from note to note) are a rest, and how sure that is.

    Weighed: how usual such a rest is after such a length, at the end of a phrase and inside one, in tunes that are
    written with rests and in those that are not (counted on folk tunes), and how the silence heard fits it. Which
    of the two kinds a tune is, all its silences tell together.
    """
    table = counted(metre)["rest"]
    kinds = np.log(np.array(table["tunes"], dtype=float) + 1.0)  # without rests, with rests
    found: list[dict[int, float]] = []
    for silence, length, quarter in zip(silence_s, ticks, quarter_s, strict=True):
        close = float(np.exp(-silence / CLOSE_S)) / CLOSE_S
        breath = _bell(silence - BREATH_USUAL_S, BREATH_SPREAD_S)
        none = [(1 - often) * close + often * breath for often in (BREATH_INSIDE, BREATH_AT_END)]
        for kind in (0, 1):
            inside, end = (table[where][kind].get(str(min(length, MOST_TICKS)), {}) for where in ("inside", "end"))
            total = sum(inside.values()) + sum(end.values()) + 6.0
            weight = {0: ((inside.get("0", 0) + 3.0) * none[0] + (end.get("0", 0) + 1.0) * none[1]) / total}
            for rest in range(1, length if kind else 1):
                often = inside.get(str(rest), 0) + end.get(str(rest), 0) + (0.6 if rest % 2 == 0 else 0.1)
                rest_s = rest / TICKS * quarter
                weight[rest] = often / total * _bell(silence - rest_s - REST_MORE_S, REST_SPREAD_S + REST_SPREAD * rest_s)
            kinds[kind] += np.log(sum(weight.values()) + 1e-12)
        found.append(weight)
    with_rests = float(1.0 / (1.0 + np.exp(np.clip(kinds[0] - kinds[1], -500, 500))))
    out = []
    for weight in found:
        sum_ = sum(weight.values()) + 1e-12
        chance = {rest: with_rests * w / sum_ for rest, w in weight.items()}
        chance[0] += 1.0 - with_rests
        best = max(chance, key=lambda r: chance[r])
        out.append((best, chance[best]))
    return out


def _bell(off: float, spread: float) -> float:
    return float(np.exp(-0.5 * (off / spread) ** 2)) / (2.507 * spread)


def with_metre(n: Notation, metre: str) -> Notation:
    """The same take read in another metre ("in three")."""
    if metre not in METRES:
        raise Trouble(_("{metre} is not a metre that can be read here; give {METRES}.").format(
                            metre=metre, METRES=', '.join(METRES)))
    return write(n.sung, n.title, replace(n.given, time=metre))


def as_json(n: Notation) -> dict[str, Any]:
    """What programs may rely on: notes as `companion read` gives them, and key, time, quarter_bpm."""
    from companion.transcribe.doubts import doubts

    tune = n.tune
    notes: list[dict[str, Any]] = []
    held = False
    for b, _unused, note in tune.written():
        number = tune.bars[b].number
        if held and note.pitch is not None and notes:
            notes[-1]["quarters"] += float(note.quarters)
        elif note.pitch is None:
            length = tune.time.quarters if note.whole_bar else note.quarters
            notes.append({"midi": None, "quarters": float(length), "bar": number})
        else:
            notes.append({"midi": note.pitch.midi, "quarters": float(note.quarters), "bar": number})
        held = note.tie
    return {"notes": notes, "problems": [{"bar": d.bar, "note": d.note, "say": d.say, "or": d.other}
                                         for d in doubts(n)],
            "key": n.key.name, "time": n.metre, "quarter_bpm": n.quarter_bpm,
            "key_sure": round(n.key_sure, 3), "key_runner_up": n.key_other.name,
            "time_sure": round(n.metre_sure, 3), "time_runner_up": n.metre_other,
            "pickup_quarters": float(tune.pickup),
            "phrases": sorted({k.number for k in tune.line() if k.number == 1 or
                               tune.line()[k.number - 2].phrase != k.phrase})}


def bars_of(n: Notation) -> list[int]:
    """The printed bar number in which each note begins."""
    out, at, bar = [], n.place, bar_ticks(n.metre)
    first = 0 if n.place else 1
    for event in n.events:
        out.append(at // bar + first)
        at += event.ticks + event.rest
    return out
