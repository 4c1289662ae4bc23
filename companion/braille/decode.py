"""Music braille back to a tune, from the same tables that write it.

Nothing here raises, whatever the cells: what is not understood is a `Problem` with line, column and a plain
sentence, and the rest is still read.

Layout. Heading: lines before the first music, centred, the last of them with key and time. Plain: music from the
margin, runovers further in. Vocal (MBC 2015, section 35): words at the margin, their music from cell 3.
"""

from __future__ import annotations

import re
import sys
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from companion.braille import signs as S
from companion.braille.bars import Reader
from companion.braille.chords import say_chords, with_chords, without_chords
from companion.braille.groups import (
    BAR_NUMBER,
    EXPRESSIONS,
    METRONOME_MARK,
    REPEAT,
    RESTS,
    read_digits,
    read_group,
    read_metronome,
    read_signature,
)
from companion.braille.layout import Row, music_lines
from companion.braille.literary import WordLanguage
from companion.braille.model import Meaning, MeaningKind, Problem, ProblemCode, Said
from companion.braille.page import from_brf
from companion.braille.reading import Raw, Reading
from companion.braille.sung import check_words, sing, words_of
from companion.braille.text import from_dots, pitch_only_heading, read_words, words
from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import N_, _
from companion.places import decoded, is_utf16, read_within
from companion.tune import DirectionKind, Key, ScoreDirection, Time, Tune

MOST_BYTES = 2_000_000  # a book of braille is smaller; more is a mistake
MOST_VERSES = 49
MOST_PARTS = 64  # lines with words of their own that one bar may have
RUNOVER = 4  # cells by which a line that goes on from the one before is set in, where there are words


def _music_like(cells: str) -> bool:
    """Whether a line reads as music: every sign known, and its first note has an octave mark."""
    found = rests = False
    if S.WORD in cells:
        cells = EXPRESSIONS.sub("", cells)
        if not cells.strip(S.SPACE):
            return True
    for group in cells.split(S.SPACE):
        if group[-1:] == S.HYPHEN:
            group = group[:-1]
        if not group:
            continue
        for piece, u in zip(*read_group(group)[:2], strict=True):
            if piece == S.BAR_REPEAT and group[0] != piece:
                continue  # a repeat of a part of the bar
            if u.unknown:
                if read_signature(group) or BAR_NUMBER.fullmatch(group):
                    break
                if RESTS.fullmatch(group) or REPEAT.fullmatch(group):
                    found = True
                    break
                return False
            if u.kind == "note":
                if not found and u.octave is None:
                    return False
                found = True
            elif u.kind == "rest" or u.before:
                rests = True
    return found or rests


def _heading(lines: list[Row]) -> int:
    """How many lines from the top are heading: to the line with key and time, or to the first music.

    A line that ends in a signature belongs to the heading if no music stands above it. Short titles may have the
    cells of notes throughout ("Quiet house"), so lines like music are let pass if they share the signature's
    middle: a heading is centred, music is not.
    """
    count = 0
    pitch_only = words(pitch_only_heading())
    for i in range(min(len(lines), 8)):
        joined = lines[i].cells
        for j in range(i, min(len(lines), i + 4)):
            joined = joined if j == i else joined + S.SPACE + lines[j].cells
            if joined == pitch_only:
                count = j + 1
    for i, line in enumerate(lines[:12]):
        last = line.cells.rsplit(S.SPACE, 1)[-1]
        if not (read_signature(last) or METRONOME_MARK.fullmatch(last)):
            continue
        above = lines[count:i]
        if i <= count or not any(_music_like(o.cells) for o in above) or all(abs(o.middle - line.middle) <= 1 for o in above) or (
                line.indent > 1 and all(_TITLE.fullmatch(o.cells) for o in above)):
            return _last_signature(lines, i) + 1
    while count < len(lines) - 1 and lines[count].indent > 0 and not _music_like(lines[count].cells):
        count += 1
    return count


