"""Smaller after two misses, down to the one move, and up again after success."""

from __future__ import annotations

import pytest

from companion.lesson.ladder import Ladder, Size
from companion.match import Move, Verdict
from companion.tune import Direction, load


def move_at(line: tuple, i: int) -> Move:
    a, b = line[i], line[i + 1]
    return Move(a.number, b.number, Direction.UP, Direction.DOWN, Verdict.WRONG, 0.99, b.midi - a.midi, -2.0)


@pytest.fixture
def line() -> tuple:
    return load("snail-wall").phrase(2)


def test_two_misses_shrink_to_the_half_and_then_to_the_move(line: tuple) -> None:
    for at in range(len(line) - 1):
        ladder = Ladder(line)
        sizes = []
        for _ in range(4):
            ladder.missed(move_at(line, at))
            sizes.append((ladder.piece.size, ladder.changed))
        assert sizes == [(Size.PHRASE, False), (Size.HALF, True), (Size.HALF, False), (Size.MOVE, True)]
        assert [n.number for n in ladder.notes()] == [line[at].number, line[at + 1].number]


def test_a_half_holds_the_move(line: tuple) -> None:
    for at in range(len(line) - 1):
        ladder = Ladder(line)
        ladder.missed(move_at(line, at))
        ladder.missed(move_at(line, at))
        assert {line[at], line[at + 1]} <= set(ladder.notes())
        assert len(ladder.notes()) < len(line)


def test_success_builds_it_up_again(line: tuple) -> None:
    ladder = Ladder(line)
    for _ in range(4):
        ladder.missed(move_at(line, 4))
    sizes = []
    while not ladder.done:
        ladder.right()
        sizes.append(ladder.piece.size)
    assert sizes == [Size.HALF, Size.PHRASE, Size.PHRASE]
    assert not ladder.left


def test_a_move_that_does_not_come_is_left_for_another_day(line: tuple) -> None:
    ladder = Ladder(line)
    count = 0
    while not ladder.done:
        ladder.missed(move_at(line, 2))
        count += 1
    assert ladder.left
    assert count == 7  # two, two, three


def test_what_cannot_be_judged_is_no_miss_and_does_not_go_on_for_ever(line: tuple) -> None:
    ladder = Ladder(line)
    for _ in range(2):
        ladder.unsure()
        assert ladder.piece.size == Size.PHRASE
    ladder.missed(None)
    ladder.unsure()
    assert not ladder.done
    ladder.unsure()
    ladder.unsure()
    assert ladder.done
    assert ladder.left


def test_a_short_phrase_goes_straight_to_the_move(line: tuple) -> None:
    ladder = Ladder(line[:3])
    ladder.missed(move_at(line, 1))
    ladder.missed(move_at(line, 1))
    assert ladder.piece.size == Size.MOVE
    ladder.right()
    assert ladder.piece.size == Size.PHRASE
