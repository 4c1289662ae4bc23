"""A sung take to a written tune, what is unsure of it, and corrections. Facts only; said by `companion.language`."""

from companion.transcribe.combine import Combined, notate_together
from companion.transcribe.corrections import LAST, Action, Change, ChangeKind, Corrected, Correction, correct
from companion.transcribe.doubts import Doubt, DoubtKind, doubts, unsure_bars
from companion.transcribe.folk_counts import BY_BEATS, TICKS, TIMES
from companion.transcribe.layout import ScoreNote, lay_out, length_values
from companion.transcribe.lyrics import Laid
from companion.transcribe.notation import Estimate, Given, Notation, SoundDoubt, WrittenNote, as_json
from companion.transcribe.pitches import key_of
from companion.transcribe.score import notate
from companion.transcribe.segmentation import sung_notes
from companion.transcribe.takes import LIVE, Take, Transcription, given, live_take, take_of, time_named, write_takes

__all__ = [
    "BY_BEATS",
    "LAST",
    "LIVE",
    "TICKS",
    "TIMES",
    "Action",
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
    "ScoreNote",
    "SoundDoubt",
    "Take",
    "Transcription",
    "WrittenNote",
    "as_json",
    "correct",
    "doubts",
    "given",
    "key_of",
    "lay_out",
    "length_values",
    "live_take",
    "notate",
    "notate_together",
    "sung_notes",
    "take_of",
    "time_named",
    "unsure_bars",
    "write_takes",
]
