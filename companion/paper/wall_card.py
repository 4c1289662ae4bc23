"""A wall card: how high the hand is for each note, in centimetres, with the caution."""

from __future__ import annotations

from pathlib import Path

from companion.errors import Trouble
from companion.language import Language, wall_card_cautions, wall_card_heights, wall_card_title, wall_card_walk
from companion.messages import _
from companion.paper.forms import save_sheet
from companion.paper.page_sizes import USUAL, PageSize
from companion.paper.sheet import ListItem, Paragraph, Sheet
from companion.tune import Tune

LARGE_PT = 24  # it is read standing, from farther away than a sheet in the hand
FORMS = (".html", ".brf", ".pef", ".pdf", ".txt", ".wav")


def wall_card_sheet(tune: Tune, shoulder_cm: float, language: Language) -> Sheet:
    """The card of a tune for a shoulder so many centimetres above the floor. Raises Trouble where none can be."""
    line = tune.line()
    caution, *more = wall_card_cautions(language, shoulder_cm)
    return Sheet(wall_card_title(language, tune.title), (
        Paragraph(caution, strong=True), *map(Paragraph, more),
        *map(ListItem, wall_card_heights(language, line, shoulder_cm)),
        Paragraph(wall_card_walk(language, line, shoulder_cm))), LARGE_PT)


def save_wall_card(card: Sheet, path: str | Path, language: Language, size: PageSize = USUAL) -> None:
    """Write the card as .html, .brf, .pef, .pdf, .txt or, spoken, .wav. size: of a braille page."""
    kind = Path(path).suffix.lower()
    if kind not in FORMS:
        if kind:
            raise Trouble(_("{path} ends in {ending}; the card is written as .html, .brf, .pef, .pdf, .txt or, spoken, "
                            ".wav.").format(path=path, ending=kind))
        raise Trouble(_("{path} ends in nothing; the card is written as .html, .brf, .pef, .pdf, .txt or, spoken, .wav.").format(
                            path=path))
    save_sheet(card, path, language, size=size)
