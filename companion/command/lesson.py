"""`companion lesson`: phrase by phrase, or the teacher's own line as the tune."""

from __future__ import annotations

import argparse

from companion.command.parser import part_argument
from companion.diary import SettingName
from companion.lesson import SessionOptions, check_level, run_lesson
from companion.messages import _


def common(parser: argparse.ArgumentParser) -> None:
    """Options of both live commands."""
    parser.add_argument("--new", action="store_true", help=_("begin a page for a pupil whose name is new"))
    parser.add_argument("--speech", choices=("on", "off"),
                        help=_("off leaves the words as lines of text to a screen reader or braille display"))
    parser.add_argument("--helper", action="store_true",
                        help=_("also write the words, for a helper who looks on; with no screen reader running"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))
    parser.add_argument("--microphone", metavar="NAME", help=_("a microphone, by its name or part of it"))
    parser.add_argument("--loudspeaker", metavar="NAME", help=_("a loudspeaker, by its name or part of it"))
    parser.add_argument("--bind", metavar="KEY=ACTION", action="append", default=[],
                        help=_("bind a key or pedal, such as pagedown=go; the key ? says all actions"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", nargs="?", metavar="TUNE",
                        help=_("MusicXML or MIDI, or a tune that ships; without one the teacher's line is the tune"))
    parser.add_argument("--pupil", metavar="NAME", help=_("keep the takes in the diary under this nickname"))
    part_argument(parser)
    parser.add_argument("--phrase", type=int, default=1, metavar="N", help=_("begin with the Nth phrase"))
    parser.add_argument("--wait", action="store_true",
                        help=_("after the starting note wait for the teacher to sing each phrase first"))
    parser.add_argument("--keep-in", metavar="FOLDER", help=_("where lines that are kept are written as MusicXML"))
    parser.add_argument("--check", action="store_true", help=_("check the microphone's level instead"))
    common(parser)


def session_options(options: argparse.Namespace) -> SessionOptions:
    """What both live commands can be asked for."""
    asked = {SettingName.SPEECH: options.speech, SettingName.MICROPHONE: options.microphone,
             SettingName.LOUDSPEAKER: options.loudspeaker, SettingName.MINUTES: getattr(options, "minutes", None),
             SettingName.VARIETY: "american" if options.american else None}
    return SessionOptions(diary=options.diary, new=options.new, helper=options.helper, bind=options.bind,
                          settings={name: value for name, value in asked.items() if value is not None})


def run(options: argparse.Namespace) -> int:
    if options.check:
        check_level(session_options(options), lambda text: print(text, flush=True))
    else:
        run_lesson(session_options(options), options.tune, options.pupil, options.part, options.phrase, options.wait,
                   options.keep_in)
    return 0
