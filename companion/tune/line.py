"""A tune as it is sung: repeats unfolded, ties joined, grace notes set aside, rests turned into silence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from companion.errors import Trouble
from companion.messages import _
from companion.tune.model import Bar, LineNote, Note, ScoreDirection, Syllable, Time
from companion.tune.phrases import phrase_numbers
from companion.tune.signs import DirectionKind

MOST_BARS = 2000  # a tune whose repeats unfold to more than this is written wrongly


def sung_order(bars: Sequence[Bar], title: str = "") -> list[tuple[int, int]]:
    """Bars in the order in which they are sung: (bar index, verse counted from 0).

    Plain repeats and endings first; then one da capo or dal segno, on which repeats are not taken again
    (common practice). The verse is how often the bar has been sung before. Raises Trouble where the repeats
    unfold to more than MOST_BARS.
    """
    most = max(MOST_BARS, len(bars) + 1)
    order = _repeats(bars, most)
    jump_at, text = _jump(bars)
    if jump_at is not None:
        order = order[:max(i for i, b in enumerate(order) if b == jump_at) + 1] + _return(bars, text)
    if len(order) >= most:
        raise Trouble((_("{tune} comes to {most} bars or more with its repeats. Look at how often they are to be taken, "
                         "and save it anew.") if title else
                       _("This tune comes to {most} bars or more with its repeats. Look at how often they are to be "
                         "taken, and save it anew.")).format(tune=title, most=most))
    times: Counter[int] = Counter()
    out = []
    for bar in order:
        out.append((bar, times[bar]))
        times[bar] += 1
    return out


def _return(bars: Sequence[Bar], text: str) -> list[int]:
    """The bars that are sung after a da capo or dal segno, whose words are `text`."""
    start = (_where(bars, "segno") or 0) if "segno" in text else 0
    again = [b for b in range(start, len(bars)) if not _skipped_on_return(bars, b)]
    if "coda" in text:
        to, coda = _where(bars, "to coda"), _where(bars, "coda")
        return again if to is None or coda is None else [b for b in again if b <= to or b >= coda]
    fine = _where(bars, "fine")
    return again if fine is None else [b for b in again if b <= fine]


def _where(bars: Sequence[Bar], text: str) -> int | None:
    """The first bar at which a jump of that text stands; None where none does."""
    return next((i for i, bar in enumerate(bars) if any(d.text == text for d in _jumps(bar))), None)


def _repeats(bars: Sequence[Bar], most: int) -> list[int]:
    """The bars in order with plain repeats and endings, at most `most` of them."""
    order: list[int] = []
    i = section = 0
    passes: dict[int, int] = {}
    while i < len(bars) and len(order) < most:
        bar = bars[i]
        if bar.forward_repeat:
            section = i
        turn = passes.get(section, 1)
        if bar.ending and turn not in bar.ending:
            # Not this ending's turn: go past it.
            while i < len(bars) and not bars[i].ending_stop:
                i += 1
            i += 1
            continue
        order.append(i)
        if bar.backward_repeat and turn < _times(bars, section, i):
            passes[section] = turn + 1
            i = section
            continue
        if bar.backward_repeat:
            section = i + 1
        i += 1
    return order


def _times(bars: Sequence[Bar], section: int, at: int) -> int:
    """How often the section that ends at bar `at` is sung: its repeat's count, or as its endings number."""
    if bars[at].backward_repeat and not any(b.ending for b in bars[section:at + 1]):
        return max(2, bars[at].backward_repeat)
    k = at
    while k > section and not bars[k].ending:
        k -= 1
    mine = max(bars[k].ending, default=1)
    return max(mine + 1, bars[at].backward_repeat)


def _jumps(bar: Bar) -> list[ScoreDirection]:
    return [d for d in [*(d for n in bar.notes for d in n.before), *bar.after] if d.kind is DirectionKind.JUMP]


def _jump(bars: Sequence[Bar]) -> tuple[int | None, str]:
    """The first bar that sends the singer back, and the words; (None, "") where none does."""
    return next(((i, d.text) for i, bar in enumerate(bars) for d in _jumps(bar)
                 if d.text.startswith(("da capo", "dal segno"))), (None, ""))


def _skipped_on_return(bars: Sequence[Bar], at: int) -> bool:
    """A first ending is passed over after a da capo, where a later one stands."""
    k = at
    while k >= 0 and not bars[k].ending:
        if k < at and bars[k].ending_stop:
            return False
        k -= 1
    if k < 0 or any(bars[j].ending_stop for j in range(k, at)):
        return False
    last = max((max(b.ending) for b in bars if b.ending), default=1)
    return last not in bars[k].ending and 1 in bars[k].ending


def sung_line(bars: Sequence[Bar], title: str = "", phrase_starts: Sequence[int] | None = None) -> tuple[LineNote, ...]:
    """The notes of a tune as sung, numbered from 1, with onsets, silences, syllables and phrases.

    phrase_starts: numbers of the notes that begin a phrase, None where the score is to tell. title: for an error.
    """
    notes: list[LineNote] = []
    first: list[Note] = []  # the written note with which each sung one begins, for its phrase marks
    last: list[Note] = []  # and the one with which it ends
    now = Fraction(0)
    open_tie = False
    full = _full_bars(bars)
    for bar_index, verse in sung_order(bars, title):
        for place, note in enumerate(bars[bar_index].notes):
            if note.grace:
                continue
            if note.pitch is None:
                open_tie = False
                # A full-bar rest lasts as long as its bar, whatever it is written as.
                now += full[bar_index] if note.whole_bar else note.quarters
                continue
            if open_tie and notes and notes[-1].pitch.midi == note.pitch.midi:
                tied = notes[-1]
                notes[-1] = replace(tied, quarters=tied.quarters + note.quarters,
                                    sources=(*tied.sources, (bar_index, place)))
                last[-1] = note
            else:
                said = _syllable(note, verse)
                notes.append(LineNote(
                    number=len(notes) + 1, pitch=note.pitch, onset_quarters=now, quarters=note.quarters,
                    syllable=said.text if said else "", word_place=said.place if said else "", phrase=1,
                    bar=bars[bar_index].number, rest_after=Fraction(0), sources=((bar_index, place),)))
                first.append(note)
                last.append(note)
            open_tie = note.tie
            now += note.quarters
    for i in range(len(notes) - 1):
        silence = notes[i + 1].onset_quarters - notes[i].onset_quarters - notes[i].quarters
        notes[i] = replace(notes[i], rest_after=max(silence, Fraction(0)))
    time = next((b.time for b in bars if b.time), Time())
    numbers = phrase_numbers(notes, first, last, time, phrase_starts)
    return tuple(replace(n, phrase=p) for n, p in zip(notes, numbers, strict=True))


def _full_bars(bars: Sequence[Bar]) -> list[Fraction]:
    """How long each bar is by the time signature that holds there, in quarters."""
    time = next((b.time for b in bars if b.time), Time())
    out = []
    for bar in bars:
        time = bar.time or time
        out.append(time.quarters)
    return out


def _syllable(note: Note, verse: int) -> Syllable | None:
    if not note.syllables:
        return None
    return note.syllables[min(verse, len(note.syllables) - 1)] or None
