"""From a music21 stream to our own `Tune`: what is printed stays, bar by bar."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

from companion.errors import Trouble
from companion.messages import _
from companion.tune.chords import ChordKind, ChordNote, ChordSymbol
from companion.tune.model import VALUES, Bar, Key, Note, Pitch, ScoreDirection, Syllable, Time, Tuplet
from companion.tune.signs import Barline, DirectionKind, Display, Grace, Jump, Mark
from companion.tune.tune import Tune

#: music21's names of note values.
TYPES = {
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
    "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
    "128th": Fraction(1, 32),
}  # fmt: skip

MOST_SIGNS = 7  # sharps or flats in a key: one for each letter
MOST_ALTERED = 2  # semitones: the double sharp and the double flat are the farthest signs
#: Octaves that braille has marks for: the seven, and one below and above them (MBC 2015, 3.2). No voice
#: comes near either end, so a note beyond them is a slip.
OCTAVES = range(0, 9)


@dataclass
class _Spans:
    """What a part's spanners say, by the `id` of the music21 element at which it begins or ends."""

    slur_starts: Counter[int] = field(default_factory=Counter)
    slur_stops: Counter[int] = field(default_factory=Counter)
    hairpins: dict[int, list[ScoreDirection]] = field(default_factory=dict)
    hairpin_ends: set[int] = field(default_factory=set)
    #: By measure: numbers of the ending that begins there (empty inside one), and whether it ends there.
    endings: dict[int, tuple[tuple[int, ...], bool]] = field(default_factory=dict)


def from_music21(part: Any, title: str = "", source: str = "") -> Tune:
    """A music21 Part (or a stream of notes without measures) as a `Tune`.

    Raises Trouble where several notes stand at once, or a value cannot be written.
    """
    from music21 import stream

    measures = list(part.getElementsByClass(stream.Measure))
    if not measures:
        import copy

        flat = copy.deepcopy(part)
        if not flat.recurse().notesAndRests:
            return Tune(title=title, bars=(), source=source)
        part = flat  # whose spanners know the notes that stand in the measures
        flat.makeMeasures(inPlace=True)
        flat.makeTies(inPlace=True)
        measures = list(flat.getElementsByClass(stream.Measure))
    spans = _spans(part)
    bars: list[Bar] = []
    hairpin_over = False
    for index, measure in enumerate(measures):
        bar, hairpin_over = _bar(measure, index + 1, spans, hairpin_over)
        bars.append(bar)
    return Tune(title=title, bars=tuple(bars), quarter_bpm=_tempo(part), source=source)


def _spans(part: Any) -> _Spans:
    from music21 import spanner

    spans = _Spans()
    there = {id(e) for e in part.recurse().notes}
    for sp in part.recurse().getElementsByClass(spanner.Spanner):
        first, last = sp.getFirst(), sp.getLast()
        if isinstance(sp, spanner.Slur) and (id(first) not in there or id(last) not in there):
            # music21's reader of ABC ends slurs at rests, and those at grace notes at notes that are in no bar: from the
            # first note that is there to the last.
            members = [e for e in sp.getSpannedElements() if id(e) in there]
            first, last = (members[0], members[-1]) if members else (None, None)
        if isinstance(sp, spanner.Slur) and first is not None and last is not None and first is not last:
            spans.slur_starts[id(first)] += 1
            spans.slur_stops[id(last)] += 1
        elif type(sp).__name__ in ("Crescendo", "Diminuendo"):
            spans.hairpins.setdefault(id(first), []).append(
                ScoreDirection(DirectionKind(type(sp).__name__.lower())))
            spans.hairpin_ends.add(id(last))
        elif isinstance(sp, spanner.RepeatBracket):
            numbers = tuple(sp.numberRange) or (1,)
            members = list(sp.getSpannedElements())
            for m in members:
                spans.endings[id(m)] = (numbers if m is members[0] else (), m is members[-1])
    return spans


