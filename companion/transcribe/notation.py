"""A written-down take as data: its notes, its time signature and key, and how sure each of them is."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import Any, Generic, TypeVar

import numpy as np

from companion.ear import Doubtful, SungNote
from companion.transcribe.folk_counts import Style, ticks_of
from companion.transcribe.layout import ScoreNote, lay_out, lay_out_in_breaths, phrase_starts
from companion.transcribe.metre import Weighed
from companion.tune import ENGLISH, Key, Time, Tune

T = TypeVar("T")


class SoundDoubt(StrEnum):
    """What is doubtful about the sound of a take that is written down all the same."""

    ACCOMPANIED = "accompanied"  # more than one voice or instrument sounds
    UNCLEAR = "unclear"  # noise, or a second sound beside the voice
    IN_TURN = "in turn"  # two voices sing one after the other


@dataclass(frozen=True)
class Given:
    """What a person has given beforehand. bpm: beats a minute (in 6/8 the beat is a dotted crotchet).

    beats_s: times of tapped beats in the take. key: the key of the score. counted_in: how many counts stand before the
    tune; downbeat_s: when the bar after them begins, which is found in the take. times: those that an answer leaves;
    on_strong_beat: whether the first note begins a bar.
    """

    bpm: float | None = None
    time: Time | None = None
    beats_s: tuple[float, ...] = ()
    key: Key | None = None
    counted_in: int = 0
    downbeat_s: float | None = None
    times: tuple[Time, ...] = ()
    on_strong_beat: bool | None = None


@dataclass(frozen=True)
class Estimate(Generic[T]):
    """What was chosen and the second-best choice, with the probability of each, 0 to 1."""

    value: T
    confidence: float
    runner_up: T
    runner_up_confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenNote(ScoreNote):
    """A note of the score, with the sung one that it was made from.

    tuning: semitones by which the singer was above concert pitch. quarter_s: seconds a crotchet at this note.
    value_confidence, pitch_confidence: probabilities. agreement: of all readings that were weighed, the share by probability
    that give it this value, up to scale. other_ticks: the second-best length to the next note.
    other_midi: the second-best pitch. value_given, pitch_given: by a person, and kept whenever the take is read again.
    mark: which note it was when a line of corrections began.
    """

    sung: SungNote
    tuning: float
    quarter_s: float
    value_confidence: float
    other_ticks: int
    pitch_confidence: float
    other_midi: int
    value_given: bool = False
    pitch_given: bool = False
    mark: int = -1
    agreement: float = 1.0

    @property
    def confidence(self) -> float:
        """Probability that both value and pitch are right, as if one did not depend on the other."""
        return self.value_confidence * self.pitch_confidence


@dataclass(frozen=True)
class Notation:
    """A take written down. place: ticks of the first note after its bar line; not 0 makes a pickup.

    doubtful: what may or may not be notes of their own. style: whose counts it was read with. readings: all that were
    weighed. repeats: first and last bar
    of each part that is sung twice. place_given: the first note's place was given. bpm: beats a minute as a person gave them.
    language: of its words, by its code. in_breaths: no steady beat was found, and each breath is a bar.
    """

    title: str
    notes: tuple[WrittenNote, ...]
    time_estimate: Estimate[Time]
    key_estimate: Estimate[Key]
    place: int
    given: Given = Given()
    sound: SoundDoubt | None = None
    doubtful: tuple[Doubtful, ...] = ()
    style: Style = Style.SONG
    readings: tuple[Weighed, ...] = ()
    repeats: tuple[tuple[int, int], ...] = ()
    place_given: bool = False
    bpm: float | None = None
    language: str = ENGLISH
    in_breaths: bool = False

    @property
    def time(self) -> Time:
        return self.time_estimate.value

    @property
    def key(self) -> Key:
        return self.key_estimate.value

    @property
    def sung(self) -> tuple[SungNote, ...]:
        """The notes as sung, seconds and MIDI numbers with fractions."""
        return tuple(n.sung for n in self.notes)

    @property
    def bar_ticks(self) -> int:
        return ticks_of(self.time.quarters)

    @property
    def quarter_bpm(self) -> float:
        """Crotchets a minute, over the whole take (the geometric mean), or as given."""
        if self.bpm is not None:
            return round(self.bpm * float(self.time.beat), 1)
        return round(60.0 / float(np.exp(np.mean(np.log([n.quarter_s for n in self.notes])))), 1)

    @property
    def beat_bpm(self) -> float:
        """Beats a minute: dotted crotchets in compound time."""
        return self.quarter_bpm / float(self.time.beat)

    @cached_property
    def tune(self) -> Tune:
        """The score, laid out in bars."""
        if self.in_breaths:
            return lay_out_in_breaths(self.notes, self.key, self.title, self.quarter_bpm)
        return lay_out(self.notes, self.time, self.place, self.key, title=self.title, quarter_bpm=self.quarter_bpm,
                       repeats=self.repeats)

    @property
    def bars(self) -> tuple[int, ...]:
        """The printed number of the bar in which each note begins."""
        if self.in_breaths:
            starts = phrase_starts(self.notes)
            return tuple(sum(start <= i for start in starts) for i in range(1, len(self.notes) + 1))
        out, at = [], self.place
        first = 0 if self.place else 1
        for note in self.notes:
            out.append(at // self.bar_ticks + first)
            at += note.length
        return tuple(out)

    @property
    def positions(self) -> tuple[tuple[int, int], ...]:
        """Bar number, and which note of those that begin in it (from 1), for each note."""
        bars = self.bars
        return tuple((bar, i - bars.index(bar) + 1) for i, bar in enumerate(bars))


def as_json(n: Notation) -> dict[str, Any]:
    """Facts that programs may rely on: notes as `companion read` gives them, and key, time, quarter_bpm."""
    tune = n.tune
    line = tune.line()
    notes: list[dict[str, Any]] = []
    held = False
    for b, _, note in tune.written():
        length = tune.time.quarters if note.whole_bar else note.quarters
        if held and note.pitch is not None and notes:
            notes[-1]["quarters"] += float(length)
        else:
            notes.append({"midi": note.pitch.midi if note.pitch else None, "quarters": float(length),
                          "bar": tune.bars[b].number})
        held = note.tie
    return {"notes": notes, "key": n.key.name, "time": tune.time.name, "quarter_bpm": n.quarter_bpm,
            "key_sure": round(n.key_estimate.confidence, 3), "key_runner_up": n.key_estimate.runner_up.name,
            "time_sure": round(n.time_estimate.confidence, 3), "time_runner_up": n.time_estimate.runner_up.name,
            "pickup_quarters": float(tune.pickup),
            "phrases": [line[0].number, *(b.number for a, b in pairwise(line) if a.phrase != b.phrase)]}
