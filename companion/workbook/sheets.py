"""Sheets: what goes on paper or is read out, as one source for all forms (see `forms`).

A sheet is a title and blocks. What is for the helper alone is marked so, and is left out of the pupil's
braille; everything else is the same in every form.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
from companion.language.cues import in_american, number
from companion.lesson.question_sound import what_to_sound
from companion.lesson.sitting import new_items
from companion.tune import STEPS

DAYS = 7
SITTING_MINUTES = 10
HEADING, TEXT, ITEM, CELLS, BREAK = "heading", "text", "item", "cells", "break"


@dataclass(frozen=True)
class Block:
    """kind: HEADING, TEXT, ITEM of a list, CELLS, or BREAK (what follows begins a new page).

    text: what is said; for CELLS, what the cells say. cells: gives the lines of cells for a width.
    name: for CELLS in a line of their own with a name before them ("C"), that name.
    helper: for the helper alone. told: `text` says the dots already.
    """

    kind: str
    text: str = ""
    cells: Callable[[int], Sequence[str]] | None = None
    name: str = ""
    helper: bool = False
    told: bool = False


@dataclass(frozen=True)
class Sheet:
    """title: its first line. blocks: in reading order."""

    title: str
    blocks: tuple[Block, ...]

    def american(self) -> Sheet:
        """The same with American names."""
        return Sheet(in_american(self.title), tuple(
            Block(b.kind, in_american(b.text), b.cells, in_american(b.name), b.helper, b.told)
            for b in self.blocks))


def _fact_block(f: Fact, helper: bool = False) -> Block:
    letter = letter_of(f)
    tail = f"; in a book the letter {letter}" if letter else ""
    return Block(CELLS, f"{f.dots}{tail}", lambda width: [f.cells], f.name[:1].upper() + f.name[1:], helper, True)


def _tune_blocks(m: Material, helper_words: bool = True) -> list[Block]:
    """The tune in cells, and for the helper what each bar says."""
    out = []
    if "values" in m.leave_out:
        out.append(Block(TEXT, "Reading exercise: pitch only, so how high and not how long. "
                         "Every note is written as a quaver."))
    out.append(Block(CELLS, "The tune in braille.", lambda width: m.lines(width)))
    if helper_words:
        out.append(Block(HEADING, "What it says, for the helper", helper=True))
        if "bars" in m.leave_out:
            out += [Block(ITEM, f"Line {n}: {', '.join(map(note_fact, row))}.", helper=True)
                    for n, row in enumerate(rows_of(m.shown), 1)]
            return out
        out += [Block(ITEM, f"Bar {g.name.rsplit(' ', 1)[1]}: {g.said}.", helper=True) for g in m.groups]
    return out


def stage_sheet(stage: Stage) -> Sheet:
    """A stage: the adult's part, the pupil's part, its cells, its tune, and what may go wrong."""
    blocks = [Block(TEXT, stage.aim, helper=True), Block(HEADING, "For the adult", helper=True)]
    blocks += [Block(TEXT, t, helper=True) for t in stage.adult]
    if stage.need:
        blocks.append(Block(HEADING, "You need", helper=True))
        blocks += [Block(ITEM, t, helper=True) for t in stage.need]
    if stage.terms:
        blocks.append(Block(HEADING, "Words", helper=True))
        blocks += [Block(ITEM, f"{t.word[:1].upper()}{t.word[1:]}: {t.means}", helper=True) for t in stage.terms]
    blocks.append(Block(HEADING, "Say to the pupil", helper=True))
    blocks += [Block(ITEM, t, helper=True) for t in stage.pupil]
    new = stage_facts(stage)
    if new:
        blocks.append(Block(HEADING, "The cells"))
        blocks += [_fact_block(f) for f in new]
    if not stage.by_ear:
        blocks.append(Block(HEADING, stage.material.tune.title))
        blocks += _tune_blocks(stage.material, helper_words=not stage.unseen)
    else:
        blocks.append(Block(TEXT, f"The tune to sing by ear: {stage.material.tune.title}."))
        how = what_to_sound(heard_tune(stage.material, by_ear=True))
        blocks.append(Block(TEXT, f"How it goes: {how}.", helper=True))
    blocks.append(Block(HEADING, "It is known when", helper=True))
    blocks += [Block(ITEM, e.say(), helper=True) for e in stage.known]
    blocks.append(Block(HEADING, "What may go wrong", helper=True))
    for trouble in stage.troubles:
        blocks += [Block(TEXT, f"{trouble.sign} {trouble.do}", helper=True)]
    return Sheet(stage.label, tuple(blocks))


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


def tune_sheet(m: Material) -> Sheet:
    """Any tune, as far as it is to be shown."""
    return Sheet(m.tune.title or m.name, tuple(_tune_blocks(m)))


def drill_sheet(title: str, items: Sequence[Item]) -> Sheet:
    """Questions, numbered, and their answers on a page of their own for the helper."""
    blocks: list[Block] = []
    for n, item in enumerate(items, 1):
        blocks.append(Block(TEXT, f"{n}. {item.ask}"))
        shown = item.choices or ((item.cells,) if item.cells else ())
        for k, cells in enumerate(shown, 1):
            said = f"Number {number(k)}." if len(shown) > 1 else ""
            blocks.append(Block(CELLS, said, _lines_of(cells)))
        told = what_to_sound(item)
        if told:
            blocks.append(Block(TEXT, f"For question {n}: {told}.", helper=True))
    blocks += [Block(BREAK, helper=True), Block(HEADING, "Answers, for the helper", helper=True)]
    for n, item in enumerate(items, 1):
        if item.wants == "cells":
            said = f"{item.group.said}" if item.group else say_dots(item.answer)
            blocks.append(Block(CELLS, said, _lines_of(item.answer), f"{n}", helper=True, told=not item.group))
        else:
            answer = item.answer if item.wants != "sung" else said_line(item.sung)
            blocks.append(Block(TEXT, f"{n}. {answer[:1].upper()}{answer[1:]}.", helper=True))
    return Sheet(title, tuple(blocks))


def _lines_of(cells: str) -> Callable[[int], Sequence[str]]:
    return lambda width: [line[i:i + width] for line in cells.split("\n") for i in range(0, len(line), width)]


def key_sheet(stages: Sequence[Stage], upto: Stage | None = None) -> Sheet:
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
            blocks.append(Block(HEADING, heading))
            blocks += [_fact_block(f) for f in facts]
    where = "the whole course" if upto is None else upto.label[:1].lower() + upto.label[1:]
    return Sheet(f"Key to {where}", tuple(blocks))


def week_sheet(name: str, progress: Progress, stages: Sequence[Stage], now: datetime,
               work: Sequence[str] = ()) -> Sheet:
    """A week on one page: for each day what to do, how much is due, and what to sing. `work`: titles of tunes
    that the teacher has set."""
    stage = progress.stage(stages)
    met = {s.evidence.way for s in progress.shown(stage) if s.met}
    wanted = [e.way for e in stage.known if e.way not in met] or [e.way for e in stage.known]
    tasks = {BY_EAR: "Listen, and show with the hand", EAR_TO_VOICE: "Sing higher, lower and the same",
             CELL_TO_NAME: "Read the cells", NAME_TO_CELL: "Write the cells", CELL_TO_VOICE: "Read, then sing",
             VOICE_TO_CELL: "Write what you hear"}
    bars = stage.material.groups
    blocks = [Block(TEXT, stage.aim)]
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
        blocks.append(Block(ITEM, f"{day:%A} {day.day}: {task}{back}"))
    if work:
        blocks.append(Block(TEXT, f"Set by the teacher: {', '.join(work)}."))
    blocks.append(Block(TEXT, f"{number(SITTING_MINUTES).capitalize()} minutes a day. Stop when the voice tires."))
    return Sheet(f"A week for {name}, {stage.label[:1].lower()}{stage.label[1:]}", tuple(blocks))


def stage_drill_sheet(stage: Stage, rng: random.Random, most: int = 20) -> Sheet:
    """The drills of a stage on paper."""
    items = [i for i in new_items(stage, rng, most) if i.wants != "sung" or i.cells]
    return drill_sheet(f"Drills for {stage.label[:1].lower()}{stage.label[1:]}", items)
