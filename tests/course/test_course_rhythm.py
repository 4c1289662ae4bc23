"""Clapped rhythms against the beat, with two makers of hands (`clappers.py`): right, not that rhythm, not sure."""

from fractions import Fraction

import numpy as np
import pytest
from clappers import MAKERS, beat_under, clapped
from course_pupil import BRITISH

from companion.course import RhythmFinding, check, check_claps, clap_the_rhythm, fact, line_of, pace_of
from companion.course.rhythm import judge_rhythm
from companion.course.tune_material import make_group
from companion.ear import RATE, Claps, MicrophoneGone, Sound, find_claps, own_beat
from companion.language import question_text, reply_text
from companion.lesson.course_session import AFTER_S, record_claps
from companion.lesson.question_sound import led_in
from companion.match import Verdict
from companion.tune import Bar, Key, Note, Pitch, Time, Tune

BEAT_S, LATE_S, COUNTS = 0.6, 0.15, 4
WRITTEN = (1.0, 0.5, 0.5, 2.0)  # crotchets
ONSETS = (0.0, 1.0, 1.5, 2.0)


def item():  # type: ignore[no-untyped-def]
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(v)) for s, v in zip("CDEC", WRITTEN, strict=True))
    return clap_the_rhythm(make_group("x", Tune("", (Bar(number=1, notes=notes, key=Key(), time=Time()),), phrase_starts=()), ()))


def heard(onsets, maker: str, seed: int = 1, **conditions):  # type: ignore[no-untyped-def]
    """A recording from the count-in on, hands that vary by 0.03 s."""
    rng = np.random.default_rng(seed)
    times = [LATE_S + COUNTS * BEAT_S + o * BEAT_S + float(rng.normal(0, 0.03)) for o in onsets]
    return clapped(times, maker, rng, seconds=LATE_S + 8.5 * BEAT_S + 1, late_s=LATE_S, **conditions)


def test_the_question_counts_a_bar_in_and_the_beat_goes_on() -> None:
    assert question_text(BRITISH, item()) == (
        "Read these four notes in silence. You hear four beats. Then clap them with the beat that goes on.")
    assert pace_of(item()) == BEAT_S
    assert led_in(item()).seconds == pytest.approx(8 * BEAT_S, abs=0.01)


@pytest.mark.parametrize("maker", MAKERS)
@pytest.mark.parametrize("where", [{}, {"room_s": 0.5}, {"own": beat_under(4, 0.6, 2.4), "own_db": -15.0, "room_s": 0.4}])
def test_the_written_rhythm_is_right_in_a_room_and_over_the_own_beat(maker: str, where: dict) -> None:  # type: ignore[type-arg]
    found = check_claps(item(), heard(ONSETS, maker, **where), led=True)
    assert found.verdict is Verdict.RIGHT
    assert set(found.cards) == {"x | cell to hand"}
    assert reply_text(BRITISH, item(), found) == "Right, that is the rhythm."


@pytest.mark.parametrize("maker", MAKERS)
@pytest.mark.parametrize(("onsets", "finding", "say"), [
    ((0, 2, 2.5, 3), RhythmFinding.TOO_LONG, "After the first note the next one came too late. It says crotchet, quaver, "
                                             "quaver, minim."),
    ((0, 1, 2, 2.5), RhythmFinding.TOO_LONG, "After the second note the next one came too late. It says crotchet, quaver, "
                                             "quaver, minim."),
    ((0, 1, 1.5, 2, 3), RhythmFinding.EXTRA, "There was one clap too many after the fourth note. It says crotchet, quaver, "
                                             "quaver, minim."),
    ((0, 1, 2), RhythmFinding.MISSING, "The third note had no clap. It says crotchet, quaver, quaver, minim."),
])
def test_another_rhythm_is_told_with_the_note_it_is_about(maker: str, onsets: tuple[float, ...], finding: RhythmFinding,
                                                          say: str) -> None:
    found = check_claps(item(), heard(onsets, maker), led=True)
    assert found.verdict is Verdict.WRONG
    assert found.rhythm is not None
    assert found.rhythm.finding is finding
    assert reply_text(BRITISH, item(), found) == say


