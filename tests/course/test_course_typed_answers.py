"""Answers as people type them: right ones, wrong ones, and what is no answer at all, for every kind of question."""

import itertools
import random
from collections.abc import Iterator
from fractions import Fraction

import pytest
from course_pupil import BRITISH
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.braille import to_ascii
from companion.course import (
    PLAIN,
    Command,
    Drill,
    Group,
    Item,
    Order,
    QuestionKind,
    Wanted,
    Wants,
    check,
    fact,
    find_stage,
    fresh_group,
    from_the_back,
    heard_move,
    make,
    material,
    name_cell,
    other_note,
    say_octave,
    taught,
    upper_or_lower,
    write_cell,
)
from companion.course.answer import Finding
from companion.course.tune_material import make_group
from companion.match import Verdict
from companion.tune import Bar, Direction, Note, Pitch, Tune

WORDS = BRITISH.vocabulary
RIGHT, WRONG, UNSURE = Verdict.RIGHT, Verdict.WRONG, Verdict.UNSURE
ROW = material("three-quavers", ("values", "octave marks", "bars"))
FULL = material("round-again")

NOT_KNOWN = ("I don't know", "i dont know", "don't know", "dunno", "idk", "no idea", "I have no idea", "not sure",
    "I'm not sure.",
             "I forgot", "I can't remember", "I give up", "tell me", "Um, I don't know", "sorry, I don't know", "I don’t know!",
             "no clue", "what is it?", "DON'T KNOW", "I really don't know")
COMMANDS = {
    Command.NOT_KNOWN: NOT_KNOWN, Command.HELP: ("help", "Help!", "help me", "help please", "I need help", "what do I do?"),
    Command.SKIP: ("skip", "Skip.", "next", "pass", "skip this one", "next question please"),
    Command.AGAIN: ("again", "Again please", "once more", "say it again", "pardon?", "repeat that", "play it again", "repeat"),
    Command.STOP: ("stop", "Stop.", "quit", "exit", "bye", "q", "I want to stop", "end"),
    Command.DOTS: ("?", "tell me the dots", "which dots?"),
}
#: No answers to any question.
PROSE = ("hello", "blah", "what's for tea", "my dog barked", "wait a moment", "é", "...", "yes please no", "that one there",
         "is this thing on", "qwerty", "😀", "sdfghjkl", "I like this", "can we sing now")

