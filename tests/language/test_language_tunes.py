"""A line for each tune that ships, in British and American words."""

from companion.language import English, Variety, tune_line
from companion.tune import Entry, IntervalKind, Key, catalogue

ENTRY = Entry(name="snail-wall", title="Snail on the wall", notes=12, reach=7, beats=2, key=Key(-3, "minor"),
              words="Snail, snail",
              moves={IntervalKind.LEVEL: 3, IntervalKind.SEMITONE: 2, IntervalKind.STEP: 5, IntervalKind.SKIP: 0,
                     IntervalKind.LEAP: 1})


def test_a_tune_is_one_plain_line() -> None:
    assert tune_line(English(), ENTRY) == (
        "snail-wall: 12 notes, C minor, 2 beats in a bar, 7 semitones from lowest to highest. "
        "Moves: 3 level, 2 by semitone, 5 by step, 1 by leap. Begins: Snail, snail.")


def test_american_names_come_from_the_catalogue() -> None:
    line = tune_line(English(Variety.AMERICAN), ENTRY)
    assert "2 beats in a measure, 7 half steps from lowest to highest" in line
    assert "2 by half step" in line


def test_every_tune_that_ships_has_its_line() -> None:
    for entry in catalogue():
        line = tune_line(English(), entry)
        assert line.startswith(f"{entry.name}: {entry.notes} notes, ")
        assert entry.key.name in line
        assert ("Begins: " in line) == bool(entry.words)
