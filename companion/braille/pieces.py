"""A tune's bars as pieces of braille: a note with all its signs is one piece. `encode` lays them out in lines.

Octave marks by MBC 2015, 3.2.2: none for less than a fourth, always for more than a fifth, and for a fourth
or fifth only when the note lies in another octave than the one before. The first note has one, and so has
the first after a new line, a word sign, a double bar, a repeat, an ending or a change of key or time. The octave
is the written letter's (C flat 4 lies in the fourth octave, De Garmo, chapter 7).

Every bar is made once. A piece knows its octave mark and whether it is due, so that laying out lines only has to
make the mark of the first note of a line due.
"""

from __future__ import annotations

import re
from fractions import Fraction
from operator import itemgetter
from typing import NamedTuple

from companion.braille import signs as S
from companion.braille.ahead import Ahead, look_ahead
from companion.braille.chord_cells import chord_cells
from companion.braille.expressions import (
    VALUE_CELLS,
    expression_cells,
    expression_text,
    key_cells,
    metronome_cells,
    number_cells,
    stands_apart,
    time_cells,
)
from companion.braille.rhythm import (
    FIRST_SMALL,
    LARGER,
    REST_NOTE,
    ROWS,
    SMALLER,
    UNITS,
    Code,
    GroupCode,
    Written,
    beat,
    capacity,
    comes_out,
    length,
    normal_of,
    write_bar,
)
from companion.braille.signs import WHOLE_REST, Role
from companion.braille.units import MOST_DOTS
from companion.errors import Trouble
from companion.messages import _
from companion.tune import (
    STEPS,
    Bar,
    Barline,
    DirectionKind,
    Display,
    Jump,
    Key,
    Mark,
    Note,
    Pitch,
    ScoreDirection,
    Stands,
    Syllable,
    Time,
    Tune,
    Tuplet,
)

# Members of enums that are asked for at every note: on the enum itself they take ten times as long to look up.
_HIDDEN, _EDITORIAL = Display.HIDDEN, Display.EDITORIAL
_METRONOME, _HAIRPIN_END, _JUMP = DirectionKind.METRONOME, DirectionKind.HAIRPIN_END, DirectionKind.JUMP
_INDEX = {step: i for i, step in enumerate(STEPS)}
_QUAVERS = VALUE_CELLS[3, 0]
_OCTAVES = S.OCTAVES
#: How grace notes are written, by their value: they have no time of their own.
_GRACES = {(1, 4): Written(0, 0, 0, 0, False), (1, 8): Written(0, 0, 1, 0, False), (1, 1): Written(0, 0, 2, 0, False)}
_GRACE = Written(0, 0, 3, 0, False)
#: The number of an ending: lowered digits (De Garmo, chapter 17).
_ENDING = re.compile(f"{S.NUMBER}[{''.join(S.LOWER_DIGITS.values())}]+$")
#: What a bar has whose only rest is hidden in print: without it the bar would be lost.
_SILENT = (Note(pitch=None, base=Fraction(4), whole_bar=True),)
_MOST_ALONE = 3  # rests in a bar that might be read as bars of rest
_PART_TIMES = (6, 4, 3, 2)  # how often a part of a bar may fill it, for part repeats
#: Ranks of signs that no mark's row gives. Value signs follow their group's sign at once.
_GROUP, _SLUR_OPEN, _SLUR_CLOSE, _SLUR, _TIE = (S.sign_of(role, value).rank for role, value in (
    (Role.GROUP, 3), (Role.SLUR_OPENS, None), (Role.SLUR_CLOSES, None), (Role.SLUR, None), (Role.TIE, None)))


