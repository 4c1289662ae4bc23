"""Sheets of the course: a stage, a tune, questions, a key to the cells, a week."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from fractions import Fraction

from companion.braille import SPACE
from companion.course import (
    Fact,
    Item,
    Material,
    Progress,
    QuestionKind,
    Stage,
    Wants,
    fact,
    heard_tune,
    new_items,
    note_fact,
    rows_of,
    taught,
)
from companion.errors import Trouble
from companion.language import (
    Language,
    SheetHeading,
    bar_line,
    by_ear_lines,
    cell_words,
    choice_line,
    day_line,
    drills_title,
    evidence_line,
    fact_name,
    fluency_line,
    group_said,
    key_title,
    last_day_task,
    minutes_line,
    notes_as_heading,
    numbered_answer,
    numbered_question,
    pitch_only_note,
    row_line,
    say_dots,
    set_line,
    sheet_heading,
    sing_bar,
    sing_row,
    sound_for_question,
    stage_label,
    stage_text,
    task_line,
    term_line,
    trouble_texts,
    tune_in_braille,
    week_title,
    what_to_sound,
)
from companion.messages import _
from companion.paper import Block, Cells, Heading, ListItem, NewPage, Paragraph, Sheet, song_page
from companion.tune import STEPS

DAYS = 7
SITTING_MINUTES = 10
#: What a key lists under each heading, by names of facts; notes with values come after the first.
_KEY = (
    (SheetHeading.RESTS, ("quaver rest", "crotchet rest", "minim rest", "full bar rest")),
    (SheetHeading.OCTAVE_MARKS, ("third octave", "fourth octave", "fifth octave")),
    (SheetHeading.SIGNS, ("dot", "sharp", "flat", "natural", "tie", "slur", "final double bar", "repeat from here",
                          "repeat to here", "ending 1", "ending 2", "number sign", "time 2 4", "time 3 4", "time 4 4",
                          "word sign", "dynamic p", "dynamic f", "getting louder", "fermata", "breath mark")),
)
_KEY_VALUES = (("crotchet", Fraction(1)), ("minim", Fraction(2)), ("semibreve", Fraction(4)), ("semiquaver", Fraction(1, 4)))


def _fact_block(f: Fact, language: Language, helper: bool = False) -> Block:
    return Cells(lambda width: [f.cells], cell_words(language, f), language.capitalised(fact_name(language, f)), helper,
                 has_dots=True)


def _heading(heading: SheetHeading, language: Language, helper: bool = False) -> Block:
    return Heading(sheet_heading(language, heading), helper=helper)


def _tune_blocks(m: Material, language: Language, helper_words: bool = True, bar_numbers: bool = False) -> list[Block]:
    """The tune in cells, and for the helper what each bar says. bar_numbers: before each line that begins with a bar."""
    def numbered(width: int) -> Sequence[str]:
        # No title: the sheet has it.
        return song_page(lambda width, title=False: m.page(width), width, bar_numbers=True).lines

    out: list[Block] = []
    if "values" in m.leave_out:
        out.append(Paragraph(pitch_only_note(language)))
    out.append(Cells(numbered if bar_numbers and m.has_bars else m.lines, tune_in_braille(language), sung=m.sung))
    if not helper_words:
        return out
    out.append(_heading(SheetHeading.WHAT_IT_SAYS, language, helper=True))
    if "bars" in m.leave_out:
        return [*out, *(ListItem(row_line(language, n, [fact(note_fact(note)) for note in row]), helper=True)
                        for n, row in enumerate(rows_of(m.shown), 1))]
    return [*out, *(ListItem(bar_line(language, g), helper=True) for g in m.groups)]


def stage_sheet(stage: Stage, language: Language) -> Sheet:
    """A stage: the adult's part, the pupil's part, its cells, its tune, and what may go wrong."""
    def texts(heading: SheetHeading, items: Sequence[str], block: type[Paragraph | ListItem] = ListItem) -> list[Block]:
        """A heading and what stands under it, for the helper; nothing of no items."""
        return [_heading(heading, language, helper=True), *(block(t, helper=True) for t in items)] if items else []

    def said(raw: Sequence[str]) -> list[str]:
        return [stage_text(language, t) for t in raw]

    blocks: list[Block] = [Paragraph(stage_text(language, stage.aim), helper=True)]
    blocks += texts(SheetHeading.FOR_THE_ADULT, said(stage.adult), Paragraph)
    blocks += texts(SheetHeading.NEEDED, said(stage.need))
    blocks += texts(SheetHeading.TERMS, [term_line(language, t) for t in stage.terms])
    blocks += texts(SheetHeading.FOR_THE_PUPIL, said(stage.pupil))
    new = stage_facts(stage)
    if new:
        blocks += [_heading(SheetHeading.CELLS, language), *(_fact_block(f, language) for f in new)]
    title = stage.material.tune.title
    if not stage.by_ear:
        blocks += [Heading(title), *_tune_blocks(stage.material, language, helper_words=not stage.unseen)]
    else:
        tune, how = by_ear_lines(language, title, what_to_sound(language, heard_tune(stage.material, by_ear=True)))
        blocks += [Paragraph(tune), Paragraph(how, helper=True)]
    blocks += texts(SheetHeading.KNOWN_WHEN, [evidence_line(language, e) for e in stage.known])
    blocks += texts(SheetHeading.TROUBLES, [" ".join(trouble_texts(language, t)) for t in stage.troubles], Paragraph)
    return Sheet(stage_label(language, stage), tuple(blocks))


def fingers_sheet(stage: Stage, language: Language) -> Sheet:
    """One line for the first touch: the stage's number, and its cells wide apart; for the helper what they are.

    A stage that brings no cells has the first bar of its tune. Raises Trouble for one that is not read.
    """
    if stage.by_ear:
        raise Trouble(_("Stage {number} is for the ear, and has no cells. Choose a later one.").format(number=stage.key))
    facts = stage_facts(stage)
    cells = [f.cells for f in facts] or [stage.material.groups[0].page.split("\n")[-1]]

    def lines(width: int) -> list[str]:
        out = [""]
        for cell in cells:
            row = f"{out[-1]}{APART}{cell}" if out[-1] else cell
            if len(row) > width and out[-1]:
                out.append(cell)
            else:
                out[-1] = row
        return out

    return Sheet("", (Cells(lines, "", stage.key), *(_fact_block(f, language, helper=True) for f in facts)))


APART = SPACE * 3  # between cells for a finger that does not yet know where one ends


def stage_facts(stage: Stage) -> list[Fact]:
    """The facts that a stage's drills name cells for, in the order of the notes, each once."""
    facts = dict.fromkeys(fact(name) for d in stage.drills
                          if d.kind in (QuestionKind.NAME_THE_CELL, QuestionKind.WRITE_THE_CELL) for name in d.facts)
    return sorted(facts, key=lambda f: (not f.is_note, STEPS.index(f.step) if f.is_note else 0, len(f.cells)))


