"""Music braille in sentences: cells, notes and signs by name, what a page says, what is amiss on it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from companion.braille import (
    Hand,
    Meaning,
    MeaningKind,
    PartName,
    Problem,
    ProblemCode,
    Reading,
    Role,
    dots_of,
    signs,
    time_name,
)
from companion.language.interface import Language
from companion.messages import N_
from companion.tune import Bar, Barline, Grace, Key, Note, Pitch, Sign, Time

# --- cells ----------------------------------------------------------------------------------------------------


def say_cell(language: Language, cell: str) -> str:
    """The dots of one cell without the word: "1 4 5", "no dots"."""
    return language.message("no dots") if cell == signs.SPACE else " ".join(dots_of(cell))


def say_dots(language: Language, cells: str) -> str:
    """Cells as said: "dot 5, then 1 4 5"; "" for none."""
    if not cells:
        return ""
    said = language.plural("dot {dots}", "dots {dots}", len(dots_of(cells[0]))).format(dots=say_cell(language, cells[0]))
    for cell in cells[1:]:
        said = language.message("{cells}, then {next}").format(cells=said, next=say_cell(language, cell))
    return said


# --- notes ----------------------------------------------------------------------------------------------------


def say_note(language: Language, pitch: Pitch | None, cells: str, base: Fraction, dots: int = 0) -> str:
    """ "C, fourth octave: dot 5, then 1 4 5", with the value of all but quavers: "C, fourth octave, crotchet: ..."."""
    value, said = language.value(base, dots), say_dots(language, cells)
    if pitch is None:
        return language.capitalised(language.message("{value} rest: {cells}").format(value=value, cells=said))
    name, octave = language.pitch_class(pitch), language.octave(min(8, max(0, pitch.octave)))
    if base == Fraction(1, 2) and not dots:
        return language.message("{name}, {octave}: {cells}").format(name=name, octave=octave, cells=said)
    return language.message("{name}, {octave}, {value}: {cells}").format(name=name, octave=octave, value=value, cells=said)


def say_written(language: Language, note: Note, pitch_only: bool = False) -> str:
    """ "C sharp, dotted crotchet"; "crotchet rest"; "full bar rest"; "C" where only the pitch counts."""
    value = language.value(note.base, note.dots)
    if note.pitch is None:
        return language.message("full bar rest") if note.whole_bar else \
            language.message("{value} rest").format(value=value)
    name = language.pitch_class(note.pitch)
    if pitch_only:
        return name
    if note.grace is not Grace.NONE:
        return language.message("{name}, grace note").format(name=name)
    return language.message("{name}, {value}").format(name=name, value=value)


# --- signs ----------------------------------------------------------------------------------------------------


def say_sign(language: Language, sign: Sign) -> str:
    """The name of a sign: "staccato", "fourth octave", "long slur begins"."""
    return language.message(sign.name)


def say_key(language: Language, key: Key) -> str:
    """A key signature by its signs: "2 sharps", "no sharps or flats"."""
    count = abs(key.fifths)
    if not count:
        return language.message("no sharps or flats")
    said = language.plural("{n} sharp", "{n} sharps", count) if key.fifths > 0 else \
        language.plural("{n} flat", "{n} flats", count)
    return said.format(n=count)


def say_time(language: Language, time: Time) -> str:
    """ "4 4 time", "3 + 2 8 time", "common time"."""
    if time.symbol:
        return language.message("common time") if time.symbol == "common" else language.message("cut time")
    return language.message("{upper} {lower} time").format(upper=" + ".join(map(str, time.upper)), lower=time.lower)


def say_meaning(language: Language, meaning: Meaning) -> str:
    """What some cells say: "C, crotchet", "slur", "ending 1 and 2", "words: poco a poco"."""
    kind, numbers = meaning.kind, meaning.numbers
    if kind is MeaningKind.SIGN and meaning.sign:
        return say_sign(language, meaning.sign)
    if kind is MeaningKind.NOTE and meaning.note:
        return say_written(language, meaning.note, meaning.pitch_only)
    if kind is MeaningKind.KEY and meaning.key:
        return say_key(language, meaning.key)
    if kind is MeaningKind.TIME and meaning.time:
        return say_time(language, meaning.time)
    if kind is MeaningKind.ENDING:
        # As many digits as stand there, however many: "1 and 2 and 3".
        said = language.message("ending {numbers}")
        listed = str(numbers[0]) if numbers else ""
        for n in numbers[1:]:
            listed = language.message("{numbers} and {next}").format(numbers=listed, next=n)
        return said.format(numbers=listed)
    if kind is MeaningKind.BAR_REPEAT and not numbers:
        return say_sign(language, signs.sign_of(Role.BAR_REPEAT))
    n = numbers[0] if numbers else 0
    return language.message(_MEANINGS[kind]).format(text=meaning.text, n=n)


_MEANINGS: dict[MeaningKind, str] = {
    MeaningKind.GROUP: N_("group of {n}"), MeaningKind.WORDS: N_("words: {text}"),
    MeaningKind.DYNAMIC: N_("dynamic {text}"), MeaningKind.METRONOME: N_("metronome {text}"),
    MeaningKind.BAR_REPEAT: N_("bar repeated, {n} times"), MeaningKind.BARS_OF_REST: N_("{n} bars of rest"),
    MeaningKind.BAR_NUMBER: N_("bar number {n}"), MeaningKind.LYRICS: N_("words"),
    MeaningKind.HEADING: N_("heading: {text}"), MeaningKind.PAGE_NUMBER: N_("page {text}"),
    MeaningKind.PRINT_PAGE: N_("print page {text}"), MeaningKind.RIGHT_HAND: N_("right hand"),
    MeaningKind.LEFT_HAND: N_("left hand"), MeaningKind.SOLO: N_("solo"),
    MeaningKind.VOICE: N_("voice: {text}"), MeaningKind.FINGER: N_("finger {n}"), MeaningKind.CHORD: N_("chord {text}"),
}

# --- problems -------------------------------------------------------------------------------------------------

#: Signs in problems: those not here go by their own name.
_ROLES: dict[Role, str] = {
    Role.OCTAVE: N_("octave mark"), Role.GROUP: N_("group sign"), Role.SIZE: N_("value sign"), Role.EDITORIAL: N_("bracket"),
    Role.SLUR_OPENS: N_("slur's bracket"), Role.SLUR_CLOSES: N_("slur's bracket"), Role.FORWARD: N_("repeat sign"),
    Role.ENDING: N_("ending's number"), Role.WORDS: N_("word"), Role.JUMP: N_("sign"), Role.HAIRPIN_END: N_("hairpin's end"),
}

_PROBLEMS: dict[ProblemCode, str] = {
    ProblemCode.NO_CELL: N_("This is no braille cell; it is passed over."),
    ProblemCode.UNKNOWN_SIGN: N_("A sign that is not known here: {dots}. It is passed over."),
    ProblemCode.OUT_OF_ORDER: N_("The {sign} stands after the {previous}; it belongs before it."),
    ProblemCode.NO_NOTE_AFTER: N_("The {sign} has no note after it."),
    ProblemCode.TWO_OCTAVE_MARKS: N_("There are two octave marks; the last one counts."),
    ProblemCode.DOT_APART: N_("The dot stands apart from its note; it belongs right after the note."),
    ProblemCode.TOO_MANY_DOTS: N_("There are more than four dots after the note."),
    ProblemCode.MARK_AT_A_REST: N_("A rest has neither octave mark nor accidental; they are passed over."),
    ProblemCode.SECOND_VOICE: N_("Here begins a second voice in the same bar; only one voice at a time is read."),
    ProblemCode.INTERVALS: N_("Interval signs stand here, notes that sound together; the written notes alone are read."),
    ProblemCode.MARK_FOR_FIRST_NOTE: N_("The first note of the tune wants an octave mark."),
    ProblemCode.MARK_FOR_LINE: N_("The first note of a line wants an octave mark."),
    ProblemCode.MARK_AFTER_WORDS: N_("After words the next note wants an octave mark."),
    ProblemCode.MARK_AFTER_SIGNATURE: N_("After a change of key or time the next note wants an octave mark."),
    ProblemCode.MARK_AFTER_NUMBERED_REPEAT: N_("After a repeat with a number the next note wants an octave mark."),
    ProblemCode.MARK_AFTER_REPEAT_SIGN: N_("After a repeat sign the next note wants an octave mark."),
    ProblemCode.MARK_AFTER_DOUBLE_BAR: N_("After a double bar the next note wants an octave mark."),
    ProblemCode.MARK_AFTER_LEAD: N_("After words, a repeat or an ending the next note wants an octave mark."),
    ProblemCode.OUTSIDE_OCTAVES: N_("This note lies outside the octaves that have a mark."),
    ProblemCode.TIE_TO_ANOTHER_PITCH: N_("The tie before this note leads to another pitch; a tie joins two notes of the "
                                         "same pitch."),
    ProblemCode.SLUR_NEVER_BEGAN: N_("A long slur ends here that never began."),
    ProblemCode.REPEAT_WITHOUT_BAR: N_("The bar repeat has no bar before it; it is passed over."),
    ProblemCode.NOTE_RUNS_INTO_REPEAT: N_("A note runs into the bar repeat; a space belongs between."),
    ProblemCode.SEVERAL_PART_REPEATS: N_("Several part repeats in one bar are not told apart; write the notes out."),
    ProblemCode.PART_REPEAT_UNCLEAR: N_("What this part repeat repeats cannot be told from the length of the bar."),
    ProblemCode.SPACE_TOO_MANY: N_("A space too many: this and the bar before it make one bar."),
    ProblemCode.SPACE_MISSING: N_("A space is missing: bar {bar} has the beats of two."),
    ProblemCode.NO_MUSIC: N_("No music was found here."),
    ProblemCode.LEAP: N_("This note lies more than an octave from the one before. Is an octave mark missing or wrong?"),
    ProblemCode.NEEDLESS_MARK: N_("No octave mark is needed here. Is another octave meant, or another note?"),
    ProblemCode.SLUR_BETWEEN_EQUALS: N_("A slur joins two equal notes. Is a tie meant? Then dot 4 stands before dots 1 4."),
    ProblemCode.NEEDLESS_ACCIDENTAL: N_("The accidental changes nothing. Is another one meant, or another note?"),
    ProblemCode.OTHER_ACCIDENTAL: N_("Bar {bar} is as bar {first} but for an accidental. Is one missing, or one too many?"),
    ProblemCode.SHORT_FIRST_BAR: N_("The first bar is short, though the last one is whole. Is something missing here?"),
    ProblemCode.MORE_WORDS: N_("These words are {first}, and the notes to sing them on {second}. Is a note missing, or a slur "
                               "too many?"),
    ProblemCode.FINGERING: N_("Fingering stands here; it is passed over."),
    ProblemCode.FEWER_SYLLABLES: N_("There are more notes here than these words have syllables. Is a slur missing?"),
}


def say_problem(language: Language, problem: Problem) -> str:
    """One plain sentence of what is amiss, without its place."""
    if problem.code is ProblemCode.BEATS:
        said = language.plural("Bar {bar} has {beats}; {n} is wanted.", "Bar {bar} has {beats}; {n} are wanted.",
                               1 if problem.wanted == 1 else 2)
        return said.format(bar=problem.bar, beats=_beats(language, problem.beats), n=_count(language, problem.wanted))
    names = [language.message(_ROLES[s]) if isinstance(s, Role) else say_sign(language, s) for s in problem.signs]
    places: dict[str, object] = dict(zip(("sign", "previous"), names, strict=False))
    places |= zip(("first", "second"), problem.numbers, strict=False)
    if problem.code is ProblemCode.UNKNOWN_SIGN:
        places["dots"] = say_dots(language, "".join(map(chr, problem.numbers)))
    return language.message(_PROBLEMS[problem.code]).format(bar=problem.bar, **places)


def _beats(language: Language, beats: Fraction) -> str:
    """ "1 beat", "2 and a half beats"."""
    return language.plural("{n} beat", "{n} beats", 1 if beats == 1 else 2).format(n=_count(language, beats))


def _count(language: Language, number: Fraction) -> str:
    """ "3", "a half", "2 and a half", "1 and 1/4"."""
    whole, part = divmod(number, 1)
    if not part:
        return str(whole)
    said = language.message("a half") if part == Fraction(1, 2) else str(part)
    return language.message("{whole} and {part}").format(whole=whole, part=said) if whole else said


# --- a page that was read --------------------------------------------------------------------------------------


def reading_lines(language: Language, reading: Reading, bars: range | None = None) -> list[str]:
    """Plain lines: what was read, bar by bar, then what is amiss. bars: only those of these numbers, and what is amiss in
    them, without the title."""
    tune = reading.tune
    out: list[str] = []
    if bars is None:
        out.append(language.message("{title}.").format(title=tune.title.removesuffix(".")) if tune.title else
                   language.message("A tune without a title."))
        out.append(language.message("Reading exercise: pitch only, no values.") if reading.pitch_only else
                   language.message("{key}, {time}.").format(key=language.key(tune.key), time=say_time(language, tune.time)))
    for name, part in reading.parts:
        out += [_part_line(language, name), *_bar_lines(language, part, bars)]
    if not reading.parts:
        out += _bar_lines(language, reading, bars)
    if tune.bars and (bars is None or tune.bars[-1].number in bars) and not _ended(tune.bars[-1]):
        out.append(language.message("No double bar stands at the end."))
    problems, found = (reading.problems, reading.hints) if bars is None else reading.amiss_in(bars)
    return [*out, *problem_lines(language, problems), *hint_lines(language, found)]


def _ended(bar: Bar) -> bool:
    """Whether a double bar or a repeat sign stands at the end of a bar."""
    return bar.barline in (Barline.FINAL, Barline.DOUBLE) or bool(bar.backward_repeat)


def _bar_lines(language: Language, reading: Reading, bars: range | None) -> list[str]:
    """The bars of one part, a line each."""
    out = []
    for bar in reading.tune.bars:
        if bars is not None and bar.number not in bars:
            continue
        said = [_read_note(language, n, reading.pitch_only) for n in bar.notes] or [language.message("nothing")]
        sung = _words_under(bar.notes)
        line = language.message("Bar {number}, {words}: {notes}.") if sung else language.message("Bar {number}: {notes}.")
        out.append(line.format(number=bar.number, words=sung, notes="; ".join(said)))
    return out


def _part_line(language: Language, part: PartName) -> str:
    """Which of several parts comes: "Right hand:", "Soprano:"."""
    name = part.name or language.message(_HANDS[part.hand])
    return language.message("{part}:").format(part=language.capitalised(name))


_HANDS = {Hand.SOLO: N_("solo"), Hand.RIGHT: N_("right hand"), Hand.LEFT: N_("left hand"), Hand.VOICE: N_("voice")}


def _read_note(language: Language, note: Note, pitch_only: bool) -> str:
    """As `say_written`, with the octave and with marks and tie: "D, fourth octave, crotchet, staccato"."""
    marks = "".join(language.message(", {mark}").format(mark=say_sign(language, mark.sign)) for mark in note.marks)
    tie = language.message(", tied") if note.tie else ""
    return _read_pitch(language, note, pitch_only) + marks + tie


def _read_pitch(language: Language, note: Note, pitch_only: bool) -> str:
    """A note without what stands at it."""
    if note.pitch is None:
        return say_written(language, note, pitch_only)
    name, octave = language.pitch_class(note.pitch), language.octave(min(8, max(0, note.pitch.octave)))
    if pitch_only:
        return language.message("{name}, {octave}").format(name=name, octave=octave)
    if note.grace is not Grace.NONE:
        return language.message("{name}, {octave}, grace note").format(name=name, octave=octave)
    value = language.value(note.base, note.dots)
    return language.message("{name}, {octave}, {value}").format(name=name, octave=octave, value=value)


def _words_under(notes: tuple[Note, ...]) -> str:
    """The words of a bar's first verse, syllables of one word together, without the stop or comma at their end."""
    out = ""
    for note in notes:
        if note.syllables and (said := note.syllables[0]):
            out += said.text.replace("‿", " ") + ("" if said.place in ("begin", "middle") else " ")
    return out.strip().rstrip(",;:.")


