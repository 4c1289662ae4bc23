"""Words in uncontracted UEB, against liblouis (en-ueb-g1.ctb); contracted words through liblouis."""

import re
from pathlib import Path

import pytest

from companion.braille import encode
from companion.braille.louis import library, translate
from companion.braille.text import contracted, read_words, words
from companion.errors import Trouble
from companion.tune import load, shipped_names

needs_louis = pytest.mark.skipif(library() is None, reason="liblouis is not on this machine")
G1 = "en-ueb-g1.ctb"


@needs_louis
def test_texts_that_ship_equal_liblouis() -> None:
    for name in shipped_names():
        tune = load(name)
        sung = ""
        for n in tune.line():
            sung += n.syllable + ("" if n.word_place in ("begin", "middle") else " ")
        for text in (tune.title, sung.strip()):
            assert words(text) == translate(text, G1), text


@needs_louis
def test_english_words_equal_liblouis() -> None:
    """More than 500 words (of the licence, which is long), each as it is, with capitals, apostrophe, number and
    accent."""
    text = (Path(__file__).parents[2] / "LICENSE").read_text(encoding="utf-8")
    found = list(dict.fromkeys(re.findall(r"[A-Za-z'’-]+|\d+", text)))
    assert len(found) > 500
    for word in found:
        for form in (word, word.capitalize(), word.upper(), f"{word}'s", f"{word}7", f"{word},",
                     word.replace("e", "é"), word.replace("u", "ü").replace("a", "à"), f"“{word}!”"):
            assert words(form) == translate(form, G1), form


@needs_louis
@pytest.mark.parametrize("text", ["McDonald's", "NASA's", "ABCdef", "LPs", "O'BRIEN", "2B or not 2b", "à la mañana",
                                  "Ångström", "garçon (yes)", "and/or", "co-op", "R&B", "3-4", "1,5", "[a]", "50%"])
def test_hard_cases_equal_liblouis(text: str) -> None:
    assert words(text) == translate(text, G1)
    assert read_words(words(text)) == text


@needs_louis
def test_contracted_words() -> None:
    """UEB 10: "the" is one cell, "and" one, "knowledge" a single letter."""
    assert contracted("the") == "⠮"
    assert contracted("and") == "⠯"
    assert contracted("knowledge") == "⠅"
    page = encode(load("snail-wall"), contracted=True)
    plain = encode(load("snail-wall"))
    assert len(page.lines[2]) < len(plain.lines[2])
    assert [line for line in page.lines if line.startswith("⠀⠀⠐")] == [
        line for line in plain.lines if line.startswith("⠀⠀⠐")]


def test_without_liblouis_a_sentence_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("companion.braille.louis.library", lambda: None)
    with pytest.raises(Trouble, match=r"needs liblouis.*packages liblouis20 and liblouis-data"):
        contracted("never translated before")


def test_words_without_liblouis() -> None:
    """UEB rulebook, by hand: capital word 8.4, numeric mode 6.1, grade 1 sign after a number 5.6, accents 4.2."""
    assert words("Up") == "⠠⠥⠏"
    assert words("NO") == "⠠⠠⠝⠕"
    assert words("3a") == "⠼⠉⠰⠁"
    assert words("é") == "⠘⠌⠑"
