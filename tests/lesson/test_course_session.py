"""A sitting at a terminal: the microphone that goes away, hands-free, and the pupil's own variety of names."""

import io
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from clappers import clapped
from course_pupil import BRITISH
from numpy.typing import NDArray

from companion.command import main
from companion.course import Item, Progress, Step, Why, clap_the_rhythm, pace_of, stages, sung_move
from companion.course.tune_material import make_group
from companion.diary import Diary, SettingName, default_settings
from companion.ear import MicrophoneGone, Sound
from companion.errors import Trouble
from companion.language import sound_for_helper
from companion.lesson import Sitting, SittingIO, drill_sitting, hear_answer, sit
from companion.lesson.course_session import MOST_EMPTY, listener, terminal
from companion.tune import Bar, Key, Note, Pitch, Time, Tune

START = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)
GONE = "The microphone has gone. Plug it in again."


class Ears:
    """A microphone that gives what it is told to give, and counts how often it was asked and closed."""

    def __init__(self, given: object) -> None:
        self.given, self.asked, self.closed = given, 0, 0

    def read(self) -> NDArray[np.float32] | None:
        self.asked += 1
        if isinstance(self.given, Exception):
            raise self.given
        return self.given  # type: ignore[return-value]

    def close(self) -> None:
        self.closed += 1


def up() -> Item:
    return sung_move(Pitch("C", 4), Pitch("G", 4))


@pytest.mark.parametrize("given", [None, np.zeros(0, dtype=np.float32)])
def test_a_microphone_without_sound_is_given_up(given: object) -> None:
    ears = Ears(given)
    with pytest.raises(Trouble, match="has gone"):
        hear_answer(up(), ears)
    assert ears.asked == MOST_EMPTY


@pytest.mark.parametrize("error", [MicrophoneGone("gone"), OSError(5, "Input/output error"), RuntimeError("stream is closed")])
def test_whatever_a_driver_raises_is_one_sentence(error: Exception) -> None:
    with pytest.raises(Trouble) as trouble:
        hear_answer(up(), Ears(error))
    assert str(trouble.value) == GONE


def test_silence_is_no_answer_and_no_fault() -> None:
    # Blocks of a second of silence: the ear gives up after the time that a singer may take to begin.
    assert hear_answer(up(), Ears(np.zeros(22050, dtype=np.float32))) is None


def test_the_microphone_is_closed_however_it_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    ears = Ears(OSError("unplugged"))
    monkeypatch.setattr("companion.lesson.course_session.Microphone", lambda name: ears)
    with pytest.raises(Trouble):
        listener(default_settings())(up())
    assert ears.closed == 1


def lost(item: Item) -> None:
    raise Trouble(GONE)


def test_after_the_microphone_has_gone_answers_are_typed() -> None:
    said: list[str] = []
    typed = iter(["+", "+"])
    terminal = SittingIO(BRITISH, lambda: next(typed, None), said.append, said.append, lambda item: None, lost)
    tally = drill_sitting([up(), up()], Progress(), lambda: START, terminal)
    assert (tally.asked, tally.right, tally.stopped) == (2, 2, False)
    assert said.count(GONE) == 1
    assert said.index(GONE) == 1  # after the question
    assert said[-1] == "Two of two right."


class Speaker:
    """A loudspeaker that is away at the first sound."""

    played = 0

    def __init__(self, *_: object) -> None: ...

    def play(self, sound: object) -> "Speaker":
        Speaker.played += 1
        if Speaker.played == 1:
            raise Trouble("There is no loudspeaker.")
        return self

    def wait(self, seconds: float) -> bool:
        return True


