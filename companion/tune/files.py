"""Reading and writing tunes: MusicXML (.musicxml, .xml, .mxl) and MIDI (.mid), and the tunes that ship.

music21 reads all of them; what it found is then put into our own `Tune`. Writing MusicXML is done in
`companion.tune.musicxml`; music21 reads it back in the tests.
"""

from __future__ import annotations

import difflib
import io
import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar
from xml.etree import ElementTree as ET

from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.places import decoded, is_utf16, read_within, shipped, write_whole
from companion.tune.convert import from_music21
from companion.tune.midi import GRID, measure_midi, quantise, to_midi
from companion.tune.musicxml import to_musicxml
from companion.tune.shipped import catalogue
from companion.tune.top_line import keep_top_line
from companion.tune.tune import Tune

T = TypeVar("T")

SCORES = (".musicxml", ".xml", ".mxl")
MIDI = (".mid", ".midi")
MOST_BYTES = 30_000_000  # a single line of melody is far smaller; more is a mistake or a trap
MOST_QUARTERS = 8000  # 2000 bars of four crotchets: a MIDI file that lasts longer is damaged, and would take minutes


def shipped_names() -> list[str]:
    """Names of the tunes that ship, in alphabetical order."""
    return sorted(p.stem for p in shipped("exercises").glob("*.musicxml"))


def find(name: str | Path) -> Path:
    """The file that a path or the name of a shipped tune stands for. Raises Trouble where there is none."""
    path = Path(name)
    if not str(name).strip():
        raise Trouble(_("The name of the tune is empty. Give a MusicXML or MIDI file, or the name of a tune that "
                        "ships."))
    try:
        if path.is_dir():
            raise Trouble(_("{name} is a folder. Give a MusicXML or MIDI file, or the name of a tune that ships.").format(
                                name=name))
        if path.is_file():
            return path
    except OSError as error:
        raise Trouble(_("{name} could not be read: {reason}. Give a MusicXML or MIDI file, or the name of a tune "
                        "that ships.").format(name=name, reason=(error.strerror or str(error)).lower())) from error
    if ships := _shipped_as(str(name)):
        return shipped("exercises") / f"{ships}.musicxml"
    if path.suffix.lower() in SCORES + MIDI or len(path.parts) > 1:
        raise Trouble(_("There is no file {name}. Check its name and folder.").format(name=name))
    near = difflib.get_close_matches(str(name), shipped_names(), 1, 0.4)
    if near:
        raise Trouble(_("No tune is called {name}. Did you mean {near}?").format(name=name, near=near[0]))
    raise Trouble(_("No tune is called {name}. companion tunes lists the tunes that ship.").format(name=name))


def lasting_name(name: str | Path) -> str:
    """By what a tune is called where it is remembered: the name of one that ships, else the whole path of its file, which holds
    from whatever folder the program is started. Raises Trouble where there is none."""
    path = find(name)
    return path.stem if path.parent == shipped("exercises") else str(path.resolve())


def _shipped_as(said: str) -> str | None:
    """The shipped tune that goes by this name or title, capitals and hyphens aside; None where none does."""
    wanted = said.strip().casefold().replace("-", " ")
    return next((e.name for e in catalogue()
                 if wanted in (e.name.replace("-", " "), e.title.casefold().replace("-", " "))), None)


#: A score up to this size is read in seconds (`run_limited`).
CHILD_BYTES = 1_000_000
MIDI_CHILD_BYTES = 30_000  # some thousand notes; music21 needs four times as long for twice as many
#: The most that a number may be in a MusicXML element or attribute; music21 makes as many objects as some of them say.
#: Ten times what scores have, and more.
MOST = {"beats": 128, "beat-type": 1024, "divisions": 1_000_000, "actual-notes": 999, "normal-notes": 999, "fifths": 999,
        "octave": 999, "alter": 9, "octave-change": 10, "chromatic": 127, "diatonic": 127, "staves": 99,
        "multiple-rest": 9999, "tremolo": 9, "clef-octave-change": 9, "line": 99, "per-minute": 9999, "staff-lines": 99}