#: Words that begin with a capital letter, over a line that is set in and ends in a signature: its sign is the mark of the
#: seventh octave, in which nobody sings.
_TITLE = re.compile(f"{S.CAPITAL}{{1,3}}[{''.join(S.LETTERS.values())}]+(?:{S.SPACE}{S.CAPITAL}{{0,2}}"
                    f"[{''.join(S.LETTERS.values())}]+)*(?:{S.CAPITAL_END})?")


def _last_signature(lines: list[Row], first: int) -> int:
    """The last line that ends in a signature, of the centred ones from here on: "Song 3." in a title has the cells of
    three-four time (3456, a digit, 256), and the signature stands below it."""
    last = first
    for i in range(first + 1, min(len(lines), 12)):
        line = lines[i]
        if line.indent < 2 or abs(line.middle - lines[first].middle) > 1:
            break
        end = line.cells.rsplit(S.SPACE, 1)[-1]
        if read_signature(end) or METRONOME_MARK.fullmatch(end):
            last = i
    return last


def decode(lines: Sequence[str], language: WordLanguage = WordLanguage.ENGLISH) -> Reading:
    """Read lines of Unicode cells (spaces and U+2800 both part bars). Never raises. language: of the words that are sung."""
    every, strange = _rows(lines)
    every, chords = without_chords(every)
    found = music_lines(every)
    found.said.extend(say_chords(chords))
    if not found.parts:
        return with_chords(_one_part(found.rows, strange, found.said, language), chords)
    parts = tuple((name, _one_part(found.rows + rows, strange, found.said, language)) for name, rows in found.parts)
    amiss = sorted({p for _name, part in parts for p in part.problems}, key=lambda p: (p.line, p.column))
    return with_chords(replace(parts[0][1], problems=tuple(amiss), parts=parts), chords)


def _one_part(rows: list[Row], strange: list[Problem], said: list[Said], language: WordLanguage) -> Reading:
    """One part: its heading, words and music. strange, said: what was amiss, or set aside, before.

    In one piece, because each way of reading the page is tried where the one before it left something amiss.
    """
    head = _heading(rows) if rows else 0
    margin = [r for r in rows[head:] if r.indent <= 1]
    inner = [r for r in rows[head:] if r.indent > 1]
    # Music that begins further in, with something at the margin later on, is vocal: plain music begins there.
    if margin and inner and (rows[head].indent > 1 or not all(_music_like(r.cells) for r in margin)):
        if margin == rows[head:head + 1] and not strange:
            # One line at the margin, which is whole bars of music but for the mark of its first note: that was forgotten.
            page = _PageReader(rows, head, False, said, language)
            reading = page.reading(strange)
            if [p.code for p in reading.problems] == [ProblemCode.MARK_FOR_FIRST_NOTE] and page.reader.bars[0].complete and (
                    not page.reader.named):
                return reading
        return _PageReader(rows, head, True, said, language).reading(strange)
    reading = _PageReader(rows, head, False, said, language).reading(strange)
    if reading.problems and margin and inner and all(
            len(r.cells) > 3 and _WORDS_LINE.fullmatch(r.cells) for r in margin):
        # Words whose letters are all cells of notes ("So so"): the reading with less amiss is the likelier.
        vocal = _PageReader(rows, head, True, said, language).reading(strange)
        if len(vocal.problems) < len(reading.problems):
            return vocal
    return reading


_WORDS_LINE = re.compile(f"(?:{S.CAPITAL}{{0,3}}[{''.join(S.LETTERS.values())}]+{S.SPACE}?)+(?:{S.CAPITAL_END})?")
_LINE = re.compile(f"{S.SPACE}*+(?P<cells>(?:{S.SPACE}*+[⠁-⣿]++)*+){S.SPACE}*+")
_STRANGE = re.compile("[^⠀-⣿]")
_SPACES = str.maketrans(dict.fromkeys(" \t\n", S.SPACE))