def test_what_cannot_be_told_is_not_sure_and_not_remembered() -> None:
    nothing = check_claps(item(), heard((), "clap"), led=True)
    assert (nothing.verdict, dict(nothing.cards)) == (Verdict.UNSURE, {})
    assert reply_text(BRITISH, item(), nothing) == "I heard no claps. A little louder, and clap again."
    # The rhythm is right, and begins half a bar after the beat that is heard in the recording.
    late = check_claps(item(), heard([o + 0.6 for o in ONSETS], "clap", own=beat_under(4, 0.6, 2.4), own_db=-15.0), led=True)
    assert late.verdict is Verdict.UNSURE
    assert reply_text(BRITISH, item(), late).startswith("The rhythm is right, but not with the beat.")


def test_a_voice_is_no_clap() -> None:
    t = np.arange(5 * RATE) / RATE
    hum = sum(np.sin(2 * np.pi * 220 * k * t) / k for k in range(1, 8)) * (np.sin(2 * np.pi * 0.9 * t) > 0) * 0.1
    found = check_claps(item(), Sound(hum.astype(np.float32), RATE))
    assert found.verdict is Verdict.UNSURE


def test_the_own_beat_is_found_where_it_is_and_not_in_noise() -> None:
    with_it = heard(ONSETS, "clap", own=beat_under(4, 0.6, 2.4), own_db=-20.0, noise_db=-50.0)
    assert own_beat(with_it, COUNTS, BEAT_S) == pytest.approx(LATE_S, abs=0.02)
    assert own_beat(heard(ONSETS, "clap", noise_db=-50.0), COUNTS, BEAT_S) is None
    # The beat alone, in a quiet room, is no clapping.
    alone = heard((), "clap", own=beat_under(4, 0.6, 2.4), own_db=-20.0)
    assert check_claps(item(), alone, led=True).verdict is Verdict.UNSURE


def test_claps_begin_where_they_begin() -> None:
    for maker in MAKERS:
        found = find_claps(heard(ONSETS, maker)).time_s
        rng = np.random.default_rng(1)
        truth = [LATE_S + COUNTS * BEAT_S + o * BEAT_S + float(rng.normal(0, 0.03)) for o in ONSETS]
        assert np.abs(found - truth).max() < 0.02


def test_a_helper_judges_where_nobody_listens_and_typing_is_no_clapping() -> None:
    assert check(item(), "+", BRITISH.vocabulary).verdict is Verdict.RIGHT
    assert check(item(), "-", BRITISH.vocabulary).verdict is Verdict.WRONG
    assert reply_text(BRITISH, item(), check(item(), "C", BRITISH.vocabulary)) == (
        "Clap it, then type plus (+) if it was right or minus (-) if not. Or give the name of a recording.")
    assert fact("C crotchet").name == "C crotchet"


class Ears:
    """A microphone that gives what it is given, a tenth of a second at a time."""

    def __init__(self, sound: Sound | None) -> None:
        self.samples, self.at = None if sound is None else sound.samples, 0

    def read(self):  # type: ignore[no-untyped-def]
        if self.samples is None:
            return None
        part = self.samples[self.at:self.at + RATE // 10]
        self.at += len(part)
        return part

    def close(self) -> None:
        pass


def test_the_microphone_hears_while_the_beat_is_played_and_a_little_longer() -> None:
    def play(sound: Sound, interrupt) -> None:  # type: ignore[no-untyped-def]
        for _block in range(round(sound.seconds * 10)):
            assert not interrupt()

    recorded = record_claps(led_in(item()), Ears(heard(ONSETS, "clap")), play)
    assert recorded.seconds == pytest.approx(8 * BEAT_S + AFTER_S, abs=0.15)
    assert check_claps(item(), recorded, led=True).verdict is Verdict.RIGHT
    with pytest.raises(MicrophoneGone):
        record_claps(led_in(item()), Ears(None), play)


@pytest.mark.parametrize(("floor_db", "verdict"), [(-70.0, Verdict.WRONG), (-30.0, Verdict.UNSURE)])
def test_in_a_loud_room_a_clap_that_was_not_heard_may_have_been_soft(floor_db: float, verdict: Verdict) -> None:
    """Four crotchets, the third of them not heard: 50 dB over the room it would have been, 10 dB over it perhaps not."""
    line = line_of([Pitch(step, 4) for step in "CDEF"])
    quarter_s = 0.6 if line[1].onset_quarters == 1 else 1.2  # claps 0.6 s apart, whatever the value
    claps = Claps(np.array([0.0, 0.6, 1.8]), np.full(3, -20.0), np.ones(3, dtype=bool), np.zeros(0), floor_db)
    found = judge_rhythm(claps, line, quarter_s)
    assert (found.verdict, found.finding, found.at) == (verdict, RhythmFinding.MISSING, 2)