MOST_ATTRIBUTES = {("ending", "number"): 99, ("repeat", "times"): 1_000_000, ("sound", "tempo"): 9999, ("note", "time-only"): 99,
                   ("octave-shift", "size"): 99, ("tuplet", "number"): 99, ("slur", "number"): 99, ("lyric", "number"): 999}
MOST_NOTES = 200_000  # of a score with all its parts
MOST_EVENTS = 1_000_000  # of a MIDI file: its notes begin and end, and a pedal or a wheel may move between
MOST_TRACKS = 256  # of a MIDI file; it has sixteen channels
MOST_TEXT = 10_000  # letters of one title, word or name


class LoadedPart(NamedTuple):
    """One of several parts: its name, whether it is a staff of an instrument of several (as a piano's two), and its tune."""

    name: str
    staff: bool
    tune: Tune


def load(name: str | Path, part: str | int | None = None) -> Tune:
    """Read a tune from a MusicXML or MIDI file, or a shipped one by its name.

    part: which part of a score with several, by its number from 1 or its name; where none is given, the
    one part that has words, else it must be said. "top", or "top" after a part's number or name: of notes that sound at
    once the highest alone (`keep_top_line`). What does not ship is read by `run_limited`. Raises Trouble with one sentence
    for anything amiss.
    """
    path = find(name)
    return _load(path, part) if path.parent == shipped("exercises") else _limited(_load, path, part)


def load_parts(name: str | Path, wanted: str) -> tuple[LoadedPart, ...]:
    """Several parts of a score, in the order in which they are asked for. Raises Trouble as `load` does.

    wanted: "all", or parts by number or name with commas between, as "1,3"; "top" after it: the top line of each.
    """
    return _limited(_load_parts, find(name), wanted)


def _limited(reader: Callable[[Path, Any], T], path: Path, asked: Any) -> T:
    """What a reader makes of a stranger's score, by `run_limited`."""
    small = path.stat().st_size <= (MIDI_CHILD_BYTES if path.suffix.lower() in MIDI else CHILD_BYTES)
    return run_limited(reader, path, asked, small=small)


def _load_parts(path: Path, wanted: str) -> tuple[LoadedPart, ...]:
    score = _parsed_file(path)
    match = _TOP.fullmatch(wanted)
    asked = match[1] if match else wanted
    chosen = _sounding(path, score) if asked.strip().lower() in ("", "all") else [
        _choose_part(path, score, one) for one in asked.split(",")]
    out = []
    for k, part in enumerate(chosen):
        tune = _tune_of(path, score, part, bool(match))
        name = str(part.partName or _("part {number}").format(number=k + 1))
        out.append(LoadedPart(name, type(part).__name__ == "PartStaff", tune))
    return tuple(out)


def _load(path: Path, part: str | int | None) -> Tune:
    score = _parsed_file(path)
    chosen = _choose_part(path, score, part)
    top = bool(_TOP.fullmatch(str(part or ""))) and str(part).strip().lower() != str(chosen.partName).lower()
    return _tune_of(path, score, chosen, top)


def _parsed_file(path: Path) -> Any:
    """A music21 Score of a file of a form that is read here."""
    kind = path.suffix.lower()
    if kind not in SCORES + MIDI:
        raise Trouble((_("{path} ends in {ending}; a tune is read from .musicxml, .xml, .mxl or .mid.") if kind else
                       _("{path} ends in nothing; a tune is read from .musicxml, .xml, .mxl or .mid.")).format(
                           path=path, ending=kind))
    data = _read(path)
    if kind in SCORES:
        text = _unpack(path, data) if kind == ".mxl" or data[:2] == b"PK" else data
        score = _parsed(path, "MusicXML", _parse_musicxml, _checked_xml(path, text))
    else:
        if data[:4] != b"MThd":
            raise Trouble(_("{path} is no MIDI file. Give a .mid file or MusicXML.").format(path=path))
        _check_midi(path, data)
        score = _parsed(path, "MIDI", _parse_midi, data)
    return score


