"""A sung take as a written tune.

The way: notes are found in the pitch track (`companion.ear.notes`), their pitches brought to a key with the singer's drift
taken out (`pitches`), their times to values in a time signature with a bending tempo (`rhythm`, `metre`, `triplets`,
`rests`), and all of it is laid out in bars (`layout`). Each step weighs all readings, so the score knows its doubts.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from companion.ear import Doubtful, PitchTrack, SungNote, find_notes_and_doubts
from companion.errors import NothingSung, Trouble
from companion.messages import _
from companion.transcribe.beat import has_no_beat
from companion.transcribe.count_in import CountIn, find_counts, without_counts
from companion.transcribe.folk_counts import TIMES
from companion.transcribe.metre import Chosen, choose, quarter_s
from companion.transcribe.notation import Estimate, Given, Notation, SoundDoubt, WrittenNote
from companion.transcribe.pitches import Pitches, find_pitches
from companion.transcribe.rests import rest_ticks
from companion.transcribe.rhythm import Evidence, likelihood, moves
from companion.transcribe.suitability import check_suitable, sound_doubt
from companion.transcribe.talk import talk_silenced
from companion.transcribe.triplets import triplets

#: A syllable is felt to begin between its consonant and its vowel (Morton, Marcus and Frankish 1976; from memory): of
#: the silence of a consonant, this part belongs to the note that it begins.
CONSONANT_SHARE = 0.5
BREATH_S = 0.13  # a silence before a note from here on is a breath; a stopped consonant takes less
LONGEST_S = 300.0  # what is longer than five minutes is no tune
FEWEST_NOTES = 3
MOST_DOUBTFUL = 16  # so many are weighed; a take with more is too rough for it
SHORTEST_PART_S = 0.07  # no note is parted so that one of the two is shorter
SAME_DIP_S = 0.06  # a note that begins so near a dip begins because of it


def notate(track: PitchTrack, title: str = "", given: Given | None = None) -> Notation:
    """Write down what is sung in a track. Raises NothingSung or Trouble where it cannot be.

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
    """What was given, with what the counts show: the tempo, and where the first bar begins. Six counts are quavers."""
    six = given.counted_in == 6 and given.time in (None, TIMES["6/8"])
    bpm = 60.0 / counts.beat_s / (3.0 if six else 1.0)
    return replace(given, bpm=given.bpm or bpm, time=TIMES["6/8"] if six else given.time, downbeat_s=counts.downbeat_s)


def usable_notes(track: PitchTrack) -> tuple[list[SungNote], list[Doubtful], SoundDoubt | None]:
    """The notes of a take, what may or may not be notes, and what is doubtful about its sound.

    Raises Trouble or NothingSung where it cannot be written down.
    """
    if track.duration_s > LONGEST_S:
        raise Trouble(_("This take lasts {minutes:.0f} minutes; a tune of up to five minutes can be written "
                        "down. Cut out the part that you want.").format(minutes=track.duration_s / 60))
    track = talk_silenced(track)
    notes, doubtful = find_notes_and_doubts(track)
    if not notes:
        raise NothingSung(_("Nothing sung was found in this take. Sing a little closer to the microphone, and once "
                            "more."))
    suitability = check_suitable(track, notes)
    if len(notes) < FEWEST_NOTES:
        raise NothingSung(
            _("Only 1 sung note could be found; a tune has at least three. Sing it once more, a little closer.")
            if len(notes) == 1 else
            _("Only 2 sung notes could be found; a tune has at least three. Sing it once more, a little closer."))
    return notes, doubtful, sound_doubt(suitability, notes)


def evidence_of(notes: Sequence[SungNote], midi: Sequence[int], tonic: int, fixed: Sequence[int] = ()) -> Evidence:
    """Onsets, degrees, moves and breaths of N notes, from their written pitches and the keynote (0 = C).

    fixed: ticks that a person has given, see `Evidence`.
    """
    onset = np.array([n.onset_s for n in notes] + [notes[-1].onset_s + notes[-1].duration_s])
    gap = np.array([0.0, *_silences(notes)])
    onset[:-1] -= CONSONANT_SHARE * np.where(gap > BREATH_S, 0.0, gap)
    return Evidence(onset, (np.array(midi) - tonic) % 12, moves(midi), gap > BREATH_S, tuple(fixed))


def _silences(notes: Sequence[SungNote]) -> list[float]:
    """Seconds between the end of each note and the onset of the next."""
    return [max(0.0, b.onset_s - a.onset_s - a.duration_s) for a, b in itertools.pairwise(notes)]