def _tempo(part: Any) -> float | None:
    """Crotchets a minute of the first metronome mark that has a number."""
    from music21 import tempo

    marks = part.recurse().getElementsByClass(tempo.MetronomeMark)
    return next((float(m.getQuarterBPM() or m.number) for m in marks if m.number and m.number > 0), None)


def _bar(measure: Any, where: int, spans: _Spans, hairpin_over: bool) -> tuple[Bar, bool]:
    """A measure as a bar, and whether a hairpin has ended at its last note. `where`: its place, from 1."""
    notes, after, hairpin_over = _bar_notes(measure, where, spans, hairpin_over)
    key, time = _signatures(measure)
    left, right = measure.leftBarline, measure.rightBarline
    ending, ending_stop = spans.endings.get(id(measure), ((), False))
    return Bar(
        number=int(measure.number or 0), notes=tuple(notes), key=key, time=time,
        forward_repeat=left is not None and type(left).__name__ == "Repeat",
        backward_repeat=int(right.times or 2) if right is not None and type(right).__name__ == "Repeat" else 0,
        ending=ending, ending_stop=ending_stop, barline=_barline(right), after=tuple(after)), hairpin_over


@lru_cache(maxsize=1)
def _barlines() -> dict[str, Barline]:
    """Bar lines by music21's name of their style, made from the rows of `Barline`."""
    from music21 import bar

    return {bar.barTypeDict.get(style, style): line for line in Barline for style in line.sign.musicxml}


def _barline(right: Any) -> Barline:
    return Barline.PLAIN if right is None else _barlines().get(str(right.type), Barline.PLAIN)


def _signatures(measure: Any) -> tuple[Key | None, Time | None]:
    key = time = None
    for k in measure.getElementsByClass("KeySignature"):
        fifths = k.sharps or 0
        if abs(fifths) > MOST_SIGNS:
            too_many = (_("Bar {number} has a key of {signs} sharps; seven is the most. Write the tune in another key.")
                        if fifths > 0 else
                        _("Bar {number} has a key of {signs} flats; seven is the most. Write the tune in another key."))
            raise Trouble(too_many.format(number=measure.number, signs=abs(fifths)))
        key = Key(int(fifths), getattr(k, "mode", None) or "major")
    for t in measure.getElementsByClass("TimeSignature"):
        symbol = {"common": "common", "cut": "cut"}.get(t.symbol or "", "")
        parts = [str(t.ratioString)] if "+" not in str(t.ratioString) else str(t.ratioString).split("+")
        upper: list[int] = []
        lower = 4
        for piece in parts:
            if "/" in piece:
                high, low = piece.split("/")
                upper.append(int(high))
                lower = int(low)
            else:
                upper.append(int(piece))
        if lower < 1 or lower & (lower - 1) or min(upper) < 1:
            raise Trouble(_("Bar {number} has the time signature {time}, which is no count of note values. Give it one such as "
                            "2/4.").format(number=measure.number, time=f"{'+'.join(map(str, upper))}/{lower}"))
        time = Time(tuple(upper), lower, symbol)
    return key, time


def _bar_notes(measure: Any, where: int, spans: _Spans,
               hairpin_over: bool) -> tuple[list[Note], list[ScoreDirection], bool]:
    """The notes of a measure, the directions after the last one, and whether a hairpin has ended at that note.

    `hairpin_over`: one has ended at the last note of the measure before, so the next note says so.
    """
    number = measure.number or where
    notes: list[Note] = []
    said: list[ScoreDirection] = []
    sung_until = Fraction(0)
    begun: list[tuple[float, int]] = []  # where in the bar notes begin, and which of `notes` they are
    chords: list[tuple[float, ChordSymbol]] = []
    for e in _elements(measure, number):
        if "Harmony" in e.classes:
            chords += [(float(e.offset), chord) for chord in _chord(e)]
        elif not _is_note(e):
            said += _directions(e)
        if not _is_note(e):
            continue
        _check_single(e, number, sung_until)
        if not e.duration.isGrace and not e.isRest:
            sung_until = e.offset + e.duration.quarterLength
        if getattr(e, "style", None) is not None and getattr(e.style, "hideObjectOnPrint", False) and e.isRest:
            continue
        before = [ScoreDirection(DirectionKind.HAIRPIN_END)] * hairpin_over + said + spans.hairpins.get(id(e), [])
        said, hairpin_over = [], id(e) in spans.hairpin_ends
        if not e.duration.isGrace:
            begun.append((float(e.offset), len(notes)))
        notes += _note(e, measure, before, spans.slur_starts[id(e)], spans.slur_stops[id(e)])
    for offset, chord in sorted(chords, key=lambda one: one[0]) if begun else ():
        k = next((k for at, k in reversed(begun) if at <= offset + 1e-6), begun[0][1])
        notes[k] = replace(notes[k], chords=(*notes[k].chords, chord))
    return notes, said, hairpin_over


