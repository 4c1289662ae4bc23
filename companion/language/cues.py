"""What is said back: one breath. What went well, then at most one thing to try, in the tune's own words.

It names what the tune does, not what the singer did wrong; it never scolds, flatters or jokes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from companion.language.interface import Language
from companion.match import Advice, CueKind, Detail, LengthFault, Match, Move, MoveKind, SizeFault, Verdict
from companion.messages import N_
from companion.tune import Direction, Key, LineNote, Pitch, spell

COUNTED = 9  # notes that are counted from the beginning; farther on they are counted in their bar
MOST_LISTED = 6  # words said one by one before a smaller piece
MOST_IN_NAME = 3  # words on one note: more is a line of text that stands there by mistake
MOST_WORDS = 16  # what is spoken calmly in one breath: at 150 words a minute under seven seconds
TUNING_SAID = 30  # cents: less is not worth a word to a learner
DRIFT_SAID = 40  # cents over a phrase
NOTHING_SUNG = N_("I heard no singing. A little closer, and sing again.")
#: For each verdict: the sentence before a move, and how many moves have it, where some are not right.
VERDICTS: dict[Verdict, tuple[str, str]] = {
    Verdict.RIGHT: (N_("Right."), ""),
    Verdict.WRONG: (N_("Not that way."), N_("{n} not that way")),
    Verdict.UNSURE: (N_("Not sure."), N_("{n} not sure")),
}


# Names of notes: by the word that is sung on them, else by their place.

#: What stands around a word in a line of text and is no part of it.
_AROUND = " \t\r\n,.;:!?…\"“”„«»()[]{}-‐‑‒–—―_*‿"


def bare(syllable: str) -> str:
    """A syllable without the punctuation of its line. Apostrophes of the word itself stay: "don't", "'tis"."""
    word = " ".join(syllable.replace("‿", " ").replace("[[", "").replace("]]", "").split()).strip(_AROUND)
    # Single quotation marks: an opening one always goes, a straight or closing one where both ends have one
    # or where it closes after a full stop or comma.
    while word:
        if word[0] in "‘‚":
            word = word[1:]
        elif len(word) > 1 and word[0] == "'" and word[-1] in "'’":
            word = word[1:-1]
        elif len(word) > 1 and word[-1] in "'’" and (word[-2] in _AROUND or "‘" in syllable):
            word = word[:-1]
        elif word in "'’":
            return ""
        else:
            return word
        word = word.strip(_AROUND)
    return word


@dataclass(frozen=True)
class _Sung:
    """What is sung on a note: a whole word, or one part (syllable) of it; which time the word comes."""

    word: str
    part: int
    parts: int
    time: int
    times: int


def _sung_words(notes: Sequence[LineNote]) -> list[_Sung | None]:
    """The word on each note. None: no syllable begins there, or the rest of its word lies outside `notes`."""
    words: list[list[int]] = []  # places of the notes on which each word's syllables begin
    open_word: list[int] = []
    for i, note in enumerate(notes):
        if not bare(note.syllable):
            continue
        if note.word_place in ("middle", "end"):
            if open_word:
                open_word.append(i)
                if note.word_place == "end":
                    words.append(open_word)
                    open_word = []
        elif note.word_place == "begin":
            open_word = [i]
        else:
            words.append([i])
            open_word = []
    sung = ["".join(bare(notes[i].syllable) for i in places) for places in words]
    keys = [word.lower() for word in sung]
    found: list[_Sung | None] = [None] * len(notes)
    for k, places in enumerate(words):
        if len(sung[k].split()) > MOST_IN_NAME:
            continue
        for part, i in enumerate(places, 1):
            found[i] = _Sung(sung[k], part, len(places), keys[:k + 1].count(keys[k]), keys.count(keys[k]))
    return found


def _word_name(language: Language, sung: _Sung) -> str:
    """ "'wall'", or "the second 'la'" where the word comes again."""
    word = language.quoted(sung.word)
    if sung.times == 1:
        return word
    return language.message("the {ordinal} {word}").format(ordinal=language.ordinal(sung.time), word=word)


def _sung_name(language: Language, sung: _Sung) -> str:
    """The same, and of a word in several parts the part: "the first part of 'lantern'"."""
    word = _word_name(language, sung)
    if sung.parts == 1:
        return word
    return language.message("the {ordinal} part of {word}").format(ordinal=language.ordinal(sung.part), word=word)


def _in_bar(notes: Sequence[LineNote], index: int) -> int | None:
    """Which note of its bar it is, from 1. None where the bar has no plain number or does not lie here once."""
    bar = notes[index].bar
    there = [i for i, n in enumerate(notes) if n.bar == bar]
    whole = there[-1] - there[0] + 1 == len(there) and (there[0] > 0 or notes[0].number == 1)
    return index - there[0] + 1 if bar > 0 and whole else None


def _in_bars(notes: Sequence[LineNote], *indexes: int) -> list[int] | None:
    """Which notes of their bars they are, where they are far into a line and all can be counted in their bars."""
    inside = [_in_bar(notes, i) for i in indexes] if max(indexes) >= COUNTED else []
    found = [n for n in inside if n is not None]
    return found if len(found) == len(indexes) else None


def note_name(language: Language, notes: Sequence[LineNote], index: int) -> str:
    """How a note is called: by its word ("the second 'la'" where it comes again), else by its place.

    A syllable goes by its whole word: "the first part of 'lantern'". A note on which an earlier syllable is
    still sung, or a word that is not whole within `notes`, goes by its place: "the third note", far into a line
    "the second note of bar five".
    """
    sung = _sung_words(notes)[index]
    if sung is not None:
        return _sung_name(language, sung)
    inside = _in_bars(notes, index)
    if inside is None:
        return place_name(language, index)
    return language.message("the {ordinal} note of bar {bar}").format(
        ordinal=language.ordinal(inside[0]), bar=language.number(notes[index].bar))


def place_name(language: Language, index: int) -> str:
    """A note by its place in the line, which is always short: "the third note"."""
    return language.message("the {ordinal} note").format(ordinal=language.ordinal(index + 1))


def word_of(notes: Sequence[LineNote], index: int) -> str:
    """The whole word that is sung on a note, "" where its name is its place."""
    sung = _sung_words(notes)[index]
    return "" if sung is None else sung.word


def move_name(language: Language, notes: Sequence[LineNote], start: int, words: bool = True) -> str:
    """ "from 'snail' to 'wall'", "from the third note to the fourth": both ends by the same kind of name.

    start: index of the first of its notes. words: whether it may go by the words that are sung.
    """
    sung = _sung_words(notes)
    first, second = sung[start], sung[start + 1]
    if not words or first is None or second is None:
        return _move_by_place(language, notes, start)
    if first.parts > 1 and second.part == first.part + 1:
        return language.message("from the {first} to the {second} part of {word}").format(
            first=language.ordinal(first.part), second=language.ordinal(second.part), word=_word_name(language, second))
    if first.parts == second.parts == 1 and first.times > 1 and first.word.lower() == second.word.lower():
        return language.message("from {first} to the {second}").format(
            first=_word_name(language, first), second=language.ordinal(second.time))
    return language.message("from {first} to {second}").format(
        first=_sung_name(language, first), second=_sung_name(language, second))


def _move_by_place(language: Language, notes: Sequence[LineNote], start: int) -> str:
    inside = _in_bars(notes, start, start + 1)
    if inside is None:
        return language.message("from the {first} note to the {second}").format(
            first=language.ordinal(start + 1), second=language.ordinal(start + 2))
    first, second = (language.ordinal(n) for n in inside)
    bar, next_bar = (language.number(notes[i].bar) for i in (start, start + 1))
    if bar == next_bar:
        return language.message("from the {first} to the {second} note of bar {bar}").format(
            first=first, second=second, bar=bar)
    return language.message("from the {first} note of bar {bar} to the {second} note of bar {next_bar}").format(
        first=first, bar=bar, second=second, next_bar=next_bar)


# The cue: one breath.

@dataclass(frozen=True)
class CueSentences:
    """A cue in its sentences: what went well ("" if nothing), what it is about, what is asked for ("" if nothing)."""

    well: str
    about: str
    ask: str

    @property
    def whole(self) -> str:
        return " ".join(s for s in (self.well, self.about, self.ask) if s)

    @property
    def words(self) -> int:
        """How many words it has."""
        return len(self.whole.split())


def within_breath(tries: Iterable[CueSentences]) -> CueSentences:
    """The first that is no longer than a breath, else the shortest. tries: at least one, the best first."""
    made: list[CueSentences] = []
    for said in tries:
        if said.words <= MOST_WORDS:
            return said
        made.append(said)
    return min(made, key=lambda said: said.words)


def cue_text(language: Language, match: Match, advice: Advice, title: str = "", better: str = "", counted: bool = True) -> str:
    """What is said back to a take, one breath long. title: of the tune; better: of one that fits the take far better.

    counted: with how many moves went well; where somebody sings with the pupil, that takes longer than it is worth.
    """
    return cue_sentences(language, match, advice, title, better, counted).whole


def cue_sentences(language: Language, match: Match, advice: Advice, title: str = "", better: str = "",
                  counted: bool = True) -> CueSentences:
    """The same in its sentences. Where a breath is too short, notes are called by shorter names, then nothing is counted."""
    if advice.kind is CueKind.ANOTHER_TUNE:
        return within_breath(_not_found(language, title, better))
    if advice.kind is CueKind.STOPPED_EARLY and advice.stopped_at is not None:
        return within_breath(_stopped(language, match, advice, advice.stopped_at))
    if advice.kind is CueKind.NOTHING_SUNG:
        return CueSentences("", language.message(NOTHING_SUNG), "")
    if advice.kind is CueKind.ONE_NOTE:
        return CueSentences("", language.message("That is the note."), "")
    if advice.kind is CueKind.ALL_RIGHT:
        return CueSentences("", _all_right(language, match, advice), "")
    if advice.kind is CueKind.NOT_SURE:
        well = went_well(language, advice) if advice.right else ""
        ask = language.message("Once more, please.")
        return within_breath(CueSentences(well if count else "", about, ask) for count in (True, False) if counted or not count
                             for about in _doubts(language, match, advice, not count))
    move = advice.move
    assert move is not None
    return within_breath(CueSentences(went_well(language, advice) if count else "", about, language.message("Listen."))
                         for count in (True, False) if counted or not count for about in _to_try(language, match, move))


def _not_found(language: Language, title: str, better: str) -> Iterator[CueSentences]:
    """ "I could not find 'Snail on the wall' in this recording.", and the tune that it sounds like."""
    like = language.message("It sounds like {tune}.").format(tune=language.quoted(better)) if better else ""
    if title:
        for template in (N_("I could not find {tune} in this recording."), N_("I could not find {tune}.")):
            yield CueSentences("", language.message(template).format(tune=language.quoted(title)), like)
    yield CueSentences("", language.message("I could not find this tune in this recording."), like)
    yield CueSentences("", language.message("I could not find this tune."), like)


def _stopped(language: Language, match: Match, advice: Advice, last: int) -> Iterator[CueSentences]:
    """ "The first three right. You stopped at 'wall'." """
    notes = [n.written for n in match.notes]
    well = language.plural("The first move right.", "The first {n} right.", advice.right).format(
        n=language.number(advice.right)) if advice.from_start else went_well(language, advice)
    for name in _note_names(language, notes, last - notes[0].number):
        yield CueSentences(well, language.message("You stopped at {note}.").format(note=name), "")


def _all_right(language: Language, match: Match, advice: Advice) -> str:
    if advice.moves == 1:  # it names the way, which is all there is to name
        return {Direction.UP: language.message("Right. You went up."), Direction.DOWN: language.message("Right. You went down."),
                Direction.LEVEL: language.message("Right. You stayed.")}[match.moves[0].wanted]
    return all_right(language, advice.moves)


def all_right(language: Language, moves: int) -> str:
    """What is said where all of two or more moves went right."""
    if moves == 2:
        return language.message("Both right.")
    return language.message("All {n} right.").format(n=language.number(moves))


def went_well(language: Language, advice: Advice) -> str:
    """What went well, and nothing that was not heard: moves, else the notes that were sung."""
    if advice.right:
        right, moves = _alike(language, advice.right, advice.moves)
        return language.capitalised(language.message("{right} of {moves} right.").format(right=right, moves=moves))
    if advice.sung == advice.notes:
        if advice.notes == 2:
            return language.message("You sang both notes.")
        return language.message("You sang all {n} notes.").format(n=language.number(advice.notes))
    sung, notes = _alike(language, advice.sung, advice.notes)
    return language.message("I heard {sung} of {notes} notes.").format(sung=sung, notes=notes)


def _alike(language: Language, some: int, whole: int) -> tuple[str, str]:
    """Two numbers both in words or both in figures, never "twenty of 21"."""
    said = language.number(whole)
    return (str(some) if said == str(whole) else language.number(some)), said


def _note_names(language: Language, notes: Sequence[LineNote], index: int) -> Iterator[str]:
    """What a note may be called, the best name first: by its word, then by its place in the line."""
    yield note_name(language, notes, index)
    yield place_name(language, index)


def _move_names(language: Language, notes: Sequence[LineNote], start: int) -> Iterator[str]:
    """What a move may be called, the best name first: by its two notes, then by the one to which it goes."""
    yield move_name(language, notes, start)
    by_word = word_of(notes, start) and word_of(notes, start + 1)
    if by_word:
        yield language.message("to {note}").format(note=note_name(language, notes, start + 1))
    yield _move_by_place(language, notes, start)
    yield from (language.message("to {note}").format(note=name) for name in _note_names(language, notes, start + 1))


def _to_try(language: Language, match: Match, move: Move) -> Iterator[str]:
    """The move to try, the best sentence first."""
    notes = [n.written for n in match.notes]
    templates = {Direction.UP: [N_("{move} the tune goes up.")], Direction.DOWN: [N_("{move} the tune goes down.")],
                 Direction.LEVEL: [N_("{move} the tune stays on one note."), N_("{move} the tune stays.")]}[move.wanted]
    for name in _move_names(language, notes, move.start - notes[0].number):
        yield from (language.capitalised(language.message(template).format(move=name)) for template in templates)


def _doubts(language: Language, match: Match, advice: Advice, alone: bool) -> Iterator[str]:
    """What was not heard or not clear, the best sentence first. alone: nothing else is said of the take."""
    notes = [n.written for n in match.notes]
    some = advice.right > 0  # something else was right
    sung = N_("I heard you sing, but did not hear {note}."), N_("I heard you sing, but did not hear {note} and {more} more.")
    short = N_("I did not hear {note}."), N_("I did not hear {note} and {more} more.")
    caught = [N_("I did not catch {note}.")]
    if not some:
        caught.insert(0, N_("I heard you sing, but did not catch {note}."))
    if advice.not_heard:
        more = len(advice.not_heard) - 1
        for one, several in ([short] if some else [sung, short]):
            for name in _note_names(language, notes, advice.not_heard[0] - notes[0].number):
                yield language.message(several if more else one).format(note=name, more=language.number(more))
    elif advice.not_caught is not None:
        for template in caught:
            for name in _note_names(language, notes, advice.not_caught - notes[0].number):
                yield language.message(template).format(note=name)
    elif some:
        yield language.message(N_("I could not follow all of it.") if alone else N_("I could not follow the rest."))
    else:
        yield language.message("I heard you sing, but could not follow.")


# What comes before a take, and after it on request.

def start_line(language: Language, pitch: Pitch, shift: float = 0.0) -> str:
    """The note to begin on: "Start on G.", "Start on B flat.". shift: semitones from where it is written.

    A moved note is called by the nearest note of the scale of twelve, spelled as in C major.
    """
    if round(shift):
        pitch = spell(pitch.midi + round(shift), Key())
    return language.message("Start on {note}.").format(note=language.pitch_class(pitch))


def smaller_piece(language: Language, notes: Sequence[LineNote], within: Sequence[LineNote] | None = None,
                  together: int = 0) -> str:
    """Before a smaller piece is sung: "Just two notes now. Snail, wall.". together: how many times with the companion first,
    up to twice: "Just two notes, twice with me. Snail, wall.".

    within: the phrase from which the piece is taken. With it, part of a word is named as such ("Just two notes
    now. The second part of 'lantern', then 'glow'."), and a longer piece by its ends.
    """
    size = (language.plural("Just {n} note now.", "Just {n} notes now.", len(notes)) if not together else
            language.plural("Just {n} note, with me.", "Just {n} notes, with me.", len(notes)) if together == 1 else
            language.plural("Just {n} note, twice with me.", "Just {n} notes, twice with me.", len(notes))).format(
                n=language.number(len(notes)))
    which = _which_piece(language, notes, within or ())
    return f"{size} {language.capitalised(which)}" if which else size


def _which_piece(language: Language, notes: Sequence[LineNote], phrase: Sequence[LineNote]) -> str:
    """The words of a piece, "" where it has none."""
    sung = _sung_words(notes)
    if 0 < len(notes) <= MOST_LISTED and all(sung):
        return language.message("{words}.").format(words=", ".join(s.word for s in sung if s and s.part == 1))
    at = next((i for i, n in enumerate(phrase) if notes and n.number == notes[0].number), None)
    around = _sung_words(phrase)[at:at + len(notes)] if at is not None else []
    if len(notes) < 2 or len(around) != len(notes):
        return ""
    first, last = around[0], around[-1]
    if first is None or last is None:
        return ""
    template = language.message("{first}, then {last}.") if len(notes) == 2 else language.message("from {first} to {last}.")
    return template.format(first=_sung_name(language, first), last=_sung_name(language, last))


def count_line(language: Language, counts: Mapping[Verdict, int]) -> str:
    """How many moves of how many went as written, and how many have each other verdict."""
    total = sum(counts.values())
    if total == 0:
        return language.message("One note, no move.")
    right = language.plural("{n} of {total} move as written", "{n} of {total} moves as written", total).format(
        n=counts[Verdict.RIGHT], total=total)
    parts = [right, *(language.message(VERDICTS[v][1]).format(n=n) for v, n in counts.items()
                     if v is not Verdict.RIGHT and n)]
    return language.message("{counts}.").format(counts=", ".join(parts))


def unsure_moves_line(language: Language, moves: Sequence[Move]) -> str:
    """Moves that are not sure in one line, those that follow each other as one stretch: "Not sure: notes 1 to 4 and 6 to 7."."""
    stretches: list[list[int]] = []
    for move in moves:
        if stretches and stretches[-1][1] == move.start:
            stretches[-1][1] = move.end
        else:
            stretches.append([move.start, move.end])
    return language.message("Not sure: notes {stretches}.").format(stretches=language.listed(
        [language.message("{start} to {end}").format(start=start, end=end) for start, end in stretches]))


def move_line(language: Language, move: Move) -> str:
    """One move: what the tune does, and what was heard."""
    verdict = language.message(VERDICTS[move.verdict][0])
    if move.heard is None:
        template = {
            Direction.UP: language.message("Note {start} to {end}: the tune goes up; what was sung there is not clear."),
            Direction.DOWN: language.message("Note {start} to {end}: the tune goes down; what was sung there is not clear."),
            Direction.LEVEL: language.message("Note {start} to {end}: the tune stays; what was sung there is not clear."),
        }[move.wanted]
        return f"{verdict} {template.format(start=move.start, end=move.end)}"
    template = {Direction.UP: language.message("Note {start} to {end}: the tune goes up, heard {heard}."),
                Direction.DOWN: language.message("Note {start} to {end}: the tune goes down, heard {heard}."),
                Direction.LEVEL: language.message("Note {start} to {end}: the tune stays, heard {heard}.")}[move.wanted]
    return f"{verdict} {template.format(start=move.start, end=move.end, heard=language.direction(move.heard))}"


def detail_lines(language: Language, match: Match) -> list[str]:
    """What a teacher asks for beyond the cue, a plain line each; nothing that was not measured."""
    return [*_size_lines(language, match), *_tuning_lines(language, match), *_drift_lines(language, match.detail),
            *_highest_lines(language, match), *_length_lines(language, match), *_kind_lines(language, match)]


def _numbered(language: Language, match: Match, number: int) -> str:
    """The name of a note by its number in the tune."""
    notes = [n.written for n in match.notes]
    return note_name(language, notes, number - notes[0].number)


def _size_lines(language: Language, match: Match) -> list[str]:
    notes = [n.written for n in match.notes]
    lines = []
    for size in match.detail.sizes:
        off = abs(size.off_semitones)
        count = 1 if off == 1 else 2
        template = {
            SizeFault.TOO_SMALL: language.plural("{move} the move was {off:g} semitone too small.",
                                                 "{move} the move was {off:g} semitones too small.", count),
            SizeFault.TOO_LARGE: language.plural("{move} the move was {off:g} semitone too large.",
                                                 "{move} the move was {off:g} semitones too large.", count)}[size.fault]
        move = move_name(language, notes, size.start - notes[0].number)
        lines.append(language.capitalised(template.format(move=move, off=off)))
    return lines


def _tuning_lines(language: Language, match: Match) -> list[str]:
    known = [(abs(c), c, i) for i, c in enumerate(match.detail.tuning_cents) if c is not None]
    if not known or max(known)[0] < TUNING_SAID:
        return []
    most, value, at = max(known)
    template = language.message("Farthest from the singer's own key: {note}, {cents:.0f} cents high.") if value > 0 else \
        language.message("Farthest from the singer's own key: {note}, {cents:.0f} cents low.")
    return [template.format(note=note_name(language, [n.written for n in match.notes], at), cents=most)]


def _drift_lines(language: Language, detail: Detail) -> list[str]:
    drift = detail.drift_cents
    if drift is None:
        return []
    if abs(drift) < DRIFT_SAID:
        return [language.message("The key held.")]
    template = language.message("The key rose by {cents:.0f} cents over the phrase.") if drift > 0 else \
        language.message("The key sank by {cents:.0f} cents over the phrase.")
    return [template.format(cents=abs(drift))]


def _highest_lines(language: Language, match: Match) -> list[str]:
    highest = match.detail.highest
    if highest is None or highest.agrees:
        return []
    return [language.message("The highest sung was {sung}; the tune's highest is {written}.").format(
        sung=_numbered(language, match, highest.sung), written=_numbered(language, match, highest.written[0]))]


def _length_lines(language: Language, match: Match) -> list[str]:
    templates = {LengthFault.TOO_LONG: language.message("{note} was much too long."),
                 LengthFault.TOO_SHORT: language.message("{note} was much too short.")}
    return [language.capitalised(templates[x.fault].format(note=_numbered(language, match, x.note)))
            for x in match.detail.lengths]


def _kind_lines(language: Language, match: Match) -> list[str]:
    return [language.message("Not that way: {missed} of {moves}.").format(
        missed=row[Verdict.WRONG], moves=moves_of_kind(language, kind, sum(row.values())))
        for kind, row in sorted(match.kinds.items()) if row[Verdict.WRONG]]


def moves_of_kind(language: Language, kind: MoveKind, n: int) -> str:
    """So many moves of a kind: "4 steps up", "1 leap down", "3 moves that stay"."""
    template = {
        MoveKind.LEVEL: language.plural("{n} move that stays", "{n} moves that stay", n),
        MoveKind.SEMITONE_UP: language.plural("{n} semitone up", "{n} semitones up", n),
        MoveKind.SEMITONE_DOWN: language.plural("{n} semitone down", "{n} semitones down", n),
        MoveKind.STEP_UP: language.plural("{n} step up", "{n} steps up", n),
        MoveKind.STEP_DOWN: language.plural("{n} step down", "{n} steps down", n),
        MoveKind.SKIP_UP: language.plural("{n} skip up", "{n} skips up", n),
        MoveKind.SKIP_DOWN: language.plural("{n} skip down", "{n} skips down", n),
        MoveKind.LEAP_UP: language.plural("{n} leap up", "{n} leaps up", n),
        MoveKind.LEAP_DOWN: language.plural("{n} leap down", "{n} leaps down", n),
    }[kind]
    return template.format(n=n)
