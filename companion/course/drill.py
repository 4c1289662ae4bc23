"""Drills: questions made from facts and from tunes, each with what it wants for an answer.

A way is what is asked for what: a cell to its name, a name to its cell, a cell to the voice, a voice to
cells, or by ear alone. Each fact is remembered once for each way (see `recall`). All chance comes from the
`random.Random` that is passed in.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from companion.braille import needs_octave, say_dots, to_ascii, to_dots
from companion.braille import signs as S
from companion.course.facts import VALUE_NAMES, Fact, fact
from companion.course.material import Group, Material, make_group, note_fact
from companion.errors import Trouble
from companion.language.cues import number
from companion.match import move_kind as move_name
from companion.messages import _
from companion.tune import STEPS, Bar, LineNote, Note, Pitch, Tune, direction_of

CELL_TO_NAME, NAME_TO_CELL = "cell to name", "name to cell"
CELL_TO_VOICE, VOICE_TO_CELL = "cell to voice", "voice to cell"
BY_EAR, EAR_TO_VOICE = "by ear", "ear to voice"
WAYS = (BY_EAR, EAR_TO_VOICE, CELL_TO_NAME, NAME_TO_CELL, CELL_TO_VOICE, VOICE_TO_CELL)

#: Each way as it is said to a helper.
WAY_WORDS = {BY_EAR: "Listens and tells", EAR_TO_VOICE: "Hears a note and sings the move",
             CELL_TO_NAME: "Reads a cell and names it", NAME_TO_CELL: "Hears a name and writes the cell",
             CELL_TO_VOICE: "Reads and sings", VOICE_TO_CELL: "Listens and writes the cells"}

#: Kind of drill to its way, in the order in which they are listed.
KINDS: dict[str, str] = {
    "higher or lower": BY_EAR, "sing the move": EAR_TO_VOICE,
    "name the cell": CELL_TO_NAME, "write the cell": NAME_TO_CELL,
    "sing the cell": CELL_TO_VOICE, "write what you hear": VOICE_TO_CELL,
    "read and sing": CELL_TO_VOICE, "the whole tune": CELL_TO_VOICE,
    "which bar": BY_EAR, "how often": BY_EAR, "where it turns": BY_EAR,
    "find the wrong cell": CELL_TO_NAME, "say the octave": CELL_TO_NAME, "mark or no mark": NAME_TO_CELL,
    "how many beats": CELL_TO_NAME,
}
ORDERS = ("up", "down", "up and down", "mixed")
USUAL_COUNT = 6
HIGHER = {"up": "higher", "down": "lower", "level": "same"}


@dataclass(frozen=True)
class Drill:
    """What a stage asks for: a kind, the facts it is about (of the tune's notes if none), order and count."""

    kind: str
    facts: tuple[str, ...] = ()
    order: str = "mixed"
    count: int = USUAL_COUNT

    @property
    def way(self) -> str:
        return KINDS[self.kind]


@dataclass(frozen=True)
class Item:
    """One question.

    ask: what is said to the pupil; `{cells}` shown are in `cells` (Unicode, "" for none).
    wants: "name", "cells", "number", "place", "choice", "direction", "octave", "yes or no" or "sung".
    answer: the right answer in that form; for "sung" the line is the answer.
    first: MIDI number of the note that is sounded first, None for none. played: a line that is sounded.
    sung: the line to be sung. about: the facts it is about; cards: what is remembered by it.
    choices: for "choice", the cells of each. known: the signs that the pupil has met, so that nothing else is
    named in an answer; None for all.
    """

    kind: str
    ask: str
    wants: str
    answer: str
    cells: str = ""
    first: int | None = None
    played: tuple[LineNote, ...] = ()
    sung: tuple[LineNote, ...] = ()
    about: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()
    signs: frozenset[str] = frozenset()
    choices: tuple[str, ...] = ()
    group: Group | None = None
    known: frozenset[str] | None = None

    @property
    def way(self) -> str:
        return KINDS[self.kind]

    @property
    def dots(self) -> str:
        """The cells as said: "dot 5, then 1 4 5"."""
        if self.choices:
            return "; ".join(f"{n}: {say_dots(c)}" for n, c in enumerate(self.choices, 1))
        return "" if "\n" in self.cells else say_dots(self.cells)

    def as_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "way": self.way, "ask": self.ask, "wants": self.wants, "answer": self.answer,
                "cells": self.cells, "dots": to_dots(self.cells), "ascii": to_ascii(self.cells),
                "choices": list(self.choices), "first_midi": self.first,
                "played": [n.pitch.name for n in self.played], "sung": [n.pitch.name for n in self.sung],
                "cards": list(self.cards)}


