"""Several parts on one page: voices line over line, or melody and accompaniment bar over bar.

Line over line (MBC 2015, section 35; from memory): in each parallel every voice has a line of music that begins with its
letters, between the word sign and dot 3; words that several voices sing at once stand once over all of them, others over
their own voice, and a voice without words stands first. Under the heading each voice's letters stand with its name.

Bar over bar (De Garmo, chapter 24, as music21.braille.test has its examples): a parallel begins with the number of its bar,
without a number sign; each part's line with its sign (dots 5 345 for a solo, 46 345 for the right hand, 456 345 for the left);
bars that sound together begin in the same cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.encode import (
    VOCAL_INDENT,
    VOCAL_RUNOVER,
    Wording,
    check_width,
    places_of,
    put_heading,
    without_verse_numbers,
    word_lines,
    words_of_notes,
)
from companion.braille.expressions import number_cells
from companion.braille.layout import LEFT_HAND, RIGHT_HAND, SOLO
from companion.braille.lines import Lines, filled, length_of, mark_first, place_bar
from companion.braille.literary import WordLanguage
from companion.braille.model import Hand, Link
from companion.braille.page import BraillePage
from companion.braille.pieces import Encoder, Habits, Piece, State
from companion.braille.underlay import Underlay
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Tune


@dataclass(frozen=True)
class Part:
    """One of several parts: its name, what it is, and its tune."""

    name: str
    tune: Tune
    hand: Hand = Hand.VOICE


_SIGNS = {Hand.SOLO: SOLO, Hand.RIGHT: RIGHT_HAND, Hand.LEFT: LEFT_HAND}


def encode_parts(parts: Sequence[Part], *, width: int = 40, bar_over_bar: bool = False, title: bool = True, words: bool = True,
                 language: WordLanguage = WordLanguage.ENGLISH) -> BraillePage:
    """Several parts on one page, in lines of at most `width` cells; its links are those of the first part. words: whether
    what is sung is written.

    Raises Trouble for one part alone, for parts of different numbers of bars, and as `encode` does.
    """
    check_width(width)
    if len(parts) < 2:
        raise Trouble(_("There is one part alone; several are wanted. Leave the option out, or give a score of several parts."))
    counts = [len(part.tune.bars) for part in parts]
    if len(set(counts)) > 1:
        raise Trouble(_("{first} has {n} bars and {second} has {m}; parts are written together bar by bar. Give parts of the "
                        "same bars.").format(first=parts[0].name, n=counts[0], second=next(
                            p.name for p, count in zip(parts, counts, strict=True) if count != counts[0]),
                            m=next(count for count in counts if count != counts[0])))
    return _Together(parts, width, bar_over_bar, title, Wording(language), words).page()


class _Voice:
    """A part under way."""

    def __init__(self, part: Part, label: str, text: Wording, words: bool) -> None:
        part = replace(part, tune=without_verse_numbers(part.tune))
        self.part, self.label = part, label
        notes = [n for _b, _n, n in part.tune.written()]
        sung = words and part.hand in (Hand.VOICE, Hand.SOLO)
        self.verses = max((len(n.syllables) for n in notes), default=0) if sung else 0
        self.encoder = Encoder(part.tune, False, self.verses > 0, Habits(repeats=False))
        self.underlay = Underlay(part.tune, self.encoder.ahead, min(1, self.verses), text.language)
        self.bars: list[list[Piece]] = []  # of the parallel under way


class _Together:
    """Parallels of several parts put on a page."""

    def __init__(self, parts: Sequence[Part], width: int, bar_over_bar: bool, title: bool, text: Wording, words: bool) -> None:
        self.over, self.text = bar_over_bar, text
        self.lines = Lines(width)
        first = parts[0].tune
        hoisted = put_heading(first, self.lines, False, Wording() if title else None)
        labels = labels_of([part.name for part in parts])
        self.voices = [_Voice(part, _SIGNS.get(part.hand) or S.WORD + T.words(label) + S.DOT, text, words)
                       for part, label in zip(parts, labels, strict=True)]
        for voice in self.voices:
            voice.encoder.hoisted = hoisted
        self.count = len(first.bars)
        self.numbers = [bar.number for bar in first.bars]
        self.links: list[Link] = []
        self.before: list[State] = []  # of each voice's encoder, before the parallel under way

    def page(self) -> BraillePage:
        """All of it."""
        page = self.lines
        for voice in self.voices:
            if voice.part.hand is Hand.VOICE:
                page.text(voice.label + S.SPACE + T.words(voice.part.name))
        index = 0
        while index < self.count:
            stop = self._bars_of_parallel(index)
            page.end()
            page.parallels.append(len(page.lines))
            if self.over:
                self._bar_over_bar(index, stop)
            else:
                self._line_over_line(index, stop)
            index = stop
        page.end()
        page.parallels.append(len(page.lines))
        return BraillePage(tuple(page.lines), tuple(self.links), self.voices[0].part.tune.title, tuple(page.parallels))

    # --- how many bars ---------------------------------------------------------------------------------------------

    def _bars_of_parallel(self, index: int) -> int:
        """Where a parallel that begins at a bar ends: as many bars as fit, and whose words come to their notes. The bars
        are left with their voices."""
        states: list[list[State]] = []
        for voice in self.voices:
            voice.bars = []

        def take(at: int) -> int:
            states.append([voice.encoder.state() for voice in self.voices])
            for voice in self.voices:
                bar = voice.encoder.bar(at)
                if self.over or not any(p.mark for made in voice.bars for p in made):
                    mark_first(bar, True)  # bar over bar in every bar (De Garmo, chapter 24)
                voice.bars.append(bar)
            return at + 1

        def agrees(stop: int) -> bool:
            return all(voice.underlay.agrees(places_of(voice.part.tune, index, stop), 0, self._words(voice, index, stop))
                       for voice in self.voices if voice.verses)

        kept = max(1, filled(index, self.count, take, lambda stop: self._fits(index, stop), agrees))
        if kept < len(states):
            for voice, state in zip(self.voices, states[kept], strict=True):
                voice.encoder.back_to(state)
                del voice.bars[kept:]
        self.before = states[0]
        return index + kept

    def _words(self, voice: _Voice, index: int, stop: int) -> str:
        """The words of a voice under some bars, as cells."""
        return words_of_notes(voice.part.tune, places_of(voice.part.tune, index, stop), 0, self.text) if voice.verses else ""

    def _fits(self, index: int, stop: int) -> bool:
        width = self.lines.width
        if any(len(self._words(voice, index, stop)) > width for voice in self.voices):
            return False
        if self.over:
            return self._start(index) + sum(self._columns()) - 1 <= width
        return all(VOCAL_INDENT + len(v.label) + sum(map(length_of, v.bars)) + len(v.bars) - 1 <= width for v in self.voices)

    # --- line over line --------------------------------------------------------------------------------------------

    def _line_over_line(self, index: int, stop: int) -> None:
        """Each line of words over the voices that sing it."""
        for words, singers in self._order(index, stop):
            word_lines(words, self.lines)
            for k in singers:
                self._line(k, index, VOCAL_INDENT)

    def _order(self, index: int, stop: int) -> list[tuple[str, list[int]]]:
        """Voices without words, then each line of words with the voices that sing it, then the hands."""
        sung: dict[str, list[int]] = {"": []}
        hands: list[int] = []
        for k, voice in enumerate(self.voices):
            if voice.part.hand in (Hand.RIGHT, Hand.LEFT):
                hands.append(k)
            else:
                sung.setdefault(self._words(voice, index, stop), []).append(k)
        return [*sung.items(), ("", hands)]

    def _line(self, k: int, index: int, indent: int, lead: str = "") -> None:
        """The music of a voice in a line of its own, or in several where a bar is longer than a line."""
        page, voice = self.lines, self.voices[k]
        page.new(0)
        label = lead or S.SPACE * indent
        page.parts, page.column = [label + voice.label], len(label + voice.label)
        links = len(page.links)
        for n, bar in enumerate(voice.bars):
            place_bar(bar, page, VOCAL_RUNOVER, self._again(k, index) if n == 0 else list, self.numbers[index + n], True)
        self._keep(k, links)

    def _again(self, k: int, index: int) -> Callable[[], list[Piece]]:
        """Makes the first bar of a parallel once more, without groups that no line may part."""

        def again() -> list[Piece]:
            encoder = self.voices[k].encoder
            now = encoder.state()
            encoder.back_to(self.before[k])
            bar = encoder.bar(index, grouped=False)
            encoder.back_to(now)
            return bar

        return again

    def _keep(self, k: int, since: int) -> None:
        """The links of the first part are kept."""
        if k == 0:
            self.links += self.lines.links[since:]

    # --- bar over bar ----------------------------------------------------------------------------------------------

    def _start(self, index: int) -> int:
        """The cell, from 0, at which the music of a parallel begins."""
        return self._lead(index) + max(len(v.label) + _apart(v) for v in self.voices)

    def _lead(self, index: int) -> int:
        return max(len(str(number)) for number in self.numbers) + 1

    def _columns(self) -> list[int]:
        """How many cells each bar of the parallel takes, with the space after it."""
        return [max(map(length_of, bars)) + 1 for bars in zip(*(v.bars for v in self.voices), strict=True)]

    def _bar_over_bar(self, index: int, stop: int) -> None:
        """Each part in a line, its words over it; bars that sound together begin in the same cell."""
        page, columns = self.lines, self._columns()
        number = number_cells(str(self.numbers[index])).rjust(self._lead(index) - 1, S.SPACE) + S.SPACE
        long = self._start(index) + sum(columns) - 1 > page.width
        lead = number
        for words, singers in self._order(index, stop):
            word_lines(words, page)
            for k in singers:
                if long:
                    self._line(k, index, 0, lead)
                else:
                    self._aligned(k, lead, self._start(index), columns)
                lead = S.SPACE * len(number)

    def _aligned(self, k: int, lead: str, start: int, columns: list[int]) -> None:
        """A part's line, each bar at the beginning of its column. start: of the first one."""
        page, voice = self.lines, self.voices[k]
        page.new(0)
        label = voice.label + S.DOT * _apart(voice)
        page.parts, page.column = [lead + label.ljust(start - len(lead), S.SPACE)], start
        links = len(page.links)
        for bar, column in zip(voice.bars, columns, strict=True):
            page.put(bar)
            page.parts.append(S.SPACE * (column - length_of(bar)))
            page.column += column - length_of(bar)
        self._keep(k, links)


def _apart(voice: _Voice) -> int:
    """1 where a dot 3 keeps the sign of a hand from music that begins with dots 1, 2 or 3."""
    first = next((p.cells for p in voice.bars[0] if p.cells), "") if voice.bars else ""
    return int(voice.part.hand is not Hand.VOICE and bool(first) and S.is_left(first[0]))


def labels_of(names: Sequence[str]) -> list[str]:
    """The letters of voices: the first one of each name; with a number where several begin alike."""
    first = [next((c for c in name.lower() if c in S.LETTERS), "v") for name in names]
    out = []
    for k, letter in enumerate(first):
        alike = [i for i, other in enumerate(first) if other == letter]
        out.append(letter if len(alike) == 1 else f"{letter}{alike.index(k) + 1}")
    return out