def _rows(lines: Sequence[str]) -> tuple[list[Row], list[Problem]]:
    """The lines that have cells, and what in them is none."""
    rows: list[Row] = []
    strange: list[Problem] = []
    for number, line in enumerate(lines, 1):
        if match := _LINE.fullmatch(line):  # cells alone, as most lines are
            if cells := match["cells"]:
                rows.append(Row(number, match.start("cells"), cells))
            continue
        line = line.translate(_SPACES)
        cells = line.strip(S.SPACE)
        indent = len(line) - len(line.lstrip(S.SPACE))
        if found := _STRANGE.search(cells):
            strange.append(Problem(number, indent + found.start() + 1, ProblemCode.NO_CELL))
            cells = _STRANGE.sub(S.SPACE, cells)
        if cells.strip(S.SPACE):
            rows.append(Row(number, indent, cells))
    if margin := min((row.indent for row in rows), default=0):  # of the paper: all lines have it
        rows = [Row(row.number, row.indent - margin, row.cells, margin) for row in rows]
    return rows, strange


class _PageReader:
    """Reads one page: heading, then music from the margin, or (vocal) words at the margin and music further in. aside: what
    was set aside before."""

    def __init__(self, rows: list[Row], head: int, vocal: bool, aside: list[Said], language: WordLanguage) -> None:
        self.language = language
        self.head = rows[:head]
        self.title, self.composer, self.tempo, signatures = _read_heading(self.head)
        self.pitch_only = pitch_only_heading() in self.title or pitch_only_heading() in self.tempo
        self.title = self.title.replace(pitch_only_heading(), "").strip()
        self.reader = Reader(self.pitch_only, vocal)
        self.texts = list(aside)
        self.hints: list[Problem] = []
        self.offsets: list[int] = []  # where each line of music begins in the whole text
        self.where: list[Row] = []  # and which line it is
        self.length = 0
        for signature in signatures:
            self.reader.take_signature(*signature)
        self._waiting()
        if vocal:
            self._vocal(rows[head:])
        else:
            self._music(rows[head:])
        self.reader.end()

    def _waiting(self) -> None:
        """Words of tempo and metronome marks of the heading wait for the first note."""
        if self.tempo and not self.pitch_only:
            self.reader.pending.append(ScoreDirection(DirectionKind.WORDS, self.tempo))
        for row in self.head:
            for group in row.cells.split(S.SPACE):
                if match := METRONOME_MARK.fullmatch(group):
                    self.reader.pending.append(read_metronome(match))

    def _music(self, rows: list[Row]) -> None:
        if not rows:
            return
        base = self.length
        for row in rows:
            self.offsets.append(self.length)
            self.where.append(row)
            self.length += len(row.cells) + 1
        self.reader.music("\n".join(r.cells for r in rows), base)

    def _vocal(self, rows: list[Row]) -> None:
        """Words from the margin with their runovers, then their music. Words without music are further verses.

        Several lines of words over one of music are as many verses, where each has its number or every line of music has
        as many; one line is the verse that its number says, where every one has a number. In one piece, because words wait
        over several lines for the bar that they belong to.
        """
        parallels = list(_parallels(rows))
        alike = len({len(sung) for sung, music in parallels if sung and music}) == 1
        over = [sung for sung, music in parallels if sung and music]
        numbered = any(len(sung) > 1 and _numbered(sung) for sung in over) or (bool(over) and all(map(_numbered, over)))
        goes_on: dict[int, bool] = {}
        waiting: list[tuple[list[list[Row]], int]] = []  # words over a part of a bar, and where their music ends
        began = 0
        for sung, music in parallels:
            for block in sung:
                self.texts += [Said(r.number, r.column, len(r.cells), Meaning(MeaningKind.LYRICS)) for r in block]
            if not music:
                self._further_verses(sung)
                continue
            self._music(music)
            waiting.append((sung, self.length))
            if self.reader.units and len(waiting) < MOST_PARTS:
                continue  # within a bar: its notes are known when it ends
            singing, began = self.reader.singing[began:], len(self.reader.singing)
            for sung, places in zip([s for s, _end in waiting], self._parted(singing, [e for _sung, e in waiting]), strict=True):
                self._sing_line(sung, places, numbered, alike, goes_on)
            waiting = []
        for sung, _end in waiting:
            self._sing_line(sung, self.reader.singing[began:], numbered, alike, goes_on)

    def _sing_line(self, sung: list[list[Row]], places: list[tuple[int, int]], numbered: bool, alike: bool,
                   goes_on: dict[int, bool]) -> None:
        """The words over a line of music, put under its notes. goes_on: of each verse, whether its last word does."""
        verses = _numbered(sung) if numbered else None
        if verses is None:
            verses = [(k, _cells_of(one)) for k, one in enumerate(sung if alike else sung[-1:])]
        for verse, cells in verses:
            goes_on[verse] = self._verse(sung[0][0], verse, cells, places, goes_on.get(verse, False))

    def _parted(self, places: list[tuple[int, int]], ends: list[int]) -> list[list[tuple[int, int]]]:
        """Notes by the lines of music on which they stand. ends: where in the text each line ends."""
        if len(ends) == 1:
            return [places]
        bars = {bar for bar, _note in places}
        at: dict[tuple[int, int], int] = {}
        for written in reversed(self.reader.written):
            if written.bar < min(bars, default=0):
                break
            notes = (offset for offset, _cells, u, _again in written.placed() if u.kind)
            at |= {(written.bar, n): offset for n, offset in enumerate(notes)}
        out: list[list[tuple[int, int]]] = [[] for _end in ends]
        for place in places:
            out[min(bisect_right(ends, at.get(place, 0)), len(ends) - 1)].append(place)
        return out

    def _verse(self, row: Row, verse: int, cells: str, places: list[tuple[int, int]], goes_on: bool) -> bool:
        """A line of words of one verse, put under its notes. row: the first of its lines. Whether its last word goes on."""
        merged = [(k, self.reader.merged[place]) for k, place in enumerate(places) if place in self.reader.merged]
        text = words_of(cells, merged if verse == 0 else None, self.language).strip()
        if not text:
            return goes_on
        if verse == 0 and (slip := check_words(text, len(places), self._rests_between(places))):
            self.hints.append(slip.at(row.number, row.column))
        return sing(self.reader, places, text, self.language, verse, goes_on)

    def _rests_between(self, places: list[tuple[int, int]]) -> bool:
        """Whether a rest stands between some of these notes: what follows it may be played and not sung."""
        if not places:
            return False
        (first, begin), (last, end) = places[0], places[-1]
        return any(note.pitch is None and (first, begin) < (b, n) < (last, end)
                   for b, bar in enumerate(self.reader.bars[first:last + 1], first) for n, note in enumerate(bar.notes))

    def _further_verses(self, blocks: list[list[Row]]) -> None:
        """Verses after the song, each with its number."""
        for block in blocks:
            if verses := _numbered([block]):
                verse, cells = verses[0]
                if verse and (text := words_of(cells, None, self.language).strip()):
                    sing(self.reader, self.reader.singing, text, self.language, verse)

    def _at(self, offset: int) -> tuple[int, int]:
        """Line and column of an offset in the music."""
        k = bisect_right(self.offsets, offset) - 1
        return self.where[k].number, self.where[k].column + offset - self.offsets[k]

    def reading(self, strange: list[Problem]) -> Reading:
        """What was read. strange: what was amiss before reading began."""
        if not self.pitch_only:
            self.reader.check_beats()
        bars = self.reader.finished()
        first = bars[0].notes[0].before if bars and bars[0].notes else ()
        bpm = next((_bpm(d.text) for d in first if d.kind is DirectionKind.METRONOME), None)
        tune = Tune(title=self.title, composer=self.composer, bars=bars, quarter_bpm=bpm,
                    heading=pitch_only_heading() if self.pitch_only else self.tempo)
        problems = strange + [slip.at(*self._at(offset)) for offset, slip in self.reader.problems]
        if not bars:
            problems.append(Problem(1, 1, ProblemCode.NO_MUSIC))
        problems.sort(key=lambda p: (p.line, p.column))
        # Several lines with notes to spare are how this music goes: long melismas, or much that is played.
        spare = [hint for hint in self.hints if hint.code is ProblemCode.FEWER_SYLLABLES]
        hints = [hint for hint in self.hints if hint not in spare] if len(spare) > 1 else self.hints
        return Reading(tune, tuple(problems), self.pitch_only, _raw=Raw(self.reader, self.head, self.texts, hints, self._at))


