"""`companion notate`: a sung take written down as a tune."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from companion.command.parser import bar_numbers_argument, page_arguments, page_size_of, tracker_argument
from companion.errors import Trouble
from companion.messages import _

if TYPE_CHECKING:
    from companion.ear import Microphone
    from companion.paper import PageSize
    from companion.transcribe import Take, Transcription


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE", nargs="+",
                        help=_("a sound file, a pitch track (CSV: time_s,f0_hz), or live for the microphone; "
                               "several takes sharpen one score; or a piece of work that was kept (.zip)"))
    parser.add_argument("--microphone", metavar="NAME", help=_("which microphone, where there are several"))
    parser.add_argument("--out", action="append", default=[], metavar="FILE",
                        help=_("write .musicxml, .mxl, .mid, .brf, .pef, .svg, .pdf, .wav or .flac; may be given again"))
    parser.add_argument("--title", default="", metavar="TEXT", help=_("the tune's title (else the take's name)"))
    parser.add_argument("--words", default="", metavar="TEXT",
                        help=_("words to lay under the notes; hyphens part syllables, _ lets one go on, / ends a line of "
                               "words that belongs to a phrase"))
    parser.add_argument("--language", dest="language_of_words", default="en", metavar="CODE",
                        help=_("the language of the words, which parts them into syllables: en (the default), de, fr ..."))
    parser.add_argument("--bpm", type=float, metavar="N", help=_("beats a minute, where the beat is known"))
    parser.add_argument("--time", metavar="T", help=_("the time signature where it is known: 2/4, 3/4, 4/4, 6/8, "
                                                      "9/8 or 12/8"))
    parser.add_argument("--key", metavar="KEY", help=_("the key where it is known: G major, E minor"))
    parser.add_argument("--beats", metavar="FILE", help=_("times of beats tapped to the take, in seconds, one a line"))
    parser.add_argument("--counted-in", type=int, metavar="N",
                        help=_("the take begins with N counts, spoken, clapped or tapped one beat apart, a bar before the "
                               "tune; live asks for their number, and 0 is none"))
    parser.add_argument("--fix", action="append", default=[], metavar="COMMAND",
                        help=_('a correction: "bar 3 note 2 is a crotchet", "in three"; may be given again'))
    parser.add_argument("--correct", action="store_true",
                        help=_("then read corrections line by line: help, play, undo, an empty line ends"))
    parser.add_argument("--ask", action="store_true",
                        help=_("first ask, where the metre is unsure, at most three questions, answered line by line"))
    parser.add_argument("--keep", metavar="FILE.zip",
                        help=_("keep the score, what is known of it and all corrections in one file, which notate opens again"))
    parser.add_argument("--with-sound", action="store_true",
                        help=_("with --keep: the take's sound too; only where someone responsible for the singer has said so"))
    parser.add_argument("--compare", metavar="FILE",
                        help=_("write .wav or .flac: bar by bar the take, then the take with the written notes over it"))
    parser.add_argument("--play", action="store_true", help=_("sound the written tune on the loudspeaker"))
    tracker_argument(parser)
    page_arguments(parser)
    bar_numbers_argument(parser)
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.audio import play
    from companion.language import score_json, score_lines
    from companion.lesson import asked, corrected
    from companion.paper import tune_sound
    from companion.transcribe import open_work

    language = options.language
    opened = _checked(options)
    size = page_size_of(options, quiet=options.json)
    before = open_work(opened) if opened else None
    transcription = _changed(before, options) if before else _written(options)
    say = (lambda text: None) if options.json else print
    lines = iter(sys.stdin)
    talk = options.ask or options.correct
    saved = [] if talk else _saved(options, transcription, before, size)  # before anything is printed: nobody may read it
    if options.ask:
        transcription = asked(language, transcription, lines, say)
    if not options.json:
        print("\n".join(score_lines(language, transcription)), flush=True)
    if options.correct:
        transcription = corrected(language, transcription, lines, say, lambda: _heard(options))
    if talk:
        saved = _saved(options, transcription, before, size)
    if options.json:
        print(json.dumps(score_json(language, transcription.notation), ensure_ascii=False))
    else:
        for line in saved:
            print(line)
    if options.play:
        play(tune_sound(transcription.notation.tune))
    return 0


def _saved(options: argparse.Namespace, transcription: Transcription, before: Transcription | None, size: PageSize) -> list[str]:
    """Everything that was asked for written, and a sentence for each file. before: the piece of work as it was opened."""
    from companion.audio import save_sound
    from companion.lesson import compared_sound
    from companion.paper import save_as
    from companion.transcribe import keep_work

    names = [name for path in options.out for name in save_as(
        transcription.notation.tune, path, options.language, size, options.bar_numbers)]
    if options.compare:
        save_sound(compared_sound(transcription), options.compare)
        names.append(options.compare)
    out = [_("{name} written.").format(name=name) for name in names]
    opened = options.take[0] if before else None
    keep = options.keep or opened
    if keep and (options.keep or before is None or transcription.notation != before.notation):
        keep_work(transcription, keep, opened, options.with_sound or opened is not None)
        out.append(_("{path} is kept; open it again with: notate {path}").format(path=keep))
    return out


def _checked(options: argparse.Namespace) -> str | None:
    """The kept piece of work that was given, if one was. Raises Trouble, before any work is done, for what cannot be."""
    from companion.audio import check_name
    from companion.paper import check_outs
    from companion.transcribe import check_keep, is_kept_work

    check_outs(options.out, options.take)
    opened: str | None = options.take[0] if any(map(is_kept_work, options.take)) else None
    if opened:
        _check_alone(options)
    if options.compare:
        check_name(options.compare)
    keep: str | None = options.keep or opened
    if keep:
        check_keep(keep, opened)
    if options.with_sound and not options.keep:
        raise Trouble(_("--with-sound was given without --keep; give --keep FILE.zip to keep the take in."))
    return opened


def _check_alone(options: argparse.Namespace) -> None:
    """Raises Trouble where what belongs to a new take was given with a kept piece of work."""
    if len(options.take) > 1:
        raise Trouble(_("A kept piece of work was given with other takes; give it alone."))
    given = [name for name, value in (("--bpm", options.bpm), ("--time", options.time), ("--key", options.key),
                                      ("--beats", options.beats), ("--counted-in", options.counted_in)) if value]
    if given:
        raise Trouble(_('{option} belongs to a new take; for a kept piece of work say it as a correction, as --fix "in '
                        'three".').format(option=given[0]))
    if options.with_sound:
        raise Trouble(_("--with-sound belongs to a new take; a kept piece of work has the sound that it was kept with."))


def _changed(transcription: Transcription, options: argparse.Namespace) -> Transcription:
    """A kept piece of work with the corrections and words that were given now."""
    from companion.language import read_corrections
    from companion.transcribe import mended, worded

    done = mended(transcription, [read_corrections(options.language, fix) for fix in options.fix])
    done = replace(done, typed=(*done.typed, *options.fix))
    return worded(done.mended(done.notation), options.words) if options.words else done


def _written(options: argparse.Namespace) -> Transcription:
    """New takes written down, from files or the microphone."""
    from companion.language import read_corrections, read_key
    from companion.transcribe import LIVE, given, write_takes

    language = options.language
    known = given(options.bpm, options.time, options.beats, options.key and read_key(language, options.key),
                  _counts(options))
    fixes = [read_corrections(language, fix) for fix in options.fix]
    microphone = None
    if options.take == [LIVE]:
        microphone = _microphone(options)
        print(language.message("Sing now. Three seconds of silence end it."),
              file=sys.stderr if options.json else sys.stdout, flush=True)
    try:
        done = write_takes(options.take, known, options.title, options.words, fixes,
                           microphone.read if microphone else None, options.tracker, options.language_of_words,
                           options.with_sound or options.correct or bool(options.compare))
    finally:
        if microphone:
            microphone.close()
    return replace(done, typed=tuple(options.fix))


def _counts(options: argparse.Namespace) -> int:
    """How many counts stand before the tune. Somebody who sings now is asked: a beat that is counted settles most of the
    metre."""
    if options.counted_in is not None or options.take != ["live"] or options.json or not sys.stdin.isatty():
        return int(options.counted_in or 0)
    from companion.language import read_count

    language = options.language
    print(language.message("How many beats do you count aloud, clap or tap before you sing? Type 2, 3, 4 or 6, as many as a bar "
                           "has, or nothing to sing without."), flush=True)
    answer = sys.stdin.readline()
    found = read_count(language, answer)
    if found is None and answer.strip():
        raise Trouble(_("{answer} was typed for the number of counts; it is a number from 2 to 8, or nothing.").format(
            answer=answer.strip()))
    return found or 0


def _microphone(options: argparse.Namespace) -> Microphone:
    from companion.ear import Microphone

    return Microphone(options.microphone)


def _heard(options: argparse.Namespace) -> Take:
    """What is sung now."""
    from companion.transcribe import live_take

    microphone = _microphone(options)
    try:
        return live_take(microphone.read, options.tracker)
    finally:
        microphone.close()
