"""The tunes that ship, a line each. The facts: `companion.tune.Entry`."""

from __future__ import annotations

from companion.language.interface import Language
from companion.tune import Entry, IntervalKind


def tune_line(language: Language, entry: Entry) -> str:
    """One plain line: the name by which it is typed, and what `tune_facts` says."""
    return language.message("{name}: {facts}").format(name=entry.name, facts=tune_facts(language, entry))


def tune_facts(language: Language, entry: Entry) -> str:
    """Notes, key, beats, reach, how many moves of each kind, and the first words."""
    line = language.message("{notes}, {key}, {beats} in a bar, {reach} from lowest to highest. Moves: {moves}.").format(
        key=language.key(entry.key),
        notes=language.plural("{n} note", "{n} notes", entry.notes).format(n=entry.notes),
        beats=language.plural("{n} beat", "{n} beats", entry.beats).format(n=entry.beats),
        reach=language.plural("{n} semitone", "{n} semitones", entry.reach).format(n=entry.reach),
        moves=", ".join(moves_by(language, kind, n) for kind, n in entry.moves.items() if n))
    return language.message("{line} Begins: {words}.").format(line=line, words=entry.words) if entry.words else line


def moves_explained(language: Language) -> str:
    """What the kinds of move are, for somebody who is no musician."""
    return language.message(
        "Of the moves: level stays on the note; a semitone is the smallest move up or down, a step is two of them, "
        "a skip three or four, and a leap more.")


def moves_by(language: Language, kind: IntervalKind, n: int) -> str:
    """So many moves of a kind: "3 by step"."""
    return {IntervalKind.LEVEL: language.message("{n} level"),
            IntervalKind.SEMITONE: language.message("{n} by semitone"),
            IntervalKind.STEP: language.message("{n} by step"),
            IntervalKind.SKIP: language.message("{n} by skip"),
            IntervalKind.LEAP: language.message("{n} by leap")}[kind].format(n=n)
