"""Questions of the course, and what a helper is told of them. Facts come from `companion.course`."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from fractions import Fraction

from companion.braille import Meaning, MeaningKind, signs
from companion.course import (
    Fact,
    FactKind,
    Group,
    Item,
    Pulse,
    QuestionKind,
    TuneToHear,
    Wants,
    fact,
    key_name,
    note_fact,
)
from companion.language.braille import say_dots, say_meaning, say_sign
from companion.language.interface import Language
from companion.messages import N_
from companion.tune import VALUES, Direction, Grace, LineNote, Pitch, direction_of, transposed_key

#: Signs for which the course has a name of its own.
COURSE_SIGNS = {"in-accord": N_("in-accord"), "breath mark": N_("breath mark"),
                "getting louder": N_("getting louder"), "getting softer": N_("getting softer")}


# --- names ---

def fact_name(language: Language, known: Fact) -> str:
    """A fact as it is called: "C crotchet", "C, fourth octave", "2 flats", "final double bar"."""
    match known.kind:
        case FactKind.NOTE if known.value is None:
            return step_name(language, known)
        case FactKind.NOTE:
            return language.message("{note} {value}").format(note=step_name(language, known), value=value_name(language, known))
        case FactKind.PLACED:
            return language.message("{note}, {octave}").format(note=step_name(language, known),
                                                               octave=language.octave(known.number))
        case FactKind.REST:
            return language.message("{value} rest").format(value=value_name(language, known))
        case FactKind.KEY if known.number > 0:
            return language.plural("{n} sharp", "{n} sharps", known.number).format(n=known.number)
        case FactKind.KEY:
            return language.plural("{n} flat", "{n} flats", -known.number).format(n=-known.number)
        case FactKind.TIME:
            assert known.time is not None
            return language.message("time {upper} {lower}").format(upper=known.time.upper[0], lower=known.time.lower)
        case FactKind.OCTAVE:
            return language.octave(known.number)
        case FactKind.ACCIDENTAL:
            return language.accidental(known.number)
        case FactKind.ENDING:
            return language.message("ending {n}").format(n=known.number)
        case FactKind.DYNAMIC:
            return language.message("dynamic {letters}").format(letters=known.dynamic)
        case FactKind.SIGN:
            return language.message(COURSE_SIGNS[known.name]) if known.name in COURSE_SIGNS else \
                say_sign(language, signs.BY_NAME[known.name])


def step_name(language: Language, known: Fact) -> str:
    """The letter of a note's fact."""
    return language.pitch_class(Pitch(known.step, 4))


def value_name(language: Language, known: Fact) -> str:
    """The value of a note or rest: "dotted crotchet"."""
    return language.value(known.value or Fraction(1, 2), 1 if known.dotted else 0)


def fact_at_start(language: Language, known: Fact) -> str:
    """A fact's name where a sentence begins."""
    return language.capitalised(fact_name(language, known))


def said_line(language: Language, line: Sequence[LineNote], values: bool = False) -> str:
    """A line in words that leave no doubt which C is meant: "C; up to D, E; again E; down to D". values: with the length of
    each note and the rests, where they have names: "C crotchet; up to D quaver, E quaver"."""
    openings = {Direction.UP: N_("up to {notes}"), Direction.DOWN: N_("down to {notes}"), Direction.LEVEL: N_("again {notes}")}
    names = [_with_value(language, n) if values else language.pitch_class(n.pitch) for n in line]
    parts = names[:1]
    moves = [(direction_of(b.midi - a.midi), name) for (a, b), name in zip(itertools.pairwise(line), names[1:], strict=True)]
    for direction, run in itertools.groupby(moves, key=lambda move: move[0]):
        parts.append(language.message(openings[direction]).format(notes=", ".join(name for _unused, name in run)))
    return "; ".join(parts)


def _with_value(language: Language, note: LineNote) -> str:
    """A note with its length and the rest after it, as far as they are single values: "C crotchet, crotchet rest"."""
    said = language.pitch_class(note.pitch)
    value = _value_of(note.quarters)
    if value is not None:
        said = language.message("{note} {value}").format(note=said, value=language.value(*value))
    rest = _value_of(note.rest_after)
    if rest is not None:
        said = language.message("{note} with {rest} after it").format(
            note=said, rest=language.indefinite(language.message("{value} rest").format(value=language.value(*rest))))
    return said


def _value_of(quarters: Fraction) -> tuple[Fraction, int] | None:
    """(undotted value, dots) of a length, None where no single note has it."""
    for dots, times in ((0, Fraction(1)), (1, Fraction(3, 2))):
        if quarters / times in VALUES:
            return quarters / times, dots
    return None


