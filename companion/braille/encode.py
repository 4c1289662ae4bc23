"""A tune to music braille: one voice, with or without words, laid out in lines.

`pieces` makes the bars; here they are put on lines, with bar repeats, rests of several bars, words and heading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.page import BraillePage, Link
from companion.braille.pieces import (
    PITCH_ONLY_HEADING,
    WHOLE_REST,
    Encoder,
    Habits,
    Piece,
    State,
    key_cells,
    metronome_cells,
    needs_octave,
    number_cells,
    time_cells,
)
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Bar, Note, ScoreDirection, Syllable, Tune

__all__ = ["Habits", "encode", "key_cells", "needs_octave", "one_line", "pitch_only_tune", "time_cells"]

NARROWEST, WIDEST = 12, 120

# --- lines ------------------------------------------------------------------------------------------------------

class _Lines:
    """Lines under way, with links gathered as cells are put down."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []
        self.links: list[Link] = []
        self.parts: list[str] = []  # of the line under way
        self.column = 0
        self.begun = False

    def end(self) -> None:
        if self.parts:
            line = "".join(self.parts).rstrip(S.SPACE)
            if line:
                self.lines.append(line)
            self.parts = []
        self.column = 0

    def new(self, indent: int = 0) -> None:
        self.end()
        self.parts = [S.SPACE * indent] if indent else []
        self.column = indent
        self.begun = False

    def text(self, cells: str, indent: int = 0) -> None:
        """A line of its own."""
        self.end()
        self.lines.append(S.SPACE * indent + cells)

    def centred(self, cells: str) -> None:
        """In the middle of a line; what is too long runs on at its spaces."""
        for line in [cells] if len(cells) <= self.width else wrap(cells, self.width):
            self.text(line, (self.width - len(line)) // 2)

    def put(self, pieces: list[Piece]) -> None:
        column, parts, links, line = self.column, self.parts, self.links, len(self.lines) + 1
        for p in pieces:
            cells = p.head + p.mark + p.tail if p.due else p.head + p.tail
            if p.note:
                if p.all is None:
                    links.append(Link(p.note, line, column + 1, len(cells)))
                else:
                    links += [Link(n, line, column + 1, len(p.head)) for n in p.all]
            parts.append(cells)
            column += len(cells)
        self.column = column
        self.begun = True

    def space(self) -> None:
        self.parts.append(S.SPACE)
        self.column += 1


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Braille text cut at its spaces into lines of at most `width`; a longer word is cut where it must be."""
    lines, line = [], ""
    room = width
    for word in text.split(S.SPACE):
        while len(word) > room - (len(line) + 1 if line else 0) and (len(word) > width - indent or not line):
            if line:
                lines.append(line)
                line, room = "", width - indent
                continue
            lines.append(word[:room])
            word, room = word[room:], width - indent
        if not line:
            line = word
        elif len(line) + 1 + len(word) <= room:
            line += S.SPACE + word
        else:
            lines.append(line)
            line, room = word, width - indent
    return [*lines, line] if line else lines


def _length(pieces: list[Piece]) -> int:
    """How many cells pieces take as they stand."""
    total = 0
    for p in pieces:
        total += len(p.head) + len(p.tail) + (len(p.mark) if p.due else 0)
    return total


def _mark_first(pieces: list[Piece], marks: bool) -> None:
    """The first note of a line has its octave mark."""
    if marks:
        for p in pieces:
            if p.mark:
                p.due = True
                return


def _place_bar(pieces: list[Piece], page: _Lines, runover: int, again: Callable[[], list[Piece]],
               number: int, marks: bool) -> None:
    """Put a bar on the line, or on a new one where it does not fit, or in parts with music hyphens."""
    if not pieces:
        return
    if not page.begun:
        _mark_first(pieces, marks)
    length = _length(pieces)
    if pieces[-1].flow:
        length -= 1  # the space at its end may fall away
    gap = 1 if page.begun else 0
    if page.column + gap + length <= page.width:
        if gap:
            page.space()
        page.put(pieces)
        return
    if page.begun:
        page.new(runover)
        _mark_first(pieces, marks)
        if _length(pieces) - pieces[-1].flow <= page.width - page.column:
            page.put(pieces)
            return
    if not _place_long(pieces, page, runover, marks):
        pieces = again()
        _mark_first(pieces, marks)
        if not _place_long(pieces, page, runover, marks):
            raise Trouble(_("A line of {width} cells is too short for bar {number}; give a greater width.").format(
                                width=page.width, number=number))


def _place_long(pieces: list[Piece], page: _Lines, runover: int, marks: bool) -> bool:
    """A bar longer than a line, in parts: each but the last ends in a music hyphen, each begins with a mark.

    False, and nothing is put down, where a part that must stay whole does not fit.
    """
    room = page.width - runover
    whole: list[list[Piece]] = []
    for p in pieces:
        if p.joined and whole and not p.flow:
            whole[-1].append(p)
        else:
            whole.append([p])
    for k, part in enumerate(whole):
        size = _length(part) + sum(len(p.mark) for p in part[:1] if not p.due)
        if not part[0].flow and size + (k < len(whole) - 1) > room:
            return False
        if part[0].flow and any(len(word) > room for word in part[0].head.split(S.SPACE)):
            return False
    for k, part in enumerate(whole):
        if part[0].flow:
            _flow(part[0].head, page, runover)
            continue
        # A music hyphen follows unless the bar ends here, or words or a signature stand apart after it.
        following = whole[k + 1][0] if k + 1 < len(whole) else None
        after = 0 if following is None or (following.flow and following.head[0] != S.HYPHEN) else 1
        if page.column + _length(part) + after > page.width and page.begun:
            if not (k and whole[k - 1][0].flow):  # after words that stand apart no hyphen is wanted
                page.parts.append(S.HYPHEN)
            page.new(runover)
            _mark_first(part, marks)
        page.put(part)
    return True


def _flow(cells: str, page: _Lines, runover: int) -> None:
    """Words or signatures with spaces: a line may end at any of them."""
    words = cells.split(S.SPACE)
    for k, word in enumerate(words):
        if k:
            if page.column < page.width:
                page.space()
            elif word:
                page.new(runover)
        if word:
            if page.column + len(word) > page.width:
                page.new(runover)
            page.parts.append(word)
            page.column += len(word)
            page.begun = True


def _plain(tune: Tune, encoder: Encoder, page: _Lines) -> None:
    page.new()
    bars = tune.bars
    marks = encoder.habits.octave_marks
    repeats = encoder.habits.repeats and not encoder.pitch_only
    index = 0
    previous: tuple[Note, ...] = ()
    while index < len(bars):
        bar = bars[index]
        if repeats:
            notes = bar.notes
            if previous and notes and notes[0].pitch == previous[0].pitch and (
                    count := _repeated(bars, index, encoder)):
                _place_repeats(count, index, encoder, page)
                index += count
                continue
            previous = notes
            if len(notes) == 1 and notes[0].pitch is None and (count := _rests(bars, index, encoder)) > 1:
                pieces = _rest_pieces(count)
                encoder.close(bars[index + count - 1], index + count - 1, pieces)
                encoder.tied = None
                _place_bar(pieces, page, 2, list, bar.number, marks)
                index += count
                continue
        state = encoder.state()

        def again(index: int = index, state: State = state) -> list[Piece]:
            encoder.back_to(state)
            return encoder.bar(index, grouped=False)

        _place_bar(encoder.bar(index), page, 2, again, bar.number, marks)
        index += 1


def _repeated(bars: tuple[Bar, ...], index: int, encoder: Encoder) -> int:
    """How many bars from here are the same as the one before, so that repeat signs can stand for them."""
    model = bars[index - 1]
    if index == 0 or model.backward_repeat or model.barline not in ("", "none") or not encoder.whole(model):
        return 0
    count = 0
    for bar in bars[index:]:
        if (bar.key or bar.time or bar.forward_repeat or bar.ending or bar.after or bar.notes != model.notes):
            break
        count += 1
        if bar.backward_repeat or bar.barline not in ("", "none"):
            break
    return count


def _place_repeats(count: int, index: int, encoder: Encoder, page: _Lines) -> None:
    bars = encoder.tune.bars
    single = [n for n in bars[index].notes if n.pitch is not None and not n.grace]

    def put(piece: Piece) -> None:
        if page.begun and page.column + 1 + len(piece.cells) > page.width:
            page.new(2)
        elif page.begun:
            page.space()
        page.put([piece])

    def links(times: int) -> None:
        line, column = len(page.lines) + 1, page.column - len(pieces[-1].cells) + 1
        for _unused in range(times * len(single)):
            encoder.count += 1
            page.links.append(Link(encoder.count, line, column, len(pieces[-1].head)))

    pieces: list[Piece] = []
    runs = [1] * count if count < 3 else [count]
    for k, times in enumerate(runs):
        sign = S.BAR_REPEAT + (S.NUMBER + number_cells(str(times)) if times > 1 else "")
        piece = Piece(sign, "", "", False, 0, False)
        pieces = [piece]
        if k == len(runs) - 1:
            encoder.close(bars[index + count - 1], index + count - 1, pieces)
        put(piece)
        links(times)
    if count >= 3:
        encoder.before = None  # after a number the next note has its mark (De Garmo, example 17-5)


def _rests(bars: tuple[Bar, ...], index: int, encoder: Encoder) -> int:
    """How many bars of rest from here can be written together."""
    count = 0
    for bar in bars[index:]:
        note = bar.notes[0] if len(bar.notes) == 1 else None
        if note is None or note.pitch is not None or note.before or bar.after or note.marks or not (
                note.whole_bar or (encoder.time and note.quarters >= encoder.time.quarters)):
            break
        if bar.key or bar.time or bar.forward_repeat or bar.ending:
            break
        count += 1
        if bar.backward_repeat or bar.barline not in ("", "none"):
            break
    full = encoder.full
    return 0 if count in (2, 3) and full == count * 1024 else count  # else it would read as one long bar


def _rest_pieces(count: int) -> list[Piece]:
    """Rests of several bars: up to three written out, more with their number (De Garmo, chapter 5)."""
    if count <= 3:
        return [Piece(WHOLE_REST, "", "", False, 0, k > 0) for k in range(count)]
    return [Piece(S.NUMBER + number_cells(str(count)) + WHOLE_REST, "", "", False, 0, False)]


def _vocal(tune: Tune, encoder: Encoder, page: _Lines, text: Callable[[str], str]) -> None:
    """A line of words at the margin, its music below from cell 3 (MBC 2015, section 35); verses after the first
    stand by themselves at the end."""
    bars = tune.bars
    marks = encoder.habits.octave_marks
    starts = {n.sources[0][0] for a, n in pairwise(tune.line())
              if n.phrase != a.phrase and n.sources[0][1] == 0}
    index = 0
    while index < len(bars):
        # As many bars as fit in one line of words and one of music, no further than the phrase.
        made: list[list[Piece]] = []
        states: list[State] = []
        length = 2
        while index + len(made) < len(bars):
            states.append(encoder.state())
            pieces = encoder.bar(index + len(made))
            if not made:
                _mark_first(pieces, marks)
            more = length + _length(pieces) + (1 if made else 0)
            if made and (more > page.width or
                         len(text(_words_of(tune, index, index + len(made) + 1))) > page.width):
                encoder.back_to(states.pop())
                break
            made.append(pieces)
            length = more
            if index + len(made) in starts:
                break
        words = text(_words_of(tune, index, index + len(made)))
        for k, line in enumerate(wrap(words, page.width, 4)):
            page.text(line, 4 if k else 0)
        page.new(2)
        for k, pieces in enumerate(made):
            end = encoder.state()

            def again(at: int = index + k, state: State = states[k]) -> list[Piece]:
                encoder.back_to(state)
                return encoder.bar(at, grouped=False)

            _place_bar(pieces, page, 4, again, bars[index + k].number, marks)
            encoder.back_to(end)
        index += len(made)
    page.end()
    for verse in range(1, max((len(n.syllables) for _unused, _unused, n in tune.written()), default=0)):
        words = S.NUMBER + number_cells(str(verse + 1)) + S.SPACE + text(_words_of(tune, 0, len(bars), verse))
        for k, line in enumerate(wrap(words, page.width, 4)):
            page.text(line, 4 if k else 0)


def _syllables(tune: Tune, first: int, stop: int, verse: int) -> Iterator[Syllable]:
    for bar in tune.bars[first:stop]:
        for note in bar.notes:
            if len(note.syllables) > verse and (said := note.syllables[verse]):
                yield said


def _words_of(tune: Tune, first: int, stop: int, verse: int = 0) -> str:
    """The words under some bars; the hyphens that part syllables in print are not written, but a word that goes
    on in the next line ends in one."""
    out, place = "", "single"
    for said in _syllables(tune, first, stop, verse):
        place = said.place
        text = said.text.replace("‿", " ")
        out += text if place in ("begin", "middle") else text + " "
    if place in ("begin", "middle") and stop < len(tune.bars) and out:
        out += "-"
    return out.strip()


# --- the page ---------------------------------------------------------------------------------------------------

def _heading(tune: Tune, pitch_only: bool) -> tuple[str, str, tuple[ScoreDirection, ...]]:
    """Words of tempo, then metronome mark, key and time; and the directions that stand there and not in the music.

    Words before the first note that begin with a capital are its tempo (common practice of print).
    """
    first = next(iter(tune.bars[0].notes), None) if tune.bars else None
    hoisted: list[ScoreDirection] = []
    tempo = "" if tune.heading == PITCH_ONLY_HEADING else tune.heading
    metronome = ""
    for said in first.before if first else ():
        if said.kind == "words" and said.text[:1].isupper() and (not tempo or tempo == said.text.rstrip(".")):
            tempo = said.text.rstrip(".")
            hoisted.append(said)
        elif said.kind == "metronome" and not metronome and metronome_cells(said.text):
            metronome = metronome_cells(said.text)
            hoisted.append(said)
    signature = key_cells(tune.key)
    if pitch_only:
        return "", signature, tuple(hoisted)
    if any(b.time for b in tune.bars):
        signature += time_cells(tune.time)
    words = T.words(tempo.rstrip(".")) + S.PUNCT_POINT if tempo else ""
    return words, S.SPACE.join(part for part in (metronome, signature) if part), tuple(hoisted)


def encode(tune: Tune, *, width: int = 40, pitch_only: bool = False, words: bool = True, title: bool = True,
           american: bool = False, contracted: bool = False, habits: Habits | None = None) -> BraillePage:
    """A tune in music braille, in lines of at most `width` cells (12 to 120).

    pitch_only: a reading exercise, every note a quaver, rests, values and marks left away, and headed so.
    words: a word line over each line of music, where the tune has words. contracted: words in contracted UEB, by
    liblouis. american: names of values in what the page says. habits: see `Habits`; bar repeats are not used
    with words. Raises Trouble for a bad width, and for what has no sign (it says which bar and why).
    """
    if not NARROWEST <= width <= WIDEST:
        raise Trouble(_("A line of {width} cells was asked for; give a width from {NARROWEST} to {WIDEST}.").format(
                            width=width, NARROWEST=NARROWEST, WIDEST=WIDEST))
    page = _Lines(width)
    text = T.contracted if contracted else T.words
    if title and tune.title:
        page.centred(text(tune.title))
    if title and tune.composer:
        page.centred(text(f"by {tune.composer}"))
    if pitch_only:
        page.centred(T.words(PITCH_ONLY_HEADING))
    tempo, signature, hoisted = _heading(tune, pitch_only)
    if tempo and signature and len(tempo) + 1 + len(signature) <= width - 6:
        page.centred(tempo + S.SPACE + signature)
    else:
        if tempo:
            page.centred(tempo)
        if signature:
            page.centred(signature)
    vocal = words and not pitch_only and any(n.syllables for b in tune.bars for n in b.notes)
    encoder = Encoder(tune, pitch_only, vocal, habits or Habits())
    encoder.hoisted = hoisted
    if vocal:
        _vocal(tune, encoder, page, text)
    else:
        _plain(tune, encoder, page)
    page.end()
    links = page.links
    if encoder.extra:
        at = {k.note: k for k in links}
        links = sorted([*links, *(at[old]._replace(note=new) for new, old in encoder.extra if old in at)])
    return BraillePage(tuple(page.lines), tuple(links), tune.title, american)


def one_line(tune: Tune, habits: Habits | None = None) -> str:
    """All the music in one line of any length, without heading: for comparisons in which layout decides nothing."""
    encoder = Encoder(tune, False, False, habits or Habits())
    encoder.hoisted = _heading(tune, False)[2]
    page = _Lines(1_000_000)
    _plain(tune, encoder, page)
    page.end()
    return "".join(page.lines)


def pitch_only_tune(tune: Tune) -> Tune:
    """The tune as a reading exercise: every note a quaver, rests, ties and marks left away."""
    bars = []
    for b, bar in enumerate(tune.bars):
        held = b > 0 and bool(tune.bars[b - 1].notes) and tune.bars[b - 1].notes[-1].tie
        notes = []
        for note in bar.notes:
            if note.pitch is not None and not note.grace and not held:
                notes.append(Note(pitch=note.pitch, base=Fraction(1, 2)))
            held = note.tie
        bars.append(replace(bar, notes=tuple(notes), time=None))
    return replace(tune, bars=tuple(bars))
