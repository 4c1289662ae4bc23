"""`companion read`: music braille back into notes."""

from __future__ import annotations

import argparse

from companion.command.braille import LANGUAGES
from companion.errors import Trouble
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help=_(".brf or .pef, or text in Unicode cells; - for standard input"))
    parser.add_argument("--out", metavar="FILE.musicxml", help=_("write the tune as MusicXML"))
    parser.add_argument("--bar", type=int, metavar="N", help=_("say this bar alone"))
    parser.add_argument("--from", dest="start", type=int, metavar="N", help=_("say the bars from this one on"))
    parser.add_argument("--language", dest="language_of_words", choices=LANGUAGES, default="en",
                        help=_("the language of the words that are sung, whose braille they are written in"))
    parser.add_argument("--american", action="store_true", help=_("American names of note values"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.braille import WordLanguage, read_file
    from companion.language import reading_json, reading_lines

    words_in = WordLanguage(options.language_of_words)
    if options.file.lower().endswith(".pef"):
        from companion.paper import read_pef

        reading = read_pef(options.file, words_in)
    else:
        reading = read_file(options.file, words_in)
    bars = _asked_for(options, [bar.number for bar in reading.tune.bars])
    if options.out:
        from companion.tune import save

        save(reading.tune, options.out)
    if options.json:
        print(json.dumps(reading_json(options.language, reading, bars), ensure_ascii=False))
    else:
        print("\n".join(reading_lines(options.language, reading, bars)))
        if options.out:
            print(_("{path} written.").format(path=options.out))
    return 0


def _asked_for(options: argparse.Namespace, numbers: list[int]) -> range | None:
    """The bars asked for, None for all. Raises Trouble where there is none of them."""
    number = options.start if options.bar is None else options.bar
    if number is None:
        return None
    if not numbers:
        raise Trouble(_("There is no bar {number}: no music was found.").format(number=number))
    bars = range(number, numbers[-1] + 1 if options.bar is None else number + 1)
    if not any(n in bars for n in numbers):
        raise Trouble(_("There is no bar {number}; give a number from {first} to {last}.").format(
                            number=number, first=numbers[0], last=numbers[-1]))
    return bars
