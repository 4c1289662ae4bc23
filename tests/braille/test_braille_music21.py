"""Made-up bars against music21.braille, cell by cell: octave marks, accidentals, values, groups, ties, signatures."""

from __future__ import annotations

import copy
import random
from collections import Counter
from fractions import Fraction
from typing import Any

import pytest
from braille.corpus import align, cause, music21_groups, our_groups

from companion.braille import decode, encode
from companion.tune import from_music21

#: Time signatures with the parts that their bars are made of: lists of lengths that fill a beat, or two.
SIMPLE = ([1], [0.5, 0.5], [0.75, 0.25], [0.25] * 4, [0.25, 0.25, 0.5], [0.5, 0.25, 0.25], [2], [1.5, 0.5], [1.5, 0.25, 0.25],
          [0.125] * 8, [0.125, 0.125, 0.25, 0.5], [1, 1])
COMPOUND = ([1.5], [0.5] * 3, [1, 0.5], [0.5, 1], [0.75, 0.25, 0.5], [0.25] * 6, [0.5, 0.25, 0.25, 0.5], [0.25, 0.25, 0.5, 0.5])
TIMES = {"4/4": SIMPLE, "3/4": SIMPLE, "2/4": SIMPLE, "6/8": COMPOUND, "9/8": COMPOUND, "2/2": SIMPLE}


def part(seed: int, bars: int = 8) -> Any:
    """A music21 part of whole bars: notes and rests near each other and far, in a key, some with accidentals and ties."""
    from music21 import key, meter, note, stream, tie

    rng = random.Random(seed)
    name = rng.choice(list(TIMES))
    signature, here = meter.TimeSignature(name), key.KeySignature(rng.randrange(-6, 7))
    full = Fraction(signature.barDuration.quarterLength)
    made = stream.Part()
    before: Any = None
    place = 31
    for number in range(1, bars + 1):
        measure = stream.Measure(number=number)
        if number == 1:
            measure.append([here, signature])
        left = full
        while left:
            for length in rng.choice([p for p in TIMES[name] if sum(map(Fraction, p)) <= left]):
                left -= Fraction(length)
                if rng.random() < 0.06:
                    measure.append(note.Rest(quarterLength=length))
                    before = None
                    continue
                if before is not None and rng.random() < 0.08:
                    before.tie = tie.Tie("start")
                    one = note.Note(copy.deepcopy(before.pitch), quarterLength=length)
                    one.tie = tie.Tie("stop")
                else:
                    place = min(44, max(22, place + rng.choice((-7, -5, -4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4, 5, 8))))
                    one = note.Note("CDEFGAB"[place % 7] + str(place // 7), quarterLength=length)
                    sign = here.accidentalByStep(one.step)
                    if sign is not None:
                        one.pitch.accidental = sign
                    if rng.random() < 0.12:
                        one.pitch.accidental = rng.choice((-1, 0, 1))
                measure.append(one)
                before = one if one.tie is None else None
        made.append(measure)
    for measure in made.getElementsByClass(stream.Measure):
        measure.makeAccidentals(inPlace=True, overrideStatus=True, useKeySignature=here, cautionaryPitchClass=False,
                                cautionaryNotImmediateRepeat=False)
    return made


#: Differences in which the code is with ours, by `corpus.cause`: its paragraph (from memory; `test_braille_decided` checks each
#: on forty bars, both ways of writing read back).
OURS_BY_THE_CODE = {
    "bars of rest are written together": "De Garmo, chapter 5: up to three signs without a space, more with their number",
    "a short bar of rest keeps its value": "De Garmo, chapter 5: the bar rest is for whole bars",
    "a reminder accidental that the bar does not need": "MBC 2015, section 6: accidentals as print has them, here none",
    "an accidental that holds in another octave alone": "MBC 2015, section 6: it holds for its bar in its octave alone",
    "value signs where the bar does not settle the values": "MBC 2015, 2.4: they stand where the bar leaves its values open",
}
#: Left to the transcriber: notes smaller than a quaver as quavers after the first of a beat (De Garmo, chapter 15).
LEFT_OPEN = "grouping: only whole beats, counted from the bar line"


@pytest.mark.parametrize("seeds", [range(16), pytest.param(range(16, 40), marks=pytest.mark.slow),
                                   pytest.param(range(40, 400), marks=pytest.mark.overnight)])
def test_made_bars_equal_music21(seeds: range) -> None:
    """Every bar that differs does so for a reason with a name; at most one in ten does for a reason that the code leaves open,
    where neither is wrong."""
    bars = 0
    causes: Counter[str] = Counter()
    for seed in seeds:
        made = part(seed)
        tune = from_music21(made)
        back = decode(encode(tune, width=40).lines)
        assert back.problems == (), seed
        assert [[n.pitch for n in b.notes] for b in back.tune.bars] == [[n.pitch for n in b.notes] for b in tune.bars], seed
        for ours, theirs in align(our_groups(tune), music21_groups(made)):
            bars += 1
            if ours != theirs:
                causes[cause(tune, ours, theirs)] += 1
    assert bars >= 7 * len(seeds)
    assert set(causes) <= {*OURS_BY_THE_CODE, LEFT_OPEN}, causes
    assert causes[LEFT_OPEN] <= bars / 10, causes
