"""A sung take to a written tune, what is unsure of it, and corrections. Facts only; said by `companion.language`.

A name is loaded when it is first asked for, because a lesson needs only the notes of a sung line, and its first word must
come within half a second. A new name stands in all three lists below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.lazy import loader

if TYPE_CHECKING:
    from companion.transcribe.again import sung_again
    from companion.transcribe.bar_questions import BarQuestion, bar_question, settled
    from companion.transcribe.combine import Combined, notate_together
    from companion.transcribe.corrections import (
        FIRST,
        LAST,
        Action,
        Change,
        ChangeKind,
        Corrected,
        Correction,
        Which,
        correct,
        correct_all,
    )
    from companion.transcribe.doubts import Doubt, DoubtKind, doubts_of, unsure_bars
    from companion.transcribe.folk_counts import BY_BEATS, TICKS, TIMES
    from companion.transcribe.kept import check_keep, is_kept_work, keep_work, open_work
    from companion.transcribe.layout import ScoreNote, lay_out, length_values
    from companion.transcribe.lyrics import Laid
    from companion.transcribe.notation import Estimate, Given, Notation, SoundDoubt, WrittenNote, as_json
    from companion.transcribe.pitches import key_of
    from companion.transcribe.questions import MOST_QUESTIONS, Answer, Question, QuestionKind, answered, question
    from companion.transcribe.score import notate
    from companion.transcribe.takes import (
        LIVE,
        Take,
        Transcription,
        given,
        live_take,
        mended,
        take_of,
        time_named,
        worded,
        write_takes,
    )

__all__ = [
    "BY_BEATS",
    "FIRST",
    "LAST",
    "LIVE",
    "MOST_QUESTIONS",
    "TICKS",
    "TIMES",
    "Action",
    "Answer",
    "BarQuestion",
    "Change",
    "ChangeKind",
    "Combined",
    "Corrected",
    "Correction",
    "Doubt",
    "DoubtKind",
    "Estimate",
    "Given",
    "Laid",
    "Notation",
    "Question",
    "QuestionKind",
    "ScoreNote",
    "SoundDoubt",
    "Take",
    "Transcription",
    "Which",
    "WrittenNote",
    "answered",
    "as_json",
    "bar_question",
    "check_keep",
    "correct",
    "correct_all",
    "doubts_of",
    "given",
    "is_kept_work",
    "keep_work",
    "key_of",
    "lay_out",
    "length_values",
    "live_take",
    "mended",
    "notate",
    "notate_together",
    "open_work",
    "question",
    "settled",
    "sung_again",
    "take_of",
    "time_named",
    "unsure_bars",
    "worded",
    "write_takes",
]

__getattr__ = loader(__name__, {
    "again": ("sung_again",),
    "bar_questions": ("BarQuestion", "bar_question", "settled"),
    "combine": ("Combined", "notate_together"),
    "corrections": ("FIRST", "LAST", "Action", "Change", "ChangeKind", "Corrected", "Correction", "Which", "correct",
                    "correct_all"),
    "doubts": ("Doubt", "DoubtKind", "doubts_of", "unsure_bars"),
    "folk_counts": ("BY_BEATS", "TICKS", "TIMES"),
    "kept": ("check_keep", "is_kept_work", "keep_work", "open_work"),
    "layout": ("ScoreNote", "lay_out", "length_values"),
    "lyrics": ("Laid",),
    "notation": ("Estimate", "Given", "Notation", "SoundDoubt", "WrittenNote", "as_json"),
    "pitches": ("key_of",),
    "questions": ("MOST_QUESTIONS", "Answer", "Question", "QuestionKind", "answered", "question"),
    "score": ("notate",),
    "takes": ("LIVE", "Take", "Transcription", "given", "live_take", "mended", "take_of", "time_named",
              "worded", "write_takes"),
})
