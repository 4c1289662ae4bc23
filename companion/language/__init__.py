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
    from companion.language.exercises import (
        ExerciseKind,
        booklet_title,
        cells_in_dots,
        exercise_heading,
        exercise_helper,
        exercise_level,
        exercise_question,
        exercise_title,
        gap_answer,
        helper_label,
        move_answer,
        new_start_answer,
        note_answer,
        notes_answer,
        octave_marks_answer,
        reading_cells,
        rhythm_answer,
        shared_question_label,
        spoken_booklet_title,
        spoken_exercise,
        version_answer,
        version_in_dots,
        version_name,
        wrong_note_answer,
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
    from companion.language.paper import (
        cells_in_words,
        finger_line_in_words,
        labelled,
        numbered_page,
        untitled_tune,
        wall_card_cautions,
        wall_card_heights,
        wall_card_title,
        wall_card_walk,
    )
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
    "ExerciseKind",
    "Joining",
    "Language",
    "LessonSentence",
    "Order",
    "Variety",
    "a_length",
    "bar_lines",
    "bare",
    "booklet_title",
    "cells_in_dots",
    "cells_in_words",
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
    "exercise_heading",
    "exercise_helper",
    "exercise_level",
    "exercise_question",
    "exercise_title",
    "export_line",
    "finger_line_in_words",
    "gap_answer",
    "given_line",
    "greeting",
    "hand_for_helper",
    "hand_for_pupil",
    "helper_label",
    "kept_beside",
    "key_line",
    "kind_of_moves",
    "labelled",
    "length",
    "lesson_place",
    "level_line",
    "line_kept",
    "move_answer",
    "move_line",
    "move_name",
    "moves_of_kind",
    "new_page",
    "new_start_answer",
    "next_time",
    "no_pupils",
    "note_answer",
    "note_name",
    "notes_answer",
    "numbered_page",
    "octave_marks_answer",
    "phrase_place",
    "pupil_line",
    "read_correction",
    "read_key",
    "reading_cells",
    "rhythm_answer",
    "score_json",
    "score_lines",
    "session_went_well",
    "setting_line",
    "shared_question_label",
    "sing_for_level",
    "smaller_piece",
    "spoken_booklet_title",
    "spoken_exercise",
    "start_line",
    "sung_line_place",
    "sung_line_title",
    "title_and_phrases",
    "title_line",
    "tune_line",
    "uneven_words",
    "untitled_tune",
    "version_answer",
    "version_in_dots",
    "version_name",
    "wall_card_cautions",
    "wall_card_heights",
    "wall_card_title",
    "wall_card_walk",
    "week_lines",
    "went_well",
    "wrong_note_answer",
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
    "exercises": (
        "ExerciseKind", "booklet_title", "cells_in_dots", "shared_question_label", "exercise_heading", "exercise_helper",
        "exercise_level", "exercise_question", "exercise_title", "helper_label", "gap_answer",
        "move_answer", "new_start_answer", "note_answer", "notes_answer", "octave_marks_answer",
        "reading_cells", "rhythm_answer", "spoken_booklet_title", "spoken_exercise", "version_answer",
        "version_in_dots", "version_name", "wrong_note_answer"
    ),
    "lesson": (
        "LessonSentence", "given_line", "greeting", "kept_beside", "key_line", "lesson_place", "line_kept",
        "phrase_place", "sung_line_place", "sung_line_title", "title_and_phrases", "title_line"
    ),
    "microphone": ("level_line", "sing_for_level"),
    "moves": ("kind_of_moves", "next_time", "session_went_well"),
    "paper": (
        "cells_in_words", "finger_line_in_words", "labelled", "numbered_page", "untitled_tune",
        "wall_card_cautions", "wall_card_heights", "wall_card_title", "wall_card_walk"
    ),
    "reach": ("hand_for_helper", "hand_for_pupil"),
    "scores": (
        "a_length", "bar_lines", "change_line", "doubt_line", "doubt_lines", "length", "score_json", "score_lines", "uneven_words"
    ),
    "tunes": ("tune_line",),
})
