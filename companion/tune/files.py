"""Reading and writing tunes: MusicXML (.musicxml, .xml, .mxl) and MIDI (.mid), and the tunes that ship.

music21 reads all of them; what it found is then put into our own `Tune`. Writing MusicXML is done in
`companion.tune.musicxml`; music21 reads it back in the tests.
"""

from __future__ import annotations

import difflib
import io
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from companion.errors import Trouble
from companion.places import shipped, write_whole
from companion.tune.convert import from_music21
from companion.tune.model import Tune
from companion.tune.musicxml import to_musicxml

SCORES = (".musicxml", ".xml", ".mxl")
MIDI = (".mid", ".midi")
MOST_BYTES = 30_000_000  # a single line of melody is far smaller; more is a mistake or a trap


def shipped_names() -> list[str]:
    """Names of the tunes that ship, in alphabetical order."""
    return sorted(p.stem for p in shipped("exercises").glob("*.musicxml"))


def find(name: str | Path) -> Path:
    """The file that a path or the name of a shipped tune stands for. Raises Trouble where there is none."""
    path = Path(name)
    if path.is_dir():
        raise Trouble(f"{name} is a folder. Give a MusicXML or MIDI file, or the name of a tune that ships.")
    if path.is_file():
        return path
    inside = shipped("exercises") / f"{name}.musicxml"
    if path.suffix == "" and path.name == str(name) and inside.is_file():
        return inside
    if path.suffix.lower() in SCORES + MIDI or len(path.parts) > 1:
        raise Trouble(f"There is no file {name}. Check its name and folder.")
    near = difflib.get_close_matches(str(name), shipped_names(), 1, 0.4)
    hint = f"Did you mean {near[0]}?" if near else "companion tunes lists the tunes that ship."
    raise Trouble(f"No tune is called {name}. {hint}")


def load(name: str | Path, part: str | int | None = None) -> Tune:
    """Read a tune from a MusicXML or MIDI file, or a shipped one by its name.

    part: which part of a score with several, by its number from 1 or its name; where none is given, the
    one part that has words, else it must be said. Raises Trouble with one sentence for anything amiss.
    """
    path = find(name)
    kind = path.suffix.lower()
    if kind not in SCORES + MIDI:
        raise Trouble(f"{path} ends in {kind or 'nothing'}; a tune is read from .musicxml, .xml, .mxl or .mid.")
    data = _read(path)
    if kind in SCORES:
        text = _unpack(path, data) if kind == ".mxl" or data[:2] == b"PK" else data
        _check_xml(path, text)
        score = _parse(path, text, "musicxml")
    else:
        if data[:4] != b"MThd":
            raise Trouble(f"{path} is no MIDI file. Give a .mid file or MusicXML.")
        score = _parse(path, data, "midi")
    chosen = _choose_part(path, score, part)
    title = ""
    if score.metadata is not None:
        title = score.metadata.title or score.metadata.movementName or ""
    tune = from_music21(chosen, title=title or path.stem, source=str(path))
    composer = (score.metadata.composer or "") if score.metadata is not None else ""
    from dataclasses import replace

    tune = replace(tune, composer=composer)
    if not any(n.pitch is not None for _, _, n in tune.written()):
        raise Trouble(f"{path} holds no notes. Give a file with a melody in it.")
    return tune


