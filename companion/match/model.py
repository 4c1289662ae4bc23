"""A take against a tune as facts: what was found for each written note, a verdict for each move, more on request."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from companion.tune import Direction, IntervalKind, LineNote, direction_of, interval_kind


class Verdict(StrEnum):
    """Whether a move went as written. The values are those of the JSON that programs read."""

    RIGHT = "right"
    WRONG = "not that way"
    UNSURE = "not sure"


class Size(StrEnum):
    """Whether a move that went the right way has its written size. The values are those of the JSON that programs read."""

    RIGHT = "right"
    WRONG = "not that size"
    UNSURE = "not sure"


class Length(StrEnum):
    """Whether a note has its written length, in the singer's pace. The values are those of the JSON that programs read."""

    RIGHT = "right"
    TOO_SHORT = "too short"
    TOO_LONG = "too long"
    UNSURE = "not sure"


class Presence(StrEnum):
    """Whether the line is in the take at all. Of one that is doubtful or absent no move is judged."""

    PRESENT = "present"
    DOUBTFUL = "doubtful"
    ABSENT = "absent"


class CueKind(StrEnum):
    """What an answer is about. The values are those of the JSON that programs read."""

    ALL_RIGHT = "all right"
    ONE_TO_TRY = "one to try"
    NOT_SURE = "not sure"
    STOPPED_EARLY = "stopped early"
    ANOTHER_TUNE = "another tune"
    NOTHING_SUNG = "nothing sung"
    ONE_NOTE = "one note"


class Doubt(StrEnum):
    """Which rule made a move "not sure". The values are those of the JSON that programs read."""

    NOT_FOUND = "line not found"  # whether this line was sung at all
    NOT_SUNG = "note not sung"
    NO_PITCH = "no steady pitch"
    RESTART = "begun again"  # between the two notes, and perhaps in another key
    OCTAVE = "octave"  # a note lies an octave off, where a tracker errs and a singer hardly ever does
    PLACE = "place"  # which part of the sound is which note
    SHORT = "too short"
    EDGE = "near the edge"  # of what counts as up, level or down
    WEAK = "weak"  # several of these, none of which alone


class MoveKind(StrEnum):
    """A move by its direction and size. The values are those that the diary keeps and the JSON has."""

    LEVEL = "level"
    SEMITONE_UP = "semitone up"
    SEMITONE_DOWN = "semitone down"
    STEP_UP = "step up"
    STEP_DOWN = "step down"
    SKIP_UP = "skip up"
    SKIP_DOWN = "skip down"
    LEAP_UP = "leap up"
    LEAP_DOWN = "leap down"

    @property
    def size(self) -> IntervalKind:
        """The same without its direction: "step"."""
        return IntervalKind(self.value.partition(" ")[0])


def move_kind(semitones: int) -> MoveKind:
    """The kind of a written move of so many semitones, down if negative."""
    size = interval_kind(semitones)
    return MoveKind.LEVEL if size is IntervalKind.LEVEL else MoveKind(f"{size} {direction_of(semitones)}")


class SizeFault(StrEnum):
    """How a move that went the right way missed its size."""

    TOO_SMALL = "too small"
    TOO_LARGE = "too large"


class LengthFault(StrEnum):
    """How a note missed its length."""

    TOO_SHORT = "much too short"
    TOO_LONG = "much too long"


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One written note of the tune and what was sung for it; midi, onset_s, duration_s None if left out.

    sure: probability that the note was sung. length: against the notes around it, in the singer's own pace.
    """

    written: LineNote
    sung: bool
    midi: float | None
    onset_s: float | None
    duration_s: float | None
    sure: float = 1.0
    length: Length = Length.UNSURE


@dataclass(frozen=True, slots=True)
class Move:
    """From one written note to the next. `start`, `end` are note numbers; intervals in semitones.

    sure: probability that the verdict is so, of one "not sure" that of the likelier of the other two. size: of a move
    that is right, whether it is as large as written; of others it is not said.
    """

    start: int
    end: int
    wanted: Direction
    heard: Direction | None
    verdict: Verdict
    sure: float
    wanted_semitones: int
    sung_semitones: float | None
    size: Size = Size.UNSURE

    @property
    def kind(self) -> MoveKind:
        """What the tune does here."""
        return move_kind(self.wanted_semitones)


@dataclass(frozen=True, slots=True)
class MoveEvidence:
    """What the verdict of a move rests on, for who wants to see it or to overrule it.

    spread: semitones within which half of each note's steady part lies; voice_s: seconds of voice in each; None where
    there is none. up, level, down: probability of each, before it is weighed how clear the move is; what is missing to 1 is
    that the two notes were not sung next to each other. placed: probability that these parts of the sound are the two
    notes. error: standard deviation of the sung interval, semitones, None where there is none. doubt: the rule by which it
    is "not sure", None where it is not.
    """

    spread: tuple[float | None, float | None] = (None, None)
    voice_s: tuple[float | None, float | None] = (None, None)
    up: float = 0.0
    level: float = 0.0
    down: float = 0.0
    placed: float = 0.0
    error: float | None = None
    doubt: Doubt | None = Doubt.NOT_SUNG


@dataclass(frozen=True, slots=True)
class MissedSize:
    """A move between two notes (by number) that went the right way and too little (negative) or too far."""

    start: int
    end: int
    off_semitones: float

    @property
    def fault(self) -> SizeFault:
        return SizeFault.TOO_SMALL if self.off_semitones < 0 else SizeFault.TOO_LARGE


@dataclass(frozen=True, slots=True)
class MissedLength:
    """A note (by number) that was sung `times` as long as written, in the singer's own tempo."""

    note: int
    times: float
    fault: LengthFault