def _words_before_signatures(groups: list[str], last: bool, first: bool) -> list[str]:
    """What of a heading's line is words: all of it, unless it is the last or holds signatures alone."""
    text = list(groups)
    while text and (METRONOME_MARK.fullmatch(text[-1]) or read_signature(text[-1])):
        text.pop()
    return groups if not last and (text or first) else text


def _runs_on(before: Row, groups: list[str]) -> bool:
    """Whether the first word of a centred line would not have fitted on the centred line before it."""
    return before.indent < 2 * len(groups[0]) and len(before.cells) + 1 + len(groups[0]) > before.middle + 1


def _parallels(rows: list[Row]) -> Iterator[tuple[list[list[Row]], list[Row]]]:
    """Lines of words, each with its runovers, and the music below them with its own; either may be none."""
    i = 0
    while i < len(rows):
        sung: list[list[Row]] = []
        while i < len(rows) and rows[i].indent <= 1:
            block, i = _with_runovers(rows, i)
            sung.append(block)
        music: list[Row] = []
        if i < len(rows):
            music, i = _with_runovers(rows, i)
        yield sung, music


def _with_runovers(rows: list[Row], i: int) -> tuple[list[Row], int]:
    """The row at i and those set in below it, and where they end."""
    end = i + 1
    while end < len(rows) and rows[end].indent >= RUNOVER:
        end += 1
    return rows[i:end], end


