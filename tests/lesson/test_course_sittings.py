"""A whole course: an adult and a child from the first stage to the last, in simulated days."""

import itertools
import random
import tempfile
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from course_pupil import BRITISH, Pair, judged

from companion.course import (
    Progress,
    QuestionKind,
    Step,
    Wanted,
    Wants,
    Way,
    Why,
    brings,
    card,
    fact,
    find_stage,
    fresh_material,
    interleaved,
    item_for,
    load_progress,
    new_items,
    new_steps,
    plan,
    seconds_of,
    stages,
    sung_move,
    taught,
)
from companion.diary import Diary
from companion.language import Language, by_hand_hint, question_text, say_dots, stage_label, standing_lines
from companion.lesson import Sitting, SittingIO, judge_stages, sit
from companion.match import Verdict
from companion.tune import Pitch

START = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)


def typed_io(lines: Iterator[str], said: list[str], language: Language = BRITISH) -> SittingIO:
    """Someone who types, in whose room nothing is sounded and nobody listens."""
    return SittingIO(language, lambda: next(lines, None), said.append, said.append, lambda item: None)


class Days:
    """The time of a simulated course: some seconds a question, a day between sittings."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=12)
        return self.now

    def next_day(self) -> None:
        self.now = self.now.replace(hour=16, minute=0, second=0) + timedelta(days=1)


def go(diary: Diary, pair: Pair, most_days: int, first: int = 1) -> tuple[int, Progress]:
    """Sittings day by day until the course is finished: (days, progress). first: the stage it begins with, those before it
    being passed by the adult's word."""
    days = Days()
    pupil = diary.pupil("Robin", new=True)
    if first > 1:
        judge_stages(diary, pupil, stages(), [str(first - 1)], [], START, BRITISH)
    for day in range(most_days):
        pair.item = None
        sit(diary, pupil, stages(), days, pair.io(), most_new=28, minutes=60)
        progress = load_progress(diary, pupil)
        if progress.finished(stages()):
            return day + 1, progress
        days.next_day()
    return most_days, load_progress(diary, pupil)


