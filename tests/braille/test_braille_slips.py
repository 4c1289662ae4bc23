"""The proof-reader measured: slips of twelve kinds in right pages, and real parts of other collections there and back."""

import pytest
from braille import parts, slips


@pytest.mark.parametrize(("number", "tunes"), [(120, 30), pytest.param(1000, 200, marks=pytest.mark.slow)])
def test_slips_are_found_or_hinted_at(number: int, tunes: int) -> None:
    """At least as many as are wanted of each kind; hints on right pages at most one in 200 bars. Few slips say little: the
    quick form allows for two more of ten that are missed, and for three hints."""
    found = slips.count(number, tunes)
    few = number < 1000
    for kind, least in slips.LEAST.items():
        hits, tried = found["slips"][kind]
        assert tried >= number // 30, kind
        assert hits >= tried * least - (2 if few else 0), (kind, found)
    assert sum(found["hints_on_right_pages"].values()) <= max(found["bars"] / 200, 3 if few else 0), found


@pytest.mark.parametrize("number", [pytest.param(20, marks=pytest.mark.slow), pytest.param(60, marks=pytest.mark.overnight)])
def test_parts_of_other_collections_come_back(number: int) -> None:
    """Reels, airs, chorale voices, madrigals, masses and songs, at 40 and 28 cells: all come back the same, those with chords
    are refused in one sentence."""
    found = parts.count(number)
    read = sum(found["parts"].values())
    assert read >= number * 0.8
    same, refused = sum(found["same"].values()), sum(found["refused"].values())
    assert same == read - refused, found
    assert refused <= read / 4, found
