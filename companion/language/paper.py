"""What stands on papers of every kind: page numbers, cells in words, the finger line and the wall card in words."""

from __future__ import annotations

from collections.abc import Sequence

from companion.braille import SPACE, read_words
from companion.language.braille import say_dots
from companion.language.cues import bare
from companion.language.interface import Language
from companion.messages import N_
from companion.tune import Direction, IntervalKind, LineNote, direction_of, heights_cm, interval_kind

#: A move in the middle of a sentence.
_MOVES = {
    (IntervalKind.SEMITONE, Direction.UP): N_("up a semitone to {name}"),
    (IntervalKind.SEMITONE, Direction.DOWN): N_("down a semitone to {name}"),
    (IntervalKind.STEP, Direction.UP): N_("up a step to {name}"),
    (IntervalKind.STEP, Direction.DOWN): N_("down a step to {name}"),
    (IntervalKind.SKIP, Direction.UP): N_("up a skip to {name}"),
    (IntervalKind.SKIP, Direction.DOWN): N_("down a skip to {name}"),
    (IntervalKind.LEAP, Direction.UP): N_("up a leap to {name}"),
    (IntervalKind.LEAP, Direction.DOWN): N_("down a leap to {name}"),
    (IntervalKind.LEVEL, Direction.LEVEL): N_("stays for {name}"),
}


def numbered_page(language: Language, title: str, page: int | str, pages: int | str) -> str:
    """ "Lantern, page 2 of 3"; without a title "page 2 of 3"."""
    template = language.message("{title}, page {page} of {pages}") if title else language.message("page {page} of {pages}")
    return template.format(title=title, page=page, pages=pages)


def untitled_tune(language: Language) -> str:
    """What a tune without a title is called."""
    return language.message("A tune")


def cells_in_words(language: Language, line: str) -> str:
    """A line of cells as said, a bar at a time: "Dot 5, then 1 4 5; space; dots 1 5."."""
    parts = [say_dots(language, part) for part in line.strip(SPACE).split(SPACE) if part]
    return language.capitalised(language.message("; space; ").join(parts)) + "."


def song_in_words(language: Language, lines: Sequence[str]) -> list[str]:
    """The lines of a song's page as said: its words as they are, its music and heading in dots. Words begin at the margin, and
    what of them is too long is set in further than their music."""
    out: list[str] = []
    sung = ""
    for line in lines:
        indent = len(line) - len(line.lstrip(SPACE))
        if indent and not (sung and indent > MUSIC_INDENT):
            out += [*_words_said(language, sung), cells_in_words(language, line)]
            sung = ""
        elif indent:
            sung += SPACE + line.strip(SPACE)
        else:
            out += _words_said(language, sung)
            sung = line
    return out + _words_said(language, sung)


MUSIC_INDENT = 2  # cells before music that stands under words (MBC 2015, section 35)


def _words_said(language: Language, cells: str) -> list[str]:
    """A line of words that are sung: "Words: Light the lantern."."""
    if not cells:
        return []
    said = labelled(language, language.message("Words"), read_words(cells).rstrip(",;:"))
    return [said if said.endswith((".", "?", "!")) else f"{said}."]


def labelled(language: Language, label: str, text: str) -> str:
    """ "C: dots 1 4 5": a name or label and what belongs to it."""
    return language.message("{label}: {text}").format(label=label, text=text)


def finger_line_in_words(language: Language, line: Sequence[LineNote]) -> list[str]:
    """A tune as a line for the finger, a sentence a phrase: "'Lan' is the first, up a step to 'tern'."."""
    out: list[str] = []
    said: list[str] = []
    worded = any(n.syllable for n in line)
    for i, n in enumerate(line):
        word = bare(n.syllable)
        name = language.quoted(word) if word else language.pitch_class(n.pitch)
        if worded and not word:
            name = language.message("the note {name}").format(name=name)  # among words, so that the note A is no word
        if i == 0:
            said.append(language.message("{name} is the first").format(name=name))
        else:
            semitones = n.midi - line[i - 1].midi
            move = language.message(_MOVES[interval_kind(semitones), direction_of(semitones)]).format(name=name)
            said.append(move if said else language.message("from there {move}").format(move=move))
        if i + 1 == len(line) or line[i + 1].phrase != n.phrase:
            out.append(language.capitalised(language.message("{moves}.").format(moves=", ".join(said))))
            said = []
    return out


def wall_card_title(language: Language, title: str) -> str:
    """ "Snail on the wall: heights for the hand"."""
    return (language.message("{title}: heights for the hand").format(title=title) if title
            else language.message("Heights for the hand"))


def wall_card_cautions(language: Language, shoulder_cm: float) -> list[str]:
    """What is said before the heights, the caution first."""
    shoulder = language.message("The shoulder is at {n} centimetres. Measure from the floor.")
    return [language.message("Clear the space first, and let someone who can see it say that it is clear."),
            shoulder.format(n=f"{shoulder_cm:g}"),
            language.message("The highest mark lies below a stretch: nobody reaches or jumps.")]


def wall_card_heights(language: Language, line: Sequence[LineNote], shoulder_cm: float) -> list[str]:
    """A sentence for each pitch of a line, the highest first: "98 centimetres: C, for Snail, wall."."""
    heights = dict(zip((n.midi for n in line), heights_cm([n.midi for n in line], shoulder_cm), strict=True))
    out = []
    for midi in sorted(heights, reverse=True):
        notes = [n for n in line if n.midi == midi]
        name = language.pitch_class(notes[0].pitch)
        if any(m.midi != midi and m.pitch.step == notes[0].pitch.step for m in line):
            # Two notes of one letter are told apart by their octave.
            name = language.message("{pitch}, {octave}").format(pitch=name,
                                                                octave=language.octave(notes[0].pitch.octave))
        words = dict.fromkeys(bare(n.syllable) for n in notes if n.syllable)
        template = (language.message("{n} centimetres: {name}, for {words}.") if words
                    else language.message("{n} centimetres: {name}."))
        out.append(template.format(n=f"{heights[midi]:g}", name=name, words=", ".join(words)))
    return out


def wall_card_walk(language: Language, line: Sequence[LineNote], shoulder_cm: float) -> str:
    """The tune as heights, note by note: "Note by note: Snail 84, on 91."."""
    worded = any(n.syllable for n in line)
    steps = []
    for n, cm in zip(line, heights_cm([n.midi for n in line], shoulder_cm), strict=True):
        name = language.pitch_class(n.pitch)
        if n.syllable:
            name = bare(n.syllable)
        elif worded:
            name = language.message("note {name}").format(name=name)  # so that the note A is no word
        steps.append(language.message("{name} {cm}").format(name=name, cm=f"{cm:g}"))
    return language.message("Note by note: {steps}.").format(steps=", ".join(steps))


def guide_title(language: Language) -> str:
    """The title of all parts of the guide together."""
    return language.message("Guide")


def typed_label(language: Language) -> str:
    """What stands before a line that is to be typed."""
    return language.message("Type")


def more_follows(language: Language) -> str:
    """After the first lines of what a command prints."""
    return language.message("More lines follow.")
