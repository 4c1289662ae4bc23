"""What is said back to an answer in the course: facts (`companion.course.Judged`) put into sentences that teach."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from companion.course import (
    Change,
    Difference,
    Fact,
    FactKind,
    Finding,
    Item,
    Judged,
    MarkRule,
    QuestionKind,
    RhythmFinding,
    Wants,
    fact,
    letter_of,
    mark_rule,
)
from companion.language.braille import say_dots, say_problem
from companion.language.cues import NOTHING_SUNG, CueSentences, cue_text, move_name, went_well, within_breath
from companion.language.interface import Language
from companion.language.questions import (
    fact_at_start,
    fact_name,
    group_said,
    in_key_of,
    said_dots,
    said_line,
    said_values,
    step_name,
    value_name,
)
from companion.match import Advice, Match, Move, Verdict, advise
from companion.messages import N_
from companion.tune import Direction, IntervalKind, interval_kind

MOST_NAMED = 6  # notes that are named after a right bar; more is no longer one breath
MOST_TYPED = 20  # letters of what was typed that are said again


def reply_text(language: Language, item: Item, judged: Judged) -> str:
    """What is said back to an answer. What is not right teaches: what was given, and how the wanted one lies to it."""
    return REPLIES[judged.finding](in_key_of(language, item), item, judged)


def _sentences(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _right(language: Language, item: Item, judged: Judged) -> str:
    """What is said to a right answer: it says the fact again, so that ear and finger meet once more."""
    if item.below:
        return language.message({Direction.UP: N_("Right, the upper one."), Direction.DOWN: N_("Right, the lower one."),
                                 Direction.LEVEL: N_("Right.")}[item.wanted_direction])
    if item.wants is Wants.ROUTE:
        return language.message("Right: {way}.").format(way=_way(item))
    if item.wants is Wants.DIRECTION:
        return language.message({Direction.UP: N_("Right, higher."), Direction.DOWN: N_("Right, lower."),
                                 Direction.LEVEL: N_("Right, the same.")}[item.wanted_direction])
    if item.kind is QuestionKind.FIND_THE_WRONG_CELL:
        return _sentences(language.message("Right."), _sung_there(language, item))
    if item.wants is Wants.YES_OR_NO:
        return _sentences(language.message("Right."), _mark_rule(language, item))
    return _right_by_helper(language, item, judged)


def _right_by_helper(language: Language, item: Item, judged: Judged) -> str:
    if item.wants in (Wants.NAME, Wants.OCTAVE) or (item.wants is Wants.CELLS and item.group is None):
        cells = item.cells if item.wants is Wants.NAME and item.kind not in _NOT_ITSELF else item.wanted_fact.cells
        return language.message("Right. {fact}, {dots}.").format(fact=fact_at_start(language, item.wanted_fact),
                                                                dots=say_dots(language, cells))
    if item.wants is Wants.SUNG and item.cells and len(item.sung) <= MOST_NAMED:
        return language.message("Right. {line}.").format(line=said_line(language, item.sung))
    return language.message("Right.")


def right_answer(language: Language, item: Item, judged: Judged | None = None) -> str:
    """The right answer in a sentence."""
    match item.wants:
        case Wants.NAME if item.kind is QuestionKind.FROM_THE_BACK:
            return language.message("Turned over it is {dots}, and that is {fact}.").format(
                dots=say_dots(language, item.wanted_fact.cells), fact=fact_name(language, item.wanted_fact))
        case Wants.NAME if item.kind is QuestionKind.OTHER_NOTE:
            return language.message("The note below is {fact}. Count down from the written note, which is one.").format(
                fact=fact_name(language, item.wanted_fact))
        case Wants.ROUTE:
            return language.message("The way is {way}. Follow it with the finger.").format(way=_way(item))
        case Wants.CLAPPED:
            return language.message("It says {values}. Say it with the beat, then clap.").format(
                values=said_values(language, item))
        case Wants.DIRECTION if item.below:
            return language.message({
                Direction.UP: N_("It was the upper one. Listen again, and follow with the finger."),
                Direction.DOWN: N_("It was the lower one. Listen again, and follow with the finger."),
                Direction.LEVEL: N_("Listen again.")}[item.wanted_direction])
        case Wants.NAME:
            return language.message("That cell is {fact}, {dots}.").format(fact=fact_name(language, item.wanted_fact),
                                                                          dots=say_dots(language, item.cells))
        case Wants.OCTAVE:
            return language.message("The mark is {dots}: {octave}.").format(dots=say_dots(language, item.wanted_fact.cells),
                                                                          octave=fact_name(language, item.wanted_fact))
        case Wants.CELLS:
            return language.message("It is written {dots}.").format(dots=say_dots(language, item.to_write))
        case Wants.DIRECTION:
            return language.message({
                Direction.UP: N_("The second note was higher: hand up the wall. Listen again."),
                Direction.DOWN: N_("The second note was lower: hand down the wall. Listen again."),
                Direction.LEVEL: N_("The second note was the same: hand still. Listen again.")}[item.wanted_direction])
        case Wants.CHOICE:
            return language.message("It was number {n}. Listen again.").format(n=language.number(int(item.number)))
        case Wants.YES_OR_NO:
            return _sentences(language.message("Yes.") if item.needs_mark else language.message("No."),
                              _mark_rule(language, item))
        case Wants.SUNG:
            return _right_sung(language, item)
        case Wants.PLACE if item.kind is QuestionKind.WHERE_IT_TURNS:
            return language.message("It turned on the {nth} note. Listen again.").format(nth=language.ordinal(int(item.number)))
        case Wants.PLACE:
            return _sentences(language.message("It was the {nth} note.").format(nth=language.ordinal(int(item.number))),
                              _sung_there(language, item))
        case Wants.NUMBER:
            return _sentences(language.message("It was {n}.").format(n=_amount(language, item.number)),
                              _count_again(language, item))


def _right_sung(language: Language, item: Item) -> str:
    if not item.cells:
        return language.message({Direction.UP: N_("The second note goes up. Listen, then sing both."),
                                 Direction.DOWN: N_("The second note goes down. Listen, then sing both."),
                                 Direction.LEVEL: N_("The second note stays. Listen, then sing both.")}[item.wanted_direction])
    if len(item.sung) <= MOST_NAMED:
        return language.message("It says {line}. Read it again, listen to the first note, then sing.").format(
            line=said_line(language, item.sung))
    return language.message("Once more. Read, listen to the first note, then sing.")


#: Kinds in which the cells that are shown are not those of the answer.
_NOT_ITSELF = (QuestionKind.FROM_THE_BACK, QuestionKind.OTHER_NOTE)


def _way(item: Item) -> str:
    return ", ".join(map(str, item.route))


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
    return language.message("It is {what}.").format(what=fact_name(language, item.wanted_fact))


def _sung_there(language: Language, item: Item) -> str:
    return language.message("There {note} was sung.").format(
        note=language.pitch_class(item.played[int(item.number) - 1].pitch))


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
                typed=typed, example=fact_name(language, _example(item.wanted_fact)))
        case Wants.CELLS:
            return language.message("I could not read {typed!r} as cells. Give dots, such as 145, or braille.").format(
                typed=typed)
        case Wants.CHOICE:
            return language.message("Give 1 for the first or 2 for the second.")
        case Wants.DIRECTION if item.below:
            return language.message("Say upper or lower.")
        case Wants.ROUTE:
            return language.message("Give the bars in the order in which they are sung, such as 1 2 1 2.")
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


def _not_known(language: Language, item: Item, judged: Judged) -> str:
    return _sentences(right_answer(language, item), how_to_remember(language, item))


def how_to_remember(language: Language, item: Item) -> str:
    """Something by which the answer's cell can be remembered, "" where its rule has been told or it is no cell."""
    if item.fact is None or item.kind is QuestionKind.OTHER_NOTE:
        return ""
    f = item.fact
    letter = letter_of(f)
    if f.kind is FactKind.NOTE and letter and f.quarters == Fraction(1, 2):
        return language.message("In a book that cell is the letter {letter}; the note is the letter before it.").format(
            letter=letter)
    return language.message(_TO_REMEMBER[f.kind])


