"""`companion demo`: the main job on a take that ships."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))
    parser.add_argument("--sound", metavar="FILE",
                        help=_("where to save the spoken cue and its glides (the temporary folder if not given)"))
    parser.add_argument("--american", action="store_true", help=_("American names (quarter note, measure)"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.lesson import demo_answer, demo_lines, save_cue

    if options.sound:
        from companion.audio import check_name

        check_name(options.sound)
    language = options.language
    found = demo_answer()
    if options.json:
        if options.sound:
            save_cue(language, found, options.sound)
        print(json.dumps(found.as_json(language), ensure_ascii=False))
        return 0
    lines = demo_lines(language, found, options.sound)  # saves the sound, before anything is printed: nobody may read it
    print(_("A child sings Snail on the wall; the take and the tune ship with this program."), *lines, sep="\n")
    return 0
