"""Sheets of the course: a stage, a tune, questions, a key to the cells, a week."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from companion.braille import say_dots
from companion.course.drill import (
    BY_EAR,
    CELL_TO_NAME,
    CELL_TO_VOICE,
    EAR_TO_VOICE,
    NAME_TO_CELL,
    VOICE_TO_CELL,
    Item,
    heard_tune,
    said_line,
)
from companion.course.facts import Fact, fact, letter_of
from companion.course.material import Material, note_fact, rows_of
from companion.course.progress import Progress
from companion.course.stage import Stage, taught
from companion.language import Language
from companion.language.cues import in_american, number
from companion.lesson.question_sound import what_to_sound
from companion.lesson.sitting import new_items
from companion.paper import Block, Cells, Heading, ListItem, NewPage, Paragraph, Sheet
from companion.tune.model import STEPS

DAYS = 7
SITTING_MINUTES = 10


def _sheet(title: str, blocks: Sequence[Block], language: Language) -> Sheet:
    """A sheet in the names of the language, until all sentences here are templates of it."""
    if language.code != "en_US":
        return Sheet(title, tuple(blocks))
    american = []
    for b in blocks:
        if isinstance(b, Cells):
            b = replace(b, text=in_american(b.text), name=in_american(b.name))
        elif isinstance(b, Heading | Paragraph | ListItem):
            b = replace(b, text=in_american(b.text))
        american.append(b)
    return Sheet(in_american(title), tuple(american))


def _fact_block(f: Fact, helper: bool = False) -> Block:
    letter = letter_of(f)
    tail = f"; in a book the letter {letter}" if letter else ""
    return Cells(lambda width: [f.cells], f"{f.dots}{tail}", f.name[:1].upper() + f.name[1:], helper, has_dots=True)


def _tune_blocks(m: Material, helper_words: bool = True) -> list[Block]:
    """The tune in cells, and for the helper what each bar says."""
    out: list[Block] = []
    if "values" in m.leave_out:
        out.append(Paragraph("Reading exercise: pitch only, so how high and not how long. "
                         "Every note is written as a quaver."))
    out.append(Cells(m.lines, "The tune in braille."))
    if helper_words:
        out.append(Heading("What it says, for the helper", helper=True))
        if "bars" in m.leave_out:
            out += [ListItem(f"Line {n}: {', '.join(map(note_fact, row))}.", helper=True)
                    for n, row in enumerate(rows_of(m.shown), 1)]
            return out
        out += [ListItem(f"Bar {g.name.rsplit(' ', 1)[1]}: {g.said}.", helper=True) for g in m.groups]
    return out


def stage_sheet(stage: Stage, language: Language) -> Sheet:
    """A stage: the adult's part, the pupil's part, its cells, its tune, and what may go wrong."""
    blocks: list[Block] = [Paragraph(stage.aim, helper=True), Heading("For the adult", helper=True)]
    blocks += [Paragraph(t, helper=True) for t in stage.adult]
    if stage.need:
        blocks.append(Heading("You need", helper=True))
        blocks += [ListItem(t, helper=True) for t in stage.need]
    if stage.terms:
        blocks.append(Heading("Words", helper=True))
        blocks += [ListItem(f"{t.word[:1].upper()}{t.word[1:]}: {t.means}", helper=True) for t in stage.terms]
    blocks.append(Heading("Say to the pupil", helper=True))
    blocks += [ListItem(t, helper=True) for t in stage.pupil]
    new = stage_facts(stage)
    if new:
        blocks.append(Heading("The cells"))
        blocks += [_fact_block(f) for f in new]
    if not stage.by_ear:
        blocks.append(Heading(stage.material.tune.title))
        blocks += _tune_blocks(stage.material, helper_words=not stage.unseen)
    else:
        blocks.append(Paragraph(f"The tune to sing by ear: {stage.material.tune.title}."))
        how = what_to_sound(heard_tune(stage.material, by_ear=True))
        blocks.append(Paragraph(f"How it goes: {how}.", helper=True))
    blocks.append(Heading("It is known when", helper=True))
    blocks += [ListItem(e.say(), helper=True) for e in stage.known]
    blocks.append(Heading("What may go wrong", helper=True))
    for trouble in stage.troubles:
        blocks += [Paragraph(f"{trouble.sign} {trouble.do}", helper=True)]
    return _sheet(stage.label, blocks, language)


def stage_facts(stage: Stage) -> list[Fact]:
    """The facts that a stage's drills name cells for, in the order of the notes, each once."""
    names: dict[str, None] = {}
    for d in stage.drills:
        if d.kind in ("name the cell", "write the cell"):
            names.update(dict.fromkeys(d.facts))
    def place(name: str) -> tuple[int, int, int]:
        f = fact(name)
        is_note = f.kind in ("note", "placed note")
        return (0 if is_note else 1, STEPS.index(name[0]) if is_note else 0, len(f.cells))
    return [fact(n) for n in sorted(names, key=place)]


def tune_sheet(m: Material, language: Language) -> Sheet:
    """Any tune, as far as it is to be shown."""
    return _sheet(m.tune.title or m.name, _tune_blocks(m), language)