#: What the cells of a kind have in common (the tables of signs: MBC 2015, Tables 1 to 7).
_TO_REMEMBER = {
    FactKind.NOTE: N_("The upper four dots say which note. Dot 6 below makes a crotchet, dot 3 a minim, both a semibreve."),
    FactKind.PLACED: N_("The octave mark comes first, with dots of the right side only. Dot 5 is the fourth, in the middle."),
    FactKind.OCTAVE: N_("Octave marks have dots of the right side only. Dot 5 is the fourth, in the middle."),
    FactKind.REST: N_("Rests are letters of a book: m for a semibreve, u for a minim, v for a crotchet, x for a quaver."),
    FactKind.ACCIDENTAL: N_("All three have dots 1 and 6. A flat adds dot 2, a sharp adds dot 4, a natural adds none."),
    FactKind.KEY: N_("Up to three sharps or flats stand side by side; from four on, a number comes first."),
    FactKind.TIME: N_("First the number sign, then the upper number, then the lower one in the lower part of its cell."),
    FactKind.ENDING: N_("First the number sign, then the number in the lower part of its cell."),
    FactKind.DYNAMIC: N_("First the word sign, then the letters that are printed."),
    FactKind.SIGN: N_("Touch it three times, and say its name each time."),
}


def _length_wanted(language: Language, item: Item, judged: Judged) -> str:
    return language.message("{note}, yes. And how long is it?").format(note=fact_name(language, _given(judged)))


