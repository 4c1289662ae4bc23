"""`companion course`: the course for a pupil, stage by stage."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from companion.diary import SettingName, Settings, Speech
from companion.messages import _

if TYPE_CHECKING:
    from companion.course.drill import Item
    from companion.ear import PitchTrack
    from companion.lesson.out import Out
    from companion.lesson.sitting import Hands


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("pupil", metavar="PUPIL", nargs="?", help=_("a nickname in the diary"))
    parser.add_argument("--new", action="store_true", help=_("begin a page in the diary for this pupil"))
    parser.add_argument("--known", action="store_true", help=_("what is known and what comes next"))
    parser.add_argument("--list", action="store_true", help=_("all stages, a line each"))
    parser.add_argument("--words", action="store_true", help=_("every word of the trade, and what it means"))
    parser.add_argument("--stage", metavar="N", help=_("read one stage out: for the adult, for the pupil"))
    parser.add_argument("--pass", dest="passed", metavar="N", action="append", default=[],
                        help=_("the adult's word that a stage is known"))
    parser.add_argument("--back", metavar="N", action="append", default=[],
                        help=_("the adult's word that a stage is to be done again"))
    parser.add_argument("--begin-again", action="store_true", help=_("forget all of this pupil's course"))
    parser.add_argument("--stages", metavar="FOLDER", help=_("stages of your own besides those that ship"))
    parser.add_argument("--check", metavar="FILE", help=_("read a stage of your own and say what is amiss"))
    parser.add_argument("--questions", type=int, default=16, metavar="N", help=_("new questions in a sitting (16)"))
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
    from companion.course import progress as kept
    from companion.course.stage import find_stage, stages
    from companion.errors import Trouble
    from companion.lesson import course_door as door

    if options.check:
        return say(door.check_lines(options.check))
    some = stages(options.stages)
    if options.list:
        return say(door.list_lines(some), [door.stage_json(s) for s in some] if options.json else None)
    if options.words:
        terms = {t.word: {"means": t.means, "stage": s.number} for s in some for t in s.terms}
        return say(door.term_lines(some, options.american), terms if options.json else None)
    if options.stage:
        stage = find_stage(options.stage, some)
        return say([*stage.lines(options.american), "To begin with a pupil called Robin: companion course Robin --new."],
                   door.stage_json(stage) if options.json else None)
    if not options.pupil:
        raise Trouble(_("Name a pupil, as in companion course Robin, with --new the first time; or --list for the "
                        "stages."))
    if options.questions < 1:
        raise Trouble(_("--questions was {questions}; give 1 or more.").format(questions=options.questions))
    start = door.moment(options.on)
    from companion.diary import Diary

    with Diary(options.diary) as diary:
        if not options.new and diary.find(options.pupil) is None and diary.near(options.pupil) is None:
            raise Trouble(_("The diary has no pupil {pupil}. Add --new to begin with a new pupil.").format(
                                pupil=options.pupil))
        pupil = diary.pupil(options.pupil, new=options.new)
        if options.begin_again:
            diary.keep(pupil, kept.ROOM, kept.NAME, None)
            return say([f"The course of {pupil.nickname} begins again at the first stage."])
        if options.passed or options.back:
            return say(door.word(diary, pupil, some, options.passed, options.back, start))
        if options.known or options.json:
            progress = kept.load(diary, pupil)
            return say(progress.lines(some, start),
                       door.progress_json(progress, some, start) if options.json else None)
        settings = diary.settings(pupil)
        from companion.lesson.question_sound import shift_for

        stage = kept.load(diary, pupil).stage(some)
        shift = shift_for(stage.material, pupil.low, pupil.high)
        options.listen = options.listen or options.hands_free
        met = hands(settings, options, shift)
        if options.hands_free:
            met.read = lambda: "skip"
        door.sit(diary, pupil, some, clock(options.on), met, options.questions, options.hands_free)
    return 0


def say(lines: list[str], data: Any = None) -> int:
    """Lines, or the same as JSON."""
    import json

    print("\n".join(lines) if data is None else json.dumps(data, ensure_ascii=False))
    return 0


def hands(settings: Settings, options: argparse.Namespace, shift: int = 0) -> Hands:
    """A sitting at the terminal, by a pupil's settings and the options of the command."""
    from companion.lesson.course_door import help_lines
    from companion.lesson.sitting import Hands

    out = speaker(settings, options)
    ear = listener(settings) if options.listen else None
    american = options.american or settings[SettingName.VARIETY] == "american"
    return Hands(reader(out, help_lines()), out.say, shower(out, options.form),
                 sounder(out, options.silent, shift), ear, american)


def speaker(settings: Settings, options: argparse.Namespace) -> Out:
    """Where words go: spoken as the pupil's settings say, or written."""
    from companion.lesson.out import Out

    if options.speech:
        settings = {**settings, SettingName.SPEECH: options.speech}
    if options.silent:
        settings = {**settings, SettingName.SPEECH: Speech.OFF.value}
    return Out(settings)


def clock(on: str | None) -> Callable[[], Any]:
    """The time now; with a day given, that day at this time of day."""
    from companion.lesson.course_door import moment

    return lambda: moment(on)


def reader(out: Out, helps: list[str]) -> Callable[[], str | None]:
    """Typed lines; "help" says what may be typed."""
    def read() -> str | None:
        for line in iter(sys.stdin.readline, ""):
            if line.strip().lower() != "help":
                return str(line).rstrip("\r\n")
            for text in helps:
                out.say(text)
        return None

    return read


def shower(out: Out, form: str) -> Callable[[str], None]:
    """Cells are always written, for a braille display; where words are spoken, their dots are too."""
    from companion.braille import say_dots, to_ascii, to_dots

    forms: dict[str, Callable[[str], str]] = {"cells": str, "ascii": to_ascii, "dots": to_dots}

    def show(cells: str) -> None:
        out.write(forms[form](cells))
        if out.speech:
            out.say(say_dots(cells))

    return show


def sounder(out: Out, silent: bool, shift: float) -> Callable[[Item], None]:
    """What a question sounds, played; or the helper is told what to sound."""
    from companion.lesson.question_sound import item_sound, said_instead

    shown = out.show

    def sound(item: Item) -> None:
        made = None if silent or out.show != shown else item_sound(item, shift)
        if made is not None:
            out.sound(made)
        # Where the loudspeaker is not there, `Out` has said so once and shows all; then the helper sounds the notes.
        if (silent or out.show != shown) and said_instead(item):
            out.say(said_instead(item))

    return sound


def listener(settings: Settings) -> Callable[[Item], PitchTrack | None]:
    """A sung answer through the microphone; None where nothing was sung. What was no singing is passed over."""
    def listen(item: Item) -> PitchTrack | None:
        from companion.ear import Microphone
        from companion.lesson.listen import HeardKind, Listener

        ear = Listener(item.sung)
        microphone = Microphone(settings[SettingName.MICROPHONE] or None)
        try:
            while True:
                samples = microphone.read()
                heard = ear.push(samples) if samples is not None else None
                if heard is None:
                    continue
                if heard.kind in (HeardKind.TAKE, HeardKind.SILENCE):
                    return heard.track
                ear = Listener(item.sung)
        finally:
            microphone.close()

    return listen