@dataclass(frozen=True, slots=True)
class Highest:
    """The highest written notes and the highest sung one, by number."""

    written: tuple[int, ...]
    sung: int

    @property
    def agrees(self) -> bool:
        return self.sung in self.written


@dataclass(frozen=True, slots=True)
class Detail:
    """What a teacher may ask for beyond the verdicts; what could not be measured is None or left out.

    tuning_cents: of each note against the singer's own key there, None where not sung. drift_cents: how far the key
    moved from the first note to the last. interval_factor: how much of each written interval was sung, 1 = all.
    """

    tuning_cents: tuple[float | None, ...] = ()
    drift_cents: float | None = None
    interval_factor: float | None = None
    sizes: tuple[MissedSize, ...] = ()
    highest: Highest | None = None
    lengths: tuple[MissedLength, ...] = ()


@dataclass(frozen=True)
class Match:
    """shift_semitones: sung minus written over the take. closeness: 0 to 1, pitch and gaps included.

    heard_from_s, heard_to_s: the stretch of the take that was judged, None where that is not known. attempts: how many
    there were. presence: whether the line was sung at all. stopped: whether the singer stopped before the line's end.
    presence_odds: logarithmic odds that it was this line (see `companion.match.presence`). evidence: of each move.
    explained: the share of the voice in that stretch that lies at the pitch of the note that was found there.
    """

    shift_semitones: float | None
    notes: tuple[HeardNote, ...]
    moves: tuple[Move, ...]
    closeness: float
    detail: Detail = field(default_factory=Detail)
    heard_from_s: float | None = None
    heard_to_s: float | None = None
    attempts: int = 1
    presence: Presence = Presence.PRESENT
    stopped: bool = False
    presence_odds: float = 9.0
    evidence: tuple[MoveEvidence, ...] = ()
    explained: float = 1.0

    @property
    def kind(self) -> CueKind:
        """What an answer to the take is about."""
        if self.presence is Presence.ABSENT:
            return CueKind.ANOTHER_TUNE
        if not any(n.sung for n in self.notes):
            return CueKind.NOTHING_SUNG
        if not self.moves:
            return CueKind.ONE_NOTE
        counts = self.counts
        if counts[Verdict.RIGHT] == len(self.moves):
            return CueKind.ALL_RIGHT
        if counts[Verdict.WRONG]:
            return CueKind.ONE_TO_TRY
        return CueKind.STOPPED_EARLY if self.stopped and counts[Verdict.RIGHT] else CueKind.NOT_SURE

    @property
    def last_sung(self) -> HeardNote | None:
        """The last note of the line that was sung."""
        return next((n for n in reversed(self.notes) if n.sung), None)

    @property
    def counts(self) -> dict[Verdict, int]:
        """How many moves have each verdict."""
        return {v: sum(m.verdict == v for m in self.moves) for v in Verdict}

    @property
    def kinds(self) -> dict[MoveKind, dict[Verdict, int]]:
        """For each kind of move, in the order in which they come, how many have each verdict."""
        return {kind: {v: sum(m.kind == kind and m.verdict == v for m in self.moves) for v in Verdict}
                for kind in dict.fromkeys(m.kind for m in self.moves)}