#: Facts to be named, and what is typed. None: neither right nor wrong.
NAMES: dict[str, dict[Verdict, str]] = {
    "C": {RIGHT: "c|C|C.|note c|the note C|it's C|It is C|c!|a c|do|Doh|C quaver|quaver C|eighth note C|C4|middle C|"
    "I think it's C|"
                 "c note|C, fourth octave|cee|is it C?|um c|C please",
          WRONG: "d|D|E|re|note d|the letter d|it's D|f|C crotchet|sharp", UNSURE: "145|1 4 5|1-4-5|crotchet|quaver|h|x"},
    "E": {RIGHT: "e|E.|mi|me|it is e|an E|E quaver|the e|E5", WRONG: "c|f|fa|the note F|dot", UNSURE: "124|quaver"},
    "A": {RIGHT: "a|A|an A|the A|la|note A|it's A|it's an A|a quaver|A quaver", WRONG: "ti|B|g", UNSURE: "i|i am|24"},
    "C crotchet": {
        RIGHT: "C crotchet|crotchet C|c quarter note|quarter note C|quarter C|C as a crotchet|C, crotchet|a C crotchet|"
               "crotchet on C|C quarter|c crochet|do crotchet|C, a crotchet|C and it's a crotchet|C is a crotchet|a crotchet C|"
               "it's C crotchet|1/4 note C|C crotchet please",
        WRONG: "D crotchet|C minim|half note C|C quaver|B crotchet|d|dotted crotchet C|re quarter note",
        UNSURE: "C|crotchet|a crotchet|quarter note|minim|1456|C4|middle C"},
    "A minim": {RIGHT: "A minim|an A minim|a half note A|minim A|half note a|A as a minim|la minim|A half note",
                WRONG: "C minim|la crotchet|B half note", UNSURE: "A|an A|a|half|A crotchet"},
    "F dotted minim": {RIGHT: "F dotted minim|dotted minim F|dotted half note F|F dotted half|F as a dotted minim|"
    "fa dotted minim",
                       WRONG: "F minim|G dotted minim|F dotted crotchet", UNSURE: "F|dotted minim|fa"},
    "G semibreve": {RIGHT: "G semibreve|whole note G|G whole note|whole G|semibreve on G|sol semibreve|G semiquaver",
                    WRONG: "G minim|F semibreve|E whole note", UNSURE: "A whole note|G|semibreve|so"},
    "C, fourth octave": {
        RIGHT: "C, fourth octave|c fourth octave|C4|c 4|middle C|fourth octave C|C in the fourth octave|4th octave c|octave 4 c|"
               "C octave four|C fourth|do fourth octave|the fourth octave C|C with the fourth octave mark",
        WRONG: "C5|C, fifth octave|D fourth octave|D4|high c|B3", UNSURE: "C|the C|quaver C|5145|c!"},
    "B, third octave": {RIGHT: "B, third octave|B3|b 3|third octave b|ti third octave|octave 3 B", WRONG: "B4|A3|C third octave",
                        UNSURE: "B|ti"},
    "crotchet rest": {RIGHT: "crotchet rest|a crotchet rest|quarter rest|quarter note rest|rest of a crotchet|rest, crotchet|"
    "crotchet|"
                             "a quarter note's rest|crochet rest|crotchet's rest|it's a crotchet rest",
                      WRONG: "minim rest|half rest|quaver|a minim|full bar rest|C", UNSURE: "rest|a rest|1236|silence"},
    "minim rest": {RIGHT: "minim rest|half rest|half note rest|minim|rest for a minim|the minim rest",
                   WRONG: "crotchet rest|quarter rest|semibreve rest", UNSURE: "rest|pause here|136"},
    "full bar rest": {RIGHT: "full bar rest|whole bar rest|whole measure rest|bar rest|semibreve rest|whole rest|"
    "a whole bar's rest|"
                             "measure rest|full measure rest|rest for a whole bar", WRONG: "minim rest|quaver rest|bar line",
                      UNSURE: "rest|a rest"},
    "sharp": {RIGHT: "sharp|a sharp|the sharp|sharp sign|Sharp!|a sharp sign|♯|it's a sharp|sign for sharp", WRONG: "flat|"
    "natural|a flat|tie",
              UNSURE: "146|hash tag"},
    "flat": {RIGHT: "flat|a flat|flat sign|♭|the flat sign", WRONG: "sharp|natural|dot", UNSURE: "126|half"},
    "natural": {RIGHT: "natural|a natural|natural sign|♮", WRONG: "flat|sharp", UNSURE: "16|normal"},
    "fourth octave": {RIGHT: "fourth octave|4|four|fourth|4th|octave 4|4th octave|the fourth octave|octave four|"
    "fourth octave mark|"
                             "octave mark 4|the mark for the fourth octave|mark of the fourth octave|the fourth octave sign",
                      WRONG: "fifth octave|5|third|octave 3|3rd octave|five|8", UNSURE: "octave|octave mark please|99"},
    "1 sharp": {RIGHT: "1 sharp|one sharp|a key with one sharp|key of one sharp|key signature of 1 sharp|G major|E minor|"
    "key of G major|"
                       "one sharp in the key|key signature, one sharp",
                WRONG: "1 flat|2 sharps|two flats|D major|F major", UNSURE: "key|key signature|1|one"},
    "2 flats": {RIGHT: "2 flats|two flats|key with two flats|B flat major|G minor|two flats key signature", WRONG: "2 sharps|"
    "one flat|"
                "three flats|F major", UNSURE: "flats?!|2|two|a key"},
    "time 3 4": {RIGHT: "3/4|3 4|time 3 4|three four|three four time|3 by 4|3 over 4|time signature 3/4|3/4 time|"
    "three quarter time|3-4",
                 WRONG: "4/4|2 4|four four|time 4 4|6/8", UNSURE: "time|time signature|3|three"},
    "time 4 4": {RIGHT: "4/4|4 4|four four|four four time|4 over 4", WRONG: "3/4|2/4|three four", UNSURE: "time|4"},
    "ending 1": {RIGHT: "ending 1|first ending|1|1st ending|first time bar|ending one|first|the first ending|one|first time",
                 WRONG: "ending 2|second ending|2|repeat to here|second time bar", UNSURE: "ending|the ending there|12"},
    "bar repeated": {RIGHT: "bar repeated|bar repeat|measure repeat|repeat bar|repeated bar|same bar again|a bar repeat|"
    "the bar repeat|"
                            "measure repeated|repeat the bar|bar repeat sign", WRONG: "ending 1|final double bar|closing repeat|"
                            "tie",
                     UNSURE: "2356|repeating"},
    "repeat to here": {RIGHT: "repeat to here|closing repeat|end repeat|backward repeat|closing sign|repeat ends|"
    "the closing repeat",
                       WRONG: "repeat from here|opening repeat|final double bar|double bar|bar repeat", UNSURE: "126-2356|go"},
    "repeat from here": {RIGHT: "repeat from here|opening repeat|start repeat|forward repeat|repeat begins|opening sign",
                         WRONG: "repeat to here|closing repeat|double bar", UNSURE: "126 2356"},
    "final double bar": {RIGHT: "final double bar|double bar|the double bar|a double bar|end|the end|final bar|end of the tune|"
    "double bar line"
                                "|final bar line|the final double bar|double barline|Double bar.", WRONG: "bar line|tie|"
                                "repeat to here|"
                         "fermata|C", UNSURE: "126-13|finis"},
    "dynamic f": {RIGHT: "f|F|forte|loud|dynamic f|an f|it's f|the f", WRONG: "p|piano|soft|mf|C|dynamic p", UNSURE: "345-124|"
    "shout"},
    "dynamic p": {RIGHT: "p|piano|soft|dynamic p|quiet|softly|a p", WRONG: "f|forte|loud|ff", UNSURE: "345|whisper"},
    "breath mark": {RIGHT: "breath mark|breath|a breath|breathe|breathing mark|the breath mark|comma|take a breath",
    WRONG: "fermata|tie|dot",
                    UNSURE: "breathing space here"},
    "fermata": {RIGHT: "fermata|pause|a pause|pause sign|hold|the fermata", WRONG: "breath|slur|accent", UNSURE: "126-123|wait"},
    "getting louder": {RIGHT: "getting louder|crescendo|louder|cresc|it gets louder|getting louder sign|a crescendo",
    WRONG: "softer|diminuendo|"
                       "louder ends|forte", UNSURE: "345-14|stronger"},
    "word sign": {RIGHT: "word sign|words|the word sign|a word sign|words sign|word", WRONG: "number sign|tie|dynamic p",
    UNSURE: "345|text"},
    "number sign": {RIGHT: "number sign|number|the number sign|numeral sign|numbers", WRONG: "word sign|sharp|octave 4",
    UNSURE: "3456|digits"},
    "tie": {RIGHT: "tie|a tie|the tie|tied|ties|tie sign|the sign for tie", WRONG: "slur|dot|flat", UNSURE: "4-14|knot"},
    "slur": {RIGHT: "slur|a slur|slurred|legato|the slur sign", WRONG: "tie|dot", UNSURE: "14|bow"},
    "dot": {RIGHT: "dot|a dot|the dot|dotted|augmentation dot", WRONG: "tie|slur|sharp", UNSURE: "3|point"},
}
#: Facts to be written, and what is typed.
CELLS: dict[str, dict[Verdict, str]] = {
    "C": {RIGHT: "145|1 4 5|1-4-5|1,4,5|1, 4, 5|1, 4 and 5|dots 1, 4 and 5|dots 1 4 5|Dots 145.|one four five|one, four, five|"
                 "one four and five|dots one four five|d145|d1 d4 d5|p145|dot 1, dot 4, dot 5|1+4+5|541|5 4 1|5-4-1|(1 4 5)|"
                 "145.|fjk|FJK|f j k|f+j+k|kjf|keys fjk|⠙|⡙|⣙|⠀⠙| ⠙ |d|D|letter d|the letter D|braille d|ascii:D|it's 145|"
                 "cell 145|"
                 "points 1 4 5|1 & 4 & 5|1–4–5|1457|I think 145|write 1 4 5|dots: 1 4 5|one-four-five|number 1 4 5",
          WRONG: "15|1-5|1 5|dots 1 and 5|⠑|e|124|f|c|one four|14|one five|1 2 4 5|fk|full cell|dot 1|1456",
          UNSURE: "C crotchet|the note C|do it|79|9|145 or 15|idle|note|some dots|1 4 5 perhaps 6 or so|hmm"},
    "E crotchet": {RIGHT: "1246|1-2-4-6|1,2,4,6|dots 1, 2, 4 and 6|one two four six|d1246|⠫|$|ascii:$|fdjl|6421|1 2 4 6",
                   WRONG: "124|⠋|f|1-2-4|1456|one two four|⠹|246", UNSURE: "E crotchet|quarter note E|crotchet"},
    "C, fourth octave": {
        RIGHT: "5-145|5 145|5,145|5, 145|dot 5, then 1 4 5|dot 5 then dots 1 4 5|5; 145|dot 5, dots 1, 4, 5|5/145|\"D|\"d|⠐⠙|"
            "k fjk|"
               "ascii:\"D|five then one four five|dot 5 followed by 145|5 1 4 5|5, 1 4 5|d5 d145|5-1-4-5|"
               "dot five, dots one four five|"
               "first cell 5, second cell 145|5145|⠐ ⠙",
        WRONG: "145|46-145|5-15|5|⠨⠙|dot 4 6 then 1 4 5|5-124|5 then 1 5", UNSURE: "C4|octave 4 C|fourth octave"},
    "final double bar": {RIGHT: "126-13|126 13|1 2 6, 1 3|dots 1 2 6 then 1 3|one two six, then one three|⠣⠅|<K|<k|126, 13|"
    "d126 d13|"
                                "1-2-6, then 1-3|fdl fs", WRONG: "126|13-126|126-2356|⠣⠶|⠣", UNSURE: "double bar|the end sign|"
                                "end here"},
    "sharp": {RIGHT: "146|1-4-6|1 4 6|%|⠩|dots 1, 4 and 6|one four six|d146|fjl", WRONG: "126|16|⠣|1-2-6|14", UNSURE: "sharp|"
    "sharps"},
    "dot": {RIGHT: "3|dot 3|dots 3|three|d3|⠄|'|s|dot three|the dot 3", WRONG: "2|1 3|⠂|dot 6|⠤", UNSURE: "augmentation|"
    "dotted note"},
    "crotchet rest": {RIGHT: "1236|1-2-3-6|dots 1, 2, 3 and 6|⠧|v|V|letter v|fdsl|one two three six", WRONG: "136|⠥|1 3 4|u|134",
                      UNSURE: "crotchet rest|rest"},
    "time 3 4": {RIGHT: "3456-14-256|3456 14 256|#C4|#c4|⠼⠉⠲|dots 3 4 5 6, then 1 4, then 2 5 6|number 3456, 14, 256",
                 WRONG: "3456-14|14-256|⠼⠙⠲|#d4|3456-145-256", UNSURE: "three four"},
    "fermata": {RIGHT: "126-123|<l|⠣⠇|1 2 6 then 1 2 3|one two six, one two three", WRONG: "126-13|126|⠣⠅", UNSURE: "fermata|"
    "pause"},
    "1 flat": {RIGHT: "126|1-2-6|<|⠣|dots 1, 2, 6", WRONG: "146|%|⠩|126-126", UNSURE: "one flat|F major"},
}


