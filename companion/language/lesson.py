"""What is said in a session, in the lesson and at home."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from companion.diary import Action
from companion.language.interface import Joining, Language
from companion.messages import N_

if TYPE_CHECKING:
    from companion.match import Move
    from companion.tune import LineNote


class LessonSentence(StrEnum):
    """Sentences that are said as they stand; `Language.message` looks them up."""

    # the microphone
    MUTED = N_("The microphone gives no sound at all. It may be muted, or this program may not be allowed to listen.")
    FETCH_SOMEONE = N_("The microphone gives no sound. It may be muted or switched off. Please fetch someone.")
    MICROPHONE_IS_BACK = N_("The microphone is back. Sing once more.")
    CUT_OFF = N_("The sound was cut off. Go back a little, or turn the microphone down.")
    FAINT = N_("The voice is faint. Come closer to the microphone.")
    # what was heard was no take
    NO_SINGING = N_("I heard no singing. A little closer, and sing again.")
    STEADY_SOUND = N_("There is a steady sound in the room. I wait until it has gone, then sing again.")
    UNCLEAR_SOUND = N_("I cannot tell whether that was singing. Once more, please.")
    SOUND_LOST = N_("Some of the sound was lost on its way. Once more, please.")
    TOO_EARLY = N_("You began before I had ended. Wait a little, and once more.")
    # who sang
    NOW_YOU = N_("Now you.")
    WAS_THAT_THE_PUPIL = N_("Was that the pupil? If so, once more.")
    NO_TAKE_TO_CLAIM = N_("There is no take that waits to be judged.")
    # pause, and the end
    PAUSED = N_("Paused. The same key goes on.")
    GOING_ON = N_("We go on.")
    END_ASKED = N_("End here? The same key once more ends it.")
    READY = N_("Go, when you are ready.")
    # on request
    STRUCK = N_("The last take is struck out.")
    NOTHING_TO_STRIKE = N_("There is no take to strike out.")
    NO_PAGE = N_("Nobody's page is open, so nothing is set. Begin the lesson with --pupil.")
    EDGE_OF_RANGE = N_("That is the edge of this voice's range.")
    SLOWER = N_("Slower.")
    FASTER = N_("Faster.")
    LOWER = N_("Lower.")
    HIGHER = N_("Higher.")
    NOTHING_SUNG_YET = N_("Nothing has been sung yet.")
    # in the lesson
    STOP_LISTENING = N_("I stop listening here.")
    LAST_PHRASE = N_("That was the last phrase.")
    LESSON_REST = N_("Ten minutes are sung. Rest a moment, and stop if anything hurts.")
    NO_LINE_YET = N_("No line yet. The teacher sings first.")
    SING_A_LINE = N_("Sing or play a line.")
    PUPILS_TURN = N_("Now the pupil.")
    PUPILS_VOICE = N_("That sounded like the pupil. If it was a new line, once more.")
    ONCE_MORE_THE_LINE = N_("Sing or play the line once more.")
    NEW_LINE = N_("A new line.")
    NEW_LINE_WHEN_READY = N_("A new line, when you are ready.")
    NO_LINE_TO_KEEP = N_("There is no line to keep yet.")
    # at home
    WARMING_UP = N_("We are warming up.")
    WARM_UP = N_("First we warm up. If anything hurts or tickles, stop for today.")
    FIVE_NOTES = N_("Five notes up and down. Listen, then sing.")
    DOWN_WITH_ME = N_("And down again, with me.")
    SLIDE = N_("Slide with me on oo, up and then down.")
    SLOWER_WITH_ME = N_("Slower, with me.")
    SLOWER_TWICE_WITH_ME = N_("Slower, twice with me.")
    WHOLE_PHRASE_WITH_ME = N_("Now the whole phrase, with me.")
    WHOLE_PHRASE_TWICE_WITH_ME = N_("Now the whole phrase, twice with me.")
    THIS_ONE_WITH_ME = N_("This one with me first.")
    ONCE_MORE_WITH_ME = N_("Once more with me.")
    ONCE_TOGETHER = N_("Once together.")
    TWICE_TOGETHER = N_("Twice together.")
    NOW_ALONE = N_("Now alone.")
    ON_OO = N_("On oo, like a slide.")
    ON_OO_AGAIN = N_("On oo.")
    ONLY_THE_FIRST_NOTE = N_("Now only the first note. Listen, and sing it.")
    WHAT_WENT_WELL = N_("Once more what went well.")
    TWO_PHRASES = N_("The next two phrases in one.")
    WHOLE_SONG_WITH_ME = N_("Now the whole song, with me.")
    WHOLE_SONG_ALONE = N_("And now the whole song alone.")
    WHOLE_SONG_TOGETHER = N_("That was the whole song.")
    WHOLE_SONG_RIGHT = N_("You sang the whole song, and all of it right.")
    WHOLE_SONG_SUNG = N_("You sang the whole song.")
    ENOUGH_OF_THIS_SONG = N_("That is enough of this song for today.")
    EASIER_SONG = N_("Now an easier song.")
    ROOM_AROUND_YOU = N_("Make sure that there is room around you for the arm.")
    HEADPHONES = N_("If you wear headphones, keep them quiet.")
    SINGING_ONLY = N_("I wait for singing. Talk as long as you like, then sing.")
    AWAY = N_("I wait. Sing a note when you want to go on.")
    WELCOME_BACK = N_("We go on where we were.")
    SANG_TO_THE_END = N_("You sang to the end.")
    WHOLE_PHRASE = N_("Now the whole phrase.")
    LEAVE_FOR_ANOTHER_DAY = N_("The rest another day.")
    STILL_NOTHING = N_("I still hear nothing. Is the microphone near?")
    REST = N_("Rest a moment. Breathe in, and out.")
    NOTHING_FOR_A_WHILE = N_("I have heard nothing for a while.")
    ALL_FOR_TODAY = N_("That is all for today.")
    NEXT_TIME_AGAIN = N_("Next time we sing again.")
    # finding the range
    FIND_RANGE = N_("We find out where your voice is at home. Sing softly, and stop if anything hurts or tickles.")
    LONG_NOTE = N_("Sing one long note, any note you like.")
    UP_A_LITTLE = N_("Up a little. Listen, then sing.")
    DOWN_A_LITTLE = N_("Now down a little.")
    RANGE_KEPT = N_("That is your range for now. It is kept.")
    RANGE_NOT_FOUND = N_("That was too little to tell. Another day.")


#: What each key does, in the order in which the keys are told. The first place is for the keys, as "space or enter".
KEY_LINES: dict[Action, str] = {
    Action.GO: N_("{keys}: the likely next thing: cut short what is playing, sing again, or go to the next phrase."),
    Action.AGAIN: N_("{keys}: the same phrase again; without a tune, listen to the line anew."),
    Action.NEXT: N_("{keys}: the next phrase."),
    Action.BACK: N_("{keys}: the phrase before."),
    Action.WHERE: N_("{keys}: where am I."),
    Action.REPEAT: N_("{keys}: say it again."),
    Action.SLOWER: N_("{keys}: play it slower."),
    Action.FASTER: N_("{keys}: play it faster."),
    Action.LOWER: N_("{keys}: play it lower."),
    Action.HIGHER: N_("{keys}: play it higher."),
    Action.MORE: N_("{keys}: more about the last take."),
    Action.KEEP: N_("{keys}: keep the teacher's line as a tune."),
    Action.HELP: N_("{keys}: say the keys."),
    Action.PAUSE: N_("{keys}: be silent and pause, and go on again."),
    Action.STRIKE: N_("{keys}: strike out the last take."),
    Action.ME: N_("{keys}: that was me: judge the take that was let pass."),
    Action.HOME: N_("{keys}: set this for home."),
    Action.SUMMARY: N_("{keys}: the lesson so far in a sentence or two."),
    Action.QUIT: N_("{keys}: end; pressed twice."),
}

def key_line(language: Language, action: Action, keys: Sequence[str]) -> str:
    """What keys do: "space or enter: ...". keys: by their names, which are typed in settings too."""
    return language.message(KEY_LINES[action]).format(keys=language.listed(keys, Joining.OR))


def greeting(language: Language, nickname: str) -> str:
    return language.message("Hello {name}. Let us sing.").format(name=nickname)


def kept_beside(language: Language, trouble: Exception, path: Path) -> str:
    """Where a session keeps its takes while the diary cannot be used; trouble: the sentence that says why."""
    return language.message("{trouble} Until then this is kept in {path}.").format(trouble=trouble, path=path)


def kept_in_memory(language: Language, trouble: Exception) -> str:
    """What a session says where its takes can be kept in no file; trouble: the sentence that says why."""
    return language.message("{trouble} Until the end of this session all is kept in memory, and then saved if it can be."
                            ).format(trouble=trouble)


def title_line(language: Language, title: str) -> str:
    """The title of a tune before it is practised."""
    return language.message("The song is {title}.").format(title=title)


def plan_line(language: Language, titles: Sequence[str], phrases: int, minutes: int) -> str:
    """What is sung today: titles, how many phrases in all, about how long."""
    length = language.plural("About {n} minute.", "About {n} minutes.", minutes).format(n=language.number(minutes))
    return language.plural("Today: {titles}, {n} phrase. {length}", "Today: {titles}, {n} phrases. {length}", phrases).format(
        titles=language.listed(titles), n=language.number(phrases), length=length)


def all_for_today(language: Language, nickname: str | None) -> str:
    if nickname is None:
        return language.message(LessonSentence.ALL_FOR_TODAY)
    return language.message("That is all for today, {name}.").format(name=nickname)


def phrase_went_well(language: Language, line: Sequence[LineNote]) -> str:
    """What went well, in the song's own words."""
    return language.message("{words}: that went well.").format(words=language.capitalised(phrase_words(language, line)))