def _note_wanted(language: Language, item: Item, judged: Judged) -> str:
    return language.message("That is a length. Which note is it, and how long?")


def _octave_wanted(language: Language, item: Item, judged: Judged) -> str:
    return language.message("{note}, yes. And in which octave?").format(note=fact_name(language, _given(judged)))


def _given(judged: Judged) -> Fact:
    assert judged.given is not None
    return judged.given


def _other_name(language: Language, item: Item, judged: Judged) -> str:
    given = _given(judged)
    name, dots = fact_at_start(language, given), say_dots(language, given.cells)
    if judged.apart:
        lies = language.message("{note} is {apart}: {dots}.").format(note=name, apart=_apart(language, judged.apart), dots=dots)
    else:
        lies = language.message("{fact} is {dots}.").format(fact=name, dots=dots)
    return _sentences(right_answer(language, item), lies)


def _letter_read(language: Language, item: Item, judged: Judged) -> str:
    return _sentences(right_answer(language, item), language.message(
        "In a book it is the letter {letter}; the note is one letter earlier.").format(letter=letter_of(item.wanted_fact)))


def _apart(language: Language, steps: int) -> str:
    n = abs(steps)
    template = language.plural("{n} note higher", "{n} notes higher", n) if steps > 0 else \
        language.plural("{n} note lower", "{n} notes lower", n)
    return template.format(n=language.number(n))


def _letter_written(language: Language, item: Item, judged: Judged) -> str:
    f = item.wanted_fact
    return language.message("That is the letter {letter}. The note {note} has the next letter, {next}: {dots}.").format(
        letter=f.step.lower(), note=fact_name(language, f), next=letter_of(f), dots=say_dots(language, f.cells))


def _other_note(language: Language, item: Item, judged: Judged) -> str:
    f = item.wanted_fact
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
    f, given = item.wanted_fact, _given(judged)
    wanted_dots, given_dots = _dot_numbers(f.cells), _dot_numbers(judged.cells)
    more, less = sorted(wanted_dots - given_dots), sorted(given_dots - wanted_dots)
    name = fact_name(language, given) if given.value is not None else language.message("{note} as {value}").format(
        note=step_name(language, given), value=language.indefinite(value_name(language, given)))
    template = N_("That is {given}. For {wanted}, add {more} and take away {less}: {dots}.") if more and less else \
        N_("That is {given}. For {wanted}, add {more}: {dots}.") if more else \
        N_("That is {given}. For {wanted}, take away {less}: {dots}.")
    return language.message(template).format(given=name, wanted=fact_name(language, f), more=said_dots(language, more),
                                             less=said_dots(language, less), dots=say_dots(language, f.cells))


def _dot_numbers(cell: str) -> set[int]:
    return {n for n in range(1, 7) if ord(cell) - 0x2800 >> n - 1 & 1}


def _other_cell(language: Language, item: Item, judged: Judged) -> str:
    what = _that_cell(language, judged.given) if judged.given else \
        language.message("That is {dots}.").format(dots=say_dots(language, judged.cells))
    return _sentences(what, _mirrored(language, judged), _wanted_is(language, item))