def _first(kind: QuestionKind, m: object = FULL, seed: int = 1, order: Order = Order.UP, count: int = 1) -> Item:
    return make(Drill(kind, order=order, count=count), m, random.Random(seed))[count - 1]  # type: ignore[arg-type]


def _by_answer(items: Iterator[Item], wanted: str) -> Item:
    return next(i for i in items if i.answer == wanted)


def _octaves_and_others() -> list[tuple[Item, dict[Verdict, str]]]:
    seeds = range(60)
    beats = {n: make(Drill(QuestionKind.HOW_MANY_BEATS, (n,), count=1), None, random.Random(1))[0]
             for n in ("C crotchet", "C minim", "C dotted crotchet", "C")}
    often = _by_answer((_first(QuestionKind.HOW_OFTEN, ROW, s, Order.MIXED) for s in seeds), "2")
    turns = _by_answer((make(Drill(QuestionKind.WHERE_IT_TURNS, tuple("CDEFG"), count=1), None, random.Random(s))[0]
                        for s in seeds), "3")
    wrong_cell = _by_answer((_first(QuestionKind.FIND_THE_WRONG_CELL, ROW, s, Order.MIXED) for s in seeds), "2")
    which = _by_answer((_first(QuestionKind.WHICH_BAR, FULL, s, Order.MIXED) for s in seeds), "1")
    marks = make(Drill(QuestionKind.MARK_OR_NO_MARK, tuple(f"{s}, {o} octave" for s in "CEFGB" for o in ("fourth", "fifth")),
                       count=20), None, random.Random(1))
    up, down, same = (heard_move(Pitch("E", 4), Pitch(s, 4)) for s in "GCE")
    bar = _first(QuestionKind.WRITE_WHAT_YOU_HEAR, ROW)
    return [
        (say_octave(fact("C, fifth octave")), {
            RIGHT: "5|five|fifth|the fifth octave|octave 5|5th|5th octave|fifth octave please|octave five|it's the fifth|C5|"
                "number 5|in the fifth",
            WRONG: "4|fourth|the third octave|octave 6|four|C4", UNSURE: "high|46|octave|C|nineteen|4 or 5"}),
        (up, {RIGHT: "higher|up|h|Higher.|the second is higher|it goes up|it went up|upwards|it's higher|rises|high|↑|"
            "second one is higher|"
                     "UP!|a bit higher|I think higher|goes higher|the second note is higher", WRONG: "lower|down|same|the same|"
                     "it stays|no change",
              UNSURE: "different|the first is higher|higher or lower|not higher|E to G|a third|the first one was lower|"
                  "up and down"}),
        (down, {RIGHT: "lower|down|l|d|it goes down|the second one is lower|falls|downwards|deeper|↓|lower please|it's lower",
                WRONG: "higher|up|same|level", UNSURE: "first was higher|hmm|yes|lower or same"}),
        (same, {RIGHT: "same|the same|level|s|equal|no change|it stays|it's the same|stays the same|it's the same note|"
                       "unchanged|it doesn't change|the same again", WRONG: "higher|lower|up|down|it goes up",
                       UNSURE: "not the same|both|two"}),
        (often, {RIGHT: "2|two|twice|2 times|two times|It's 2|I think two|number 2|2 please|exactly twice",
                 WRONG: "1|three|3|once|never|none|four times", UNSURE: "two or three|a few|often|C|many"}),
        (turns, {RIGHT: "3|three|third|the third|3rd|note 3|the third note|on the third note|number three|third one|"
            "it's the 3rd|on note 3|no 3",
                 WRONG: "2|4|second|the fourth note|note 5", UNSURE: "the top|E|at the end|up|high"}),
        (wrong_cell, {RIGHT: "2|two|second|the second|2nd|the second note|note two|the second one|number 2|second cell",
                      WRONG: "1|first|the third note|4", UNSURE: "that one|D|the low one|none of these"}),
        (which, {RIGHT: "1|one|first|the first|the first one|1st|number one|number 1|bar 1|the 1st one|it's the first",
                 WRONG: "2|two|second|the second one|bar two", UNSURE: "3|both|neither of them|1 or 2|left"}),
        (Item(QuestionKind.WHICH_WAY, cells="x", route=(1, 2, 1, 3)), {
            RIGHT: "1 2 1 3|1,2,1,3|1213|one two one three|bars 1 2 1 3|1, then 2, then 1 and 3|1-2-1-3|1, 2, 1, 3 please",
            WRONG: "1 2 3|1 2 1 2|one two three|123", UNSURE: "back to the start|D|round and round"}),
        (other_note(fact("C, fifth octave"), fact("interval of a third")), {
            RIGHT: "A|a|lah|the note A|it's A|la", WRONG: "C|E|G|the note B", UNSURE: "a third|low|below"}),
        (from_the_back(fact("C")), {RIGHT: "C|c|doh|the note C|I think it's C", WRONG: "E|D|the note F", UNSURE: "mirror|145"}),
        (upper_or_lower(_a_bar(), True), {
            RIGHT: "upper|the upper one|up|top|higher|the upper voice|it's the top", WRONG: "lower|the lower one|bottom|down",
            UNSURE: "both|left|the other"}),
        (beats["C crotchet"], {RIGHT: "1|one|one beat|1 beat|1 crotchet|one crotchet|one beat long|it's one|1.0", WRONG: "2|"
            "half|two beats|4|one and a half",
                               UNSURE: "short|a beat and a bit|long"}),
        (beats["C minim"], {RIGHT: "2|two|two beats|2 beats|two crotchets|2 crotchets long|two quarter notes|it is two|2,0",
                            WRONG: "1|4|three|one beat|half", UNSURE: "longer|some beats"}),
        (beats["C dotted crotchet"], {RIGHT: "1.5|1,5|one and a half|1 1/2|1½|one and a half beats|1.5 beats|1 and a half|"
            "one and a half crotchets|"
                                             "it's 1.5", WRONG: "1|2|half|3", UNSURE: "one and a bit|dotted"}),
        (beats["C"], {RIGHT: "half|a half|0.5|1/2|½|half a beat|half a crotchet|half of one|0,5|one half", WRONG: "1|2|"
            "a quarter|one and a half",
                      UNSURE: "tiny|quick"}),
        (_by_answer(iter(marks), "yes"), {RIGHT: "yes|y|Yes.|yep|yeah|it does|yes it does|it needs one|yes please|needs a mark|"
            "with a mark|yes I think",
                                          WRONG: "no|n|nope|no mark|it doesn't", UNSURE: "yes and no|sometimes|C|fifth|"
                                              "always mark C"}),
        (_by_answer(iter(marks), "no"), {RIGHT: "no|n|No.|nope|no mark|it doesn't|no it doesn't|without a mark|it does not|nah|"
            "no need|not needed",
                                         WRONG: "yes|y|yes it does|it needs one", UNSURE: "4|octave|no or yes"}),
        (bar, {RIGHT: "DEFE|defe|d e f e|145-15-124-15|145 15 124 15|⠙⠑⠋⠑|⠙ ⠑ ⠋ ⠑|145, 15, 124, 15|d145 d15 d124 d15|"
                      "1 4 5, then 1 5, then 1 2 4, then 1 5|fjk fk fdj fk|⣙⡑⠋⠑|1-4-5, 1-5, 1-2-4, 1-5|ascii:DEFE|145;15;124;15|"
                      "one four five, then one five, then one two four, then one five",
               WRONG: "DEFD|DEF|⠙⠑⠋|145-15-124|defed|EFDE|145 15", UNSURE: "C D E D|it goes up|up then down|do re mi re"}),
    ]


