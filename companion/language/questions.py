"""Questions of the course, and what is said back to an answer. Facts come from `companion.course`."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from fractions import Fraction

from companion.braille import Meaning, MeaningKind, signs
from companion.course import (
    Change,
    Difference,
    Fact,
    FactKind,
    Finding,
    Group,
    Item,
    Judged,
    MarkRule,
    QuestionKind,
    TuneToHear,
    Wants,
    fact,
    letter_of,
    mark_rule,
    note_fact,
)
from companion.language.braille import say_dots, say_meaning, say_problem, say_sign
from companion.language.cues import MOST_WORDS, NOTHING_SUNG, cue_text, move_name, went_well
from companion.language.interface import Language
from companion.match import Advice, Match, Move, Verdict, advise
from companion.messages import N_
from companion.tune import Direction, Grace, LineNote, Pitch, direction_of

MOST_NAMED = 6  # notes that are named after a right bar; more is no longer one breath
MOST_TYPED = 20  # letters of what was typed that are said again

#: Signs for which the course has a name of its own.
COURSE_SIGNS = {"breath mark": N_("breath mark"), "getting louder": N_("getting louder"), "getting softer": N_("getting softer")}


# --- names ---

def fact_name(language: Language, known: Fact) -> str:
    """A fact as it is called: "C crotchet", "C, fourth octave", "2 flats", "final double bar"."""
    match known.kind:
        case FactKind.NOTE if known.value is None:
            return _step(language, known)
        case FactKind.NOTE:
            return language.message("{note} {value}").format(note=_step(language, known), value=_value(language, known))
        case FactKind.PLACED:
            return language.message("{note}, {octave}").format(note=_step(language, known),
                                                               octave=language.octave(known.number))
        case FactKind.REST:
            return language.message("{value} rest").format(value=_value(language, known))
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


def _step(language: Language, known: Fact) -> str:
    return language.pitch_class(Pitch(known.step, 4))


def _value(language: Language, known: Fact) -> str:
    return language.value(known.value or Fraction(1, 2), 1 if known.dotted else 0)


def _start(language: Language, known: Fact) -> str:
    """A fact's name where a sentence begins."""
    return language.capitalised(fact_name(language, known))


def said_line(language: Language, line: Sequence[LineNote]) -> str:
    """A line in words that leave no doubt which C is meant: "C; up to D, E; again E; down to D"."""
    openings = {Direction.UP: N_("up to {notes}"), Direction.DOWN: N_("down to {notes}"), Direction.LEVEL: N_("again {notes}")}
    names = [language.pitch_class(n.pitch) for n in line]
    parts = names[:1]
    moves = [(direction_of(b.midi - a.midi), name) for (a, b), name in zip(itertools.pairwise(line), names[1:], strict=True)]
    for direction, run in itertools.groupby(moves, key=lambda move: move[0]):
        parts.append(language.message(openings[direction]).format(notes=", ".join(name for _unused, name in run)))
    return "; ".join(parts)


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

def question_text(language: Language, item: Item) -> str:
    """What is asked, as it is said to the pupil."""
    return _QUESTIONS[item.kind](language, item)


def _plainly(template: str) -> Callable[[Language, Item], str]:
    return lambda language, item: language.message(template)


def _ask_move(language: Language, item: Item) -> str:
    return language.message({Direction.UP: N_("Here is a note. Sing it, then a higher one."),
                             Direction.DOWN: N_("Here is a note. Sing it, then a lower one."),
                             Direction.LEVEL: N_("Here is a note. Sing it, then the same one again.")}[_direction(item)])


def _ask_name(language: Language, item: Item) -> str:
    f = _fact(item)
    if f.kind is FactKind.NOTE and f.value is None:
        return language.message("Which note is this?")
    if f.kind is FactKind.NOTE:
        return language.message("Which note is this, and how long?")
    if f.kind is FactKind.PLACED:
        return language.message("Which note is this, and in which octave?")
    return language.message("What does this say?")