def _other_cells(language: Language, item: Item, judged: Judged) -> str:
    what = fact_name(language, judged.given) if judged.given else say_dots(language, judged.cells)
    return _sentences(language.message("That is {what}.").format(what=what), _wanted_is(language, item))


def _wanted_is(language: Language, item: Item) -> str:
    return language.message("{fact} is {dots}.").format(fact=fact_at_start(language, item.wanted_fact),
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
        fact=fact_at_start(language, given), dots=say_dots(language, given.cells)))


def _sung(language: Language, item: Item, judged: Judged) -> str:
    assert judged.match is not None
    match = judged.match
    advice = advise(match)
    steps = [language.pitch_class(n.pitch) for n in item.sung]
    if judged.verdict == Verdict.RIGHT and item.kind is QuestionKind.SING_THE_CELL:
        return language.message("Right. {first} to {second}.").format(first=steps[0], second=steps[1])
    if judged.verdict == Verdict.RIGHT and item.cells and len(steps) <= MOST_NAMED:
        return _sentences(cue_text(language, match, advice), language.message("{notes}.").format(notes=", ".join(steps)))
    if advice.move is not None and item.kind is QuestionKind.SING_THE_MOVE:
        return language.message({Direction.UP: N_("The second note goes up. Listen."),
                                 Direction.DOWN: N_("The second note goes down. Listen."),
                                 Direction.LEVEL: N_("The second note stays. Listen.")}[item.wanted_direction])
    if advice.move is not None and item.cells:
        return _cells_to_try(language, match, advice, advice.move)
    return cue_text(language, match, advice)


def _other_size(language: Language, item: Item, judged: Judged) -> str:
    """What was read, what it is, and the cells to feel: only where that is sure; else to sing it once more."""
    found = judged.misread
    assert found is not None
    first, second = (language.pitch_class(n.pitch) for n in item.sung[found.at:found.at + 2])
    wanted = interval_kind(item.sung[found.at + 1].midi - item.sung[found.at].midi)
    if found.verdict == Verdict.UNSURE:
        return language.message("I am not sure how far the voice went from {first} to {second}. Sing it once more.").format(
            first=first, second=second)
    if found.sung is not None and _SIZES[found.sung] == _SIZES[wanted]:
        template = N_("From {first} to {second} the voice went too far.") if found.longer else \
            N_("From {first} to {second} the voice did not go far enough.")
        read = language.message(template).format(first=first, second=second)
    else:
        read = language.message("You sang {sung}; from {first} to {second} is {wanted}.").format(
            sung=language.message(_SIZES[found.sung or wanted]), first=first, second=second,
            wanted=language.message(_SIZES[wanted]))
    second_note = item.sung[found.at + 1]
    cell = fact(second_note.pitch.step)
    return _sentences(read, language.message("Feel the upper part of the second note: {dots}.").format(
        dots=say_dots(language, cell.cells)))


#: Moves by their size.
_SIZES = {IntervalKind.LEVEL: N_("the same note"), IntervalKind.SEMITONE: N_("a step"), IntervalKind.STEP: N_("a step"),
          IntervalKind.SKIP: N_("a skip"), IntervalKind.LEAP: N_("a leap")}


def _other_length(language: Language, item: Item, judged: Judged) -> str:
    found = judged.misread
    assert found is not None
    note = language.pitch_class(item.sung[found.at].pitch)
    if found.verdict == Verdict.UNSURE:
        return language.message("I am not sure how long the {nth} note was, {note}. Sing it once more, with a steady "
                                "beat.").format(nth=language.ordinal(found.at + 1), note=note)
    template = N_("The {nth} note, {note}, was sung too long. Feel dots 3 and 6, and count.") if found.longer else \
        N_("The {nth} note, {note}, was sung too short. Feel dots 3 and 6, and count.")
    match = judged.match
    well = match is not None and match.counts[Verdict.RIGHT] == len(match.moves)
    return _sentences(language.message("The pitches are right.") if well else "",
                      language.message(template).format(nth=language.ordinal(found.at + 1), note=note))