def _row(item: Item, answers: dict[Verdict, str]) -> list[tuple[Item, str, Verdict]]:
    return [(item, text, verdict) for verdict, texts in answers.items() for text in texts.split("|")
            if not text.endswith("x") or len(text) < 2 or text in ("x",)]


def _a_bar() -> Group:
    """A bar in the manner of stage 8."""
    stage, rng = find_stage("8"), random.Random(1)
    group = fresh_group(stage.material, "x", Wanted(taught(8), frozenset(), (), 2), rng)
    assert group is not None
    return group


def table() -> list[tuple[Item, str, Verdict]]:
    """Every typed answer: the question, the text, and how it is to be taken."""
    rows = [r for name, answers in NAMES.items() for r in _row(name_cell(fact(name)), answers)]
    rows += [r for name, answers in CELLS.items() for r in _row(write_cell(fact(name)), answers)]
    rows += [r for item, answers in _octaves_and_others() for r in _row(item, answers)]
    kinds = {item.kind: item for item, _, _ in rows}
    return rows + [(item, text, UNSURE) for item, text in itertools.product(kinds.values(), PROSE)]


def test_a_table_of_typed_answers() -> None:
    rows = table()
    taken = [(item.kind.value, item.answer, text, wanted.value, got.value) for item, text, wanted in rows
             if (got := check(item, text, WORDS).verdict) != wanted and not (wanted is UNSURE and WORDS.command(text))]
    assert len(rows) >= 600
    assert {i.kind for i, _, _ in rows} == {k for k in QuestionKind if k.wants not in (Wants.SUNG, Wants.CLAPPED)}
    assert taken == []
    # What is neither right nor wrong is never remembered.
    assert all(not check(item, text, WORDS).cards for item, text, wanted in rows if wanted is UNSURE)