def test_while_the_loudspeaker_is_away_the_helper_sounds_the_notes(monkeypatch: pytest.MonkeyPatch,
                                                                   capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("companion.audio.Loudspeaker", Speaker)
    at_terminal = terminal({**default_settings(), SettingName.SPEECH: "off"}, BRITISH)
    at_terminal.sound(up())
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "There is no loudspeaker."
    assert said[1:] == [sound_for_helper(BRITISH, up())]
    at_terminal.sound(up())  # it is back
    assert capsys.readouterr().out == ""


def test_a_hands_free_sitting_ends_when_the_microphone_has_gone(tmp_path: Path) -> None:
    said: list[str] = []

    def never() -> str | None:
        raise AssertionError("a key was waited for")

    terminal = SittingIO(BRITISH, never, said.append, said.append, lambda item: None, lost, hands_free=True)
    with Diary(tmp_path / "d.sqlite") as diary:
        tally = sit(diary, diary.pupil("Robin", new=True), stages(), lambda: START, terminal)
    assert tally.stopped
    assert said[-2:] == [GONE, "No answer was given today."]


def test_hands_free_silence_goes_on_to_the_next_question() -> None:
    said: list[str] = []
    terminal = SittingIO(BRITISH, lambda: "never typed", said.append, said.append, lambda item: None, lambda item: None,
                         hands_free=True)
    tally = Sitting(Progress(), terminal).go([Step(up(), Why.NEW), Step(up(), Why.NEW)], lambda: START)
    assert (tally.asked, tally.stopped) == (0, False)
    assert said == ["Here is a note. Sing it, then a higher one."] * 2


def test_help_is_given_wherever_something_is_typed() -> None:
    said: list[str] = []
    typed = iter(["HELP", "stop"])
    terminal = SittingIO(BRITISH, lambda: next(typed, None), said.append, said.append, lambda item: None)
    Sitting(Progress(), terminal).go([Step(up(), Why.NEW)], lambda: START)
    assert "skip: go on without an answer." in said
    assert "plus (+): the spoken or sung answer was right." in said


# --- the pupil's own names ---

def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str, keys: str = "") -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(keys))
    assert main(list(arguments)) == 0
    return capsys.readouterr().out


def test_a_pupil_with_american_names_has_them_in_every_part_of_the_course(
        monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    diary = ("--diary", str(tmp_path / "d.sqlite"))
    run(monkeypatch, capsys, "diary", "Robin", "--new", "--setting", "variety=american", *diary)
    passed = [x for n in range(1, 8) for x in ("--pass", str(n))]
    said = run(monkeypatch, capsys, "course", "Robin", *passed, *diary)
    assert "Stage 7: Measures is passed, by your word." in said
    assert "Now: Stage 8: Quarter notes." in said
    said += run(monkeypatch, capsys, "course", "Robin", "--known", *diary)
    keys = "\n" + "quarter note c\n1456\n+\n-\n2\nskip\n" * 8 + "stop\n"
    said += run(monkeypatch, capsys, "course", "Robin", "--silent", *diary, keys=keys)
    said += run(monkeypatch, capsys, "drill", "how many beats", "--stage", "9", "--silent", "--pupil", "Robin", *diary,
                keys="17\n" * 8)
    assert "quarter note" in said
    assert "How many quarter notes long is this" in said
    for word in ("rotchet", "uaver", "inim", "emibreve"):
        assert word not in said

def clapping(typed: list[str], taken: Sound | None) -> tuple[list[str], list[str], Progress]:
    """A sitting of one bar to be clapped; what was said, what was done in turn, what is remembered."""
    said: list[str] = []
    done: list[str] = []
    lines = iter(typed)

    def read() -> str | None:
        done.append("read")
        return next(lines, None)

    def clap(item: Item) -> Sound | None:
        done.append("beat")
        return taken

    at_terminal = SittingIO(BRITISH, read, said.append, said.append, lambda item: done.append("sounded"), clap=clap)
    progress = Progress()
    Sitting(progress, at_terminal).go([Step(four_notes(), Why.DRILL)], lambda: START)
    return said, done, progress


def four_notes() -> Item:
    """Crotchet, quaver, quaver, minim."""
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(v)) for s, v in zip("CDEC", (1.0, 0.5, 0.5, 2.0), strict=True))
    bar = Bar(number=1, notes=notes, key=Key(), time=Time())
    return clap_the_rhythm(make_group("x", Tune("", (bar,), phrase_starts=()), ()))


READY = "Press Enter when you have read it; then the beat begins."


def test_the_beat_waits_until_the_bar_has_been_read_and_the_claps_are_judged() -> None:
    """Whoever reads by finger needs longer than the breath between a question and its sound."""
    beat_s = pace_of(four_notes())
    recorded = clapped([beat_s * (4 + o) for o in (0, 1, 1.5, 2)], "clap", np.random.default_rng(1), seconds=9 * beat_s)
    said, done, progress = clapping([""], recorded)
    assert done == ["read", "beat"]
    assert said[2:4] == [READY, "Right, that is the rhythm."]
    assert progress.recall.cards.keys() == {"x | cell to hand"}


def test_instead_of_clapping_the_dots_may_be_asked_for_or_the_answer() -> None:
    said, done, _unused = clapping(["?", "skip"], None)
    assert done == ["read", "read"]
    assert any("1 4 5 6" in line for line in said)
    assert said.count(READY) == 2
    # Nobody clapped, or the loudspeaker is away: the helper judges.
    said, done, progress = clapping(["", "+"], None)
    assert done == ["read", "beat", "read"]
    assert progress.recall.cards.keys() == {"x | cell to hand"}