@pytest.fixture
def quick_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory where there is one: a diary is flushed to the disk after every answer."""
    memory = Path("/dev/shm")
    if not memory.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)


#: Of the long ways: from this stage on, and from the first on by hand.
FROM = [pytest.param(28, marks=pytest.mark.slow), pytest.param(1, marks=pytest.mark.overnight)]


@pytest.mark.parametrize("first", FROM)
def test_a_pair_goes_from_stage_to_stage_to_the_last(quick_folder: Path, first: int) -> None:
    pair = Pair(seed=1, miss=0.03, heard=20)
    gone = [s for s in stages() if s.number >= first]
    with Diary(quick_folder / "diary.sqlite") as diary:
        days, progress = go(diary, pair, 120, first)
        assert progress.finished(stages()), (days, stage_label(BRITISH, progress.stage(stages())))
        assert all(progress.passed[s.key]["by"] == "evidence" for s in gone)
        # Each stage but the twentieth, which is passed on one, on two days at least.
        assert 2 * len(gone) - (first < 20) <= days <= 90 * len(gone) / len(stages()) + 5
        # In order: no stage passed before the one in front of it.
        moments = [progress.passed[s.key]["at"] for s in stages()]
        assert moments == sorted(moments)
        assert {d.kind for s in gone for d in s.drills} <= {i.kind for i in pair.asked}
        assert pair.sang > len(gone) / 2
        # What is kept is what a fresh look at the diary finds.
        assert load_progress(diary, diary.pupil("Robin")) == progress
    lines = "\n".join(pair.said)
    assert f"{stage_label(BRITISH, stages()[-2])} is passed." in lines
    assert not any(word in lines for word in ("Traceback", "None", "{", "wrong!"))


def test_a_pupil_who_gets_nothing_right_stays_and_is_not_scolded(quick_folder: Path) -> None:
    pair = Pair(seed=2, miss=1.0, heard=6)
    with Diary(quick_folder / "diary.sqlite") as diary:
        _, progress = go(diary, pair, 5)
    assert progress.stage(stages()).number == 1
    assert not progress.passed
    assert not any("wrong" in s.lower().replace("what may go wrong", "").replace("find the wrong", "")
                   for s in pair.said)


def test_nothing_is_asked_before_it_was_taught(tmp_path: Path) -> None:
    rng = random.Random(4)
    progress = Progress()
    days = Days()
    for here in stages():
        known = taught(here.number)
        for step in plan(progress, stages(), days.now, rng, minutes=10):
            item = step.item
            if item.cells or item.wants is Wants.CELLS or item.choices:
                assert item.signs <= known, (here.name, item.kind, item.signs - known)
            progress.record(item, judged(item, "+"), step.stage, days())
        progress.pass_stage(here, days.now)
        days.next_day()
    assert progress.finished(stages())


def test_a_sitting_is_what_is_due_then_the_new_step_then_something_that_can_be_done() -> None:
    progress = Progress()
    progress.pass_stage(find_stage(1), START)
    for n, about in enumerate(("C", "D", "E")):
        for way in ("cell to name", "name to cell"):
            progress.recall.review(card(about, way), Verdict.RIGHT, START + timedelta(minutes=n))
    progress.recall.review("step up | ear to voice", Verdict.RIGHT, START)
    steps = plan(progress, stages(), START + timedelta(days=2), random.Random(1))
    whys = [s.why for s in steps]
    # But for the one song that comes early.
    early = next(i for i, s in enumerate(steps) if s.item.wants is Wants.SUNG)
    assert early < 5
    rest = whys[:early] + whys[early + 1:]
    assert rest == sorted(rest, key=[Why.DUE, Why.NEW, Why.LAST].index)
    assert Counter(whys)[Why.LAST] == 1
    assert Counter(whys)[Why.DUE] == 7
    assert Counter(whys)[Why.NEW] > 5
    # It ends on the sung one, which has been right.
    assert steps[-1].item.kind is QuestionKind.SING_THE_MOVE


def test_what_is_due_fills_the_time_and_nothing_new_is_begun_on_a_large_pile() -> None:
    progress = Progress()
    progress.pass_stage(find_stage(1), START)
    moves = ("level", "step up", "step down", "skip up", "skip down", "leap up", "leap down")
    for n, move in enumerate(moves):
        for way in (Way.BY_EAR, Way.EAR_TO_VOICE):
            progress.recall.review(card(move, way), Verdict.RIGHT, START + timedelta(hours=n))
    progress.recall.review(card("E", Way.CELL_TO_NAME), Verdict.WRONG, START + timedelta(hours=9))
    steps = plan(progress, stages(), START + timedelta(days=9), random.Random(1), minutes=2)
    due = [s for s in steps if s.why is Why.DUE]
    assert 5 <= len(due) < 15
    assert sum(seconds_of(s.item) for s in steps) <= 120
    assert not [s for s in steps if s.why is Why.NEW]
    # What was wrong comes before all that waits longer.
    assert "E" in [a for s in due for a in s.item.about]
    # In a quarter of an hour there is time for all of it, and for new questions.
    steps = plan(progress, stages(), START + timedelta(days=9), random.Random(1), minutes=15)
    assert len([s for s in steps if s.why is Why.DUE]) == 15
    assert [s for s in steps if s.why is Why.NEW]


def test_kinds_take_turns() -> None:
    for stage in stages()[1:]:
        steps = interleaved(new_steps(stage, random.Random(3), 40, Progress()))
        kinds = [s.item.kind for s in steps]
        most = max(Counter(kinds).values())
        same = sum(a is b for a, b in itertools.pairwise(kinds))
        assert same <= max(0, 2 * most - len(kinds) - 1) + 1, stage.name
        assert Counter(kinds) == Counter(s.item.kind for s in new_steps(stage, random.Random(3), 40, Progress()))


def test_bars_are_new_in_every_sitting_and_use_what_the_stage_brings() -> None:
    for stage in stages()[1:]:
        progress, met, used = Progress(), set[str](), list[bool]()
        progress.pass_stage(stages()[0], START)
        for day in range(4):
            items = new_items(stage, random.Random(day), 30, progress)
            for item in items:
                used.append(brings(item, stage))
                if item.group is not None:
                    assert item.signs <= taught(stage.number), (stage.name, item.signs)
                    met.add(item.group.cells)
                    assert item.group.cells not in progress.seen, (stage.name, item.group.cells)
            for item in items:
                progress.record(item, judged(item, "+"), stage, START + timedelta(days=day))
        assert sum(used) >= 0.9 * len(used), (stage.name, sum(used) / len(used))
        assert len(met) >= 8, stage.name


@pytest.mark.parametrize("number", [5, 10, 15])
def test_every_fifth_stage_ends_with_a_tune_at_sight_that_nobody_has_heard(number: int) -> None:
    stage, progress, met = find_stage(number), Progress(), list[str]()
    for day in range(4):
        item = next(i for i in new_items(stage, random.Random(day), 40, progress) if i.kind is QuestionKind.SING_AT_SIGHT)
        assert item.group is not None
        assert len(item.sung) >= 6
        assert item.signs <= taught(number)
        assert item.group.cells not in met
        assert not item.played  # only its first note is given
        assert question_text(BRITISH, item).startswith("Nobody has heard this tune yet.")
        met.append(item.group.cells)
        progress.record(item, judged(item, "-"), stage, START + timedelta(days=day))
        assert not progress.shown(stage)[-1].met
    progress.record(item, judged(item, "+"), stage, START + timedelta(days=5))
    assert progress.shown(stage)[-1].evidence.way is Way.AT_SIGHT
    assert progress.shown(stage)[-1].met


@pytest.mark.slow
def test_new_bars_do_not_run_out() -> None:
    # Stage 2 has three notes: of its easiest bars there are some ninety. In a year none of the last forty comes again.
    stage, rng, met = find_stage(2), random.Random(1), list[str]()
    for _ in range(300):
        m = fresh_material(stage.material, "bars", Wanted(taught(2), frozenset(stage.introduces), met[-150:]), 1, rng)
        assert m.made
        assert m.groups[0].cells not in met[-40:]
        met.append(m.groups[0].cells)
    assert len(set(met)) > 150


def test_bars_of_a_tune_are_retired_with_its_stage() -> None:
    progress = Progress()
    for s in stages()[:6]:
        progress.pass_stage(s, START)
    progress.recall.review(card("snail-wall bar 2", Way.CELL_TO_VOICE), Verdict.RIGHT, START)
    progress.recall.review(card("C", Way.CELL_TO_NAME), Verdict.RIGHT, START)
    later = START + timedelta(days=30)
    assert progress.due(stages(), later) == [card("C", Way.CELL_TO_NAME)]
    assert card("snail-wall bar 2", Way.CELL_TO_VOICE) in progress.recall.cards  # kept all the same
    progress.take_back(stages()[5], later)
    assert len(progress.due(stages(), later)) == 2


def test_a_wrong_answer_comes_again_in_the_sitting_and_missed_again_becomes_smaller() -> None:
    said: list[str] = []
    bar = next(i for i in new_items(find_stage(3), random.Random(1), 30) if i.kind is QuestionKind.READ_AND_SING)
    other = [sung_move(Pitch("C", 4), Pitch("G", 4)) for _ in range(5)]
    typed_lines = iter(["-", "-", "+", "+", "+", "-", "-", "+", "+", "skip"])
    progress = Progress()
    steps = [Step(i, Why.NEW, find_stage(3)) for i in (bar, *other)]
    Sitting(progress, typed_io(typed_lines, said)).go(steps, lambda: START)
    asked = [s for s in said if s in (question_text(BRITISH, bar), question_text(BRITISH, other[0]), "Which note is this?")]
    bars = [i for i, s in enumerate(asked) if s == question_text(BRITISH, bar)]
    assert bars == [0, 1, 5, 6]  # with its second try, and three questions later
    assert asked[-1] == "Which note is this?"
    assert [a["verdict"] for a in progress.answers].count("not that way") == 1  # coming back it is no evidence


def test_the_dots_of_a_whole_tune_are_told_a_bar_at_a_time() -> None:
    said: list[str] = []
    item = next(i for i in new_items(find_stage(8), random.Random(1), 40) if i.kind is QuestionKind.WHOLE_TUNE)
    io = typed_io(iter(["?", "?", "", "?", "+"]), said)
    Sitting(Progress(), io).go([Step(item, Why.NEW)], lambda: START)
    bars = [s for s in said if s.startswith("Bar ")]
    assert bars[0] == f"Bar 1: {say_dots(BRITISH, find_stage(8).material.groups[0].cells)}."
    assert [b.split(":")[0] for b in bars] == ["Bar 1", "Bar 2", "Bar 3"]
    assert all(len(b.split()) < 40 for b in bars)


def test_a_sitting_ends_in_time_with_something_that_can_be_done() -> None:
    now = START

    def answers() -> Iterator[str]:
        nonlocal now
        while True:
            now += timedelta(seconds=20)
            yield "+"

    items = [sung_move(Pitch("C", 4), Pitch("G", 4))] * 60
    steps = [*(Step(i, Why.NEW) for i in items), Step(items[0], Why.LAST)]
    tally = Sitting(Progress(), typed_io(answers(), [])).go(steps, lambda: now, minutes=8)
    assert timedelta(minutes=6) < now - START <= timedelta(minutes=8)
    assert tally.asked < 25


def test_reviews_keep_to_what_is_taught_after_a_stage_is_taken_back() -> None:
    progress = Progress()
    for s in stages()[:8]:
        progress.pass_stage(s, START)
    progress.recall.review(card("C crotchet", Way.CELL_TO_NAME), Verdict.RIGHT, START)
    progress.recall.review(card("tick-tock bar 1", Way.CELL_TO_VOICE), Verdict.RIGHT, START)
    reached = [s for s in stages() if s.number <= 9]
    assert item_for(card("C crotchet", Way.CELL_TO_NAME), reached, random.Random(1)) is not None
    progress.take_back(find_stage(3), START)
    steps = plan(progress, stages(), START + timedelta(days=30), random.Random(1))
    assert all(s.item.about != ("C crotchet",) for s in steps)
    assert all("tick-tock" not in a for s in steps for a in s.item.about)


@pytest.mark.parametrize("about", ["C", "F crotchet", "sharp", "fourth octave", "C, fifth octave", "level",
                                   "leap up", "where it turns", "counting a note", "counting beats",
                                   "when to mark",
                                   "length of C minim", "heron bar 2", "heron whole", "snail-wall bar 2"])
def test_whatever_is_remembered_can_be_asked(about: str) -> None:
    reached = [s for s in stages() if s.number <= 19]
    items = [item_for(card(about, way), reached, random.Random(1)) for way in Way]
    assert any(items), about
    # The unseen tune is not reviewed.
    assert item_for(card("first-alone bar 1", Way.CELL_TO_VOICE), stages(), random.Random(1)) is None
    assert item_for(card("no such thing", Way.CELL_TO_NAME), reached, random.Random(1)) is None


def test_a_wrong_answer_is_taught_and_tried_once_more(tmp_path: Path) -> None:
    typed_lines = iter(["", "same", "skip", "?", "stop"])
    said: list[str] = []
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        io = typed_io(typed_lines, said)
        tally = sit(diary, pupil, stages(), lambda: START, io)
    assert tally.stopped
    asked = [s for s in said if s.startswith(("Listen to two notes", "Here is a note"))]
    assert len(asked) >= 3
    assert asked[0] == asked[1]


def test_enter_and_key_lose_no_question() -> None:
    said: list[str] = []
    # Wrong first; at the second try Enter, the question mark and key ask again and do not go on.
    typed_lines = iter(["-", "", "?", "key", "+", "key", "+", "+"])
    items = [sung_move(Pitch("C", 4), Pitch("G", 4)), sung_move(Pitch("G", 4), Pitch("C", 4))]
    tally = Sitting(Progress(), typed_io(typed_lines, said)).go([Step(i, Why.NEW) for i in items], lambda: START)
    assert (tally.asked, tally.right, tally.stopped) == (3, 2, False)
    assert said.count(by_hand_hint(BRITISH)) == 1
    assert said.count("Here is a note. Sing it, then a higher one.") == 5  # the last comes again, as it was wrong
    assert said[-6:-2] == ["Right.", question_text(BRITISH, items[1]), "For the helper: the second note goes down.", "Right."]


def test_whatever_is_typed_a_sitting_goes_on() -> None:
    rng = random.Random(11)
    odd = ["", " ", "?", "+", "-", "skip", "x" * 5000, "\0", "/", "/etc/passwd", "⠀", "⣿", "1" * 400, "ascii:", "dots",
           "5-", "-", "0", "9", "½", "ﬀ", "\ud800", "😀", "tune", "more", "1e5", "C" * 30, "##", "{C}", "%s"]
    for stage in stages():
        said: list[str] = []
        typed_lines = (rng.choice(odd) for _ in range(400))
        steps = [Step(item, Why.NEW, stage) for item in new_items(stage, rng, 12)]
        Sitting(Progress(), typed_io(typed_lines, said)).go(steps, lambda: START)
        assert said
        assert all(isinstance(s, str) for s in said)


def test_every_answer_is_in_the_diary_before_the_next_question(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    seen: list[int] = []
    pair = Pair(seed=3)
    with Diary(path) as diary:
        pupil = diary.pupil("Robin", new=True)
        io = pair.io()
        read = io.read

        def reading() -> str | None:
            with Diary(path) as other:
                seen.append(len(load_progress(other, other.pupil("Robin")).answers))
            return None if len(seen) > 6 else read()

        io.read = reading
        io.listen = None
        sit(diary, pupil, stages(), Days(), io)
    assert seen[0] == seen[1] == 0
    assert seen[-1] >= 4


def test_what_is_stored_during_a_sitting_is_not_overwritten(tmp_path: Path) -> None:
    """Two sittings and the adult's word at once: every answer counts, and the stage stays passed."""
    path = tmp_path / "d.sqlite"
    with Diary(path) as one, Diary(path) as two:
        pupil = one.pupil("Robin", new=True)
        pair = Pair(seed=3)
        io, other_asked = pair.io(), 0
        read, count = io.read, 0

        def reading() -> str | None:
            nonlocal count, other_asked
            count += 1
            if count == 3:  # in the middle of the first sitting, the whole of another and a word of the adult
                meanwhile = Pair(seed=4)
                other = meanwhile.io()
                other.listen = None
                other_asked = sit(two, two.pupil("Robin"), stages(), Days(), other).asked
                judge_stages(two, two.pupil("Robin"), stages(), ["5"], [], START, BRITISH)
            return read()

        io.read = reading
        io.listen = None
        asked = sit(one, pupil, stages(), Days(), io).asked
        progress = load_progress(one, pupil)
    assert other_asked > 4
    assert asked > 4
    assert len(progress.answers) > max(asked, other_asked)
    assert progress.passed["5"]["by"] == "word"


