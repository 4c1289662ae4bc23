"""What a score is unsure of, bar by bar, with the second-best reading. How it is said: `companion.language.scores`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from companion.transcribe.beat import off_length, rarities
from companion.transcribe.folk_counts import TIMES
from companion.transcribe.notation import Notation, SoundDoubt, WrittenNote
from companion.transcribe.rhythm import BEAT_S, BEAT_SPREAD
from companion.tune import Key, Pitch, Time, spell

#: Odds (logarithm) that a note is written wrongly (values up to scale): a constant, then so much for each feature of it, in
#: the order of `note_features`. A logistic regression on synthesised singers (`tests/benchmarks/notate_collections.py --fit`).
#: A bar is unsure where the probability that any of its notes is wrong is UNSURE_FROM or more.
ODDS = (3.244, 0.347, 0.762, 2.716, -0.03, 0.535, 0.015, 0.005, -0.133, 2.359, -1.719, 0.365)
UNSURE_FROM = 0.135
NEAR_S, SHORT_S = 0.05, 0.12
SAID_FROM = 0.5  # in an unsure bar the likeliest to be wrong is said, and those at least so likely beside it
MORE_WRONG = 0.5
ALL_BUT_SURE = 0.01  # surer than this of the metre or a pitch makes no value surer
ODD_PACE = 1.2  # spreads of the usual pulse: a beat farther off may be half of one, or two
WHOLE_UNSURE = 0.85  # a key or time signature less sure than this is doubtful
BAR_LINES_UNSURE = 0.2  # probability of another place of the first note from which it is said
SURE_ENOUGH = 0.95  # a value or pitch surer than this is not what makes a note doubtful


class DoubtKind(StrEnum):
    """What may be otherwise: of the whole score first, then of one note."""

    ACCOMPANIED = "accompanied"  # see SoundDoubt
    UNCLEAR = "unclear"
    IN_TURN = "in turn"
    NO_BEAT = "no beat"  # no steady beat was found, and each breath is a bar
    SLOW = "slow"  # all values may be twice as long
    QUICK = "quick"  # all values may be half as long
    TIME = "time"  # `time` may be `other_time`
    DUPLE = "duple"  # two-four or four-four, which sound the same: `time` or `other_time`
    BEGINS_BAR = "begins bar"  # all bar lines may stand elsewhere: the first note may begin a bar
    PICKUP = "pickup"  # the same: the tune may begin with a pickup of `other_ticks`
    KEY = "key"  # `key` may be `other_key`
    PITCH = "pitch"  # `pitch` may be `other_pitch`
    HELD = "held"  # `ticks` and a rest may be `other_ticks` held
    PART_REST = "part rest"  # part of `ticks` may be a rest
    VALUE = "value"  # `ticks` may be `other_ticks`
    FAINT = "faint"  # faint or very short: there may be no such note


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One thing that may be otherwise. bar, note: where (0, 0: the whole score; notes of a bar from 1).

    wrong: probability that what stands is wrong. The other fields are set where `kind` names them; pitch and ticks
    stand with every doubt of a note.
    """

    kind: DoubtKind
    wrong: float
    bar: int = 0
    note: int = 0
    pitch: Pitch | None = None
    ticks: int = 0
    other_pitch: Pitch | None = None
    other_ticks: int = 0
    time: Time | None = None
    other_time: Time | None = None
    key: Key | None = None
    other_key: Key | None = None


def _logit(p: float, edge: float = 1e-4) -> float:
    p = min(max(p, edge), 1 - edge)
    return float(np.log(p / (1 - p)))


def note_features(n: Notation, i: int) -> list[float]:
    """What speaks for note i being written wrongly, as numbers in the order of ODDS.

    One; how unsure its value and its pitch are; the likeliest dip in it or beside it that could part notes; whether it or its
    length before is very short; how many other readings disagree, and how unsure the values beside it are; how unsure the time
    signature is; how far the pulse lies from the usual; how far its length lies from its value; whether it is no note of the
    key; how rare its value is at its place of the bar. How much its pitch wavers is left out: it tells much of synthesised
    singers and nothing of real ones, who all waver.
    """
    note, sung, before = n.notes[i], n.notes[i].sung, n.notes[i - 1].sung if i else None
    end_s = sung.onset_s + sung.duration_s
    gap_s = sung.onset_s - before.onset_s if before else 1.0
    dip = max((float(np.exp(-abs(d.odds))) for d in n.doubtful if sung.onset_s - NEAR_S < d.time_s < end_s + NEAR_S),
              default=0.0)
    beside = [_logit(n.notes[k].value_confidence) for k in (i - 1, i + 1) if 0 <= k < len(n.notes)]
    pitch = note.pitch(n.key)
    return [1.0, -_logit(note.value_confidence), -_logit(note.pitch_confidence, ALL_BUT_SURE), dip,
            float(sung.duration_s < SHORT_S or gap_s < SHORT_S), -_logit(note.agreement, ALL_BUT_SURE), -min(beside),
            -_logit(n.time_estimate.confidence, ALL_BUT_SURE), abs(_pace(n)), off_length(n, i),
            float(pitch.alter != n.key.alter(pitch.step)), rarities(n)[i]]


