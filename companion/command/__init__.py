"""The command line: one file a command, and no musical thinking in it.

Exit codes: 0 done, 1 a fault of ours, 2 wrong use or unreadable input, 3 nothing sung could be found; ended by a signal,
128 and its number.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from companion import messages
from companion.errors import Trouble
from companion.messages import N_, _

if TYPE_CHECKING:
    from companion.language import Language

#: The language of a run without a pupil, by the name that the setting `variety` has for it.
LANGUAGE_VARIABLE = "COMPANION_LANGUAGE"

#: Command to what it does, in the order in which help lists them. Each is a module beside this file with
#: `arguments(parser)` and `run(options) -> int`; it is imported only when asked for, so that help is quick.
COMMANDS: dict[str, str] = {
    "page": N_("all of this in a browser, with large print, for screen readers too"),
    "guide": N_("how this is used: for teacher, helper and pupil, and on privacy for parents"),
    "demo": N_("show what this does, on a take that ships; needs no microphone, loudspeaker or argument"),
    "hear": N_("hold one sung take against a tune and say in one breath what went right and what to try"),
    "review": N_("hold each take of a list against its tune, and say a line for each"),
    "tunes": N_("list the tunes that ship, easiest first"),
    "lesson": N_("in the lesson: phrase by phrase, or the teacher's own line as the tune"),
    "practise": N_("at home: greeting, warm-up and what was set; no key needed, ends by itself"),
    "diary": N_("a pupil's week, settings, consent, what is set; export, or delete for good"),
    "braille": N_("write a tune in music braille"),
    "read": N_("read music braille back into notes, and say what is amiss in it"),
    "notate": N_("write down a sung take as a tune, and say what is unsure in it"),
    "exercises": N_("graded exercises from any tune, for embosser, large print and voice, answers apart"),
    "line": N_("the tune as a line to follow with the finger, for swell paper or embosser"),
    "wall": N_("a card with the hand's height for each note, in centimetres"),
    "course": N_("music braille and singing, stage by stage, for a pupil and an adult who learn together"),
    "drill": N_("one kind of question, from a stage or from any tune"),
    "sheet": N_("a stage, a tune, drills, a key or a week for embosser, large print or voice"),
}

#: For each command that wants something, how that may be typed.
EXAMPLES = {
    "hear": "song.wav --tune snail-wall", "review": "takes.csv", "practise": "Robin", "braille": "snail-wall",
    "read": "song.brf", "notate": "song.wav", "exercises": "snail-wall", "line": "snail-wall",
    "wall": "snail-wall --shoulder 98", "sheet": "tune snail-wall",
}

#: Commands that write what was sung or done by a pupil: their files are for their owner alone. What else holds a pupil is
#: asked for by these words.
PRIVATE = frozenset({"hear", "review", "lesson", "practise", "diary", "notate", "course", "page"})
PRIVATE_WORDS = frozenset({"--pupil", "week"})


def _help() -> str:
    lines = [_("companion COMMAND ..."), "",
             _("Hears which moves of a sung phrase went up, down or stayed as the tune does,\n"
               "and ties every note to its music braille cell."), "", _("Commands:")]
    lines += [_("{command}: {what}.").format(command=name, what=_(what)) for name, what in COMMANDS.items()]
    lines += ["", _("companion COMMAND --help tells more about one of them."),
              _("Exit codes: 0 done, 2 wrong use or unreadable input, 3 nothing sung found, 1 a fault of ours.")]
    return "\n".join(lines)


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return _("companion {version}").format(version=version("companion"))
    except PackageNotFoundError:
        return _("companion, run from its folder without being installed")


def _no_command(name: str) -> Trouble:
    import difflib

    near = difflib.get_close_matches(name, COMMANDS, 1)
    if near:
        return Trouble(_("There is no command {name!r}. Did you mean {near}?").format(name=name, near=near[0]))
    return Trouble(_("There is no command {name!r}. companion --help lists the commands.").format(name=name))


def _run(arguments: list[str]) -> int:
    """What was asked for, done; its exit code."""
    american = "--american" in arguments
    if american:
        messages.use(messages.translations("en_US"))
    if not arguments:
        print(_("Begin with companion page: it opens in your browser, and all that this program can do is there.\n"
                "companion demo shows the main thing here, with no microphone, and companion --help lists the commands."))
        return 2
    if arguments[0] in ("-h", "--help", "help"):
        print(_help())
        return 0
    if arguments[0] == "--version":
        print(_version())
        return 0
    name = arguments[0]
    if name not in COMMANDS:
        raise _no_command(name)
    language = _language(american)  # not sooner: help says whole sentences, and is quick without what composes others
    module = importlib.import_module(f"companion.command.{name}")
    from companion.command.parser import Parser  # help has no need of these
    from companion.command.streams import input_encoding, visible_output

    sys.stdout = visible_output(sys.stdout, whole="--json" in arguments)
    if hasattr(sys.stdin, "reconfigure") and (encoding := input_encoding(sys.stdin)) != "utf-8":
        sys.stdin.reconfigure(encoding=encoding)
    parser = Parser(f"companion {name}", _("{what}.").format(what=language.capitalised(_(COMMANDS[name]))),
                    EXAMPLES.get(name, ""), language)
    module.arguments(parser)
    options = parser.parse(arguments[1:])
    options.language = language
    if name not in PRIVATE and not PRIVATE_WORDS & set(arguments):
        return int(module.run(options))
    before = os.umask(0o077)
    try:
        return int(module.run(options))
    finally:
        os.umask(before)


def _language(american: bool) -> Language:
    """The language of all that this run says: chosen here, once, and handed in to what speaks or writes."""
    from companion.language import Variety, choose_language

    return choose_language(Variety.AMERICAN if american else os.environ.get(LANGUAGE_VARIABLE) or Variety.BRITISH)


def _shown(text: str) -> str:
    from companion.places import shown  # with what writes files, which help has no need of

    return shown(text)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    # A program that started us may have closed these; what is then said goes nowhere, and is no fault.
    sys.stdin = sys.stdin or open(os.devnull, encoding="utf-8")  # noqa: SIM115
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    printed = sys.stdout
    from companion.command.signals import Ending

    try:
        with Ending() as ending:
            try:
                code = _run(arguments)
                sys.stdout.flush()
                return code
            except BaseException as error:
                if ending.code is None and not isinstance(error, KeyboardInterrupt):
                    raise
                # Whatever a library made of the interruption: somebody asked for it, and it is no fault.
                with suppress(OSError):  # a terminal that is closed hears nothing
                    print(_("Ended before it was done. What was saved before is kept."), file=sys.stderr, flush=True)
                return ending.code or 130
    except Trouble as trouble:
        print(_shown(str(trouble)), file=sys.stderr)
        return trouble.exit_code
    except BrokenPipeError:
        # The reader of our output went away (as `head` does): not a fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except OSError as error:
        from companion.places import not_written

        text = str(not_written(error)) if not error.filename else _(
            "{path} could not be opened: {reason}. Give another, or one that you may open.").format(
                path=error.filename, reason=(error.strerror or str(error)).lower())
        print(_shown(text), file=sys.stderr)
        return 2
    except Exception as error:
        if os.environ.get("COMPANION_DEBUG"):
            raise
        print(_shown(_("This is a fault of ours ({fault}: {error}); nothing saved was lost. Set COMPANION_DEBUG=1 and try again "
                       "to see where.").format(fault=type(error).__name__, error=error)), file=sys.stderr)
        return 1
    finally:
        sys.stdout = printed