def note_name(note: LineNote) -> str:
    """ "C", "F sharp"."""
    sign = f" {S.ACCIDENTAL_WORDS[note.pitch.alter]}" if note.pitch.alter else ""
    return f"{note.pitch.step}{sign}"


def said_line(line: Sequence[LineNote]) -> str:
    """A line in words that leave no doubt which C is meant: "C; up to D, E; again E; down to D"."""
    out = [note_name(line[0])] if line else []
    way = ""
    for a, b in itertools.pairwise(line):
        now = direction_of(b.midi - a.midi)
        opening = {"up": "; up to ", "down": "; down to ", "level": "; again "}[now]
        out.append((", " if now == way else opening) + note_name(b))
        way = now
    return "".join(out)


def card(about: str, way: str) -> str:
    """The name of what is remembered: a fact and a way."""
    return f"{about} | {way}"


def line_of(pitches: Sequence[Pitch], base: Fraction = Fraction(1)) -> tuple[LineNote, ...]:
    """Pitches as a line to be sounded or sung, each `base` crotchets long."""
    return Tune("", (Bar(number=1, notes=tuple(Note(pitch=p, base=base) for p in pitches)),),
                phrase_starts=()).line()


def make(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    """The questions of one drill, at most `drill.count`; none where the tune has nothing for this kind.

    Raises Trouble for a kind or order that there is not, or a kind that needs a tune where none is given.
    """
    if drill.kind not in KINDS:
        raise Trouble(_("There is no drill {kind!r}. There are: {KINDS}.").format(
                            kind=drill.kind, KINDS=', '.join(KINDS)))
    if drill.order not in ORDERS:
        raise Trouble(_("There is no order {order!r}. There are: {ORDERS}.").format(
                            order=drill.order, ORDERS=', '.join(ORDERS)))
    if material is None and not drill.facts:
        raise Trouble(_("The drill {kind!r} needs a tune or facts to be made from; name one.").format(
                            kind=drill.kind))
    items = _MAKERS[drill.kind](drill, material, rng)
    return items[:drill.count]


def _ordered(names: Sequence[str], drill: Drill, rng: random.Random) -> list[str]:
    """Names in the drill's order, again and again until there are enough."""
    up = list(names)
    if drill.order == "up":
        return [up[i % len(up)] for i in range(drill.count)]
    if drill.order == "down":
        return [up[::-1][i % len(up)] for i in range(drill.count)]
    if drill.order == "up and down":
        there = [*up, *up[-2::-1]]
        return [there[i % len(there)] for i in range(max(drill.count, 1))]
    out: list[str] = []
    while len(out) < drill.count:
        some = rng.sample(up, len(up))
        if out and len(some) > 1 and some[0] == out[-1]:
            some.append(some.pop(0))  # the same fact twice running tells its answer away
        out += some
    return out[:drill.count]


def _facts(drill: Drill, material: Material | None) -> tuple[str, ...]:
    return drill.facts or (material.note_facts if material else ())


def _placed(drill: Drill, material: Material | None) -> list[Pitch]:
    """Pitches for what is heard: those of the drill's facts ("C", "C, fifth octave"), else the tune's."""
    if not drill.facts:
        return list(material.pitches) if material else []
    out = []
    for name in drill.facts:
        octave = next((n for n, words in enumerate(S.OCTAVE_WORDS) if words in name), 4)
        out.append(Pitch(name[0], octave))
    return out


def _higher_or_lower(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    wanted = (["up", "down", "level"] * drill.count)[:drill.count]
    rng.shuffle(wanted)
    return [i for w in wanted if (i := heard_move(*_pair(pitches, w, rng))) is not None]


def _pair(pitches: Sequence[Pitch], way: str, rng: random.Random) -> tuple[Pitch, Pitch]:
    """Two pitches of which the second lies that way."""
    pairs = [(a, b) for a in pitches for b in pitches if direction_of(b.midi - a.midi) == way]
    return rng.choice(pairs) if pairs else (pitches[0], pitches[0])


def heard_move(a: Pitch, b: Pitch) -> Item:
    """Two notes are sounded: is the second higher, lower or the same?"""
    way = direction_of(b.midi - a.midi)
    return Item("higher or lower", "Listen to two notes. Is the second one higher, lower or the same?",
                "direction", HIGHER[way], played=line_of([a, b]), about=(move_name(b.midi - a.midi),),
                cards=(card(move_name(b.midi - a.midi), BY_EAR),))


def _sing_move(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    wanted = (["up", "down", "level"] * drill.count)[:drill.count]
    rng.shuffle(wanted)
    return [sung_move(*_pair(pitches, w, rng)) for w in wanted]


def sung_move(a: Pitch, b: Pitch) -> Item:
    """A note is sounded: sing it, then a higher, a lower or the same one."""
    way = direction_of(b.midi - a.midi)
    then = {"up": "a higher one", "down": "a lower one", "level": "the same one again"}[way]
    return Item("sing the move", f"Here is a note. Sing it, then {then}.", "sung", HIGHER[way], first=a.midi,
                sung=line_of([a, b]), about=(move_name(b.midi - a.midi),),
                cards=(card(move_name(b.midi - a.midi), EAR_TO_VOICE),))


def _name_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [name_cell(fact(n)) for n in _ordered(_facts(drill, material), drill, rng)]


def name_cell(f: Fact) -> Item:
    """A cell is shown: which note, or what does it say?"""
    ask = "Which note is this?" if f.kind == "note" and len(f.name) == 1 else \
        "Which note is this, and how long?" if f.kind == "note" else \
        "Which note is this, and in which octave?" if f.kind == "placed note" else "What does this say?"
    return Item("name the cell", ask, "name", f.name, cells=f.cells, about=(f.name,),
                cards=(card(f.name, CELL_TO_NAME),), signs=f.signs)


def _write_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [write_cell(fact(n)) for n in _ordered(_facts(drill, material), drill, rng)]


def write_cell(f: Fact) -> Item:
    """A name is said: write its cell."""
    return Item("write the cell", f"Write {asked(f)}.", "cells", f.cells, about=(f.name,),
                cards=(card(f.name, NAME_TO_CELL),), signs=f.signs)


def asked(f: Fact) -> str:
    """A fact as it is asked for: "the note C", "C as a crotchet", "the sign for sharp"."""
    if f.kind == "note":
        value = f.name[2:]
        return f"{f.name[0]} as a {value}" if value else f"the note {f.name}"
    if f.kind == "placed note":
        return f"{f.name}, with its octave mark"
    if f.kind == "rest":
        return f"a {f.name}"
    if f.kind == "key":
        return f"a key with {f.name}"
    if f.kind == "time":
        _, upper, lower = f.name.split()
        return f"the time signature {upper} {lower}"
    return f"the sign for {f.name}"


def _sing_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    names = [n for n in _facts(drill, material) if fact(n).kind in ("note", "placed note")]
    places = dict(zip(names, _placed(replace(drill, facts=tuple(names)), None), strict=True))
    out = []
    before: str | None = None
    for name in _ordered(names, drill, rng):
        start = before if before is not None and before != name else rng.choice([n for n in names if n != name]
                                                                               or names)
        out.append(sing_cell(start, name, places[start], places[name]))
        before = name
    return out


def sing_cell(start: str, name: str, a: Pitch, b: Pitch) -> Item:
    """Two cells are shown, the first note is sounded: sing both."""
    first, second = fact(start), fact(name)
    cells = first.cells + second.cells
    if second.kind == "placed note" and not needs_octave(a, b):
        cells = first.cells + second.cells[len(S.OCTAVES[b.octave]):]  # a mark only where the rule wants one
    return Item("sing the cell", "Read two notes. You hear the first. Then sing both.", "sung", name, cells=cells,
                first=a.midi, sung=line_of([a, b]), about=(name,),
                cards=(card(name, CELL_TO_VOICE), card(move_name(b.midi - a.midi), CELL_TO_VOICE)),
                signs=first.signs | second.signs)


def _groups(material: Material | None, least: int = 2) -> list[Group]:
    """The bars of a tune with at least so many notes, each different one once."""
    if material is None:
        raise Trouble(_("This drill is made from a tune; name one with --tune."))
    seen: dict[str, Group] = {}
    for g in material.groups:
        if len(g.line) >= least:
            seen.setdefault(g.cells, g)
    return list(seen.values())


def _cycle(groups: Sequence[Group], drill: Drill, rng: random.Random) -> list[Group]:
    if not groups:
        return []
    if drill.order == "mixed":
        return list(itertools.islice(itertools.cycle(rng.sample(groups, len(groups))), drill.count))
    some = list(groups) if drill.order != "down" else list(groups)[::-1]
    return list(itertools.islice(itertools.cycle(some), drill.count))


def _read_and_sing(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [read_and_sing(g) for g in _cycle(_groups(material), drill, rng)]


def read_and_sing(g: Group) -> Item:
    """A bar is read silently; its first note is sounded, then it is sung."""
    return Item("read and sing", f"Read these {number(len(g.line))} notes in silence. You hear the first. "
                "Then sing them.", "sung", g.said, cells=g.cells, first=g.line[0].midi, sung=g.line,
                about=(g.name,), cards=(card(g.name, CELL_TO_VOICE),), signs=g.signs, group=g)


def _whole(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    if material is None:
        raise Trouble(_("This drill is made from a tune; name one with --tune."))
    return [whole_tune(material)] * drill.count


def whole_tune(material: Material) -> Item:
    """A whole tune is read from its sheet, then sung with nothing sounded but its first note."""
    line = material.shown.line()
    return Item("the whole tune", f"Take the sheet of {material.tune.title}. Read it in silence. You hear the "
                "first note. Then sing it all.", "sung", material.tune.title, cells="\n".join(material.lines()),
                first=line[0].midi, sung=line, about=(material.name,),
                cards=(card(f"{material.name} whole", CELL_TO_VOICE),), signs=material.signs)


def heard_tune(material: Material, by_ear: bool = False) -> Item:
    """Not a question: the tune of a stage, to be sounded. by_ear: nobody knows names of notes yet."""
    return Item("tune", "", "", "", played=material.tune.line(), known=frozenset() if by_ear else None)


def _take_down(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    return [Item("write what you hear", f"Listen, then write what you hear. The first note is "
                 f"{first_of(g)}.", "cells", g.cells, first=g.line[0].midi, played=g.line, about=(g.name,),
                 cards=(card(g.name, VOICE_TO_CELL),), signs=g.signs, group=g)
            for g in _cycle(_groups(material), drill, rng)]


def first_of(g: Group) -> str:
    """The first note of a bar in words, with its octave where the bar shows one."""
    p = g.line[0].pitch
    sign = f" {S.ACCIDENTAL_WORDS[p.alter]}" if p.alter else ""
    marked = S.OCTAVE_WORDS[p.octave] in g.signs
    return f"{p.step}{sign}" + (f", {S.OCTAVE_WORDS[p.octave]}" if marked else "")


def _which_bar(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    groups = _groups(material)
    out = []
    for g in _cycle(groups, drill, rng) if len(groups) > 1 else []:
        # The other bar is the one most like it that sounds different.
        others = [o for o in groups if _sounds(o) != _sounds(g)]
        if not others:
            continue
        other = min(others, key=lambda o: (abs(len(o.line) - len(g.line)), rng.random()))
        pair = [g, other]
        rng.shuffle(pair)
        out.append(Item("which bar", "Read both. Then listen: which one do you hear, one or two?", "choice",
                        str(pair.index(g) + 1), played=g.line, about=(g.name,), cards=(card(g.name, BY_EAR),),
                        signs=g.signs | other.signs, choices=(pair[0].cells, pair[1].cells), group=g))
    return out


def _sounds(g: Group) -> list[tuple[int, Fraction]]:
    return [(n.midi, n.quarters) for n in g.line]


def _how_often(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    out = []
    for g in _cycle(_groups(material, 3), drill, rng):
        note = rng.choice(g.line)
        count = sum(n.midi == note.midi for n in g.line)
        sign = f" {S.ACCIDENTAL_WORDS[note.pitch.alter]}" if note.pitch.alter else ""
        out.append(Item("how often", f"First you hear {note.pitch.step}{sign} alone, then a row. How often "
                        "does it come in the row?", "number", str(count), first=note.midi, played=g.line,
                        about=(g.name,), cards=(card("counting a note", BY_EAR),),
                        signs=frozenset({note.pitch.step}), group=g))
    return out


def _where_it_turns(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    out = []
    for _unused in range(drill.count if len(pitches) > 2 else 0):
        up = rng.random() < 0.5
        row = pitches if up else pitches[::-1]
        top = rng.randint(1, min(len(row) - 1, 4))
        start = rng.randint(0, len(row) - 1 - top)
        there = row[start:start + top + 1]
        back = there[-2::-1][:rng.randint(1, max(1, min(top, 3)))]
        line = line_of([*there, *back])
        out.append(Item("where it turns", "Listen to a row. On which note does the voice turn round? Count from "
                        "one.", "place", str(top + 1), played=line, about=("where it turns",),
                        cards=(card("where it turns", BY_EAR),)))
    return out


def _wrong_cell(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    out = []
    for g in _cycle(_groups(material, 3), drill, rng):
        assert material is not None
        spoilt = spoil(g, material, rng)
        if spoilt is None:
            continue
        cells, place = spoilt
        out.append(Item("find the wrong cell", "Listen and follow with the finger. One note is written wrong. "
                        "Which one? Count only the notes, from one.", "place", str(place), cells=cells, played=g.line,
                        about=(g.name,), cards=(card(g.name, CELL_TO_NAME),), signs=g.signs, group=g))
    return out


def spoil(g: Group, material: Material, rng: random.Random) -> tuple[str, int] | None:
    """The cells of a bar with one note a step off, and which note (from 1); None where none can be."""
    places = [i for i, n in enumerate(g.notes) if n.pitch and not n.grace and not n.tie]
    rng.shuffle(places)
    for i in places:
        pitch = g.notes[i].pitch
        assert pitch is not None
        near = [p for p in material.pitches if abs(p.diatonic - pitch.diatonic) == 1 and p.octave == pitch.octave]
        rng.shuffle(near)
        for p in near:
            bars = list(material.shown.bars)
            notes = list(bars[g.index].notes)
            notes[i] = replace(notes[i], pitch=p)
            bars[g.index] = replace(bars[g.index], notes=tuple(notes))
            other = make_group(g.name, replace(material.shown, bars=tuple(bars)), g.index, material.leave_out)
            if other.signs <= g.signs | {p.step} and other.cells != g.cells:
                return other.cells, 1 + sum(n.pitch is not None and not n.grace for n in g.notes[:i])
    return None


def _say_octave(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    names = [n for n in drill.facts if fact(n).kind == "placed note"]
    if not names and material is not None:
        names = [f"{p.step}, {S.OCTAVE_WORDS[p.octave]}" for p in material.pitches if not p.alter]
    return [say_octave(fact(n)) for n in _ordered(names, drill, rng)]


def say_octave(f: Fact) -> Item:
    octave = f.name.split(", ")[1]
    return Item("say the octave", "In which octave is this note?", "octave", octave, cells=f.cells,
                about=(octave,), cards=(card(octave, CELL_TO_NAME),), signs=f.signs)


def _mark(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    pitches = _placed(drill, material)
    pairs = [(a, b) for a in pitches for b in pitches if abs(a.diatonic - b.diatonic) >= 2]
    yes = [p for p in pairs if needs_octave(*p)]
    no = [p for p in pairs if not needs_octave(*p)]
    rng.shuffle(yes)
    rng.shuffle(no)
    some = [p for pair in itertools.zip_longest(yes, no) for p in pair if p is not None][:drill.count]
    rng.shuffle(some)
    return [Item("mark or no mark", f"From {said_pitch(a)}, to {said_pitch(b)}. Does the second note need an "
                 "octave mark, yes or no?", "yes or no", "yes" if needs_octave(a, b) else "no",
                 about=("when to mark",), played=line_of([a, b]), cards=(card("when to mark", NAME_TO_CELL),),
                 signs=frozenset({a.step, b.step, S.OCTAVE_WORDS[a.octave], S.OCTAVE_WORDS[b.octave]}))
            for a, b in some]


def said_pitch(p: Pitch) -> str:
    """ "C, fourth octave"."""
    sign = f" {S.ACCIDENTAL_WORDS[p.alter]}" if p.alter else ""
    return f"{p.step}{sign}, {S.OCTAVE_WORDS[p.octave]}"


def _beats(drill: Drill, material: Material | None, rng: random.Random) -> list[Item]:
    if drill.facts:
        return [beats_of(fact(n)) for n in _ordered(drill.facts, drill, rng)]
    return [Item("how many beats", "How many crotchets long is this bar?", "number", plain_number(g.quarters),
                 cells=g.cells, about=(g.name,), cards=(card("counting beats", CELL_TO_NAME),), signs=g.signs,
                 group=g)
            for g in _cycle(_groups(material, 1), drill, rng)]


def beats_of(f: Fact) -> Item:
    """How many crotchets long a note or rest is."""
    value = next((VALUE_NAMES[v] for v in VALUE_NAMES if v in f.name.split()), Fraction(1, 2))
    if "dotted" in f.name:
        value = value * Fraction(3, 2)
    what = "rest" if f.kind == "rest" else "note"
    return Item("how many beats", f"How many crotchets long is this {what}?", "number", plain_number(float(value)),
                cells=f.cells, about=(f.name,), cards=(card(f"length of {f.name}", CELL_TO_NAME),), signs=f.signs)


def plain_number(n: float) -> str:
    """ "2", "1.5", "0.5"."""
    return f"{n:g}"


_MAKERS: dict[str, Callable[[Drill, Material | None, random.Random], list[Item]]] = {
    "higher or lower": _higher_or_lower, "sing the move": _sing_move, "name the cell": _name_cell,
    "write the cell": _write_cell, "sing the cell": _sing_cell, "write what you hear": _take_down,
    "read and sing": _read_and_sing, "the whole tune": _whole, "which bar": _which_bar, "how often": _how_often,
    "where it turns": _where_it_turns, "find the wrong cell": _wrong_cell, "say the octave": _say_octave,
    "mark or no mark": _mark, "how many beats": _beats,
}

__all__ = ["BY_EAR", "CELL_TO_NAME", "CELL_TO_VOICE", "EAR_TO_VOICE", "KINDS", "NAME_TO_CELL", "ORDERS", "STEPS",
           "VOICE_TO_CELL", "WAYS", "Drill", "Item", "card", "make", "note_fact"]
