"""Bars of cells to bars of notes, one after the other, with what a proof-reader would say to them.

Nothing here raises, whatever the cells. The octave comes back by the rule that left its marks out (MBC 2015,
3.2.2): a note without one lies within a second or third, or within a fourth or fifth in the same octave.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Any

from companion.braille import signs as S
from companion.braille.groups import (
    BAR_NUMBER,
    GROUPS,
    METRONOME_MARK,
    REPEAT,
    RESTS,
    SPECIAL,
    read_digits,
    read_group,
    read_metronome,
    read_signature,
    split_is_bars,
)
from companion.braille.model import ProblemCode, Slip
from companion.braille.rhythm import BASES, UNITS, beat, capacity, read_bar
from companion.braille.signs import WHOLE_REST
from companion.braille.units import Unit, direction, read_expression, shape_of, split, unit
from companion.tune import (
    STEPS,
    Bar,
    Barline,
    DirectionKind,
    Display,
    Key,
    Mark,
    Note,
    Pitch,
    ScoreDirection,
    Time,
    Tuplet,
)

MOST_BARS = 20_000  # a repeat sign with a great number must not fill the memory
#: Values of grace notes by row: they have no time of their own, so the commonest value of each row is meant.
GRACE_BASES = (Fraction(1, 4), Fraction(1, 8), Fraction(1), Fraction(1, 2), Fraction(8))

_Key = tuple[int, int, int, int, bool, Display]  # Pitch.diatonic, alter, value, dots, tie, accidental
_note_cache: dict[_Key, Note] = {}
_NONE = range(0)


def _plain_note(key: _Key) -> Note:
    """Notes are frozen, so that equal ones can be one object; making them is what reading spends its time on."""
    if len(_note_cache) > 50_000:
        _note_cache.clear()
    place, alter, value, dots, tie, accidental = key
    pitch = Pitch(STEPS[place % 7], place // 7, alter) if place >= 0 else None
    note = Note(pitch=pitch, base=BASES[value], dots=dots, tie=tie,
                accidental=accidental)
    _note_cache[key] = note
    return note


class BarRead:
    """A bar under way. Most bars have only notes: the rest are defaults of the class."""

    key: Key | None = None
    time: Time | None = None
    forward = backward = complete = False
    ending: tuple[int, ...] = ()
    barline = Barline.PLAIN
    after: tuple[ScoreDirection, ...] = ()
    total: Fraction | int = 0

    def __init__(self, at: int, full: int, lower: int) -> None:
        self.at, self.full, self.lower = at, full, lower
        self.notes: list[Note] = []


@lru_cache(maxsize=16)
def _key_alter(fifths: int) -> tuple[int, ...]:
    key = Key(fifths)
    return tuple(key.alter(step) for step in STEPS)


#: Bars that were read before: (cells, note before, key, time) to the bar, its last note, and whether that is tied.
_bar_cache: dict[tuple[str, int, int, int, int], tuple[BarRead, int | None, tuple[int, int] | None]] = {}


class Reader:
    def __init__(self, pitch_only: bool, vocal: bool) -> None:
        self.pitch_only, self.vocal = pitch_only, vocal
        self.bars: list[BarRead] = []
        self.problems: list[tuple[int, Slip]] = []  # offsets in the whole text
        #: Bars as cells: (bar index, units, where each group of them begins, which of them stand at a part
        #: repeat), for places and words on demand.
        self.written: list[tuple[int, list[str], list[tuple[int, int]], range]] = []
        self.again = _NONE
        self.others: list[tuple[int, str]] = []  # signs that are no unit of a bar: (offset, cells)
        self.repeated: list[tuple[int, int, int]] = []  # bars that repeat signs stand for: bar index, offset, cells
        self.singing: list[tuple[int, int]] = []  # (bar, note) where a syllable may begin
        self.key = Key(0)
        self.new_key: Key | None = None
        self.set_time(None)
        self.new_time: Time | None = None
        self.first_number: int | None = None
        self.units: list[Unit] = []
        self.cells: list[str] = []
        self.groups: list[tuple[int, int]] = []  # (index of its first unit, offset)
        self.starts: list[int] = []  # offset of every unit, when first asked for
        self.repeats: list[tuple[int, int]] = []  # part-bar repeats: (index in units, offset)
        self.line_starts: list[int] = []
        self.before: int | None = None  # the note before, as Pitch.diatonic
        self.tied: tuple[int, int] | None = None
        self.chain = False  # under a short slur
        self.doubled = 0  # under a doubled slur: 1, and 2 where the next note ends it
        self.held = 0  # long slurs open
        self.running: set[Mark] = set()  # marks that a doubled sign has set going
        self.pending: list[ScoreDirection] = []
        self.due: ProblemCode | None = ProblemCode.MARK_FOR_FIRST_NOTE

    def set_time(self, time: Time | None) -> None:
        self.time = time
        self.full, self.beat = capacity(time), beat(time)
        self.lower = time.lower if time else 4

    def offset(self, index: int) -> int:
        """Where the unit of this index in the bar under way begins."""
        if len(self.starts) != len(self.cells):
            self.starts = starts_of(self.cells, self.groups)
        return self.starts[index]

    # --- groups of cells --------------------------------------------------------------------------------------

    def music(self, text: str, base: int) -> None:
        """Read lines of music, joined by line feeds. base: where the text begins in the whole."""
        for match in GROUPS.finditer(text):
            group, at = match[0], match.start()
            if at == 0 or text[at - 1] == "\n":
                self.line_starts.append(len(self.units))
            hyphen = group[-1] == S.HYPHEN
            if hyphen:
                self.others.append((at + base + len(group) - 1, S.HYPHEN))
                group = group[:-1]
                if not group:
                    continue
            repeat = S.BAR_REPEAT in group
            if (repeat or group[0] in SPECIAL) and self._special(group, at + base):
                continue
            if repeat:
                self._with_repeats(split(group), at + base)
            elif hyphen or self.units or self.repeats:
                self.groups.append((len(self.units), at + base))
                cells, units, _, _ = read_group(group)
                self.cells += cells
                self.units += units
            else:
                self._one_group(group, at + base)
                continue
            if not hyphen:
                self._end_bar()

    def _one_group(self, group: str, at: int) -> None:
        """A bar that is one group of cells, as most are."""
        self.cells, self.units, plain, shape = read_group(group)
        self.groups = [(0, at)]
        # Nothing reaches into the bar but the note before: then the same cells are the same bar as ever.
        if not (plain and (not (self.due or self.line_starts) or self.units[0].octave is not None) and self.before is not None
                and self.tied is None and not self.vocal and not self.pitch_only and self._at_rest()):
            self._end_bar(plain, shape)
            return
        key = (group, self.before, self.key.fifths, self.full, self.beat)
        known = _bar_cache.get(key)
        if known is None:
            problems = len(self.problems)
            self._end_bar(plain, shape)
            if len(self.problems) == problems:
                if len(_bar_cache) > 20_000:
                    _bar_cache.clear()
                _bar_cache[key] = (self.bars[-1], self.before, self.tied)
            return
        model, self.before, self.tied = known
        bar = self._open(at)
        bar.notes, bar.total, bar.complete = model.notes, model.total, model.complete
        self.written.append((len(self.bars) - 1, self.cells, self.groups, _NONE))
        self.due = None
        self.units, self.cells, self.groups, self.line_starts = [], [], [], []

    def _at_rest(self) -> bool:
        """Whether nothing that began earlier (a slur, a run of marks, words) waits for the next note."""
        return not (self.running or self.pending or self.doubled or self.chain or self.held)

    def _with_repeats(self, pieces: list[str], at: int) -> None:
        """A group with part-bar repeats in it."""
        for piece in pieces:
            if piece == S.BAR_REPEAT and self.units:
                self.repeats.append((len(self.units), at))
                self.others.append((at, piece))
            else:
                self.groups.append((len(self.units), at))
                self.units.append(unit(piece))
                self.cells.append(piece)
            at += len(piece)

    def _special(self, group: str, at: int) -> bool:
        """Groups that are no notes: signatures, numbers, bar repeats, rests of several bars, expressions."""
        first = group[0]
        if first == S.WORD and group[-1] == S.WORD and len(group) > 2:
            text = " ".join(read_expression(part) for part in re.split(f"[{S.SPACE}\n]", group[1:-1]))
            said = direction(text)
            if said.kind is DirectionKind.JUMP and self.bars and not self.units:
                self.bars[-1].after += (said,)  # where to go is said at the end of a bar
            elif self.units:
                # Within a bar: it waits among the notes for the one that comes next.
                self.groups.append((len(self.units), at))
                self.units.append(said_unit(said))
                self.cells.append(group)
                return True
            else:
                self.pending.append(said)
            self._reset(ProblemCode.MARK_AFTER_WORDS)
            self.others.append((at, group))
            return True
        if first == S.BAR_REPEAT:
            match = REPEAT.fullmatch(group)
            if match and not self.units and (match["times"] or match["tail"] == "" or match["tail"][0] != S.BAR_REPEAT):
                self._repeat(match, at)
                return True
            return False
        if first in (S.NUMBER, WHOLE_REST) and not self.units:
            match = RESTS.fullmatch(group)
            if match and all(split_is_bars(match["tail"])):
                few = match["few"]
                full = self.full
                if not (few and full == len(few) * 4 * UNITS):
                    self._rests(match, at)
                    return True
        if first == S.NUMBER and self.line_starts and (match := BAR_NUMBER.fullmatch(group)):
            self.others.append((at, group))
            if not self.bars and not self.units:
                self.first_number = read_digits(match["number"])
            return True
        if (found := read_signature(group)) is not None:
            key, time = found
            if key is not None:
                self.key = self.new_key = key
            if time is not None and not self.pitch_only:
                self.new_time = time
                self.set_time(time)
            self.others.append((at, group))
            self._reset(ProblemCode.MARK_AFTER_SIGNATURE)
            return True
        if match := METRONOME_MARK.fullmatch(group):
            self.pending.append(read_metronome(match))
            self.others.append((at, group))
            return True
        return False

    def _reset(self, reason: ProblemCode) -> None:
        self.due = reason

    def _open(self, at: int) -> BarRead:
        bar = BarRead(at, self.full, self.lower)
        if self.new_key is not None or self.new_time is not None:
            bar.key, bar.time, self.new_key, self.new_time = self.new_key, self.new_time, None, None
        self.bars.append(bar)
        return bar

    def _repeat(self, match: re.Match[str], at: int) -> None:
        if not self.bars:
            self.problems.append((at, Slip(ProblemCode.REPEAT_WITHOUT_BAR)))
            return
        times = read_digits(match["times"]) if match["times"] else 1
        source = self.bars[-1]
        length = match.end() - len(match["tail"]) if match["tail"] else len(match[0])
        if match["times"]:
            self.due = ProblemCode.MARK_AFTER_NUMBERED_REPEAT
        self.others.append((at, match[0][:length]))
        for _ in range(min(times, MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = list(source.notes)
            bar.total, bar.complete = source.total, True  # what is amiss in it is said once
            self.repeated.append((len(self.bars) - 1, at, length))
        self.line_starts.clear()
        if match["tail"]:
            offset = at + len(match[0]) - len(match["tail"])
            for piece in split(match["tail"]):
                u = unit(piece)
                self._bar_signs(self.bars[-1], u)
                self.problems += [(offset + o, slip) for o, slip in u.problems]
                if u.kind:
                    self.problems.append((offset, Slip(ProblemCode.NOTE_RUNS_INTO_REPEAT)))
                self.others.append((offset, piece))
                offset += len(piece)

    def _rests(self, match: re.Match[str], at: int) -> None:
        count = len(match["few"]) if match["few"] else read_digits(match["many"])
        for n in range(min(count, MOST_BARS - len(self.bars))):
            bar = self._open(at)
            bar.notes = [Note(pitch=None, base=Fraction(4), whole_bar=True,
                              before=tuple(self.pending) if n == 0 else ())]
            bar.complete = True
            place = at + n if match["few"] else at
            self.repeated.append((len(self.bars) - 1, place, 1 if match["few"] else len(match[0])))
        self.pending.clear()
        self.line_starts.clear()
        self.tied = None
        self.others.append((at, match[0][:len(match[0]) - len(match["tail"])]))
        offset = at + len(match[0]) - len(match["tail"])
        for piece in split(match["tail"]):
            self._bar_signs(self.bars[-1], unit(piece))
            self.others.append((offset, piece))
            offset += len(piece)

    def _bar_signs(self, bar: BarRead, u: Unit) -> None:
        if u.forward:
            bar.forward = True
        if u.ending:
            bar.ending = u.ending
        if u.backward:
            bar.backward = True
            self._reset(ProblemCode.MARK_AFTER_REPEAT_SIGN)
        if u.barline:
            bar.barline = u.barline
            self._reset(ProblemCode.MARK_AFTER_DOUBLE_BAR)

    # --- a bar of notes ---------------------------------------------------------------------------------------

    def _end_bar(self, plain: bool | None = None, shape: tuple[int, ...] = ()) -> None:
        if self.repeats:
            self._part_repeats()
        units, cells = self.units, self.cells
        bar = self._open(self.groups[0][1] if self.groups else 0)
        bar_index = len(self.bars) - 1
        self.written.append((bar_index, cells, self.groups, self.again))
        self.again = _NONE
        if plain is None:
            plain, shape = all(u.plain for u in units), shape_of(units)
        if self.pitch_only:
            values: Sequence[Any] = [(3, 0, None)] * len(units)
        else:
            values, total = read_bar(shape, self.full, self.beat)
            bar.total, bar.complete = total, total == self.full
        if plain and not self.vocal and len(self.line_starts) <= 1 and self._at_rest():
            self._plain_bar(bar, values)
        else:
            self._rich_bar(bar, bar_index, values)
        self.units, self.cells, self.groups, self.starts = [], [], [], []
        if self.line_starts:
            self.line_starts = []

    def _plain_bar(self, bar: BarRead, values: Sequence[Any]) -> None:
        """Notes with pitch and value alone, which most bars are made of."""
        append, known = bar.notes.append, _note_cache.get
        first = True
        key_alter = _key_alter(self.key.fifths)
        in_force: dict[int, int] = {}
        before, held = self.before, self.tied
        if self.line_starts and not self.due:
            self.due = ProblemCode.MARK_FOR_LINE
        for u, (base, dots, tuplet) in zip(self.units, values, strict=False):
            index, octave, sign = u.index, u.octave, u.alter
            if u.kind == "rest":
                whole = u.row == 0 and dots == 0 and tuplet is None and len(self.units) == 1
                if whole:
                    base, bar.complete = 0, True
                held = None
                if whole or tuplet is not None:
                    append(Note(pitch=None, base=BASES[base], dots=dots, whole_bar=whole,
                                tuplet=Tuplet(*tuplet) if tuplet else None))
                else:
                    key = (-1, 0, base, dots, False, Display.NEEDED)
                    append(_note_cache.get(key) or _plain_note(key))
                continue
            if octave is None:
                if before is None or self.due:
                    octave = self._octave(index, before, self.offset(self.units.index(u)))
                else:
                    octave, last = divmod(before, 7)
                    if index - last > 4:
                        octave -= 1
                    elif last - index > 4:
                        octave += 1
                    if not 0 <= octave <= 8:
                        octave = self._octave(index, before, self.offset(self.units.index(u)))
            if first:
                self.due, first = None, False
            place = before = 7 * octave + index
            accidental = Display.NEEDED
            if held is not None:
                if held[0] != place:
                    self._no_tie(self.offset(self.units.index(u)))
                    held = None
                elif sign is not None and sign != held[1]:
                    held = None  # another pitch by its own sign
            current = held[1] if held is not None else in_force[place] if place in in_force else key_alter[index]
            if sign is None:
                alter = current
            else:
                alter = sign
                if sign == current:
                    accidental = Display.SHOWN
                if held is None:
                    in_force[place] = sign
            tie = u.tie
            if tuplet is None:
                key = (place, alter, base, dots, tie, accidental)
                append(known(key) or _plain_note(key))
            else:
                append(Note(pitch=Pitch(u.step, octave, alter), base=BASES[base], dots=dots, tie=tie,
                            tuplet=Tuplet(*tuplet), accidental=accidental))
            held = (place, alter) if tie else None
        self.before, self.tied = before, held

    def _octave(self, index: int, before: int | None, at: int) -> int:
        """The octave of a note without a mark."""
        if self.due:
            self.problems.append((at, Slip(self.due)))
        if before is None:
            return 4
        octave, last = divmod(before, 7)
        if index - last > 4:
            octave -= 1
        elif last - index > 4:
            octave += 1
        if not 0 <= octave <= 8:
            self.problems.append((at, Slip(ProblemCode.OUTSIDE_OCTAVES)))
        return min(8, max(0, octave))

    def _no_tie(self, at: int) -> None:
        self.problems.append((at, Slip(ProblemCode.TIE_TO_ANOTHER_PITCH)))

    def _rich_bar(self, bar: BarRead, bar_index: int, values: Sequence[Any]) -> None:
        """Notes and rests with all that can stand at them."""
        units = self.units
        key_alter = _key_alter(self.key.fifths)
        in_force: dict[int, int] = {}
        starts = self.line_starts
        self.alone = sum(1 for u in units if u.kind) == 1
        k = 0
        for i, u in enumerate(units):
            if i in starts and u.kind != "rest":
                if u.kind or i + 1 == len(units):
                    self.due = self.due or ProblemCode.MARK_FOR_LINE
                else:
                    starts.append(i + 1)
            if u.kind == "rest":
                k = self._rest(u, values, k, bar, i)
                continue
            if u.kind == "":
                self._signs_alone(u, bar, i)
                continue
            if u.reset and (u.before or u.ending or u.forward):
                self.due = self.due or ProblemCode.MARK_AFTER_LEAD
            octave = u.octave
            if octave is None:
                octave = self._octave(u.index, self.before, self.offset(i))
            self.due = None
            place = 7 * octave + u.index
            accidental = Display.NEEDED
            held = self.tied
            if held is not None and held[0] != place:
                self._no_tie(self.offset(i))
                held = None
            if held is not None and u.alter not in (None, held[1]):
                held = None  # another pitch by its own sign
            current = held[1] if held is not None else in_force.get(place, key_alter[u.index])
            alter = current if u.alter is None else u.alter
            if u.alter == current:
                accidental = Display.SHOWN
            if held is None:
                in_force[place] = alter
            if u.editorial:
                accidental = Display.EDITORIAL
            self.before = place
            k = self._note(u, values, k, bar, bar_index, i, Pitch(u.step, octave, alter), accidental,
                           held is not None)
            self.tied = (place, alter) if u.tie else self.tied if u.grace else None
        if self.pending and bar.notes:
            bar.after += tuple(self.pending)
            self.pending = []

    def _value(self, u: Unit, values: Sequence[Any], k: int) -> tuple[Fraction, int, Any, int]:
        if u.grace:
            return GRACE_BASES[u.row], 0, None, k
        base, dots, tuplet = values[k]
        return BASES[base], dots, Tuplet(*tuplet) if tuplet else None, k + 1

    def _rest(self, u: Unit, values: Sequence[Any], k: int, bar: BarRead, i: int) -> int:
        base, dots, tuplet, k = self._value(u, values, k)
        self._own_problems(u, i)
        self._bar_signs(bar, u)
        whole = self.alone and u.row == 0 and not (u.dots or u.size or tuplet)
        if whole:
            base, bar.complete = Fraction(4), True
        self.tied = None
        bar.notes.append(Note(pitch=None, base=base, dots=dots, tuplet=tuplet, whole_bar=whole, marks=u.after,
                              before=(*self.pending, *u.before)))
        self.pending = []
        if u.before:
            self.due = self.due or ProblemCode.MARK_AFTER_WORDS
        return k

    def _own_problems(self, u: Unit, i: int) -> None:
        if u.problems:
            at = self.offset(i)
            self.problems += [(at + o, slip) for o, slip in u.problems]

    def _signs_alone(self, u: Unit, bar: BarRead, i: int) -> None:
        self._own_problems(u, i)
        self._bar_signs(bar, u)
        if u.before:
            self.pending += u.before
            self.due = self.due or ProblemCode.MARK_AFTER_WORDS

    def _note(self, u: Unit, values: Sequence[Any], k: int, bar: BarRead, index: int, i: int, pitch: Pitch,
              accidental: Display, held: bool) -> int:
        """A note with more to it than pitch and value."""
        base, dots, tuplet, k = self._value(u, values, k)
        self._own_problems(u, i)
        starts, stops = u.slur_opens, u.slur_closes
        under = self.chain or self.held > 0 or self.doubled > 0
        if stops > self.held:
            if not u.slur_opens or stops > self.held + u.slur_opens:
                self.problems.append((self.offset(i), Slip(ProblemCode.SLUR_NEVER_BEGAN)))
            stops = min(stops, self.held)
        if not u.grace:
            self.held += starts - stops
            if self.doubled == 2:
                stops, self.doubled = stops + 1, 0
            if u.slur >= 2 and not self.chain:
                starts, self.doubled = starts + 1, 1
            elif self.doubled == 1 and u.slur == 1:
                self.doubled = 2
            elif u.slur and not self.chain:
                starts, self.chain = starts + 1, True
            elif not u.slur and self.chain:
                stops, self.chain = stops + 1, False
        marks = list(dict.fromkeys(u.marks))
        if not u.grace:
            # A sign doubled goes on to the note where it stands once more.
            going = [m for m in Mark if m in self.running and m not in marks]
            for mark in marks:
                if u.marks.count(mark) > 1:
                    self.running.add(mark)
                else:
                    self.running.discard(mark)
            marks += going
        note = Note(pitch=pitch, base=base, dots=dots, tuplet=tuplet, grace=u.grace, tie=u.tie,
                    accidental=accidental, slur_starts=starts, slur_stops=stops, marks=(*marks, *u.after),
                    before=(*self.pending, *u.before))
        self.pending = []
        if not u.grace and not held and not (under and not starts):
            self.singing.append((index, len(bar.notes)))
        bar.notes.append(note)
        self._bar_signs(bar, u)
        return k

    def _part_repeats(self) -> None:
        """A bar repeat within a bar: the part before it again, of such a length that the bar comes out full."""
        full = self.full
        where = self.repeats
        self.repeats = []
        first = where[0][0]
        if any(index != first for index, _ in where):
            # Signs in several places: each stands for the same stretch as the one before it; not searched.
            self.problems.append((where[1][1], Slip(ProblemCode.SEVERAL_PART_REPEATS)))
        count = sum(index == first for index, _ in where)
        head, rest = self.units[:first], self.units[first:]
        best = len(head) // 2 or len(head)
        for length in range(1, len(head) + 1):
            trial = head + head[-length:] * count + rest
            if len(trial) <= 96 and read_bar(shape_of(trial), full, self.beat)[1] == full:
                best = length
                break
        else:
            self.problems.append((where[0][1], Slip(ProblemCode.PART_REPEAT_UNCLEAR)))
        again = self.cells[first - best:first] * count
        self.units[first:first] = [unit(c) for c in again]
        self.cells[first:first] = again
        # All that is repeated stands at the sign; what follows it keeps its place.
        shift = len(again)
        self.again = range(first, first + shift)
        moved = [(i + shift, at) for i, at in self.groups if i >= first]
        if len(head) + shift < len(self.units) and not any(i == first + shift for i, _ in moved):
            moved.insert(0, (first + shift, where[-1][1] + 1))
        self.groups = [g for g in self.groups if g[0] < first] + [
            (first + n, where[n * count // shift][1]) for n in range(shift)] + moved

    # --- the end ----------------------------------------------------------------------------------------------

    def check_beats(self) -> None:
        """Bars with too many or too few beats; a pickup and a last bar that make one bar together are right."""
        bars = self.bars
        first = self._numbers()
        for i, bar in enumerate(bars):
            if not bar.full or bar.complete or not bar.notes:
                continue
            total, full = bar.total, bar.full
            if total < full:
                if i == 0 and len(bars) > 1:
                    continue
                divided = bar.barline or bar.backward or bar.forward or bar.ending
                after = bars[i + 1] if i + 1 < len(bars) else None
                prior = bars[i - 1]
                if i == len(bars) - 1 and not bars[0].complete and bars[0].total + total == full:
                    continue
                if after is not None and (divided or after.forward or after.ending) and (
                        total + after.total == full or total + bars[0].total == full):
                    continue
                if (prior.barline or prior.backward or bar.forward or bar.ending) and prior.total + total == full:
                    continue
                if i == len(bars) - 1 and bars[0].complete and divided and any(
                        not b.complete and b.total + total == full for b in bars):
                    continue
            unit_length = Fraction(4 * UNITS, bar.lower)
            self.problems.append((bar.at, Slip(ProblemCode.BEATS, bar=i + first, beats=total / unit_length,
                                               wanted=Fraction(full) / unit_length)))

    def _numbers(self) -> int:
        if self.first_number is not None:
            return self.first_number
        bars = self.bars
        return 0 if len(bars) > 1 and bars[0].full and not bars[0].complete and bars[0].total < bars[0].full else 1

    def finished(self) -> tuple[Bar, ...]:
        """The bars, frozen. An ending goes on to its repeat sign, a double bar, the next ending or the end."""
        first = self._numbers()
        out: list[Bar] = []
        open_ending = False
        for i, bar in enumerate(self.bars):
            last = i == len(self.bars) - 1
            if bar.ending:
                open_ending = True
            stop = open_ending and (last or bar.backward or bool(bar.barline) or bool(self.bars[i + 1].ending)
                                    or self.bars[i + 1].forward)
            if stop:
                open_ending = False
            if i and not (open_ending or stop or last or bar.key or bar.time or bar.forward or bar.backward or bar.ending
                          or bar.barline or bar.after):
                out.append(Bar(number=i + first, notes=tuple(bar.notes)))
                continue
            key = bar.key
            if i == 0 and key is None:
                key = Key(0)
            out.append(Bar(number=i + first, notes=tuple(bar.notes), key=key, time=bar.time,
                           forward_repeat=bar.forward, backward_repeat=2 if bar.backward else 0, ending=bar.ending,
                           ending_stop=stop, barline=bar.barline, after=bar.after))
        return tuple(out)


def said_unit(said: ScoreDirection) -> Unit:
    u = Unit()
    u.before, u.reset = (said,), True
    return u


def starts_of(cells: list[str], groups: list[tuple[int, int]]) -> list[int]:
    """Where every unit begins: groups are (index of first unit, offset)."""
    at = dict(groups)
    out: list[int] = []
    now = 0
    for i, piece in enumerate(cells):
        now = at.get(i, now)
        out.append(now)
        now += len(piece)
    return out
