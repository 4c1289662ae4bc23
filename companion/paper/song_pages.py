"""A song in music braille as pages for an embosser: its heading, bar numbers at the margin, sheets with a running head.

Words and their music stay on one sheet (MBC 2015, section 35). The title is centred with a free line after it, and every
sheet after the first begins with a running head, as is the common practice of the trade; see `braille_pages`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from companion.braille import SPACE, BraillePage, check_width, decode, paged, words
from companion.errors import Trouble
from companion.messages import _
from companion.paper.braille_pages import WIDTH, centred, page_head
from companion.paper.page_sizes import USUAL, PageSize
from companion.paper.pef import ENDING
from companion.places import write_whole


def song_page(written: Callable[..., BraillePage], width: int = WIDTH, bar_numbers: bool = False) -> BraillePage:
    """A song laid out for pages of `width` cells, with a free line after its title.

    written: `encode` with its tune and options, all but `width` and `title`. bar_numbers: each line of music that begins
    with a bar has its number first (De Garmo, Introduction to Braille Music Transcription, chapter 10). Raises Trouble for
    a width that no page has, or that is too narrow.
    """
    check_width(width)
    used = width
    page = written(width=width)
    numbers = _bar_numbers(page) if bar_numbers else {}
    if any(len(line) + len(number) + 1 > width for k, number in numbers.items() for line in (
            page.lines[k], *page.lines[k + 1:k + 2] * (k + 1 in page.chord_lines))):
        used -= max(map(len, numbers.values())) + 1
        try:
            check_width(used)
        except Trouble as trouble:
            raise Trouble(_("A line of {width} cells has no room for bar numbers; give a greater width, or leave the "
                            "numbers out.").format(width=width)) from trouble
        page = written(width=used)
        numbers = _bar_numbers(page)
    heads = len(page.lines) - len(written(width=used, title=False).lines)
    title = [line for head in page.lines[:heads] for line in centred(head.strip(SPACE), width)]
    lines = [*title, *([""] if title else [])]
    moved = len(lines) - heads
    first = min([*numbers, *page.parallels], default=heads)
    shift = dict.fromkeys(numbers, 0)  # cells to the right, by line
    for k, line in enumerate(page.lines[heads:], heads):
        if k in numbers:
            music = line.lstrip(SPACE)
            # At the margin; under words, which have the margin for themselves, in cell 3, by which such music is known.
            indent = len(line) - len(music) if page.parallels else 0
            shift[k] = indent + len(numbers[k]) + 1 - (len(line) - len(music))
            line = SPACE * indent + numbers[k] + SPACE + music
        elif k - 1 in numbers and k in page.chord_lines:
            line = line.rjust(len(line) + shift[k - 1], SPACE) if shift[k - 1] >= 0 else line[-shift[k - 1]:]
        elif numbers and k < first:
            heading = line.strip(SPACE)  # tempo, key and time
            line = SPACE * ((width - len(heading)) // 2) + heading
        lines.append(line)
    links = tuple(link._replace(line=link.line + moved, column=link.column + shift.get(link.line - 1, 0))
                  for link in page.links)
    return BraillePage(tuple(lines), links, page.title, tuple(k + moved for k in page.parallels),
                       tuple(k + moved for k in page.chord_lines))


def _bar_numbers(page: BraillePage) -> dict[int, str]:
    """The number, in cells, of the bar with which a line begins, by the line counted from 0."""
    reading = decode(list(page.lines))
    out: dict[int, str] = {}
    begun: set[int] = set()
    for bar, note, line, _column, _cells in sorted(reading.places, key=lambda p: p[2:4]):
        if line not in begun:
            begun.add(line)
            if note == 0:
                out[line - 1] = words(str(reading.tune.bars[bar].number))
    return out


def song_brf(song: BraillePage, size: PageSize = USUAL, numbered: bool = True) -> bytes:
    """A .brf file: Braille ASCII with CRLF line ends, a form feed between sheets of the size's height, with
    its margins.

    numbered: every sheet after the first begins with its running head. Words whose music would stand on the next sheet
    stand there too; what is longer than a sheet is cut.
    """
    return size.with_margins(_sheets(song, size, numbered))


def _sheets(song: BraillePage, size: PageSize, numbered: bool) -> bytes:
    """The sheets without margins."""
    title = words(song.title)
    return paged(song, size.height, (lambda number: page_head(title, number, size.width)) if numbered else None)


def song_pef(song: BraillePage, size: PageSize = USUAL, numbered: bool = True) -> bytes:
    """The same sheets as PEF."""
    return size.as_pef(_sheets(song, size, numbered), song.title)


def save_song(song: BraillePage, path: str | Path, size: PageSize = USUAL, numbered: bool = True,
              as_pef: bool = False) -> None:
    """Write a song as PEF where that is asked for or the file's name ends in .pef, else as .brf. Raises Trouble."""
    written = song_pef if as_pef or Path(path).suffix.lower() == ENDING else song_brf
    write_whole(path, written(song, size, numbered))
