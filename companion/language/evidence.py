"""The evidence for one verdict in plain words, and which move is meant by what was typed."""

from __future__ import annotations

from collections.abc import Sequence

from companion.errors import Trouble
from companion.language.cues import bare, move_line, move_name, note_name, word_of
from companion.language.interface import Joining, Language
from companion.match import Doubt, HeardNote, Match
from companion.messages import N_, _
from companion.tune import Direction, Key, LineNote, direction_of, spell

#: Which rule made a move "not sure".
DOUBTS: dict[Doubt, str] = {
    Doubt.NOT_FOUND: N_("Not judged, because it is not sure that this tune was sung."),
    Doubt.NOT_SUNG: N_("Not judged, because one of the two notes was not heard."),
    Doubt.NO_PITCH: N_("Not sure, because one of the two notes rests on no pitch."),
    Doubt.RESTART: N_("Not sure, because the singer began again between the two notes, perhaps in another key."),
    Doubt.OCTAVE: N_("Not sure, because one of the two notes seems to be an octave off, which is oftener a slip of the pitch "
                     "tracker than of a singer."),
    Doubt.PLACE: N_("Not sure, because these parts of the sound may be other notes of the tune."),
    Doubt.SHORT: N_("Not sure, because one of the two notes is too short."),
    Doubt.EDGE: N_("Not sure, because it lies near half a semitone, where level ends and up or down begins."),
    Doubt.WEAK: N_("Not sure, because several small doubts come together."),
}
#: Sung intervals of fewer semitones than this are said to be none.
NONE_SUNG = 0.05
MOST_NAMED = 4  # notes named in an error


def move_meant(language: Language, notes: Sequence[LineNote], typed: str) -> int:
    """Which move (0 first) is meant by its number, "4" or "4 to 5", or by its words, "to 'wall'", "from 'the' to 'wall'".

    Raises Trouble where it is none or where it may be several.
    """
    if len(notes) < 2:
        raise Trouble(_("This tune has one note and no move."))
    wanted = _plain(typed)
    found = [i for i in range(len(notes) - 1) if wanted in map(_plain, _names(language, notes, i))]
    if len(found) > 1:
        some = found[:MOST_NAMED]
        raise Trouble(_("There are several moves {typed!r}. Give the number of the note that yours goes from: {numbers}.").format(
            typed=typed, numbers=language.listed([str(notes[i].number) for i in some], Joining.OR)))
    if not found:
        raise Trouble(_("There is no move {typed!r} here. Give the number of the note that it goes from, {first} to {last}, or "
                        "its words, as in {example!r}.").format(
                            typed=typed, first=notes[0].number, last=notes[-2].number,
                            example=_to(language, note_name(language, notes, 1))))
    return found[0]


def _plain(text: str) -> str:
    """Small letters and numbers alone, one space between words."""
    return " ".join("".join(c if c.isalnum() else "" if c in "'’" else " " for c in text.casefold()).split())


def _to(language: Language, note: str) -> str:
    return language.message("to {note}").format(note=note)


def _names(language: Language, notes: Sequence[LineNote], i: int) -> list[str]:
    """All that a move may be called: as the cue and the lines say it, and shorter."""
    start, end = notes[i].number, notes[i + 1].number
    second = note_name(language, notes, i + 1)
    names = [str(start), f"{start} {end}", language.message("{start} to {end}").format(start=start, end=end),
             language.message("note {start} to {end}").format(start=start, end=end), second, _to(language, second),
             *(move_name(language, notes, i, words) for words in (True, False))]
    words = [word_of(notes, k) for k in (i, i + 1)]
    for first, last in (words, [bare(notes[k].syllable) for k in (i, i + 1)]):
        if last:
            names += [last, _to(language, last)]
        if first and last:
            names += [language.message(template).format(first=first, second=last)
                      for template in (N_("from {first} to {second}"), N_("{first} to {second}"))]
    return names