def _cells_of(block: list[Row]) -> str:
    return _joined([row.cells for row in block])


def _joined(lines: Sequence[str]) -> str:
    """Lines of words as one; a word that fills a line and ends in a hyphen goes on in the next (`lines.wrap`)."""
    out = ""
    for k, line in enumerate(lines):
        cut = k < len(lines) - 1 and line[-1] == S.WORD_HYPHEN and S.SPACE not in line
        out += line[:-1] if cut else line + S.SPACE
    return out.rstrip(S.SPACE)


def _numbered(sung: list[list[Row]]) -> list[tuple[int, str]] | None:
    """The verses of several lines of words by their numbers: (verse from 0, its cells); None where not each has one."""
    out = []
    for block in sung:
        number, _space, cells = _cells_of(block).partition(S.SPACE)
        match = BAR_NUMBER.fullmatch(number.removesuffix(S.PUNCT_POINT))
        if not match or not 0 < int(read_digits(match["number"])) <= MOST_VERSES:
            return None
        out.append((read_digits(match["number"]) - 1, cells))
    return out if out and len({verse for verse, _cells in out}) == len(out) else None


def _bpm(text: str) -> float | None:
    unit_text, _, number = text.partition("=")
    try:
        return float(Fraction(unit_text)) * float(number)
    except (ValueError, ZeroDivisionError):
        return None


def _read_heading(rows: list[Row]) -> tuple[str, str, str, list[tuple[Key | None, Time | None]]]:
    """Title, composer, words of tempo, signatures. Signatures stand on the last line, or fill one below the title.

    In one piece, because what a line is depends on all that was found above it.
    """
    titles: list[str] = []
    composer: list[str] = []
    begun: list[str] = []  # below a composer: words of tempo that run on over several lines
    tempo = ""
    found: list[tuple[Key | None, Time | None]] = []
    by = _("by {composer}").format(composer="")
    for k, row in enumerate(rows):
        last = k == len(rows) - 1
        groups = [g for g in row.cells.split(S.SPACE) if g]
        text = _words_before_signatures(groups, last, k == 0)
        found += [signature for group in groups[len(text):] if (signature := read_signature(group))]
        if not text:
            continue
        cells = S.SPACE.join(text)
        said = read_words(cells)
        # Words of tempo end in a full stop, on the last line or, below a title, on the one before it. What would not have
        # fitted on the title's line goes on with the title.
        names = said.startswith(by) and said.removeprefix(by)[:1].isupper()  # "by the river" goes on with a title
        if k and titles and not composer and titles[-1][-1] != S.PUNCT_POINT and not names and _runs_on(rows[k - 1], groups):
            titles.append(cells)
        elif k and said.startswith(by):
            composer.append(cells)
        elif said.endswith(".") and (last or (0 < k == len(rows) - 2 and not found)):
            tempo = read_words(_joined([*begun, cells]))[:-1]
            begun = []
        elif composer and (begun or not _runs_on(rows[k - 1], groups)):
            begun.append(cells)
        else:
            (composer or titles).append(cells)
    return read_words(_joined(titles)), read_words(_joined([*composer, *begun])).removeprefix(by), tempo, found