class Habits(NamedTuple):
    """Choices that the code leaves to the transcriber.

    octave_marks: False for exercises that come before them (De Garmo, chapters 2 to 6). doubled_slurs: long
    slurs with the doubled sign instead of brackets. slurs_with_ties: a short slur is also written where a tie
    stands. naturals: a change of key first takes back the old signs. repeats: bars like the one before are
    written as bar repeats, and rests of several bars together. part_repeats: half bars and beats too. grouped:
    groups of small values as quavers. verses_under: all verses over each line of music, each with its number, instead of
    the further ones after the song. chords: chord symbols in a line of their own below each line of music.
    """

    octave_marks: bool = True
    doubled_slurs: bool = False
    slurs_with_ties: bool = False
    naturals: bool = True
    repeats: bool = True
    part_repeats: bool = False
    grouped: bool = True
    verses_under: bool = False
    chords: bool = False


class Piece:
    """Cells that stay together: those before the octave mark, the mark, those after, and the note they are.

    due: whether the mark is written. joined: no line may end before this piece. flow: words or signatures with
    spaces in them, where a line may end. all: for a part repeat, the notes that it stands for. chords: the cells of the chord
    symbols that begin with it. room: spaces that make room for chord symbols.
    """

    __slots__ = ("all", "chords", "due", "flow", "head", "joined", "mark", "note", "room", "tail")

    def __init__(self, head: str, mark: str = "", tail: str = "", due: bool = False, note: int = 0,
                 joined: bool = False, flow: bool = False) -> None:
        self.head, self.mark, self.tail, self.due, self.note, self.joined = head, mark, tail, due, note, joined
        self.flow = flow
        self.all: list[int] | None = None
        self.chords = ""
        self.room = False

    @property
    def cells(self) -> str:
        return self.head + self.mark + self.tail if self.due else self.head + self.tail


def merged(syllable: Syllable | None) -> int:
    """How many syllables a note has at once: "the‿ev" are two, whether print ties them or a space parts them."""
    if syllable is None:
        return 0
    text = syllable.text
    return len(text.replace("‿", " ").split()) if "‿" in text or " " in text else 1


def needs_octave(before: Pitch | None, pitch: Pitch) -> bool:
    """Whether a note needs its octave mark after another (MBC 2015, 3.2.2); None before: a first note does."""
    return mark_due(None if before is None else before.diatonic, pitch.diatonic)


