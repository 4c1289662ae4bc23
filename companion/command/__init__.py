"""The command line: one file a command, and no musical thinking in it.

Exit codes: 0 done, 1 a fault of ours, 2 wrong use or unreadable input, 3 nothing sung could be found.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

from companion.errors import Trouble

if TYPE_CHECKING:
    from companion.language import Language

#: Command to what it does, in the order in which help lists them. Each is a module beside this file with
#: `arguments(parser)` and `run(options) -> int`; it is imported only when asked for, so that help is quick.
COMMANDS = {
    "demo": "show what this does, on a take that ships; needs no microphone, loudspeaker or argument",
    "hear": "hold one sung take against a tune and say in one breath what went right and what to try",
    "review": "hold each take of a list against its tune, and say a line for each",
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


#: For each command that wants something, how that may be typed.
EXAMPLES = {
    "hear": "song.wav --tune snail-wall", "review": "takes.csv", "practise": "Robin", "braille": "snail-wall",
    "read": "song.brf", "notate": "song.wav", "exercises": "snail-wall", "line": "snail-wall",
    "wall": "snail-wall --shoulder 98", "sheet": "tune snail-wall",
}

_MISSING = "the following arguments are required: "
#: What argparse says about wrong use, and the same as a plain sentence.
_PLAIN = (
    (r"argument (.+?): invalid int value: (.+)", r"\1 takes a whole number, not \2"),
    (r"argument (.+?): invalid float value: (.+)", r"\1 takes a number, not \2"),
    (r"argument (.+?): invalid choice: (.+?) \(choose from (.+)\)", r"\1 takes one of \3, not \2"),
    (r"argument (.+?): expected one argument", r"\1 wants something after it"),
    (r"argument (.+?): ignored explicit argument (.+)", r"\1 takes nothing after it, not \2"),
    (r"unrecognized arguments: (.+)", r"This is not known here: \1"),
)


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors are one plain sentence, and whose help is plain lines.

    argparse sets its help in two columns, which leave a braille line of 40 cells half empty and are read
    aloud as one broken line; here each thing that can be given has a line of its own, its name first.
    """

    def error(self, message: str) -> NoReturn:
        if message.startswith(_MISSING):
            print(self._missing(message.removeprefix(_MISSING).split(", ")), file=sys.stderr)
            sys.exit(2)
        plain = next((re.sub(f"^{said}$", ours, message) for said, ours in _PLAIN if re.match(f"{said}$", message)),
                     message)
        print(f"{plain[:1].upper()}{plain[1:].rstrip('.')}. {self.prog} --help says what can be given.",
              file=sys.stderr)
        sys.exit(2)

    def _missing(self, names: list[str]) -> str:
        """What is wanted where arguments were left out, and how it may be typed."""
        left_out = [a for a in self._actions if set(a.option_strings or [str(a.metavar)]) & set(names)]
        called = " and ".join(map(_called, left_out))
        what = f": {self._get_formatter()._expand_help(left_out[0])}" if len(left_out) == 1 else ""
        example = f"{self.prog} {EXAMPLES[self.prog.split()[-1]]}"
        return f"{called} {'are' if len(left_out) > 1 else 'is'} missing{what}. Write it as in {example}."

    def format_help(self) -> str:
        expand = self._get_formatter()._expand_help
        given = [a for a in self._actions if not a.option_strings]
        options = [a for a in self._actions if a.option_strings and a.dest != "help"]
        needed = [_called(a) for a in given if a.nargs != "?"] + [_called(a) for a in options if a.required]
        others = ", and any of the others below" if len(needed) < len(given) + len(options) else ""
        lines = [str(self.description), "", f"Use: {' '.join([self.prog, *needed])}{others}.", ""]
        for action in given + options:
            may = " May be left out." if action in given and action.nargs == "?" else ""
            must = " Has to be given." if action in options and action.required else ""
            lines.append(f"{_called(action)}: {expand(action).rstrip('. ')}.{may}{must}")
        return "\n".join(lines) + "\n"


def _called(action: argparse.Action) -> str:
    """How an argument is written: "TAKE", "--tune TUNE", "--as cells, ascii or dots"."""
    names = ", ".join(action.option_strings)
    if action.nargs == 0:
        return names
    if isinstance(action.metavar, tuple):
        value = " ".join(action.metavar)
    elif action.metavar is None and action.choices:
        *firsts, last = map(str, action.choices)
        value = f"{', '.join(firsts)} or {last}" if firsts else last
    else:
        value = str(action.metavar or action.dest.upper())
    return f"{names} {value}".strip()


def _help() -> str:
    lines = ["companion COMMAND ...", "",
             "Hears which moves of a sung phrase went up, down or stayed as the tune does,",
             "and ties every note to its music braille cell.", "", "Commands:"]
    lines += [f"{name}: {what}." for name, what in COMMANDS.items()]
    lines += ["", "companion COMMAND --help tells more about one of them.",
              "Exit codes: 0 done, 2 wrong use or unreadable input, 3 nothing sung found, 1 a fault of ours."]
    return "\n".join(lines)


def _run(arguments: list[str]) -> int:
    """What was asked for, done; its exit code."""
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(_help())
        return 0 if arguments else 2
    if arguments[0] == "--version":
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"companion {version('companion')}")
        except PackageNotFoundError:
            print("companion, run from its folder without being installed")
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
    options = parser.parse_args(arguments[1:])
    options.language = _language(american=getattr(options, "american", False))
    return int(module.run(options))


def _language(american: bool) -> Language:
    """The language of all that this run says: chosen here, once, and handed in to what speaks or writes."""
    from companion.language import Variety, choose_language

    return choose_language(Variety.AMERICAN if american else Variety.BRITISH)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    # A program that started us may have closed these; what is then said goes nowhere, and is no fault.
    sys.stdin = sys.stdin or open(os.devnull, encoding="utf-8")  # noqa: SIM115
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        code = _run(arguments)
        sys.stdout.flush()
        return code
    except Trouble as trouble:
        print(" ".join(str(trouble).split()), file=sys.stderr)  # one line, whatever a file's name holds
        return trouble.exit_code
    except BrokenPipeError:
        # The reader of our output went away (as `head` does): not a fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        print(f"{error.filename} could not be opened: {reason}. Give another, or one that you may open."
              if error.filename else f"Writing the output failed: {reason}. Make room or choose another place.",
              file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        if os.environ.get("COMPANION_DEBUG"):
            raise
        print(f"This is a fault of ours ({type(error).__name__}: {error}); nothing saved was lost. "
              "Set COMPANION_DEBUG=1 and try again to see where.", file=sys.stderr)
        return 1
