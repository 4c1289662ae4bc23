"""Sheets for an embosser: words and their music stand on one sheet, whatever the song and the paper (MBC 2015, section 35)."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate, pairwise

import pytest
from braille import parts

from companion.braille import SPACE, BraillePage, Habits, encode, from_brf
from companion.errors import Trouble
from companion.paper import PageSize, song_brf, song_page
from companion.tune import Tune, from_music21, load, shipped_names

PAPERS = ((40, 25), (32, 27), (28, 25))


def cut_parallels(tune: Tune, width: int, height: int, numbers: bool = False, under: bool = False) -> list[str]:
    """Of a song's sheets as they leave for the embosser: what is longer than the paper, and lines at the end of a sheet whose
    parallel goes on overleaf. A parallel is read from the sheets themselves: lines from the margin are words, what is set in
    below them is their music or goes on with a line. Music that nobody sings words to, an interlude, begins a parallel of its
    own: whether it is such is asked of the tune."""
    page = song_page(lambda width, title=True: encode(tune, width=width, title=title, habits=Habits(verses_under=under)),
                     width, numbers)
    sheets = [sheet.split("\r\n") for sheet in song_brf(page, PageSize(width, height)).decode("ascii").removesuffix("\r\n").split(
        "\r\n\f")]
    amiss = [line for sheet in sheets for line in sheet if len(line) > width]
    amiss += [f"{len(sheet)} lines" for sheet in sheets if len(sheet) > height]
    sung = sung_lines(tune, page)
    at = 0
    for k, (before, after) in enumerate(pairwise(sheets)):
        first = after[1]  # below the running head
        at += sum(1 for line in before[int(k > 0):] if line)
        # Music, or the rest of a line, without its words above it.
        if first.startswith("    ") or (first.startswith("  ") and at in sung):
            amiss.append(f"begins with {first}")
        if not before[-1].startswith("  "):  # words at the foot of a sheet
            verses = [line for line in after[1:] if not line.startswith("    ")]
            if any(line.startswith("  ") for line in verses):  # else further verses after the song
                amiss.append(f"ends with {before[-1]}")
    lines = [line for sheet in from_brf(song_brf(page, PageSize(width, height))) for line in [sheet.rstrip(SPACE)] if line]
    assert lines == [line.rstrip(SPACE) for line in page.lines if line.strip(SPACE)]  # nothing is lost between sheets
    return amiss


def sung_lines(tune: Tune, page: BraillePage) -> set[int]:
    """The lines of a page, from 0 and without free ones, on which a note with a syllable stands."""
    notes = [n for _b, _n, n in tune.written() if n.pitch is not None and not n.grace]
    place = list(accumulate((bool(line.strip(SPACE)) for line in page.lines), initial=0))
    return {place[link.line - 1] for link in page.links if any(notes[link.note - 1].syllables)}


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


def test_an_interlude_is_no_cut() -> None:
    """Bars without words stand in lines of their own; words never wait over them for a sheet."""
    song = repeated(load("lantern"), 3)
    bars = tuple(replace(bar, notes=tuple(replace(note, syllables=()) for note in bar.notes)) if 4 <= k < 40 else bar
                 for k, bar in enumerate(repeated(song, 5).bars))
    made = replace(song, bars=bars)
    for numbers in (False, True):
        assert cut_parallels(made, 28, 6, numbers) == []
        page = song_page(lambda width, title=True: encode(made, width=width, title=title), 28, numbers)
        sheets = song_brf(page, PageSize(28, 6)).decode("ascii").split("\r\n\f")
        assert any(sheet.split("\r\n")[1].startswith("  ") for sheet in sheets[1:])


@pytest.mark.slow
def test_no_shipped_song_is_cut_on_any_paper() -> None:
    for tune in map(load, shipped_names()):
        if any(n.syllables for _b, _n, n in tune.written()):
            check(repeated(tune, 3))


@pytest.mark.slow
def test_no_mass_is_cut() -> None:
    """A voice of a mass, with melismas that take lines without words."""
    from music21 import corpus

    tune = from_music21(corpus.parse("trecento/PMFC_24_11-Credo Ciconia 11").parts[0])
    assert any(n.syllables for _b, _n, n in tune.written())
    check(tune)


@pytest.mark.overnight
def test_no_song_is_cut() -> None:
    """20 songs of music21's corpus."""
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
