"""A command's options: read from what was typed, wrong use said in plain sentences, help as plain lines.

argparse sets its help in two columns, which leave a braille line of 40 cells half empty and are read aloud as one broken
line; here each thing that can be given has a line of its own, its name first.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from companion.errors import Trouble
from companion.messages import _

if TYPE_CHECKING:
    from companion.language import Language
    from companion.paper import PageSize


class Parser(argparse.ArgumentParser):
    """Options of one command. example: how it may be typed, after its name.

    `parse` raises Trouble for wrong use. argparse would raise sentences of its own; each of its steps that can fail is
    overridden, so that what is wrong is known as a fact and said in the language that was chosen.
    """

    def __init__(self, program: str, description: str, example: str, language: Language) -> None:
        super().__init__(prog=program, description=description, exit_on_error=False, allow_abbrev=False)
        self.example, self.language = example, language
        self._given: set[int] = set()

    def parse(self, arguments: Sequence[str]) -> argparse.Namespace:
        """The options in what was typed. Raises Trouble, one sentence of what was wrong and one of what to do."""
        self._given = set()
        try:
            options, unknown = self.parse_known_args(arguments)
        except argparse.ArgumentError as error:
            if error.argument_name is None:  # from Python 3.13 on what is missing is raised, and `error` is not called
                self.error(str(error))
            # All that is left to argparse is a value after an option that takes none, as in --json=1.
            name = error.argument_name or ""
            value = next((a.partition("=")[2] for a in arguments if a.startswith(f"{name}=")), "")
            raise self._wrong(_("{name} takes nothing after it, not {value!r}.").format(name=name, value=value)) from None
        if unknown:
            raise self._wrong(_("This is not known here: {words}.").format(words=" ".join(unknown)))
        return options

    def _wrong(self, sentence: str) -> Trouble:
        return Trouble(_("{sentence} {program} --help says what can be given.").format(sentence=sentence, program=self.prog))

    # --- the steps of argparse that can fail ---

    def _get_values(self, action: argparse.Action, arg_strings: list[str]) -> Any:
        self._given.add(id(action))
        return super()._get_values(action, arg_strings)

    def _get_value(self, action: argparse.Action, arg_string: str) -> Any:
        read: Callable[[str], Any] | Any = action.type or str
        try:
            return read(arg_string)
        except (ValueError, TypeError):
            template = _("{name} takes a whole number, not {value!r}.") if read is int else \
                _("{name} takes a number, not {value!r}.")
            raise self._wrong(template.format(name=_name(action), value=arg_string)) from None

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        choices: Iterable[Any] | None = action.choices
        if choices is not None and value not in choices:
            if not action.option_strings:
                template = _("{name} takes one of {choices}, not {value!r}. Write it as in {example}.")
                raise Trouble(template.format(name=_name(action), choices=", ".join(map(repr, choices)), value=value,
                                              example=f"{self.prog} {self.example}"))
            raise self._wrong(_("{name} takes one of {choices}, not {value!r}.").format(
                                  name=_name(action), choices=", ".join(map(repr, choices)), value=value))

    def _match_argument(self, action: argparse.Action, arg_strings_pattern: str) -> int:
        try:
            return super()._match_argument(action, arg_strings_pattern)
        except argparse.ArgumentError:
            template = _("{name} wants {n} things after it.") if isinstance(action.nargs, int) else \
                _("{name} wants something after it.")
            raise self._wrong(template.format(name=_name(action), n=action.nargs)) from None

    def error(self, message: str) -> NoReturn:
        """Called by argparse where something that has to be given was left out; its own sentence is not used."""
        left_out = [a for a in self._actions if a.required and id(a) not in self._given]
        example = f"{self.prog} {self.example}"
        if len(left_out) == 1:
            what = self._get_formatter()._expand_help(left_out[0])
            raise Trouble(_("{argument} is missing: {what}. Write it as in {example}.").format(
                              argument=self._written(left_out[0]), what=what, example=example))
        raise Trouble(_("{arguments} are missing. Write it as in {example}.").format(
                          arguments=self.language.listed([self._written(a) for a in left_out]), example=example))

    # --- help ---

    def format_help(self) -> str:
        expand = self._get_formatter()._expand_help
        given = [a for a in self._actions if not a.option_strings]
        options = [a for a in self._actions if a.option_strings and a.dest != "help"]
        needed = [self._written(a) for a in given + options if a.required]
        usage = " ".join([self.prog, *needed])
        template = _("Use: {usage}, and any of the others below.") if len(needed) < len(given) + len(options) else \
            _("Use: {usage}.")
        lines = [str(self.description), "", template.format(usage=usage), ""]
        for action in given + options:
            template = _("{argument}: {what}. May be left out.") if action in given and not action.required else \
                _("{argument}: {what}. Has to be given.") if action in options and action.required else \
                _("{argument}: {what}.")
            lines.append(template.format(argument=self._written(action), what=expand(action).rstrip(". ")))
        return "\n".join(lines) + "\n"

    def _written(self, action: argparse.Action) -> str:
        """How an argument is written: "TAKE", "--tune TUNE", "--as cells, ascii or dots"."""
        from companion.language import Joining

        names = ", ".join(action.option_strings)
        if action.nargs == 0:
            return names
        if isinstance(action.metavar, tuple):
            value = " ".join(action.metavar)
        elif action.metavar is None and action.choices:
            value = self.language.listed([str(choice) for choice in action.choices], Joining.OR)
        else:
            value = str(action.metavar or action.dest.upper())
        return f"{names} {value}".strip()


def _name(action: argparse.Action) -> str:
    """An option or argument by its name alone: "--tune", "TAKE"."""
    return "/".join(action.option_strings) or str(action.metavar or action.dest)


def tracker_argument(parser: argparse.ArgumentParser) -> None:
    """The option --tracker, of every command that finds the pitch of a recording.

    The names are not listed as choices, since looking for them would import NumPy before help is printed; `companion.ear`
    says which there are.
    """
    parser.add_argument("--tracker", metavar="NAME", default="companion",
                        help=_("what finds the pitch in a sound file: companion, unless you say librosa, to check a result "
                               "with it"))


def part_argument(parser: argparse.ArgumentParser) -> None:
    """The option --part, of every command that is given a tune as a file."""
    parser.add_argument("--part", metavar="PART",
                        help=_("which part of a score with several, by number or name; top, or top after it, for the highest of "
                               "notes that sound at once"))


def page_arguments(parser: argparse.ArgumentParser) -> None:
    """The options for the size of a braille page, of every command that writes one."""
    parser.add_argument("--width", type=int, metavar="N", help=_("cells in a line of braille, 12 to 120 (40)"))
    parser.add_argument("--height", type=int, metavar="N", help=_("lines on a braille page, 4 or more (25)"))
    parser.add_argument("--left", type=int, metavar="N", help=_("empty cells before each line, besides the width (0)"))
    parser.add_argument("--top", type=int, metavar="N", help=_("empty lines above each page, besides the height (0)"))
    parser.add_argument("--paper", metavar="NAME",
                        help=_("the width, height and margins that were kept under this name; what is given besides comes before "
                               "them"))
    parser.add_argument("--keep-paper", metavar="NAME",
                        help=_("keep width, height and margins under this name, as my embosser, on this machine"))


def bar_numbers_argument(parser: argparse.ArgumentParser) -> None:
    """The option --bar-numbers, of every command that writes a tune's music as braille pages."""
    parser.add_argument("--bar-numbers", action="store_true", help=_("the number of a bar before each line that begins with one"))


def page_size_of(options: argparse.Namespace, quiet: bool = False) -> PageSize:
    """The size of a braille page that the options ask for, kept if they say so. quiet: that is not said. Raises Trouble."""
    from companion.paper import keep_size, page_size

    size = page_size(options.paper, options.width, options.height, options.left, options.top)
    if options.keep_paper is not None:
        path = keep_size(options.keep_paper, size)
        if not quiet:
            print(_("Paper {name} kept in {path}: {width} cells in a line, {height} lines on a page.").format(
                name=options.keep_paper, path=path, width=size.width, height=size.height))
    return size