def write(notes: Sequence[SungNote], title: str, given: Given, sharpness: float = 1.0, fixed: Sequence[int] = ()) -> Notation:
    """Written notes from sung ones. sharpness: how many takes stand behind each onset. fixed: see `Evidence`."""
    tonic = mode = None
    if given.key is not None:
        mode = given.key.mode if given.key.mode in ("major", "minor") else None
        tonic = given.key.tonic.midi % 12
    pitches = find_pitches([n.midi for n in notes], [n.duration_s for n in notes], tonic, mode)
    midi = pitches.midi.tolist()
    evidence = evidence_of(notes, midi, pitches.tonic, fixed)
    chosen = choose(evidence, midi, given.time, given.bpm, given.beats_s, sharpness, given.downbeat_s, given.counted_in,
                    given.times, given.on_strong_beat)
    n = Notation(
        title=title, notes=tuple(_written(notes, evidence, chosen, pitches)),
        time_estimate=Estimate(chosen.reading.time, chosen.confidence, chosen.runner_up, chosen.runner_up_confidence),
        key_estimate=Estimate(pitches.key, pitches.confidence, pitches.runner_up, pitches.runner_up_confidence),
        place=int(chosen.reading.place[0]), given=given, style=chosen.reading.style,
        readings=chosen.readings)
    return replace(n, in_breaths=not any(fixed) and has_no_beat(n))


def _written(notes: Sequence[SungNote], e: Evidence, chosen: Chosen, p: Pitches) -> list[WrittenNote]:
    r = chosen.reading
    rests = rest_ticks(_silences(notes), r.ticks[:-1].tolist(), r.quarter_s[:-1].tolist(), r.time)
    threes = triplets(e, r)
    out = []
    for i, (rest, rest_confidence) in enumerate([*rests, (0, 1.0)]):
        ticks, value, pitch = int(r.ticks[i]), r.value_posterior[i], p.posterior[i]
        first, second = (int(x) for x in np.argsort(-value)[:2])
        breath = bool(i + 1 < len(notes) and e.phrase[i + 1])
        out.append(WrittenNote(
            int(p.midi[i]), ticks - rest, rest, breath=breath and rest == 0,
            triplet=0 if rest else next((i - t + 1 for t in threes if t <= i < t + 3), 0),
            sung=notes[i], tuning=float(p.tuning[i]), quarter_s=float(r.quarter_s[i]),
            value_confidence=float(value[ticks]) * rest_confidence, other_ticks=max(1, first if first != ticks else second),
            agreement=chosen.agreement[i], pitch_confidence=float(pitch[1]),
            other_midi=int(p.midi[i]) + (-1 if pitch[0] > pitch[2] else 1)))
    return out


def decide(n: Notation, doubtful: Sequence[Doubtful]) -> list[SungNote]:
    """The notes of a take, with what is doubtful decided by what the rhythm makes of it.

    A note is parted, or joined to the one before, where the onsets are then so much likelier in the time signature
    found that it outweighs how it sounds.
    """
    quarter = None if n.given.bpm is None else quarter_s(n.given.bpm, n.time)
    tonic = n.key.tonic.midi % 12
    notes, midi = list(n.sung), [note.midi for note in n.notes]

    def weigh(some: list[SungNote], pitches: list[int]) -> float:
        return likelihood(evidence_of(some, pitches, tonic), n.time, quarter, n.given.beats_s, n.style)

    now = weigh(notes, midi) if doubtful else 0.0
    for doubt in sorted(doubtful, key=lambda d: abs(d.odds))[:MOST_DOUBTFUL]:
        changed = parted(notes, midi, doubt) or joined(notes, midi, doubt)
        if changed is None:
            continue
        some, pitches, odds = changed
        then = weigh(some, pitches)
        if then - now + odds > 0:
            notes, midi, now = some, pitches, then
    return notes


Changed = tuple[list[SungNote], list[int], float]  # notes, their written pitches, odds (logarithm) by how it sounds


def parted(notes: list[SungNote], midi: list[int], doubt: Doubtful) -> Changed | None:
    """With the note in which something doubtful stands made two; None where it stands in none."""
    when = doubt.time_s
    i = next((i for i, x in enumerate(notes)
              if x.onset_s + SHORTEST_PART_S < when < x.onset_s + x.duration_s - SHORTEST_PART_S), None)
    if i is None:
        return None
    whole = notes[i]
    first = replace(whole, duration_s=when - whole.onset_s)
    second = doubt.piece or replace(whole, onset_s=when, duration_s=whole.onset_s + whole.duration_s - when)
    return ([*notes[:i], first, second, *notes[i + 1:]],
            [*midi[:i + 1], midi[i] + round(second.midi - whole.midi), *midi[i + 1:]], doubt.odds)


def joined(notes: list[SungNote], midi: list[int], doubt: Doubtful) -> Changed | None:
    """With the note that begins where something doubtful stands joined to the one before; None where none does."""
    i = next((i for i, x in enumerate(notes) if i and abs(x.onset_s - doubt.time_s) < SAME_DIP_S), None)
    if i is None or len(notes) <= FEWEST_NOTES or not (doubt.piece or midi[i] == midi[i - 1]):
        return None
    a, b = notes[i - 1], notes[i]
    whole = replace(a, duration_s=b.onset_s + b.duration_s - a.onset_s)
    return [*notes[:i - 1], whole, *notes[i + 1:]], [*midi[:i], *midi[i + 1:]], -doubt.odds