def try_again(language: Language, line: Sequence[LineNote], move: Move, times: int) -> str:
    """The cue where the same move is missed again. times: how often it was missed before, from 1."""
    at = next(i for i, n in enumerate(line) if n.number == move.start)
    # Not at the top: they bring in tunes and matches, and a greeting waits for neither.
    from companion.language.cues import CueSentences, note_name, place_name, within_breath
    from companion.tune import Direction

    templates = {
        Direction.UP: (language.message("Again {first}, {second}: up. Listen."),
                       language.message("Climb from {first} to {second}. Listen.")),
        Direction.DOWN: (language.message("Again {first}, {second}: down. Listen."),
                         language.message("Come down from {first} to {second}. Listen.")),
        Direction.LEVEL: (language.message("Again {first}, {second}: the same note. Listen."),
                          language.message("Stay from {first} to {second}. Listen.")),
    }[move.wanted]
    names = [(note_name(language, line, at), note_name(language, line, at + 1)),
             (place_name(language, at), place_name(language, at + 1))]
    # Where the names are too long for one breath, the places of the notes, and then the other, shorter form.
    return within_breath(CueSentences("", template.format(first=first, second=second), "")
                         for template in (templates[(times - 1) % 2], templates[1]) for first, second in names).whole


def title_and_phrases(language: Language, title: str, phrases: int) -> str:
    """The title of a tune before a lesson, and how many phrases it has."""
    return language.plural("{title}. One phrase.", "{title}. {n} phrases.", phrases).format(title=title, n=phrases)