def tune_sheet(m: Material, language: Language, bar_numbers: bool = False) -> Sheet:
    """Any tune, as far as it is to be shown. bar_numbers: each line of its music that begins with a bar has its number."""
    return Sheet(m.tune.title or m.name, tuple(_tune_blocks(m, language, bar_numbers=bar_numbers)))


def drill_sheet(title: str, items: Sequence[Item], language: Language) -> Sheet:
    """Questions, numbered, and their answers on a page of their own for the helper."""
    blocks: list[Block] = []
    for n, item in enumerate(items, 1):
        blocks.append(Paragraph(numbered_question(language, n, item)))
        shown = item.choices or ((item.cells,) if item.cells else ())
        blocks += [Cells(_lines_of(cells), choice_line(language, k) if len(shown) > 1 else "")
                   for k, cells in enumerate(shown, 1)]
        to_sound = what_to_sound(language, item)
        if to_sound:
            blocks.append(Paragraph(sound_for_question(language, n, to_sound), helper=True))
    blocks += [NewPage(helper=True), _heading(SheetHeading.ANSWERS, language, helper=True)]
    for n, item in enumerate(items, 1):
        if item.wants is Wants.CELLS:
            said = group_said(language, item.group) if item.group else say_dots(language, item.to_write)
            blocks.append(Cells(_lines_of(item.to_write), said, f"{n}", helper=True, has_dots=not item.group))
        else:
            blocks.append(Paragraph(numbered_answer(language, n, item), helper=True))
    return Sheet(title, tuple(blocks))