def mark_due(before: int | None, place: int) -> bool:
    """The octave rule on steps of the staff (`Pitch.diatonic`; octaves by letters, C flat 4 in the fourth)."""
    if before is None:
        return True
    steps = place - before
    return steps > 4 or steps < -4 or ((steps > 2 or steps < -2) and place // 7 != before // 7)


#: The rule for every pair of notes that have octave marks: asked for at every note, a table is quicker than a call.
_DUE = tuple(tuple(mark_due(before, place) for place in range(7 * len(S.OCTAVES))) for before in range(7 * len(S.OCTAVES)))


def _with_places(codes: list[Code]) -> list[Code]:
    """Triplets and other groups with their beginnings and ends, where the score does not say them.

    A group ends where what it holds is as many equal values as its number says (a power of two each).
    """
    if any(isinstance(c, GroupCode) and c.place for c in codes):
        return _several_groups(codes)
    out: list[Code] = []
    began = False
    units = 0
    for code in codes:
        if isinstance(code, int):
            began = False
            out.append(code)
            continue
        place = "" if began else "start"
        base = code.number & 15
        units = (units if began else 0) + length(base % FIRST_SMALL, code.number >> 4 & 7, base >= FIRST_SMALL)
        if began and comes_out(units, code.actual):
            place = "stop"
        began = place != "stop"
        out.append(code._replace(place=place))
    return out


def _several_groups(codes: list[Code]) -> list[Code]:
    """Groups that hold several times as many equal notes as their number says, as so many groups: six semiquavers under one
    bracket of three."""
    out = list(codes)
    first = 0
    for i, code in enumerate(codes):
        if isinstance(code, int) or code.place == "start":
            first = i
        elif code.place == "stop":
            count, left = divmod(i - first + 1, code.actual)
            if count > 1 and not left and len({c.number for c in codes[first:i + 1] if isinstance(c, GroupCode)}) == 1:
                for k in range(first, i + 1):
                    at = (k - first) % code.actual
                    out[k] = code._replace(place="start" if not at else "stop" if at == code.actual - 1 else "")
    return out


class State(NamedTuple):
    """What the next bar depends on; the names are those of `Encoder`."""

    before: int | None
    tied: tuple[int, int] | None
    sung: int
    key: Key
    time: Time | None
    hairpin: DirectionKind


class Encoder:
    """Bars of a tune to pieces, one after the other; what goes on from note to note is kept here."""

    def __init__(self, tune: Tune, pitch_only: bool, vocal: bool, habits: Habits) -> None:
        self.tune, self.pitch_only, self.vocal, self.habits = tune, pitch_only, vocal, habits
        self.octave_marks = habits.octave_marks
        self.count = 0  # written notes so far
        self.number = 0  # of the bar being made
        self.before: int | None = None  # the note before, as Pitch.diatonic; None where a mark is due
        self.tied: tuple[int, int] | None = None  # (Pitch.diatonic, alter) of a note that is tied to the next
        self.in_force: dict[int, int] = {}  # accidentals of the bar being made, by Pitch.diatonic
        self.key, self.time = tune.key, tune.time if any(b.time for b in tune.bars) else None
        self.hoisted: tuple[ScoreDirection, ...] = ()
        self.hairpin = DirectionKind.CRESCENDO  # the kind under way, which decides its closing sign
        self.sounding = 0  # pitch only: the note that a tie goes on from
        self.extra: list[tuple[int, int]] = []  # pitch only: notes that stand at an earlier note's cells
        self._meter()
        self._key()
        self.ahead = Ahead() if pitch_only else look_ahead(tune, vocal, habits.doubled_slurs, habits.slurs_with_ties)

    def _meter(self) -> None:
        self.full, self.beat = capacity(self.time), beat(self.time)

    def _key(self) -> None:
        self.key_alter = [self.key.alter(step) for step in STEPS]

    def state(self) -> State:
        """What goes on from bar to bar, so that a bar can be made again."""
        return State(self.before, self.tied, self.count, self.key, self.time, self.hairpin)

    def back_to(self, state: State) -> None:
        self.before, self.tied, self.count, self.key, self.time, self.hairpin = state
        self._key()
        self._meter()

    # --- bars ---------------------------------------------------------------------------------------------------

    def whole(self, bar: Bar) -> bool:
        """Whether a bar can be written as a repeat of itself: nothing in it that reaches beyond it."""
        return all(not (n.before or n.slur_starts or n.slur_stops or n.syllables or n.grace) for n in bar.notes)

    def bar(self, index: int, grouped: bool = True) -> list[Piece]:
        """One bar's pieces; the state goes on to the next bar."""
        bar = self.tune.bars[index]
        notes = bar.notes or _SILENT
        self.number = bar.number
        self.in_force = {}
        pieces: list[Piece] = []
        begin = self._lead(bar, index, pieces) if bar.key or bar.time or bar.forward_repeat or bar.ending else ""
        if self.pitch_only:
            return self._pitches(bar, index, pieces)
        plan, total, plain = self._plan(index, notes, grouped)
        if len(notes) == 1 and notes[0].pitch is None and (notes[0].whole_bar or (self.full and total >= self.full)):
            self._bar_of_rest(notes[0], begin, pieces)
        else:
            self._notes(index, notes, plan, plain and not self.ahead.slurs, begin, pieces)
            if self.habits.part_repeats and not self.vocal:
                pieces = self._fold(bar, pieces)
        if bar.after or bar.barline or bar.backward_repeat:
            self._close_with_words(bar, pieces)
        return make_room(pieces) if self.habits.chords else pieces

    def _plan(self, index: int, notes: tuple[Note, ...], grouped: bool) -> tuple[tuple[Written, ...], Fraction, bool]:
        """How the values of a bar are written, its length, and whether its notes have nothing besides pitch, value and
        tie."""
        codes, plain = self._codes(notes)
        grouped = grouped and self.habits.grouped and not self.habits.chords and (plain or not any(n.grace for n in notes))
        plan, total = write_bar(codes, self.full, self.beat, index == 0 and len(self.tune.bars) > 1, grouped)
        if len(codes) <= _MOST_ALONE and notes and notes[0].pitch is None:
            plan = self._apart(notes, codes, plan, total)
        return plan, total, plain

    def _codes(self, notes: tuple[Note, ...]) -> tuple[tuple[Code, ...], bool]:
        """The values of a bar for `write_bar`, and whether its notes have nothing besides pitch, value and tie."""
        codes: list[Code] = []
        plain, in_groups = True, False
        for note in notes:
            place = ROWS.get(note.base.as_integer_ratio())
            if place is None or not 0 <= note.dots <= MOST_DOTS:
                raise Trouble(_("Bar {number} has a note of {base} crotchets with {dots} dots, which has no cells; "
                                "write it in plain values.").format(
                                    number=self.number, base=note.base, dots=note.dots))
            code = place[0] + FIRST_SMALL * place[1] + 16 * note.dots
            if note.pitch is None:
                code += REST_NOTE
            if note.grace:
                plain = False
            elif note.tuplet:
                self._check_group(note.tuplet)
                codes.append(GroupCode(code, note.tuplet.actual, note.tuplet.normal, note.tuplet.place))
                in_groups = True
            else:
                codes.append(code)
            if note.marks or note.before or note.whole_bar or note.syllables:
                plain = False
        return tuple(_with_places(codes) if in_groups else codes), plain

    def _check_group(self, tuplet: Tuplet) -> None:
        """The sign of a group says how many notes it has; in the time of how many they stand goes by the number."""
        if tuplet.normal != normal_of(tuplet.actual):
            raise Trouble(_("Bar {number} has {actual} notes in the time of {normal}, which in braille would be read as in the "
                            "time of {usual}; write it in other values.").format(
                                number=self.number, actual=tuplet.actual, normal=tuplet.normal, usual=normal_of(tuplet.actual)))

    def _apart(self, notes: tuple[Note, ...], codes: tuple[Code, ...], plan: tuple[Written, ...],
               total: Fraction) -> tuple[Written, ...]:
        """The plan, with a value sign for one to three rests that would, by themselves, be read as bars of rest."""
        first = codes[0] if codes and len(notes) == len(codes) and len(set(codes)) == 1 else None
        alone = len(codes) == 1
        if self.full and first == REST_NOTE and (alone or total != self.full):
            return (plan[0]._replace(size=LARGER), *plan[1:])
        if self.full and first == REST_NOTE + FIRST_SMALL and alone:
            return (plan[0]._replace(size=SMALLER), *plan[1:])
        return plan

    def _bar_of_rest(self, note: Note, begin: str, pieces: list[Piece]) -> None:
        self._directions(note.before, pieces)
        if begin:
            self._separate(pieces, begin)
            pieces.append(Piece(begin))
        before, after = self._marks(note, None)
        piece = Piece(_joined(before), "", WHOLE_REST + _joined(after), joined=bool(begin))
        self._separate(pieces, piece.cells)
        self._chords(note, piece)
        pieces.append(piece)
        self.tied = None

    def _chords(self, note: Note, piece: Piece) -> None:
        if self.habits.chords and note.chords:
            piece.chords = S.SPACE.join(chord_cells(chord, self.number) for chord in note.chords)

    def _fold(self, bar: Bar, pieces: list[Piece]) -> list[Piece]:
        """A bar of equal halves, or of equal beats, as its first part and repeat signs; else the bar as it is.

        Only bars of plain notes with nothing that reaches out of the part; what the reader would make of it is
        the reader's own rule: the shortest part that fills the bar.
        """
        notes = bar.notes
        if not (self.full and self.whole(bar)) or len(pieces) != len(notes) or any(n.tie or n.tuplet for n in notes):
            return pieces
        lengths = [int(n.quarters * UNITS) for n in notes]
        if sum(lengths) != self.full:
            return pieces
        for times in _PART_TIMES:
            count, left = divmod(len(notes), times)
            if left or notes != notes[:count] * times:
                continue
            shorter = any(sum(lengths[count - k:count]) * (times - 1) == self.full - sum(lengths[:count])
                          for k in range(1, count))
            if shorter or any(p.note == 0 for p in pieces[:1]):
                return pieces
            for k in range(1, times):
                again = Piece(S.BAR_REPEAT, note=pieces[k * count].note, joined=True)
                again.all = [p.note for p in pieces[k * count:(k + 1) * count] if p.note]
                pieces[count + k - 1] = again
            del pieces[count + times - 1:]
            return pieces
        return pieces

    def _notes(self, index: int, notes: tuple[Note, ...], plan: tuple[Written, ...], plain: bool, begin: str,
               pieces: list[Piece]) -> None:
        """The notes and rests of a bar. plain: they have nothing besides pitch, value and tie. begin: signs before
        the first of them."""
        values = iter(plan)
        for n, note in enumerate(notes):
            written = _GRACES.get(note.base.as_integer_ratio(), _GRACE) if note.grace else next(values)
            if not plain and note.before:
                self._directions(note.before, pieces)
            if begin:
                self._separate(pieces, begin)
                pieces.append(Piece(begin))
            pitch = note.pitch
            piece = self._rest(note, written) if pitch is None else self._note((index, n), note, pitch, written, plain)
            if begin or written.joined:
                piece.joined, begin = True, ""
            if pieces and (piece.joined or not plain):
                self._separate(pieces, piece.cells)
            if note.chords:
                self._chords(note, piece)
            pieces.append(piece)
        if begin:
            pieces.append(Piece(begin))

    def _rest(self, note: Note, written: Written) -> Piece:
        self.tied = None
        head, tail = _value_signs(written), VALUE_CELLS[written.row, written.dots][""]
        if note.marks:
            before, after = self._marks(note, None)
            head, tail = head + _joined(before), tail + _joined(after)
        return Piece(head, "", tail)

    def _note(self, at: tuple[int, int], note: Note, pitch: Pitch, written: Written, plain: bool) -> Piece:
        """A note with its signs, in the order that the code wants. at: bar and note."""
        octave, alter = pitch.octave, pitch.alter
        place = 7 * octave + _INDEX[pitch.step]
        size, group, row, dots, _joined_to = written
        head = _value_signs(written) if size or group else ""
        tail = VALUE_CELLS[row, dots][pitch.step]
        tie = note.tie
        if not plain:
            tie = tie and at not in self.ahead.untied
            head, tail = self._dress(at, note, head, tail, tie)
        elif tie:
            tail += S.TIE
        tied = None if note.grace else self.tied  # a tie goes on over grace notes
        if tied is not None or note.accidental or alter != self.in_force.get(place, self.key_alter[place % 7]):
            head += self._accidental(note.accidental, place, alter, tied)
        mark = _OCTAVES.get(octave)
        if mark is None:
            raise self._outside(pitch)
        before = self.before
        due = self.octave_marks and (before is None or _DUE[before][place])
        self.before = place
        if note.grace:
            return Piece(head, mark, tail, due)
        self.tied = (place, alter) if tie else None
        self.count += 1
        return Piece(head, mark, tail, due, self.count)

    def _outside(self, pitch: Pitch) -> Trouble:
        return Trouble(_("Bar {number} has {name}, which lies outside the octaves that braille has marks for; move the "
                         "tune.").format(number=self.number, name=pitch.name))

    def _accidental(self, display: Display, place: int, alter: int, tied: tuple[int, int] | None) -> str:
        """The accidental of a note, where one is written. A tie carries the one before it on (De Garmo, chapter 6)."""
        needed = False
        if tied != (place, alter):
            same_line = tied is not None and tied[0] == place  # else the tie would carry its sign over
            needed = same_line or alter != self.in_force.get(place, self.key_alter[place % 7])
            self.in_force[place] = alter
        return self._accidental_cells(display, alter, needed)

    def _accidental_cells(self, display: Display, alter: int, needed: bool) -> str:
        if display is _HIDDEN or not (needed or display):
            return ""
        try:
            sign = S.ACCIDENTALS[alter]
        except KeyError as error:
            raise Trouble(_("Bar {number} has a note raised or lowered by more than two semitones, which has no "
                            "sign in braille; write it by another letter.").format(number=self.number)) from error
        return S.EDITORIAL + sign + S.EDITORIAL if display is _EDITORIAL else sign

    def _dress(self, at: tuple[int, int], note: Note, head: str, tail: str, tie: bool) -> tuple[str, str]:
        """Signs before and after a note that most notes do not have, in order of their ranks. head: its value signs."""
        slurs = self.ahead.slurs.get(at)
        if self.vocal and note.syllables and (count := merged(note.syllables[0])) > 1:
            tail += S.MERGED[min(3, count)]  # right after the note and its dots (New International Manual, 16-8)
        if not (note.marks or note.grace or slurs):
            return head, tail + S.TIE if tie else tail
        before, after = self._marks(note, self.ahead.signs.get(at))
        if head:
            before.append((_GROUP, head))
        if note.grace:
            sign = S.sign_of(Role.GRACE, note.grace)
            before.append((sign.rank, sign.cells))
        if slurs:
            before.append((_SLUR_OPEN, S.SLUR_OPEN * slurs.opens))
            # A slur that ends where another begins is closed after that one has opened.
            (before if slurs.opens else after).append((_SLUR_CLOSE, S.SLUR_CLOSE * slurs.closes))
            after.append((_SLUR, S.SLUR + S.SLUR if slurs.doubled else S.SLUR if slurs.short else ""))
        if tie:
            after.append((_TIE, S.TIE))
        return _joined(before), tail + _joined(after)

    def _marks(self, note: Note, times: dict[Mark, int] | None) -> tuple[list[tuple[int, str]], list[tuple[int, str]]]:
        """The signs of a note's marks before and after it, with their ranks. times: how often, where not once."""
        before: list[tuple[int, str]] = []
        after: list[tuple[int, str]] = []
        for mark in dict.fromkeys(note.marks):
            rank, cells, stands_after = _MARKS[mark]
            if times:
                cells *= times.get(mark, 1)
            (after if stands_after else before).append((rank, cells))
        return before, after

    # --- what stands around the notes -----------------------------------------------------------------------------

    def _lead(self, bar: Bar, index: int, pieces: list[Piece]) -> str:
        """What stands at the beginning of a bar; signatures as a piece of their own, the rest for the first note."""
        if index and (signature := self._signature(bar)):
            pieces.append(Piece(signature + S.SPACE, flow=True))
            self.before = None
        if self.pitch_only:
            return ""
        begin = S.FORWARD_REPEAT if bar.forward_repeat else ""
        if bar.ending:
            begin += S.NUMBER + number_cells("".join(map(str, bar.ending)), lower=True)
        if begin:
            self.before = None
        return begin

    def _signature(self, bar: Bar) -> str:
        """The signatures where key or time change."""
        cells = ""
        if bar.key:
            if bar.key.fifths != self.key.fifths:
                cells = key_cells(bar.key, self.key if self.habits.naturals else None)
            self.key = bar.key
            self._key()
        if bar.time and bar.time != self.time:
            self.time = bar.time
            self._meter()
            if not self.pitch_only:
                cells += time_cells(bar.time)
        return cells

    def _close_with_words(self, bar: Bar, pieces: list[Piece]) -> None:
        """The end of a bar: single words and dynamics stand before the bar line, several words apart and after it."""
        apart = tuple(d for d in bar.after if stands_apart(d))
        self._directions(tuple(d for d in bar.after if d not in apart), pieces, after=True)
        self.close(bar, pieces)
        self._directions(apart, pieces, after=True)

    def close(self, bar: Bar, pieces: list[Piece]) -> None:
        """The bar line, where it is no space."""
        sign = S.BACKWARD_REPEAT if bar.backward_repeat else _BARLINES[bar.barline]
        if not sign:
            return
        self._separate(pieces, sign)
        if pieces and not pieces[-1].flow:
            pieces[-1].tail += sign
        else:
            pieces.append(Piece(sign, joined=True))
        if bar.barline is not Barline.DOTTED:
            self.before = None

    def _directions(self, said: tuple[ScoreDirection, ...], pieces: list[Piece], after: bool = False) -> None:
        """Words, dynamics, hairpins and the like, before a note or (after) at the end of a bar."""
        if len(said) > 1:
            said = tuple(sorted(said, key=lambda one: not stands_apart(one)))  # what stands apart cannot follow a single word
        for direction in said:
            if direction in self.hoisted:
                continue
            if direction.kind is _METRONOME:
                self._metronome(direction, pieces, after)
            elif direction.kind in _HAIRPINS or direction.kind is _HAIRPIN_END:
                self._put(self._hairpin(direction.kind), pieces, after)
            elif direction.kind is _JUMP and (sign := Jump(direction.text).sign):
                # A dot keeps what ends the bar from being read as an interval.
                self._put(sign.cells + S.DOT if after else sign.cells, pieces, after)
            else:
                self._words(direction, pieces, after)

    def _put(self, cells: str, pieces: list[Piece], after: bool) -> None:
        self._separate(pieces, cells)
        pieces.append(Piece(cells, joined=after))
        self.before = None

    def _hairpin(self, kind: DirectionKind) -> str:
        if kind is DirectionKind.HAIRPIN_END:
            return S.CRESCENDO_END if self.hairpin is DirectionKind.CRESCENDO else S.DIMINUENDO_END
        self.hairpin = kind
        return _HAIRPINS[kind]

    def _words(self, direction: ScoreDirection, pieces: list[Piece], after: bool) -> None:
        text = expression_text(direction)
        cells = expression_cells(text)
        if not cells.strip(S.SPACE) or not any(map(str.isalnum, text)):
            return  # a point or a bracket by itself says nothing
        if not stands_apart(direction):
            self._put(S.WORD + cells, pieces, after)
            return
        # Several words stand apart, between word signs; the bar goes on after a music hyphen.
        gap = ""
        if _begun(pieces):
            gap = S.SPACE if after else S.HYPHEN + S.SPACE
        end = S.WORD if after else S.WORD + S.SPACE
        pieces.append(Piece(gap + S.WORD + cells + end, joined=bool(gap), flow=True))
        self.before = None

    def _metronome(self, direction: ScoreDirection, pieces: list[Piece], after: bool) -> None:
        """Only at the beginning of a bar: elsewhere there is no place for it."""
        cells = metronome_cells(direction.text)
        if cells and not after and not _begun(pieces):
            pieces.append(Piece(cells + S.SPACE, flow=True))

    def _separate(self, pieces: list[Piece], cells: str) -> None:
        """Put a dot 3 between words or an ending's number and cells that begin with dots 1, 2 or 3 (De Garmo, chapters
        13 and 17). The number of several bars' rest or repeats is no ending: the bar line follows it at once."""
        if pieces and cells and S.is_left(cells[0]) and cells[0] != S.WORD:
            p = pieces[-1]
            if not (p.note or p.tail or p.flow) and p.head and p.head[-1] not in (S.DOT, S.SPACE) and (
                    S.WORD in p.head or _ENDING.search(p.head) or p.head in (S.SEGNO, S.CODA)):
                p.head += S.DOT

    # --- pitch only -----------------------------------------------------------------------------------------------

    def _pitches(self, bar: Bar, index: int, pieces: list[Piece]) -> list[Piece]:
        """A bar of the reading exercise: every note a quaver, one note for a tie, rests left away."""
        bars = self.tune.bars
        held = index > 0 and bool(bars[index - 1].notes) and bars[index - 1].notes[-1].tie
        for note in bar.notes:
            if note.pitch is not None and not note.grace:
                self.count += 1
                if held:
                    self.extra.append((self.count, self.sounding))
                else:
                    pieces.append(self._quaver(note, note.pitch))
            if note.pitch is None or not note.grace:
                held = note.tie
        if not any(p.note for p in pieces):
            pieces.append(Piece("", "", WHOLE_REST))  # the bar is kept, as a bar of rest
        if index == len(bars) - 1:
            pieces[-1].tail += S.FINAL_BAR
        return pieces

    def _quaver(self, note: Note, pitch: Pitch) -> Piece:
        place = pitch.diatonic
        needed = pitch.alter != self.in_force.get(place, self.key_alter[place % 7])
        self.in_force[place] = pitch.alter
        display = Display.NEEDED if note.accidental is Display.HIDDEN else note.accidental
        if pitch.octave not in S.OCTAVES:
            raise self._outside(pitch)
        piece = Piece(self._accidental_cells(display, pitch.alter, needed), S.OCTAVES[pitch.octave], _QUAVERS[pitch.step],
                      mark_due(self.before, place), self.count)
        self.before = place
        self.sounding = self.count
        return piece


def make_room(pieces: list[Piece]) -> list[Piece]:
    """The pieces of a bar with room for its chord symbols: a music hyphen and spaces where one would run into the next, or the
    second of a note would stand below the next note; spaces at the end for what reaches beyond the bar."""
    out: list[Piece] = []
    at = free = last = 0  # cells so far; where the next symbol may begin, and the next note
    for piece in pieces:
        wanted = free if piece.chords else last if piece.tail and not piece.flow else 0
        if at < wanted:
            room = Piece(S.HYPHEN.ljust(max(2, wanted - at), S.SPACE), joined=True)
            room.room = True
            out.append(room)
            at += len(room.head)
        if piece.chords:
            free = at + len(piece.chords) + 1
            last = at + piece.chords.rfind(S.SPACE) + 2 if S.SPACE in piece.chords else 0
        out.append(piece)
        at += len(piece.cells)
    if free - 1 > at:
        room = Piece(S.SPACE * (free - 1 - at), joined=True)
        room.room = True
        out.append(room)
    return out


#: Marks: rank, cells, whether they stand after the note. The cells of bar lines and hairpins.
_MARKS = {mark: (mark.sign.rank, mark.sign.cells, mark.sign.stands is Stands.AFTER) for mark in Mark}
_BARLINES = {line: line.sign.cells.strip(S.SPACE) for line in Barline}
_HAIRPINS = {DirectionKind.CRESCENDO: S.CRESCENDO, DirectionKind.DIMINUENDO: S.DIMINUENDO}


def _value_signs(written: Written) -> str:
    """The signs of a group that begins and of larger or smaller values."""
    cells = ""
    if written.group:
        cells = S.TRIPLET if written.group == 3 else S.GROUP + number_cells(str(written.group), lower=True) + S.DOT
    if written.size:
        cells += S.LARGER_VALUES if written.size == LARGER else S.SMALLER_VALUES
    return cells


def _joined(ranked: list[tuple[int, str]]) -> str:
    """Signs in order of their ranks."""
    if len(ranked) > 1:
        ranked.sort(key=itemgetter(0))
    return "".join([cells for _rank, cells in ranked])


def _begun(pieces: list[Piece]) -> bool:
    """Whether a note or a bar line stands in the bar already."""
    return any(p.note or p.tail for p in pieces)