def _chord(e: Any) -> list[ChordSymbol]:
    """A chord symbol of music21; none where no chord is to be played, or it stands on no letter."""
    from music21 import harmony

    if not isinstance(e, harmony.ChordSymbol) or isinstance(e, harmony.NoChord) or not e.pitches:
        return []
    root, bass = e.root(), e.bass()
    if any(p is None or abs(p.alter) > 1 or p.alter != int(p.alter) for p in (root, bass)):
        return [ChordSymbol(ChordNote(root.step), ChordKind.OTHER, text=str(e.figure).replace("-", "b"))] if root else []
    first, low = ChordNote(root.step, int(root.alter)), ChordNote(bass.step, int(bass.alter))
    # music21 has its own names for kinds that MusicXML calls otherwise.
    name = {"dominant-seventh": "dominant"}.get(str(e.chordKind), str(e.chordKind))
    kind = ChordKind(name) if name in set(ChordKind) and not e.chordStepModifications else ChordKind.OTHER
    text = "" if kind is not ChordKind.OTHER else str(e.figure).replace(root.name, first.name, 1)
    return [ChordSymbol(first, kind, low if low != first else None, text)]


def _elements(measure: Any, number: int) -> list[Any]:
    """What stands in a measure, in order of time. Raises Trouble where two voices have notes."""
    from music21 import stream

    voices = list(measure.getElementsByClass(stream.Voice))
    if not voices:
        return sorted(measure, key=lambda e: (float(e.offset), 0 if not _is_note(e) else 1))
    filled = [v for v in voices if v.notes]
    if len(filled) > 1:
        raise Trouble(_("Bar {where} has more than one voice at a time; a single line is wanted. Choose another part, "
                        "or add top to the part (--part top) for the top line.").format(where=number))
    return sorted([*measure.getElementsNotOfClass(stream.Voice), *(filled[0] if filled else voices[0])],
                  key=lambda e: (float(e.offset), e.classSortOrder, e.priority))


def _check_single(e: Any, number: int, sung_until: Fraction) -> None:
    """Raises Trouble where a note cannot be sung by one voice: no pitch, a chord, or begun before the last ends."""
    if not e.isRest and not e.pitches:
        raise Trouble(_("Bar {where} has a note without a pitch, as percussion has; a line that can be sung is "
                        "wanted. Choose another part.").format(where=number))
    if e.isChord and len(e.pitches) > 1:
        raise Trouble(_("Bar {where} has a chord; a single line is wanted. Choose another part, or add top to the part "
                        "(--part top) for the top line.").format(where=number))
    # Thirds come as floats and as fractions: hence the tolerance.
    if not e.duration.isGrace and not e.isRest and float(e.offset) < float(sung_until) - 1e-6:
        raise Trouble(_("Bar {where} has a note that begins before the last one ends; a single line is wanted. Choose "
                        "another part, or add top to the part (--part top) for the top line.").format(where=number))


def _is_note(e: Any) -> bool:
    return bool("GeneralNote" in e.classes and "Harmony" not in e.classes)