def _ask_to_write(language: Language, item: Item) -> str:
    f = _fact(item)
    name = fact_name(language, f)
    match f.kind:
        case FactKind.NOTE if f.value is None:
            return language.message("Write the note {note}.").format(note=name)
        case FactKind.NOTE:
            return language.message("Write {note} as {value}.").format(
                note=_step(language, f), value=language.indefinite(_value(language, f)))
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
    return language.plural("Read this {n} note in silence. You hear the first. Then sing it.",
                           "Read these {n} notes in silence. You hear the first. Then sing them.",
                           n).format(n=language.number(n))


def _ask_whole(language: Language, item: Item) -> str:
    return language.message("Take the sheet of {tune}. Read it in silence. You hear the first note. Then sing it "
                            "all.").format(tune=item.title)


def _ask_to_take_down(language: Language, item: Item) -> str:
    assert item.group is not None
    pitch = item.played[0].pitch
    first = said_pitch(language, pitch) if item.group.shows_octave else language.pitch_class(pitch)
    return language.message("Listen, then write what you hear. The first note is {note}.").format(note=first)


def _ask_how_often(language: Language, item: Item) -> str:
    return language.message("First you hear {note} alone, then a row. How often does it come in the row?").format(
        note=language.pitch_class(_first(item).pitch))


def _ask_mark(language: Language, item: Item) -> str:
    return language.message("From {first}, to {second}. Does the second note need an octave mark, yes or no?").format(
        first=said_pitch(language, item.played[0].pitch), second=said_pitch(language, item.played[1].pitch))


def _ask_beats(language: Language, item: Item) -> str:
    if item.group is not None:
        return language.message("How many crotchets long is this bar?")
    if _fact(item).kind is FactKind.REST:
        return language.message("How many crotchets long is this rest?")
    return language.message("How many crotchets long is this note?")


_QUESTIONS: dict[QuestionKind, Callable[[Language, Item], str]] = {
    QuestionKind.HIGHER_OR_LOWER: _plainly(N_("Listen to two notes. Is the second one higher, lower or the same?")),
    QuestionKind.SING_THE_MOVE: _ask_move,
    QuestionKind.NAME_THE_CELL: _ask_name,
    QuestionKind.WRITE_THE_CELL: _ask_to_write,
    QuestionKind.SING_THE_CELL: _plainly(N_("Read two notes. You hear the first. Then sing both.")),
    QuestionKind.WRITE_WHAT_YOU_HEAR: _ask_to_take_down,
    QuestionKind.READ_AND_SING: _ask_to_read,
    QuestionKind.WHOLE_TUNE: _ask_whole,
    QuestionKind.WHICH_BAR: _plainly(N_("Read both. Then listen: which one do you hear, one or two?")),
    QuestionKind.HOW_OFTEN: _ask_how_often,
    QuestionKind.WHERE_IT_TURNS: _plainly(N_("Listen to a row. On which note does the voice turn round? Count from one.")),
    QuestionKind.FIND_THE_WRONG_CELL: _plainly(N_("Listen and follow with the finger. One note is written wrong. Which "
                                                  "one? Count only the notes, from one.")),
    QuestionKind.SAY_THE_OCTAVE: _plainly(N_("In which octave is this note?")),
    QuestionKind.MARK_OR_NO_MARK: _ask_mark,
    QuestionKind.HOW_MANY_BEATS: _ask_beats,
}


def said_pitch(language: Language, pitch: Pitch) -> str:
    """ "C sharp, fourth octave"."""
    return language.message("{note}, {octave}").format(note=language.pitch_class(pitch),
                                                       octave=language.octave(min(8, max(0, pitch.octave))))


def choice_heading(language: Language, n: int) -> str:
    """Before each of several rows of cells to choose from, counted from 1."""
    return language.message("Number {n}:").format(n=language.number(n))


def shown_dots(language: Language, item: Item) -> str:
    """The cells that are shown, as said: "Dot 5, then 1 4 5."; "" where there are none, or a whole page."""
    if item.choices:
        parts = [language.message("{n}: {dots}").format(n=n, dots=say_dots(language, cells))
                 for n, cells in enumerate(item.choices, 1)]
        return language.message("{sentence}.").format(sentence="; ".join(parts))
    if not item.cells or "\n" in item.cells:
        return ""
    return _sentence(language, say_dots(language, item.cells))


