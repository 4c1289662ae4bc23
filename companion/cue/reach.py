"""A move as a hand's way up or down the wall, in words, for the pupil and for the helper.

A palm's width is the measure: it is always at hand, and it grows with the child. One palm for each step of
the scale (a semitone counts half) keeps an octave within an arm's sweep of a small child.
"""

from __future__ import annotations

from companion.cue.wording import NUMBERS

PALM_CM = 7.0  # a child's palm is 6 to 8 cm wide; from memory
PALMS_PER_SEMITONE = 0.5
#: The highest reach stays below a stretch: this much above the shoulder, whatever the tune does.
ABOVE_SHOULDER = 0.25  # of the shoulder's height: about the crown of the head
BELOW_SHOULDER = 0.35  # of it: about the hip

CAUTION = "Clear the space first, and let someone who can see it say that it is clear."


def palms(semitones: float) -> float:
    """How many palms' widths the hand goes, in halves."""
    return round(abs(semitones) * PALMS_PER_SEMITONE * 2) / 2


def _width(semitones: float) -> str:
    n = palms(semitones)
    if n <= 0.5:
        return "half a palm's width"
    if n == 1:
        return "a palm's width"
    whole = NUMBERS[int(n)] if n < len(NUMBERS) else str(int(n))
    return f"{whole} {'and a half ' if n % 1 else ''}palms' widths"


def for_pupil(wanted: str, semitones: float) -> str:
    """One sentence for the pupil: "Hand up the wall, a palm's width."."""
    if wanted == "level":
        return "Hand still: the note stays."
    return f"Hand {wanted} the wall, {_width(semitones)}."


def for_helper(wanted: str, semitones: float) -> str:
    """One sentence for the helper: "The tune climbs here. Lift the hand by a palm's width."."""
    if wanted == "level":
        return "The tune stays here. Keep the hand where it is."
    if wanted == "up":
        return f"The tune climbs here. Lift the hand by {_width(semitones)}."
    return f"The tune comes down here. Lower the hand by {_width(semitones)}."


def heights_cm(midi: list[int], shoulder_cm: float) -> list[float]:
    """The height of the hand for each note, cm above the floor, for a shoulder at `shoulder_cm`.

    The tune's middle lies at the shoulder; a wide tune is drawn closer together, so that its highest note
    stays below a stretch and its lowest above the knee.
    """
    low, high = min(midi), max(midi)
    middle = (low + high) / 2
    per = PALM_CM * PALMS_PER_SEMITONE
    half = max((high - low) / 2, 0.5)
    per = min(per, ABOVE_SHOULDER * shoulder_cm / half, BELOW_SHOULDER * shoulder_cm / half)
    return [round(shoulder_cm + (m - middle) * per, 0) for m in midi]
