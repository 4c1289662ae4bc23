"""What a question of the course sounds like: its first note, its line, in the pupil's own range."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from companion.audio import OUTPUT_RATE, Sound, concatenated, count_in, line_sound, silence, starting_note, with_beats
from companion.course import QUARTER_S, QUAVERS_S, Item, Material, QuestionKind, TuneToHear, Wants, pace_of
from companion.tune import LineNote

BETWEEN_S = 0.6  # after the first note


def shift_for(material: Material | None, low: float | None, high: float | None) -> int:
    """Semitones by which a stage's notes are sounded higher or lower, so that they lie in a voice from `low` to
    `high` (MIDI numbers, None where nobody has found out)."""
    if material is None or low is None or high is None:
        return 0
    midis = [p.midi for p in material.pitches]
    if low <= min(midis) and max(midis) <= high:
        return 0
    return round((low + high) / 2 - (min(midis) + max(midis)) / 2)


def led_in(item: Item) -> Sound:
    """What sounds while a rhythm is clapped: a bar counted in, then a soft beat as long as the bar lasts."""
    assert item.pulse is not None
    beat_s = float(item.pulse.beat) * pace_of(item)
    last = item.sung[-1]
    bar = silence(float(last.onset_quarters + last.quarters + last.rest_after) * pace_of(item), OUTPUT_RATE)
    return concatenated(count_in(item.pulse.counts, beat_s), with_beats(bar, beat_s, item.pulse.counts), rate=OUTPUT_RATE)


def sound_of_question(item: Item | TuneToHear, shift: float = 0.0) -> Sound | None:
    """A question as sound: what is given first, then the line that is played; None where it is silent."""
    if isinstance(item, TuneToHear):
        parts = _played(item.line, shift)
    elif item.wants is Wants.CLAPPED:
        return led_in(item)
    else:
        parts = _question_parts(item, shift)
    return concatenated(*parts, rate=OUTPUT_RATE) if parts else None


def _question_parts(item: Item, shift: float) -> list[Sound]:
    """The first note, the bar that is counted in, and what is played over the beat."""
    pulse = item.pulse
    line = item.played if item.kind is not QuestionKind.MARK_OR_NO_MARK else ()
    parts = [starting_note(item.first + shift)] if item.first is not None else []
    if parts and (line or pulse):
        parts.append(silence(BETWEEN_S, OUTPUT_RATE))
    if pulse is None:
        return [*parts, *_played(line, shift)]
    # A bar is counted in, for what is heard and for what is to be sung; then it begins on the next beat.
    beat_s = float(pulse.beat) * pace_of(item)
    parts.append(count_in(pulse.counts, beat_s))
    voices = [_led(some, shift, pace_of(item)) for some in (line, item.below) if some]
    return [*parts, with_beats(together(voices), beat_s, pulse.counts)] if voices else parts


def _played(line: Sequence[LineNote], shift: float) -> list[Sound]:
    """A line without a beat; where all is quavers each is as long as a learner's."""
    if not line:
        return []
    return [line_sound(line, shift, QUAVERS_S if max(n.quarters for n in line) * 2 <= 1 else QUARTER_S)]


def _led(line: Sequence[LineNote], shift: float, quarter_s: float) -> Sound:
    """A line from the first beat of its bar on."""
    return concatenated(silence(float(line[0].onset_quarters) * quarter_s, OUTPUT_RATE), line_sound(line, shift, quarter_s),
                        rate=OUTPUT_RATE)


def together(voices: Sequence[Sound]) -> Sound:
    """Voices at once, as loud together as one alone."""
    mixed = np.zeros(max(len(v.samples) for v in voices), dtype=np.float32)
    for voice in voices:
        mixed[:len(voice.samples)] += voice.samples / len(voices)
    return Sound(mixed, OUTPUT_RATE)
