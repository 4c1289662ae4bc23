"""What a question of the course sounds like: its first note, its line, in the pupil's own range."""

from __future__ import annotations

from companion.audio import OUTPUT_RATE, Sound, concatenated, count_in, line_sound, silence, starting_note, with_beats
from companion.course import Item, Material, QuestionKind, TuneToHear

QUARTER_S = 0.6  # a calm step
QUAVERS_S = 1.1  # seconds a crotchet where all is quavers: learners' notes last half a second each
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


def sound_of_question(item: Item | TuneToHear, shift: float = 0.0) -> Sound | None:
    """A question as sound: what is given first, then the line that is played; None where it is silent."""
    if isinstance(item, TuneToHear):
        first, line = None, item.line
    else:
        first, line = item.first, item.played if item.kind is not QuestionKind.MARK_OR_NO_MARK else ()
    parts = [starting_note(first + shift)] if first is not None else []
    pulse = item.pulse if isinstance(item, Item) else None
    if parts and (line or pulse):
        parts.append(silence(BETWEEN_S, OUTPUT_RATE))
    if pulse is not None:
        # A bar is counted in, for what is heard and for what is to be sung; then it begins on the next beat.
        parts.append(count_in(pulse.counts, float(pulse.beat) * QUARTER_S))
    if line and pulse is not None:
        led = concatenated(silence(float(line[0].onset_quarters) * QUARTER_S, OUTPUT_RATE),
                           line_sound(line, shift, QUARTER_S), rate=OUTPUT_RATE)
        parts.append(with_beats(led, float(pulse.beat) * QUARTER_S, pulse.counts))
    elif line:
        parts.append(line_sound(line, shift, QUAVERS_S if max(n.quarters for n in line) * 2 <= 1 else QUARTER_S))
    return concatenated(*parts, rate=OUTPUT_RATE) if parts else None