@pytest.mark.parametrize("command", COMMANDS)
def test_wishes_are_no_answers(command: Command) -> None:
    for text in COMMANDS[command]:
        assert WORDS.command(text) is command, text


def test_answers_are_no_wishes() -> None:
    for item, text, wanted in table():
        if wanted is not UNSURE:
            assert WORDS.command(text, item.wants is Wants.NAME) is None, (item.kind, text)


def test_not_knowing_is_never_cells_nor_a_name() -> None:
    for item, text in itertools.product((write_cell(fact("C")), name_cell(fact("C")), name_cell(fact("dynamic f")),
                                         heard_move(Pitch("C", 4), Pitch("E", 4))), NOT_KNOWN):
        assert check(item, text, WORDS).verdict is UNSURE, (item.kind, text)


def test_a_name_is_given_in_two_goes() -> None:
    for name, first, second, verdict in (("C crotchet", "C", "crotchet", RIGHT), ("C crotchet", "C", "a minim", WRONG),
                                         ("C, fifth octave", "C", "fifth", RIGHT), ("C, fifth octave", "C", "4", WRONG)):
        item = name_cell(fact(name))
        before = check(item, first, WORDS)
        assert before.verdict is UNSURE
        assert check(item, second, WORDS, before).verdict is verdict, (name, second)


