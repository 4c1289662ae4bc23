"""`companion notate`: a sung take written down as a tune."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from companion.command.parser import tracker_argument
from companion.messages import _

if TYPE_CHECKING:
    from companion.tune import Tune


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE", nargs="+",
                        help=_("a sound file, a pitch track (CSV: time_s,f0_hz), or live for the microphone; "
                               "several takes sharpen one score"))
    parser.add_argument("--microphone", metavar="NAME", help=_("which microphone, where there are several"))
    parser.add_argument("--out", action="append", default=[], metavar="FILE",
                        help=_("write .musicxml, .mxl, .mid, .brf, .svg, .pdf, .wav or .flac; may be given again"))
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
    parser.add_argument("--counted-in", type=int, default=0, metavar="N",
                        help=_("the take begins with N counts, spoken or clapped one beat apart, a bar before the "
                               "tune"))
    parser.add_argument("--fix", action="append", default=[], metavar="COMMAND",
                        help=_('a correction: "bar 3 note 2 is a crotchet", "in three"; may be given again'))
    parser.add_argument("--correct", action="store_true",
                        help=_("then read corrections line by line: help, play, undo, an empty line ends"))
    parser.add_argument("--ask", action="store_true",
                        help=_("first ask, where the metre is unsure, at most three questions, answered line by line"))
    parser.add_argument("--play", action="store_true", help=_("sound the written tune on the loudspeaker"))
    tracker_argument(parser)
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.audio import play
    from companion.ear import Microphone
    from companion.language import read_corrections, read_key, score_json, score_lines
    from companion.lesson import asked, corrected
    from companion.paper import check_outs, tune_sound
    from companion.transcribe import LIVE, given, write_takes

    language = options.language
    check_outs(options.out, options.take)
    known = given(options.bpm, options.time, options.beats, options.key and read_key(language, options.key),
                  options.counted_in)
    fixes = [read_corrections(language, fix) for fix in options.fix]
    microphone = None
    if options.take == [LIVE]:
        microphone = Microphone(options.microphone)
        print(language.message("Sing now. Three seconds of silence end it."),
              file=sys.stderr if options.json else sys.stdout, flush=True)
    try:
        transcription = write_takes(options.take, known, options.title, options.words, fixes,
                                    microphone.read if microphone else None, options.tracker, options.language_of_words)
    finally:
        if microphone:
            microphone.close()
    lines = iter(sys.stdin)
    talk = options.ask or options.correct
    names = [] if talk else _saved(options, transcription.notation.tune)  # before anything is printed: nobody may read it
    if options.ask:
        transcription = asked(language, transcription, lines, (lambda text: None) if options.json else print)
    if not options.json:
        print("\n".join(score_lines(language, transcription)), flush=True)
    if options.correct:
        transcription = corrected(language, transcription, lines, (lambda text: None) if options.json else print)
    tune = transcription.notation.tune
    if talk:
        names = _saved(options, tune)
    if options.json:
        print(json.dumps(score_json(language, transcription.notation), ensure_ascii=False))
    else:
        for name in names:
            print(_("{name} written.").format(name=name))
    if options.play:
        play(tune_sound(tune))
    return 0


def _saved(options: argparse.Namespace, tune: Tune) -> list[str]:
    """The tune saved in every form that was asked for; the names of the files."""
    from companion.paper import save_as

    return [name for path in options.out for name in save_as(tune, path, options.language)]