def _directions(e: Any) -> list[ScoreDirection]:
    classes = e.classes
    if "Dynamic" in classes:
        return [ScoreDirection(DirectionKind.DYNAMIC, str(e.value))]
    if "MetronomeMark" in classes:
        out = []
        if e.text and not e.textImplicit:
            out.append(ScoreDirection(DirectionKind.WORDS, str(e.text)))
        if e.number and e.number > 0 and not e.numberImplicit:
            beat = Fraction(e.referent.quarterLength).limit_denominator(64)
            out.append(ScoreDirection(DirectionKind.METRONOME, f"{beat}={e.number:g}"))
        return out
    if "TempoText" in classes:
        return [ScoreDirection(DirectionKind.WORDS, str(e.text))]
    if "RepeatExpression" in classes:
        # By its words, since music21 makes the sign of "to coda" too; else by its class, such as DaCapoAlFine.
        return _jump(str(e.getText()).lower()) or _jump(re.sub("(?<!^)(?=[A-Z])", " ", classes[0]).lower())
    if "TextExpression" in classes:
        text = str(e.content).strip()
        if jump := _jump(text.lower().rstrip(".")):
            return jump
        return [ScoreDirection(DirectionKind.WORDS, text)] if text else []
    return []


def _jump(text: str) -> list[ScoreDirection]:
    return [ScoreDirection(DirectionKind.JUMP, text)] if text in list(Jump) else []


def _note(e: Any, measure: Any, before: list[ScoreDirection], slur_starts: int, slur_stops: int) -> list[Note]:
    duration = e.duration
    grace = Grace.NONE
    if duration.isGrace:
        grace = Grace.SHORT if getattr(duration, "slash", True) else Grace.LONG
    full_bar = bool(e.isRest and (getattr(e, "fullMeasure", False) is True
                                  or (duration.type == "whole" and not duration.dots
                                      and measure.barDuration.quarterLength != 4
                                      and duration.quarterLength >= measure.barDuration.quarterLength)))
    if full_bar:
        return [Note(pitch=None, base=Fraction(4), whole_bar=True, marks=_marks(e), before=tuple(before))]
    if duration.type in ("complex", "inexpressible", "zero", "longa", "maxima") and not grace:
        return _split(e, before, slur_starts, slur_stops)
    base = TYPES.get(duration.type)
    if base is None:
        raise Trouble(_("Bar {number} has a note of a length that cannot be written ({type}); the shortest is a "
                        "128th note. Write it in longer values.").format(number=measure.number, type=duration.type))
    tuplet = None
    if duration.tuplets:
        t = duration.tuplets[0]
        place = {"start": "start", "stop": "stop", "startStop": "single"}.get(t.type or "", "")
        tuplet = Tuplet(int(t.numberNotesActual), int(t.numberNotesNormal), place)
    pitch, accidental = None, Display.NEEDED
    if not e.isRest:
        pitch, accidental = _pitch(e, measure)
    return [Note(pitch=pitch, base=base, dots=int(duration.dots), tuplet=tuplet, grace=grace,
                 tie=e.tie is not None and e.tie.type in ("start", "continue"), accidental=accidental,
                 slur_starts=slur_starts, slur_stops=slur_stops, marks=_marks(e),
                 syllables=_syllables(e), before=tuple(before))]


def _pitch(e: Any, measure: Any) -> tuple[Pitch, Display]:
    p = e.pitches[0] if e.isChord else e.pitch
    if p.microtone.cents or (p.accidental is not None and p.accidental.alter != int(p.accidental.alter)):
        raise Trouble(_("Bar {number} has a microtone (near {step}{implicitOctave}); only whole semitones can be "
                        "written here. Write the nearest one.").format(
                            number=measure.number, step=p.step, implicitOctave=p.implicitOctave))
    if p.implicitOctave not in OCTAVES:
        raise Trouble(_("Bar {number} has {step}{implicitOctave}, far from what any voice sings. Move the tune by "
                        "octaves.").format(number=measure.number, step=p.step, implicitOctave=p.implicitOctave))
    if abs(p.alter) > MOST_ALTERED:
        raise Trouble(_("Bar {number} has a note raised or lowered by more than two semitones, which has no sign. "
                        "Write it by another letter.").format(number=measure.number))
    accidental = Display.NEEDED
    if p.accidental is not None:
        if p.accidental.displayStyle in ("parentheses", "bracket"):
            accidental = Display.EDITORIAL
        elif p.accidental.displayType in ("always", "unless-repeated", "even-tied") or \
                (p.accidental.name == "natural" and p.accidental.displayStatus):
            accidental = Display.SHOWN
    return Pitch(p.step, int(p.implicitOctave), int(p.alter)), accidental


