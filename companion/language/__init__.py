"""Everything that is composed from parts and heard or read by a person. English is one file; see `interface`."""

from companion.language.choice import LANGUAGES, choose_language
from companion.language.cues import (
    NOTHING_SUNG,
    CueSentences,
    bare,
    count_line,
    cue_sentences,
    cue_text,
    detail_lines,
    move_line,
    move_name,
    moves_of_kind,
    note_name,
    smaller_piece,
    start_line,
    went_well,
)
from companion.language.english import English, Variety
from companion.language.interface import Joining, Language
from companion.language.reach import hand_for_helper, hand_for_pupil
from companion.language.tunes import tune_line

__all__ = [
    "LANGUAGES",
    "NOTHING_SUNG",
    "CueSentences",
    "English",
    "Joining",
    "Language",
    "Variety",
    "bare",
    "choose_language",
    "count_line",
    "cue_sentences",
    "cue_text",
    "detail_lines",
    "hand_for_helper",
    "hand_for_pupil",
    "move_line",
    "move_name",
    "moves_of_kind",
    "note_name",
    "smaller_piece",
    "start_line",
    "tune_line",
    "went_well",
]
