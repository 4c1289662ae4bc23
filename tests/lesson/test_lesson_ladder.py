"""Slower, together, smaller, down to one note, and up again after success; always ending on a success."""

from __future__ import annotations

import pytest

from companion.lesson.ladder import Ladder, Manner, Piece, Size
from companion.match import Move, Verdict
from companion.tune import Direction, load


def move_at(line: tuple, i: int) -> Move:
    a, b = line[i], line[i + 1]
    return Move(a.number, b.number, Direction.UP, Direction.DOWN, Verdict.WRONG, 0.99, b.midi - a.midi, -2.0)


@pytest.fixture
def line() -> tuple:
    return load("snail-wall").phrase(2)


def steps(ladder: Ladder, takes: str, at: Move | None = None) -> list[tuple[Size, Manner]]:
    """The piece after each take: r right, m missed, u not sure."""
    out = []
    for take in takes:
        assert not ladder.done
        if take == "m":
            ladder.missed(at)
        elif take == "r":
            ladder.right()
        else:
            ladder.unsure()
        out.append((ladder.piece.size, ladder.piece.manner))
    return out


def test_down_it_goes_slower_together_and_to_the_one_move_as_a_slide(line: tuple) -> None:
    for at in range(len(line) - 1):
        ladder = Ladder(line)
        found = steps(ladder, "mmmmm", move_at(line, at))
        assert found == [(Size.PHRASE, Manner.TOGETHER), (Size.HALF, Manner.TOGETHER), (Size.MOVE, Manner.SLIDE),
                         (Size.MOVE, Manner.TOGETHER), (Size.NOTE, Manner.PLAIN)]
        assert [n.number for n in ladder.notes()] == [line[at].number]


def test_a_half_holds_the_move(line: tuple) -> None:
    for at in range(len(line) - 1):
        ladder = Ladder(line)
        steps(ladder, "mm", move_at(line, at))
        assert {line[at], line[at + 1]} <= set(ladder.notes())
        assert len(ladder.notes()) < len(line)


def test_success_builds_it_up_again(line: tuple) -> None:
    ladder = Ladder(line)
    steps(ladder, "mmm", move_at(line, 4))
    assert [size for size, _ in steps(ladder, "rrr")] == [Size.HALF, Size.PHRASE, Size.PHRASE]
    assert ladder.done
    assert not ladder.left
    assert not ladder.easy


def test_what_is_missed_on_the_way_up_ends_with_what_went_right(line: tuple) -> None:
    ladder = Ladder(line)
    steps(ladder, "mmmr", move_at(line, 2))  # the move has come
    move = Piece(Size.MOVE, 2, 3, Manner.SLIDE)
    assert steps(ladder, "m") == [(Size.MOVE, Manner.SLIDE)]
    assert (ladder.piece, ladder.ending) == (move, True)
    ladder.right()
    assert ladder.done
    assert ladder.left


@pytest.mark.parametrize("takes", ["m", "u"])
def test_no_way_of_failing_goes_on_for_ever_nor_climbs_twice(line: tuple, takes: str) -> None:
    ladder = Ladder(line)
    pieces = [ladder.piece]
    while not ladder.done:
        steps(ladder, takes, move_at(line, 2))
        if ladder.changed:
            pieces.append(ladder.piece)
    assert ladder.left
    assert ladder.takes <= 8
    assert len(set(pieces)) == len(pieces)


def test_a_short_phrase_goes_straight_to_the_move() -> None:
    short = load("snail-wall").phrase(1)[:4]
    assert steps(Ladder(short), "mm", move_at(short, 1))[-1] == (Size.MOVE, Manner.SLIDE)


def test_easy_is_right_at_the_first_take(line: tuple) -> None:
    ladder = Ladder(line)
    ladder.right()
    assert ladder.easy


def test_after_a_phrase_that_did_not_come_the_next_begins_together(line: tuple) -> None:
    ladder = Ladder(line, together=True)
    assert ladder.piece == Piece(Size.PHRASE, 0, len(line) - 1, Manner.TOGETHER)
    assert steps(ladder, "m", move_at(line, 1)) == [(Size.HALF, Manner.TOGETHER)]
    again = Ladder(line, together=True)
    again.right()
    assert again.done
    assert not again.easy


def test_a_phrase_of_one_note_has_nothing_smaller() -> None:
    one = load("snail-wall").phrase(1)[:1]
    ladder = Ladder(one)
    for _ in range(12):
        if not ladder.done:
            ladder.missed()
    assert ladder.done
