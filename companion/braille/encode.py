"""A tune to music braille: one voice, with or without words, laid out in lines.

Octave marks by MBC 2015, 3.2.2: none for less than a fourth, always for more than a fifth, and for a fourth
or fifth only when the note lies in another octave than the one before. The first note has one, and so has
the first after a new line, a word sign, a double bar, a repeat or an ending. The octave is the written
letter's (C flat 4 lies in the fourth octave, De Garmo, chapter 7).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

from companion.braille import signs as S
from companion.braille import text as T
from companion.braille.page import BraillePage, Link, Said
from companion.errors import Trouble
from companion.tune.model import VALUES, Bar, Key, Note, Pitch, Time, Tune

NARROWEST, WIDEST = 12, 120
LONG_SLUR = 5  # a slur of so many notes is written with brackets (MBC 2015: up to four notes singly)
PITCH_ONLY_HEADING = "reading exercise: pitch only"


@dataclass
class _Piece:
    """Cells that must not be parted, what each sign of them says, and the note that they are."""

    cells: str = ""
    said: list[tuple[str, str]] = field(default_factory=list)
    note: int | None = None

    def add(self, cells: str, words: str) -> None:
        if cells:
            self.cells += cells
            self.said.append((cells, words))


@dataclass
class _State:
    """What the next note depends on: the note before (None: a mark is due), and accidentals in force."""

    before: Pitch | None = None
    in_force: dict[tuple[str, int], int] = field(default_factory=dict)
    tied: Pitch | None = None
    short: list[int] = field(default_factory=list)  # notes still to come under each open short slur
    long: list[int] = field(default_factory=list)  # and under each long one

    def copy(self) -> _State:
        return _State(self.before, dict(self.in_force), self.tied, list(self.short), list(self.long))


def needs_octave(before: Pitch | None, pitch: Pitch) -> bool:
    """Whether a note needs its octave mark after another (MBC 2015, 3.2.2); None before: a first note does."""
    if before is None:
        return True
    steps = abs(pitch.diatonic - before.diatonic)
    return steps > 4 or (steps >= 3 and pitch.octave != before.octave)


def number_cells(digits: str, lower: bool = False) -> str:
    """Digits in upper or lowered cells, with no number sign."""
    return "".join((S.LOWER_DIGITS if lower else S.UPPER_DIGITS)[d] for d in digits)


def key_cells(key: Key) -> str:
    """A key signature: up to three signs written out, else number, digit, sign."""
    sign = S.ACCIDENTALS[1 if key.fifths > 0 else -1]
    count = abs(key.fifths)
    return sign * count if count <= 3 else S.NUMBER + number_cells(str(count)) + sign


def time_cells(time: Time) -> str:
    """A time signature: common, cut, or upper figures then lowered ones; 3+2 as two upper figures."""
    if time.symbol:
        return S.COMMON if time.symbol == "common" else S.CUT
    upper = S.cells("346").join(S.NUMBER + number_cells(str(u)) for u in time.upper) if len(time.upper) > 1 \
        else S.NUMBER + number_cells(str(time.upper[0]))
    return upper + number_cells(str(time.lower), lower=True)


def say_key(key: Key) -> str:
    n = abs(key.fifths)
    return f"{n} {'sharp' if key.fifths > 0 else 'flat'}{'s' if n > 1 else ''}"


def say_time(time: Time) -> str:
    return f"{time.symbol} time" if time.symbol else f"{'+'.join(map(str, time.upper))} {time.lower} time"


class _Encoder:
    def __init__(self, tune: Tune, pitch_only: bool, american: bool) -> None:
        self.tune = tune
        self.pitch_only = pitch_only
        self.american = american
        self.numbers: dict[tuple[int, int], int] = {}
        for b, n, note in tune.written():
            if note.pitch is not None and not note.grace:
                self.numbers[b, n] = len(self.numbers) + 1
        self.key, self.time = tune.key, tune.time
        self.slur_lengths = self._slur_lengths()

    def _slur_lengths(self) -> dict[tuple[int, int], list[int]]:
        """For each note where slurs begin: how many notes each spans, itself included."""
        out: dict[tuple[int, int], list[int]] = {}
        open_: list[tuple[tuple[int, int], int]] = []
        count = 0
        for b, n, note in self.tune.written():
            if note.pitch is None or note.grace:
                continue
            count += 1
            for _ in range(note.slur_stops):
                if open_:
                    place, began = open_.pop(0)
                    out.setdefault(place, []).append(count - began + 1)
            open_ += [((b, n), count)] * note.slur_starts
        return out

    def bar(self, index: int, state: _State) -> list[_Piece]:
        """One bar's pieces. `state` goes on to the next bar."""
        bar = self.tune.bars[index]
        pieces: list[_Piece] = []
        lead = _Piece()
        self._lead(bar, index, lead, state)
        state.in_force = {}
        if self._whole_rest(bar) and not self.pitch_only:
            lead.add(S.REST_CELLS[Fraction(4)], "full bar rest")
            pieces.append(lead)
            state.tied = None
        else:
            for place, note in enumerate(bar.notes):
                if self.pitch_only and (note.pitch is None or note.grace or self._continues_tie(index, place)):
                    continue
                piece = lead
                lead = _Piece()
                self._note(index, place, note, piece, state)
                pieces.append(piece)
            if not pieces and lead.cells:
                pieces.append(lead)
        tail = pieces[-1] if pieces else _Piece()
        for said in bar.after:
            self._direction(said.kind, said.text, tail, state)
        self._close(bar, index, tail, state)
        return pieces or ([tail] if tail.cells else [])

    def _whole_rest(self, bar: Bar) -> bool:
        return bool(bar.notes) and all(n.pitch is None for n in bar.notes) and (
            len(bar.notes) == 1 and (bar.notes[0].whole_bar or bar.notes[0].quarters >= self.time.quarters))

    def _continues_tie(self, index: int, place: int) -> bool:
        bars = self.tune.bars
        if place == 0:
            if index == 0 or not bars[index - 1].notes:
                return False
            return bars[index - 1].notes[-1].tie
        return bars[index].notes[place - 1].tie

    def _lead(self, bar: Bar, index: int, piece: _Piece, state: _State) -> None:
        if bar.forward_repeat and not self.pitch_only:
            piece.add(S.FORWARD_REPEAT, "repeat from here")
            state.before = None
        if bar.ending and not self.pitch_only:
            piece.add(S.NUMBER + number_cells("".join(map(str, bar.ending)), lower=True),
                      f"ending {' and '.join(map(str, bar.ending))}")
            state.before = None
        if index and (bar.key or bar.time):
            if bar.key and bar.key.fifths != self.key.fifths:
                cancel = S.ACCIDENTALS[0] * min(3, abs(self.key.fifths)) if bar.key.fifths == 0 else ""
                said = say_key(bar.key) if bar.key.fifths else "no signs"
                piece.add(cancel or key_cells(bar.key), f"key: {said}")
                self.key = bar.key
            if bar.time and bar.time != self.time:
                piece.add(time_cells(bar.time), say_time(bar.time))
                self.time = bar.time
            if piece.cells:
                piece.add(S.SPACE, "space")
                state.before = None

    def _close(self, bar: Bar, index: int, piece: _Piece, state: _State) -> None:
        last = index == len(self.tune.bars) - 1
        if self.pitch_only:
            if last:
                piece.add(S.FINAL_BAR, "final double bar")
            return
        if bar.backward_repeat:
            piece.add(S.BACKWARD_REPEAT, "repeat to here")
            state.before = None
        elif bar.barline == "final" or last:
            piece.add(S.FINAL_BAR, "final double bar")
            state.before = None
        elif bar.barline == "double":
            piece.add(S.DOUBLE_BAR, "double bar")
            state.before = None

    def _direction(self, kind: str, said: str, piece: _Piece, state: _State) -> None:
        if self.pitch_only:
            return
        if kind in ("words", "dynamic"):
            text = T.words(said.lower() if kind == "words" else said)
            if S.SPACE in text:
                piece.add(S.WORD + text + S.WORD, f"words: {said}")
                piece.add(S.SPACE, "space")
            else:
                piece.add(S.WORD + text, f"words: {said}" if kind == "words" else f"dynamic {said}")
        elif kind == "crescendo":
            piece.add(S.CRESCENDO, "louder from here")
        elif kind == "diminuendo":
            piece.add(S.DIMINUENDO, "softer from here")
        elif kind == "hairpin end":
            piece.add(S.CRESCENDO_END, "louder ends")
        elif kind == "jump":
            if said in ("segno", "coda"):
                piece.add(S.SEGNO if said == "segno" else S.CODA, said)
            else:
                short = {"da capo": "d.c.", "dal segno": "d.s."}.get(said[:9].strip(), said)
                piece.add(S.WORD + T.words(short) + S.WORD, said)
        else:
            return
        state.before = None

    def _note(self, index: int, place: int, note: Note, piece: _Piece, state: _State) -> None:
        for said in note.before:
            self._direction(said.kind, said.text, piece, state)
        if note.before and note.before[-1].kind != "metronome" and piece.cells and not self.pitch_only and \
                piece.said[-1][0] != S.SPACE:
            # After words or a dynamic a dot 3 parts them from a cell with dots 1, 2 or 3 (MBC 2015, 22.2).
            trial = _Piece()
            self._plain(index, place, note, trial, state.copy())
            if trial.cells and set(S.dots_of(trial.cells[0])) & set("123"):
                piece.add(S.DOT, "")
        self._plain(index, place, note, piece, state)

    def _plain(self, index: int, place: int, note: Note, piece: _Piece, state: _State) -> None:
        base = Fraction(1, 2) if self.pitch_only else note.base
        dots = 0 if self.pitch_only else note.dots
        if note.tuplet and note.tuplet.place in ("start", "single") and not self.pitch_only:
            if note.tuplet.actual == 3:
                piece.add(S.TRIPLET, "triplet")
            else:
                piece.add(S.GROUP + number_cells(str(note.tuplet.actual), lower=True) + S.DOT,
                          f"group of {note.tuplet.actual}")
        if note.pitch is None:
            cells = T.note_cells(None, base, dots)
            piece.add(cells, f"{self._value(base, dots)} rest")
            state.tied = None
            return
        pitch = note.pitch
        starts = self.slur_lengths.get((index, place), []) if not self.pitch_only else []
        for length in starts:
            if length >= LONG_SLUR:
                piece.add(S.SLUR_OPEN, "long slur begins")
        if note.grace and not self.pitch_only:
            mark = "short appoggiatura" if note.grace == "short" else "appoggiatura"
            piece.add(S.BEFORE[mark], mark)
        if not self.pitch_only:
            for mark, cells in S.BEFORE.items():
                if mark in note.marks:
                    piece.add(cells, mark)
        self._accidental(note, pitch, piece, state)
        if needs_octave(state.before, pitch):
            octave = min(8, max(0, pitch.octave))
            piece.add(S.OCTAVES[octave], S.OCTAVE_WORDS[octave])
        cells = T.note_cells(pitch, base, dots, octave=False)
        sign = f" {S.ACCIDENTAL_WORDS[pitch.alter]}" if pitch.alter else ""
        piece.add(cells, f"{pitch.step}{sign}, {self._value(base, dots)}")
        if not note.grace:
            piece.note = self.numbers[index, place]
        if "fermata" in note.marks and not self.pitch_only:
            piece.add(S.AFTER["fermata"], "fermata")
        self._slurs(note, starts, piece, state)
        if note.tie and not self.pitch_only:
            piece.add(S.TIE, "tie")
        if "breath" in note.marks and not self.pitch_only:
            piece.add(S.AFTER["breath"], "breath")
        state.before = pitch
        state.tied = pitch if note.tie else None

    def _value(self, base: Fraction, dots: int) -> str:
        return ("", "dotted ", "double dotted ", "triple dotted ")[dots] + VALUES[base][1 if self.american else 0]

    def _accidental(self, note: Note, pitch: Pitch, piece: _Piece, state: _State) -> None:
        place = (pitch.step, pitch.octave)
        current = state.in_force.get(place, self.key.alter(pitch.step))
        held = state.tied == pitch
        needed = current != pitch.alter and not held
        if not held:
            state.in_force[place] = pitch.alter
        if note.accidental == "editorial":
            piece.add(S.EDITORIAL, "bracket")
            piece.add(S.ACCIDENTALS[pitch.alter], S.ACCIDENTAL_WORDS[pitch.alter])
            piece.add(S.EDITORIAL, "bracket")
        elif (needed and note.accidental != "hidden") or note.accidental == "shown":
            piece.add(S.ACCIDENTALS[pitch.alter], S.ACCIDENTAL_WORDS[pitch.alter])

    def _slurs(self, note: Note, starts: list[int], piece: _Piece, state: _State) -> None:
        if self.pitch_only or note.grace:
            return
        state.short = [n - 1 for n in state.short if n > 1] + [n - 1 for n in starts if n < LONG_SLUR]
        if state.short:
            piece.add(S.SLUR, "slur")
        closing = sum(n == 1 for n in state.long)
        for _ in range(closing):
            piece.add(S.SLUR_CLOSE, "long slur ends")
        state.long = [n - 1 for n in state.long if n > 1] + [n - 1 for n in starts if n >= LONG_SLUR]