def phrase_place(language: Language, title: str, phrase: int) -> str:
    """Where a session at home is: "Snail on the wall, phrase 2."."""
    return language.message("{title}, phrase {n}.").format(title=title, n=phrase)


def lesson_place(language: Language, phrase: int, phrases: int, line: Sequence[LineNote]) -> str:
    """Where a lesson is: "Phrase 1 of 2, bars 1 to 2: Snail on the wall, creep up slow."."""
    first, last = line[0].bar, line[-1].bar
    template = language.message("Phrase {n} of {total}, bar {first}: {words}.") if first == last else \
        language.message("Phrase {n} of {total}, bars {first} to {last}: {words}.")
    return template.format(n=phrase, total=phrases, first=first, last=last, words=phrase_words(language, line))


def phrase_words(language: Language, line: Sequence[LineNote]) -> str:
    """The words of a phrase, or how many notes it has."""
    text = "".join(n.syllable + ("" if n.word_place in ("begin", "middle") else " ") for n in line if n.syllable)
    count = language.plural("{n} note", "{n} notes", len(line)).format(n=language.number(len(line)))
    return text.strip().rstrip(".,;:!?") or count


def sung_line_title(language: Language, number: int) -> str:
    """The title of a line that the teacher sang: "Line 2"."""
    return language.message("Line {n}").format(n=number)


def sung_line_place(language: Language, number: int, notes: int) -> str:
    return language.plural("Line {n}: {notes} note.", "Line {n}: {notes} notes.", notes).format(n=number, notes=notes)


def was_that_you(language: Language, nickname: str | None) -> str:
    """The question where it cannot be told who sang. nickname: None where no page is open."""
    if nickname is None:
        return language.message(LessonSentence.WAS_THAT_THE_PUPIL)
    return language.message("Was that you, {name}? If so, sing it once more.").format(name=nickname)


def set_for_home(language: Language, title: str, days: int) -> str:
    return language.plural("{title} is set for home, for {n} day.", "{title} is set for home, for {n} days.", days).format(
        title=title, n=language.number(days))


def lesson_summary(language: Language, takes: int, right: int, hard: Sequence[str]) -> str:
    """The lesson so far. takes: answered ones; right: of them all right; hard: words of phrases that were missed last."""
    said = language.plural("{n} take, {right} all right.", "{n} takes, {right} all right.", takes).format(
        n=takes, right=right)
    if not hard:
        return said
    return language.message("{said} Still hard: {words}.").format(said=said, words="; ".join(hard))


def notes_heard(language: Language, notes: int) -> str:
    """What was taken as the line, before it is played back: "Six notes."."""
    return language.plural("{n} note.", "{n} notes.", notes).format(n=language.capitalised(language.number(notes)))


def line_kept(language: Language, number: int) -> str:
    return language.message("Kept as line {n}.").format(n=number)


def given_line(language: Language, shift: float) -> str:
    """How far from where it is written a tune is given, semitones; said only when asked."""
    n = round(abs(shift))
    if not n:
        return language.message("It is given as written.")
    template = (language.plural("It is given {n} semitone higher than written.",
                                "It is given {n} semitones higher than written.", n) if shift > 0 else
                language.plural("It is given {n} semitone lower than written.",
                                "It is given {n} semitones lower than written.", n))
    return template.format(n=language.number(n))


def review_progress_line(language: Language, done: int, total: int, failed: int) -> str:
    """How far a list of takes is."""
    said = language.plural("{done} of {n} take done.", "{done} of {n} takes done.", total).format(
        done=done, n=total)
    if not failed:
        return said
    more = language.plural("{n} could not be answered.", "{n} could not be answered.", failed).format(n=failed)
    return f"{said} {more}"
