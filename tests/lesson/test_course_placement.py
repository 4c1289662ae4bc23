"""Where to begin: an adult's word, a short test, and what is known already coming back a few things a day."""

import random
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from course_pupil import BRITISH, typed, wrong

from companion.course import Item, TuneToHear, find_stage, item_for, load_progress, plan, seconds_of, stages
from companion.diary import Diary
from companion.language import standing_lines
from companion.lesson import SittingIO, judge_stages, place, sit

START = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)


class Knows:
    """Someone who knows all stages up to one, and no more. asked: every question."""

    def __init__(self, upto: float, stop_after: int = 1000) -> None:
        self.upto, self.stop_after = upto, stop_after
        self.asked: list[Item] = []
        self.said: list[str] = []
        self.item: Item | None = None

    def io(self) -> SittingIO:
        return SittingIO(BRITISH, self.read, self.said.append, lambda cells: None, self.sound)

    def sound(self, item: Item | TuneToHear) -> None:
        if isinstance(item, Item):
            self.item = item
            self.asked.append(item)

    def read(self) -> str | None:
        if len(self.asked) > self.stop_after:
            return "stop"
        assert self.item is not None
        known = frozenset(s for stage in stages() if stage.number <= self.upto for s in stage.introduces)
        # Of a stage that brings no sign, whoever is as far as it knows it.
        knows = self.item.signs <= known and (bool(self.item.signs) or self.upto >= 1)
        return typed(self.item, random.Random(1)) if knows else wrong(self.item)


@pytest.mark.parametrize(("upto", "first"), [(0, 1), (1, 2), (2, 3), (4, 5), (8, 9), (11, 13), (17, 18), (19, 22)])
def test_a_short_test_finds_where_to_begin(tmp_path: Path, upto: float, first: float) -> None:
    pupil_of = Knows(upto)
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        found = place(diary, pupil, stages(), lambda: START, pupil_of.io())
        progress = load_progress(diary, pupil)
    assert found is not None
    assert found.number == first
    assert progress.stage(stages()).number == first
    assert {p["by"] for p in progress.passed.values()} <= {"placement"}
    assert len(pupil_of.asked) <= 18
    assert pupil_of.said[-1].startswith(f"Begin with Stage {first}:")
    assert sum(map(seconds_of, pupil_of.asked)) < 6 * 60


def test_a_test_that_is_stopped_changes_nothing(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        stops = Knows(9, stop_after=4)
        assert place(diary, pupil, stages(), lambda: START, stops.io()) is None
        assert stops.said[-1] == "The test is stopped, and nothing is changed by it. Another day it begins anew."
        assert load_progress(diary, pupil).passed == {}


def test_what_is_passed_by_a_word_is_asked_again_a_few_things_a_day(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        said = judge_stages(diary, pupil, stages(), ["12"], [], START, BRITISH)
        progress = load_progress(diary, pupil)
    assert said[:2] == ["Stage 12: Skips, leaps, and when a mark is needed is passed, by your word.",
                        "Eleven stages before it are passed too."]
    assert len(progress.passed) == 12
    names = progress.recall.cards
    assert "C | cell to name" in names
    assert "F crotchet | name to cell" in names
    assert "bars of rests | cell to voice" in names
    reached = [s for s in stages() if s.number <= 13]
    assert all(item_for(name, reached, random.Random(1), progress) for name in names)
    days = Counter((progress.recall.due_at(name) - START).days for name in names)
    assert min(days) >= 1  # nothing on the first day, which is for the new stage
    assert max(days) <= 12
    # No day brings more than a sitting can hold beside the rest: 8 minutes are some 35 names of cells.
    assert max(days.values()) <= len(names) / 5
    assert not [s for s in plan(progress, stages(), START, random.Random(1)) if s.why == "due"]


def test_a_word_lays_nothing_over_what_is_remembered(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        judge_stages(diary, pupil, stages(), ["3"], [], START, BRITISH)
        before = load_progress(diary, pupil).recall.cards
        judge_stages(diary, pupil, stages(), ["5"], [], START + timedelta(days=2), BRITISH)
        after = load_progress(diary, pupil).recall.cards
    assert {n: after[n] for n in before} == before
    assert len(after) > len(before)


def test_how_quickly_notes_are_read_is_a_line_of_what_is_known(tmp_path: Path) -> None:
    clock = [START]

    def lines(seconds: float, at: Knows) -> Iterator[str | None]:
        yield ""  # to begin
        while True:
            clock[0] += timedelta(seconds=seconds)
            yield at.read()

    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        judge_stages(diary, pupil, stages(), ["2"], [], START, BRITISH)
        for day, seconds in ((0, 6.0), (1, 6.0), (2, 6.0), (8, 3.0), (9, 3.0), (10, 3.0)):
            clock[0] = START + timedelta(days=day)
            knows = Knows(3)
            io = knows.io()
            io.read = lines(seconds, knows).__next__
            sit(diary, pupil, stages(), lambda: clock[0], io)
        progress = load_progress(diary, pupil)
    now = clock[0]
    fluency = progress.fluency(now)
    assert fluency.this_week is not None
    assert fluency.week_before is not None
    assert fluency.this_week == pytest.approx(2 * fluency.week_before, rel=0.35)  # half the time for each answer
    line = f"Reads {fluency.this_week} notes a minute this week; {fluency.week_before} the week before."
    assert line in standing_lines(BRITISH, progress.standing(stages(), now), now)
    assert find_stage(3).key in {a["stage"] for a in progress.answers}