def heading_cells(tune: Tune, pitch_only: bool) -> list[tuple[str, str]]:
    """The centred heading: key and time, as (cells, words)."""
    out = []
    if tune.key.fifths:
        out.append((key_cells(tune.key), say_key(tune.key)))
    if not pitch_only and any(b.time for b in tune.bars):
        out.append((time_cells(tune.time), say_time(tune.time)))
    return out


def encode(tune: Tune, *, width: int = 40, pitch_only: bool = False, words: bool = True, title: bool = True,
           american: bool = False) -> BraillePage:
    """A tune in music braille, in lines of at most `width` cells (12 to 120).

    pitch_only: a reading exercise, every note a quaver, rests, values and marks left away, and headed so.
    words: a word line over each line of music, where the tune has words. Raises Trouble for a bad width.
    """
    if not NARROWEST <= width <= WIDEST:
        raise Trouble(f"A line of {width} cells was asked for; give a width from {NARROWEST} to {WIDEST}.")
    encoder = _Encoder(tune, pitch_only, american)
    page = _Lines(width)
    if title and tune.title:
        page.centred([(T.words(tune.title), f"title: {tune.title}")])
    if pitch_only:
        page.centred([(T.words(PITCH_ONLY_HEADING), PITCH_ONLY_HEADING)])
    heading = heading_cells(tune, pitch_only)
    if heading:
        page.centred(heading)
    if words and not pitch_only and any(n.syllables for _, _, n in tune.written()):
        _vocal(tune, encoder, page)
    else:
        _plain(tune, encoder, page)
    return BraillePage(tuple(page.lines), tuple(sorted(page.links, key=lambda k: (k.note, k.line))),
                       tuple(page.said))


