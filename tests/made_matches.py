"""Matches made by hand, so that wording and sound are tested apart from hearing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from companion.lesson import Answer
from companion.match import HeardNote, Match, Move, Verdict, advise
from companion.tune import LineNote, Pitch, direction_of, load

TURNED = {"up": "down", "down": "up", "level": "up"}
STEPS = ("C", "D", "E", "F", "G", "A", "B")


def made_line(*syllables: str, per_bar: int = 4, first: int = 1, pitches: str = "") -> tuple[LineNote, ...]:
    """Notes with these syllables. "lan-" begins a word, "-tern" ends it, "-ter-" stands between, "" is none."""
    notes = []
    for i, text in enumerate(syllables):
        begins, ends = text.endswith("-") and len(text) > 1, text.startswith("-") and len(text) > 1
        place = "" if not text else {(True, False): "begin", (False, True): "end", (True, True): "middle",
                                     (False, False): "single"}[begins, ends]
        step = pitches[i] if pitches else STEPS[i % 7]
        notes.append(LineNote(number=first + i, pitch=Pitch(step, 4), onset_quarters=Fraction(i),
                              quarters=Fraction(1), syllable=text.strip("-") if place != "single" else text,
                              word_place=place, phrase=1, bar=1 + (first - 1 + i) // per_bar,
                              rest_after=Fraction(0), sources=((i // per_bar, i % per_bar),)))
    return tuple(notes)


def made_match(line: Sequence[LineNote], verdicts: Mapping[int, str] | None = None, left_out: Sequence[int] = (),
               shift: float = -3.3) -> Match:
    """A take of `line`: `verdicts` by place of the move (0 first), all else right; `left_out`: places of notes."""
    verdicts = verdicts or {}
    notes = [HeardNote(n, i not in left_out, None if i in left_out else n.midi + shift,
                       None if i in left_out else float(n.onset_quarters) / 2,
                       None if i in left_out else float(n.quarters) / 2) for i, n in enumerate(line)]
    moves = []
    for i in range(len(line) - 1):
        wanted = line[i + 1].midi - line[i].midi
        verdict = Verdict.UNSURE if {i, i + 1} & set(left_out) else verdicts.get(i, Verdict.RIGHT)
        way = direction_of(wanted)
        heard = {Verdict.RIGHT: way, Verdict.WRONG: TURNED[way], Verdict.UNSURE: None}[verdict]
        sung = None if verdict == Verdict.UNSURE else float(wanted) if verdict == Verdict.RIGHT else -float(wanted or -2)
        moves.append(Move(line[i].number, line[i + 1].number, way, heard, verdict, 0.9, wanted, sung))
    return Match(shift, tuple(notes), tuple(moves), 0.5)


def turned_answer(tune: str = "snail-wall", place: int = 4) -> Answer:
    """A take of a shipped tune whose move at `place` went the other way: heard 2 semitones up."""
    loaded = load(tune)
    line = loaded.line()
    match = made_match(line, {place: Verdict.WRONG})
    first = match.notes[place].midi
    assert first is not None
    notes = [HeardNote(n.written, True, first + 2 if i == place + 1 else n.midi, n.onset_s, n.duration_s)
             for i, n in enumerate(match.notes)]
    match = Match(match.shift_semitones, tuple(notes), match.moves, match.closeness)
    return Answer("made", loaded, tune, line, match, advise(match))