def _pace(n: Notation) -> float:
    """How far the beat lies from the usual pulse, in spreads of its logarithm, above 0 if slower; 0 where it was given."""
    if n.given.bpm is not None or n.given.beats_s:
        return 0.0
    return float(np.log(60.0 / n.quarter_bpm * float(n.time.beat) / BEAT_S)) / BEAT_SPREAD


def wrong_chances(n: Notation) -> list[float]:
    """Probability that each note is written wrongly, values up to scale. What a person has given is right.

    A note whose own reading is likelier wrong than right is unsure, however clean all else about it is.
    """
    table = np.array([note_features(n, i) for i in range(len(n.notes))])
    chances = 1.0 / (1.0 + np.exp(-table @ np.array(ODDS)))
    return [0.0 if note.value_given and note.pitch_given else
            max(float(x), 1 - note.confidence) if note.confidence < MORE_WRONG else float(x)
            for x, note in zip(chances, n.notes, strict=True)]


def bar_chances(n: Notation) -> dict[int, float]:
    """Probability that any note of a bar is written wrongly, by its printed number."""
    right: dict[int, float] = {}
    for bar, wrong in zip(n.bars, wrong_chances(n), strict=True):
        right[bar] = right.get(bar, 1.0) * (1.0 - wrong)
    return {bar: 1.0 - p for bar, p in right.items()}


def unsure_bars(n: Notation) -> list[int]:
    """The printed numbers of the bars that are unsure."""
    return sorted(bar for bar, wrong in bar_chances(n).items() if wrong >= UNSURE_FROM)


def _note_doubt(n: Notation, note: WrittenNote, wrong: float, bar: int, place: int) -> Doubt:
    other_pitch, other_ticks = None, 0
    if note.pitch_confidence < note.value_confidence and note.pitch_confidence < SURE_ENOUGH:
        kind, other_pitch = DoubtKind.PITCH, spell(note.other_midi, n.key)
    elif note.value_confidence >= SURE_ENOUGH:
        kind = DoubtKind.FAINT
    else:
        other_ticks = note.other_ticks
        kind = (DoubtKind.HELD if note.rest and other_ticks == note.length else
                DoubtKind.PART_REST if other_ticks == note.ticks else DoubtKind.VALUE)
    return Doubt(kind=kind, wrong=round(wrong, 3), bar=bar, note=place, pitch=spell(note.midi, n.key), ticks=note.ticks,
                 other_pitch=other_pitch, other_ticks=other_ticks)


def _bar_lines(n: Notation) -> list[Doubt]:
    """Whether the bar lines may stand elsewhere: another place of the first note, in the time signature that is written."""
    same = [w for w in n.readings if w.time == n.time]
    others = [w for w in same if w.place != n.place]
    if n.place_given or n.in_breaths or not others:
        return []
    wrong = sum(w.weight for w in others) / sum(w.weight for w in same)
    if wrong < BAR_LINES_UNSURE:
        return []
    place = max(others, key=lambda w: w.weight).place
    return [Doubt(kind=DoubtKind.PICKUP if place else DoubtKind.BEGINS_BAR, wrong=round(wrong, 3),
                  other_ticks=n.bar_ticks - place if place else 0)]


def doubts_of(n: Notation) -> list[Doubt]:
    """All doubts: of the whole score first, then of its notes in order."""
    out: list[Doubt] = []
    if n.sound:
        out.append(Doubt(kind=_SOUND[n.sound], wrong=0.5))
    time, key, pace = n.time_estimate, n.key_estimate, _pace(n)
    if n.in_breaths:
        out.append(Doubt(kind=DoubtKind.NO_BEAT, wrong=0.5))
    elif abs(pace) > ODD_PACE:
        out.append(Doubt(kind=DoubtKind.SLOW if pace > 0 else DoubtKind.QUICK, wrong=0.5))
    if not n.in_breaths and time.confidence < WHOLE_UNSURE and time.runner_up != time.value:
        kind = DoubtKind.DUPLE if {time.value, time.runner_up} == _DUPLE else DoubtKind.TIME
        out.append(Doubt(kind=kind, wrong=round(1 - time.confidence, 3), time=time.value, other_time=time.runner_up))
    out += _bar_lines(n)
    if key.confidence < WHOLE_UNSURE and key.runner_up != key.value:
        out.append(Doubt(kind=DoubtKind.KEY, wrong=round(1 - key.confidence, 3), key=key.value, other_key=key.runner_up))
    chances, unsure, bars = wrong_chances(n), set(unsure_bars(n)), n.bars
    worst = {bar: max(p for p, b in zip(chances, bars, strict=True) if b == bar) for bar in unsure}
    return out + [_note_doubt(n, note, wrong, bar, place)
                  for note, wrong, (bar, place) in zip(n.notes, chances, n.positions, strict=True)
                  if bar in unsure and wrong >= SAID_FROM * worst[bar]]


_DUPLE = {TIMES["2/4"], TIMES["4/4"]}
_SOUND = {SoundDoubt.ACCOMPANIED: DoubtKind.ACCOMPANIED, SoundDoubt.UNCLEAR: DoubtKind.UNCLEAR,
          SoundDoubt.IN_TURN: DoubtKind.IN_TURN}
