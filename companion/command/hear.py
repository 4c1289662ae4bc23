"""`companion hear`: one take held against one tune."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from companion.command.parser import part_argument, tracker_argument
from companion.messages import _

if TYPE_CHECKING:
    from companion.diary import Diary, Pupil


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE", help=_("a sound file, or a pitch track (CSV: time_s,f0_hz)"))
    parser.add_argument("--tune", required=True, metavar="TUNE",
                        help=_("MusicXML or MIDI, or the name of a tune that ships (companion tunes lists them)"))
    parser.add_argument("--phrase", type=int, metavar="N", help=_("hold it against the Nth phrase only"))
    part_argument(parser)
    tracker_argument(parser)
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))
    parser.add_argument("--short", action="store_true", help=_("print the cue alone"))
    parser.add_argument("--why", metavar="MOVE",
                        help=_("the evidence for one move, by the number of its first note or by its words, as in \"to 'wall'\""))
    parser.add_argument("--more", action="store_true", help=_("more that a teacher would ask, after the cue"))
    parser.add_argument("--speak", action="store_true", help=_("say the cue and sound the glides aloud"))
    parser.add_argument("--sound", metavar="FILE", help=_("save the spoken cue and its glides (.wav or .flac)"))
    parser.add_argument("--pupil", metavar="NAME",
                        help=_("keep what was heard in the diary under this nickname; the sound stays in its file alone"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    import os

    if options.sound:
        from companion.audio import check_name

        check_name(options.sound)
    if options.sound and any(os.path.exists(kept) and os.path.exists(options.sound)
                             and os.path.samefile(kept, options.sound) for kept in (options.take, options.tune)):
        from companion.errors import Trouble

        raise Trouble(_("{sound} is the take or the tune itself, and would be lost. Give another name for the sound.").format(
                            sound=options.sound))
    if not options.pupil:
        return _hear(options)
    from companion.diary import Diary

    with Diary(options.diary) as diary:
        return _hear(options, (diary, diary.pupil(options.pupil)))


def _hear(options: argparse.Namespace, keep: tuple[Diary, Pupil] | None = None) -> int:
    """The take heard and answered as is asked for. keep: in whose diary it is kept."""
    import json

    from companion.lesson import answer_take, keep_answer, kept_line

    found = answer_take(options.take, options.tune, options.phrase, options.part, options.tracker)
    move = None
    if options.why is not None:
        from companion.language import move_meant

        move = move_meant(options.language, found.line, options.why)
    sound = None
    if options.sound or options.speak:
        from companion.lesson import cue_sound

        sound = cue_sound(options.language, found)
    if options.sound and sound is not None:  # saved before anything is printed: what was asked for is there, or said not to be
        from companion.audio import save_sound

        save_sound(sound, options.sound)
    kept = keep_answer(options.language, found, *keep) if keep is not None else None
    if options.json:
        from companion.lesson import Kept, why_json

        why = {} if move is None else {"why": why_json(options.language, found.match, move)}
        known = {} if kept is None else {"kept": kept is not Kept.NOT_THIS_TUNE}
        print(json.dumps({**found.as_json(options.language), **known, **why}, ensure_ascii=False))
    elif move is not None:
        from companion.language import evidence_lines

        print("\n".join(evidence_lines(options.language, found.match, move)), flush=True)
    elif options.short:
        print(found.cue(options.language, sound is not None), flush=True)
    else:
        from companion.lesson import answer_lines

        print("\n".join(answer_lines(options.language, found, more=options.more, sounds=sound is not None)), flush=True)
    if keep is not None and kept is not None and not options.json:
        print(kept_line(options.language, kept, keep[1].nickname), flush=True)
    if options.speak and sound is not None:
        from companion.audio import play

        play(sound)
    return 0
