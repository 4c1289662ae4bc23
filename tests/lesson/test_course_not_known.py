"""A pupil who does not know: told, with a way to remember it, tried at once, asked again a little later."""

from datetime import UTC, datetime, timedelta

import pytest
from course_pupil import BRITISH

from companion.course import Item, Progress, Step, Way, Why, card, fact, find_stage, name_cell, not_known, write_cell
from companion.language import question_text, reply_text
from companion.lesson import Sitting, SittingIO

NOW = datetime(2026, 9, 1, 16, 0, tzinfo=UTC)


def _goes(items: list[Item], lines: list[str]) -> tuple[Progress, list[str]]:
    progress, said, typed = Progress(), list[str](), iter(lines)
    io = SittingIO(BRITISH, lambda: next(typed, None), said.append, lambda cells: None, lambda item: None)
    Sitting(progress, io).go([Step(i, Why.NEW, find_stage(2)) for i in items], lambda: NOW)
    return progress, said


def test_what_is_not_known_is_told_tried_and_asked_again_three_questions_later() -> None:
    items = [write_cell(fact(n)) for n in ("C", "D", "E", "F", "G")]
    progress, said = _goes(items, ["I don't know", "145", "15", "124", "1245", "145", "125"])
    asked = [s for s in said if s.startswith("Write the note")]
    assert asked == [question_text(BRITISH, items[n]) for n in (0, 0, 1, 2, 3, 0, 4)]
    assert said[1] == ("It is written dots 1 4 5. In a book that cell is the letter d; the note is the letter before it.")
    # It is no evidence for the stage, neither when it was not known nor when it came back.
    assert [a["verdict"] for a in progress.answers] == ["right"] * 4
    # And it is remembered as forgotten: it is due within the day.
    assert progress.recall.due_at(card("C", Way.NAME_TO_CELL)) - NOW < timedelta(days=1)


def test_the_last_question_comes_back_too_and_only_once() -> None:
    _, said = _goes([name_cell(fact("C"))], ["dunno", "no idea", "I forgot", "C", "D"])
    assert sum(s == "Which note is this?" for s in said) == 4


def test_not_known_and_then_stopped() -> None:
    progress, said = _goes([name_cell(fact("C")), name_cell(fact("D"))], ["not sure", "stop"])
    assert not progress.answers
    assert sum(s == "Which note is this?" for s in said) == 2


@pytest.mark.parametrize(("name", "way"), [
    ("C crotchet", "Dot 6 below makes a crotchet"), ("crotchet rest", "v for a crotchet"), ("sharp", "a sharp adds dot 4"),
    ("fourth octave", "Dot 5 is the fourth"), ("2 flats", "side by side"), ("time 3 4", "First the number sign"),
    ("dynamic p", "word sign"), ("tie", "Touch it three times")])
def test_there_is_a_way_to_remember_everything(name: str, way: str) -> None:
    assert way in reply_text(BRITISH, name_cell(fact(name)), not_known(name_cell(fact(name))))


def test_the_ways_to_remember_are_true() -> None:
    # Dots of the cells from the Unicode standard: bit n is dot n + 1.
    def dots(name: str) -> set[int]:
        return {n + 1 for n in range(6) if ord(fact(name).cells[-1]) - 0x2800 >> n & 1}

    assert (dots("flat"), dots("sharp"), dots("natural")) == ({1, 6, 2}, {1, 6, 4}, {1, 6})
    for step in "CDEFGAB":
        upper = dots(step)
        assert upper <= {1, 2, 4, 5}
        assert [dots(f"{step} {v}") - upper for v in ("crotchet", "minim", "semibreve")] == [{6}, {3}, {3, 6}]
    # Letters m, u, v, x by their standard braille.
    assert [dots(f"{v} rest") for v in ("semibreve", "minim", "crotchet", "quaver")] == [
        {1, 3, 4}, {1, 3, 6}, {1, 2, 3, 6}, {1, 3, 4, 6}]
    for octave in ("first", "second", "third", "fourth", "fifth", "sixth", "seventh"):
        assert dots(f"{octave} octave") <= {4, 5, 6}
    assert dots("fourth octave") == {5}
