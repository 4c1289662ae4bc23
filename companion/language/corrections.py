"""What a person types to correct a written-down take ("bar 3 note 2 is a crotchet"), read into a `Correction`."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from companion.errors import Trouble
from companion.language.interface import CorrectionWords, Language
from companion.messages import N_
from companion.transcribe import TICKS, TIMES, Action, Correction, time_named
from companion.tune import Key

#: One of each kind, as help gives them.
EXAMPLES = (
    N_("bar 3 note 2 is a crotchet"),
    N_("bar 3 note 2 is F sharp"),
    N_("bar 3 note 2 is a semitone lower"),
    N_("bar 3 note 2 the other reading"),
    N_("bar 3 note 2 is a rest"),
    N_("no rest after bar 3 note 2"),
    N_("a quaver rest after bar 3 note 2"),
    N_("take out bar 3 note 2"),
    N_("join bar 3 note 2 to the next"),
    N_("split bar 3 note 2"),
    N_("in three (or in 3/4)"),
    N_("in G major"),
    N_("a tone lower (or an octave higher)"),
    N_("no pickup (or a pickup of a crotchet)"),
    N_("values twice as long (or values half as long)"),
    N_("words: Snail on the wall"),
    N_("title: Snail"),
)
VALUE, PITCH, REST, END_REST, TIME, TRANSPOSITION = 0, 1, 4, 6, 10, 12  # places in EXAMPLES


def read_correction(language: Language, text: str) -> Correction:
    """The correction that was typed. Raises Trouble where it is not understood."""
    words = language.correction_words
    line = re.sub(r"\s+", " ", text.strip().rstrip(".")).strip()
    low = line.lower()
    if low.startswith(words.words):
        return Correction(action=Action.WORDS, text=line[len(words.words):].strip())
    if low.startswith(words.title):
        return Correction(action=Action.TITLE, text=line[len(words.title):].strip())
    return _whole(language, low) or _one(language, low, text)


def read_key(language: Language, text: str) -> Key:
    """The key that was typed: "B flat major". Raises Trouble where it is none."""
    key = _key(language.correction_words, text.strip().lower())
    if key is None:
        raise Trouble(language.message("Key {key} was given; say it as G major, B flat major or E minor.").format(key=text))
    return key


def _whole(language: Language, low: str) -> Correction | None:
    """A correction of the whole score; None where the line is about a single note."""
    words = language.correction_words
    if found := re.fullmatch(words.time, low):
        name = str(words.numbers.get(found[1], found[1]))
        time = time_named(name)
        if time is None:
            raise Trouble(language.message("{time} was asked for; a tune is written in {times} here.").format(
                time=name, times=", ".join(TIMES)))
        return Correction(action=Action.TIME, time=time)
    if (found := re.fullmatch(words.key, low)) and (key := _key(words, found[1])):
        return Correction(action=Action.KEY, key=key)
    if semitones := _semitones(words, low):
        return Correction(action=Action.TRANSPOSE, semitones=semitones)
    if (found := re.fullmatch(words.pickup, low)) and (ticks := _ticks(words, found[1])) is not None:
        return Correction(action=Action.PICKUP, ticks=ticks, text=found[1])
    plain = ((words.no_pickup, Action.NO_PICKUP), (words.double, Action.DOUBLE), (words.halve, Action.HALVE))
    return next((Correction(action=action) for pattern, action in plain if re.fullmatch(pattern, low)), None)


def _one(language: Language, low: str, text: str) -> Correction:
    """A correction of one note. Raises Trouble where it is not understood; text: what was typed."""
    words = language.correction_words
    found = re.fullmatch(words.note, low)
    if not found:
        raise _not_understood(language, text, VALUE, PITCH, TIME, TRANSPOSITION)
    bar, note = _number(words, found["bar"]), _number(words, found["note"] or found["place"])
    if bar is None or note is None:
        raise Trouble(language.message('I do not understand which note is meant in "{text}". Say for example: '
                                       "bar 3 note 2.").format(text=text))
    before, after = (found["before"] or "").strip(), (found["after"] or "").strip()
    plain = ((before, words.take_out, Action.TAKE_OUT), (after, words.not_a_note, Action.TAKE_OUT),
             (before, words.join, Action.JOIN), (before, words.split, Action.SPLIT),
             (before, words.no_rest, Action.NO_REST))
    for part, pattern, action in plain:
        if re.fullmatch(pattern, part):
            return Correction(action=action, bar=bar, note=note)
    if length := re.fullmatch(words.end_rest, before):
        ticks = _ticks(words, length[1])
        if ticks is None:
            raise Trouble(language.message('I do not know a rest of that length in "{text}". Say for example: '
                                           "{example}.").format(text=text, example=language.message(EXAMPLES[END_REST])))
        return Correction(action=Action.END_REST, bar=bar, note=note, ticks=ticks)
    correction = _becomes(words, after, bar, note)
    if correction is None:
        raise _not_understood(language, text, VALUE, PITCH, REST)
    return correction


def _becomes(words: CorrectionWords, after: str, bar: int, note: int) -> Correction | None:
    """What a note should be: a rest, its other reading, so much higher or lower, a value, a pitch."""
    for pattern, action in ((words.rest, Action.REST), (words.other_reading, Action.OTHER_READING)):
        if re.fullmatch(pattern, after):
            return Correction(action=action, bar=bar, note=note)
    if semitones := _semitones(words, after):
        return Correction(action=Action.MOVE, bar=bar, note=note, semitones=semitones)
    if (ticks := _ticks(words, after)) is not None:
        return Correction(action=Action.VALUE, bar=bar, note=note, ticks=ticks)
    if pitch := _pitch(words, after):
        step, alter, octave = pitch
        return Correction(action=Action.PITCH, bar=bar, note=note, step=step, alter=alter, octave=octave)
    return None


def _not_understood(language: Language, text: str, *examples: int) -> Trouble:
    return Trouble(language.message('I do not understand "{text}". Say for example: {examples}.').format(
        text=text, examples="; ".join(language.message(EXAMPLES[i]) for i in examples)))


def _number(words: CorrectionWords, word: str) -> int | None:
    return int(word) if word.isdecimal() else words.numbers.get(word)


def _ticks(words: CorrectionWords, text: str) -> int | None:
    """Ticks of a value as it is named ("dotted crotchet", "a half note"); None where it is none, or shorter than a tick."""
    first, _, rest = text.strip().partition(" ")
    name = rest.strip() if first in words.articles else text.strip()
    prefix = next((p for p in words.dotted if name.startswith(p)), "")
    name = name.removeprefix(prefix).strip()
    base = words.values.get(name) or words.values.get(name.rstrip("s"))
    if base is None:
        return None
    ticks = base * (2 - Fraction(1, 2 ** words.dotted.get(prefix, 0))) * TICKS
    return int(ticks) if ticks.denominator == 1 else None


def _semitones(words: CorrectionWords, text: str) -> int | None:
    """ "a tone lower" as -2, "two semitones higher" as 2; None where it is none."""
    *parts, last = text.split() or [""]
    times = 1
    if " ".join(parts) not in words.intervals and parts:  # else "third" is an interval and no number
        number = 1 if parts[0] in words.articles else _number(words, parts[0])
        if number is not None:
            times, parts = number, parts[1:]
    name = " ".join(parts)
    interval = words.intervals.get(name) or words.intervals.get(name.removesuffix("s"))
    if interval is None or last not in words.directions or times < 1:
        return None
    return times * interval * words.directions[last]


def _one_of(names: Iterable[str]) -> str:
    return "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True))


def _pitch(words: CorrectionWords, text: str) -> tuple[str, int, int | None] | None:
    """Letter, alteration and octave (None where not given) of "f sharp", "b flat 4", "f#4"; None where it is none."""
    found = re.fullmatch(rf"({_one_of(words.steps)})\s*({_one_of(words.accidentals)})?\s*([0-9])?", text.strip())
    if not found:
        return None
    return words.steps[found[1]], words.accidentals.get(found[2], 0), int(found[3]) if found[3] else None


def _key(words: CorrectionWords, text: str) -> Key | None:
    """ "g major", "b flat minor", "f# minor"; None where it is none, or has more than seven signs."""
    found = re.fullmatch(rf"({_one_of(words.steps)})\s*({_one_of(words.accidentals)})?\s*({_one_of(words.modes)})", text)
    if not found:
        return None
    mode = words.modes[found[3]]
    place = "FCGDAEB".index(words.steps[found[1]]) - 1 + 7 * words.accidentals.get(found[2], 0)  # in the row of fifths
    key = Key(place - (3 if mode == "minor" else 0), mode)
    return key if -7 <= key.fifths <= 7 else None