# --- by their properties: forms are built from the facts, not listed ---

ONE_CELL = [n for n in ("C", "D", "E", "F", "G", "A", "B", "C crotchet", "G minim", "A semibreve",
    *PLAIN) if len(fact(n).cells) == 1
            and fact(n).cells != "⠀"]
_SEPARATORS = (" ", "-", ",", ", ", " and ", "+", " & ", ".", " - ")
_SPOKEN = dict(zip("123456", ("one", "two", "three", "four", "five", "six"), strict=True))


def _dots(cell: str) -> str:
    """Dot numbers from the Unicode standard's own table: bit n of U+2800 is dot n + 1."""
    return "".join(str(n + 1) for n in range(6) if ord(cell) - 0x2800 >> n & 1)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(ONE_CELL), st.sampled_from(_SEPARATORS), st.sampled_from(("", "dots ", "Dots: ", "it's ", "cell ")),
       st.sampled_from(("", ".", " ", "!", " please")), st.booleans(), st.randoms(use_true_random=False))
def test_dots_in_any_order_and_form_are_their_cell(name: str, between: str, before: str, after: str, spoken: bool,
                                                   chance: random.Random) -> None:
    digits = list(_dots(fact(name).cells))
    chance.shuffle(digits)
    text = before + between.join(_SPOKEN[d] if spoken and between in (" ", ", ", " and ", "-") else d for d in digits) + after
    assert check(write_cell(fact(name)), text, WORDS).verdict is RIGHT, text


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(ONE_CELL), st.sampled_from(ONE_CELL), st.sampled_from(("{0}-{1}", "{0} {1}", "dots {0}, then {1}",
    "d{0} d{1}")))
