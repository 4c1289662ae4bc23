"""Every constant of the match, one a line, with what it does and where it comes from.

The numbers that say how people sing were fitted on synthesised singers of two makers, the seeds 11 to 24, and are
reported on others; `python tests/benchmarks/singers.py --fit` fits them anew (see there). Each that can be fitted so
stands with the range in which it is searched; a value outside it raises ValueError. The weights of closeness come
from graded takes (`tests/benchmarks/graded.py --fit`). The rest are choices, or follow from what singing is.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any


def _fitted(value: float, low: float, high: float) -> Any:
    """A constant that `--fit` may move, from `low` to `high`."""
    return field(default=value, metadata={"range": (low, high)})


@dataclass(frozen=True, kw_only=True)
class MatchParameters:
    """The constants of the match. `PARAMETERS` are those in use; `dataclasses.replace` gives others."""

    # Fragments: the track cut into short pieces of steady pitch.
    fragment_s: float = 0.06  # longest; shorter than the shortest sung note (about 0.1 s), longer than a frame
    fragment_span: float = 0.45  # semitones: a fragment ends when the pitch leaves this span, so slides fall apart
    onset_pitch: float = 0.4  # semitones of change that make an onset
    onset_dip_db: float = 3.0  # a fall and rise of the level that makes one ...
    onset_dip_s: float = 0.08  # ... within this time on each side
    no_onset: float = _fitted(0.0282, 0.001, 1.0)  # factor for a note that begins where the track shows no onset
    no_onset_unknown: float = 0.79  # the same for a bare track, whose level is not known

    # The pitch grid, and what a note sounds like (emission).
    cell: float = 0.25  # semitones of the pitch grid
    pitch_cost: float = _fitted(77.5, 5.0, 300.0)  # nats a second and semitone between the sung pitch and the note's
    pitch_cost_cap: float = 6  # semitones: farther off is no worse (an octave slip of the tracker is one event)
    octave_cost: float = _fitted(1.61, 0.1, 6.0)  # semitones: what hearing a note in another octave costs more
    least_confidence: float = 0.1  # a voiced frame counts for at least this much
    voiced_gap_cost: float = _fitted(118, 5.0, 400.0)  # nats a second of voice that belongs to no note
    unvoiced_note_cost: float = _fitted(42.3, 2.0, 200.0)  # nats a second of silence inside a note
    bare_trust: float = 0.3  # a bare track's faults are not known: its frames are trusted less

    # Sung intervals, given the written one.
    interval_spread: float = _fitted(0.43, 0.1, 2.0)  # semitones, Laplace: every interval is missed by this much ...
    interval_spread_per_semitone: float = _fitted(0.05, 0.0, 0.3)  # ... and large ones by more, in proportion
    #: Untrained singers shrink their intervals (Pfordresher and Brown 2007): factors and their weights.
    interval_shrink: tuple[tuple[float, float], ...] = ((1.0, 0.6), (0.85, 0.25), (0.68, 0.15))
    octave_move: float = _fitted(0.01, 0.0, 0.2)  # probability that a move goes as written, but to another octave
    any_interval: float = _fitted(0.526, 0.01, 0.9)  # probability that a move goes anywhere
    any_interval_bare: float = 0.03  # the same in a bare track, where a far note is rather the tracker's fault
    any_interval_spread: float = 8.0  # semitones, Laplace: how far a move that goes anywhere goes

    # The order of the notes (transitions).
    left_out_cost: float = _fitted(9, 2.0, 30.0)  # nats for each note that is left out
    most_left_out: int = 2  # notes left out in one place; more is a line left out
    end_cost: float = _fitted(27.0, 5.0, 90.0)  # nats at most for a take that begins or ends in mid-tune
    line_left_out_cost: float = _fitted(36.0, 8.0, 120.0)  # nats for a line of the tune left out
    line_left_out_most: int = 16  # notes from the last one before such a line to the first one after it
    gap_ends: float = _fitted(0.403, 0.02, 0.95)  # probability, per fragment, that a gap ends and the next note begins
    no_gap: float = _fitted(0.23, 0.02, 0.95)  # probability that the next note follows without a gap
    unvoiced_entry: float = _fitted(0.0204, 0.001, 1.0)  # factor for a note that begins where there is no voice

    # How long a note lasts, and where in time it falls.
    #: Stages that follow each other, each as long as its share of the written length (an Erlang law): one stage
    #: alone would make the shortest notes the likeliest.
    stages: int = 3
    least_stage_share_s: float = 0.05  # a note is expected to last at least so long
    least_leave: float = 0.02  # a stage ends with at least this probability in one fragment ...
    most_leave: float = _fitted(0.929, 0.5, 0.999)  # ... and with at most this
    early_leave: float = _fitted(0.0468, 0.001, 0.5)  # factor for leaving a note before its last stage
    tempo_cost: float = _fitted(0.8, 0.0, 10.0)  # nats a second and beat that a note lies outside its place in the tempo
    tempo_free: float = _fitted(1.72, 0.2, 6.0)  # beats that it may lie outside for nothing
    tempo_cost_cap: float = 8.0  # beats: farther outside is no worse

    negligible: float = 1e-24  # of the whole weight: a note that has less is out of the question

    # The singer's own key.
    key_reach: int = 3  # notes on each side that give the key at a note: a phrase drifts, but not in one note
    key_agrees: float = 1.5  # semitones: notes farther off the take's median are wrong notes, not drift
    key_spread: float = _fitted(0.66, 0.1, 3.0)  # semitones, Laplace: how far a note may lie from the singer's key ...
    key_floor: float = _fitted(0.177, 0.01, 0.9)  # ... and what is left for one that lies anywhere
    key_every_s: float = 0.25  # the key speaks for a pitch once in so long
    weighed_from: int = 4  # notes: a shorter line is found by chance in many others, so it is never said to be absent
    present: float = 0.5  # a note counts as sung from this probability
    least_voice_s: float = 0.12  # less voice than this in a whole take is no singing

    # The steady part of a note.
    least_note_s: float = 0.05  # a note with less voice has no pitch to speak of: half the shortest that is sung
    least_weight: float = 0.05  # of a frame whose pitch the tracker doubts

    # The verdict of a move.
    level_within: float = 0.5  # semitones: half of equal temperament's step parts "level" from "up" and "down"
    #: The same for a written semitone in a bare track: of the semitones in takes that experts grade 4 of 4 one in 20 is sung
    #: 0.3 to 0.5 wide, as singers shrink their intervals (graded takes; `tests/benchmarks/graded.py`).
    level_within_bare_step: float = 0.3
    supports_within: float = _fitted(1.2, 0.3, 3.0)  # semitones: so near, an alignment supports a measured interval
    pitch_error: float = _fitted(0.1, 0.02, 0.5)  # semitones: what a steady pitch is uncertain by at best
    spread_error: float = _fitted(0.6, 0.1, 2.0)  # share of a note's spread that makes its pitch uncertain
    independent_s: float = 0.06  # stretches of a note of this length err independently
    short_s: float = 0.1  # a note of this length has hardly a steady part
    lean_range: tuple[float, float] = (-1.5, 1.0)  # semitones beyond the edge, against and with the tune, that count
    least_probability: float = 1e-3  # odds are taken no further than this
    #: Logistic regression: lean, log odds, log of what is misplaced, shortness, constant (see `judge.evidence_row`).
    verdict_weights: tuple[float, float, float, float, float] = (0.83, 0.79, -0.36, -1.88, -0.33)
    #: Offsets from the take's own key (semitones) at which a tracker errs and a child hardly ever does: octave,
    #: octave and fifth, two octaves; a fifth too, in a bare track.
    tracker_faults: tuple[float, ...] = (12.0, 19.0, 24.0)
    tracker_faults_bare: tuple[float, ...] = (7.0, 12.0, 19.0, 24.0)
    fault_within: float = 1.0  # semitones
    #: A note this far from the singer's key may be one of about that key in another octave (an octave less what a
    #: right note may be off) ...
    other_octave: float = 7.5  # semitones
    octave_unclear: float = 0.22  # ... and is doubted where the sound leaves this probability to that octave
    slip_within: float = 0.7  # semitones: a leap so near to an octave, where none is written, is rather a tracker's
    right_threshold: float = 0.8  # probability from which a move is called right
    wrong_threshold: float = 0.92  # and "not that way": a false one costs more, so it needs more
    #: The same once it is known how surely this line was sung there (`presence.presence_odds`), for nearly all false ones
    #: lie in a line found at the wrong place: from these odds on, less where nothing else was sung in the take ...
    firm_odds: float = 2.5
    firm_odds_alone: float = 1.5
    wrong_threshold_firm: float = 0.81
    wrong_threshold_doubtful: float = 0.97  # ... below them where nothing else was sung; beside other singing never
    #: At least this where a note is shorter than `short_s` or the interval less than `clear_by` beyond the edge, which a
    #: slide or a tracker may make.
    wrong_threshold_unclear: float = 0.92
    clear_by: float = 0.9  # semitones
    wrong_threshold_repeated: float = 0.97  # of several level moves in a row, where the wrong one may be its neighbour
    leeway: float = 0.1  # semitones short of the edge at which "right" may still be said, in the child's favour
    folded_confidence: float = 0.9  # no more is claimed for a move seen only with an octave folded away

    # Closeness of a whole take.
    closeness_cap: float = 3.0  # semitones: a note farther off is wrong and no more than wrong
    closeness_left_out: float = 2.0  # semitones that a note left out counts as
    rhythm_cap: float = 1.5  # spread of the logarithm of lengths beyond which it is no rhythm any more
    rhythm_unknown: float = 0.3  # where too few notes were sung to tell
    #: Logistic regressions on graded takes: of the notes alone, see `closeness.take_features` for the four features ...
    notes_weights: tuple[float, ...] = (-1.70, -1.52, -1.87, -4.11)
    notes_constant: float = 4.62
    #: ... and of the whole, see `closeness.closeness_features` for the six.
    closeness_weights: tuple[float, ...] = (-1.17, -1.06, -1.32, -2.59, -5.58, -1.08)
    closeness_constant: float = 3.76
    closeness_threshold: float = 0.5  # takes at or above are rather such as experts grade 3 or 4 of 4 than 1 or 2

    # More that a teacher asks for.
    size_tolerance: float = 0.6  # semitones: a move missed by less is not worth a teacher's word
    length_tolerance: float = 1.8  # a note this many times too long or short, in the singer's own tempo, is
    least_notes: int = 3  # fewer notes show no drift and no tempo

    # The end of a phrase, as it comes in.
    quiet_at_end_s: float = 0.12  # longer than a consonant inside a word (about 0.1 s)
    quiet_elsewhere_s: float = 1.2  # three times a quick breath (0.4 s)
    last_note_share: float = 0.35  # the last note counts as sung from this part of its written length on ...
    last_note_s: float = 0.12  # ... and from this long

    def __post_init__(self) -> None:
        for name, (low, high) in self.ranges().items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} was {getattr(self, name)}; wanted from {low} to {high}")

    @classmethod
    def ranges(cls) -> dict[str, tuple[float, float]]:
        """The constants that can be fitted on singers, each with the range in which it is searched."""
        return {f.name: f.metadata["range"] for f in fields(cls) if "range" in f.metadata}


#: The constants in use.
PARAMETERS = MatchParameters()