@lru_cache(maxsize=1)
def _mark_classes() -> dict[str, Mark]:
    """Marks by the music21 class that each of their MusicXML elements is read as.

    Raises KeyError for a row whose element music21 does not read: it would get lost.
    """
    from music21.musicxml import xmlObjects

    groups = {"articulations": xmlObjects.ARTICULATION_MARKS, "ornaments": xmlObjects.ORNAMENT_MARKS,
              "technical": xmlObjects.TECHNICAL_MARKS}
    out = {}
    for mark in Mark:
        for path in mark.sign.musicxml:
            group, _slash, element = path.rpartition("/")
            out[groups[group][element].__name__ if group else element.capitalize()] = mark
    return out


def _marks(e: Any) -> tuple[Mark, ...]:
    known = _mark_classes()
    # A trill on a half step and one on a whole step are classes of their own in music21.
    names = [re.sub("^(HalfStep|WholeStep)", "", type(x).__name__) for x in (*e.articulations, *e.expressions)]
    return tuple(dict.fromkeys(known[name] for name in names if name in known))


def _syllables(e: Any) -> tuple[Syllable | None, ...]:
    if not e.lyrics:
        return ()
    verses: dict[int, Syllable] = {}
    for lyric in e.lyrics:
        text = " ".join(str(lyric.text or "").split())
        if lyric.isComposite:
            text = "‿".join(str(c.text or "") for c in lyric.components or [])
        if text:
            verses[int(lyric.number or 1)] = Syllable(
                text, {"begin": "begin", "middle": "middle", "end": "end"}.get(lyric.syllabic or "", "single"))
    return tuple(verses.get(i) for i in range(1, max(verses, default=0) + 1))


def split_value(quarters: Fraction) -> list[tuple[Fraction, int]]:
    """A length as the fewest values to be tied: (base, dots), longest first. Raises ValueError if it can't be."""
    out: list[tuple[Fraction, int]] = []
    left = quarters
    while left > 0:
        for base in VALUES:
            dots = next((d for d in (2, 1, 0) if base * (2 - Fraction(1, 2**d)) <= left
                         and (d < 2 or base * Fraction(7, 4) == left)), None)
            if dots is not None:
                out.append((base, dots))
                left -= base * (2 - Fraction(1, 2**dots))
                break
        else:
            raise ValueError(f"{quarters} quarters cannot be written in plain values")
    return out


def _split(e: Any, before: list[ScoreDirection], slur_starts: int, slur_stops: int) -> list[Note]:
    """A length with no sign of its own: as tied values."""
    quarters = Fraction(e.duration.quarterLength).limit_denominator(64)
    if quarters <= 0 and not e.isRest:
        raise Trouble(_("Bar {measureNumber} has a note of no length. Give it a value and try again.").format(
                            measureNumber=e.measureNumber))
    try:
        values = split_value(quarters)
    except ValueError as error:
        raise Trouble(_("Bar {measureNumber} has a note of {quarters} crotchets, which cannot be written. Write it "
                        "as two or more tied notes.").format(measureNumber=e.measureNumber, quarters=quarters)) from error
    pitch = None if e.isRest else _pitch(e, e)[0]
    tie = e.tie is not None and e.tie.type in ("start", "continue")
    notes = []
    for i, (base, dots) in enumerate(values):
        first, last = i == 0, i == len(values) - 1
        notes.append(Note(
            pitch=pitch, base=base, dots=dots, tie=pitch is not None and (tie or not last),
            slur_starts=slur_starts if first else 0, slur_stops=slur_stops if last else 0,
            marks=_marks(e) if first else (), syllables=_syllables(e) if first else (),
            before=tuple(before) if first else ()))
    return notes
