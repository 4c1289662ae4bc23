"""Everything that is composed from parts and heard or read by a person. English is one file; see `interface`.

A subject (cues, the diary, a lesson ...) is loaded when a name of it is first asked for, because each imports the facts
that it tells of, and a command tells of few. A new name stands in all three lists below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.language.choice import LANGUAGES, choose_language
from companion.language.english import English, Variety
from companion.language.interface import Joining, Language, Order
from companion.lazy import loader

if TYPE_CHECKING:
    from companion.language.corrections import EXAMPLES, read_correction, read_key
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
    from companion.language.diary import (
        change_lines,
        deletion_line,
        export_line,
        new_page,
        no_pupils,
        pupil_line,
        setting_line,
        week_lines,
    )
    from companion.language.lesson import (
        LessonSentence,
        given_line,
        greeting,
        kept_beside,
        key_line,
        lesson_place,
        line_kept,
        phrase_place,
        sung_line_place,
        sung_line_title,
        title_and_phrases,
        title_line,
    )
    from companion.language.microphone import level_line, sing_for_level
    from companion.language.moves import kind_of_moves, next_time, session_went_well
    from companion.language.reach import hand_for_helper, hand_for_pupil
    from companion.language.scores import (
        a_length,
        bar_lines,
        change_line,
        doubt_line,
        doubt_lines,
        length,
        score_json,
        score_lines,
        uneven_words,
    )
    from companion.language.tunes import tune_line

__all__ = [
    "EXAMPLES",
    "LANGUAGES",
    "NOTHING_SUNG",
    "CueSentences",
    "English",
    "Joining",
    "Language",
    "LessonSentence",
    "Order",
    "Variety",
    "a_length",
    "bar_lines",
    "bare",
    "change_line",
    "change_lines",
    "choose_language",
    "count_line",
    "cue_sentences",
    "cue_text",
    "deletion_line",
    "detail_lines",
    "doubt_line",
    "doubt_lines",
    "export_line",
    "given_line",
    "greeting",
    "hand_for_helper",
    "hand_for_pupil",
    "kept_beside",
    "key_line",
    "kind_of_moves",
    "length",
    "lesson_place",
    "level_line",
    "line_kept",
    "move_line",
    "move_name",
    "moves_of_kind",
    "new_page",
    "next_time",
    "no_pupils",
    "note_name",
    "phrase_place",
    "pupil_line",
    "read_correction",
    "read_key",
    "score_json",
    "score_lines",
    "session_went_well",
    "setting_line",
    "sing_for_level",
    "smaller_piece",
    "start_line",
    "sung_line_place",
    "sung_line_title",
    "title_and_phrases",
    "title_line",
    "tune_line",
    "uneven_words",
    "week_lines",
    "went_well",
]

__getattr__ = loader(__name__, {
    "corrections": ("EXAMPLES", "read_correction", "read_key"),
    "cues": (
        "NOTHING_SUNG", "CueSentences", "bare", "count_line", "cue_sentences", "cue_text", "detail_lines",
        "move_line", "move_name", "moves_of_kind", "note_name", "smaller_piece", "start_line", "went_well"
    ),
    "diary": (
        "change_lines", "deletion_line", "export_line", "new_page", "no_pupils", "pupil_line",
        "setting_line", "week_lines"
    ),
    "lesson": (
        "LessonSentence", "given_line", "greeting", "kept_beside", "key_line", "lesson_place", "line_kept",
        "phrase_place", "sung_line_place", "sung_line_title", "title_and_phrases", "title_line"
    ),
    "microphone": ("level_line", "sing_for_level"),
    "moves": ("kind_of_moves", "next_time", "session_went_well"),
    "reach": ("hand_for_helper", "hand_for_pupil"),
    "scores": (
        "a_length", "bar_lines", "change_line", "doubt_line", "doubt_lines", "length", "score_json", "score_lines", "uneven_words"
    ),
    "tunes": ("tune_line",),
})
