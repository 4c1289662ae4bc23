"""What a question sounds like: its first note, its line, in the pupil's own range."""

from __future__ import annotations

from companion.braille.signs import ACCIDENTAL_WORDS
from companion.course.drill import Item
from companion.course.material import Material
from companion.cue.sound import Sound
from companion.tune.model import LineNote

QUARTER_S = 0.6  # a calm step
QUAVERS_S = 1.1  # seconds a crotchet where all is quavers: learners' notes last half a second each
BETWEEN_S = 0.6  # after the first note
USUAL_MIDDLE = 67.0  # G4, the middle of most children's voices (common practice; from memory)


def shift_for(material: Material | None, low: float | None, high: float | None) -> int:
    """Semitones by which a stage's notes are sounded higher or lower, so that they lie in a voice from `low` to
    `high` (MIDI numbers, None where nobody has found out)."""
    if material is None or low is None or high is None:
        return 0
    midis = [p.midi for p in material.pitches]
    if low <= min(midis) and max(midis) <= high:
        return 0
    return round((low + high) / 2 - (min(midis) + max(midis)) / 2)


def item_sound(item: Item, shift: float = 0.0) -> Sound | None:
    """A question as sound: what is given first, then the line that is played; None where it is silent."""
    from companion.cue.glides import RATE, line_sound, starting_note
    from companion.cue.sound import silence, together

    parts = []
    if item.first is not None:
        parts.append(starting_note(item.first + shift))
    if item.played and item.wants != "yes or no":
        quick = max(n.quarters for n in item.played) * 2 <= 1
        if parts:
            parts.append(silence(BETWEEN_S, RATE))
        parts.append(line_sound(item.played, shift, QUAVERS_S if quick else QUARTER_S))
    return together(*parts, rate=RATE) if parts else None


def said_instead(item: Item) -> str:
    """For a helper where nothing can be sounded: what to sing or play, in words that need no music where it can be.

    "" where there is nothing to sound.
    """
    if item.kind == "higher or lower":
        second = {"higher": "a higher one", "lower": "a lower one", "same": "the same one again"}[item.answer]
        return f"For the helper: sing any note, then {second}."
    if item.kind == "sing the move":
        return "For the helper: sing any note."
    notes = ", ".join(map(_name, item.played)) if item.wants != "yes or no" else ""
    if item.kind == "tune":
        return f"For the helper: sing or play {notes}."
    if item.first is None:
        return f"For the helper: sing or play {notes}." if notes else ""
    first = next((_name(n) for n in (*item.sung, *item.played) if n.midi == item.first), "")
    return f"For the helper: sing or play {first}" + (f", then {notes}." if notes else ".")


def _name(note: LineNote) -> str:
    sign = f" {ACCIDENTAL_WORDS[note.pitch.alter]}" if note.pitch.alter else ""
    return f"{note.pitch.step}{sign}"
