"""Fitting a tune to a voice: moved to where it is comfortable, in a key with few signs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from companion.errors import Trouble
from companion.messages import _
from companion.tune.chords import ChordNote, ChordSymbol
from companion.tune.model import STEP_SEMITONES, STEPS, Bar, Key, LineNote, Pitch
from companion.tune.tune import Tune


@dataclass(frozen=True, slots=True)
class Fit:
    """A tune moved to a voice. `semitones`: by how much; `start`: the starting note; `fits`: all of it does."""

    tune: Tune
    semitones: int
    key: Key
    start: Pitch
    fits: bool


def reach(line: Sequence[LineNote]) -> tuple[int, int]:
    """Lowest and highest MIDI number of a line. Raises ValueError if it is empty."""
    return min(n.midi for n in line), max(n.midi for n in line)


def fit(tune: Tune, low: float, high: float, written: bool = True) -> Fit:
    """Move a tune into a comfortable range from `low` to `high` (MIDI numbers, both inside).

    Where `written` and the tune lies in the range as it stands, it stays. Else it is moved so that it lies
    near the range's middle, of such places the one with fewest signs in its key. A tune with more reach
    than the range is moved so that what is too much hangs over evenly, and `fits` is False.
    """
    if high <= low:
        raise Trouble(_("The range from {low} to {high} is empty; give the lowest and then the highest note.").format(
                            low=low, high=high))
    lowest, highest = reach(tune.line())
    fits = highest - lowest <= high - low
    if written and low <= lowest and highest <= high:
        return Fit(tune, 0, tune.key, tune.line()[0].pitch, True)
    middle = (low + high) / 2 - (lowest + highest) / 2
    choices = [s for s in range(-60, 61) if low <= lowest + s and highest + s <= high] if fits else []
    choices = choices or [round(middle)]

    def cost(semitones: int) -> tuple[float, float]:
        # A sign more in the key weighs as a semitone and a half away from the middle.
        return 1.5 * abs(transposed_key(tune.key, semitones).fifths) + abs(semitones - middle), abs(semitones)

    best = min(choices, key=cost)
    moved = transpose(tune, best)
    return Fit(moved, best, moved.key, moved.line()[0].pitch, fits)


def transposed_key(key: Key, semitones: int) -> Key:
    """The key so many semitones away, of two that sound the same the one with fewer signs (flats if equal)."""
    around = (key.fifths + 7 * semitones) % 12
    fifths = around if around < 6 else around - 12
    return replace(key, fifths=fifths)


def transpose(tune: Tune, semitones: int) -> Tune:
    """The tune so many semitones higher (lower if negative), spelled as the new key asks."""
    if semitones == 0:
        return tune
    key = tune.key
    bars = []
    for bar in tune.bars:
        key = bar.key or key
        new = transposed_key(key, semitones)
        bars.append(_transpose_bar(bar, key, new, semitones))
    if bars and not any(b.key for b in bars):
        bars[0] = replace(bars[0], key=transposed_key(Key(), semitones))
    return replace(tune, bars=tuple(bars))


def _transpose_bar(bar: Bar, old: Key, new: Key, semitones: int) -> Bar:
    notes = tuple(replace(n, pitch=n.pitch and _transpose_pitch(n.pitch, old, new, semitones),
                          chords=tuple(_transpose_chord(chord, old, new, semitones) for chord in n.chords))
                  if n.pitch or n.chords else n for n in bar.notes)
    return replace(bar, notes=notes, key=new if bar.key else None)


def _transpose_chord(chord: ChordSymbol, old: Key, new: Key, semitones: int) -> ChordSymbol:
    def moved(note: ChordNote) -> ChordNote:
        pitch = _transpose_pitch(Pitch(note.step, 4, note.alter), old, new, semitones)
        return ChordNote(pitch.step, pitch.alter)

    root = moved(chord.root)
    text = root.name + chord.text.removeprefix(chord.root.name) if chord.text else ""
    return replace(chord, root=root, bass=chord.bass and moved(chord.bass), text=text)


def _transpose_pitch(pitch: Pitch, old: Key, new: Key, semitones: int) -> Pitch:
    """Letters move as the keynote's letter does, so that a raised seventh stays a raised seventh."""
    # By the major keynote of as many signs: which mode it is makes no difference to how far its letter moves.
    steps = (Key(new.fifths).tonic.diatonic - Key(old.fifths).tonic.diatonic) % 7
    target = pitch.midi + semitones
    place = STEPS.index(pitch.step) + steps
    step = STEPS[place % 7]
    alter = (target - STEP_SEMITONES[step] + 6) % 12 - 6
    if abs(alter) > 2:  # farther than a double sign: take the plain spelling of the new key
        return spell(target, new)
    octave = (target - STEP_SEMITONES[step] - alter) // 12 - 1
    return Pitch(step, octave, alter)


#: Where in the row of fifths (F = -1, C = 0 ...) a pitch class may lie, seen from the key: two flats' worth
#: below its scale to five sharps' above covers the raised fourth, fifth and seventh and the lowered third.
_LOWEST_FIFTH = -3


def spell(midi: int, key: Key) -> Pitch:
    """A MIDI number as it is spelled in a key (the harmonic spelling: sharps above the scale, flats below).

    In a minor key the raised sixth and seventh are spelled as such (F sharp and G sharp in A minor).
    """
    low = key.fifths + _LOWEST_FIFTH + (2 if key.mode in ("minor", "aeolian") else 0)
    fifth = next(f for f in range(low, low + 12) if (7 * f - midi) % 12 == 0)
    step = "FCGDAEB"[(fifth + 1) % 7]
    alter = (fifth + 1) // 7
    return Pitch(step, (midi - STEP_SEMITONES[step] - alter) // 12 - 1, alter)


