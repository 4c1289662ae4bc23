"""A tune's bars as pieces of braille: a note with all its signs is one piece. `encode` lays them out in lines.

Octave marks by MBC 2015, 3.2.2: none for less than a fourth, always for more than a fifth, and for a fourth
or fifth only when the note lies in another octave than the one before. The first note has one, and so has
the first after a new line, a word sign, a double bar, a repeat, an ending or a change of key or time. The octave
is the written letter's (C flat 4 lies in the fourth octave, De Garmo, chapter 7).

Every bar is made once. A piece knows its octave mark and whether it is due, so that laying out lines only has to
make the mark of the first note of a line due.
"""


from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.rhythm import LARGER as LARGER_SIGN
from companion.braille.rhythm import REST_NOTE, ROWS, UNITS, Code, Written, beat, capacity, length, write_bar
from companion.braille.rhythm import SMALLER as SMALLER_SIGN
from companion.errors import Trouble
from companion.messages import _
from companion.tune import STEPS, Bar, Key, Note, Pitch, ScoreDirection, Time, Tune

LONG_SLUR = 5  # a slur of so many notes is written with brackets (De Garmo, chapter 12: up to four notes singly)
DOUBLED_FROM = 4  # so many notes in a row with one mark: the sign doubled at the first, once at the last (ch. 14)
PITCH_ONLY_HEADING = "reading exercise: pitch only"
LONGEST_MELISMA = 64  # notes on one syllable; more is an interlude without rests, not a melisma

MOST_DOTS = 4  # print has three at most; one folk melody of the Essen collection has four
_INDEX = {step: i for i, step in enumerate(STEPS)}
_LEFT = frozenset(chr(S.CELL_BASE + i) for i in range(64) if i & 7)  # cells with dots 1, 2 or 3
#: Cells by row and dots, then by letter; "" is the rest.
_CELLS: dict[tuple[int, int], dict[str, str]] = {}
for _row, _dots in enumerate(S.ROW_DOTS):
    for _count in range(MOST_DOTS + 1):
        _CELLS[_row, _count] = {step: S.cells(upper + _dots) + S.DOT * _count for step, upper in S.NAMES.items()}
        _CELLS[_row, _count][""] = S.cells(S.ROW_RESTS[_row]) + S.DOT * _count
for _count in range(MOST_DOTS + 1):
    _CELLS[4, _count] = {step: cell[0] + S.BREVE + cell[0] + S.DOT * _count for step, cell in _CELLS[0, 0].items()}
_QUAVERS = _CELLS[3, 0]
_GRACE_ROWS = {(1, 4): 0, (1, 8): 1, (1, 1): 2, (1, 2): 3}
WHOLE_REST = S.cells(S.ROW_RESTS[0])
#: Marks before a note that are doubled where they go on for four notes and more.
_RUNNING = ("staccato", "staccatissimo", "accent", "strong accent", "staccato-tenuto", "tenuto")


class Habits(NamedTuple):
    """Choices that the code leaves to the transcriber.

    octave_marks: False for exercises that come before them (De Garmo, chapters 2 to 6). doubled_slurs: long
    slurs with the doubled sign instead of brackets. slurs_with_ties: a short slur is also written where a tie
    stands. naturals: a change of key first takes back the old signs. repeats: bars like the one before are
    written as bar repeats, and rests of several bars together. part_repeats: half bars and beats too. grouped:
    groups of small values as quavers.
    """

    octave_marks: bool = True
    doubled_slurs: bool = False
    slurs_with_ties: bool = False
    naturals: bool = True
    repeats: bool = True
    part_repeats: bool = False
    grouped: bool = True


class Piece:
    """Cells that stay together: those before the octave mark, the mark, those after, and the note they are.

    due: whether the mark is written. joined: no line may end before this piece. flow: words or signatures with
    spaces in them, where a line may end. all: for a part repeat, the notes that it stands for.
    """

    __slots__ = ("all", "due", "flow", "head", "joined", "mark", "note", "tail")

    def __init__(self, head: str, mark: str, tail: str, due: bool, note: int, joined: bool) -> None:
        self.head, self.mark, self.tail, self.due, self.note, self.joined = head, mark, tail, due, note, joined
        self.flow = False
        self.all: list[int] | None = None  # all the notes that a part repeat stands for

    @property
    def cells(self) -> str:
        return self.head + self.mark + self.tail if self.due else self.head + self.tail