def _cells_to_try(language: Language, match: Match, advice: Advice, move: Move) -> str:
    """The cue in the tune's words, and the two cells that it is about."""
    notes = [n.written for n in match.notes]
    at = move.start - notes[0].number
    template = language.message({
        Direction.UP: N_("{move} the tune goes up: {first}, then {second}."),
        Direction.DOWN: N_("{move} the tune goes down: {first}, then {second}."),
        Direction.LEVEL: N_("{move} the tune stays on one note: {first}, then {second}.")}[move.wanted])
    first, second = (language.pitch_class(n.pitch) for n in notes[at:at + 2])
    abouts = [language.capitalised(template.format(move=move_name(language, notes, at, words), first=first, second=second))
              for words in (True, False)]
    return within_breath(CueSentences(well, about, language.message("Listen."))
                         for well in (went_well(language, advice), "") for about in abouts).whole


def _other_key(language: Language, item: Item, judged: Judged) -> str:
    return language.message("The moves are right, sung from the written note. Begin on the note that you hear, and sing it once "
                            "more.")


#: A clapped rhythm; {nth} is the note.
_CLAPPED = {
    RhythmFinding.RIGHT: N_("Right, that is the rhythm."),
    RhythmFinding.TOO_LONG: N_("After the {nth} note the next one came too late. It says {values}."),
    RhythmFinding.TOO_SHORT: N_("After the {nth} note the next one came too soon. It says {values}."),
    RhythmFinding.EXTRA: N_("There was one clap too many after the {nth} note. It says {values}."),
    RhythmFinding.MISSING: N_("The {nth} note had no clap. It says {values}."),
}
_PERHAPS_CLAPPED = {
    RhythmFinding.OFF_BEAT: N_("The rhythm is right, but not with the beat. Once more: begin right after the count."),
    RhythmFinding.NO_CLAPS: N_("I heard no claps. A little louder, and clap again."),
    RhythmFinding.UNCLEAR: N_("I could not tell. Clap once more, with the beat."),
}


def _clapped(language: Language, item: Item, judged: Judged) -> str:
    assert judged.rhythm is not None
    found = judged.rhythm
    if judged.verdict is Verdict.UNSURE:
        return language.message(_PERHAPS_CLAPPED.get(found.finding, _PERHAPS_CLAPPED[RhythmFinding.UNCLEAR]))
    return language.message(_CLAPPED[found.finding]).format(nth=language.ordinal(found.at + 1),
                                                            values=said_values(language, item))


def _clap_first(language: Language, item: Item, judged: Judged) -> str:
    return language.message("Clap it, then type plus (+) if it was right or minus (-) if not. Or give the name of a recording.")


def _nothing_sung(language: Language, item: Item, judged: Judged) -> str:
    if judged.rhythm is not None:
        return language.message(_PERHAPS_CLAPPED[RhythmFinding.NO_CLAPS])
    return language.message(NOTHING_SUNG)


def _sing_first(language: Language, item: Item, judged: Judged) -> str:
    return language.message("Sing it, then type plus (+) if it was right or minus (-) if not. Or give the name of a "
                            "recording.")


def _trouble(language: Language, item: Item, judged: Judged) -> str:
    return str(judged.trouble)


REPLIES: dict[Finding, Callable[[Language, Item, Judged], str]] = {
    Finding.RIGHT: _right, Finding.RIGHT_BY_HELPER: _right_by_helper, Finding.WRONG: right_answer,
    Finding.NOT_READ: _not_read, Finding.LENGTH_WANTED: _length_wanted,
    Finding.NOTE_WANTED: _note_wanted, Finding.NOT_KNOWN: _not_known, Finding.OCTAVE_WANTED: _octave_wanted,
    Finding.OTHER_NAME: _other_name, Finding.LETTER_READ: _letter_read, Finding.LETTER_WRITTEN: _letter_written,
    Finding.OTHER_NOTE: _other_note, Finding.OTHER_VALUE: _other_value, Finding.OTHER_CELL: _other_cell,
    Finding.OTHER_CELLS: _other_cells, Finding.MORE_MARKS: _more_marks, Finding.AMISS: _amiss,
    Finding.BAR_DIFFERS: _bar_differs, Finding.OTHER_OCTAVE: _other_octave, Finding.OTHER_SIZE: _other_size,
    Finding.OTHER_LENGTH: _other_length, Finding.SUNG: _sung,
    Finding.NOTHING_SUNG: _nothing_sung, Finding.SING_FIRST: _sing_first, Finding.TROUBLE: _trouble,
    Finding.OTHER_KEY: _other_key, Finding.CLAPPED: _clapped, Finding.CLAP_FIRST: _clap_first,
}
