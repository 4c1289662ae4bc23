"""Writing MusicXML 4.0, element by element, so that what was read comes back as it stood."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from xml.etree import ElementTree as ET

from companion.tune.chords import ChordKind, ChordNote, ChordSymbol
from companion.tune.convert import TYPES, split_value
from companion.tune.model import Bar, Note, ScoreDirection
from companion.tune.signs import ACCIDENTALS, Barline, DirectionKind, Display, Grace, Jump
from companion.tune.tune import Tune

_TYPE_NAMES = {value: name for name, value in TYPES.items()}
#: Clefs: sign, line, octaves by which they move, and the lowest and highest line in steps of the staff above C0.
_CLEFS = (("G", 2, 0, 30, 38), ("G", 2, -1, 23, 31), ("F", 4, 0, 18, 26))
_LEDGER_LINES = 1.0  # so many a note are usual in the treble clef: from more on another clef is easier to read
#: Elements that gather marks, in the order in which they are written; others follow, and marks that need none.
_GROUPS = ("ornaments", "technical", "articulations")
_WEDGES = {DirectionKind.CRESCENDO: "crescendo", DirectionKind.DIMINUENDO: "diminuendo",
           DirectionKind.HAIRPIN_END: "stop"}


def to_musicxml(tune: Tune) -> bytes:
    """The tune as written, as a MusicXML 4.0 partwise score of one part, UTF-8."""
    root = ET.Element("score-partwise", version="4.0")
    ET.SubElement(ET.SubElement(root, "work"), "work-title").text = tune.title
    if tune.composer:
        ET.SubElement(ET.SubElement(root, "identification"), "creator", type="composer").text = tune.composer
    score_part = ET.SubElement(ET.SubElement(root, "part-list"), "score-part", id="P1")
    ET.SubElement(score_part, "part-name").text = "Voice"
    _write_bars(ET.SubElement(root, "part", id="P1"), tune)
    ET.indent(root)
    head = (b'<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
            b'"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n')
    body: bytes = ET.tostring(root, encoding="utf-8")
    return head + body + b"\n"


def _write_bars(part: ET.Element, tune: Tune) -> None:
    divisions = lcm(*(n.quarters.denominator for _, _, n in tune.written())) if tune.bars else 1
    slur_numbers: list[int] = []  # of the slurs that are open
    tied = False
    for index, bar in enumerate(tune.bars):
        implicit = {"implicit": "yes"} if index == 0 and tune.pickup else {}
        measure = ET.SubElement(part, "measure", {"number": str(bar.number), **implicit})
        _write_left(measure, bar)
        _write_attributes(measure, bar, divisions if index == 0 else None, _clef(tune) if index == 0 else None)
        if index == 0 and tune.quarter_bpm and not any(d.kind is DirectionKind.METRONOME for n in bar.notes for d in n.before):
            _write_direction(measure, ScoreDirection(DirectionKind.METRONOME, f"1={tune.quarter_bpm:g}"))
        for note in bar.notes:
            for said in note.before:
                _write_direction(measure, said)
            for k, chord in enumerate(note.chords):  # those after the first are spread over the note
                _write_chord(measure, chord, int(note.quarters * divisions * k / len(note.chords)))
            _write_note(measure, note, divisions, tied, slur_numbers)
            tied = note.tie if not note.grace else tied
        for said in bar.after:
            _write_direction(measure, said)
        _write_right(measure, bar, tune)


def _write_left(measure: ET.Element, bar: Bar) -> None:
    if not (bar.forward_repeat or bar.ending):
        return
    left = ET.SubElement(measure, "barline", location="left")
    if bar.forward_repeat:
        ET.SubElement(left, "bar-style").text = "heavy-light"
    if bar.ending:
        ET.SubElement(left, "ending", number=",".join(map(str, bar.ending)), type="start")
    if bar.forward_repeat:
        ET.SubElement(left, "repeat", direction="forward")


def _write_attributes(measure: ET.Element, bar: Bar, divisions: int | None,
                      clef: tuple[str, int, int] | None) -> None:
    if not (divisions or bar.key or bar.time):
        return
    attributes = ET.SubElement(measure, "attributes")
    if divisions:
        ET.SubElement(attributes, "divisions").text = str(divisions)
    if bar.key:
        key = ET.SubElement(attributes, "key")
        ET.SubElement(key, "fifths").text = str(bar.key.fifths)
        ET.SubElement(key, "mode").text = bar.key.mode
    if bar.time:
        symbol = {"symbol": bar.time.symbol} if bar.time.symbol else {}
        time = ET.SubElement(attributes, "time", symbol)
        ET.SubElement(time, "beats").text = "+".join(map(str, bar.time.upper))
        ET.SubElement(time, "beat-type").text = str(bar.time.lower)
    if clef:
        sign, line, octaves = clef
        element = ET.SubElement(attributes, "clef")
        ET.SubElement(element, "sign").text = sign
        ET.SubElement(element, "line").text = str(line)
        if octaves:
            ET.SubElement(element, "clef-octave-change").text = str(octaves)


def _clef(tune: Tune) -> tuple[str, int, int]:
    """Sign, line and octaves moved: treble; for a voice that lies low the clef that wants the fewest ledger lines."""
    steps = [n.pitch.diatonic for _, _, n in tune.written() if n.pitch is not None]
    lines = {c: sum(max(0, c[3] - s, s - c[4]) // 2 for s in steps) for c in _CLEFS}
    best = _CLEFS[0] if lines[_CLEFS[0]] <= _LEDGER_LINES * len(steps) else min(_CLEFS, key=lambda c: lines[c])
    return best[:3]


def _write_direction(measure: ET.Element, said: ScoreDirection) -> None:
    placement = "below" if said.kind is DirectionKind.DYNAMIC else "above"
    direction = ET.SubElement(measure, "direction", placement=placement)
    kind = ET.SubElement(direction, "direction-type")
    if said.kind is DirectionKind.DYNAMIC:
        ET.SubElement(ET.SubElement(kind, "dynamics"), said.text)
    elif said.kind in _WEDGES:
        ET.SubElement(kind, "wedge", type=_WEDGES[said.kind])
    elif said.kind is DirectionKind.METRONOME:
        _write_metronome(direction, kind, said.text)
    elif said.kind is DirectionKind.JUMP:
        jump = Jump(said.text)
        if jump.sign:
            ET.SubElement(kind, jump.value)
        else:
            ET.SubElement(kind, "words").text = said.text
        if jump.sound:
            ET.SubElement(direction, "sound", dict([jump.sound]))
    else:
        ET.SubElement(kind, "words").text = said.text


def _write_chord(measure: ET.Element, chord: ChordSymbol, offset: int) -> None:
    """A chord symbol. offset: from the beginning of the note that follows, in divisions."""
    harmony = ET.SubElement(measure, "harmony")
    _write_chord_note(ET.SubElement(harmony, "root"), "root", chord.root)
    other = chord.kind is ChordKind.OTHER
    text = {"text": chord.text.removeprefix(chord.root.name)} if other else {"text": chord.kind.suffix or ""}
    ET.SubElement(harmony, "kind", text).text = chord.kind.value
    if chord.bass:
        _write_chord_note(ET.SubElement(harmony, "bass"), "bass", chord.bass)
    if offset:
        ET.SubElement(harmony, "offset").text = str(offset)


def _write_chord_note(parent: ET.Element, name: str, note: ChordNote) -> None:
    ET.SubElement(parent, f"{name}-step").text = note.step
    if note.alter:
        ET.SubElement(parent, f"{name}-alter").text = str(note.alter)


def _write_metronome(direction: ET.Element, kind: ET.Element, text: str) -> None:
    unit, number = text.split("=")
    base, dots = split_value(Fraction(unit))[0]
    mark = ET.SubElement(kind, "metronome")
    ET.SubElement(mark, "beat-unit").text = _TYPE_NAMES[base]
    for _ in range(dots):
        ET.SubElement(mark, "beat-unit-dot")
    ET.SubElement(mark, "per-minute").text = number
    ET.SubElement(direction, "sound", tempo=f"{float(Fraction(unit)) * float(number):g}")


def _write_note(measure: ET.Element, note: Note, divisions: int, tied: bool, slurs: list[int]) -> None:
    """One note, its children in the order that the schema wants. `tied`: the note before is tied to this one."""
    element = ET.SubElement(measure, "note")
    tie_stops = tied and note.pitch is not None and not note.grace
    if note.grace:
        ET.SubElement(element, "grace", {"slash": "yes"} if note.grace is Grace.SHORT else {"slash": "no"})
    _write_pitch(element, note)
    if not note.grace:
        ET.SubElement(element, "duration").text = str(int(note.quarters * divisions))
    if tie_stops:
        ET.SubElement(element, "tie", type="stop")
    if note.tie:
        ET.SubElement(element, "tie", type="start")
    ET.SubElement(element, "voice").text = "1"
    _write_value(element, note)
    _write_notations(element, note, tie_stops, slurs)
    _write_lyrics(element, note)


def _write_pitch(element: ET.Element, note: Note) -> None:
    if note.pitch is None:
        ET.SubElement(element, "rest", {"measure": "yes"} if note.whole_bar else {})
        return
    pitch = ET.SubElement(element, "pitch")
    ET.SubElement(pitch, "step").text = note.pitch.step
    if note.pitch.alter:
        ET.SubElement(pitch, "alter").text = str(note.pitch.alter)
    ET.SubElement(pitch, "octave").text = str(note.pitch.octave)


def _write_value(element: ET.Element, note: Note) -> None:
    """The value with its dots, the accidental where one is printed, the tuplet's ratio."""
    if not note.whole_bar:
        ET.SubElement(element, "type").text = _TYPE_NAMES[note.base]
        for _ in range(note.dots):
            ET.SubElement(element, "dot")
    if note.pitch is not None and note.accidental in (Display.SHOWN, Display.EDITORIAL):
        brackets = {"parentheses": "yes"} if note.accidental is Display.EDITORIAL else {"cautionary": "yes"}
        ET.SubElement(element, "accidental", brackets).text = ACCIDENTALS[note.pitch.alter].musicxml[0]
    if note.tuplet:
        change = ET.SubElement(element, "time-modification")
        ET.SubElement(change, "actual-notes").text = str(note.tuplet.actual)
        ET.SubElement(change, "normal-notes").text = str(note.tuplet.normal)