def needs_octave(before: Pitch | None, pitch: Pitch) -> bool:
    """Whether a note needs its octave mark after another (MBC 2015, 3.2.2); None before: a first note does."""
    if before is None:
        return True
    steps = abs(pitch.diatonic - before.diatonic)
    return steps > 4 or (steps >= 3 and pitch.octave != before.octave)


def number_cells(digits: str, lower: bool = False) -> str:
    """Digits in upper or lowered cells, with no number sign."""
    return "".join((S.LOWER_DIGITS if lower else S.UPPER_DIGITS)[d] for d in digits)


def signs_cells(sign: str, count: int) -> str:
    """So many sharps, flats or naturals: up to three written out, else number, digit, sign."""
    return sign * count if count <= 3 else S.NUMBER + number_cells(str(count)) + sign


def key_cells(key: Key, old: Key | None = None) -> str:
    """A key signature; after an old one, the naturals that take back what no longer holds come first.

    Naturals (De Garmo, chapter 10): all of the old signs where the new key has other ones or none, else as many
    as fall away.
    """
    sign = S.ACCIDENTALS[1 if key.fifths > 0 else -1]
    new = signs_cells(sign, abs(key.fifths))
    if old is None or old.fifths == 0:
        return new
    same = key.fifths * old.fifths > 0
    gone = abs(old.fifths) - abs(key.fifths) if same else abs(old.fifths)
    return signs_cells(S.ACCIDENTALS[0], max(0, gone)) + new


def time_cells(time: Time) -> str:
    """A time signature: common, cut, or upper figures then lowered ones; 3+2 as two upper figures."""
    if time.symbol:
        return S.COMMON if time.symbol == "common" else S.CUT
    upper = S.PLUS.join(S.NUMBER + number_cells(str(u)) for u in time.upper)
    return upper + number_cells(str(time.lower), lower=True)


def metronome_cells(text: str) -> str:
    """ "1=96" (the beat's value in crotchets, then beats a minute) as note, sign, number; "" if it is not that."""
    unit, _, number = text.partition("=")
    try:
        beat_value, per_minute = Fraction(unit), round(float(number), 2)
    except (ValueError, ZeroDivisionError, OverflowError):
        return ""
    for dots in range(3):
        place = ROWS.get((beat_value / (2 - Fraction(1, 2**dots))).as_integer_ratio())
        if place and not place[1] and place[0] < 4:
            return _CELLS[place[0], dots]["C"] + S.METRONOME + T.words(f"{per_minute:g}")
    return ""


def expression_text(said: ScoreDirection) -> str:
    """Words of expression as they stand in music: small letters, no accents, short forms where the code has one."""
    if said.kind == "jump":
        return S.JUMP_WORDS.get(said.text, said.text)
    text = said.text.strip()
    text = text if said.kind == "dynamic" else text.lower()
    text = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
    return S.SHORT_WORDS.get(text, text).strip("()[] ")


def _stands_apart(said: ScoreDirection) -> bool:
    """Several words, and directions where to go, stand between word signs with a space on either side."""
    if said.kind == "jump":
        return said.text not in ("segno", "coda")
    if said.kind not in ("words", "dynamic"):
        return False
    text = expression_text(said)
    return " " in text or text in ("c", "d")  # a single c or d would read as a hairpin


def _with_places(codes: list[Code]) -> list[Code]:
    """Triplets and other groups with their beginnings and ends, where the score does not say them.

    A group ends where what it holds is as many equal values as its number says (a power of two each).
    """
    if any(not isinstance(c, int) and c[3] for c in codes):
        return codes
    out: list[Code] = []
    began: int | None = None
    held = 0
    for c in codes:
        if isinstance(c, int):
            began = None
            out.append(c)
            continue
        number, actual, normal, _ = c
        if began is None:
            began, held = len(out), 0
        held += length(number & 15 if number & 15 < 5 else (number & 15) - 5, number >> 4 & 7, number & 15 >= 5)
        place = "start" if began == len(out) else ""
        share, left = divmod(held, actual)
        if place == "" and not left and share & (share - 1) == 0:
            place, began = "stop", None
        out.append((number, actual, normal, place))
    return out


