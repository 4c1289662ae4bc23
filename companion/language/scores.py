"""What is said of a written-down take: its bars, what is unsure of it, and what a correction did."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from companion.braille import needs_octave
from companion.language.interface import Language
from companion.messages import N_
from companion.transcribe import (
    Answer,
    Change,
    ChangeKind,
    Doubt,
    DoubtKind,
    Laid,
    Notation,
    Question,
    QuestionKind,
    Transcription,
    as_json,
    doubts_of,
    length_values,
    unsure_bars,
)
from companion.tune import Mark, Note, Pitch, Time, Tune

MOST_DOUBTS = 12  # more than this are too many to be heard; the surest of them are left out


def length(language: Language, ticks: int) -> str:
    """A length in ticks (four a crotchet) that begins on a beat: "dotted crotchet", "minim tied to a quaver"."""
    first, *others = length_values(ticks)
    return _tied(language, language.value(*first), others)


def a_length(language: Language, ticks: int) -> str:
    """The same with its article: "a dotted crotchet", "a minim tied to a quaver"."""
    first, *others = length_values(ticks)
    return _tied(language, language.a_value(*first), others)


def _tied(language: Language, text: str, others: Sequence[tuple[Fraction, int]]) -> str:
    for base, dots in others:
        text = language.message("{value} tied to {next}").format(value=text, next=language.a_value(base, dots))
    return text


def beats_to_the_bar(language: Language, time: Time) -> str:
    """ "three beats to the bar", "six quavers to the bar"."""
    count = sum(time.upper)
    template = (language.plural("{count} quaver to the bar", "{count} quavers to the bar", count) if time.compound else
                language.plural("{count} beat to the bar", "{count} beats to the bar", count))
    return template.format(count=language.number(count))


# The score.


def score_lines(language: Language, transcription: Transcription) -> list[str]:
    """A written-down take in plain lines: what it is, bar by bar, what was corrected, and what is unsure."""
    n = transcription.notation
    out = [_summary(language, n)]
    if transcription.takes > 1:
        out.append(language.plural("Made from {count} take.", "Made from {count} takes.", transcription.takes).format(
            count=language.number(transcription.takes)))
    out += bar_lines(language, n.tune)
    if transcription.uncounted:
        out.append(language.message("The counts were not found, so the tune is written without them."))
    out += [change_line(language, change) for change in transcription.changes]
    if transcription.laid:
        out += uneven_words(language, transcription.laid, n.positions)
    return [*out, *doubt_lines(language, n)]


def _summary(language: Language, n: Notation) -> str:
    """ "Lantern: 14 notes, C major, four beats to the bar, about 120 crotchets a minute. Begins with a pickup of ..."."""
    if n.in_breaths:
        text = language.message("{notes} notes, {key}, no steady beat.").format(notes=len(n.notes), key=language.key(n.key))
        return language.message("{title}: {summary}").format(title=n.title, summary=text) if n.title else text
    text = (language.message("{notes} notes, {key}, {time}, about {pace} dotted crotchets a minute.") if n.time.compound else
            language.message("{notes} notes, {key}, {time}, about {pace} crotchets a minute.")).format(
                notes=len(n.notes), key=language.key(n.key), time=beats_to_the_bar(language, n.time),
                pace=f"{n.beat_bpm:.0f}")
    if n.title:
        text = language.message("{title}: {summary}").format(title=n.title, summary=text)
    if n.place:
        text += " " + language.message("Begins with a pickup of {length}.").format(
            length=a_length(language, n.bar_ticks - n.place))
    return text


def bar_lines(language: Language, tune: Tune) -> list[str]:
    """A tune bar by bar, a line each: "Bar 2: B flat crotchet, crotchet rest, C crotchet in the fifth octave.".

    The octave is said where music braille marks it, ties and breaths where they stand.
    """
    out: list[str] = []
    before: Pitch | None = None
    held = False
    for bar in tune.bars:
        said = notes_said(language, bar.notes, before, held)
        out.append(language.message("Bar {number}: {notes}.").format(number=bar.number, notes=", ".join(said)))
        for note in bar.notes:
            before, held = note.pitch or before, note.tie
    return out


def notes_said(language: Language, notes: Sequence[Note], before: Pitch | None = None, held: bool = False) -> list[str]:
    """Each note with its value, those tied to it with it. before: the pitch before them. held: the first is tied to it."""
    said: list[str] = []
    for note in notes:
        if note.pitch is None:
            said.append(_rest(language, note))
        elif held and said:
            said[-1] = _with_breath(language, note, language.message("{note} tied to {value}").format(
                note=said[-1], value=language.a_value(note.base, note.dots)))
        else:
            text = _held_over(language, note) if held else _note(language, note, before)
            said.append(_with_breath(language, note, _tuplet(language, note, text)))
        before = note.pitch or before
        held = note.tie
    return said


def _rest(language: Language, note: Note) -> str:
    if note.whole_bar:
        return language.message("full bar rest")
    return language.message("{value} rest").format(value=language.value(note.base, note.dots))


def _note(language: Language, note: Note, before: Pitch | None) -> str:
    """ "C crotchet", "C crotchet in the fifth octave". before: the pitch of the note before."""
    assert note.pitch is not None
    name, value = language.pitch_class(note.pitch), language.value(note.base, note.dots)
    if needs_octave(before, note.pitch) and 0 <= note.pitch.octave <= 8:
        return language.message("{pitch} {value} in the {octave}").format(
            pitch=name, value=value, octave=language.octave(note.pitch.octave))
    return language.message("{pitch} {value}").format(pitch=name, value=value)


def _held_over(language: Language, note: Note) -> str:
    assert note.pitch is not None
    return language.message("{pitch} {value} held over").format(
        pitch=language.pitch_class(note.pitch), value=language.value(note.base, note.dots))


def _tuplet(language: Language, note: Note, text: str) -> str:
    """With a triplet or another group announced where it begins."""
    if not note.tuplet or note.tuplet.place != "start":
        return text
    return (language.message("triplet of {note}") if note.tuplet.actual == 3 else
            language.message("group of {note}")).format(note=text)


def _with_breath(language: Language, note: Note, text: str) -> str:
    return language.message("{note}, breath").format(note=text) if Mark.BREATH in note.marks else text


def score_json(language: Language, notation: Notation) -> dict[str, Any]:
    """What `companion notate --json` prints; its sentences are in this language."""
    facts = as_json(notation)
    problems = [{"bar": d.bar, "note": d.note, "say": doubt_line(language, d), "or": _other(language, d)}
                for d in doubts_of(notation)]
    return {"notes": facts.pop("notes"), "problems": problems, **facts}


# What is unsure.

_DOUBTS = {
    DoubtKind.ACCOMPANIED: N_("More than one voice or instrument sounds here, and a note may come from either. Record the "
                              "voice alone, or listen to each note again."),
    DoubtKind.UNCLEAR: N_("The sound is not clear: there is noise, or more than one voice or instrument. Listen to each note "
                          "again."),
    DoubtKind.IN_TURN: N_("Two voices seem to sing here in turn, one lower than the other, and each is written where it sounds. "
                          "Record one voice alone if that is not wanted."),
    DoubtKind.TIME: N_("Written with {time}, but it may have {other}."),
    DoubtKind.DUPLE: N_("Written with {time}; {other} would sound the same, so take which you like."),
    DoubtKind.BEGINS_BAR: N_("It is unsure where the bars begin: the first note may begin one."),
    DoubtKind.PICKUP: N_("It is unsure where the bars begin: the tune may begin with {other} before the first."),
    DoubtKind.NO_BEAT: N_("No steady beat; written in breaths, a bar for each. The values are rough: sing it once more with a "
                          "beat counted in, or say how many beats there are, as in three."),
    DoubtKind.SLOW: N_("The beat came out slow; all values may be twice as long."),
    DoubtKind.QUICK: N_("The beat came out quick; all values may be half as long."),
    DoubtKind.KEY: N_("Written in {key}, but it may be in {other}."),
    DoubtKind.PITCH: N_("Bar {bar}, {place} note: {pitch}, but it may be {other}."),
    DoubtKind.HELD: N_("Bar {bar}, {place} note: {length} and a rest, but it may be {other} held."),
    DoubtKind.PART_REST: N_("Bar {bar}, {place} note: {length}, but part of it may be a rest."),
    DoubtKind.VALUE: N_("Bar {bar}, {place} note: {length}, but it may be {other}."),
    DoubtKind.FAINT: N_("Bar {bar}, {place} note: {pitch}, {length}, was faint or very short; listen whether it belongs "
                        "there."),
}


def doubt_line(language: Language, doubt: Doubt) -> str:
    """One doubt as a sentence."""
    facts = {
        "bar": doubt.bar, "place": language.ordinal(doubt.note),
        "time": beats_to_the_bar(language, doubt.time) if doubt.time else "",
        "key": language.key(doubt.key) if doubt.key else "",
        "pitch": language.pitch_class(doubt.pitch) if doubt.pitch else "",
        "length": a_length(language, doubt.ticks) if doubt.ticks else "",
        "other": beats_to_the_bar(language, doubt.other_time) if doubt.other_time else _other(language, doubt),
    }
    return language.message(_DOUBTS[doubt.kind]).format(**facts)


def _other(language: Language, doubt: Doubt) -> str:
    """The second-best reading by itself: "a dotted crotchet", "F sharp", "3/4", "G major", "no note", ""."""
    if doubt.kind is DoubtKind.FAINT:
        return language.message("no note")
    if doubt.other_pitch:
        return language.pitch_class(doubt.other_pitch)
    if doubt.other_ticks:
        return a_length(language, doubt.other_ticks)
    if doubt.other_time:
        return doubt.other_time.name
    return language.key(doubt.other_key) if doubt.other_key else ""


def doubt_lines(language: Language, notation: Notation) -> list[str]:
    """The doubts as plain lines, not more than can be listened to; the least sure are kept."""
    found = doubts_of(notation)
    if not found:
        return [language.message("Nothing in it is unsure.")]
    whole = [d for d in found if not d.bar and not d.note]
    worst = sorted(found, key=lambda d: -d.wrong)[:MOST_DOUBTS]
    # What is doubtful of the whole is said whatever else there is to doubt.
    lines = [doubt_line(language, d) for d in found if d in worst or d in whole]
    left = len(found) - len(lines)
    if left:
        lines.append(language.plural("{count} more is a little unsure.", "{count} more are a little unsure.", left).format(
            count=left))
    return lines


def unsure_line(language: Language, notation: Notation) -> str:
    """Which bars are unsure, in one sentence."""
    bars = [str(bar) for bar in unsure_bars(notation)]
    if not bars:
        return language.message("No bar is unsure.")
    return language.plural("Bar {bars} is unsure.", "Bars {bars} are unsure.", len(bars)).format(bars=language.listed(bars))


# Questions about the metre, by ear alone.

_QUESTIONS = {
    QuestionKind.GAIT: N_("Does it march, waltz or rock?"),
    QuestionKind.BEATS: N_("Do you count it in two or in four?"),
    QuestionKind.FIRST: N_("Does it begin on the strong beat? Say yes, or no if the strong beat comes later."),
}


def question_line(language: Language, asked: Question) -> str:
    """A question about the metre."""
    return language.message(_QUESTIONS[asked.kind])


def read_answer(language: Language, asked: Question, text: str) -> Answer | None:
    """The answer that was typed; None where it is none to this question."""
    table = language.correction_words.answers[asked.kind]
    return table.get(" ".join(text.lower().replace("’", "'").strip(" .!").split()))


HEAR_AGAIN = -1  # typed instead of a version


def bar_question_line(language: Language, bar: int, versions: int) -> str:
    """Said before the two or three versions of a bar are sounded."""
    if versions == 2:
        return language.message("Two versions of bar {bar} follow. Which is as it was sung, the first or the second?").format(
            bar=bar)
    return language.message("Three versions of bar {bar} follow. Which is as it was sung, the first, the second or the "
                            "third?").format(bar=bar)


def read_version(language: Language, text: str, versions: int) -> int | None:
    """1 to `versions` for a version, 0 where nobody knows, HEAR_AGAIN; None where what was typed is none of these."""
    found = language.correction_words.versions.get(" ".join(text.lower().replace("’", "'").strip(" .!").split()))
    return found if found is None or found <= versions else None


def read_count(language: Language, text: str) -> int | None:
    """A number that was typed, in figures or as a word; None where it is none."""
    word = text.lower().strip(" .!\n")
    return int(word) if word.isdecimal() and len(word) < 4 else language.correction_words.numbers.get(word)


# What a correction did.

_CHANGES = {
    ChangeKind.TIME: N_("Read again in {time}."),
    ChangeKind.KEY: N_("Written in {key}; the notes stay."),
    ChangeKind.NO_PICKUP: N_("The first note now begins the first bar."),
    ChangeKind.PICKUP: N_("The tune begins with a pickup of {length}."),
    ChangeKind.DOUBLED: N_("All values are twice as long."),
    ChangeKind.HALVED: N_("All values are half as long."),
    ChangeKind.WORDS: N_("The words are laid under the notes."),
    ChangeKind.TITLE: N_("Its title is {title}."),
    ChangeKind.TAKEN_OUT: N_("Bar {bar}, note {note} is taken out."),
    ChangeKind.TAKEN_OUT_HELD: N_("Bar {bar}, note {note} is taken out; the note before it lasts on."),
    ChangeKind.TAKEN_OUT_BEGINNING: N_("Bar {bar}, note {note} is taken out; the tune begins after it."),
    ChangeKind.JOINED: N_("Bar {bar}, note {note} and the next are one note now."),
    ChangeKind.SPLIT: N_("Bar {bar}, note {note} is two notes now."),
    ChangeKind.NO_REST: N_("Bar {bar}, note {note} is held, with no rest after."),
    ChangeKind.END_REST: N_("Bar {bar}, note {note} ends with {length} of rest."),
    ChangeKind.REST: N_("Bar {bar}, note {note} is a rest now."),
    ChangeKind.PITCH: N_("Bar {bar}, note {note} is {pitch} now."),
    ChangeKind.VALUE: N_("Bar {bar}, note {note} is {length} now."),
    ChangeKind.VALUE_WITH_REST: N_("Bar {bar}, note {note} is {length} now; its rest has what is left."),
    ChangeKind.VALUE_SHARED: N_("Bar {bar}, note {note} is {length} now. Note {other_note} of the bar is {other_length}, so "
                                "that the bar lines stay."),
    ChangeKind.PARTED: N_("Bar {bar}, note {note} is {parts} notes now."),
    ChangeKind.ADDED: N_("A note is added at bar {bar}, note {note}: {pitch}, {length}."),
    ChangeKind.TRIPLET: N_("A triplet begins at bar {bar}, note {note}."),
    ChangeKind.NO_TRIPLET: N_("Bar {bar}, note {note} is in no triplet now."),
    ChangeKind.SLUR: N_("A slur goes from bar {bar}, note {note} to bar {other_bar}, note {other_note}."),
    ChangeKind.NO_SLUR: N_("The slur at bar {bar}, note {note} is gone."),
    ChangeKind.SYLLABLE: N_("Bar {bar}, note {note} is sung on {title}."),
    ChangeKind.NO_SYLLABLE: N_("Bar {bar}, note {note} has no word of its own now."),
    ChangeKind.COPIED: N_("Bars {bar} to {last_bar} are written as those from bar {other_bar} on."),
    ChangeKind.REPEAT: N_("Bars {bar} to {last_bar} are sung twice."),
    ChangeKind.REPEAT_ALL: N_("The whole tune is sung twice."),
    ChangeKind.NO_REPEAT: N_("Nothing is repeated now."),
    ChangeKind.SUNG_AGAIN: N_("Bar {bar} is written as you sang it now."),
    ChangeKind.SUNG_AGAIN_BARS: N_("Bars {bar} to {last_bar} are written as you sang them now."),
    ChangeKind.TEMPO: N_("The tempo is {bpm} beats a minute."),
}
#: By semitones: higher and lower.
_MOVED = {
    1: (N_("All of it is a semitone higher, now in {key}."), N_("All of it is a semitone lower, now in {key}.")),
    2: (N_("All of it is a tone higher, now in {key}."), N_("All of it is a tone lower, now in {key}.")),
    3: (N_("All of it is a minor third higher, now in {key}."), N_("All of it is a minor third lower, now in {key}.")),
    4: (N_("All of it is a major third higher, now in {key}."), N_("All of it is a major third lower, now in {key}.")),
    5: (N_("All of it is a fourth higher, now in {key}."), N_("All of it is a fourth lower, now in {key}.")),
    7: (N_("All of it is a fifth higher, now in {key}."), N_("All of it is a fifth lower, now in {key}.")),
    12: (N_("All of it is an octave higher, now in {key}."), N_("All of it is an octave lower, now in {key}.")),
}


def change_line(language: Language, change: Change) -> str:
    """What a correction has done, as a sentence or two."""
    if change.kind is ChangeKind.TRANSPOSED:
        return _transposed(language, change)
    if change.laid and not change.laid.even:
        return " ".join(uneven_words(language, change.laid, change.positions))
    text = language.message(_CHANGES[change.kind]).format(
        bar=change.bar, note=change.note, title=change.text, time=change.time.name if change.time else "",
        key=language.key(change.key) if change.key else "",
        pitch=language.pitch_class(change.pitch) if change.pitch else "",
        length=a_length(language, change.ticks) if change.ticks else "", bpm=change.bpm, parts=language.number(change.parts),
        other_note=change.other_note, other_bar=change.other_bar, last_bar=change.last_bar,
        other_length=a_length(language, change.other_ticks) if change.other_ticks else "")
    if change.elided:
        text += " " + language.message("Its syllable {syllable} is sung on the note beside it.").format(
            syllable=language.quoted(change.elided))
    if change.kept:
        text += " " + language.plural("{count} note that you mended is kept.", "{count} notes that you mended are kept.",
                                      change.kept).format(count=language.number(change.kept))
    if change.later:
        template = (language.message("What follows begins {length} later.") if change.later > 0 else
                    language.message("What follows begins {length} sooner."))
        text += " " + template.format(length=a_length(language, abs(change.later)))
    return text


def _transposed(language: Language, change: Change) -> str:
    assert change.key is not None
    size, lower = abs(change.semitones), change.semitones < 0
    if size in _MOVED:
        template = language.message(_MOVED[size][lower])
    elif lower:
        template = language.plural("All of it is {count} semitone lower, now in {key}.",
                                   "All of it is {count} semitones lower, now in {key}.", size)
    else:
        template = language.plural("All of it is {count} semitone higher, now in {key}.",
                                   "All of it is {count} semitones higher, now in {key}.", size)
    return template.format(count=language.number(size), key=language.key(change.key))


def uneven_words(language: Language, laid: Laid, positions: Sequence[tuple[int, int]]) -> list[str]:
    """How words did not fit the notes, and where: a sentence for each line of words that did not. positions: of the notes."""
    if laid.parts:
        return [_uneven(language, part, positions, k) for k, part in enumerate(laid.parts, 1) if not part.even]
    return [] if laid.even else [_uneven(language, laid, positions)]


def _uneven(language: Language, laid: Laid, positions: Sequence[tuple[int, int]], line: int = 0) -> str:
    """line: of the words, from 1; 0 where they are one line."""
    notes = len(laid.under)
    if laid.bare:
        bar, note = positions[laid.start + laid.syllables]
        template = (language.plural(
            "{syllables} syllables for {notes} notes: bar {bar}, note {note}, the last, has none.",
            "{syllables} syllables for {notes} notes: the last {bare} notes, from bar {bar}, note {note} on, have none.",
            laid.bare) if not line else language.plural(
            "Line {line}, {syllables} syllables for {notes} notes: bar {bar}, note {note}, its last, has none.",
            "Line {line}, {syllables} syllables for {notes} notes: its last {bare} notes, from bar {bar}, note {note} on, have "
            "none.", laid.bare))
        advice = language.message("Part words with hyphens, and write _ for a note on which a syllable goes on.")
    else:
        bar, note = positions[laid.start + notes - 1]
        template = (language.message("{syllables} syllables for {notes} notes: after bar {bar}, note {note}, there was no note "
                                     "for {lost}.") if not line else
                    language.message("Line {line}, {syllables} syllables for {notes} notes: after bar {bar}, note {note}, "
                                     "there was no note for {lost}."))
        advice = ""
    count = language.number(laid.syllables)
    text = template.format(line=line, syllables=count if line else language.capitalised(count), notes=language.number(notes),
                           bare=language.number(laid.bare), bar=bar, note=note, lost=" ".join(laid.left_over))
    return f"{text} {advice}".strip()
