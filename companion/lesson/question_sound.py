"""What a question sounds like: its first note, its line, in the pupil's own range."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from companion.audio import Sound
from companion.course.drill import Item, note_name, said_line
from companion.course.material import Material
from companion.tune import LineNote, direction_of

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
    from companion.audio import OUTPUT_RATE, concatenated, line_sound, silence, starting_note

    parts = []
    if item.first is not None:
        parts.append(starting_note(item.first + shift))
    if item.played and item.wants != "yes or no":
        quick = max(n.quarters for n in item.played) * 2 <= 1
        if parts:
            parts.append(silence(BETWEEN_S, OUTPUT_RATE))
        parts.append(line_sound(item.played, shift, QUAVERS_S if quick else QUARTER_S))
    return concatenated(*parts, rate=OUTPUT_RATE) if parts else None


def said_instead(item: Item) -> str:
    """For a helper where nothing can be sounded: what to sing or play, in words that need no music where it can be.

    "" where there is nothing to sound.
    """
    told = what_to_sound(item)
    return f"For the helper: {told}." if told else ""


def what_to_sound(item: Item) -> str:
    """ "sing any note, then a higher one", "sing or play C; up to D, E"; "" where there is nothing to sound."""
    if item.kind == "higher or lower":
        second = {"higher": "a higher one", "lower": "a lower one", "same": "the same one again"}[item.answer]
        return f"sing any note, then {second}"
    if item.kind == "sing the move":
        return "sing any note"
    if item.kind == "where it turns":
        return f"sing any note, then go {', '.join(_ways(item.played))}"
    if item.kind == "tune" and item.known is not None and not item.known:
        return _by_words(item.played)
    line = said_line(item.played) if item.wants != "yes or no" else ""
    if item.first is None:
        return f"sing or play {line}" if line else ""
    first = next((note_name(n) for n in (*item.sung, *item.played) if n.midi == item.first), "")
    return f"sing or play {first}" + (f", then {line}" if line else "")


_WAY = {"up": "up", "down": "down", "level": "the same"}


def _ways(line: Sequence[LineNote]) -> list[str]:
    return [_WAY[direction_of(b.midi - a.midi)] for a, b in itertools.pairwise(line)]


def _by_words(line: Sequence[LineNote]) -> str:
    """A tune for someone who knows no names of notes: "sing Tick on any note; lower: tock; higher: now, the"."""
    words = [n.syllable.strip(" ,.;:!?") or "la" for n in line]
    out = f"sing {words[0]} on any note"
    for way, word in zip(_ways(line), words[1:], strict=True):
        opening = {"up": "; higher: ", "down": "; lower: "}.get(way)
        if opening is None:  # on the same note as the word before
            opening = ", " if ":" in out else "; the same: "
        out += opening + word
    return out