def _write_lyrics(element: ET.Element, note: Note) -> None:
    for number, syllable in enumerate(note.syllables, 1):
        if not syllable:
            continue
        lyric = ET.SubElement(element, "lyric", number=str(number))
        ET.SubElement(lyric, "syllabic").text = syllable.place
        for k, text in enumerate(syllable.text.split("‿")):
            if k:
                ET.SubElement(lyric, "elision").text = "‿"
            ET.SubElement(lyric, "text").text = text
        if syllable.extends:
            ET.SubElement(lyric, "extend")


def _write_notations(element: ET.Element, note: Note, tie_stops: bool, slurs: list[int]) -> None:
    notations = ET.Element("notations")
    if tie_stops:
        ET.SubElement(notations, "tied", type="stop")
    if note.tie:
        ET.SubElement(notations, "tied", type="start")
    _write_slurs(notations, note, slurs)
    if note.tuplet and note.tuplet.place:
        for kind in ("start", "stop") if note.tuplet.place == "single" else (note.tuplet.place,):
            ET.SubElement(notations, "tuplet", type=kind)
    _write_marks(notations, note)
    if len(notations):
        element.append(notations)


def _write_slurs(notations: ET.Element, note: Note, slurs: list[int]) -> None:
    """`slurs`: numbers of those open, oldest first; changed here."""
    for _ in range(note.slur_stops):
        if slurs:
            ET.SubElement(notations, "slur", type="stop", number=str(slurs.pop(0)))
    for _ in range(note.slur_starts):
        number = next(k for k in range(1, 17) if k not in slurs)
        slurs.append(number)
        ET.SubElement(notations, "slur", type="start", number=str(number))


