"""`companion read`: music braille back into notes."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help=_(".brf, or text in Unicode cells; - for standard input"))
    parser.add_argument("--out", metavar="FILE.musicxml", help=_("write the tune as MusicXML"))
    parser.add_argument("--american", action="store_true", help=_("American names of note values"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.braille import read_file
    from companion.language import reading_json, reading_lines

    reading = read_file(options.file)
    if options.out:
        from companion.tune import save

        save(reading.tune, options.out)
    if options.json:
        print(json.dumps(reading_json(options.language, reading), ensure_ascii=False))
    else:
        print("\n".join(reading_lines(options.language, reading)))
        if options.out:
            print(_("{path} written.").format(path=options.out))
    return 0