def _sentence(language: Language, words: str) -> str:
    return language.message("{sentence}.").format(sentence=language.capitalised(words))


def _fact(item: Item) -> Fact:
    assert item.fact is not None
    return item.fact


def _direction(item: Item) -> Direction:
    assert item.direction is not None
    return item.direction


def _first(item: Item) -> LineNote:
    """The note of a question's line that is sounded first."""
    return next(n for n in (*item.sung, *item.played) if n.midi == item.first)


def _number(item: Item) -> int:
    return int(item.number)


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
                                 Direction.LEVEL: N_("sing any note, then the same one again")}[_direction(item)])
    if item.kind is QuestionKind.SING_THE_MOVE:
        return language.message("sing any note")
    if item.kind is QuestionKind.WHERE_IT_TURNS:
        moves = [language.message(_GOES[direction_of(b.midi - a.midi)]) for a, b in itertools.pairwise(item.played)]
        return language.message("sing any note, then go {moves}").format(moves=", ".join(moves))
    line = said_line(language, item.played) if item.kind is not QuestionKind.MARK_OR_NO_MARK else ""
    if item.first is None:
        return language.message("sing or play {line}").format(line=line) if line else ""
    first = language.pitch_class(_first(item).pitch)
    if not line:
        return language.message("sing or play {line}").format(line=first)
    return language.message("sing or play {first}, then {line}").format(first=first, line=line)


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
    if item.wants is not Wants.SUNG:
        return language.message("The word key helps only where the answer is sung.")
    if item.cells:
        return language.message("For the helper: {what}.").format(what=said_line(language, item.sung))
    return language.message({Direction.UP: N_("For the helper: the second note goes up."),
                             Direction.DOWN: N_("For the helper: the second note goes down."),
                             Direction.LEVEL: N_("For the helper: the second note stays.")}[_direction(item)])


def answer_said(language: Language, item: Item) -> str:
    """The right answer in a few words, as on a sheet of answers."""
    match item.wants:
        case Wants.NAME | Wants.OCTAVE:
            return fact_name(language, _fact(item))
        case Wants.CELLS:
            return group_said(language, item.group) if item.group else say_dots(language, item.to_write)
        case Wants.DIRECTION:
            return language.message({Direction.UP: N_("higher"), Direction.DOWN: N_("lower"),
                                     Direction.LEVEL: N_("same")}[_direction(item)])
        case Wants.YES_OR_NO:
            return language.message("yes") if item.needs_mark else language.message("no")
        case Wants.SUNG:
            return said_line(language, item.sung)
        case _:
            return item.answer


# --- what is said back ---

def reply_text(language: Language, item: Item, judged: Judged) -> str:
    """What is said back to an answer. What is not right teaches: what was given, and how the wanted one lies to it."""
    return _REPLIES[judged.finding](language, item, judged)


