"""What a person types to correct a written-down take ("bar 3 note 2 is a crotchet"), read into `Correction`s."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from fractions import Fraction
from functools import cache
from typing import Any

from companion.errors import Trouble
from companion.language.grammar import Bindings, Grammar, Slot, Typed, tokens_of
from companion.language.interface import CorrectionWords, Language, Order
from companion.messages import N_
from companion.transcribe import FIRST, LAST, TICKS, TIMES, Action, Correction, Which, time_named
from companion.tune import Key

#: One of each kind, as help gives them.
EXAMPLES = (
    N_("bar 3 note 2 is a crotchet"),
    N_("bar 3 note 2 is F sharp"),
    N_("bar 3 note 2 is a semitone lower"),
    N_("bar 3 note 2 the other reading"),
    N_("bar 3 note 2 is a rest"),
    N_("bar 3 note 2 is twice as long"),
    N_("no rest after bar 3 note 2"),
    N_("a quaver rest after bar 3 note 2"),
    N_("take out bar 3 note 2"),
    N_("add a crotchet G after bar 3 note 2"),
    N_("join bar 3 note 2 to the next"),
    N_("split bar 3 note 2 into three"),
    N_("bar 3 notes 1 to 3 are a triplet"),
    N_("no triplet at bar 3 note 1"),
    N_("slur bar 3 note 1 to note 2"),
    N_("no slur at bar 3 note 1"),
    N_("bar 7 as bar 3 (or bars 5 to 8 as bars 1 to 4)"),
    N_("repeat bars 1 to 4"),
    N_("no repeat"),
    N_("in three (or in 3/4)"),
    N_("in G major"),
    N_("a tone lower (or an octave higher)"),
    N_("no pickup (or a pickup of a crotchet)"),
    N_("values twice as long (or values half as long)"),
    N_("tempo 90"),
    N_("the word under bar 3 note 2 is wall"),
    N_("words: Snail on the wall"),
    N_("title: Snail"),
    N_("sing bar 3 again"),
)
MOST_TICKS = 64  # nothing longer is one note
LEAST_BPM, MOST_BPM = 30, 240
MOST_PARTS = 4  # into which a note is split


def read_order(language: Language, text: str) -> Order | None:
    """The order that was typed instead of a correction, None where it is none."""
    return language.correction_words.orders.get(re.sub(r"\s+", " ", text.strip().rstrip(".!").lower().replace("’", "'")))


def read_corrections(language: Language, text: str) -> tuple[Correction, ...]:
    """All corrections of a line, in order. Raises Trouble where any part of it is not understood: all of it or nothing."""
    words = language.correction_words
    grammar = _grammar(words)
    typed = tokens_of(text, words.contractions, lambda word: _parts(words, word))
    problem: Trouble | None = None
    best: tuple[int, int] = (-1, -1)
    for cut in _without_courtesy(words, typed):
        for found in grammar.matches("COMMAND", cut):
            try:
                return tuple(_all_corrections(language, found, text))
            except Trouble as trouble:  # another way to read it may be possible
                problem = problem or trouble
        best = max(best, grammar.reached)
    raise problem or _not_understood(language, text, words, best[1])


def read_key(language: Language, text: str) -> Key:
    """The key that was typed: "B flat major". Raises Trouble where it is none."""
    words = language.correction_words
    typed = tokens_of(text, words.contractions, lambda word: _parts(words, word))
    for end, key in _key(words, typed, 0):
        if end == len(typed.tokens):
            return key
    raise Trouble(language.message("Key {key} was given; say it as G major, B flat major or E minor.").format(key=text))


def _not_understood(language: Language, text: str, words: CorrectionWords, rule: int) -> Trouble:
    """With the example of the form that what was typed comes nearest to."""
    action = words.rules["COMMAND"][rule][1]["action"] if rule >= 0 else Action.VALUE
    example = language.message(EXAMPLES[_EXAMPLE.get(action, 0)])
    if action is Action.VALUE and rule < 0:
        return Trouble(language.message('I do not understand "{text}". Say for example: {example}; or type help.').format(
            text=text, example=example))
    return Trouble(language.message('I do not understand "{text}", and nothing is changed. Say for example: {example}.').format(
        text=text, example=example))


_EXAMPLE = {action: k for k, action in enumerate((
    Action.VALUE, Action.PITCH, Action.MOVE, Action.OTHER_READING, Action.REST, Action.SCALE, Action.NO_REST, Action.END_REST,
    Action.TAKE_OUT, Action.ADD, Action.JOIN, Action.SPLIT, Action.TRIPLET, Action.NO_TRIPLET, Action.SLUR, Action.NO_SLUR,
    Action.COPY, Action.REPEAT, Action.NO_REPEAT, Action.TIME, Action.KEY, Action.TRANSPOSE, Action.NO_PICKUP, Action.DOUBLE,
    Action.TEMPO, Action.SYLLABLE, Action.WORDS, Action.TITLE, Action.SING_AGAIN))} | {Action.PICKUP: 22, Action.HALVE: 23}


# Slots: each reads a value from a token on, in every way that is possible, the longest first.


@cache
def _grammar(words: CorrectionWords) -> Grammar:
    return Grammar(words.rules, {name: _slot(words, read) for name, read in _SLOTS.items()}, words.joining)


def _slot(words: CorrectionWords, read: Callable[[CorrectionWords, Typed, int], Iterator[tuple[int, Any]]]) -> Slot:
    return lambda typed, at: read(words, typed, at)


def _parts(words: CorrectionWords, word: str) -> tuple[str, ...]:
    """ "bb" and "eb" are a letter and its sign; any other word is itself."""
    if len(word) == 2 and word[0] in words.steps and word[1] in words.accidentals:
        return word[0], word[1]
    if word in words.several:
        return (word[0],)
    return (word,)


def _without_courtesy(words: CorrectionWords, typed: Typed) -> Iterator[Typed]:
    """What was typed, then the same without words around it that mean nothing ("please")."""
    tokens = typed.tokens
    yield typed
    trimmed = True
    while trimmed:
        trimmed = False
        for phrase in sorted(words.before, key=len, reverse=True):
            part = phrase.split()
            if len(tokens) > len(part) and [t.text for t in tokens[:len(part)]] == part:
                tokens, trimmed = tokens[len(part):], True
        for phrase in words.after:
            part = phrase.split()
            if len(tokens) > len(part) and [t.text for t in tokens[-len(part):]] == part:
                tokens, trimmed = tokens[:-len(part)], True
    if tokens != typed.tokens:
        yield Typed(typed.text, tokens)


def _phrase(table: Mapping[str, Any], typed: Typed, at: int) -> Iterator[tuple[int, Any]]:
    """The names of a table that stand at a token, the longest first; plurals too."""
    for size in (5, 4, 3, 2, 1):
        text = " ".join(t.text for t in typed.tokens[at:at + size])
        if at + size <= len(typed.tokens):
            name = text if text in table else text.removesuffix("s")
            if name in table:
                yield at + size, table[name]


def _number(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    if at < len(typed.tokens):
        text = typed.tokens[at].text
        if text.isdecimal() and len(text) < 4:
            yield at + 1, int(text)
            if at + 1 < len(typed.tokens) and f"{text}{typed.tokens[at + 1].text}" in words.numbers:  # "2nd"
                yield at + 2, words.numbers[f"{text}{typed.tokens[at + 1].text}"]
        elif text in words.numbers:
            yield at + 1, words.numbers[text]


def _figure(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    if at < len(typed.tokens) and typed.tokens[at].text.isdecimal() and len(typed.tokens[at].text) < 6:
        yield at + 1, int(typed.tokens[at].text)


def _amount(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, Fraction]]:
    yield from _phrase(words.amounts, typed, at)
    for end, n in _number(words, typed, at):
        if n > 0:
            yield end, Fraction(n)


def _times(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    yield from _phrase(words.times, typed, at)


def _value(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    """Ticks of a value as it is named ("dotted crotchet", "half note"); none shorter than a tick."""
    for start, dots in (*_phrase(words.dotted, typed, at), (at, 0)):
        for end, base in _phrase(words.values, typed, start):
            ticks = base * (2 - Fraction(1, 2**dots)) * TICKS
            if ticks.denominator == 1:
                yield end, int(ticks)


def _name(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, tuple[str, int]]]:
    """Letter and alteration of "f sharp", "bb"."""
    if at < len(typed.tokens) and typed.tokens[at].text in words.steps:
        letter = words.steps[typed.tokens[at].text]
        for end, alter in _phrase(words.accidentals, typed, at + 1):
            sign = typed.tokens[at + 1]
            if len(sign.text) > 1 or sign.start <= typed.tokens[at].start + 1:  # "a b" is two letters, "ab" one flat
                yield end, (letter, alter)
        yield at + 1, (letter, 0)


def _pitch(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, tuple[str, int, int | None]]]:
    """The same with the octave (None where it is not named): "f sharp 4", "C in the fifth octave"."""
    for end, (letter, alter) in _name(words, typed, at):
        for after, octave in (*_phrase(words.octaves, typed, end), *_figure(words, typed, end)):
            if 0 <= octave <= 8 and not (after == end + 1 and typed.tokens[end].apart):
                yield after, (letter, alter, octave)
        yield end, (letter, alter, None)


def _accidental(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    """A sign without a letter: "sharp", of whatever letter the note has."""
    if at < len(typed.tokens) and typed.tokens[at].text not in words.steps:
        yield from _phrase(words.accidentals, typed, at)


def _key(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, Key]]:
    """ "g major", "b flat minor"; none that has more than seven signs."""
    for end, (letter, alter) in _name(words, typed, at):
        for after, mode in _phrase(words.modes, typed, end):
            place = "FCGDAEB".index(letter) - 1 + 7 * alter  # in the row of fifths
            key = Key(place - (3 if mode == "minor" else 0), mode)
            if -7 <= key.fifths <= 7:
                yield after, key


def _keynote(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, Key]]:
    """A key, major where its mode is not named."""
    yield from _key(words, typed, at)
    for end, (letter, alter) in _name(words, typed, at):
        place = "FCGDAEB".index(letter) - 1 + 7 * alter
        if -7 <= place <= 7:
            yield end, Key(place)


def _time(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, str]]:
    """The name of a time signature: "3/4", "six eight", or how many beats are counted."""
    if at < len(typed.tokens) and "/" in typed.tokens[at].text and len(typed.tokens[at].text) > 1:
        yield at + 1, typed.tokens[at].text
    for end, upper in _number(words, typed, at):
        dash = int(end < len(typed.tokens) and typed.tokens[end].text == "-")  # "six-eight"
        for after, lower in _number(words, typed, end + dash):
            if f"{upper}/{lower}" in TIMES:
                yield after, f"{upper}/{lower}"
        if upper > 0:
            yield end, str(upper)


def _interval(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    """Semitones of "a tone", "two semitones"."""
    starts = [(at, 1), *((end, n) for end, n in _number(words, typed, at) if n > 0)]
    if at < len(typed.tokens) and typed.tokens[at].text in words.articles:
        starts.append((at + 1, 1))
    for start, times in starts:
        for end, semitones in _phrase(words.intervals, typed, start):
            yield end, times * semitones


def _direction(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, int]]:
    yield from _phrase(words.directions, typed, at)


def _two_or_more(words: CorrectionWords, typed: Typed, at: int,
                 read: Callable[[CorrectionWords, Typed, int], Iterator[tuple[int, Any]]]) -> Iterator[tuple[int, list[Any]]]:
    """Two or more values after each other, with articles or joining words between them."""
    found: list[tuple[int, list[Any]]] = []
    values: list[Any] = []
    end = at
    while True:
        while end < len(typed.tokens) and typed.tokens[end].text in (*words.articles, *words.joining) and not (
                typed.tokens[end].text in words.steps and read is _pitch):
            end += 1
        one = next(read(words, typed, end), None)
        if one is None:
            break
        end, values = one[0], [*values, one[1]]
        if len(values) > 1:
            found.append((end, values))
    yield from reversed(found)


def _values(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, list[int]]]:
    yield from _two_or_more(words, typed, at, _value)


def _pitches(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, list[tuple[str, int, int | None]]]]:
    yield from _two_or_more(words, typed, at, _pitch)


def _word(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, str]]:
    """One word as it was typed, hyphens and capitals kept."""
    if at < len(typed.tokens):
        found = re.match(r"[^\s,;]+", typed.text[typed.tokens[at].start:])
        assert found is not None
        after = typed.tokens[at].start + found.end()
        end = next((k for k in range(at, len(typed.tokens)) if typed.tokens[k].start >= after), len(typed.tokens))
        yield end, found[0].strip('".')


def _rest_of_line(words: CorrectionWords, typed: Typed, at: int) -> Iterator[tuple[int, str]]:
    """All that follows, as it was typed."""
    if at < len(typed.tokens):
        yield len(typed.tokens), re.sub(r"\s+", " ", typed.text[typed.tokens[at].start:]).strip()


_SLOTS: dict[str, Callable[[CorrectionWords, Typed, int], Iterator[tuple[int, Any]]]] = {
    "NUMBER": _number, "FIGURE": _figure, "AMOUNT": _amount, "TIMES": _times, "VALUE": _value, "PITCH": _pitch,
        "ACCIDENTAL": _accidental, "KEY": _key,
    "KEYNOTE": _keynote, "TIME": _time, "INTERVAL": _interval, "DIRECTION": _direction, "VALUES": _values, "PITCHES": _pitches,
    "WORD": _word, "REST": _rest_of_line}


# From what a rule has found to corrections.

Place = tuple[int, int | Which]  # bar, and the note's number or what is said of it


class _Reader:
    """Makes corrections of what was found, in order; a note without a bar is in the bar that was named last."""

    def __init__(self, language: Language, text: str) -> None:
        self.language, self.text, self.bar = language, text, 0

    def places(self, found: Bindings | list[Bindings]) -> list[Place]:
        out: list[Place] = []
        for one in listed(found):
            self.bar = one.get("bar", self.bar)
            if "which" in one or "every" in one:
                out.append((self.bar, self.which(one)))
                continue
            numbers = one["notes"] if "notes" in one else {"from": 1, "to": one["count"]}
            if ("of_all" in one or not self.bar) and numbers.get("all") in ([1], [LAST]):  # the first or last note of the tune
                out.append((LAST if numbers["all"] == [LAST] else FIRST, numbers["all"][0]))
                continue
            if not self.bar or "of_all" in one:
                raise Trouble(self.language.message('It is not clear in which bar the note is in "{text}". Say for example: '
                                                    "bar 3 note 2.").format(text=self.text))
            notes = numbers["all"] if "all" in numbers else list(range(numbers["from"], numbers["to"] + 1))
            if not notes or (LAST in notes and len(notes) > 1) or len(set(notes)) < len(notes) or len(notes) > 64:
                raise self.unclear()
            out += [(self.bar, note) for note in notes]
        return out

    def which(self, found: Bindings) -> Which:
        """Notes that are described by their value or pitch."""
        said = found["every"] if "every" in found else found["which"]
        step, alter, octave = said.get("pitch", ("", 0, None))
        nth = found.get("nth", 0)
        if nth < LAST:
            raise self.unclear()
        return Which(step=step, alter=alter, octave=octave, ticks=said.get("ticks", 0), nth=nth, every="every" in found)

    def unclear(self) -> Trouble:
        return Trouble(self.language.message('I do not understand which note is meant in "{text}". Say for example: '
                                             "bar 3 note 2.").format(text=self.text))

    def numbered(self, found: Bindings | list[Bindings]) -> list[tuple[int, int]]:
        """The places found, all of which must be given by numbers."""
        places = self.places(found)
        out = [(bar, note) for bar, note in places if isinstance(note, int)]
        if len(out) < len(places):
            raise self.unclear()
        return out

    def neighbours(self, found: Bindings, fewest: int = 2) -> list[tuple[int, int]]:
        """The places found, which must be notes beside each other in one bar."""
        places = self.numbered(found["places"])
        if len(places) < fewest or any(b != (a[0], a[1] + 1) for a, b in itertools.pairwise(places)):
            raise Trouble(self.language.message('Notes that stand beside each other are wanted in "{text}". Say for example: '
                                                "join bar 3 notes 2 and 3.").format(text=self.text))
        return places

    def read(self, found: Bindings) -> list[Correction]:
        action = found["action"]
        if "inside" in found:  # "bar 3: take out note 2"
            self.bar, inside = found["bar"], found["inside"]
            if "places" not in inside or any("bar" in place for place in listed(inside["places"])):
                raise self.unclear()
            return self.read(inside)
        self.bar = found.get("bar", self.bar)
        if action in (Action.NO_REST, Action.END_REST) and "places" not in found:
            return [Correction(action=action, bar=found["bar"], note=LAST, **self.facts(found))]
        if "becomes" in found:
            return self.become(found)
        if "values" in found or "pitches" in found:
            return self.whole_bar(found)
        if action in (Action.JOIN, Action.TRIPLET, Action.SLUR):
            return self.together(found)
        if action in (Action.REPEAT, Action.COPY, Action.SING_AGAIN):
            return self.bars(found)
        if "places" in found:
            facts = self.facts(found)
            first: dict[str, Any] = {}  # a note of three quavers is as long as they are before it is split
            if action is Action.SPLIT and (ticks := facts.pop("ticks", 0)):
                first = {"action": Action.VALUE, "ticks": ticks * facts["parts"]}
            return [Correction(**at(place), **one) for place in self.places(found["places"])
                    for one in (first, {"action": action, **facts}) if one]
        if action is Action.PICKUP and not found.keys() & {"length", "ticks", "beats"}:
            return [Correction(action=action, note=found.get("count", 1))]
        return [Correction(action=action, **self.facts(found))]

    def facts(self, found: Bindings) -> dict[str, Any]:
        """The fields of a correction that a rule has found."""
        out: dict[str, Any] = {k: found[k] for k in ("ticks", "text", "factor", "key", "before", "bpm") if k in found}
        for k in ("length", "new"):
            out.update(self.facts(found[k]) if k in found else {})
        if "beats" in found:
            out.update(ticks=self.ticks(found["beats"]), beats=True)
        elif "length" in found and not out.get("ticks"):
            out.update(ticks=TICKS, beats=True)  # "a beat"
        if "accidental" in found:
            out["alter"] = found["accidental"]
        if "pitch" in found:
            out["step"], out["alter"], out["octave"] = found["pitch"]
        if "interval" in found:
            semitones = found["interval"] * found.get("direction", 1) * found["sign"]
            out["semitones"] = semitones
        if found.get("action") is Action.TIME:
            name = out.pop("text", "") or found["time"]
            out["time"] = time_named(name)
            if out["time"] is None:
                raise Trouble(self.language.message("{time} was asked for; a tune is written in {times} here.").format(
                    time=name, times=", ".join(TIMES)))
        if "bpm" in out and not LEAST_BPM <= out["bpm"] <= MOST_BPM:
            raise Trouble(self.language.message("{bpm} beats a minute were asked for; give 30 to 240.").format(bpm=out["bpm"]))
        if found.get("action") is Action.SPLIT:
            out["parts"] = found.get("parts") or found.get("times") or 2
            if not 2 <= out["parts"] <= MOST_PARTS:
                raise Trouble(self.language.message("A note can be split into two, three or four; {parts} was asked for.").format(
                    parts=out["parts"]))
        return out

    def ticks(self, beats: Fraction) -> int:
        ticks = beats * TICKS
        if ticks.denominator != 1:
            raise self.unclear()
        return int(ticks)

    def become(self, found: Bindings) -> list[Correction]:
        """What notes should be: a value, a pitch, both, a rest, higher or lower."""
        places = self.places(found["places"])
        kinds: list[tuple[Action, dict[str, Any]]] = []
        for one in (*listed(found["becomes"]), *found.get("also", ())):
            facts = self.facts(one)
            pitch: dict[str, Any] = {k: facts.pop(k) for k in ("step", "alter", "octave") if k in facts}
            if one["action"] is Action.VALUE and pitch:
                both: list[tuple[Action, dict[str, Any]]] = [(Action.VALUE, facts), (Action.PITCH, pitch)]
                kinds += both if list(one).index("ticks") < list(one).index("pitch") else both[::-1]
            else:
                kinds.append((one["action"], {**facts, **pitch} if one["action"] is not Action.REST else {}))
        if len({kind for kind, _ in kinds}) < len(kinds):
            raise Trouble(self.language.message('Two things are said of one note in "{text}". Say what it is.').format(
                text=self.text))
        return [Correction(action=kind, **at(place), **facts) for place in places for kind, facts in kinds]

    def whole_bar(self, found: Bindings) -> list[Correction]:
        self.bar = found["bar"]
        if "values" in found:
            return [Correction(action=Action.VALUE, bar=self.bar, note=k, ticks=ticks, notes=len(found["values"]))
                    for k, ticks in enumerate(found["values"], 1)]
        return [Correction(action=Action.PITCH, bar=self.bar, note=k, step=step, alter=alter, octave=octave,
                           notes=len(found["pitches"])) for k, (step, alter, octave) in enumerate(found["pitches"], 1)]

    def together(self, found: Bindings) -> list[Correction]:
        """Notes joined, a triplet, a slur."""
        action = found["action"]
        if action is Action.JOIN and not found.get("together"):
            places = self.places(found["places"])
            if len(places) != 1:
                raise self.unclear()
            return [Correction(action=action, **at(places[0]))]
        if action is Action.JOIN and "begin" in found:
            begin, end = self.numbered([found["begin"]]), self.numbered([found["end"]])
            if len(begin) != 1 or len(end) != 1:
                raise self.unclear()
            return [Correction(action=action, bar=begin[0][0], note=begin[0][1], other_bar=end[0][0], other_note=end[0][1])]
        if action is Action.JOIN:
            return [Correction(action=action, bar=bar, note=note) for bar, note in self.neighbours(found)[:-1]]
        if action is Action.TRIPLET:
            three = self.numbered(found["places"])
            if len(three) not in (1, 3) or (len(three) == 3 and self.neighbours(found) != three):
                raise Trouble(self.language.message('A triplet is three notes; other notes are named in "{text}". Say for '
                                                    "example: bar 3 notes 1 to 3 are a triplet.").format(text=self.text))
            return [Correction(action=action, bar=three[0][0], note=three[0][1])]
        ends = self.numbered([found["begin"], found["end"]] if "begin" in found else found["places"])
        if len(ends) < 2 or ends[0] >= ends[-1]:
            raise Trouble(self.language.message('A slur goes from one note to a later one; both are wanted in "{text}". Say for '
                                                "example: slur bar 3 note 1 to note 2.").format(text=self.text))
        return [Correction(action=action, bar=ends[0][0], note=ends[0][1], other_bar=ends[-1][0], other_note=ends[-1][1])]

    def bars(self, found: Bindings) -> list[Correction]:
        """Bars repeated, sung again, or written as others are."""
        first, last = self.span(found["bars"]) if "bars" in found else (0, LAST)
        if found["action"] in (Action.REPEAT, Action.SING_AGAIN):
            return [Correction(action=found["action"], bar=first, last_bar=last)]
        source, source_last = self.span(found["source"])
        if last - first != source_last - source:
            raise Trouble(self.language.message('As many bars on one side as on the other are wanted in "{text}". Say for '
                                                "example: bars 5 to 8 as bars 1 to 4.").format(text=self.text))
        return [Correction(action=Action.COPY, bar=first, last_bar=last, other_bar=source)]

    def span(self, bars: Bindings) -> tuple[int, int]:
        first: int = bars["first"]
        last: int = bars.get("last", first)
        if first < 0 or last < first:
            raise Trouble(self.language.message('The bars of "{text}" are in no order. Say for example: repeat bars 1 to '
                                                "4.").format(text=self.text))
        return first, last


def listed(places: Bindings | list[Bindings]) -> list[Bindings]:
    """One place or several as several."""
    return places if isinstance(places, list) else [places]


def at(place: Place) -> dict[str, Any]:
    """The fields of a correction that say which note it is of."""
    bar, note = place
    return {"bar": bar, "which": note} if isinstance(note, Which) else {"bar": bar, "note": note}


def _all_corrections(language: Language, found: Iterable[Bindings], text: str) -> Iterator[Correction]:
    reader = _Reader(language, text)
    for one in found:
        yield from reader.read(one)