def _lines_of(cells: str) -> Callable[[int], Sequence[str]]:
    return lambda width: [line[i:i + width] for line in cells.split("\n") for i in range(0, len(line), width)]


def key_sheet(stages: Sequence[Stage], language: Language, upto: Stage | None = None) -> Sheet:
    """A helper's key: every cell taught up to a stage (all of them if none is named), print beside cells."""
    known = taught((upto or stages[-1]).number, stages)
    groups = [(sheet_heading(language, SheetHeading.NOTES), tuple(STEPS)),
              *((notes_as_heading(language, value), tuple(f"{s} {name}" for s in STEPS)) for name, value in _KEY_VALUES),
              *((sheet_heading(language, heading), names) for heading, names in _KEY)]
    blocks: list[Block] = []
    for heading, names in groups:
        facts = [f for f in map(fact, names) if f.signs <= known]
        if facts:
            blocks += [Heading(heading), *(_fact_block(f, language) for f in facts)]
    return Sheet(key_title(language, upto), tuple(blocks))


def week_sheet(name: str, progress: Progress, stages: Sequence[Stage], now: datetime,
               language: Language, work: Sequence[str] = ()) -> Sheet:
    """A week on one page: for each day what to do, how much is due, and what to sing. `work`: titles of tunes
    that the teacher has set."""
    stage = progress.stage(stages)
    met = {s.evidence.way for s in progress.shown(stage) if s.met}
    wanted = [e.way for e in stage.known if e.way not in met] or [e.way for e in stage.known]
    blocks: list[Block] = [Paragraph(stage_text(language, stage.aim))]
    for d in range(DAYS):
        day = now + timedelta(days=d)
        if d == DAYS - 1:
            tasks = [last_day_task(language, "" if stage.unseen else stage.material.tune.title)]
        else:
            tasks = [task_line(language, wanted[d % len(wanted)]), *_sung_on_day(stage, d, language)]
        blocks.append(ListItem(day_line(language, day, tasks, _due_on_day(progress, stages, now, d))))
    if work:
        blocks.append(Paragraph(set_line(language, work)))
    if speed := fluency_line(language, progress.fluency(now)):
        blocks.append(Paragraph(speed))
    blocks.append(Paragraph(minutes_line(language, SITTING_MINUTES)))
    return Sheet(week_title(language, name, stage), tuple(blocks))


def _sung_on_day(stage: Stage, d: int, language: Language) -> list[str]:
    """A bar, or a row where no bars are shown, for each day in turn; none of a tune that is only sung by ear."""
    bars = stage.material.groups
    if stage.by_ear or not bars:
        return []
    if "bars" in stage.leave_out:
        return [sing_row(language, d % len(rows_of(stage.material.shown)) + 1)]
    return [sing_bar(language, bars[d % len(bars)].bar)]


def _due_on_day(progress: Progress, stages: Sequence[Stage], now: datetime, d: int) -> int:
    """How many things are to be repeated on a day, on the first one those from before too."""
    day = (now + timedelta(days=d)).date()
    due = [progress.recall.due_at(n) for n in progress.recall.cards if not progress.retired(n, stages)]
    return sum(at.astimezone(now.tzinfo).date() == day or (d == 0 and at < now) for at in due)


def stage_drill_sheet(stage: Stage, rng: random.Random, language: Language, most: int = 20) -> Sheet:
    """The drills of a stage on paper."""
    items = [i for i in new_items(stage, rng, most) if i.wants is not Wants.SUNG or i.cells]
    return drill_sheet(drills_title(language, stage), items, language)