def expression_cells(text: str) -> str:
    """The words themselves: letters and plain points; the point of an abbreviation is dot 3."""
    return "".join(S.DOT if c == "." else S.SPACE if c == " " else S.LETTERS.get(c) or _punctuation(c) for c in text)


def _punctuation(c: str) -> str:
    cells = S.cells(S.PUNCTUATION.get(c, "0"))
    return cells if len(cells) == 1 and cells in _LEFT else ""


@dataclass(slots=True)
class _Slurs:
    """What slurs put to one note."""

    opens: int = 0
    closes: int = 0
    short: bool = False
    doubled: bool = False


class State(NamedTuple):
    """What the next bar depends on; the names are those of `Encoder`."""

    before: int | None
    tied: tuple[int, int] | None
    sung: int
    key: Key
    time: Time | None
    hairpin: str


class Encoder:
    """Bars of a tune to pieces, one after the other; what goes on from note to note is kept here."""

    def __init__(self, tune: Tune, pitch_only: bool, vocal: bool, habits: Habits) -> None:
        self.tune, self.pitch_only, self.vocal, self.habits = tune, pitch_only, vocal, habits
        self.count = 0  # written notes so far
        self.number = 0  # of the bar being made
        self.before: int | None = None  # the note before, as Pitch.diatonic; None where a mark is due
        self.tied: tuple[int, int] | None = None
        self.key, self.time = tune.key, tune.time if any(b.time for b in tune.bars) else None
        self.hoisted: tuple[ScoreDirection, ...] = ()
        self.hairpin = "crescendo"  # the kind under way, which decides its closing sign
        self.sounding = 0  # pitch only: the note that a tie goes on from
        self.extra: list[tuple[int, int]] = []  # pitch only: notes that stand at an earlier note's cells
        self._meter()
        self._key()
        self.slurs: dict[tuple[int, int], _Slurs] = {}
        self.running: dict[tuple[int, int], tuple[str, ...]] = {}
        self.untied: set[tuple[int, int]] = set()
        if not pitch_only:
            self._look_ahead()

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

    # --- what must be known before the first note ---------------------------------------------------------------

    def _look_ahead(self) -> None:
        """Slurs (with the syllabic ones) and runs of one mark reach over many notes: found beforehand."""
        slurred = marked = False
        for bar in self.tune.bars:
            for note in bar.notes:
                if note.slur_starts:
                    slurred = True
                if note.marks:
                    marked = True
        if not (slurred or marked or self.vocal):
            return
        places = [((b, n), note) for b, n, note in self.tune.written() if note.pitch is not None and not note.grace]
        spans: list[tuple[int, int]] = []
        open_: list[int] = []
        for i, (_place, note) in enumerate(places):
            for _unused in range(note.slur_stops):
                if open_:
                    spans.append((open_.pop(0), i))
            open_ += [i] * note.slur_starts
        if marked:
            self._runs(places, spans)
        if self.vocal:
            spans += [span for span in self._melismas() if not any(a <= span[0] and span[1] <= b for a, b in spans)]
        for first, last in spans:
            self._slur(places, first, last)

    def _slur(self, places: list[tuple[tuple[int, int], Note]], first: int, last: int) -> None:
        long = last - first + 1 >= LONG_SLUR
        both = self.habits.slurs_with_ties if not long else not self.habits.doubled_slurs
        if not both:
            # A tie at either end stands for that part of the slur (De Garmo, chapter 12).
            first += places[first][1].tie and places[first][0] not in self.untied
            last -= places[last - 1][1].tie and places[last - 1][0] not in self.untied
        at = [self.slurs.setdefault(place, _Slurs()) for place, _ in places[first:last + 1]]
        if not at or last <= first:
            return
        if not long:
            for here in at[:-1]:
                here.short = True
        elif self.habits.doubled_slurs:
            at[0].doubled = True
            at[-2].short = True
        else:
            at[0].opens += 1
            at[-1].closes += 1

    def _runs(self, places: list[tuple[tuple[int, int], Note]], spans: list[tuple[int, int]]) -> None:
        for i, (place, note) in enumerate(places[:-1]):
            if note.tie and any(m in ("staccato", "tenuto") for n in (note, places[i + 1][1]) for m in n.marks):
                # Repeated notes that look tied but are parted by staccato or tenuto count as slurred (ch. 14).
                self.untied.add(place)
                spans.append((i, i + 1))
        for mark in _RUNNING:
            i = 0
            while i < len(places):
                j = i
                while j < len(places) and mark in places[j][1].marks:
                    j += 1
                if j - i >= DOUBLED_FROM:
                    for k in range(i, j - 1):
                        drop: tuple[str, ...] = self.running.get(places[k][0], ())
                        self.running[places[k][0]] = (*drop, f"+{mark}" if k == i else mark)
                i = max(j, i + 1)

    def _melismas(self) -> Iterator[tuple[int, int]]:
        """Runs of notes sung on one syllable, as (first, last) among the notes with pitch."""
        first = last = -1
        i = -1
        tied = True
        for _unused, _unused, note in self.tune.written():
            if note.pitch is None:
                if last > first and not tied:
                    yield first, last
                first = last = -1
                continue
            if note.grace:
                continue
            i += 1
            if note.syllables and note.syllables[0]:
                if last > first and not tied:
                    yield first, last
                first = last = i
                tied = True
                held = note.tie
            elif first >= 0:
                tied = tied and held
                held = note.tie
                last = i if i - first < LONGEST_MELISMA else first
        if first >= 0 and last > first and not tied:
            yield first, last

    # --- bars ---------------------------------------------------------------------------------------------------

    def whole(self, bar: Bar) -> bool:
        """Whether a bar can be written as a repeat of itself: nothing in it that reaches beyond it."""
        return all(not (n.before or n.slur_starts or n.slur_stops or n.syllables or n.grace) for n in bar.notes)

    def bar(self, index: int, grouped: bool = True) -> list[Piece]:
        """One bar's pieces; the state goes on to the next bar."""
        bar = self.tune.bars[index]
        self.number = bar.number
        lead: list[Piece] = []
        begin = self._lead(bar, index, lead) if bar.key or bar.time or bar.forward_repeat or bar.ending else ""
        notes = bar.notes
        if self.pitch_only:
            return self._pitches(bar, index, lead)
        codes: list[Code] = []
        plain, in_groups = True, False
        for note in notes:
            place = ROWS.get(note.base.as_integer_ratio())
            if place is None or not 0 <= note.dots <= MOST_DOTS:
                raise Trouble(_("Bar {number} has a note of {base} crotchets with {dots} dots, which has no cells; "
                                "write it in plain values.").format(
                                    number=bar.number, base=note.base, dots=note.dots))
            code = place[0] + 5 * place[1] + 16 * note.dots
            if note.pitch is None:
                code += REST_NOTE
            if note.tuplet and not note.grace:
                t = note.tuplet
                codes.append((code, t.actual, t.normal, t.place))
                in_groups = True
            elif not note.grace:
                codes.append(code)
            if note.grace or note.marks or note.before or note.whole_bar or note.syllables:
                plain = False
        if in_groups:
            codes = _with_places(codes)
        plan, total = write_bar(tuple(codes), self.full, self.beat, index == 0 and len(self.tune.bars) > 1,
                                grouped and self.habits.grouped and (plain or not any(n.grace for n in notes)))
        pieces = lead
        if len(notes) == 1 and notes[0].pitch is None and (
                notes[0].whole_bar or (self.full and total >= self.full)):
            if notes[0].before:
                self._directions(notes[0].before, pieces, index)
            after = S.AFTER["fermata"] if "fermata" in notes[0].marks else ""
            if begin:
                self._separate(pieces, begin)
                pieces.append(Piece(begin, "", "", False, 0, False))
            pieces.append(Piece("", "", WHOLE_REST + after, False, 0, bool(begin)))
            self._separate_last(pieces)
            self.tied = None
        else:
            if self.full and len(notes) == len(codes) <= 3 and set(codes) in ({REST_NOTE}, {REST_NOTE + 5}) and (
                    len(codes) == 1 or (codes[0] == REST_NOTE and total != self.full)):
                # By themselves in a bar of another length these would be read as bars of rest.
                sign = LARGER_SIGN if codes[0] == REST_NOTE else SMALLER_SIGN
                plan = ((sign, *plan[0][1:]), *plan[1:])
            self._notes(index, notes, plan, plain and not self.slurs, begin, pieces)
            if self.habits.part_repeats and not self.vocal:
                pieces = self._fold(bar, pieces)
            if begin and not notes:
                pieces.append(Piece(begin, "", "", False, 0, False))
        if bar.after:
            # Single words and dynamics stand before the bar line, several words apart and after it.
            apart = [d for d in bar.after if _stands_apart(d)]
            self._directions(tuple(d for d in bar.after if d not in apart), pieces, index, after=True)
            self.close(bar, index, pieces)
            self._directions(tuple(apart), pieces, index, after=True)
        else:
            self.close(bar, index, pieces)
        return pieces

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
        for times in (6, 4, 3, 2):
            count, left = divmod(len(notes), times)
            if left or notes != notes[:count] * times:
                continue
            shorter = any(sum(lengths[count - k:count]) * (times - 1) == self.full - sum(lengths[:count])
                          for k in range(1, count))
            if shorter or any(p.note == 0 for p in pieces[:1]):
                return pieces
            for k in range(1, times):
                again = Piece(S.BAR_REPEAT, "", "", False, pieces[k * count].note, True)
                again.all = [p.note for p in pieces[k * count:(k + 1) * count] if p.note]
                pieces[count + k - 1] = again
            del pieces[count + times - 1:]
            return pieces
        return pieces

    def _notes(self, index: int, notes: tuple[Note, ...], plan: tuple[Written, ...], plain: bool, begin: str,
               pieces: list[Piece]) -> None:
        in_force: dict[int, int] = {}
        before, tied, count = self.before, self.tied, self.count
        key_alter, marks = self.key_alter, self.habits.octave_marks
        k = 0
        for n, note in enumerate(notes):
            if note.grace:
                row = _GRACE_ROWS.get(note.base.as_integer_ratio(), 3)
                sign = group = dots = 0
                joined = False
            else:
                sign, group, row, dots, joined = plan[k]
                k += 1
            head = ""
            if not plain and note.before:
                self.before = before
                self._directions(note.before, pieces, index)
                before = self.before
            if begin:
                self._separate(pieces, begin)
                pieces.append(Piece(begin, "", "", False, 0, False))
                begin, joined = "", True
            mark_at = len(pieces)
            if group:
                head += S.TRIPLET if group == 3 else S.GROUP + number_cells(str(group), lower=True) + S.DOT
            if sign:
                head += S.LARGER_VALUES if sign == LARGER_SIGN else S.SMALLER_VALUES
            pitch = note.pitch
            if pitch is None:
                tail = _CELLS[row, dots][""]
                if note.marks and "fermata" in note.marks:
                    tail += S.AFTER["fermata"]
                tied = None
                pieces.append(Piece(head, "", tail, False, 0, joined))
            else:
                octave, alter = pitch.octave, pitch.alter
                place = 7 * octave + _INDEX[pitch.step]
                tail = _CELLS[row, dots][pitch.step]
                slurs = None if plain else self.slurs.get((index, n))
                if not plain:
                    head, tail = self._dress(index, n, note, head, tail, slurs)
                elif note.tie:
                    tail += S.TIE
                if tied is not None and tied[0] == place and tied[1] == alter:
                    if note.accidental:
                        head += self._accidental(note.accidental, alter, False)
                else:
                    needed = alter != (in_force[place] if place in in_force else key_alter[place % 7])
                    if tied is not None and tied[0] == place:
                        needed = True  # else the tie would carry its sign over
                    in_force[place] = alter
                    if needed or note.accidental:
                        head += self._accidental(note.accidental, alter, needed)
                if before is None:
                    due = True
                else:
                    steps = place - before
                    due = steps > 4 or steps < -4 or ((steps > 2 or steps < -2) and octave != before // 7)
                if not 0 <= octave <= 8:
                    raise Trouble(_("Bar {number} has {name}, which lies outside the octaves that braille has marks "
                                    "for; move the tune.").format(
                                        number=self.tune.bars[index].number, name=pitch.name))
                before = place
                if note.grace:
                    number = 0
                else:
                    count = number = count + 1
                tied = (place, alter) if note.tie and not (self.untied and (index, n) in self.untied) else None
                pieces.append(Piece(head, S.OCTAVES[octave], tail, due and marks, number, joined))
            if mark_at and (joined or not plain):
                self._separate_last(pieces)
        self.before, self.tied, self.count = before, tied, count

    def _accidental(self, accidental: str, alter: int, needed: bool) -> str:
        if accidental == "hidden" or not (needed or accidental):
            return ""
        try:
            sign = S.ACCIDENTALS[alter]
        except KeyError as error:
            raise Trouble(_("Bar {number} has a note raised or lowered by more than two semitones, which has no "
                            "sign in braille; write it by another letter.").format(number=self.number)) from error
        return S.EDITORIAL + sign + S.EDITORIAL if accidental == "editorial" else sign

    def _dress(self, index: int, n: int, note: Note, head: str, tail: str,
               slurs: _Slurs | None) -> tuple[str, str]:
        """Signs before and after a note that most notes do not have."""
        before = ""
        closes = slurs.closes if slurs else 0
        if slurs and slurs.opens:
            before = S.SLUR_OPEN * slurs.opens
            if closes:
                before += S.SLUR_CLOSE * closes
                closes = 0
        head = before + head
        if note.grace:
            head += S.BEFORE["short appoggiatura" if note.grace == "short" else "appoggiatura"]
        if note.marks:
            runs = self.running.get((index, n), ())
            for mark, cells in S.BEFORE.items():
                if mark in note.marks and "appoggiatura" not in mark:  # a grace note's sign, not an ordinary one's
                    head += cells * 2 if f"+{mark}" in runs else "" if mark in runs else cells
            if "fermata" in note.marks:
                tail += S.AFTER["fermata"]
        if slurs:
            if slurs.doubled:
                tail += S.SLUR + S.SLUR
            elif slurs.short:
                tail += S.SLUR
            tail += S.SLUR_CLOSE * closes
        if note.tie and not (self.untied and (index, n) in self.untied):
            tail += S.TIE
        if note.marks and "breath" in note.marks:
            tail += S.AFTER["breath"]
        return head, tail

    def _lead(self, bar: Bar, index: int, lead: list[Piece]) -> str:
        """What stands at the beginning of a bar; signatures as a piece of their own, the rest for the first note."""
        begin = ""
        if index:
            signature = ""
            if bar.key and bar.key.fifths != self.key.fifths:
                signature = key_cells(bar.key, self.key if self.habits.naturals else None)
            if bar.key:
                self.key = bar.key
                self._key()
            if bar.time and bar.time != self.time:
                self.time = bar.time
                self._meter()
                if not self.pitch_only:
                    signature += time_cells(bar.time)
            if signature:
                piece = Piece(signature + S.SPACE, "", "", False, 0, False)
                piece.flow = True
                lead.append(piece)
                self.before = None
        if self.pitch_only:
            return ""
        if bar.forward_repeat:
            begin += S.FORWARD_REPEAT
        if bar.ending:
            begin += S.NUMBER + number_cells("".join(map(str, bar.ending)), lower=True)
        if begin:
            self.before = None
        return begin

    def close(self, bar: Bar, index: int, pieces: list[Piece]) -> None:
        sign = (S.BACKWARD_REPEAT if bar.backward_repeat else
                {"final": S.FINAL_BAR, "double": S.DOUBLE_BAR, "dotted": S.DOTTED_BAR}.get(bar.barline, ""))
        if not sign:
            return
        if pieces and not pieces[-1].flow:
            self._separate(pieces, sign)
            pieces[-1].tail += sign
        else:
            self._separate(pieces, sign)
            pieces.append(Piece(sign, "", "", False, 0, True))
        if bar.barline != "dotted":
            self.before = None

    def _directions(self, said: tuple[ScoreDirection, ...], pieces: list[Piece], index: int, after: bool = False) -> None:
        for direction in said:
            if direction in self.hoisted:
                continue
            kind = direction.kind
            if kind in ("words", "dynamic", "jump") and direction.text not in ("segno", "coda"):
                text = expression_text(direction)
                cells = expression_cells(text)
                if not cells.strip(S.SPACE):
                    continue
                if _stands_apart(direction):
                    # Several words stand apart, between word signs; the bar goes on after a music hyphen.
                    started = any(p.note or p.tail for p in pieces)
                    gap = (S.SPACE if after else S.HYPHEN + S.SPACE) if started else ""
                    piece = Piece(gap + S.WORD + cells + S.WORD + ("" if after else S.SPACE), "", "", False, 0,
                                   bool(gap))
                    piece.flow = True
                    pieces.append(piece)
                    self.before = None
                    continue
                cells = S.WORD + cells
            elif kind == "metronome":
                cells = metronome_cells(direction.text)
                started = any(p.note or p.tail for p in pieces)
                if cells and not after and not started:
                    piece = Piece(cells + S.SPACE, "", "", False, 0, False)
                    piece.flow = True
                    pieces.append(piece)
                continue
            else:
                cells = {"crescendo": S.CRESCENDO, "diminuendo": S.DIMINUENDO, "hairpin end": self._hairpin_end(),
                         "jump": S.SEGNO if direction.text == "segno" else S.CODA}.get(kind, "")
                if kind in ("crescendo", "diminuendo"):
                    self.hairpin = kind
            if cells:
                self._separate(pieces, cells)
                pieces.append(Piece(cells, "", "", False, 0, after))
                self.before = None

    def _hairpin_end(self) -> str:
        return S.CRESCENDO_END if self.hairpin == "crescendo" else S.DIMINUENDO_END

    def _separate_last(self, pieces: list[Piece]) -> None:
        """Put a dot 3 between words or an ending's number and a note that begins with dots 1, 2 or 3."""
        last = pieces.pop()
        if pieces:
            self._separate(pieces, last.cells)
        pieces.append(last)

    def _separate(self, pieces: list[Piece], cells: str) -> None:
        if pieces and cells and cells[0] in _LEFT and cells[0] != S.WORD:
            p = pieces[-1]
            if not (p.note or p.tail or p.flow) and p.head and p.head[-1] not in (S.DOT, S.SPACE) and (
                    S.WORD in p.head or S.NUMBER in p.head or p.head in (S.SEGNO, S.CODA)):
                p.head += S.DOT

    def _pitches(self, bar: Bar, index: int, lead: list[Piece]) -> list[Piece]:
        """A bar of the reading exercise: every note a quaver, one note for a tie, rests left away."""
        in_force: dict[int, int] = {}
        bars = self.tune.bars
        held = index > 0 and bool(bars[index - 1].notes) and bars[index - 1].notes[-1].tie
        pieces = lead
        for note in bar.notes:
            pitch = note.pitch
            if pitch is not None and not note.grace:
                self.count += 1
                place = 7 * pitch.octave + _INDEX[pitch.step]
                if not held:
                    needed = pitch.alter != in_force.get(place, self.key_alter[place % 7])
                    in_force[place] = pitch.alter
                    head = self._accidental(note.accidental if note.accidental != "hidden" else "", pitch.alter, needed)
                    steps = None if self.before is None else place - self.before
                    due = steps is None or abs(steps) > 4 or (abs(steps) > 2 and pitch.octave != self.before // 7)  # type: ignore[operator]
                    if not 0 <= pitch.octave <= 8:
                        raise Trouble(_("Bar {number} has {name}, which lies outside the octaves that braille has "
                                        "marks for; move the tune.").format(number=bar.number, name=pitch.name))
                    pieces.append(Piece(head, S.OCTAVES[pitch.octave], _QUAVERS[pitch.step], due, self.count, False))
                    self.before = place
                    self.sounding = self.count
                else:
                    self.extra.append((self.count, self.sounding))
            if pitch is None or not note.grace:
                held = note.tie
        if not any(p.note for p in pieces):
            pieces.append(Piece("", "", WHOLE_REST, False, 0, False))  # the bar is kept, as a bar of rest
        if index == len(bars) - 1:
            pieces[-1].tail += S.FINAL_BAR
        return pieces