def hint_lines(language: Language, hints: tuple[Problem, ...]) -> list[str]:
    """What is odd, a line each with its place; none where nothing is."""
    if not hints:
        return []
    count = len(hints)
    return [language.plural("{n} hint, perhaps right as it is:", "{n} hints, perhaps right as they are:", count).format(n=count),
            *(language.message("Line {line}, cell {cell}: {problem}").format(
                line=p.line, cell=p.column, problem=say_problem(language, p)) for p in hints)]


def problem_lines(language: Language, problems: tuple[Problem, ...]) -> list[str]:
    """What is amiss, a line each with its place; one line where nothing is."""
    if not problems:
        return [language.message("Nothing amiss was found.")]
    count = len(problems)
    return [language.plural("{n} thing to look at:", "{n} things to look at:", count).format(n=count),
            *(language.message("Line {line}, cell {cell}: {problem}").format(
                line=p.line, cell=p.column, problem=say_problem(language, p)) for p in problems)]


def reading_json(language: Language, reading: Reading, bars: range | None = None) -> dict[str, Any]:
    """As in the contract; `quarters` is null where the page gives pitch only; `slur`: whether one goes on to the next
    note; `words`: one a verse; `parts`: of a page of several parts each with its notes, the first of them the page's own. Only
    `say` is in the language. bars: notes, problems and hints of these bars alone."""
    tune = reading.tune
    problems, found = (reading.problems, reading.hints) if bars is None else reading.amiss_in(bars)
    parts = {"parts": [{"part": name.hand.value, "name": name.name, "notes": _notes_json(part, bars)}
                       for name, part in reading.parts]} if reading.parts else {}
    return {
        "notes": _notes_json(reading, bars),
        "key": tune.key.name, "time": None if reading.pitch_only else time_name(tune.time),
        "pitch_only": reading.pitch_only, "title": tune.title, **parts,
        "problems": [{"line": p.line, "column": p.column, "say": say_problem(language, p)} for p in problems],
        "hints": [{"line": p.line, "column": p.column, "say": say_problem(language, p)} for p in found]}


def _notes_json(reading: Reading, bars: range | None) -> list[dict[str, Any]]:
    """The notes and rests of one part."""
    notes: list[dict[str, Any]] = []
    slurs = 0
    for bar, n, quarters in reading.lengths():
        slurs = max(0, slurs + n.slur_starts - n.slur_stops)
        if bars is not None and bar.number not in bars:
            continue
        notes.append({"midi": n.pitch.midi if n.pitch else None, "quarters": None if quarters is None else float(quarters),
                      "bar": bar.number, "name": n.pitch.name if n.pitch else None,
                      "octave": n.pitch.octave if n.pitch else None, "tie": n.tie, "slur": slurs > 0,
                      "words": [said.text if said else "" for said in n.syllables]})
    return notes