def test_another_cell_is_never_taken_as_right(wanted: str, other: str, form: str) -> None:
    cell, dots = fact(other).cells, _dots(fact(other).cells)
    for text in (cell, dots, "-".join(dots), f"dots {' '.join(dots)}", f"ascii:{to_ascii(cell)}"):
        assert (check(write_cell(fact(wanted)), text, WORDS).verdict is RIGHT) == (fact(wanted).cells == cell), (wanted, text)
    two = form.format(dots, _dots(fact(wanted).cells))
    assert write_cell(fact(wanted)).to_write in WORDS.cells(two) or check(write_cell(fact(wanted)), two,
        WORDS).verdict is not RIGHT


@settings(max_examples=300, deadline=None)
@given(st.sampled_from("CDEFGAB"), st.sampled_from([Fraction(4), Fraction(2), Fraction(1)]), st.booleans(), st.booleans(),
       st.sampled_from(("{s} {v}", "{v} {s}", "{s} as a {v}", "a {v} {s}", "{s}, {v}", "it's {s} {v}", "{v} on {s}.",
           "{s} is a {v}")))
def test_names_with_values_in_any_form(step: str, value: Fraction, dotted: bool, american: bool, form: str) -> None:
    british, other = {Fraction(4): ("semibreve", "whole note"), Fraction(2): ("minim", "half note"),
                      Fraction(1): ("crotchet", "quarter note")}[value]
    dotted = dotted and value != 4
    said = ("dotted " if dotted else "") + (other if american else british)
    item = name_cell(fact(f"{step} {'dotted ' if dotted else ''}{british}"))
    text = form.format(s=step, v=said)
    assert check(item, text, WORDS).verdict is RIGHT, text
    # "A minim" may be a minim, or the note A; of any other note there is no doubt.
    following = "D" if step in "CB" else "CDEFGAB"["CDEFGAB".index(step) - 1]
    assert check(item, form.format(s=following, v=said), WORDS).verdict is WRONG, text


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(list(Direction)), st.sampled_from(("{}", "it goes {}", "the second is {}", "{}!", "I think {}", "um {}")))
def test_directions_in_any_form(direction: Direction, form: str) -> None:
    words = {Direction.UP: ("up", "higher"), Direction.DOWN: ("down", "lower"), Direction.LEVEL: ("same", "level")}
    for other in Direction:
        for word in words[other]:
            assert WORDS.direction(form.format(word)) is other


def test_one_cell_typed_where_three_are_wanted_is_taken_for_that_cell() -> None:
    # "1 4 5" is the cell of C, and not three cells of one dot each, of which none is a note.
    notes = tuple(Note(pitch=Pitch(s, 4), base=Fraction(1, 2)) for s in "DED")
    group = make_group("x", Tune("", (Bar(number=1, notes=notes),), phrase_starts=()), ("octave marks", "bars", "values"))
    item = Item(QuestionKind.WRITE_WHAT_YOU_HEAR, to_write="⠑⠋⠑", group=group, played=group.line, signs=group.signs)
    assert check(item, "1 5, 1 2 4, 1 5", WORDS).verdict is RIGHT
    found = check(item, "dots 1 4 5", WORDS)
    assert found.verdict is WRONG
    assert found.difference is not None
    assert (found.difference.wanted_cells, found.difference.written_cells) == ("⠑", "⠙")


def test_a_cell_named_by_its_letter_is_told_from_any_other_name() -> None:
    """The cell of C is the letter d in a book (the letter trap)."""
    item = name_cell(fact("C"))
    assert check(item, "D", WORDS).finding is Finding.LETTER_READ
    assert check(item, "G", WORDS).finding is Finding.OTHER_NAME