def _tune_of(path: Path, score: Any, chosen: Any, top: bool) -> Tune:
    """One part as a tune. top: its top line alone."""
    if top:
        keep_top_line(chosen)
    title = ""
    if score.metadata is not None:
        title = score.metadata.title or score.metadata.movementName or ""
    tune = from_music21(chosen, title=" ".join((title or path.stem.replace("_", " ")).split()), source=str(path))
    composer = (score.metadata.composer or "") if score.metadata is not None else ""
    if composer.casefold() == "music21":  # what music21 writes into files whose composer it does not know
        composer = ""
    tune = replace(tune, composer=composer)
    if not tune.line():
        raise Trouble(_("{path} holds no notes. Give a file with a melody in it.").format(path=path))
    return tune


def _read(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise Trouble(_("{path} is {size} megabytes; a tune is far smaller. Give another file.").format(
                                path=path, size=size // 1000000))
        data = read_within(path, MOST_BYTES)
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Give another file, or one that you may open.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    if not data.strip():
        raise Trouble(_("{path} is empty. Give a file with a melody in it.").format(path=path))
    return data


def _unpack(path: Path, data: bytes) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [n for n in archive.namelist() if not n.startswith("META-INF") and
                     n.lower().endswith((".xml", ".musicxml"))]
            if not names:
                raise Trouble(_("{path} holds no score. Give a MusicXML file.").format(path=path))
            name = _root_file(archive) or names[0]
            if archive.getinfo(name).file_size > MOST_BYTES:
                raise Trouble(_("{path} unpacks to more than a tune can be. Give another file.").format(path=path))
            return archive.read(name)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError,
            ValueError) as error:
        raise Trouble(_("{path} is cut or damaged and could not be unpacked. Save it anew and try again.").format(
                            path=path)) from error


def _root_file(archive: zipfile.ZipFile) -> str | None:
    """The score that the container names first (MusicXML 4.0, compressed files); None where it names none."""
    import defusedxml.ElementTree
    from defusedxml.common import DefusedXmlException

    inside = archive.namelist()
    if _CONTAINER_NAME not in inside or archive.getinfo(_CONTAINER_NAME).file_size > MOST_BYTES:
        return None
    try:
        root = defusedxml.ElementTree.fromstring(archive.read(_CONTAINER_NAME))
    except (DefusedXmlException, ET.ParseError, ValueError, LookupError):
        return None
    first = next((e.get("full-path", "") for e in root.iter() if e.tag.rpartition("}")[2] == "rootfile"), "")
    return first if first in inside else None


def _checked_xml(path: Path, text: bytes) -> bytes:
    """The score's XML, part by part. Refuses what would not parse, and what would blow up when parsed."""
    import defusedxml.ElementTree
    from defusedxml.common import DefusedXmlException

    try:
        if is_utf16(text):  # perhaps made so by a shell's redirection, while its first line still says UTF-8
            text = re.sub(r"^\s*<\?xml[^>]*\?>", "", decoded(text)).encode()
        root = defusedxml.ElementTree.fromstring(text)
    except DefusedXmlException as error:
        raise Trouble(_("{path} defines entities of its own, which a score never needs; it was not read. Save it "
                        "anew from a score editor.").format(path=path)) from error
    except (ET.ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (0, 0))[0]
        raise Trouble((_("{path} is no MusicXML, or is cut off or damaged in line {line}. Save it anew and try again.")
                       if line else
                       _("{path} is no MusicXML, or is cut off or damaged. Save it anew and try again.")).format(
                           path=path, line=line)) from error
    if root.tag not in ("score-partwise", "score-timewise"):
        raise Trouble(_("{path} is XML but no MusicXML score (it begins with {tag}). Give a MusicXML file.").format(
                            path=path, tag=root.tag))
    if root.find(".//note") is None:
        raise Trouble(_("{path} holds no notes. Give a file with a melody in it.").format(path=path))
    _check_budget(path, root)
    return text if root.tag == "score-partwise" else _by_parts(root)


def _check_budget(path: Path, root: ET.Element) -> None:
    """Raises Trouble for numbers that no score has: a reader would make as many bars, endings or parts of a beat."""
    notes = 0
    for element in root.iter():
        tag, text = str(element.tag), element.text or ""
        notes += tag == "note"
        if len(text) > MOST_TEXT or notes > MOST_NOTES:
            raise Trouble(_("{path} holds more than a score can. Give a file with a melody in it.").format(path=path))
        limited = [(text, MOST[tag])] if tag in MOST else []
        limited += [(value, MOST_ATTRIBUTES[tag, name]) for name, value in element.attrib.items()
                    if (tag, name) in MOST_ATTRIBUTES]
        for value, most in limited:
            if any(len(n) > 12 or int(n) > most for n in re.findall("[0-9]+", value.partition(".")[0])):
                raise Trouble(_("{path} says {value} for {name}, which no score has: it is damaged. Save it anew and try "
                                "again.").format(path=path, value=value[:20], name=tag))
    divisions = max((float(e.text or 1) for e in root.iter("divisions") if _is_number(e.text)), default=1.0)
    for element in root.iter("duration"):
        if _is_number(element.text) and float(element.text or 0) > MOST_QUARTERS * max(divisions, 1.0):
            raise Trouble(_("{path} holds a note that lasts longer than any tune: it is damaged. Save it anew and try "
                            "again.").format(path=path))


def _is_number(text: str | None) -> bool:
    return bool(text) and re.fullmatch(r"\s*[0-9]{1,12}(\.[0-9]*)?\s*", text or "") is not None


def _by_parts(root: ET.Element) -> bytes:
    """A score in bars of parts ("timewise") as one in parts of bars, which is all that music21 reads."""
    parts: dict[str, ET.Element] = {}
    for measure in root.findall("measure"):
        for part in measure.findall("part"):
            name = part.get("id", "")
            whole = parts.setdefault(name, ET.Element("part", {"id": name}))
            ET.SubElement(whole, "measure", dict(measure.attrib)).extend(part)
        root.remove(measure)
    root.tag = "score-partwise"
    root.extend(parts.values())
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def _parsed(path: Path, form: str, parse: Callable[[Path, bytes], Any], data: bytes) -> Any:
    """A music21 Score from a file's bytes. form: the format's name. Raises Trouble for what cannot be parsed."""
    import warnings

    from music21 import stream

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            score = parse(path, data)
    except Trouble:
        raise
    except Exception as error:  # music21 raises whatever its parsers meet
        raise Trouble(_("{path} could not be read as {form}: it is cut or damaged. Save it anew and try again.").format(
                            path=path, form=form)) from error
    return score if isinstance(score, stream.Score) else stream.Score([score])


def _parse_musicxml(path: Path, data: bytes) -> Any:
    from music21 import converter

    return converter.parseData(data.decode("utf-8-sig", "replace"), format="musicxml")


def _check_midi(path: Path, data: bytes) -> None:
    """Raises Trouble for what no score has, before the heavy reader: music21 makes some objects of every event."""
    try:
        size = measure_midi(data, MOST_EVENTS)
    except ValueError as error:
        raise Trouble(_("{path} could not be read as {form}: it is cut or damaged. Save it anew and try again.").format(
                            path=path, form="MIDI")) from error
    if size.quarter is None:
        raise Trouble(_("{path} counts time in frames of film and not in crotchets, so that no values can be told. Save it anew "
                        "with a number of ticks to the crotchet.").format(path=path))
    if size.notes > MOST_NOTES or size.events > MOST_EVENTS or size.tracks > MOST_TRACKS or size.text > MOST_TEXT:
        raise Trouble(_("{path} holds more than a score can. Give a file with a melody in it.").format(path=path))
    if size.ticks > MOST_QUARTERS * size.quarter:
        raise Trouble(_("{path} lasts longer than any tune: it is damaged, or holds a silence of hours. "
                        "Save it anew and try again.").format(path=path))


def _parse_midi(path: Path, data: bytes) -> Any:
    from music21 import midi

    file = midi.MidiFile()
    file.readstr(data)
    if not any(e.isNoteOn() for t in file.tracks for e in t.events):
        raise Trouble(_("{path} holds no notes. Give a file with a melody in it.").format(path=path))
    for t in file.tracks:
        quantise(t, file.ticksPerQuarterNote)
    file.ticksPerQuarterNote *= GRID
    return midi.translate.midiFileToStream(file, quantizePost=False)


_TOP = re.compile(r"\s*(.*?)[\s,]*\btop\s*", re.IGNORECASE)  # "top" alone, or after a part's number or name


def _sounding(path: Path, score: Any) -> list[Any]:
    """The parts of a score that have notes. Raises Trouble where none has."""
    parts = [p for p in score.parts if any(n.pitches and "ChordSymbol" not in n.classes for n in p.recurse().notes)]
    if not parts:
        raise Trouble(_("{path} holds no notes. Give a file with a melody in it.").format(path=path))
    return parts


def _choose_part(path: Path, score: Any, part: str | int | None) -> Any:
    parts = _sounding(path, score)
    names = [str(p.partName or _("part {number}").format(number=i + 1)) for i, p in enumerate(parts)]
    listed = ", ".join(f"{i + 1} {n}" for i, n in enumerate(names))
    if part is not None:
        wanted = str(part).strip()
        if re.fullmatch("[0-9]+", wanted) and 1 <= int(wanted) <= len(parts):
            return parts[int(wanted) - 1]
        matches = [i for i, n in enumerate(names) if n.lower() == wanted.lower()]
        if matches:
            return parts[matches[0]]
        if top := _TOP.fullmatch(wanted):
            return _choose_part(path, score, top[1] or None)
        raise Trouble(_("{path} has no part {wanted}. Its parts are: {listed}.").format(
                            path=path, wanted=wanted, listed=listed))
    if len(parts) == 1:
        return parts[0]
    with_words = [p for p in parts if any(n.lyrics for n in p.recurse().notes)]
    if len(with_words) == 1:
        return with_words[0]
    raise Trouble(_("{path} has {parts} parts: {listed}. Say which part is wanted (--part).").format(
                        path=path, parts=len(parts), listed=listed))


def save(tune: Tune, path: str | Path) -> None:
    """Write a tune as MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid), whole or not at all."""
    kind = Path(path).suffix.lower()
    if kind in (".musicxml", ".xml"):
        write_whole(path, to_musicxml(tune))
    elif kind == ".mxl":
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(_CONTAINER_NAME, _CONTAINER)
            archive.writestr("score.musicxml", to_musicxml(tune))
        write_whole(path, packed.getvalue())
    elif kind in MIDI:
        write_whole(path, to_midi(tune))
    else:
        raise Trouble((_("{path} ends in {ending}; a tune is written to .musicxml, .mxl or .mid.") if kind else
                       _("{path} ends in nothing; a tune is written to .musicxml, .mxl or .mid.")).format(
                           path=path, ending=kind))


_CONTAINER_NAME = "META-INF/container.xml"
_CONTAINER = ('<?xml version="1.0" encoding="UTF-8"?><container><rootfiles><rootfile '
              'full-path="score.musicxml"/></rootfiles></container>')
