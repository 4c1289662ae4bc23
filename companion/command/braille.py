"""`companion braille`: a tune in music braille."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from companion.command.parser import page_arguments, page_size_of, part_argument
from companion.messages import _

LANGUAGES = ("en", "de", "fr", "es", "it", "la")  # those of `braille.WordLanguage`, which is loaded where it is needed


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--out", metavar="FILE", help=_("write a .brf file, or .pef by its name, instead of printing"))
    page_arguments(parser)
    parser.add_argument("--bar-numbers", action="store_true", help=_("the number of a bar before each line that begins with one"))
    parser.add_argument("--pitch-only", action="store_true",
                        help=_("a reading exercise: every note as a quaver, no values and no rests"))
    parser.add_argument("--as", dest="form", choices=("cells", "ascii", "dots", "pef"), default="cells",
                        help=_("Unicode cells, Braille ASCII, dot numbers, or pages as PEF (XML)"))
    parser.add_argument("--contracted", action="store_true", help=_("words in contracted braille (needs liblouis)"))
    parser.add_argument("--language", dest="language_of_words", choices=LANGUAGES, default="en",
                        help=_("the language of the words that are sung, whose braille they are written in"))
    parser.add_argument("--numbered", action=argparse.BooleanOptionalAction, default=True,
                        help=_("in a file, title and page number at the top of every page after the first, or not (they are)"))
    parser.add_argument("--verses", choices=("after", "under"), default="after",
                        help=_("further verses after the song, or under each line of words over their music"))
    parser.add_argument("--american", action="store_true", help=_("American names of note values"))
    part_argument(parser)
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json
    from functools import partial

    from companion.braille import Habits, WordLanguage, encode, to_ascii, to_dots
    from companion.paper import save_song, song_page, song_pef
    from companion.tune import load

    size = page_size_of(options, quiet=options.json or not options.out)
    written = partial(encode, load(options.tune, part=options.part), pitch_only=options.pitch_only,
                      contracted=options.contracted, language=WordLanguage(options.language_of_words),
                      habits=Habits(verses_under=options.verses == "under"))
    as_pef = options.form == "pef"
    if options.out or as_pef or options.bar_numbers:
        song = song_page(written, size.width, options.bar_numbers)
    page = song if options.bar_numbers else written(width=size.width)
    if options.out:
        save_song(song, options.out, size.width, size.height, options.numbered, as_pef)
        if not options.json:
            print(_("{path} written.").format(path=options.out))
    if options.json:
        print(json.dumps(page.as_json(), ensure_ascii=False))
    elif as_pef and not options.out:
        print(song_pef(song, size.width, size.height, options.numbered).decode(), end="")
    elif not options.out:
        forms: dict[str, Callable[[str], str]] = {"cells": str, "ascii": to_ascii, "dots": to_dots}
        print("\n".join(forms[options.form](line) for line in page.lines))
    return 0
