"""The forms of a sheet: plain text, speech, .brf and .pef for an embosser, large print as HTML and as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import Trouble
from companion.language import Language, labelled
from companion.messages import _
from companion.paper.braille_pages import WIDTH, to_brf
from companion.paper.large_print import to_html, to_pdf
from companion.paper.page_sizes import USUAL, PageSize
from companion.paper.sheet import Block, Cells, Heading, ListItem, Only, Paragraph, Question, Sheet, ended
from companion.places import write_whole

if TYPE_CHECKING:
    from companion.audio import Sound

PAUSE_S = 0.5  # between spoken lines: time to do what was said
ANSWER_S = 2.5  # after what was played: time to answer
QUARTER_S = 1.0  # quavers of half a second: slow enough for a beginner to follow
SPEECH_RATE = 22050  # Hz, of a sheet that is only spoken
FORMS = (".txt", ".brf", ".pef", ".html", ".pdf", ".wav")


def save_sheet(sheet: Sheet, path: str | Path, language: Language, *, whole: bool = False,
               size: PageSize = USUAL, in_contracted: bool = False) -> None:
    """Write a sheet in the form that the file's name asks for. Raises Trouble for another form.

    whole: braille with the helper's parts too. size: of a braille page. in_contracted: its words are in contracted braille.
    """
    kind = Path(path).suffix.lower()
    if kind == ".txt":
        data = ("\n".join(to_text(sheet, language)) + "\n").encode()
    elif kind == ".brf":
        data = size.with_margins(to_brf(sheet, size.width, size.height, whole, in_contracted))
    elif kind == ".pef":
        data = size.as_pef(to_brf(sheet, size.width, size.height, whole, in_contracted), sheet.title)
    elif kind in (".html", ".htm"):
        data = to_html(sheet, language).encode()
    elif kind == ".pdf":
        data = to_pdf(sheet, language)
    elif kind in (".wav", ".flac"):
        from companion.audio import save_sound  # NumPy

        save_sound(to_sound(sheet, language), path)
        return
    elif kind:
        raise Trouble(_("{path} ends in {ending}; a sheet is written to .brf, .pef, .html, .pdf, .txt or, spoken, to "
                        ".wav.").format(path=path, ending=kind))
    else:
        raise Trouble(_("{path} ends in nothing; a sheet is written to .brf, .pef, .html, .pdf, .txt or, spoken, to "
                        ".wav.").format(path=path))
    write_whole(path, data)


def to_text(sheet: Sheet, language: Language) -> list[str]:
    """Plain lines, to be spoken or read by a screen reader; cells in words."""
    out = [ended(sheet.title)] if sheet.title else []
    return out + [line for block in sheet.blocks for line in _block_text(block, language)]


def _block_text(block: Block, language: Language) -> list[str]:
    """The lines of one block."""
    if isinstance(block, Cells):
        said = block.caption(language)
        return [*([said] if said else []), *block.in_words(language, WIDTH)]
    if isinstance(block, Question):
        dots = [g.dots for g in block.groups] if block.dots_in_text else []
        text = " ".join(x for x in (block.text, *dots) if x)
        return [labelled(language, str(block.number), text) if text else ended(str(block.number))]
    if isinstance(block, Heading):
        return [*([""] if block.gap else []), ended(block.text)]
    if isinstance(block, Paragraph) and block.only is not Only.PRINT:
        text = labelled(language, block.label, block.text) if block.label else block.text
        return [text if block.typed else ended(text)]
    return [ended(block.text)] if isinstance(block, ListItem) else []


def to_sound(sheet: Sheet, language: Language, rate_wpm: int = 150) -> Sound:
    """The sheet spoken, a pause after each line; what a question plays is sounded, and then time is left to answer.

    Raises Trouble where speech is not to be had.
    """
    from companion.audio import OUTPUT_RATE, concatenated, line_sound, silence, speak

    rate = OUTPUT_RATE if any(isinstance(b, Question) and b.play for b in sheet.blocks) else SPEECH_RATE
    parts: list[Sound] = []

    def say(line: str) -> None:
        parts.extend([speak(line, language, rate_wpm), silence(PAUSE_S, rate)])

    if sheet.title:
        say(ended(sheet.title))
    for block in sheet.blocks:
        for line in filter(None, _block_text(block, language)):
            say(line)
        if isinstance(block, Question) and block.play is not None:
            if block.play:
                parts.append(line_sound(block.play, 0.0, QUARTER_S))
            parts.append(silence(ANSWER_S if block.answer_s is None else max(ANSWER_S, block.answer_s), rate))
    return concatenated(*parts, rate=rate)
