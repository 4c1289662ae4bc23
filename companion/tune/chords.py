"""Chord symbols, as they stand over a melody: "C", "F#m7", "Bb/D"."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class ChordKind(StrEnum):
    """What is built on the root. The values are those of MusicXML 4.0's kind-value; `suffix` is what is written after the
    root in letters and figures, None for kinds that are not written here."""

    MAJOR = "major"
    MINOR = "minor"
    AUGMENTED = "augmented"
    DIMINISHED = "diminished"
    DOMINANT = "dominant"
    MAJOR_SEVENTH = "major-seventh"
    MINOR_SEVENTH = "minor-seventh"
    DIMINISHED_SEVENTH = "diminished-seventh"
    AUGMENTED_SEVENTH = "augmented-seventh"
    MAJOR_SIXTH = "major-sixth"
    MINOR_SIXTH = "minor-sixth"
    DOMINANT_NINTH = "dominant-ninth"
    MAJOR_NINTH = "major-ninth"
    MINOR_NINTH = "minor-ninth"
    SUSPENDED_SECOND = "suspended-second"
    SUSPENDED_FOURTH = "suspended-fourth"
    OTHER = "other"

    @property
    def suffix(self) -> str | None:
        return _SUFFIXES.get(self)


_SUFFIXES = {
    ChordKind.MAJOR: "", ChordKind.MINOR: "m", ChordKind.AUGMENTED: "aug", ChordKind.DIMINISHED: "dim",
    ChordKind.DOMINANT: "7", ChordKind.MAJOR_SEVENTH: "maj7", ChordKind.MINOR_SEVENTH: "m7",
    ChordKind.DIMINISHED_SEVENTH: "dim7", ChordKind.AUGMENTED_SEVENTH: "aug7", ChordKind.MAJOR_SIXTH: "6",
    ChordKind.MINOR_SIXTH: "m6", ChordKind.DOMINANT_NINTH: "9", ChordKind.MAJOR_NINTH: "maj9", ChordKind.MINOR_NINTH: "m9",
    ChordKind.SUSPENDED_SECOND: "sus2", ChordKind.SUSPENDED_FOURTH: "sus4"}


class ChordNote(NamedTuple):
    """A root or a bass: its letter and how far it is altered, -1 to 1."""

    step: str
    alter: int = 0

    @property
    def name(self) -> str:
        return self.step + ("#" * self.alter if self.alter > 0 else "b" * -self.alter)


@dataclass(frozen=True, slots=True)
class ChordSymbol:
    """A chord by its root. bass: where it is another note. text: how an `OTHER` kind is printed."""

    root: ChordNote
    kind: ChordKind = ChordKind.MAJOR
    bass: ChordNote | None = None
    text: str = ""

    @property
    def name(self) -> str:
        """As print has it: "F#m7/C#"."""
        suffix = self.kind.suffix
        if suffix is None:
            return self.text or self.root.name
        return self.root.name + suffix + (f"/{self.bass.name}" if self.bass else "")
