"""A tune as it is sung: repeats unfolded, ties joined, grace notes set aside, rests turned into silence."""

from __future__ import annotations

from fractions import Fraction

from companion.errors import Trouble
from companion.messages import _
from companion.tune.model import Bar, LineNote, Note, Syllable, Tune

MOST_BARS = 2000  # a tune whose repeats unfold to more than this is written wrongly


def sung_order(tune: Tune) -> list[tuple[int, int]]:
    """Bars in the order in which they are sung: (bar index, verse counted from 0).

    Plain repeats and endings first; then one da capo or dal segno, on which repeats are not taken again
    (common practice). The verse is how often the bar has been sung before. Raises Trouble where the repeats
    unfold to more than MOST_BARS.
    """
    most = max(MOST_BARS, len(tune.bars) + 1)
    order: list[int] = _repeats(tune.bars, 0, len(tune.bars), most)
    jump_at, text = _jump(tune.bars)
    if jump_at is not None:
        cut = max(i for i, b in enumerate(order) if b == jump_at) + 1
        order = order[:cut]
        start = 0
        if "segno" in text:
            start = next((i for i, b in enumerate(tune.bars) if _says(b, "segno")), 0)
        again = [b for b in range(start, len(tune.bars)) if not _skipped_on_return(tune.bars, b)]
        if "fine" in text:
            fine = next((i for i, b in enumerate(tune.bars) if _says(b, "fine")), None)
            again = [b for b in again if fine is None or b <= fine]
        elif "coda" in text:
            to = next((i for i, b in enumerate(tune.bars) if _says(b, "to coda")), None)
            coda = next((i for i, b in enumerate(tune.bars) if _says(b, "coda")), None)
            if to is not None and coda is not None:
                again = [b for b in again if b <= to or b >= coda]
        elif any(_says(b, "fine") for b in tune.bars):
            fine = next(i for i, b in enumerate(tune.bars) if _says(b, "fine"))
            again = [b for b in again if b <= fine]
        order += again
    if len(order) >= most:
        raise Trouble(_("{tune} comes to {most} bars or more with its repeats. Look at how often they are to be "
                        "taken, and save it anew.").format(tune=tune.title or 'This tune', most=most))
    times: dict[int, int] = {}
    out = []
    for bar in order:
        out.append((bar, times.get(bar, 0)))
        times[bar] = times.get(bar, 0) + 1
    return out


def _repeats(bars: tuple[Bar, ...], first: int, stop: int, most: int) -> list[int]:
    order: list[int] = []
    i = section = first
    passes: dict[int, int] = {}
    while i < stop and len(order) < most:
        bar = bars[i]
        if bar.forward_repeat:
            section = i
        turn = passes.get(section, 1)
        if bar.ending and turn not in bar.ending:
            # Not this ending's turn: go past it.
            while i < stop and not bars[i].ending_stop:
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


def _times(bars: tuple[Bar, ...], section: int, at: int) -> int:
    """How often the section that ends at bar `at` is sung: its repeat's count, or as its endings number."""
    if bars[at].backward_repeat and not any(b.ending for b in bars[section:at + 1]):
        return max(2, bars[at].backward_repeat)
    k = at
    while k > section and not bars[k].ending:
        k -= 1
    mine = max(bars[k].ending, default=1)
    return max(mine + 1, bars[at].backward_repeat)


def _says(bar: Bar, text: str) -> bool:
    said = [d for n in bar.notes for d in n.before] + list(bar.after)
    return any(d.kind == "jump" and d.text == text for d in said)


def _jump(bars: tuple[Bar, ...]) -> tuple[int | None, str]:
    for i, bar in enumerate(bars):
        for d in [d for n in bar.notes for d in n.before] + list(bar.after):
            if d.kind == "jump" and d.text.startswith(("da capo", "dal segno")):
                return i, d.text
    return None, ""


def _skipped_on_return(bars: tuple[Bar, ...], at: int) -> bool:
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


def sung_line(tune: Tune) -> tuple[LineNote, ...]:
    """The notes of a tune as sung, numbered from 1, with onsets, silences, syllables and phrases."""
    from companion.tune.phrases import phrase_numbers

    notes: list[LineNote] = []
    texts: list[Note] = []  # the first written note of each, for its phrase marks
    ends: list[Note] = []
    now = Fraction(0)
    open_tie = False
    for bar_index, verse in sung_order(tune):
        bar = tune.bars[bar_index]
        for place, note in enumerate(bar.notes):
            if note.grace:
                continue
            if note.pitch is None:
                open_tie = False
                now += _length(note, bar, tune)
                continue
            if open_tie and notes and notes[-1].pitch.midi == note.pitch.midi:
                last = notes[-1]
                notes[-1] = _with(last, quarters=last.quarters + note.quarters,
                                  sources=(*last.sources, (bar_index, place)))
                ends[-1] = note
            else:
                said = _syllable(note, verse)
                notes.append(LineNote(
                    number=len(notes) + 1, pitch=note.pitch, onset_quarters=now, quarters=note.quarters,
                    syllable=said.text if said else "", word_place=said.place if said else "", phrase=1,
                    bar=bar.number, rest_after=Fraction(0), sources=((bar_index, place),)))
                texts.append(note)
                ends.append(note)
            open_tie = note.tie
            now += note.quarters
    for i in range(len(notes) - 1):
        silence = notes[i + 1].onset_quarters - notes[i].onset_quarters - notes[i].quarters
        notes[i] = _with(notes[i], rest_after=max(silence, Fraction(0)))
    numbers = phrase_numbers(tune, notes, texts, ends)
    return tuple(_with(n, phrase=p) for n, p in zip(notes, numbers, strict=True))


def _length(note: Note, bar: Bar, tune: Tune) -> Fraction:
    """A full-bar rest lasts as long as its bar, whatever it is written as."""
    if not note.whole_bar:
        return note.quarters
    time = tune.time
    for b in tune.bars:
        time = b.time or time
        if b is bar:
            break
    return time.quarters


def _syllable(note: Note, verse: int) -> Syllable | None:
    if not note.syllables:
        return None
    return note.syllables[min(verse, len(note.syllables) - 1)] or None


def _with(note: LineNote, **changes: object) -> LineNote:
    from dataclasses import replace

    return replace(note, **changes)  # type: ignore[arg-type]
