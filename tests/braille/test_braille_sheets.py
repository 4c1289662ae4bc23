"""Sheets for an embosser: words and their music stand on one sheet, whatever the song and the paper (MBC 2015, section 35)."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from braille import parts

from companion.braille import SPACE, Habits, encode, from_brf
from companion.errors import Trouble
from companion.paper import PageSize, song_brf, song_page
from companion.tune import Tune, load, shipped_names

PAPERS = ((40, 25), (32, 27), (28, 25))


def cut_parallels(tune: Tune, width: int, height: int, numbers: bool = False, under: bool = False) -> list[str]:
    """Of a song's sheets as they leave for the embosser: what is longer than the paper, and lines at the end of a sheet whose
    parallel goes on overleaf. A parallel is read from the sheets themselves: lines from the margin are words, what is set in
    below them is their music or goes on with a line."""
    page = song_page(lambda width, title=True: encode(tune, width=width, title=title, habits=Habits(verses_under=under)),
                     width, numbers)
    sheets = [sheet.split("\r\n") for sheet in song_brf(page, PageSize(width, height)).decode("ascii").removesuffix("\r\n").split(
        "\r\n\f")]
    amiss = [line for sheet in sheets for line in sheet if len(line) > width]
    amiss += [f"{len(sheet)} lines" for sheet in sheets if len(sheet) > height]
    for before, after in pairwise(sheets):
        first = after[1]  # below the running head
        if first.startswith("  "):  # music, or the rest of a line, without its words above it
            amiss.append(f"begins with {first}")
        if not before[-1].startswith("  "):  # words at the foot of a sheet
            verses = [line for line in after[1:] if not line.startswith("    ")]
            if any(line.startswith("  ") for line in verses):  # else further verses after the song
                amiss.append(f"ends with {before[-1]}")
    lines = [line for sheet in from_brf(song_brf(page, PageSize(width, height))) for line in [sheet.rstrip(SPACE)] if line]
    assert lines == [line.rstrip(SPACE) for line in page.lines if line.strip(SPACE)]  # nothing is lost between sheets
    return amiss


def check(tune: Tune) -> int:
    """All papers, with and without bar numbers and verses under; gives how many sheets there were at the least."""
    for width, height in PAPERS:
        for numbers, under in ((False, False), (True, False), (False, True)):
            assert cut_parallels(tune, width, height, numbers, under) == [], (tune.title, width, height, numbers, under)
    return 1


def repeated(tune: Tune, times: int) -> Tune:
    """A tune long enough for several sheets."""
    bars = tuple(replace(bar, number=k) for k, bar in enumerate(tune.bars * times, 1))
    return replace(tune, bars=bars)


def test_no_shipped_song_is_cut() -> None:
    """Some of them, a paper each, four times over, so that they take several sheets; all of them in the slow test."""
    songs = [tune for tune in map(load, shipped_names()[:5]) if any(n.syllables for _b, _n, n in tune.written())]
    assert len(songs) >= 2
    for k, tune in enumerate(songs):
        width, height = PAPERS[k % len(PAPERS)]
        assert cut_parallels(repeated(tune, 4), width, height, numbers=k % 2 == 1) == [], tune.title


@pytest.mark.overnight
def test_no_song_is_cut() -> None:
    """All shipped songs, and 20 of music21's corpus. Open: with bar numbers at 40 by 25, a sheet of a "Credo" begins with a
    numbered line of music of a bar without words; whether words belong to it has not been decided, so this fails there."""
    for tune in map(load, shipped_names()):
        if any(n.syllables for _b, _n, n in tune.written()):
            check(tune)
            check(repeated(tune, 3))
    found = 0
    for part in parts.parts(600, seed=12, kinds=("songs", "masses")):
        try:
            tune = parts.tune_of(part)
            if any(n.syllables for _b, _n, n in tune.written()):
                found += check(tune)
        except Trouble:
            continue
        if found == 20:
            break
    assert found == 20
