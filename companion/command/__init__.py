"""The command line: one file a command, and no musical thinking in it.

Exit codes: 0 done, 1 a fault of ours, 2 wrong use or unreadable input, 3 nothing sung could be found.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from companion.errors import Trouble

#: Command to what it does, in the order in which help lists them. Each is a module beside this file with
#: `arguments(parser)` and `run(options) -> int`; it is imported only when asked for, so that help is quick.
COMMANDS = {
    "demo": "show what this does, on a take that ships; needs no microphone, loudspeaker or argument",
    "hear": "hold one sung take against a tune and say in one breath what went right and what to try",
    "review": "the same for a list of takes, a line each",
    "tunes": "list the tunes that ship, easiest first",
    "lesson": "in the lesson: phrase by phrase, or the teacher's own line as the tune",
    "practise": "at home: greeting, warm-up and what was set; no key needed, ends by itself",
    "diary": "a pupil's week, settings, consent, what is set; export, or delete for good",
    "braille": "write a tune in music braille",
    "read": "read music braille back into notes, and say what is amiss in it",
    "notate": "write down a sung take as a tune, and say what is unsure in it",
    "exercises": "graded exercises from any tune, for embosser, large print and voice, answers apart",
    "line": "the tune as a line to follow with the finger, for swell paper or embosser",
    "wall": "a card with the hand's height for each note, in centimetres",
    "course": "music braille and singing, stage by stage, for a pupil and an adult who learn together",
    "drill": "one kind of question, from a stage or from any tune",
    "sheet": "a stage, a tune, drills, a key or a week for embosser, large print or voice",
}


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors are one plain sentence."""

    def error(self, message: str) -> NoReturn:
        sentence = message[:1].upper() + message[1:]
        print(f"{sentence.rstrip('.')}. {self.prog} --help says what can be given.", file=sys.stderr)
        sys.exit(2)


def _help() -> str:
    lines = ["companion COMMAND ...", "",
             "Hears which moves of a sung phrase went up, down or stayed as the tune does,",
             "and ties every note to its music braille cell.", "", "Commands:"]
    lines += [f"{name}: {what}." for name, what in COMMANDS.items()]
    lines += ["", "companion COMMAND --help tells more about one of them.",
              "Exit codes: 0 done, 2 wrong use or unreadable input, 3 nothing sung found, 1 a fault of ours."]
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(_help())
        return 0 if arguments else 2
    if arguments[0] == "--version":
        from importlib.metadata import version

        print(f"companion {version('companion')}")
        return 0
    name = arguments[0]
    if name not in COMMANDS:
        import difflib

        near = difflib.get_close_matches(name, COMMANDS, 1)
        hint = f"Did you mean {near[0]}?" if near else "companion --help lists the commands."
        print(f"There is no command {name!r}. {hint}", file=sys.stderr)
        return 2
    module = importlib.import_module(f"companion.command.{name}")
    parser = Parser(prog=f"companion {name}", description=COMMANDS[name][:1].upper() + COMMANDS[name][1:] + ".")
    module.arguments(parser)
    try:
        code = module.run(parser.parse_args(arguments[1:]))
        sys.stdout.flush()
        return int(code)
    except Trouble as trouble:
        print(str(trouble), file=sys.stderr)
        return trouble.exit_code
    except BrokenPipeError:
        # The reader of our output went away (as `head` does): not a fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except OSError as error:
        print(f"Writing the output failed: {(error.strerror or str(error)).lower()}. "
              "Make room or choose another place.", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        if os.environ.get("COMPANION_DEBUG"):
            raise
        print(f"This is a fault of ours ({type(error).__name__}: {error}); nothing saved was lost. "
              "Set COMPANION_DEBUG=1 and try again to see where.", file=sys.stderr)
        return 1
