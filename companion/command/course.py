"""`companion course`: the course for a pupil, stage by stage."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from companion.diary import SettingName
from companion.errors import Trouble
from companion.messages import _

if TYPE_CHECKING:
    from companion.course import Stage
    from companion.diary import Diary, Pupil, Settings
    from companion.language import Language

FIRST_YEAR, LAST_YEAR = 1900, 2999  # reviews lie some years before or after: near the ends of the calendar there are none


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("pupil", metavar="PUPIL", nargs="?", help=_("a nickname in the diary"))
    parser.add_argument("--new", action="store_true", help=_("begin a page in the diary for this pupil"))
    parser.add_argument("--known", action="store_true", help=_("what is known and what comes next"))
    parser.add_argument("--list", action="store_true", help=_("all stages, a line each"))
    parser.add_argument("--words", action="store_true", help=_("every word of the trade, and what it means"))
    parser.add_argument("--stage", metavar="N", help=_("read one stage out: for the adult, for the pupil"))
    parser.add_argument("--pass", dest="passed", metavar="N", action="append", default=[],
                        help=_("the adult's word that a stage is known, and all before it"))
    parser.add_argument("--place", action="store_true", help=_("a short test that finds the stage to begin with"))
    parser.add_argument("--back", metavar="N", action="append", default=[],
                        help=_("the adult's word that a stage is to be done again"))
    parser.add_argument("--begin-again", action="store_true", help=_("forget all of this pupil's course"))
    parser.add_argument("--stages", metavar="FOLDER", help=_("stages of your own besides those that ship"))
    parser.add_argument("--check", metavar="FILE", help=_("read a stage of your own and say what is amiss"))
    parser.add_argument("--questions", type=int, default=16, metavar="N", help=_("new questions in a sitting (16)"))
    parser.add_argument("--minutes", metavar="N", help=_("how long a sitting is (8, or the setting course-minutes; 15 suits "
                                                        "an adult)"))
    parser.add_argument("--song", metavar="FILE", help=_("a song of the pupil's own, as from companion notate, kept as the tune "
                                                       "of the stages that it suits; none for the course's own tunes again"))
    parser.add_argument("--hands-free", action="store_true",
                        help=_("only what is answered by singing; no key is needed"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the usual one"))
    common(parser)


def common(parser: argparse.ArgumentParser) -> None:
    """Options that the course and single drills share."""
    parser.add_argument("--listen", action="store_true", help=_("hear sung answers through the microphone"))
    parser.add_argument("--speech", choices=("on", "off"), help=_("speak, or leave the lines to a screen reader"))
    parser.add_argument("--silent", action="store_true",
                        help=_("sound nothing; the helper is told which notes to sing or play"))
    parser.add_argument("--as", dest="form", choices=("cells", "ascii", "dots"), default="cells",
                        help=_("how cells are shown: Unicode, Braille ASCII, or dot numbers"))
    parser.add_argument("--on", metavar="DATE", help=_("as if it were this day, such as 2026-12-31"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    from companion.course import check_stages, stages
    from companion.language import stages_in_order_line

    if options.check:
        return say([stages_in_order_line(options.language, check_stages(options.check))])
    some = stages(options.stages)
    if options.list or options.words or options.stage:
        return _about_stages(options, some)
    if not options.pupil:
        raise Trouble(_("Name a pupil, as in companion course Robin, with --new the first time; or --list for the "
                        "stages."))
    if options.questions < 1:
        raise Trouble(_("--questions was {questions}; give 1 or more.").format(questions=options.questions))
    return _with_pupil(options, some)


def _about_stages(options: argparse.Namespace, some: Sequence[Stage]) -> int:
    """What can be read of the stages without a pupil."""
    from companion.course import find_stage
    from companion.language import course_begin_hint, glossary_lines, stage_lines, stage_list_lines
    from companion.lesson import glossary_json, stage_json

    language: Language = options.language
    if options.list:
        return say(stage_list_lines(language, some), [stage_json(language, s) for s in some] if options.json else None)
    if options.words:
        return say(glossary_lines(language, some), glossary_json(language, some) if options.json else None)
    stage = find_stage(options.stage, some)
    return say([*stage_lines(language, stage), course_begin_hint(language)],
               stage_json(language, stage) if options.json else None)


def _with_pupil(options: argparse.Namespace, some: Sequence[Stage]) -> int:
    """What is known of a pupil, a word on it, or a sitting."""
    from companion.course import forget_progress, load_progress
    from companion.diary import Diary, read_setting
    from companion.language import course_begins_again_line, standing_lines
    from companion.lesson import judge_stages, place, progress_json, shift_for, sit, terminal

    start = moment(options.on)
    with Diary(options.diary) as diary:
        if not options.new and diary.find(options.pupil) is None and diary.near(options.pupil) is None:
            raise Trouble(_("The diary has no pupil {pupil}. Add --new to begin with a new pupil.").format(
                                pupil=options.pupil))
        pupil = diary.pupil(options.pupil, new=options.new)
        settings = diary.settings(pupil)
        if options.minutes is not None:
            settings[SettingName.COURSE_MINUTES] = read_setting(SettingName.COURSE_MINUTES, options.minutes)
        language = pupils_language(options, settings)
        if options.song is not None:
            return say([_set_song(diary, pupil, some, options.song, language)])
        if options.begin_again:
            forget_progress(diary, pupil)
            return say([course_begins_again_line(language, pupil.nickname)])
        if options.passed or options.back:
            return say(judge_stages(diary, pupil, some, options.passed, options.back, start, language))
        progress = load_progress(diary, pupil)
        if options.known or options.json:
            return say(standing_lines(language, progress.standing(some, start), start),
                       progress_json(language, progress, some, start) if options.json else None)
        shift = shift_for(progress.stage(some).material, pupil.low, pupil.high)
        io = terminal(spoken(options, settings), language, silent=options.silent, listens=options.listen,
                      hands_free=options.hands_free, cells_as=options.form, shift=shift)
        if options.place:
            place(diary, pupil, some, lambda: moment(options.on), io)
            return 0
        sit(diary, pupil, some, lambda: moment(options.on), io, options.questions, settings[SettingName.COURSE_MINUTES])
    return 0


NO_SONG = "none"


def _set_song(diary: Diary, pupil: Pupil, some: Sequence[Stage], song: str, language: Language) -> str:
    """Keep a song as the tune of the stages that it suits, and what is said to it. Raises Trouble where it suits none."""
    from companion.course import with_song
    from companion.language import own_song_line
    from companion.tune import find, load

    if song.lower() == NO_SONG:
        diary.set_setting(pupil, SettingName.COURSE_SONG, "")
        return own_song_line(language, "", [])
    path = str(find(song).resolve())
    tune = load(path)
    suited = [s for s, own in zip(with_song(some, tune, path), some, strict=True) if s is not own]
    if not suited:
        raise Trouble(_("{song} suits no stage: it has signs that come together in none. A song of one voice in plain values "
                        "suits most.").format(song=song))
    diary.set_setting(pupil, SettingName.COURSE_SONG, path)
    return own_song_line(language, tune.title, suited)


def pupils_language(options: argparse.Namespace, settings: Settings) -> Language:
    """American where it is asked for here, else as the pupil's settings have it; notes by solfa where they are to be."""
    from companion import lesson
    from companion.language import Variety

    return lesson.pupils_language({**settings, SettingName.VARIETY: Variety.AMERICAN.value} if options.american else settings)


def spoken(options: argparse.Namespace, settings: Settings) -> Settings:
    """Settings with what is asked for here about speech."""
    return {**settings, SettingName.SPEECH: options.speech} if options.speech else settings


def moment(text: str | None) -> datetime:
    """Now, or the day that is given, at the time of day that it is. Raises Trouble for what is no date."""
    now = datetime.now().astimezone()
    if text is None:
        return now
    try:
        day = datetime.fromisoformat(text)
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValueError(text)
    except ValueError:
        raise Trouble(_("{text} is no date; give year, month and day as 2026-12-31.").format(text=text)) from None
    if len(text) <= 10:
        day = day.replace(hour=now.hour, minute=now.minute, second=now.second)
    return day.astimezone() if day.tzinfo is None else day


def say(lines: Sequence[str], data: Any = None) -> int:
    """Lines, or the same as JSON."""
    print("\n".join(lines) if data is None else json.dumps(data, ensure_ascii=False))
    return 0
