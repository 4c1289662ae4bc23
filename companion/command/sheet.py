"""`companion sheet`: a stage, a tune, drills, a key or a week on paper or read out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from companion.command.parser import bar_numbers_argument, page_arguments, page_size_of, part_argument
from companion.messages import _

if TYPE_CHECKING:
    from companion.paper import PageSize, Sheet


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", metavar="WHAT", choices=("stage", "fingers", "tune", "drill", "key", "week"),
                        help=_("stage N, fingers N (one line of its cells), tune TUNE, drill N, key (of all cells, or up to "
                               "stage N), or week PUPIL"))
    parser.add_argument("name", metavar="NAME", nargs="?", help=_("number of a stage, name of a tune, or pupil"))
    parser.add_argument("--out", metavar="FILE",
                        help=_("write .brf, .pef, .html, .pdf, .txt, or spoken .wav: the pupil's sheet, and beside it the "
                               "helper's with the answers; printed as text if not given"))
    page_arguments(parser)
    bar_numbers_argument(parser)
    parser.add_argument("--contracted", action="store_true", help=_("words in contracted braille (needs liblouis)"))
    parser.add_argument("--speak", action="store_true", help=_("read it out"))
    parser.add_argument("--whole", action="store_true", help=_("one file with the helper's parts too"))
    parser.add_argument("--kind", metavar="KIND", help=_("for drills: only this kind"))
    parser.add_argument("--tune", metavar="TUNE", help=_("for drills: from this tune"))
    part_argument(parser)
    parser.add_argument("--leave-out", metavar="WHAT", action="append", default=[],
                        help=_("what is left out of the tune: values, octave marks, bars, key, time, words ..."))
    parser.add_argument("--count", type=int, default=20, metavar="N", help=_("for drills: how many questions (20)"))
    parser.add_argument("--seed", type=int, default=1, metavar="N", help=_("for drills: another number gives others"))
    parser.add_argument("--stages", metavar="FOLDER", help=_("stages of your own besides those that ship"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the usual one"))
    parser.add_argument("--on", metavar="DATE", help=_("for a week: its first day (today)"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    from companion.command.course import moment
    from companion.course import stages
    from companion.diary import Diary
    from companion.paper import to_sound, to_text
    from companion.workbook import SheetOf, WantedSheet, sheet_of

    wanted = WantedSheet(SheetOf(options.what), options.name, options.kind, options.tune, options.leave_out, options.count,
                         options.seed, options.part, options.bar_numbers)
    sheet = sheet_of(options.language, wanted, stages(options.stages), lambda: Diary(options.diary), moment(options.on))
    size = page_size_of(options)
    if options.out:
        _save(sheet, options, size)
    elif not options.speak:
        print("\n".join(to_text(sheet, options.language)))
    if options.speak:
        from companion.audio import play

        play(to_sound(sheet, options.language))
    return 0


def _save(sheet: Sheet, options: argparse.Namespace, size: PageSize) -> None:
    """The pupil's sheet, and beside it the helper's, where there is anything for the helper: two files in every form,
    so that the answers are never under the pupil's hands."""
    from companion.paper import for_pupil, save_sheet

    def save(some: Sheet, path: Path, whole: bool) -> None:
        save_sheet(some, path, options.language, whole=whole, size=size, in_contracted=options.contracted)

    out = Path(options.out)
    pupils = for_pupil(sheet)
    if options.whole or pupils == sheet:
        save(sheet, out, True)
        print(_("{path} written.").format(path=out))
        return
    helpers = out.with_name(_("{name}-helper").format(name=out.stem) + out.suffix)
    save(pupils, out, False)
    save(sheet, helpers, True)
    print(_("{path} written, for the pupil.").format(path=out))
    print(_("{path} written, for the helper.").format(path=helpers))
