"""`companion braille`: a tune in music braille."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from companion.command.parser import bar_numbers_argument, page_arguments, page_size_of, part_argument
from companion.messages import _

if TYPE_CHECKING:
    from companion.braille import BraillePage

LANGUAGES = ("en", "de", "fr", "es", "it", "la")  # those of `braille.WordLanguage`, which is loaded where it is needed


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tune", metavar="TUNE", help=_("MusicXML or MIDI, or the name of a tune that ships"))
    parser.add_argument("--out", metavar="FILE", help=_("write a .brf file, or .pef by its name, instead of printing"))
    page_arguments(parser)
    bar_numbers_argument(parser)
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
    parser.add_argument("--together", choices=("lines", "bars"),
                        help=_("all parts of a score on one page, or those that --part names, as 1,3: voices line over line, or "
                               "melody and accompaniment bar over bar"))
    parser.add_argument("--words", choices=("song", "solfa", "none"), default="song",
                        help=_("the words of the song, solfa names in their place, or none"))
    parser.add_argument("--chords", action="store_true",
                        help=_("chord symbols of the score in a line of their own below the music, one part alone"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.braille import to_ascii, to_dots
    from companion.paper import save_song, song_page, song_pef

    size = page_size_of(options, quiet=options.json or not options.out)
    written = _together(options) if options.together else _alone(options)
    as_pef = options.form == "pef"
    if options.out or as_pef or options.bar_numbers:
        song = song_page(written, size.width, options.bar_numbers and not options.together)
    page = song if options.bar_numbers else written(width=size.width)
    if options.out:
        save_song(song, options.out, size, options.numbered, as_pef)
        if not options.json:
            print(_("{path} written.").format(path=options.out))
    if options.json:
        print(json.dumps(page.as_json(), ensure_ascii=False))
    elif as_pef and not options.out:
        print(song_pef(song, size, options.numbered).decode(), end="")
    elif not options.out:
        forms: dict[str, Callable[[str], str]] = {"cells": str, "ascii": to_ascii, "dots": to_dots}
        print("\n".join(forms[options.form](line) for line in page.lines))
    return 0


def _alone(options: argparse.Namespace) -> Callable[..., BraillePage]:
    """What writes one part."""
    from functools import partial

    from companion.braille import Habits, WordLanguage, encode
    from companion.errors import Trouble
    from companion.tune import load, with_solfa

    tune = load(options.tune, part=options.part)
    if options.chords and options.pitch_only:
        raise Trouble(_("A reading exercise of pitches alone has no chord symbols. Leave --chords or --pitch-only out."))
    if options.chords and not any(note.chords for _bar, _place, note in tune.written()):
        raise Trouble(_("{tune} has no chord symbols. Leave --chords out, or give a score that has some.").format(
                          tune=options.tune))
    habits = Habits(verses_under=options.verses == "under", chords=options.chords)
    return partial(encode, with_solfa(tune) if options.words == "solfa" else tune, pitch_only=options.pitch_only,
                   contracted=options.contracted, words=options.words != "none",
                   language=WordLanguage(options.language_of_words), habits=habits)


def _together(options: argparse.Namespace) -> Callable[..., BraillePage]:
    """What writes several parts. The two staves of a piano are its hands; one voice with them is the solo."""
    from functools import partial

    from companion.braille import Hand, Part, WordLanguage, encode_parts
    from companion.errors import Trouble
    from companion.tune import load_parts, with_solfa

    if options.chords:
        raise Trouble(_("Chord symbols are written below one part alone. Leave --chords or --together out."))
    loaded = load_parts(options.tune, options.part or "all")
    voices = [part for part in loaded if not part.staff]
    alone = Hand.SOLO if len(voices) == 1 < len(loaded) else Hand.VOICE
    hands = [Hand.RIGHT, Hand.LEFT] if len(loaded) - len(voices) == 2 else [Hand.VOICE] * len(loaded)
    parts = []
    for part in loaded:
        tune = with_solfa(part.tune) if options.words == "solfa" and not part.staff else part.tune
        parts.append(Part(part.name, tune, hands.pop(0) if part.staff else alone))
    return partial(encode_parts, parts, bar_over_bar=options.together == "bars", words=options.words != "none",
                   language=WordLanguage(options.language_of_words))