def _read(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise Trouble(f"{path} is {size // 1_000_000} megabytes; a tune is far smaller. Give another file.")
        data = path.read_bytes()
    except OSError as error:
        raise Trouble(f"{path} could not be read: {(error.strerror or str(error)).lower()}.") from error
    if not data.strip():
        raise Trouble(f"{path} is empty. Give a file with a melody in it.")
    return data


def _unpack(path: Path, data: bytes) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [n for n in archive.namelist() if not n.startswith("META-INF") and
                     n.lower().endswith((".xml", ".musicxml"))]
            if not names:
                raise Trouble(f"{path} holds no score. Give a MusicXML file.")
            if archive.getinfo(names[0]).file_size > MOST_BYTES:
                raise Trouble(f"{path} unpacks to more than a tune can be. Give another file.")
            return archive.read(names[0])
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        raise Trouble(f"{path} is cut or damaged and could not be unpacked. Save it anew and try "
                      "again.") from error


def _check_xml(path: Path, text: bytes) -> None:
    """Refuse what would not parse, and what would blow up when parsed (entity bombs)."""
    import defusedxml.ElementTree
    from defusedxml.common import DefusedXmlException

    try:
        root = defusedxml.ElementTree.fromstring(text)
    except DefusedXmlException as error:
        raise Trouble(f"{path} defines entities of its own, which a score never needs; it was not read. "
                      "Save it anew from a score editor.") from error
    except (ET.ParseError, ValueError, LookupError) as error:
        raise Trouble(f"{path} is no MusicXML or is cut off ({error}). Save it anew and try again.") from error
    if root.tag not in ("score-partwise", "score-timewise"):
        raise Trouble(f"{path} is XML but no MusicXML score (it begins with {root.tag}). Give a MusicXML file.")
    if root.find(".//note") is None:
        raise Trouble(f"{path} holds no notes. Give a file with a melody in it.")


def _parse(path: Path, data: bytes, kind: str) -> Any:
    import warnings

    from music21 import converter, midi, stream

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if kind == "midi":
                file = midi.MidiFile()
                file.readstr(data)
                if not any(e.isNoteOn() for t in file.tracks for e in t.events):
                    raise Trouble(f"{path} holds no notes. Give a file with a melody in it.")
                score = midi.translate.midiFileToStream(file, quantizePost=True)
            else:
                score = converter.parseData(data.decode("utf-8-sig", errors="replace")
                                            if not data.startswith((b"\xff\xfe", b"\xfe\xff"))
                                            else data.decode("utf-16"), format="musicxml")
    except Trouble:
        raise
    except Exception as error:  # music21 raises whatever its parsers meet
        what = "MIDI" if kind == "midi" else "MusicXML"
        raise Trouble(f"{path} could not be read as {what}: it is cut or damaged. Save it anew and try "
                      "again.") from error
    return score if isinstance(score, stream.Score) else stream.Score([score])


def _choose_part(path: Path, score: Any, part: str | int | None) -> Any:
    parts = [p for p in score.parts if p.recurse().notes] or list(score.parts)
    if not parts:
        raise Trouble(f"{path} holds no notes. Give a file with a melody in it.")
    names = [str(p.partName or f"part {i + 1}") for i, p in enumerate(parts)]
    listed = ", ".join(f"{i + 1} {n}" for i, n in enumerate(names))
    if part is not None:
        wanted = str(part).strip()
        if wanted.isdigit() and 1 <= int(wanted) <= len(parts):
            return parts[int(wanted) - 1]
        matches = [i for i, n in enumerate(names) if n.lower() == wanted.lower()]
        if matches:
            return parts[matches[0]]
        raise Trouble(f"{path} has no part {wanted}. Its parts are: {listed}.")
    if len(parts) == 1:
        return parts[0]
    with_words = [p for p in parts if any(n.lyrics for n in p.recurse().notes)]
    if len(with_words) == 1:
        return with_words[0]
    raise Trouble(f"{path} has {len(parts)} parts: {listed}. Say which with --part.")


def save(tune: Tune, path: str | Path) -> None:
    """Write a tune as MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid), whole or not at all."""
    kind = Path(path).suffix.lower()
    if kind in (".musicxml", ".xml"):
        write_whole(path, to_musicxml(tune))
    elif kind == ".mxl":
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("META-INF/container.xml", _CONTAINER)
            archive.writestr("score.musicxml", to_musicxml(tune))
        write_whole(path, packed.getvalue())
    elif kind in MIDI:
        write_whole(path, to_midi(tune))
    else:
        raise Trouble(f"{path} ends in {kind or 'nothing'}; a tune is written to .musicxml, .mxl or .mid.")


_CONTAINER = ('<?xml version="1.0" encoding="UTF-8"?><container><rootfiles><rootfile '
              'full-path="score.musicxml"/></rootfiles></container>')


def to_midi(tune: Tune) -> bytes:
    """The tune as sung, as a MIDI file of one track (format 0), by music21."""
    from music21 import midi, note, stream, tempo

    part = stream.Part()
    part.append(tempo.MetronomeMark(number=tune.quarter_bpm or 90))
    for n in tune.line():
        part.insert(float(n.onset_quarters), note.Note(n.midi, quarterLength=n.quarters))
    file = midi.translate.streamToMidiFile(part)
    data: bytes = file.writestr()
    return data