# --- files ----------------------------------------------------------------------------------------------------

def lines_of(data: bytes) -> list[str]:
    """The lines of a file as Unicode cells: Unicode braille, dot numbers, or Braille ASCII (.brf). Never raises."""
    text = decoded(data, "replace")
    if any("⠀" <= c <= "⣿" for c in text):
        return re.split("\r\n|[\n\r\f\v]", text)
    if re.fullmatch(r"(?:[0-8]+|[\s-])*", text) and re.search(r"\d-\d", text):
        return [from_dots(line.replace("  ", " 0 ")) for line in text.splitlines()]
    return from_brf(text.encode("ascii", "replace") if is_utf16(data) else data)


_SOUND = N_("{path} is a sound, no braille. Give a .brf file, or a text file of braille cells.")
_XML = N_("{path} is XML, perhaps a MusicXML score, no braille. Give a .brf file, or a text file of braille cells.")
_PICTURE = N_("{path} is a picture, no braille. Give a .brf file, or a text file of braille cells.")
#: What files that are no braille begin with, by their own published forms. None is likely in a .brf.
OTHER_FILES = {
    b"fLaC": _SOUND, b"RIFF": _SOUND, b"OggS": _SOUND, b"ID3": _SOUND,
    b"%PDF-": N_("{path} is a PDF, no braille. Give a .brf file, or a text file of braille cells."),
    b"PK\x03\x04": N_("{path} is a zip or an .mxl score, no braille. Give a .brf file, or a text file of braille cells."),
    b"MThd": N_("{path} is a MIDI file, no braille. Give a .brf file, or a text file of braille cells."),
    b"<?xml": _XML,
    b"<score-": N_("{path} is a MusicXML score, no braille. Give a .brf file, or a text file of braille cells."),
    b"\x89PNG": _PICTURE, b"\xff\xd8\xff": _PICTURE,
}


def read_file(path: str | Path, language: WordLanguage = WordLanguage.ENGLISH) -> Reading:
    """Read a .brf file, a text file of Unicode cells, or "-" for standard input, by `run_limited`.
    language: of the words that are sung.

    Raises Trouble where there is no such file, it cannot be read, or it holds no cells.
    """
    if str(path) == "-":
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        file = Path(path)
        if file.is_dir():
            raise Trouble(_("{path} is a folder. Give a .brf file, or a text file of braille cells.").format(
                                path=path))
        try:
            data = read_within(file, MOST_BYTES)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise Trouble(_("{path} could not be read: {reason}. Give a .brf file, or a text file of braille cells.").format(
                                path=path, reason=reason)) from error
    if len(data) > MOST_BYTES:
        raise Trouble(_("{path} is larger than any tune in braille; give a .brf file, or a text file of cells.").format(
                            path=path))
    if not data.strip():
        if str(path) == "-":
            raise Trouble(_("Standard input is empty. Give a .brf file, or a text file of braille cells."))
        raise Trouble(_("{path} is empty. Give a .brf file, or a text file of braille cells.").format(path=path))
    other = next((sentence for begins, sentence in OTHER_FILES.items() if data.startswith(begins)), None)
    if other is not None:
        raise Trouble(_(other).format(path=path))
    return run_limited(_decoded, data, language, small=True)


def _decoded(data: bytes, language: WordLanguage) -> Reading:
    return decode(lines_of(data), language)