def test_forgetting_a_pupil_forgets_the_course(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    pair = Pair(seed=3)
    with Diary(path) as diary:
        go(diary, pair, 1)
        assert diary.owners(diary.pupil("Robin")) == ["course"]
        diary.forget("Robin")
        assert diary.find("Robin") is None
    data = b"".join(p.read_bytes() for p in tmp_path.iterdir())
    assert b"cell to name" not in data
    assert b"ear to voice" not in data


def test_a_hands_free_sitting_asks_only_for_singing(tmp_path: Path) -> None:
    pair = Pair(seed=5)
    io = pair.io(hands_free=True)

    def never() -> str | None:
        raise AssertionError("a key was waited for")

    io.read = never
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        for _ in range(2):  # in stage 1, and in stage 3
            before = len(pair.asked)
            tally = sit(diary, pupil, stages(), Days(), io)
            assert tally.asked >= 4
            assert {i.wants for i in pair.asked[before:]} == {Wants.SUNG}
            judge_stages(diary, pupil, stages(), ["1", "2"], [], START, BRITISH)


def test_what_is_known_and_what_comes_next_in_words(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Robin", new=True)
        assert judge_stages(diary, pupil, stages(), ["1", "c-d-e"], [], START, BRITISH) == [
            "Stage 1: Higher, lower, same is passed, by your word.",
            "Stage 2: Three cells: C, D, E is passed, by your word.",
            "Now: Stage 3: Two more cells: F and G. The pupil reads, writes and sings five notes in a row, from C "
            "to G."]
        lines = standing_lines(BRITISH, load_progress(diary, pupil).standing(stages(), START), START)
        assert "Two of 29 stages passed. The last: Three cells: C, D, E, by the word of an adult." in lines
        assert lines[-1] == "Next: Stage 4: A, B and the whole row."
        said = judge_stages(diary, pupil, stages(), [], ["2"], START, BRITISH)
        assert said[0] == "Stage 2: Three cells: C, D, E is taken back. It is asked again from today."


@pytest.mark.parametrize(("first", "seed"), [pytest.param(29, 0, marks=pytest.mark.slow),
                                             *(pytest.param(1, n, marks=pytest.mark.overnight) for n in (0, 1))])
def test_pairs_sung_aloud_finish(quick_folder: Path, first: int, seed: int) -> None:
    with Diary(quick_folder / "d.sqlite") as diary:
        days, progress = go(diary, Pair(seed=seed, miss=0.05, aloud=4), 150, first)
    assert progress.finished(stages()), days


def test_facts_asked_are_facts() -> None:
    for stage in stages():
        for drill in stage.drills:
            for name in drill.facts:
                assert fact(name).name == name
