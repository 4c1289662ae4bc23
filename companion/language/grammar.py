"""A small grammar: rules of words and slots, matched against the whole of what was typed, or not at all.

A rule is written as its words, separated by spaces: `a|b` is one of several words, `[...]` may be left out, `(... | ...)` is
one of several, NAME is a slot or the name of other rules, `label=NAME` gives its value another label, `NAME+` is one or
more of them with a comma or a joining word between. Matching tries every way (backtracking), the longest first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

Bindings = dict[str, Any]


@dataclass(frozen=True)
class Token:
    """A word, number or sign in small letters. start: where it stands in the text. apart: punctuation stands before it."""

    text: str
    start: int
    apart: bool = False


@dataclass(frozen=True)
class Typed:
    """What was typed, and its tokens."""

    text: str
    tokens: tuple[Token, ...]


#: Reads a slot: all ways to read a value from token `at` on, as (the token after it, the value).
Slot = Callable[[Typed, int], Iterator[tuple[int, Any]]]
_TOKEN = re.compile(r"\d+/\d+|\d+|[^\W\d_]+(?:['’][^\W\d_]+)*|[#♯♭]|-|[^\w\s]")
_APART = ",;:.!?()\""


def tokens_of(text: str, contractions: Mapping[str, str], parts: Callable[[str], Sequence[str]]) -> Typed:
    """The tokens of a text. contractions: words and what they stand for. parts: a word, or the parts that it is read as."""
    out: list[Token] = []
    apart = False
    for found in _TOKEN.finditer(text):
        word = found[0].lower().replace("’", "'")
        if word in _APART:
            apart = True
            continue
        for k, part in enumerate(part for piece in contractions.get(word, word).split() for part in parts(piece)):
            out.append(Token(part, found.start(), apart and k == 0))
        apart = False
    return Typed(text, tuple(out))


@dataclass(frozen=True)
class _Node:
    """Part of a rule. kind: word, slot, all (of parts, in order), any (one of parts). optional: may be left out."""

    kind: str
    words: tuple[str, ...] = ()
    label: str = ""
    several: bool = False
    parts: tuple[_Node, ...] = ()
    optional: bool = False


@cache
def _parse(text: str) -> _Node:
    node, rest = _sequence(re.findall(r"[\[\]()]|(?<= )\|(?= )|[^\s\[\]()]+", text))
    assert not rest, text
    return node


def _leaf(part: str) -> _Node:
    label, _, name = part.rpartition("=")
    if not re.fullmatch(r"[A-Z]+\+?", name):
        return _Node("word", (part,))
    plain = name.rstrip("+")
    return _Node("slot", (plain,), label or plain.lower(), name.endswith("+"))


def _sequence(parts: list[str]) -> tuple[_Node, list[str]]:
    ways: list[_Node] = []
    here: list[_Node] = []
    while parts and parts[0] not in ("]", ")"):
        part, *parts = parts
        if part == "|":
            ways.append(_Node("all", parts=tuple(here)))
            here = []
        elif part in ("[", "("):
            inner, parts = _sequence(parts)
            parts = parts[1:]
            here.append(_Node("all", parts=(inner,), optional=part == "["))
        else:
            names = part.split("|")
            here.append(_Node("any", parts=tuple(_leaf(x) for x in names)) if len(names) > 1 else _leaf(part))
    last = _Node("all", parts=tuple(here))
    return (_Node("any", parts=(*ways, last)) if ways else last), parts


@dataclass
class Grammar:
    """rules: by name, each with what it adds to the values found. slots: by name. joining: words between several things.

    reached: the furthest token that any rule came to in the last match, and the index of the rule.
    """

    rules: Mapping[str, Sequence[tuple[str, Mapping[str, Any]]]]
    slots: Mapping[str, Slot]
    joining: tuple[str, ...]
    reached: tuple[int, int] = (-1, -1)
    _parsed: dict[str, list[tuple[_Node, Mapping[str, Any]]]] = field(default_factory=dict)
    _rule: int = -1
    _read: dict[tuple[str, int], list[tuple[int, Any]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._parsed = {name: [(_parse(text), adds) for text, adds in rules] for name, rules in self.rules.items()}

    def matches(self, name: str, typed: Typed) -> Iterator[list[Bindings]]:
        """Every way to read all of what was typed as one or more of a rule's kind, in order."""
        self.reached, self._read = (-1, -1), {}
        for end, found in self._several(name, typed, 0, top=True):
            if end == len(typed.tokens):
                yield found

    def _several(self, name: str, typed: Typed, at: int, top: bool = False) -> Iterator[tuple[int, list[Any]]]:
        for end, one in self._slot(name, typed, at, top):
            for start in self._joined(typed, end):
                for last, others in self._several(name, typed, start, top):
                    yield last, [one, *others]
            yield end, [one]

    def _joined(self, typed: Typed, at: int) -> Iterator[int]:
        """Where the next of several things may begin: after joining words, or after punctuation."""
        start = at
        while start < len(typed.tokens) and typed.tokens[start].text in self.joining:
            start += 1
        if start < len(typed.tokens) and (start > at or typed.tokens[at].apart):
            yield start

    def _slot(self, name: str, typed: Typed, at: int, top: bool = False) -> Iterator[tuple[int, Any]]:
        if top:
            for k, (node, adds) in enumerate(self._parsed[name]):
                self._rule = k
                for end, found in self._match(node, typed, at):
                    yield end, {**found, **adds}
            return
        if (name, at) not in self._read:  # what stands at a token is asked for by many rules
            self._read[name, at] = list(
                self.slots[name](typed, at) if name in self.slots else
                ((end, {**found, **adds}) for node, adds in self._parsed[name] for end, found in self._match(node, typed, at)))
        for end, value in self._read[name, at]:
            self._reach(end)
            yield end, value

    def _reach(self, at: int) -> None:
        if at > self.reached[0]:
            self.reached = (at, self._rule)

    def _match(self, node: _Node, typed: Typed, at: int) -> Iterator[tuple[int, Bindings]]:
        if node.kind == "word":
            if at < len(typed.tokens) and typed.tokens[at].text in node.words:
                self._reach(at + 1)
                yield at + 1, {}
        elif node.kind == "slot":
            read = self._several if node.several else self._slot
            for end, value in read(node.words[0], typed, at):
                yield end, {node.label: value}
        elif node.kind == "any":
            for part in node.parts:
                yield from self._match(part, typed, at)
        else:
            yield from self._all(node.parts, typed, at)
        if node.optional:
            yield at, {}

    def _all(self, parts: Sequence[_Node], typed: Typed, at: int) -> Iterator[tuple[int, Bindings]]:
        if not parts:
            yield at, {}
            return
        for end, found in self._match(parts[0], typed, at):
            for last, others in self._all(parts[1:], typed, end):
                yield last, {**found, **others}
