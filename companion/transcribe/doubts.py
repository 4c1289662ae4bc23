"""What a score is unsure of, bar by bar, with the second-best reading. How it is said: `companion.language.scores`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from companion.transcribe.folk_counts import TIMES
from companion.transcribe.notation import Notation, SoundDoubt, WrittenNote
from companion.transcribe.rhythm import BEAT_S, BEAT_SPREAD
from companion.tune import Key, Pitch, Time, spell

#: Odds (logarithm) that a note is written wrongly: a constant, then so much for each feature of it. A logistic
#: regression on synthesised singers; a bar is unsure from UNSURE_FROM on.
ODDS = (0.73, 0.43, 0.52, 1.58, 1.4, 0.31, 1.88)
UNSURE_FROM = 0.06
NEAR_S, SHORT_S = 0.05, 0.12
ALL_BUT_SURE = 0.01  # surer than this of the metre or a pitch makes no value surer
USUAL_PACE = 0.45  # the mean of takes that are right
ODD_PACE = 1.2  # spreads of the usual pulse: a beat farther off may be half of one, or two
WHOLE_UNSURE = 0.85  # a key or time signature less sure than this is doubtful
BAR_LINES_UNSURE = 0.2  # probability of another place of the first note from which it is said
SURE_ENOUGH = 0.95  # a value or pitch surer than this is not what makes a note doubtful


class DoubtKind(StrEnum):
    """What may be otherwise: of the whole score first, then of one note."""

    ACCOMPANIED = "accompanied"  # see SoundDoubt
    UNCLEAR = "unclear"
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
    """What speaks for note i being written wrongly, as numbers in the order of ODDS."""
    note, sung, before = n.notes[i], n.notes[i].sung, n.notes[i - 1].sung if i else None
    end_s = sung.onset_s + sung.duration_s
    gap_s = sung.onset_s - before.onset_s if before else 1.0
    dip = max((float(np.exp(-abs(d.odds))) for d in n.doubtful if sung.onset_s - NEAR_S < d.time_s < end_s + NEAR_S),
              default=0.0)
    return [1.0, -_logit(note.value_confidence), -_logit(note.pitch_confidence, ALL_BUT_SURE), dip,
            float(sung.duration_s < SHORT_S or gap_s < SHORT_S), -_logit(n.time_estimate.confidence, ALL_BUT_SURE),
            abs(_pace(n))]


def _pace(n: Notation) -> float:
    """How far the beat lies from the usual pulse, in spreads of its logarithm, above 0 if slower; 0 where it was given."""
    if n.given.bpm is not None or n.given.beats_s:
        return 0.0
    return float(np.log(60.0 / n.quarter_bpm * float(n.time.beat) / BEAT_S)) / BEAT_SPREAD


def wrong_chances(n: Notation, pace: bool = True) -> list[float]:
    """Probability that each note is written wrongly. pace: with what an odd pace makes doubtful."""
    table = np.array([note_features(n, i) for i in range(len(n.notes))])
    if not pace:
        table[:, -1] = np.minimum(table[:, -1], USUAL_PACE)
    return [float(x) for x in 1.0 / (1.0 + np.exp(-table @ np.array(ODDS)))]


def unsure_bars(n: Notation) -> list[int]:
    """The printed numbers of the bars with a note that is unsure."""
    return sorted({bar for bar, wrong in zip(n.bars, wrong_chances(n), strict=True) if wrong >= UNSURE_FROM})


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
    if n.place_given or not others:
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
    if abs(pace) > ODD_PACE:
        out.append(Doubt(kind=DoubtKind.SLOW if pace > 0 else DoubtKind.QUICK, wrong=0.5))
    if time.confidence < WHOLE_UNSURE and time.runner_up != time.value:
        kind = DoubtKind.DUPLE if {time.value, time.runner_up} == _DUPLE else DoubtKind.TIME
        out.append(Doubt(kind=kind, wrong=round(1 - time.confidence, 3), time=time.value, other_time=time.runner_up))
    out += _bar_lines(n)
    if key.confidence < WHOLE_UNSURE and key.runner_up != key.value:
        out.append(Doubt(kind=DoubtKind.KEY, wrong=round(1 - key.confidence, 3), key=key.value, other_key=key.runner_up))
    chances = wrong_chances(n, pace=False)
    return out + [_note_doubt(n, note, wrong, bar, place)
                  for note, wrong, (bar, place) in zip(n.notes, chances, n.positions, strict=True) if wrong >= UNSURE_FROM]


_DUPLE = {TIMES["2/4"], TIMES["4/4"]}
_SOUND = {SoundDoubt.ACCOMPANIED: DoubtKind.ACCOMPANIED, SoundDoubt.UNCLEAR: DoubtKind.UNCLEAR}
