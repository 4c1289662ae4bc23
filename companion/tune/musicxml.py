"""Writing MusicXML 4.0, element by element, so that what was read comes back as it stood."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from xml.etree import ElementTree as ET

from companion.tune.convert import TYPES, split_value
from companion.tune.model import Bar, Note, ScoreDirection
from companion.tune.tune import Tune

_TYPE_NAMES = {value: name for name, value in TYPES.items()}
_ARTICULATION_TAGS = {
    "staccato": "staccato", "staccatissimo": "staccatissimo", "accent": "accent",
    "strong accent": "strong-accent", "tenuto": "tenuto", "staccato-tenuto": "detached-legato",
    "breath": "breath-mark",
}  # fmt: skip
_ORNAMENT_TAGS = {
    "trill": "trill-mark", "turn": "turn", "inverted turn": "inverted-turn", "mordent": "mordent",
    "inverted mordent": "inverted-mordent",
}  # fmt: skip
#: Clefs: sign, line, octaves by which they move, and the lowest and highest line in steps of the staff above C0.
_CLEFS = (("G", 2, 0, 30, 38), ("G", 2, -1, 23, 31), ("F", 4, 0, 18, 26))
_LEDGER_LINES = 1.0  # so many a note are usual in the treble clef: from more on another clef is easier to read
_ACCIDENTAL_TAGS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


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
        if index == 0 and tune.quarter_bpm and not any(d.kind == "metronome" for n in bar.notes for d in n.before):
            _write_direction(measure, ScoreDirection("metronome", f"1={tune.quarter_bpm:g}"))
        for note in bar.notes:
            for said in note.before:
                _write_direction(measure, said)
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
    direction = ET.SubElement(measure, "direction", placement="below" if said.kind == "dynamic" else "above")
    kind = ET.SubElement(direction, "direction-type")
    if said.kind == "dynamic":
        ET.SubElement(ET.SubElement(kind, "dynamics"), said.text)
    elif said.kind in ("crescendo", "diminuendo"):
        ET.SubElement(kind, "wedge", type=said.kind)
    elif said.kind == "hairpin end":
        ET.SubElement(kind, "wedge", type="stop")
    elif said.kind == "metronome":
        unit, number = said.text.split("=")
        base, dots = split_value(Fraction(unit))[0]
        mark = ET.SubElement(kind, "metronome")
        ET.SubElement(mark, "beat-unit").text = _TYPE_NAMES[base]
        for _ in range(dots):
            ET.SubElement(mark, "beat-unit-dot")
        ET.SubElement(mark, "per-minute").text = number
        ET.SubElement(direction, "sound", tempo=f"{float(Fraction(unit)) * float(number):g}")
    elif said.kind == "jump" and said.text in ("segno", "coda"):
        ET.SubElement(kind, said.text)
    else:
        ET.SubElement(kind, "words").text = said.text
        sound = {"da capo": {"dacapo": "yes"}, "dal segno": {"dalsegno": "segno"}, "fine": {"fine": "yes"},
                 "to coda": {"tocoda": "coda"}}
        for start, attributes in sound.items():
            if said.kind == "jump" and said.text.startswith(start):
                ET.SubElement(direction, "sound", attributes)


def _write_note(measure: ET.Element, note: Note, divisions: int, tied: bool, slurs: list[int]) -> None:
    """One note, its children in the order that the schema wants. `tied`: the note before is tied to this one."""
    element = ET.SubElement(measure, "note")
    tie_stops = tied and note.pitch is not None and not note.grace
    if note.grace:
        ET.SubElement(element, "grace", {"slash": "yes"} if note.grace == "short" else {"slash": "no"})
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
    if note.pitch is not None and note.accidental in ("shown", "editorial"):
        brackets = {"parentheses": "yes"} if note.accidental == "editorial" else {"cautionary": "yes"}
        ET.SubElement(element, "accidental", brackets).text = _ACCIDENTAL_TAGS[note.pitch.alter]
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
    ornaments = [_ORNAMENT_TAGS[m] for m in note.marks if m in _ORNAMENT_TAGS]
    if ornaments:
        group = ET.SubElement(notations, "ornaments")
        for tag in ornaments:
            ET.SubElement(group, tag)
    articulations = [_ARTICULATION_TAGS[m] for m in note.marks if m in _ARTICULATION_TAGS]
    if articulations:
        group = ET.SubElement(notations, "articulations")
        for tag in articulations:
            ET.SubElement(group, tag)
    if "fermata" in note.marks:
        ET.SubElement(notations, "fermata")


def _write_right(measure: ET.Element, bar: Bar, tune: Tune) -> None:
    last = bar is tune.bars[-1]
    style = {"double": "light-light", "final": "light-heavy", "dotted": "dotted", "none": "none"}.get(
        bar.barline, "light-heavy" if last and not bar.backward_repeat else "")
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
