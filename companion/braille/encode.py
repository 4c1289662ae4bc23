"""A tune to music braille: one voice, with or without words, laid out in lines.

`pieces` makes the bars and `lines` puts them on lines; here are the heading, bar repeats, rests of several bars and
words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.expressions import key_cells, metronome_cells, number_cells, time_cells
from companion.braille.lines import Lines, filled, length_of, mark_first, place_bar, wrap
from companion.braille.literary import WordLanguage
from companion.braille.model import Link
from companion.braille.page import BraillePage
from companion.braille.pieces import Encoder, Habits, Piece, State, merged
from companion.braille.signs import WHOLE_REST
from companion.braille.sung import Place
from companion.braille.underlay import Underlay
from companion.errors import Trouble
from companion.messages import _
from companion.tune import Bar, Barline, DirectionKind, Note, ScoreDirection, Syllable, Tune

NARROWEST, WIDEST = 12, 120
PLAIN_RUNOVER, VOCAL_RUNOVER = 2, 4  # cells by which lines after the first are set in; vocal: MBC 2015, section 35
VOCAL_INDENT = 2  # cells before the music of a line of words

# --- bars ------------------------------------------------------------------------------------------------------


def _plain(tune: Tune, encoder: Encoder, page: Lines) -> None:
    """Music from the margin."""
    page.new()
    bars = tune.bars
    repeats = encoder.habits.repeats and not encoder.pitch_only
    index = 0
    previous: tuple[Note, ...] = ()
    while index < len(bars):
        notes = bars[index].notes
        count = 0
        rest = not notes or (len(notes) == 1 and notes[0].pitch is None)
        if repeats and previous and not rest and notes[0].pitch == previous[0].pitch:
            count = _repeated(bars, index, encoder)
        previous = notes if not count else previous
        if count:
            _place_repeats(count, index, encoder, page)
        elif rest and repeats and (count := _rests(bars, index, encoder)) > 1:
            place_bar(_rest_pieces(count, index, encoder), page, PLAIN_RUNOVER, list, bars[index].number,
                      encoder.habits.octave_marks)
        else:
            count = 1
            state = encoder.state()
            place_bar(encoder.bar(index), page, PLAIN_RUNOVER, _again(encoder, index, state), bars[index].number,
                      encoder.habits.octave_marks)
        index += count


def _again(encoder: Encoder, index: int, state: State) -> Callable[[], list[Piece]]:
    """Makes a bar once more from the state before it, without groups of small values that no line may part."""

    def again() -> list[Piece]:
        encoder.back_to(state)
        return encoder.bar(index, grouped=False)

    return again


def _repeated(bars: tuple[Bar, ...], index: int, encoder: Encoder) -> int:
    """How many bars from here are the same as the one before, so that repeat signs can stand for them."""
    model = bars[index - 1]
    if index == 0 or model.backward_repeat or model.barline not in (Barline.PLAIN, Barline.NONE) or not encoder.whole(model):
        return 0
    count = 0
    for k in range(index, len(bars)):
        bar = bars[k]
        if bar.key or bar.time or bar.forward_repeat or bar.ending or bar.after or bar.notes != model.notes:
            break
        count += 1
        if bar.backward_repeat or bar.barline not in (Barline.PLAIN, Barline.NONE):
            break
    return count


def _place_repeats(count: int, index: int, encoder: Encoder, page: Lines) -> None:
    """Repeat signs for so many bars: one or two signs, else one with a number (De Garmo, chapter 17)."""
    bars = encoder.tune.bars
    notes = sum(n.pitch is not None and not n.grace for n in bars[index].notes)
    runs = [1] * count if count < 3 else [count]
    for k, times in enumerate(runs):
        sign = S.BAR_REPEAT + (S.NUMBER + number_cells(str(times)) if times > 1 else "")
        piece = Piece(sign)
        if k == len(runs) - 1:
            encoder.close(bars[index + count - 1], [piece])
        if page.begun and page.column + 1 + len(piece.cells) > page.width:
            page.new(PLAIN_RUNOVER)
        elif page.begun:
            page.space()
        column = page.column + 1
        page.put([piece])
        for _unused in range(times * notes):
            encoder.count += 1
            page.links.append(Link(encoder.count, len(page.lines) + 1, column, len(sign)))
    if count >= 3:
        encoder.before = None  # after a number the next note has its mark (De Garmo, example 17-5)


def _rests(bars: tuple[Bar, ...], index: int, encoder: Encoder) -> int:
    """How many bars of rest from here can be written together; 0 or 1 where none can."""
    count = 0
    for k in range(index, len(bars)):
        bar = bars[k]
        if not _silent(bar, encoder) or bar.forward_repeat or bar.ending or (k and (bar.key or bar.time)):
            break
        count += 1
        if bar.backward_repeat or bar.barline not in (Barline.PLAIN, Barline.NONE):
            break
    return 0 if count in (2, 3) and encoder.full == count * 1024 else count  # else it would read as one long bar


def _silent(bar: Bar, encoder: Encoder) -> bool:
    """Whether a bar has nothing but one rest that fills it, or a rest that is hidden in print."""
    if bar.after or len(bar.notes) > 1:
        return False
    if not bar.notes:
        return True
    rest = bar.notes[0]
    if rest.pitch is not None or rest.marks or not (rest.whole_bar or (encoder.time and rest.quarters >= encoder.time.quarters)):
        return False
    return not rest.before or all(said in encoder.hoisted for said in rest.before)


def _rest_pieces(count: int, index: int, encoder: Encoder) -> list[Piece]:
    """Rests of several bars: up to three written out, more with their number (De Garmo, chapter 5)."""
    pieces = [Piece(WHOLE_REST, joined=k > 0) for k in range(count)] if count <= 3 else [
        Piece(S.NUMBER + number_cells(str(count)) + WHOLE_REST)]
    encoder.close(encoder.tune.bars[index + count - 1], pieces)
    encoder.tied = None
    return pieces


def _vocal(tune: Tune, encoder: Encoder, page: Lines, text: Wording) -> None:
    """A line of words at the margin, its music below from cell 3 (MBC 2015, section 35); verses after the first stand by
    themselves at the end, or all over each line of music (`Habits.verses_under`)."""
    bars = tune.bars
    index = 0
    count = max((len(n.syllables) for _unused, _unused, n in tune.written()), default=0)
    underlay = Underlay(tune, encoder.ahead, count, text.language)
    every = places_of(tune, 0, len(bars))
    under = encoder.habits.verses_under or not (text.contracted or all(
        underlay.agrees(every, verse, words_of_notes(tune, every, verse, text)) for verse in range(1, count)))
    ends = {n.sources[0][0] for a, n in pairwise(tune.line()) if n.phrase != a.phrase and n.sources[0][1] == 0}
    while index < len(bars):
        made = _bars_of_line(tune, index, encoder, page.width, ends, text, count if under else 1, underlay)
        stop = made[-1].stop
        if made[0].parts:
            _bar_in_parts(tune, made[0], encoder, page, text, count if under else 1)
            index = stop
            continue
        _words_over(tune, places_of(tune, index, stop), count if under else 1, text, page)
        page.new(VOCAL_INDENT)
        for one in made:
            end = encoder.state()
            place_bar(one.pieces, page, VOCAL_RUNOVER, _again(encoder, one.first, one.state), bars[one.first].number,
                      encoder.habits.octave_marks)
            encoder.back_to(end)
        index = stop
    page.end()
    page.parallels.append(len(page.lines))
    for verse in range(1, 1 if under else count):
        word_lines(_verse_number(verse) + words_of_notes(tune, every, verse, text), page)


def _verse_number(verse: int) -> str:
    return S.NUMBER + number_cells(str(verse + 1)) + S.SPACE


def places_of(tune: Tune, first: int, stop: int) -> list[Place]:
    """The notes of some bars: (bar, note)."""
    return [(b, n) for b in range(first, stop) for n in range(len(tune.bars[b].notes))]


def _words_over(tune: Tune, notes: Sequence[Place], verses: int, text: Wording, page: Lines) -> None:
    """The words of some notes, where a new parallel begins."""
    page.end()
    page.parallels.append(len(page.lines))
    for words in _sung_lines(tune, notes, verses, text):
        word_lines(words, page)


def _sung_lines(tune: Tune, notes: Sequence[Place], verses: int, text: Wording) -> list[str]:
    """The words of some notes, a line a verse; with their numbers where another than the first has words there."""
    found = [(verse, words) for verse in range(verses) if (words := words_of_notes(tune, notes, verse, text)) or not verse]
    if len(found) == 1:
        return [found[0][1]]
    return [_verse_number(verse) + words for verse, words in found if words]


class Wording(NamedTuple):
    """How sung words are written: by the code of their language, contracted or not."""

    language: WordLanguage = WordLanguage.ENGLISH
    contracted: bool = False

    def __call__(self, line: str) -> str:
        return T.contracted(line, self.language) if self.contracted else self.plain(line)

    def plain(self, line: str) -> str:
        return T.words(line, self.language)


class _Made(NamedTuple):
    """A bar, or several bars of rest together, as pieces: the index of its first bar and of the one after it, and the
    state of the encoder before it. parts: of a bar that must be written in parts, the pieces and notes of each."""

    first: int
    stop: int
    pieces: list[Piece]
    state: State
    parts: Sequence[tuple[list[Piece], list[Place]]] = ()


def _bars_of_line(tune: Tune, index: int, encoder: Encoder, width: int, ends: set[int],
                  text: Wording, verses: int, underlay: Underlay) -> list[_Made]:
    """As many bars as fit in one line of words a verse and one of music, no further than the phrase, and such that a reader
    puts the words under their notes. ends: bars at which a phrase begins. One bar with its parts, and the encoder is where it
    was, where a reader would not do so for a bar by itself, but would for those."""
    made: list[_Made] = []

    def take(at: int) -> int:
        state = encoder.state()
        count = _rests(tune.bars, at, encoder) if encoder.habits.repeats else 0
        pieces = _rest_pieces(count, at, encoder) if count > 1 else encoder.bar(at)
        if not any(p.mark for one in made for p in one.pieces):
            mark_first(pieces, encoder.habits.octave_marks)
        made.append(_Made(at, at + max(1, count), pieces, state))
        return made[-1].stop

    def fits(stop: int) -> bool:
        return VOCAL_INDENT + sum(length_of(one.pieces) + 1 for one in made) - 1 <= width and all(
            len(words) <= width for words in _sung_lines(tune, places_of(tune, index, stop), verses, text))

    def agrees(stop: int) -> bool:
        places = places_of(tune, index, stop)
        return text.contracted or all(underlay.agrees(places, v, words_of_notes(tune, places, v, text)) for v in range(verses))

    right = filled(index, len(tune.bars), take, fits, agrees, ends)
    kept = max(1, right)
    end = made[kept].state if kept < len(made) else encoder.state()
    if not right and made[0].stop == index + 1:
        encoder.back_to(made[0].state)
        if parts := _parts_of_bar(tune, made[0], encoder, width, text, verses, underlay):
            return [made[0]._replace(parts=parts)]
    encoder.back_to(end)
    return made[:kept]


def _parts_of_bar(tune: Tune, made: _Made, encoder: Encoder, width: int, text: Wording, verses: int,
                  underlay: Underlay) -> list[tuple[list[Piece], list[Place]]]:
    """A bar in parts whose words come to their notes, each as long as can be: its pieces and its notes; [] where there are
    no such parts. The encoder is where it was."""
    pieces = encoder.bar(made.first, grouped=False)
    encoder.back_to(made.state)
    notes = iter(places_of(tune, made.first, made.stop))
    at: list[list[Place]] = [[next(notes)] if p.tail and not p.flow else [] for p in pieces]
    ends = [k for k in range(1, len(pieces)) if not (pieces[k].joined or pieces[k].flow or pieces[k - 1].flow)
            and at[k - 1]] + [len(pieces)]
    out: list[tuple[list[Piece], list[Place]]] = []
    begin = 0
    while begin < len(pieces):
        for end in reversed([e for e in ends if e > begin]):
            part, places = pieces[begin:end], [place for found in at[begin:end] for place in found]
            if length_of(part) + VOCAL_INDENT + 2 <= width and all(
                    underlay.agrees(places, v, words_of_notes(tune, places, v, text)) for v in range(verses)):
                break
        else:
            return []
        out.append((part, places))
        begin = end
    return out


def _bar_in_parts(tune: Tune, made: _Made, encoder: Encoder, page: Lines, text: Wording, verses: int) -> None:
    """A bar in which a reader would put words under other notes, in parts with music hyphens, each with its words."""
    encoder.bar(made.first, grouped=False)
    for k, (pieces, places) in enumerate(made.parts):
        _words_over(tune, places, verses, text, page)
        page.new(VOCAL_INDENT)
        mark_first(pieces, encoder.habits.octave_marks)
        page.put(pieces)
        if k < len(made.parts) - 1:
            page.parts.append(S.HYPHEN)


_VERSE_NUMBER = re.compile(r"\d{1,2}[.)]\s+(?=\w)")


def without_verse_numbers(tune: Tune) -> Tune:
    """The tune without the numbers that print has before the first word of a verse ("2. Herr"): nobody sings them, and a page
    numbers its verses itself."""
    firsts: dict[int, Place] = {}
    for b, n, note in tune.written():
        for verse, said in enumerate(note.syllables):
            if said and said.text.strip():
                firsts.setdefault(verse, (b, n))
    bars = list(tune.bars)
    for verse, (b, n) in firsts.items():
        note = bars[b].notes[n]
        said = note.syllables[verse]
        if said and (match := _VERSE_NUMBER.match(said.text)):
            syllables: list[Syllable | None] = [*note.syllables]
            syllables[verse] = replace(said, text=said.text[match.end():])
            notes = [*bars[b].notes]
            notes[n] = replace(note, syllables=tuple(syllables))
            bars[b] = replace(bars[b], notes=tuple(notes))
    return replace(tune, bars=tuple(bars)) if tuple(bars) != tune.bars else tune


def word_lines(words: str, page: Lines) -> None:
    """Words from the margin, what is too long set in on the next line."""
    for k, line in enumerate(wrap(words, page.width, VOCAL_RUNOVER)):
        page.text(line, VOCAL_RUNOVER if k else 0)


def _syllables(tune: Tune, notes: Sequence[Place], verse: int) -> Iterator[Syllable]:
    for b, n in notes:
        note = tune.bars[b].notes[n]
        if len(note.syllables) > verse and (said := note.syllables[verse]):
            if note.pitch is None and said.text.strip():
                raise Trouble(_("Bar {number} has words on a rest, where nobody sings; put them on a note.").format(
                                  number=tune.bars[b].number))
            yield said


def words_of_notes(tune: Tune, notes: Sequence[Place], verse: int, text: Wording) -> str:
    """The words under some notes, as cells; the hyphens that part syllables in print are not written, but a word that goes
    on in the next line ends in one."""
    out, place = "", "single"
    for said in _syllables(tune, notes, verse):
        place = said.place
        sung = " ".join(said.text.replace("‿", " ").split())
        if sung.endswith("-") and sung.strip("-"):
            place, sung = "middle", sung.rstrip("-")  # a score that has the hyphens among the letters
        if merged(said) > 1:
            sung = _MERGE + sung + _MERGED
        out += sung if place in ("begin", "middle") else sung + " "
    last = len(tune.bars) - 1
    if place in ("begin", "middle") and out and notes[-1] < (last, len(tune.bars[last].notes) - 1):
        out += "-"
    return _sung_cells(out.strip(), text)


#: Around syllables merged on one note, in words that are not cells yet: no letters.
_MERGE, _MERGED = "\ue000", "\ue001"
_WITH_MERGED = re.compile(f"([^ {_MERGE}{_MERGED}]*{_MERGE}[^{_MERGED}]*{_MERGED}[^ {_MERGE}]*)")


def _sung_cells(line: str, text: Wording) -> str:
    """A line of words as cells. Words with merged syllables are never contracted, since a bracket stands in them (New
    International Manual, 16-8)."""
    if _MERGE not in line:
        return text(line)
    out = ""
    for k, part in enumerate(_WITH_MERGED.split(line)):
        if k % 2 == 0:
            out += text(part) if part else ""
            continue
        before, _mark, rest = part.partition(_MERGE)
        inside, _mark, after = rest.partition(_MERGED)
        out += text.plain(before) + S.MERGED_OPEN + text.plain(inside) + S.MERGED_CLOSE + text.plain(after)
    return out


# --- the page ---------------------------------------------------------------------------------------------------

def heading(tune: Tune, pitch_only: bool) -> tuple[str, str, tuple[ScoreDirection, ...]]:
    """Words of tempo, then metronome mark, key and time; and the directions that stand there and not in the music.

    Words before the first note that begin with a capital are its tempo (common practice of print).
    """
    first = next(iter(tune.bars[0].notes), None) if tune.bars else None
    hoisted: list[ScoreDirection] = []
    tempo = "" if tune.heading == T.pitch_only_heading() else tune.heading
    metronome = ""
    for said in first.before if first else ():
        if said.kind is DirectionKind.WORDS and said.text[:1].isupper() and (not tempo or tempo == said.text.rstrip(".")):
            tempo = said.text.rstrip(".")
            hoisted.append(said)
        elif said.kind is DirectionKind.METRONOME and not metronome and metronome_cells(said.text):
            metronome = metronome_cells(said.text)
            hoisted.append(said)
    signature = key_cells(tune.key)
    if pitch_only:
        return "", signature, tuple(hoisted)
    if any(b.time for b in tune.bars):
        signature += time_cells(tune.time)
    words = T.words(tempo.rstrip(".")) + S.PUNCT_POINT if tempo else ""
    return words, S.SPACE.join(part for part in (metronome, signature) if part), tuple(hoisted)


def check_width(width: int) -> None:
    """Raises Trouble for a line of so many cells as no page has."""
    if not NARROWEST <= width <= WIDEST:
        raise Trouble(_("A line of {width} cells was asked for; give a width from {NARROWEST} to {WIDEST}.").format(
                            width=width, NARROWEST=NARROWEST, WIDEST=WIDEST))


def encode(tune: Tune, *, width: int = 40, pitch_only: bool = False, words: bool = True, title: bool = True,
           contracted: bool = False, language: WordLanguage = WordLanguage.ENGLISH,
           habits: Habits | None = None) -> BraillePage:
    """A tune in music braille, in lines of at most `width` cells (12 to 120).

    pitch_only: a reading exercise, every note a quaver, rests, values and marks left away, and headed so.
    words: a word line over each line of music, where the tune has words. contracted: words in contracted braille, by
    liblouis. language: of the words that are sung; the heading is English. habits: see `Habits`; bar repeats are not used
    with words. Raises Trouble for a bad width, and for what has no sign (it says which bar and why).
    """
    check_width(width)
    tune = without_verse_numbers(tune)
    page = Lines(width)
    hoisted = put_heading(tune, page, pitch_only, Wording(contracted=contracted) if title else None)
    vocal = words and not pitch_only and any(n.syllables for b in tune.bars for n in b.notes)
    habits = habits or Habits()
    if habits.chords:  # under signs for several bars no chord could stand
        habits = habits._replace(repeats=False, part_repeats=False)
    encoder = Encoder(tune, pitch_only, vocal, habits)
    encoder.hoisted = hoisted
    if vocal:
        _vocal(tune, encoder, page, Wording(language, contracted))
    else:
        _plain(tune, encoder, page)
    page.end()
    if not vocal:  # music and the chord symbols below it stay on one sheet
        page.parallels += sorted({k - 1 for k in page.chord_lines} | {k + 1 for k in page.chord_lines})
    links = page.links
    if encoder.extra:
        at = {k.note: k for k in links}
        links = sorted([*links, *(at[old]._replace(note=new) for new, old in encoder.extra if old in at)])
    return BraillePage(tuple(page.lines), tuple(links), tune.title, tuple(page.parallels), tuple(page.chord_lines))


def put_heading(tune: Tune, page: Lines, pitch_only: bool,
                 title: Wording | None) -> tuple[ScoreDirection, ...]:
    """The heading; the directions of the music that stand in it. title: how its words are written, None for none."""
    if title and tune.title:
        page.centred(title(tune.title))
    if title and tune.composer:
        page.centred(title(_("by {composer}").format(composer=tune.composer)))
    if pitch_only:
        page.centred(T.words(T.pitch_only_heading()))
    tempo, signature, hoisted = heading(tune, pitch_only)
    if tempo and signature and len(tempo) + 1 + len(signature) <= page.width - 6:
        page.centred(tempo + S.SPACE + signature)
    else:
        for cells in (tempo, signature):
            if cells:
                page.centred(cells)
    return hoisted


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