class _Lines:
    """Lines under way, with links and words gathered as cells are put down."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []
        self.links: list[Link] = []
        self.said: list[Said] = []

    def new(self, indent: int = 0) -> None:
        self.lines.append(S.SPACE * indent)

    @property
    def room(self) -> int:
        return self.width - len(self.lines[-1])

    def put(self, piece: _Piece) -> None:
        line, column = len(self.lines), len(self.lines[-1]) + 1
        if piece.note is not None:
            self.links.append(Link(piece.note, line, column, len(piece.cells)))
        for cells, said in piece.said:
            if said and said != "space":
                self.said.append(Said(line, column, len(cells), said))
            column += len(cells)
        self.lines[-1] += piece.cells

    def space(self) -> None:
        self.lines[-1] += S.SPACE

    def centred(self, signs: list[tuple[str, str]]) -> None:
        """Signs next to each other in the middle of a line; text too long for one line runs on at its words."""
        text = "".join(c for c, _ in signs)
        if len(text) <= self.width:
            self.new((self.width - len(text)) // 2)
            for cells, said in signs:
                self.put(_Piece(cells, [(cells, said)]))
            return
        for line in wrap(text, self.width):
            self.new((self.width - len(line)) // 2)
            self.put(_Piece(line, [(line, signs[0][1])]))


def wrap(text: str, width: int, indent: int = 0) -> list[str]:
    """Braille text cut at its spaces into lines of at most `width`; a longer word is cut where it must be."""
    lines, line = [], ""
    for word in text.split(S.SPACE):
        while len(word) > width - indent:
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:width - indent])
            word = word[width - indent:]
        if not line:
            line = word
        elif len(line) + 1 + len(word) <= width - indent:
            line += S.SPACE + word
        else:
            lines.append(line)
            line = word
    return [*lines, line] if line else lines


def _plain(tune: Tune, encoder: _Encoder, page: _Lines) -> None:
    page.new()
    state = _State()
    for index in range(len(tune.bars)):
        _place_bar(index, encoder, page, state, runover=2)


def _length(pieces: list[_Piece]) -> int:
    return sum(len(p.cells) for p in pieces)


def _place_bar(index: int, encoder: _Encoder, page: _Lines, state: _State, runover: int) -> None:
    """Put a bar on the line, or on a new one where it does not fit, or in parts with music hyphens."""
    line = page.lines[-1]
    begun = bool(line.strip(S.SPACE))
    kept = (encoder.key, encoder.time)
    trial_state = state.copy()
    pieces = encoder.bar(index, trial_state)
    if not pieces:
        state.__dict__.update(trial_state.__dict__)
        return
    gap = 1 if begun else 0
    if _length(pieces) + gap <= page.room:
        if begun:
            page.space()
        for piece in pieces:
            page.put(piece)
        state.__dict__.update(trial_state.__dict__)
        return
    encoder.key, encoder.time = kept
    if begun:
        page.new(runover)
    state.before = None
    pieces = encoder.bar(index, state)
    if _length(pieces) <= page.room:
        for piece in pieces:
            page.put(piece)
        return
    _place_long(index, pieces, encoder, page, runover)


def _place_long(index: int, pieces: list[_Piece], encoder: _Encoder, page: _Lines, runover: int) -> None:
    """A bar longer than a line, in parts: each but the last ends in a music hyphen, each begins with a mark."""
    marks = {encoder.numbers[index, n]: note.pitch for n, note in enumerate(encoder.tune.bars[index].notes)
             if (index, n) in encoder.numbers}
    for k, piece in enumerate(pieces):
        more = 0 if k == len(pieces) - 1 else 1
        if len(piece.cells) + more > page.room and page.lines[-1].strip(S.SPACE):
            page.put(_Piece(S.HYPHEN, [(S.HYPHEN, "music hyphen")]))
            page.new(runover)
            pitch = marks.get(piece.note) if piece.note is not None else None
            if pitch is not None:
                piece = _marked(piece, pitch)
        if len(piece.cells) > page.room:
            raise Trouble(f"A line of {page.width} cells is too short for bar {encoder.tune.bars[index].number}; "
                          "give a greater width.")
        page.put(piece)


def _marked(piece: _Piece, pitch: Pitch) -> _Piece:
    """The same piece with the octave mark that the first note of a line has."""
    octave = min(8, max(0, pitch.octave))
    if any(cells == S.OCTAVES[octave] and said in S.OCTAVE_WORDS for cells, said in piece.said):
        return piece
    out = _Piece(note=piece.note)
    for cells, said in piece.said:
        if said.startswith(pitch.step) and ", " in said:
            out.add(S.OCTAVES[octave], S.OCTAVE_WORDS[octave])
        out.add(cells, said)
    return out


def _vocal(tune: Tune, encoder: _Encoder, page: _Lines) -> None:
    """A line of words at the margin, its music below from cell 3 (MBC 2015, section 35); verses after the first
    stand by themselves at the end."""
    state = _State()
    index = 0
    while index < len(tune.bars):
        taken, last_fit = 0, 0
        # As many bars as fit in one line of words and one of music.
        probe = state.copy()
        probe.before = None
        kept = (encoder.key, encoder.time)
        length = 2
        while index + taken < len(tune.bars):
            pieces = encoder.bar(index + taken, probe)
            length += _length(pieces) + (1 if taken else 0)
            text = _words_of(tune, index, index + taken + 1)
            if taken and (length > page.width or len(text) > page.width):
                break
            taken += 1
            last_fit = taken
            if _phrase_ends(tune, index + taken):
                break
        encoder.key, encoder.time = kept
        text = _words_of(tune, index, index + last_fit)
        for k, line in enumerate(wrap(text, page.width, 4)):
            page.new(4 if k else 0)
            page.put(_Piece(line, [(line, "words")]))
        page.new(2)
        state.before = None
        for b in range(index, index + last_fit):
            _place_bar(b, encoder, page, state, runover=4)
        index += last_fit
    for verse in range(1, max((len(n.syllables) for _, _, n in tune.written()), default=0)):
        text = _words_of(tune, 0, len(tune.bars), verse)
        label = S.NUMBER + number_cells(str(verse + 1)) + S.SPACE
        for k, line in enumerate(wrap(label + text, page.width, 4)):
            page.new(4 if k else 0)
            page.put(_Piece(line, [(line, f"verse {verse + 1}")]))


def _phrase_ends(tune: Tune, index: int) -> bool:
    """Whether the bar at `index` begins with the first note of a phrase, so that a line may end before it."""
    return any(n.sources[0][0] == index and n.sources[0][1] == 0 and n.number > 1 and
               tune.line()[n.number - 2].phrase != n.phrase for n in tune.line())


def _syllables(tune: Tune, first: int, stop: int, verse: int) -> Iterator[tuple[str, str]]:
    for bar in tune.bars[first:stop]:
        for note in bar.notes:
            if len(note.syllables) > verse and (said := note.syllables[verse]):
                yield said.text.replace("‿", " "), said.place


def _words_of(tune: Tune, first: int, stop: int, verse: int = 0) -> str:
    """The words under some bars, in cells; the hyphens that part syllables in print are not written."""
    out = ""
    for text, place in _syllables(tune, first, stop, verse):
        out += text if place in ("begin", "middle") else text + " "
    return T.words(out.strip())


def pitch_only_tune(tune: Tune) -> Tune:
    """The tune as a reading exercise: every note a quaver, rests, ties and marks left away."""
    bars = []
    for b, bar in enumerate(tune.bars):
        held = b > 0 and bool(tune.bars[b - 1].notes) and tune.bars[b - 1].notes[-1].tie
        notes = []
        for note in bar.notes:
            if note.pitch is not None and not note.grace and not held:
                notes.append(Note(pitch=note.pitch, base=Fraction(1, 2)))
            held = note.tie
        bars.append(replace(bar, notes=tuple(notes), time=None))
    return replace(tune, bars=tuple(bars))