def _sentences(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _right(language: Language, item: Item, judged: Judged) -> str:
    """What is said to a right answer: it says the fact again, so that ear and finger meet once more."""
    if item.wants is Wants.DIRECTION:
        return language.message({Direction.UP: N_("Right, higher."), Direction.DOWN: N_("Right, lower."),
                                 Direction.LEVEL: N_("Right, the same.")}[_direction(item)])
    if item.kind is QuestionKind.FIND_THE_WRONG_CELL:
        return _sentences(language.message("Right."), _sung_there(language, item))
    if item.wants is Wants.YES_OR_NO:
        return _sentences(language.message("Right."), _mark_rule(language, item))
    return _right_by_helper(language, item, judged)


def _right_by_helper(language: Language, item: Item, judged: Judged) -> str:
    if item.wants in (Wants.NAME, Wants.OCTAVE) or (item.wants is Wants.CELLS and item.group is None):
        cells = item.cells if item.wants is Wants.NAME else _fact(item).cells
        return language.message("Right. {fact}, {dots}.").format(fact=_start(language, _fact(item)),
                                                                dots=say_dots(language, cells))
    if item.wants is Wants.SUNG and item.cells and len(item.sung) <= MOST_NAMED:
        return language.message("Right. {line}.").format(line=said_line(language, item.sung))
    return language.message("Right.")


def right_answer(language: Language, item: Item, judged: Judged | None = None) -> str:
    """The right answer in a sentence."""
    match item.wants:
        case Wants.NAME:
            return language.message("That cell is {fact}, {dots}.").format(fact=fact_name(language, _fact(item)),
                                                                          dots=say_dots(language, item.cells))
        case Wants.OCTAVE:
            return language.message("The mark is {dots}: {octave}.").format(dots=say_dots(language, _fact(item).cells),
                                                                          octave=fact_name(language, _fact(item)))
        case Wants.CELLS:
            return language.message("It is written {dots}.").format(dots=say_dots(language, item.to_write))
        case Wants.DIRECTION:
            return language.message({
                Direction.UP: N_("The second note was higher: hand up the wall. Listen again."),
                Direction.DOWN: N_("The second note was lower: hand down the wall. Listen again."),
                Direction.LEVEL: N_("The second note was the same: hand still. Listen again.")}[_direction(item)])
        case Wants.CHOICE:
            return language.message("It was number {n}. Listen again.").format(n=language.number(_number(item)))
        case Wants.YES_OR_NO:
            return _sentences(language.message("Yes.") if item.needs_mark else language.message("No."),
                              _mark_rule(language, item))
        case Wants.SUNG:
            return _right_sung(language, item)
        case Wants.PLACE if item.kind is QuestionKind.WHERE_IT_TURNS:
            return language.message("It turned on the {nth} note. Listen again.").format(nth=language.ordinal(_number(item)))
        case Wants.PLACE:
            return _sentences(language.message("It was the {nth} note.").format(nth=language.ordinal(_number(item))),
                              _sung_there(language, item))
        case Wants.NUMBER:
            return _sentences(language.message("It was {n}.").format(n=_amount(language, item.number)),
                              _count_again(language, item))


def _right_sung(language: Language, item: Item) -> str:
    if not item.cells:
        return language.message({Direction.UP: N_("The second note goes up. Listen, then sing both."),
                                 Direction.DOWN: N_("The second note goes down. Listen, then sing both."),
                                 Direction.LEVEL: N_("The second note stays. Listen, then sing both.")}[_direction(item)])
    if len(item.sung) <= MOST_NAMED:
        return language.message("It says {line}. Read it again, listen to the first note, then sing.").format(
            line=said_line(language, item.sung))
    return language.message("Once more. Read, listen to the first note, then sing.")


def _amount(language: Language, value: Fraction) -> str:
    if value.denominator == 1:
        return language.number(int(value))
    parts = {Fraction(1, 2): N_("half of one"), Fraction(1, 4): N_("a quarter of one"), Fraction(3, 2): N_("one and a half")}
    return language.message(parts[value]) if value in parts else f"{float(value):g}"


def _count_again(language: Language, item: Item) -> str:
    if item.kind is QuestionKind.HOW_OFTEN:
        return language.message("Listen again, and lift a finger each time.")
    if item.group is not None:
        return language.message("It says {what}.").format(what=group_said(language, item.group))
    return language.message("It is {what}.").format(what=fact_name(language, _fact(item)))


def _sung_there(language: Language, item: Item) -> str:
    return language.message("There {note} was sung.").format(
        note=language.pitch_class(Pitch(item.played[_number(item) - 1].pitch.step, 4)))


#: Intervals by letters counted with both ends (standard terms).
INTERVALS = {1: N_("a repeated note"), 2: N_("a second"), 3: N_("a third"), 4: N_("a fourth"), 5: N_("a fifth"),
             6: N_("a sixth"), 7: N_("a seventh"), 8: N_("an octave")}


def _mark_rule(language: Language, item: Item) -> str:
    size, rule = mark_rule(item)
    name = language.message(INTERVALS[size]) if size in INTERVALS else \
        language.message("{n} notes").format(n=language.number(size))
    return language.message({
        MarkRule.ALWAYS: N_("That is {interval}: a sixth or more always has a mark."),
        MarkRule.OTHER_OCTAVE: N_("That is {interval}, into another octave: it needs a mark."),
        MarkRule.SAME_OCTAVE: N_("That is {interval} in the same octave: no mark."),
        MarkRule.NEVER: N_("That is {interval}: it never needs a mark.")}[rule]).format(interval=name)


def _not_read(language: Language, item: Item, judged: Judged) -> str:
    typed = judged.typed[:MOST_TYPED]
    match item.wants:
        case Wants.NAME:
            return language.message("I could not read {typed!r}. Give a name, such as {example}.").format(
                typed=typed, example=fact_name(language, _example(_fact(item))))
        case Wants.CELLS:
            return language.message("I could not read {typed!r} as cells. Give dots, such as 145, or braille.").format(
                typed=typed)
        case Wants.CHOICE:
            return language.message("Give 1 for the first or 2 for the second.")
        case Wants.DIRECTION:
            return language.message("Say higher, lower or same.")
        case Wants.OCTAVE:
            return language.message("Give the octave, such as 4 or fourth.")
        case Wants.YES_OR_NO:
            return language.message("Answer yes or no.")
        case _:
            return language.message("I could not read {typed!r} as a number. Give one, such as 2.").format(typed=typed)


def _example(answer: Fact) -> Fact:
    """A fact of the same kind that is not the answer, of what is taught no later than it."""
    same = {FactKind.NOTE: ("D", "C"), FactKind.PLACED: ("C, fourth octave", "D, fourth octave"),
            FactKind.REST: ("crotchet rest", "minim rest"), FactKind.KEY: ("1 sharp", "1 flat"),
            FactKind.TIME: ("time 4 4", "time 3 4")}.get(answer.kind, ("fourth octave", "fifth octave"))
    return fact(next(name for name in same if name != answer.name))


def _length_wanted(language: Language, item: Item, judged: Judged) -> str:
    return language.message("{note}, yes. And how long is it?").format(note=fact_name(language, _given(judged)))


def _octave_wanted(language: Language, item: Item, judged: Judged) -> str:
    return language.message("{note}, yes. And in which octave?").format(note=fact_name(language, _given(judged)))


def _given(judged: Judged) -> Fact:
    assert judged.given is not None
    return judged.given


def _other_name(language: Language, item: Item, judged: Judged) -> str:
    given = _given(judged)
    name, dots = _start(language, given), say_dots(language, given.cells)
    if judged.apart:
        lies = language.message("{note} is {apart}: {dots}.").format(note=name, apart=_apart(language, judged.apart), dots=dots)
    else:
        lies = language.message("{fact} is {dots}.").format(fact=name, dots=dots)
    return _sentences(right_answer(language, item), lies)


def _letter_read(language: Language, item: Item, judged: Judged) -> str:
    return _sentences(right_answer(language, item), language.message(
        "In a book it is the letter {letter}; the note is one letter earlier.").format(letter=letter_of(_fact(item))))


def _apart(language: Language, steps: int) -> str:
    n = abs(steps)
    template = language.plural("{n} note higher", "{n} notes higher", n) if steps > 0 else \
        language.plural("{n} note lower", "{n} notes lower", n)
    return template.format(n=language.number(n))


def _letter_written(language: Language, item: Item, judged: Judged) -> str:
    f = _fact(item)
    return language.message("That is the letter {letter}. The note {note} has the next letter, {next}: {dots}.").format(
        letter=f.step.lower(), note=fact_name(language, f), next=letter_of(f), dots=say_dots(language, f.cells))


def _other_note(language: Language, item: Item, judged: Judged) -> str:
    f = _fact(item)
    if judged.apart:
        lies = language.message("{note} is {apart}: {dots}.").format(
            note=fact_name(language, f), apart=_apart(language, judged.apart), dots=say_dots(language, f.cells))
    else:
        lies = language.message("{fact} is {dots}.").format(fact=fact_name(language, f), dots=say_dots(language, f.cells))
    return _sentences(_that_cell(language, _given(judged)), _mirrored(language, judged), lies)


def _that_cell(language: Language, known: Fact) -> str:
    return language.message("That cell is {fact}.").format(fact=fact_name(language, known))


def _mirrored(language: Language, judged: Judged) -> str:
    return language.message("The two sides of the cell changed over.") if judged.mirrored else ""


def _other_value(language: Language, item: Item, judged: Judged) -> str:
    f, given = _fact(item), _given(judged)
    wanted_dots, given_dots = _dot_numbers(f.cells), _dot_numbers(judged.cells)
    more, less = sorted(wanted_dots - given_dots), sorted(given_dots - wanted_dots)
    name = fact_name(language, given) if given.value is not None else language.message("{note} as {value}").format(
        note=_step(language, given), value=language.indefinite(_value(language, given)))
    template = N_("That is {given}. For {wanted}, add {more} and take away {less}: {dots}.") if more and less else \
        N_("That is {given}. For {wanted}, add {more}: {dots}.") if more else \
        N_("That is {given}. For {wanted}, take away {less}: {dots}.")
    return language.message(template).format(given=name, wanted=fact_name(language, f), more=said_dots(language, more),
                                             less=said_dots(language, less), dots=say_dots(language, f.cells))


def _dot_numbers(cell: str) -> set[int]:
    return {n for n in range(1, 7) if ord(cell) - 0x2800 >> n - 1 & 1}


def said_dots(language: Language, dots: Sequence[int]) -> str:
    """Dots that are added or taken away: "dot 6", "dots 3 and 6"."""
    return language.plural("dot {dots}", "dots {dots}", len(dots)).format(dots=language.listed([str(d) for d in dots]))


def _other_cell(language: Language, item: Item, judged: Judged) -> str:
    what = _that_cell(language, judged.given) if judged.given else \
        language.message("That is {dots}.").format(dots=say_dots(language, judged.cells))
    return _sentences(what, _mirrored(language, judged), _wanted_is(language, item))


def _other_cells(language: Language, item: Item, judged: Judged) -> str:
    what = fact_name(language, judged.given) if judged.given else say_dots(language, judged.cells)
    return _sentences(language.message("That is {what}.").format(what=what), _wanted_is(language, item))


def _wanted_is(language: Language, item: Item) -> str:
    return language.message("{fact} is {dots}.").format(fact=_start(language, _fact(item)),
                                                       dots=say_dots(language, item.to_write))


def _more_marks(language: Language, item: Item, judged: Judged) -> str:
    return language.message("Right. It can be written with fewer marks.")


def _amiss(language: Language, item: Item, judged: Judged) -> str:
    assert judged.problem is not None
    return _sentences(language.message("The notes are right."), say_problem(language, judged.problem))


def _bar_differs(language: Language, item: Item, judged: Judged) -> str:
    """Where a written bar first differs from what was heard, in sentences that can be acted on."""
    assert judged.difference is not None
    found = judged.difference
    well = ""
    if found.right:
        well = language.plural("The first cell is right.", "The first {n} cells are right.", found.right).format(
            n=language.number(found.right))
    if found.change is Change.TOO_MUCH:
        return _sentences(well, language.message("Then something follows that was not sung: {dots}.").format(
            dots=say_dots(language, found.written_cells)))
    sign = _sign_and_dots(language, found)
    if found.change is Change.MISSING:
        return _sentences(well, language.message("Something is missing after it: {sign}.").format(sign=sign))
    comes = language.message("Next comes {sign}.") if well else language.message("First comes {sign}.")
    written = fact_name(language, found.written) if found.written else say_dots(language, found.written_cells)
    return _sentences(well, comes.format(sign=sign), language.message("You wrote {what}.").format(what=written))


def _sign_and_dots(language: Language, found: Difference) -> str:
    dots = say_dots(language, found.wanted_cells)
    if found.wanted is None:
        return dots
    return language.message("{fact}, {dots}").format(fact=fact_name(language, found.wanted), dots=dots)


def _other_octave(language: Language, item: Item, judged: Judged) -> str:
    given = _given(judged)
    return _sentences(right_answer(language, item), language.message("{fact} is {dots}.").format(
        fact=_start(language, given), dots=say_dots(language, given.cells)))


def _sung(language: Language, item: Item, judged: Judged) -> str:
    assert judged.match is not None
    match = judged.match
    advice = advise(match)
    steps = [language.pitch_class(Pitch(n.pitch.step, 4)) for n in item.sung]
    if judged.verdict == Verdict.RIGHT and item.kind is QuestionKind.SING_THE_CELL:
        return language.message("Right. {first} to {second}.").format(first=steps[0], second=steps[1])
    if judged.verdict == Verdict.RIGHT and item.cells and len(steps) <= MOST_NAMED:
        return _sentences(cue_text(language, match, advice), language.message("{notes}.").format(notes=", ".join(steps)))
    if advice.move is not None and item.kind is QuestionKind.SING_THE_MOVE:
        return language.message({Direction.UP: N_("The second note goes up. Listen."),
                                 Direction.DOWN: N_("The second note goes down. Listen."),
                                 Direction.LEVEL: N_("The second note stays. Listen.")}[_direction(item)])
    if advice.move is not None and item.cells:
        return _cells_to_try(language, match, advice, advice.move)
    return cue_text(language, match, advice)


def _cells_to_try(language: Language, match: Match, advice: Advice, move: Move) -> str:
    """The cue in the tune's words, and the two cells that it is about."""
    notes = [n.written for n in match.notes]
    at = move.start - notes[0].number
    template = language.message({
        Direction.UP: N_("{move} the tune goes up: {first}, then {second}."),
        Direction.DOWN: N_("{move} the tune goes down: {first}, then {second}."),
        Direction.LEVEL: N_("{move} the tune stays on one note: {first}, then {second}.")}[move.wanted])
    first, second = (language.pitch_class(Pitch(n.pitch.step, 4)) for n in notes[at:at + 2])
    tries = []
    for words in (True, False):
        about = template.format(move=move_name(language, notes, at, words), first=first, second=second)
        tries.append(_sentences(went_well(language, advice), language.capitalised(about), language.message("Listen.")))
    return next((say for say in tries if len(say.split()) <= MOST_WORDS), tries[-1])


def _nothing_sung(language: Language, item: Item, judged: Judged) -> str:
    return language.message(NOTHING_SUNG)


def _sing_first(language: Language, item: Item, judged: Judged) -> str:
    return language.message("Sing it, then type plus (+) if it was right or minus (-) if not. Or give the name of a "
                            "recording.")


def _trouble(language: Language, item: Item, judged: Judged) -> str:
    return str(judged.trouble)


_REPLIES: dict[Finding, Callable[[Language, Item, Judged], str]] = {
    Finding.RIGHT: _right, Finding.RIGHT_BY_HELPER: _right_by_helper, Finding.WRONG: right_answer,
    Finding.NOT_READ: _not_read, Finding.LENGTH_WANTED: _length_wanted, Finding.OCTAVE_WANTED: _octave_wanted,
    Finding.OTHER_NAME: _other_name, Finding.LETTER_READ: _letter_read, Finding.LETTER_WRITTEN: _letter_written,
    Finding.OTHER_NOTE: _other_note, Finding.OTHER_VALUE: _other_value, Finding.OTHER_CELL: _other_cell,
    Finding.OTHER_CELLS: _other_cells, Finding.MORE_MARKS: _more_marks, Finding.AMISS: _amiss,
    Finding.BAR_DIFFERS: _bar_differs, Finding.OTHER_OCTAVE: _other_octave, Finding.SUNG: _sung,
    Finding.NOTHING_SUNG: _nothing_sung, Finding.SING_FIRST: _sing_first, Finding.TROUBLE: _trouble,
}