def group_said(language: Language, group: Group) -> str:
    """What a bar says, sign by sign: "fourth octave, C crotchet, crotchet rest"."""
    if not group.meanings:
        return ", ".join(fact_name(language, fact(note_fact(n))) for n in group.notes if n.pitch)
    return ", ".join(_meaning(language, meaning) for meaning in group.meanings)


def _meaning(language: Language, meaning: Meaning) -> str:
    """What some cells of a bar say, without a comma inside a note."""
    note = meaning.note
    if meaning.kind is not MeaningKind.NOTE or note is None or note.pitch is None:
        return say_meaning(language, meaning)
    name = language.pitch_class(note.pitch)
    if note.grace is not Grace.NONE:
        return language.message("{note} grace note").format(note=name)
    return language.message("{note} {value}").format(note=name, value=language.value(note.base, note.dots))


# --- questions ---

def in_key_of(language: Language, item: Item) -> Language:
    """The language in which the notes of a question are called: by solfa, where that is chosen, of its own key."""
    group = item.group
    if group is None:
        return language.in_key(0)
    # A bar that is sung from another note has the key of that note.
    moved = item.sung[0].midi - group.line[0].midi if item.kind is QuestionKind.SING_FROM_ANOTHER else 0
    return language.in_key(transposed_key(group.piece.key, moved).fifths if moved else group.piece.key.fifths)


def question_text(language: Language, item: Item) -> str:
    """What is asked, as it is said to the pupil."""
    return _QUESTIONS[item.kind](in_key_of(language, item), item)


def _plainly(template: str) -> Callable[[Language, Item], str]:
    return lambda language, item: language.message(template)


def _ask_move(language: Language, item: Item) -> str:
    return language.message({Direction.UP: N_("Here is a note. Sing it, then a higher one."),
                             Direction.DOWN: N_("Here is a note. Sing it, then a lower one."),
                             Direction.LEVEL: N_("Here is a note. Sing it, then the same one again.")}[item.wanted_direction])


def _ask_name(language: Language, item: Item) -> str:
    f = item.wanted_fact
    if f.kind is FactKind.NOTE and f.value is None:
        return language.message("Which note is this?")
    if f.kind is FactKind.NOTE:
        return language.message("Which note is this, and how long?")
    if f.kind is FactKind.PLACED:
        return language.message("Which note is this, and in which octave?")
    return language.message("What does this say?")


def _ask_to_write(language: Language, item: Item) -> str:
    f = item.wanted_fact
    name = fact_name(language, f)
    match f.kind:
        case FactKind.NOTE if f.value is None:
            return language.message("Write the note {note}.").format(note=name)
        case FactKind.NOTE:
            return language.message("Write {note} as {value}.").format(
                note=step_name(language, f), value=language.indefinite(value_name(language, f)))
        case FactKind.PLACED:
            return language.message("Write {note}, with its octave mark.").format(note=name)
        case FactKind.REST:
            return language.message("Write {rest}.").format(rest=language.indefinite(name))
        case FactKind.KEY:
            return language.message("Write a key with {signs}.").format(signs=name)
        case FactKind.TIME:
            assert f.time is not None
            return language.message("Write the time signature {upper} {lower}.").format(upper=f.time.upper[0],
                                                                                       lower=f.time.lower)
        case _:
            return language.message("Write the sign for {sign}.").format(sign=name)


def _ask_to_read(language: Language, item: Item) -> str:
    n = len(item.sung)
    if item.pulse is None:
        return language.plural("Read this {n} note in silence. You hear the first. Then sing it.",
                               "Read these {n} notes in silence. You hear the first. Then sing them.",
                               n).format(n=language.number(n))
    return language.plural("Read this {n} note in silence. You hear the first, and {beats}. Then sing it.",
                           "Read these {n} notes in silence. You hear the first, and {beats}. Then sing them.",
                           n).format(n=language.number(n), beats=_beats_counted(language, item.pulse))


def _beats_counted(language: Language, pulse: Pulse) -> str:
    return language.plural("{n} beat", "{n} beats", pulse.counts).format(n=language.number(pulse.counts))


def _ask_whole(language: Language, item: Item) -> str:
    if item.pulse is None:
        return language.message("Take the sheet of {tune}. Read it in silence. You hear the first note. Then sing it "
                                "all.").format(tune=item.title)
    return language.message("Take the sheet of {tune}. Read it in silence. You hear the first note, and {beats}. Then sing it "
                            "all.").format(tune=item.title, beats=_beats_counted(language, item.pulse))


