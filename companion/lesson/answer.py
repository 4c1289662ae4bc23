"""One answer to one take: match, advice and cells put together, for the command line, the page and the loop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from companion.braille import note_cells, to_dots
from companion.ear import DEFAULT_TRACKER, PitchTrack, hear_pitch
from companion.errors import NothingSung, Trouble
from companion.language import Language, cue_sentences, cue_text, evidence_lines, say_note
from companion.match import Advice, Match, Presence, Verdict, advise, line_odds, match_phrase, match_take, unjudged
from companion.messages import _
from companion.tune import LineNote, Tune, catalogue, load

# A take is matched with all of a line at once, in time and memory that grow with both: at the second bound
# about a minute and 2 GB. A song of five minutes and a hundred notes lies inside.
MOST_NOTES = 1500
MOST_NOTE_SECONDS = 40_000.0
LONGEST_SEARCHED_S = 60.0  # a take is held against all tunes that ship in a second or two
WEAK = 2.5  # odds of this tune below which the others are tried: plain takes lie at 5 and above
FAR_LIKELIER = 5.0  # nats
NAMED_FROM = 0.75  # share of moves that must be right, and none wrong, before a tune is named as what was sung ...
# ... at odds that none of 260 takes reached with a line that was not sung in them (the takes on which the odds were fitted,
# most of tunes that do not ship).
NAMED_ODDS = 2.5
SURELY_SUNG = 9.0  # nats: below 8 for synthesised singers of something else; real songs that do not ship reach 12


@dataclass(frozen=True)
class Answer:
    """A take's name, the tune and the notes it was matched with, the match and the advice.

    likelier: the title of a tune that ships and fits the take far better, where this one is not in it.
    """

    take: str
    tune: Tune
    tune_name: str
    line: tuple[LineNote, ...]
    match: Match
    advice: Advice
    likelier: str = ""

    def cue(self, language: Language, sounds: bool = True) -> str:
        """What is said back. sounds: whether anything is to be heard after it; where not, nobody is asked to listen."""
        if not sounds and self.advice.move is not None:
            said = cue_sentences(language, self.match, self.advice, self.tune.title, self.likelier)
            return replace(said, ask="").whole
        return cue_text(language, self.match, self.advice, self.tune.title, self.likelier)

    @property
    def followed(self) -> bool:
        """Whether any move could be judged, or there was none."""
        return any(m.verdict != Verdict.UNSURE for m in self.match.moves) or not self.match.moves

    def as_json(self, language: Language) -> dict[str, Any]:
        """The keys that programs may rely on, and `detail` for more that a teacher might ask."""
        notes = []
        for heard in self.match.notes:
            dots, cells = cell_of(self.tune, heard.written)
            notes.append({
                "number": heard.written.number, "written": heard.written.pitch.name,
                "syllable": heard.written.syllable, "sung": heard.sung, "midi": heard.midi,
                # The first frame stands for half a hop before it too: never said to be before the take begins.
                "onset_s": None if heard.onset_s is None else max(0.0, heard.onset_s),
                "duration_s": heard.duration_s, "length": heard.length, "dots": dots, "cells": cells})
        moves = [{
            "from": m.start, "to": m.end, "wanted": m.wanted, "heard": m.heard, "verdict": m.verdict,
            "sure": m.sure, "wanted_semitones": m.wanted_semitones, "sung_semitones": m.sung_semitones,
            "size": m.size}
            for m in self.match.moves]
        return {"take": self.take, "tune": self.tune_name, "shift_semitones": self.match.shift_semitones,
                "notes": notes, "moves": moves, "counts": self.match.counts,
                "closeness": self.match.closeness, "cue": self.cue(language), "kind": self.advice.kind,
                "heard_from_s": self.match.heard_from_s, "heard_to_s": self.match.heard_to_s,
                "attempts": self.match.attempts, "likelier": self.likelier or None, "detail": detail_json(self.match)}


def detail_json(match: Match) -> dict[str, Any]:
    """More that a teacher might ask, ready for JSON: `Detail`, how the kinds of moves went, the notes left out."""
    detail = match.detail
    highest = detail.highest and {"written": detail.highest.written, "sung": detail.highest.sung,
                                  "agrees": detail.highest.agrees}
    return {
        "tuning_cents": detail.tuning_cents, "drift_cents": detail.drift_cents, "interval_factor": detail.interval_factor,
        "steps": [{"from": s.start, "to": s.end, "off_semitones": s.off_semitones, "say": s.fault} for s in detail.sizes],
        "highest": highest, "lengths": [{"note": x.note, "times": x.times, "say": x.fault} for x in detail.lengths],
        "kinds": match.kinds, "left_out": [n.written.number for n in match.notes if not n.sung]}


def why_json(language: Language, match: Match, index: int) -> dict[str, Any]:
    """The evidence for the verdict of one move (0 first), ready for JSON; `say`: the same in plain lines."""
    move, known = match.moves[index], match.evidence[index]
    notes = [{"number": n.written.number, "midi": n.midi, "from_s": None if n.onset_s is None else max(0.0, n.onset_s),
              "to_s": None if n.onset_s is None or n.duration_s is None else round(n.onset_s + n.duration_s, 3),
              "spread_semitones": known.spread[k], "voice_s": known.voice_s[k]}
             for k, n in enumerate(match.notes[index:index + 2])]
    return {"from": move.start, "to": move.end, "verdict": move.verdict, "heard": move.heard, "sure": move.sure, "notes": notes,
            "sung_semitones": move.sung_semitones, "error_semitones": known.error,
            "posterior": {"up": known.up, "level": known.level, "down": known.down}, "placed": known.placed,
            "doubt": known.doubt, "say": evidence_lines(language, match, index)}


def cell_of(tune: Tune, note: LineNote) -> tuple[str, str]:
    """(dots, cells) of a note standing alone, with its octave mark: ("5-145", "⠐⠙") for C4, a quaver."""
    bar, place = note.sources[0]
    written = tune.bars[bar].notes[place]
    cells = note_cells(written.pitch, written.base, written.dots)
    return to_dots(cells), cells


def say_cell(language: Language, tune: Tune, note: LineNote) -> str:
    """The same in words: "C, fourth octave: dot 5, then 1 4 5"."""
    bar, place = note.sources[0]
    written = tune.bars[bar].notes[place]
    return say_note(language, written.pitch, cell_of(tune, note)[1], written.base, written.dots)


def chosen_line(tune: Tune, phrase: int | None) -> tuple[LineNote, ...]:
    """The whole tune as sung, or one phrase of it. Raises Trouble where there is no such phrase."""
    if phrase is None:
        return tune.line()
    try:
        return tune.phrase(phrase)
    except IndexError:
        last = max((n.phrase for n in tune.line()), default=0)
        raise Trouble(_("{tune} has no phrase {phrase}; it has phrases 1 to {last}. Give one of those.").format(
                            tune=tune.title or _("This tune"), phrase=phrase, last=last)) from None


def answer_take(take: str | Path, tune_name: str | Path, phrase: int | None = None, part: str | None = None,
                tracker: str = DEFAULT_TRACKER, verse: int | None = None) -> Answer:
    """Match a take (sound file, or CSV pitch track) with a tune (file or shipped name).

    verse: whose words are sung, from 1; None: as the tune unfolds. tracker: by name, see `companion.ear.PitchTracker`.
    Raises Trouble where either cannot be read, NothingSung where nothing was sung.
    """
    tune = load(tune_name, part=part)
    tune = tune if verse is None else words_of(tune, verse)
    line = chosen_line(tune, phrase)

    def check_length(seconds: float) -> None:
        if len(line) > MOST_NOTES or seconds * len(line) > MOST_NOTE_SECONDS:
            raise Trouble(_("{tune} has {line} notes and the take lasts {seconds:.0f} seconds, too much to hold one "
                            "against the other. Give one phrase (--phrase), and a take of that phrase.").format(
                                tune=tune.title or _("This tune"), line=len(line), seconds=seconds))

    pitch = hear_pitch(take, tracker, check_length)
    match = match_take(pitch, line) if phrase is None else match_phrase(pitch, tune.line(), line)
    likelier = ""
    if match.presence_odds < WEAK or match.presence is Presence.ABSENT:
        least = SURELY_SUNG if match.presence is not Presence.PRESENT else line_odds(pitch, line) + FAR_LIKELIER
        another, likelier = likelier_tune(pitch, tune, max(SURELY_SUNG, least))
        if another:  # something else fits far better, so there is no doubt left that it was not this tune
            match = unjudged(match)
    if match.presence is not Presence.ABSENT and not any(n.sung for n in match.notes):
        raise NothingSung(_("No note of the tune was found in this take. Sing a little closer to the microphone, "
                            "and once more."))
    return Answer(str(take), tune, str(tune_name), line, match, advise(match), likelier)


def words_of(tune: Tune, verse: int) -> Tune:
    """The tune with the words of one verse (from 1). Raises Trouble where it has no such verse."""
    verses = max((len(n.syllables) for b in tune.bars for n in b.notes), default=0)
    if not 1 <= verse <= max(1, verses):
        raise Trouble(_("{tune} has no verse {verse}; it has {verses}. Give one of those.").format(
            tune=tune.title or _("This tune"), verse=verse, verses=verses))
    bars = tuple(replace(b, notes=tuple(replace(n, syllables=n.syllables[verse - 1:verse]) for n in b.notes))
                 for b in tune.bars)
    return replace(tune, bars=bars)


def likelier_tune(pitch: PitchTrack, tune: Tune, least: float = SURELY_SUNG) -> tuple[bool, str]:
    """Whether another tune that ships fits far better (at odds of `least` nats), and its title where it may be named.

    A tune that nobody wrote down here also fits one of the shipped ones best, with moves amiss: then none is named.
    """
    if len(pitch.f0_hz) * pitch.hop_s > LONGEST_SEARCHED_S:
        return False, ""
    found = []
    for entry in catalogue():
        other = load(entry.name)
        if other.title != tune.title:
            found.append((line_odds(pitch, other.line()), other.title, other))
    odds, title, other = max(found, key=lambda x: x[0], default=(0.0, "", tune))
    if odds < least:
        return False, ""
    match = match_take(pitch, other.line())
    right, moves = match.counts[Verdict.RIGHT], len(other.line()) - 1
    named = match.counts[Verdict.WRONG] == 0 and right >= NAMED_FROM * moves and match.presence_odds >= NAMED_ODDS
    return right > len(other.line()) / 2, title if named else ""
