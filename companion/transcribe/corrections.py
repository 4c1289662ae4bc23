"""Corrections of a written-down take by plain commands: "bar 3 note 2 is a crotchet", "in three", "a tone lower"."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from companion.errors import Trouble
from companion.language.cues import NUMBERS, ORDINALS
from companion.messages import _
from companion.transcribe.doubts import pitch_words, value_words
from companion.transcribe.lyrics import lay
from companion.transcribe.rhythm import BY_BEATS, METRES, TICKS, bar_ticks
from companion.transcribe.score import Notation, bars_of, write
from companion.tune import STEP_SEMITONES, VALUES, Key, spell, transposed_key

HELP = (
    "bar 3 note 2 is a crotchet",
    "bar 3 note 2 is F sharp",
    "bar 3 note 2 is a semitone lower",
    "bar 3 note 2 the other reading",
    "bar 3 note 2 is a rest",
    "no rest after bar 3 note 2",
    "a quaver rest after bar 3 note 2",
    "take out bar 3 note 2",
    "join bar 3 note 2 to the next",
    "split bar 3 note 2",
    "in three (or in 3/4)",
    "in G major",
    "a tone lower (or an octave higher)",
    "no pickup (or a pickup of a crotchet)",
    "values twice as long (or values half as long)",
    "words: Snail on the wall",
    "title: Snail",
)


@dataclass(frozen=True)
class Corrected:
    """The score after a correction, and what was done, one sentence."""

    notation: Notation
    say: str


_INTERVALS = {"semitone": 1, "half step": 1, "half tone": 1, "whole step": 2, "whole tone": 2, "tone": 2,
              "minor third": 3, "major third": 4, "third": 4, "fourth": 5, "fifth": 7, "octave": 12}
_METRE_WORDS = {said: metre for beats, metre in BY_BEATS.items() for said in (NUMBERS[beats], str(beats))}
_NUMBER = {w: n for n, w in enumerate(NUMBERS)} | {w: n for n, w in enumerate(ORDINALS)} | {"last": -1}


def _number(word: str) -> int | None:
    return int(word) if word.isdigit() else _NUMBER.get(word)


def value_of(text: str) -> int | None:
    """Ticks of a value as it is said, British or American ("dotted crotchet", "half note"), None if it is none."""
    text = re.sub(r"^(an?|the)\s+", "", text.strip())
    dots = 0
    while match := re.match(r"(double |twice )?dotted\s+", text):
        dots = 2 if match.group(1) else 1
        text = text[match.end():]
    for base, names in VALUES.items():
        if text.rstrip("s") in names or text in names:
            value = base * (2 - Fraction(1, 2**dots)) * TICKS
            return int(value) if value.denominator == 1 else None
    return None


def pitch_of(text: str) -> tuple[str, int, int | None] | None:
    """Letter, alteration and octave (None where not said) of "F sharp", "B flat 4", "F#4"; None if it is none."""
    match = re.fullmatch(r"([a-gA-G])\s*(sharp|flat|natural|#|b)?\s*([0-9])?", text.strip())
    if not match:
        return None
    alter = {"sharp": 1, "#": 1, "flat": -1, "b": -1}.get(match.group(2) or "", 0)
    return match.group(1).upper(), alter, int(match.group(3)) if match.group(3) else None


def key_said(text: str) -> Key | None:
    """ "G major", "B flat minor", "f# minor" as a key; None if it is none."""
    match = re.fullmatch(r"([a-g])\s*(sharp|flat|#|b)?\s*(major|minor)", text.strip().lower())
    if not match:
        return None
    alter = {"sharp": 1, "#": 1, "flat": -1, "b": -1}.get(match.group(2) or "", 0)
    fifths = "FCGDAEB".index(match.group(1).upper()) - 1 + 7 * alter - (3 if match.group(3) == "minor" else 0)
    return Key(fifths, match.group(3)) if -7 <= fifths <= 7 else None


def _semitones(text: str) -> int | None:
    """ "a tone lower" as -2, "two semitones higher" as 2; None if it is none."""
    match = re.fullmatch(r"(?:(an?|one|two|three|four|five|six|seven|\d+)\s+)?([a-z ]+?)s?\s+(higher|lower|up|down)",
                         text.strip())
    if not match or match.group(2) not in _INTERVALS:
        return None
    times = 1 if match.group(1) in (None, "a", "an") else _number(match.group(1)) or 1
    return times * _INTERVALS[match.group(2)] * (1 if match.group(3) in ("higher", "up") else -1)


def place_of(n: Notation, bar: int, note: int) -> int:
    """Which note of the tune (from 0) is note `note` (from 1; -1 the last) of a bar. Raises Trouble if none is."""
    inside = [i for i, b in enumerate(bars_of(n)) if b == bar]
    if not inside:
        last = bars_of(n)[-1]
        raise Trouble(_("There is no bar {bar}; the tune has bars {place} to {last}.").format(
                            bar=bar, place=0 if n.place else 1, last=last))
    if note == -1:
        return inside[-1]
    if not 1 <= note <= len(inside):
        raise Trouble(_("Bar {bar} has {inside} note{inside2} that begin in it; there is no note {note}.").format(
                            bar=bar, inside=len(inside), inside2='s' if len(inside) > 1 else '', note=note))
    return inside[note - 1]


_AT = r"bar (\w+),? (?:note (\w+)|(?:the )?(\w+) note)"


def correct(n: Notation, command: str) -> Corrected:
    """One correction. Raises Trouble, one sentence, where the command is not understood or cannot be done."""
    text = re.sub(r"\s+", " ", command.strip().rstrip(".")).strip()
    low = text.lower()
    if low.startswith("words:"):
        laid = lay(n.events, text[6:].strip())
        return Corrected(replace(n, events=laid.events), laid.say or "The words are laid under the notes.")
    if low.startswith("title:"):
        return Corrected(replace(n, title=text[6:].strip()), f"Its title is {text[6:].strip()}.")
    whole = _whole(n, low)
    if whole is not None:
        return whole
    match = re.fullmatch(rf"(take out|leave out|split|join|no rest after|(?:an? )?[\w -]+? rest after)?\s*{_AT}"
                         r"(?: to the next| and the next)?(?: (?:is|was|should be)?\s*(.+))?", low)
    if not match:
        raise Trouble(_('I do not understand "{command}". Say for example: {HELP}; {HELP2}; {HELP3}; {HELP4}.').format(
                            command=command, HELP=HELP[0], HELP2=HELP[1], HELP3=HELP[10], HELP4=HELP[12]))
    lead, bar_word, note_word, other_word, rest = match.groups()
    bar, note = _number(bar_word), _number(note_word or other_word)
    if bar is None or note is None:
        raise Trouble(_('I do not understand which note is meant in "{command}". Say for example: bar 3 note 2.').format(
                            command=command))
    return _one(n, place_of(n, bar, note), (lead or "").strip(), (rest or "").strip(), command,
                f"bar {bar}, note {note if note > 0 else 'last'}")


def _whole(n: Notation, low: str) -> Corrected | None:
    """Corrections of the whole score; None where the command is about a single note."""
    match = re.fullmatch(r"in (1?\d|two|three|four|six|nine|twelve|\d+/\d+)(?: time| beats?)?", low)
    if match:
        metre = _METRE_WORDS.get(match.group(1), match.group(1))
        if metre not in METRES:
            raise Trouble(_("{metre} was asked for; a tune is written in {METRES} here.").format(
                                metre=metre, METRES=', '.join(METRES)))
        return Corrected(_again(n, replace(n.given, time=metre)), f"Read again in {metre}.")
    if low.startswith("in ") and (key := key_said(low[3:])):
        return Corrected(replace(n, key=key, key_sure=1.0), f"Written in {key.name}; the notes stay.")
    semitones = _semitones(low)
    if semitones is not None:
        moved = tuple(replace(e, midi=e.midi + semitones) for e in n.events)
        key = transposed_key(n.key, semitones)
        return Corrected(replace(n, events=moved, key=key, key_other=transposed_key(n.key_other, semitones),
                                 other_pitch=tuple(m + semitones for m in n.other_pitch)),
                         f"All of it is {low}, now in {key.name}.")
    if low in ("no pickup", "no upbeat", "it begins on the first beat"):
        return Corrected(replace(n, place=0), "The first note now begins the first bar.")
    match = re.fullmatch(r"(?:a )?(?:pickup|upbeat) of (.+)", low)
    if match:
        ticks = value_of(match.group(1))
        bar = bar_ticks(n.metre)
        if ticks is None or not 0 < ticks < bar:
            raise Trouble(_("A pickup of {group} does not go into {metre}. Give a value shorter than a bar.").format(
                                group=match.group(1), metre=n.metre))
        return Corrected(replace(n, place=bar - ticks), f"The tune begins with a pickup of {value_words(ticks)}.")
    match = re.fullmatch(r"(?:all )?values (twice|half) as (?:long|short)", low)
    if match:
        up = match.group(1) == "twice"
        if not up and any(e.ticks % 2 or e.rest % 2 for e in n.events):
            raise Trouble(_("There are semiquavers in it, which are the shortest value written here; they cannot be "
                            "halved."))
        events = tuple(replace(e, ticks=e.ticks * 2 if up else e.ticks // 2,
                               rest=e.rest * 2 if up else e.rest // 2) for e in n.events)
        bar = bar_ticks(n.metre)
        before = (bar - n.place) % bar
        place = (bar - (before * 2 if up else before // 2)) % bar
        pace = tuple(q / 2 if up else q * 2 for q in n.quarter_s)
        return Corrected(replace(n, events=events, place=place, quarter_s=pace),
                         f"All values are {'twice' if up else 'half'} as long.")
    return None


def _again(n: Notation, given: object) -> Notation:
    """The take read anew, with its words, title and the key kept where they can be."""
    fresh = replace(write(n.sung, n.title, given), sound=n.sound, doubtful=n.doubtful)  # type: ignore[arg-type]
    if len(fresh.events) == len(n.events):
        kept = tuple(replace(new, syllable=old.syllable, midi=old.midi)
                     for new, old in zip(fresh.events, n.events, strict=True))
        fresh = replace(fresh, events=kept, key=n.key)
    return fresh


def _set(n: Notation, i: int, **changes: object) -> Notation:
    """One event changed, and held to be sure from now on."""
    events = list(n.events)
    events[i] = replace(events[i], **changes)  # type: ignore[arg-type]
    sure_value, sure_pitch = list(n.sure_value), list(n.sure_pitch)
    sure_value[i] = sure_pitch[i] = 1.0
    return replace(n, events=tuple(events), sure_value=tuple(sure_value), sure_pitch=tuple(sure_pitch))


def _drop(n: Notation, i: int) -> Notation:
    """The note taken out of every list of the notation."""
    lists = {name: tuple(x for k, x in enumerate(getattr(n, name)) if k != i)
             for name in ("events", "sung", "tuning", "quarter_s", "sure_value", "other_value", "sure_pitch",
                          "other_pitch")}
    return replace(n, **lists)  # type: ignore[arg-type]


def _one(n: Notation, i: int, lead: str, rest: str, command: str, where: str) -> Corrected:
    event = n.events[i]
    place = where[0].upper() + where[1:]
    if lead in ("take out", "leave out") or rest in ("no note", "not a note"):
        if len(n.events) < 3:
            raise Trouble(_("A tune must keep at least two notes."))
        length = event.ticks + event.rest
        if i == 0:
            bar = bar_ticks(n.metre)
            return Corrected(replace(_drop(n, 0), place=(n.place + length) % bar), f"{place} is taken out.")
        before = n.events[i - 1]
        grown = _set(n, i - 1, ticks=before.ticks + (0 if before.rest else length),
                     rest=before.rest + (length if before.rest else 0))
        return Corrected(_drop(grown, i), f"{place} is taken out; the note before it lasts on.")
    if lead == "join":
        if i + 1 >= len(n.events):
            raise Trouble(_("{place} is the last note; there is none after it to join.").format(place=place))
        after = n.events[i + 1]
        joined = _set(n, i, ticks=event.ticks + event.rest + after.ticks, rest=after.rest, breath=after.breath)
        return Corrected(_drop(joined, i + 1), f"{place} and the next are one note now.")
    if lead == "split":
        if event.ticks < 2:
            raise Trouble(_("{place} is a semiquaver, the shortest value written here; it cannot be parted.").format(
                                place=place))
        half = event.ticks // 2
        out = _set(n, i, ticks=half, rest=0, breath=False)
        doubled = {name: (*getattr(out, name)[:i + 1], *getattr(out, name)[i:])
                   for name in ("events", "sung", "tuning", "quarter_s", "sure_value", "other_value", "sure_pitch",
                                "other_pitch")}
        sung = list(doubled["sung"])
        middle = sung[i].duration_s / 2
        sung[i] = replace(sung[i], duration_s=middle)
        sung[i + 1] = replace(sung[i + 1], onset_s=sung[i + 1].onset_s + middle, duration_s=middle)
        doubled["sung"] = tuple(sung)
        out = replace(out, **doubled)  # type: ignore[arg-type]
        out = _set(out, i + 1, ticks=event.ticks - half, rest=event.rest, breath=event.breath, syllable=None)
        return Corrected(out, f"{place} is two notes now.")
    if lead == "no rest after":
        return Corrected(_set(n, i, ticks=event.ticks + event.rest, rest=0), f"{place} is held, with no rest after.")
    if lead.endswith("rest after"):
        ticks = value_of(lead.removesuffix("rest after"))
        if ticks is None:
            raise Trouble(_('I do not know a rest of that length in "{command}". Say for example: {HELP}.').format(
                                command=command, HELP=HELP[6]))
        total = event.ticks + event.rest
        if total < 2:
            raise Trouble(_("{place} is a semiquaver, the shortest value written here; there is no room for a rest.").format(
                                place=place))
        return Corrected(_set(n, i, ticks=max(1, total - ticks), rest=min(ticks, total - 1), breath=False),
                         f"{place} ends with {value_words(min(ticks, total - 1))} of rest.")
    if rest in ("a rest", "rest", "silent"):
        if i == 0:
            bar = bar_ticks(n.metre)
            return Corrected(replace(_drop(n, 0), place=(n.place + event.ticks + event.rest) % bar),
                             f"{place} is taken out; the tune begins after it.")
        before = n.events[i - 1]
        quiet = _set(n, i - 1, rest=before.rest + event.ticks + event.rest, breath=False)
        return Corrected(_drop(quiet, i), f"{place} is a rest now.")
    if rest in ("the other reading", "the other", "other reading", "the second reading"):
        if n.sure_pitch[i] < n.sure_value[i]:
            return Corrected(_set(n, i, midi=n.other_pitch[i]),
                             f"{place} is {pitch_words(spell(n.other_pitch[i], n.key))} now.")
        return _length(n, i, n.other_value[i], place)
    semitones = _semitones(rest)
    if semitones is not None:
        midi = event.midi + semitones
        return Corrected(_set(n, i, midi=midi), f"{place} is {pitch_words(spell(midi, n.key))} now.")
    if (ticks := value_of(rest)) is not None:
        return _length(n, i, ticks, place)
    if (said := pitch_of(rest)) is not None:
        letter, alter, octave = said
        target = STEP_SEMITONES[letter] + alter
        if octave is not None:
            midi = target + 12 * (octave + 1)
        else:
            midi = event.midi + (target - event.midi + 6) % 12 - 6
        return Corrected(_set(n, i, midi=midi), f"{place} is {pitch_words(spell(midi, n.key))} now.")
    raise Trouble(_('I do not understand "{command}". Say for example: {HELP}; {HELP2}; {HELP3}.').format(
                        command=command, HELP=HELP[0], HELP2=HELP[1], HELP3=HELP[4]))


def _length(n: Notation, i: int, ticks: int, place: str) -> Corrected:
    """A note's value changed. A rest after it gives or takes the difference; else what follows moves."""
    event = n.events[i]
    total = event.ticks + event.rest
    if event.rest and ticks <= total:
        return Corrected(_set(n, i, ticks=ticks, rest=total - ticks),
                         f"{place} is {value_words(ticks)} now; its rest has what is left.")
    moved = ticks - total
    after = ""
    if moved and i + 1 < len(n.events):
        after = f" What follows begins {value_words(abs(moved)).split(' ', 1)[1]} {'later' if moved > 0 else 'sooner'}."
    return Corrected(_set(n, i, ticks=ticks, rest=0), f"{place} is {value_words(ticks)} now.{after}")