def _ask_to_take_down(language: Language, item: Item) -> str:
    assert item.group is not None
    pitch = item.played[0].pitch
    first = said_pitch(language, pitch) if item.group.shows_octave else language.pitch_class(pitch)
    key = item.group.piece.key.fifths
    parts = [language.message("Listen, then write what you hear. The first note is {note}.").format(note=first)]
    if item.pulse is not None:
        parts.append(language.message("You hear it alone, then {beats}, then the bar.").format(
            beats=_beats_counted(language, item.pulse)))
    if key:
        parts.append(language.message("The key has {signs}.").format(signs=fact_name(language, fact(key_name(key)))))
    return " ".join(parts)


def _ask_how_often(language: Language, item: Item) -> str:
    return language.message("First you hear {note} alone, then a row. How often does it come in the row?").format(
        note=language.pitch_class(_first(item).pitch))


def _ask_mark(language: Language, item: Item) -> str:
    return language.message("From {first}, to {second}. Does the second note need an octave mark, yes or no?").format(
        first=said_pitch(language, item.played[0].pitch), second=said_pitch(language, item.played[1].pitch))


def _ask_beats(language: Language, item: Item) -> str:
    if item.group is not None:
        return language.message("How many crotchets long is this bar?")
    if item.wanted_fact.kind is FactKind.REST:
        return language.message("How many crotchets long is this rest?")
    return language.message("How many crotchets long is this note?")


def _ask_at_sight(language: Language, item: Item) -> str:
    if item.pulse is None:
        return language.message("Nobody has heard this tune yet. Read it in silence. You hear the first note. Then sing it "
                                "all.")
    return language.message("Nobody has heard this tune yet. Read it in silence. You hear the first note, and {beats}. Then "
                            "sing it all.").format(beats=_beats_counted(language, item.pulse))


def _ask_to_clap(language: Language, item: Item) -> str:
    assert item.pulse is not None
    return language.plural("Read this {n} note in silence. You hear {beats}. Then clap it with the beat that goes on.",
                           "Read these {n} notes in silence. You hear {beats}. Then clap them with the beat that goes on.",
                           len(item.sung)).format(n=language.number(len(item.sung)), beats=_beats_counted(language, item.pulse))


def _ask_to_think(language: Language, item: Item) -> str:
    assert item.group is not None
    thought = len(item.group.line) - len(item.sung)
    parts = [language.message("Read these {n} notes in silence. You hear the first.") if item.pulse is None else
             language.message("Read these {n} notes in silence. You hear the first, and {beats}."),
             language.plural("Sing two, think {n}, and sing the last.", "Sing two, think {n}, and sing the last.", thought)]
    beats = _beats_counted(language, item.pulse) if item.pulse is not None else ""
    return " ".join([parts[0].format(n=language.number(len(item.group.line)), beats=beats),
                     parts[1].format(n=language.number(thought))])


def _ask_from_another(language: Language, item: Item) -> str:
    template = N_("Read these {n} notes in silence. You hear another note than the first. Sing them all from there.") \
        if item.pulse is None else N_("Read these {n} notes in silence. You hear another note than the first, and {beats}. Sing "
                                      "them all from there.")
    beats = _beats_counted(language, item.pulse) if item.pulse is not None else ""
    return language.message(template).format(n=language.number(len(item.sung)), beats=beats)


_QUESTIONS: dict[QuestionKind, Callable[[Language, Item], str]] = {
    QuestionKind.HIGHER_OR_LOWER: _plainly(N_("Listen to two notes. Is the second one higher, lower or the same?")),
    QuestionKind.SING_THE_MOVE: _ask_move,
    QuestionKind.NAME_THE_CELL: _ask_name,
    QuestionKind.WRITE_THE_CELL: _ask_to_write,
    QuestionKind.SING_THE_CELL: _plainly(N_("Read two notes. You hear the first. Then sing both.")),
    QuestionKind.WRITE_WHAT_YOU_HEAR: _ask_to_take_down,
    QuestionKind.READ_AND_SING: _ask_to_read,
    QuestionKind.WHOLE_TUNE: _ask_whole,
    QuestionKind.SING_AT_SIGHT: _ask_at_sight,
    QuestionKind.WHICH_BAR: _plainly(N_("Read both. Then listen: which one do you hear, one or two?")),
    QuestionKind.HOW_OFTEN: _ask_how_often,
    QuestionKind.WHERE_IT_TURNS: _plainly(N_("Listen to a row. On which note does the voice turn round? Count from one.")),
    QuestionKind.FIND_THE_WRONG_CELL: _plainly(N_("Listen and follow with the finger. One note is written wrong. Which "
                                                  "one? Count only the notes, from one.")),
    QuestionKind.SAY_THE_OCTAVE: _plainly(N_("In which octave is this note?")),
    QuestionKind.MARK_OR_NO_MARK: _ask_mark,
    QuestionKind.HOW_MANY_BEATS: _ask_beats,
    QuestionKind.CLAP_THE_RHYTHM: _ask_to_clap,
    QuestionKind.THINK_AND_SING: _ask_to_think,
    QuestionKind.WHICH_WAY: _plainly(N_("Find the way through this tune. In which order are its bars sung? Count the bars from "
                                        "one.")),
    QuestionKind.OTHER_NOTE: _plainly(N_("A note with an interval after it. Which note sounds below it?")),
    QuestionKind.UPPER_OR_LOWER: _plainly(N_("Read this. Then listen to two voices. Is what you read the upper or the lower "
                                             "one?")),
    QuestionKind.FROM_THE_BACK: _plainly(N_("So a cell lies on the slate, from the back. Turn the paper over in your mind: which "
                                            "note is it?")),
    QuestionKind.SING_FROM_ANOTHER: _ask_from_another,
}


