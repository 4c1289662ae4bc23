"""A tune saved in the form that its file's name asks for: a score, braille, print or sound."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from companion.audio import Sound, line_sound, save_sound
from companion.braille import encode
from companion.errors import Trouble
from companion.language import Language
from companion.messages import _
from companion.paper.engraving import check_engraver, save_engraving
from companion.paper.page_sizes import USUAL, PageSize
from companion.paper.song_pages import save_song, song_page
from companion.tune import Tune, save

SCORES, BRAILLE, PRINT, SOUNDS = (".musicxml", ".xml", ".mxl", ".mid"), (".brf", ".pef"), (".svg", ".pdf"), (".wav", ".flac")
#: What a tune can be saved as.
FORMS = (*SCORES, *BRAILLE, *PRINT, *SOUNDS)
USUAL_BPM = 100.0  # crotchets a minute, where the tune has no tempo


def check_outs(outs: Sequence[str | Path], takes: Sequence[str | Path] = ()) -> None:
    """Raises Trouble, before any work is done, where a tune could not be saved under one of these names.

    takes: files that must not be written over.
    """
    for path in map(Path, outs):
        kind = path.suffix.lower()
        if kind not in FORMS:
            raise Trouble((_("{path} ends in {ending}; a tune is written as {forms}. Give such a name.") if kind else
                           _("{path} ends in nothing; a tune is written as {forms}. Give such a name.")).format(
                               path=path, ending=kind, forms=", ".join(FORMS)))
        if not path.parent.is_dir():
            raise Trouble(_("There is no folder {parent} to write {name} into. Make it, or give another.").format(
                                parent=path.parent, name=path.name))
        if path.exists() and any(Path(t).exists() and path.samefile(t) for t in takes):
            raise Trouble(_("{path} is the take itself, and would be lost. Give another name.").format(path=path))
        if kind in PRINT:
            check_engraver()


def save_as(tune: Tune, path: str | Path, language: Language, size: PageSize = USUAL,
            bar_numbers: bool = False) -> list[str]:
    """Write a tune in the form that its name asks for (FORMS). Returns the names written. Raises Trouble.

    size: of a braille page. bar_numbers: each of its lines of music that begins with a bar has its number first.
    """
    check_outs([path])
    kind = Path(path).suffix.lower()
    if kind in PRINT:
        return save_engraving(tune, path, language)
    if kind in BRAILLE:
        save_song(song_page(partial(encode, tune), size.width, bar_numbers), path, size)
    elif kind in SOUNDS:
        save_sound(tune_sound(tune), path)
    else:
        save(tune, path)
    return [str(path)]


def tune_sound(tune: Tune) -> Sound:
    """The tune as it is written, sounded at its own tempo."""
    return line_sound(tune.line(), 0.0, 60.0 / (tune.quarter_bpm or USUAL_BPM))