def evidence_lines(language: Language, match: Match, index: int) -> list[str]:
    """The evidence for the verdict of one move (0 first), a plain line each, so that a teacher can judge it by ear."""
    move, known = match.moves[index], match.evidence[index]
    ends = match.notes[index:index + 2]
    why = language.message(DOUBTS[known.doubt]) if known.doubt is not None else language.message(
        "Of a hundred verdicts as clear as this one {sure} are right.").format(sure=_hundredths(move.sure))
    lines = [move_line(language, move), why, _interval_line(language, move.wanted_semitones, move.sung_semitones, known.error)]
    lines += [_note_line(language, match, index + k, known.spread[k]) for k in (0, 1)]
    if known.placed:
        lines.append(language.message("Chances in a hundred: up {up}, level {level}, down {down}.").format(
            up=_hundredths(known.up), level=_hundredths(known.level), down=_hundredths(known.down)))
        lines.append(language.message("That the two notes lie where they were found: {placed} in a hundred.").format(
            placed=_hundredths(known.placed)))
    times = [t for n in ends if n.onset_s is not None and n.duration_s is not None
             for t in (max(0.0, n.onset_s), n.onset_s + n.duration_s)]
    if times:
        lines.append(language.message("To judge it by ear, listen from {start:.1f} to {end:.1f} seconds.").format(
            start=min(times), end=max(times)))
    return lines


def _hundredths(probability: float) -> int:
    """In hundredths; nothing that was measured is quite sure."""
    return min(99, round(100 * probability))


def _interval_line(language: Language, wanted: int, sung: float | None, error: float | None) -> str:
    size = abs(wanted)
    written = {
        Direction.UP: language.plural("Written: {n} semitone up.", "Written: {n} semitones up.", size),
        Direction.DOWN: language.plural("Written: {n} semitone down.", "Written: {n} semitones down.", size),
        Direction.LEVEL: language.message("Written: the same note.")}[direction_of(wanted)].format(n=size)
    if sung is None:
        return f"{written} {language.message('Sung: not known.')}"
    about = round(2 * (error or 0.0), 1)  # two standard deviations: nineteen times in twenty
    way = Direction.LEVEL if abs(sung) < NONE_SUNG else direction_of(sung, 0.0)
    template = {
        Direction.UP: language.message("Sung: {n:.1f} semitones up, give or take {about:.1f}."),
        Direction.DOWN: language.message("Sung: {n:.1f} semitones down, give or take {about:.1f}."),
        Direction.LEVEL: language.message("Sung: the same note, give or take {about:.1f} semitones.")}[way]
    return f"{written} {template.format(n=abs(sung), about=about)}"


def _note_line(language: Language, match: Match, index: int, spread: float | None) -> str:
    """One end of the move: what was sung there, where it lies, and how steady it is."""
    notes, heard = [n.written for n in match.notes], match.notes[index]
    name = note_name(language, notes, index)
    word = word_of(notes, index)
    called = language.message("Note {number}, {name}: {what}") if word else language.message("Note {number}: {what}")
    if heard.midi is None or heard.onset_s is None or heard.duration_s is None:
        return called.format(number=heard.written.number, name=name, what=language.message("not heard."))
    what = language.message("{pitch}, from {start:.2f} to {end:.2f} seconds.").format(
        pitch=_sung_pitch(language, heard), start=max(0.0, heard.onset_s), end=heard.onset_s + heard.duration_s)
    line = called.format(number=heard.written.number, name=name, what=what)
    if spread is None:
        return line
    cents = max(1, round(100 * spread))
    within = language.plural("Half of it lies within {cents} cent.", "Half of it lies within {cents} cents.", cents)
    return f"{line} {within.format(cents=cents)}"


def _sung_pitch(language: Language, heard: HeardNote) -> str:
    """The nearest note of the scale of twelve, and how far off: "E flat, fourth octave, 12 cents high"."""
    assert heard.midi is not None
    nearest = spell(round(heard.midi), Key())
    cents = round(100 * (heard.midi - round(heard.midi)))
    name = language.message("{name}, {octave}").format(name=language.pitch_class(nearest),
                                                       octave=language.octave(min(8, max(0, nearest.octave))))
    if not cents:
        return name
    count = abs(cents)
    template = language.plural("{name}, {cents} cent high", "{name}, {cents} cents high", count) if cents > 0 else \
        language.plural("{name}, {cents} cent low", "{name}, {cents} cents low", count)
    return template.format(name=name, cents=count)

