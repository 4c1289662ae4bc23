"""Pages as data (`Sheet` and its blocks) and the forms they take; the finger line, the wall card, the engraved score.

A name is loaded when it is first asked for, as one command needs one form. A new name stands in all three lists below.
"""

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.paper.braille_pages import HEIGHT, WIDTH, to_brf
    from companion.paper.engraving import check_engraver, engraved_pdf, engraved_svgs, save_engraving
    from companion.paper.finger_line import (
        FingerLine,
        finger_line_picture,
        finger_line_sheet,
        finger_line_words,
        save_finger_line,
    )
    from companion.paper.forms import save_sheet, to_sound, to_text
    from companion.paper.large_print import html_body, to_html, to_pdf
    from companion.paper.page_sizes import USUAL, PageSize, keep_size, kept_sizes, page_size
    from companion.paper.pef import brf_pages, read_pef, to_pef
    from companion.paper.saving import check_outs, save_as, tune_sound
    from companion.paper.sheet import (
        Block,
        CellGroup,
        Cells,
        Heading,
        ListItem,
        NewPage,
        Only,
        Paragraph,
        Picture,
        Question,
        Sheet,
        for_pupil,
    )
    from companion.paper.song_pages import save_song, song_brf, song_page, song_pef
    from companion.paper.wall_card import save_wall_card, wall_card_sheet

__all__ = [
    "HEIGHT",
    "USUAL",
    "WIDTH",
    "Block",
    "CellGroup",
    "Cells",
    "FingerLine",
    "Heading",
    "ListItem",
    "NewPage",
    "Only",
    "PageSize",
    "Paragraph",
    "Picture",
    "Question",
    "Sheet",
    "brf_pages",
    "check_engraver",
    "check_outs",
    "engraved_pdf",
    "engraved_svgs",
    "finger_line_picture",
    "finger_line_sheet",
    "finger_line_words",
    "for_pupil",
    "html_body",
    "keep_size",
    "kept_sizes",
    "page_size",
    "read_pef",
    "save_as",
    "save_engraving",
    "save_finger_line",
    "save_sheet",
    "save_song",
    "save_wall_card",
    "song_brf",
    "song_page",
    "song_pef",
    "to_brf",
    "to_html",
    "to_pdf",
    "to_pef",
    "to_sound",
    "to_text",
    "tune_sound",
    "wall_card_sheet",
]

__getattr__ = loader(__name__, {
    "braille_pages": ("HEIGHT", "WIDTH", "to_brf"),
    "engraving": ("check_engraver", "engraved_pdf", "engraved_svgs", "save_engraving"),
    "finger_line": ("FingerLine", "finger_line_picture", "finger_line_sheet", "finger_line_words", "save_finger_line"),
    "forms": ("save_sheet", "to_sound", "to_text"),
    "large_print": ("html_body", "to_html", "to_pdf"),
    "page_sizes": ("USUAL", "PageSize", "keep_size", "kept_sizes", "page_size"),
    "pef": ("brf_pages", "read_pef", "to_pef"),
    "saving": ("check_outs", "save_as", "tune_sound"),
    "sheet": ("Block", "CellGroup", "Cells", "Heading", "ListItem", "NewPage", "Only", "Paragraph", "Picture", "Question",
              "Sheet", "for_pupil"),
    "song_pages": ("save_song", "song_brf", "song_page", "song_pef"),
    "wall_card": ("save_wall_card", "wall_card_sheet"),
})