def _write_marks(notations: ET.Element, note: Note) -> None:
    gathered: dict[str, list[str]] = {group: [] for group in _GROUPS}
    for mark in note.marks:
        group, _slash, element = mark.sign.musicxml[0].rpartition("/")
        gathered.setdefault(group, []).append(element)
    for group, elements in gathered.items():
        parent = ET.SubElement(notations, group) if group and elements else notations
        for element in elements:
            ET.SubElement(parent, element)


def _write_right(measure: ET.Element, bar: Bar, tune: Tune) -> None:
    last = bar is tune.bars[-1]
    line = bar.barline
    if line is Barline.PLAIN and last and not bar.backward_repeat:
        line = Barline.FINAL
    style = "" if line is Barline.PLAIN else line.sign.musicxml[0]
    if not (style or bar.backward_repeat or bar.ending_stop):
        return
    right = ET.SubElement(measure, "barline", location="right")
    if style or bar.backward_repeat:
        ET.SubElement(right, "bar-style").text = style if style and not bar.backward_repeat else "light-heavy"
    if bar.ending_stop:
        numbers = next((b.ending for b in reversed(tune.bars[:tune.bars.index(bar) + 1]) if b.ending), (1,))
        ET.SubElement(right, "ending", number=",".join(map(str, numbers)), type="stop")
    if bar.backward_repeat:
        times = {"times": str(bar.backward_repeat)} if bar.backward_repeat > 2 else {}
        ET.SubElement(right, "repeat", {"direction": "backward", **times})
