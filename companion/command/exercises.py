"""`companion exercises`: exercises from any tune, as a booklet with its answers apart."""

from __future__ import annotations

import argparse

from companion.command.parser import page_arguments, page_size_of, part_argument
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--out", metavar="NAME", help=_("write NAME.brf (or .pef), .html and .txt, and the answers apart"))
    parser.add_argument("--level", type=int, choices=range(1, 6), metavar="N", help=_("only up to this level, 1 to 5"))
    parser.add_argument("--kind", action="append", default=[], metavar="KIND",
                        help=_("only this kind (gap, dictation, moves ...); may be given again"))
    parser.add_argument("--practise", action="append", default=[], metavar="MOVE",
                        help=_("new tunes of this kind of move: level, semitone, step, skip or leap"))
    parser.add_argument("--pupil", metavar="NAME", help=_("new tunes of the kind of move that this pupil's diary "
                                                          "asks for"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the usual one"))
    parser.add_argument("--answers", action="store_true", help=_("print the answers instead of the exercises"))
    parser.add_argument("--sound", action="store_true", help=_("with --out: NAME.wav as well, spoken and sounded"))
    parser.add_argument("--seconds-a-cell", type=float, default=4.0, metavar="N",
                        help=_("with --sound: time to write an answer, for each cell (4); half for cells that are read"))
    parser.add_argument("--as", dest="form", choices=("brf", "pef"), default="brf",
                        help=_("with --out: the form of the braille; pef is XML (brf)"))
    page_arguments(parser)
    parser.add_argument("--seed", type=int, default=1, metavar="N", help=_("another number gives another set"))
    part_argument(parser)
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.paper import to_text
    from companion.workbook import booklet_of, booklet_sheet, save_booklet

    practise = list(options.practise)
    if options.pupil:
        from companion.diary import Diary, suggestion

        with Diary(options.diary) as diary:
            suggested = suggestion(diary, diary.pupil(options.pupil))
        practise += [suggested.tally.kind.size] if suggested else []
    size = page_size_of(options)
    made = booklet_of(options.tune, level=options.level, kinds=options.kind, practise=practise,
                      width=size.width, seed=options.seed, part=options.part)
    if options.out:
        names = save_booklet(made, options.out, options.language, size, options.sound,
                             options.seconds_a_cell, f".{options.form}")
        print("\n".join(_("{path} written.").format(path=name) for name in names))
    else:
        print("\n".join(to_text(booklet_sheet(made, options.language, options.answers), options.language)))
    return 0
