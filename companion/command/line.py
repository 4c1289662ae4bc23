"""`companion line`: the tune as a line to follow with the finger."""

from __future__ import annotations

import argparse

from companion.command.parser import page_arguments, page_size_of, part_argument
from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--out", metavar="FILE", help=_("write .svg or .pdf (swell paper), .brf or .pef (embosser) or .txt"))
    parser.add_argument("--phrase", type=int, metavar="N", help=_("only the Nth phrase"))
    page_arguments(parser)
    part_argument(parser)
    parser.add_argument("--american", action="store_true", help=_("American names (half step)"))


def run(options: argparse.Namespace) -> int:
    from companion.paper import finger_line_words, save_finger_line
    from companion.tune import load

    tune = load(options.tune, part=options.part)
    size = page_size_of(options)
    if options.out:
        names = save_finger_line(tune, options.out, options.language, options.phrase, size)
        print("\n".join(_("{path} written.").format(path=name) for name in names))
    else:
        print("\n".join(finger_line_words(tune, options.language, options.phrase)))
    return 0