def drill_sheet(title: str, items: Sequence[Item], language: Language) -> Sheet:
    """Questions, numbered, and their answers on a page of their own for the helper."""
    blocks: list[Block] = []
    for n, item in enumerate(items, 1):
        blocks.append(Paragraph(f"{n}. {item.ask}"))
        shown = item.choices or ((item.cells,) if item.cells else ())
        for k, cells in enumerate(shown, 1):
            said = f"Number {number(k)}." if len(shown) > 1 else ""
            blocks.append(Cells(_lines_of(cells), said))
        told = what_to_sound(item)
        if told:
            blocks.append(Paragraph(f"For question {n}: {told}.", helper=True))
    blocks += [NewPage(helper=True), Heading("Answers, for the helper", helper=True)]
    for n, item in enumerate(items, 1):
        if item.wants == "cells":
            said = f"{item.group.said}" if item.group else say_dots(item.answer)
            blocks.append(Cells(_lines_of(item.answer), said, f"{n}", helper=True, has_dots=not item.group))
        else:
            answer = item.answer if item.wants != "sung" else said_line(item.sung)
            blocks.append(Paragraph(f"{n}. {answer[:1].upper()}{answer[1:]}.", helper=True))
    return _sheet(title, blocks, language)


def _lines_of(cells: str) -> Callable[[int], Sequence[str]]:
    return lambda width: [line[i:i + width] for line in cells.split("\n") for i in range(0, len(line), width)]


def key_sheet(stages: Sequence[Stage], language: Language, upto: Stage | None = None) -> Sheet:
    """A helper's key: every cell taught up to a stage (all of them if none is named), print beside cells."""
    last = upto or stages[-1]
    known = taught(last.number, stages)
    blocks: list[Block] = []
    groups = [("Notes", [*STEPS]),
              *((f"Notes as {value}s", [f"{s} {value}" for s in STEPS])
                for value in ("crotchet", "minim", "semibreve", "semiquaver")),
              ("Rests", [f"{v} rest" for v in ("quaver", "crotchet", "minim")] + ["full bar rest"]),
              ("Octave marks", [f"{n} octave" for n in ("third", "fourth", "fifth")]),
              ("Signs", ["dot", "sharp", "flat", "natural", "tie", "slur", "final double bar", "repeat from here",
                         "repeat to here", "ending 1", "ending 2", "number sign", "time 2 4", "time 3 4",
                         "time 4 4", "word sign", "dynamic p", "dynamic f", "getting louder", "fermata",
                         "breath mark"])]
    for heading, names in groups:
        facts = [f for f in map(fact, names) if f.signs <= known]
        if facts:
            blocks.append(Heading(heading))
            blocks += [_fact_block(f) for f in facts]
    where = "the whole course" if upto is None else upto.label[:1].lower() + upto.label[1:]
    return _sheet(f"Key to {where}", blocks, language)


def week_sheet(name: str, progress: Progress, stages: Sequence[Stage], now: datetime,
               language: Language, work: Sequence[str] = ()) -> Sheet:
    """A week on one page: for each day what to do, how much is due, and what to sing. `work`: titles of tunes
    that the teacher has set."""
    stage = progress.stage(stages)
    met = {s.evidence.way for s in progress.shown(stage) if s.met}
    wanted = [e.way for e in stage.known if e.way not in met] or [e.way for e in stage.known]
    tasks = {BY_EAR: "Listen, and show with the hand", EAR_TO_VOICE: "Sing higher, lower and the same",
             CELL_TO_NAME: "Read the cells", NAME_TO_CELL: "Write the cells", CELL_TO_VOICE: "Read, then sing",
             VOICE_TO_CELL: "Write what you hear"}
    bars = stage.material.groups
    blocks: list[Block] = [Paragraph(stage.aim)]
    for d in range(DAYS):
        day = now + timedelta(days=d)
        due = sum(progress.recall.due_at(n).astimezone(now.tzinfo).date() == day.date() or
                  (d == 0 and progress.recall.due_at(n) < now) for n in progress.recall.cards)
        if d == DAYS - 1:
            task = f"Sing for somebody: {stage.material.tune.title}." if not stage.unseen else "A day of rest."
        else:
            way = wanted[d % len(wanted)]
            sung = "" if stage.by_ear or not bars else f" Sing bar {bars[d % len(bars)].name.rsplit(' ', 1)[1]}."
            if sung and "bars" in stage.leave_out:
                sung = f" Sing line {d % len(rows_of(stage.material.shown)) + 1}."
            task = f"{tasks[way]}.{sung}"
        back = f" To repeat: {number(due)}." if due else ""
        blocks.append(ListItem(f"{day:%A} {day.day}: {task}{back}"))
    if work:
        blocks.append(Paragraph(f"Set by the teacher: {', '.join(work)}."))
    blocks.append(Paragraph(f"{number(SITTING_MINUTES).capitalize()} minutes a day. Stop when the voice tires."))
    return _sheet(f"A week for {name}, {stage.label[:1].lower()}{stage.label[1:]}", blocks, language)


def stage_drill_sheet(stage: Stage, rng: random.Random, language: Language, most: int = 20) -> Sheet:
    """The drills of a stage on paper."""
    items = [i for i in new_items(stage, rng, most) if i.wants != "sung" or i.cells]
    return drill_sheet(f"Drills for {stage.label[:1].lower()}{stage.label[1:]}", items, language)
