"""What a score is unsure of, in words, bar by bar, with the second-best reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from companion.language.cues import number, ordinal
from companion.transcribe.layout import signs
from companion.transcribe.rhythm import BEAT_S, BEAT_SPREAD, METRES
from companion.tune import VALUES, Key, Pitch, spell

if TYPE_CHECKING:
    from companion.transcribe.score import Notation

#: Odds (logarithm) that a note is written wrongly: a constant, then so much for each doubt of it. A logistic
#: regression on synthesised singers; a bar is unsure from SAY_UNSURE on.
ODDS = (0.73, 0.43, 0.52, 1.58, 1.4, 0.31, 1.88)
SAY_UNSURE = 0.06
NEAR_S, SHORT_S = 0.05, 0.12
ALL_BUT_SURE = 0.01  # surer than this of the metre or a pitch makes no value surer
USUAL_PACE = 0.45  # the mean of takes that are right
ODD_PACE = 1.2  # spreads of the usual pulse: a beat farther off may be half of one, or two
WHOLE_UNSURE = 0.85  # a key or metre less sure than this is said to be unsure
MOST_SAID = 12  # more doubts than this are too many to be heard; the surest of them are left out


@dataclass(frozen=True)
class Doubt:
    """One thing that may be otherwise. bar, note: where (0, 0: the whole score; notes of a bar from 1).

    wrong: how probable it is that what stands is wrong. say: in words. other: the second-best reading, in words.
    """

    bar: int
    note: int
    wrong: float
    say: str
    other: str


def _logit(p: float, edge: float = 1e-4) -> float:
    p = min(max(p, edge), 1 - edge)
    return float(np.log(p / (1 - p)))


def note_features(n: Notation, i: int) -> list[float]:
    """What speaks for note i being written wrongly, as numbers in the order of ODDS."""
    sung, before = n.sung[i], n.sung[i - 1] if i else None
    end = sung.onset_s + sung.duration_s
    gap = sung.onset_s - before.onset_s if before else 1.0
    dip = max((float(np.exp(-abs(d.odds))) for d in n.doubtful if sung.onset_s - NEAR_S < d.time_s < end + NEAR_S),
              default=0.0)
    return [1.0, -_logit(n.sure_value[i]), -_logit(n.sure_pitch[i], ALL_BUT_SURE), dip,
            float(sung.duration_s < SHORT_S or gap < SHORT_S), -_logit(n.metre_sure, ALL_BUT_SURE), abs(_pace(n))]


def _pace(n: Notation) -> float:
    """How far the beat lies from the usual pulse, in spreads of its logarithm, above 0 if slower; 0 where it was given."""
    if n.given.bpm is not None or n.given.beats_s:
        return 0.0
    beat_s = 60.0 / n.quarter_bpm * (1.5 if METRES[n.metre][1] == 8 else 1.0)
    return float(np.log(beat_s / BEAT_S)) / BEAT_SPREAD


def wrong_chances(n: Notation, pace: bool = True) -> list[float]:
    """How probable it is that each note is written wrongly, 0 to 1. pace: with what an odd pace makes doubtful."""
    table = np.array([note_features(n, i) for i in range(len(n.events))])
    if not pace:
        table[:, -1] = np.minimum(table[:, -1], USUAL_PACE)
    return [float(x) for x in 1.0 / (1.0 + np.exp(-table @ np.array(ODDS)))]


def value_words(ticks: int, american: bool = False) -> str:
    """ "a dotted crotchet", "a minim tied to a quaver", for a length in ticks that begins on a beat."""
    words = []
    for base, dots in signs(0, min(ticks, 16), "4/4"):
        words.append(("dotted " if dots else "") + VALUES[base][1 if american else 0])
    if ticks > 16:
        words.append(value_words(ticks - 16, american).removeprefix("a ").removeprefix("an "))
    first = words[0]
    article = "an" if first[0] in "aeiou" else "a"
    return f"{article} {' tied to a '.join(words)}"


def pitch_words(pitch: Pitch) -> str:
    """ "F sharp"."""
    return pitch.step + {0: "", 1: " sharp", -1: " flat", 2: " double sharp", -2: " double flat"}[pitch.alter]


def metre_words(metre: str) -> str:
    """How many beats a bar has, as it is said: "three beats to the bar"."""
    upper, lower = METRES[metre]
    beats = upper
    return f"{number(beats)} {'quavers' if lower == 8 else 'beats'} to the bar"


def unsure_bars(n: Notation) -> list[int]:
    """The printed numbers of the bars that hold a note that is unsure."""
    from companion.transcribe.score import bars_of

    return sorted({bar for bar, wrong in zip(bars_of(n), wrong_chances(n), strict=True) if wrong >= SAY_UNSURE})


def note_doubts(n: Notation, american: bool = False) -> list[Doubt]:
    """The doubts about single notes, in the order of the score."""
    from companion.transcribe.score import bars_of

    out, bars, place, last = [], bars_of(n), 0, None
    wrong = wrong_chances(n, pace=False)
    for i, event in enumerate(n.events):
        place = place + 1 if bars[i] == last else 1
        last = bars[i]
        if wrong[i] < SAY_UNSURE:
            continue
        where = f"Bar {bars[i]}, {ordinal(place)} note"
        here, length = pitch_words(spell(event.midi, n.key)), value_words(event.ticks, american)
        if n.sure_pitch[i] < n.sure_value[i] and n.sure_pitch[i] < 0.95:
            other = pitch_words(spell(n.other_pitch[i], n.key))
            say = f"{where}: {here}, but it may be {other}."
        elif n.sure_value[i] < 0.95:
            whole = n.other_value[i]
            other = value_words(whole, american)
            if other == value_words(event.ticks + event.rest, american) and event.rest:
                other = value_words(event.ticks + event.rest, american)
                say = f"{where}: {length} and a rest, but it may be {other} held."
            elif other == length:
                say = f"{where}: {length}, but part of it may be a rest."
            else:
                say = f"{where}: {length}, but it may be {other}."
        else:
            other = "no note"
            say = f"{where}: {here}, {length}, was faint or very short; listen whether it belongs there."
        out.append(Doubt(bars[i], place, round(wrong[i], 3), say, other))
    return out


def doubts(n: Notation, american: bool = False) -> list[Doubt]:
    """All doubts: of the whole score first, then bar by bar."""
    out: list[Doubt] = []
    if n.sound:
        out.append(Doubt(0, 0, 0.5, n.sound, ""))
    if n.metre_sure < WHOLE_UNSURE and n.metre_other != n.metre:
        out.append(Doubt(0, 0, round(1 - n.metre_sure, 3),
                         f"Written with {metre_words(n.metre)}, but it may have {metre_words(n.metre_other)}.",
                         n.metre_other))
    if abs(_pace(n)) > ODD_PACE:
        slow = _pace(n) > 0
        out.append(Doubt(0, 0, 0.5, f"The beat came out {'slow' if slow else 'quick'}; all values may be "
                         f"{'twice' if slow else 'half'} as long.", ""))
    if n.key_sure < WHOLE_UNSURE and n.key_other != n.key:
        out.append(Doubt(0, 0, round(1 - n.key_sure, 3),
                         f"Written in {n.key.name}, but it may be in {_key(n.key_other)}.", n.key_other.name))
    return out + note_doubts(n, american)


def _key(key: Key) -> str:
    return key.name


def doubt_lines(n: Notation, american: bool = False) -> list[str]:
    """The doubts as plain lines, not more than can be listened to; the least sure are kept."""
    found = doubts(n, american)
    if not found:
        return ["Nothing in it is unsure."]
    kept: Sequence[Doubt] = found
    if len(found) > MOST_SAID:
        worst = sorted(found, key=lambda d: -d.wrong)[:MOST_SAID]
        kept = [d for d in found if d in worst]
    lines = [d.say for d in kept]
    if len(found) > len(kept):
        lines.append(f"{len(found) - len(kept)} more are a little unsure.")
    return lines