def said_pitch(language: Language, pitch: Pitch) -> str:
    """ "C sharp, fourth octave"."""
    return language.message("{note}, {octave}").format(note=language.pitch_class(pitch),
                                                       octave=language.octave(min(8, max(0, pitch.octave))))


def said_dots(language: Language, dots: Sequence[int]) -> str:
    """Dots that are added or taken away: "dot 6", "dots 3 and 6"."""
    return language.plural("dot {dots}", "dots {dots}", len(dots)).format(dots=language.listed([str(d) for d in dots]))


def choice_heading(language: Language, n: int) -> str:
    """Before each of several rows of cells to choose from, counted from 1."""
    return language.message("Number {n}:").format(n=language.number(n))


def page_dots(language: Language, item: Item, asked: int) -> str:
    """The bars of a whole tune as said, one each time it is asked for (from 0), from the first again after the last."""
    bar, cells = item.bars[asked % len(item.bars)]
    return language.message("Bar {n}: {dots}.").format(n=bar, dots=say_dots(language, cells))


def shown_dots(language: Language, item: Item) -> str:
    """The cells that are shown, as said: "Dot 5, then 1 4 5."; "" where there are none, or a whole page. Of a bar with
    words over it the music alone."""
    if item.choices:
        parts = [language.message("{n}: {dots}").format(n=n, dots=say_dots(language, cells))
                 for n, cells in enumerate(item.choices, 1)]
        return language.message("{sentence}.").format(sentence="; ".join(parts))
    if not item.cells or item.bars:
        return ""
    if item.wants is Wants.ROUTE:
        return _sentence(language, "; ".join(say_dots(language, line.strip(signs.SPACE)) for line in item.cells.split("\n")))
    return _sentence(language, say_dots(language, item.cells.split("\n")[-1]))


def _sentence(language: Language, words: str) -> str:
    return language.message("{sentence}.").format(sentence=language.capitalised(words))


def _first(item: Item) -> LineNote:
    """The note of a question's line that is sounded first."""
    return next(n for n in (*item.sung, *item.played) if n.midi == item.first)


# --- what a helper is told ---

def what_to_sound(language: Language, item: Item | TuneToHear) -> str:
    """For a helper where nothing can be sounded, in words that need no music where it can be: "sing any note, then a
    higher one", "sing or play C; up to D, E"; "" where there is nothing to sound."""
    if isinstance(item, TuneToHear):
        if not item.names_known:
            return _by_words(language, item.line)
        return language.message("sing or play {line}").format(line=said_line(language, item.line))
    if item.kind is QuestionKind.HIGHER_OR_LOWER:
        return language.message({Direction.UP: N_("sing any note, then a higher one"),
                                 Direction.DOWN: N_("sing any note, then a lower one"),
                                 Direction.LEVEL: N_("sing any note, then the same one again")}[item.wanted_direction])
    if item.kind is QuestionKind.SING_THE_MOVE:
        return language.message("sing any note")
    if item.kind is QuestionKind.WHERE_IT_TURNS:
        moves = [language.message(_GOES[direction_of(b.midi - a.midi)]) for a, b in itertools.pairwise(item.played)]
        return language.message("sing any note, then go {moves}").format(moves=", ".join(moves))
    if item.below:
        return language.message("play two voices at once; the upper one: {upper}; the lower one: {lower}").format(
            upper=said_line(language, item.played, item.pulse is not None),
            lower=said_line(language, item.below, item.pulse is not None))
    if item.wants is Wants.CLAPPED and item.pulse is not None:
        return language.message("count {beats} aloud, and go on tapping them").format(beats=_beats_counted(language, item.pulse))
    line = said_line(language, item.played, item.pulse is not None) if item.kind is not QuestionKind.MARK_OR_NO_MARK else ""
    if item.first is None:
        return language.message("sing or play {line}").format(line=line) if line else ""
    first = language.pitch_class(_first(item).pitch)
    if not line and item.pulse is not None:
        return language.message("sing or play {first}, then count {beats}").format(
            first=first, beats=_beats_counted(language, item.pulse))
    if not line:
        return language.message("sing or play {line}").format(line=first)
    if item.pulse is not None:
        return language.message("give the note {first}, count {beats}, then sing or play the line: {line}").format(
            first=first, beats=_beats_counted(language, item.pulse), line=line)
    return language.message("give the note {first} and wait a moment; then sing or play the line: {line}").format(
        first=first, line=line)


_GOES = {Direction.UP: N_("up"), Direction.DOWN: N_("down"), Direction.LEVEL: N_("the same")}


def _by_words(language: Language, line: Sequence[LineNote]) -> str:
    """A tune for someone who knows no names of notes: "sing Tick on any note; lower: tock; higher: now, the"."""
    openings = {Direction.UP: N_("higher: {words}"), Direction.DOWN: N_("lower: {words}"),
                Direction.LEVEL: N_("the same: {words}")}
    words = [n.syllable.strip(" ,.;:!?") or language.message("la") for n in line]
    runs: list[tuple[Direction | None, list[str]]] = [(None, words[:1])]
    for (a, b), word in zip(itertools.pairwise(line), words[1:], strict=True):
        direction = direction_of(b.midi - a.midi)
        if direction is Direction.LEVEL and len(runs) > 1:
            runs[-1][1].append(word)  # on the same note as the word before
        else:
            runs.append((direction, [word]))
    parts = [language.message("sing {word} on any note").format(word=words[0])]
    parts += [language.message(openings[direction]).format(words=", ".join(some)) for direction, some in runs[1:] if direction]
    return "; ".join(parts)


def sound_for_helper(language: Language, item: Item | TuneToHear) -> str:
    """What a helper is to sing or play, as a sentence; "" for nothing."""
    told = what_to_sound(language, item)
    return language.message("For the helper: {what}.").format(what=told) if told else ""


def how_it_goes(language: Language, item: Item) -> str:
    """For a helper who judges a sung answer by ear: "For the helper: C; up to D, E; again E."."""
    if item.wants not in (Wants.SUNG, Wants.CLAPPED):
        return language.message("The word key helps only where the answer is sung or clapped.")
    if item.wants is Wants.CLAPPED:
        return language.message("For the helper: {what}.").format(what=said_values(language, item))
    if item.cells:
        return language.message("For the helper: {what}.").format(what=said_line(language, item.sung, item.pulse is not None))
    return language.message({Direction.UP: N_("For the helper: the second note goes up."),
                             Direction.DOWN: N_("For the helper: the second note goes down."),
                             Direction.LEVEL: N_("For the helper: the second note stays.")}[item.wanted_direction])


def said_values(language: Language, item: Item) -> str:
    """The lengths of a line that is clapped, and its rests: "crotchet, quaver, quaver, minim"."""
    said = []
    for note in item.sung:
        for length, template in ((note.quarters, "{value}"), (note.rest_after, N_("{value} rest"))):
            if (value := _value_of(length)) is not None:
                said.append((language.message(template) if template != "{value}" else template).format(
                    value=language.value(*value)))
    return ", ".join(said)


def answer_said(language: Language, item: Item) -> str:
    """The right answer in a few words, as on a sheet of answers."""
    language = in_key_of(language, item)
    match item.wants:
        case Wants.NAME | Wants.OCTAVE:
            return fact_name(language, item.wanted_fact)
        case Wants.CELLS:
            return group_said(language, item.group) if item.group else say_dots(language, item.to_write)
        case Wants.DIRECTION if item.below:
            return language.message("upper") if item.direction is Direction.UP else language.message("lower")
        case Wants.DIRECTION:
            return language.message({Direction.UP: N_("higher"), Direction.DOWN: N_("lower"),
                                     Direction.LEVEL: N_("same")}[item.wanted_direction])
        case Wants.YES_OR_NO:
            return language.message("yes") if item.needs_mark else language.message("no")
        case Wants.SUNG:
            return said_line(language, item.sung)
        case Wants.CLAPPED:
            return said_values(language, item)
        case Wants.ROUTE:
            return ", ".join(map(str, item.route))
        case _:
            return item.answer
