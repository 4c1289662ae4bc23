"""Words in uncontracted UEB, against liblouis (en-ueb-g1.ctb); contracted words through liblouis."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from companion.braille import encode, to_dots
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
                                  "Ångström", "garçon (yes)", "and/or", "co-op", "R&B", "3-4", "1,5", "120.8-a", "8-a/b", "2:a",
                                  "[a]", "50%"])
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


#: UEB 4.2 (strokes, breve, caron), 4.3 (ligatures, ß), 7.1 and 7.6 (marks of other languages); liblouis has them too.
LETTERS = ["süß", "groß", "GROß", "GROẞ", "cœur", "CŒUR", "Œuvre", "ÆTHER", "æon", "Ærø", "Łódź", "łał", "KØB", "smørrebrød",
           "Đorđe", "čáp", "Žal", "Şu", "ħajja", "ðe", "þing", "3œ", "«oui»", "¿qué?", "¡ay!", "a_b@c", "{x} 50°", "“Ach”"]


@needs_louis
@pytest.mark.parametrize("text", LETTERS)
def test_letters_of_other_languages_equal_liblouis(text: str) -> None:
    assert words(text) == translate(text, G1)
    assert read_words(words(text)) == text


def test_strokes_ligatures_and_the_sharp_s() -> None:
    """UEB 4.2 and 4.3, by dots: they hold where liblouis is not."""
    assert to_dots(words("ß")) == "46-2346"
    assert to_dots(words("œ")) == "135-45-235-15"
    assert to_dots(words("æ")) == "1-45-235-15"
    assert to_dots(words("ø")) == "4-16-135"
    assert to_dots(words("ł")) == "4-16-123"


def test_quotation_marks_go_by_what_they_do() -> None:
    """UEB 7.6.2: opening and closing, whatever their form in print."""
    assert words("„Ach“") == words("“Ach”")
    assert read_words(words("„Ach“, so?")) == "“Ach”, so?"


@pytest.mark.parametrize("letter", ["П", "ő", "ę", "ș", "日"])
def test_a_letter_without_a_sign_is_named(letter: str) -> None:
    for write in (words, contracted):
        with pytest.raises(Trouble, match=f"“{letter}”, which has no sign"):
            write(f"la {letter}a")
    tune = load("snail-wall")
    with pytest.raises(Trouble, match=f"“{letter}”"):
        encode(replace(tune, title=f"Tune {letter}"))


def test_what_has_no_ink_is_no_letter() -> None:
    """Soft hyphens, joiners and other spaces, as word processors leave them."""
    assert words("so\u00adlo\u200b\u00a0mio") == words("solo mio")


_CASES = [w for base in ("abc", "abcd", "ao'bc", "ab-cd", "ab cd") for bits in range(2 ** len(base))
          if (w := "".join(c.upper() if bits >> k & 1 else c for k, c in enumerate(base))) == w]


@needs_louis
def test_capitals_in_every_place_equal_liblouis() -> None:
    """UEB 8.3 to 8.5: one capital, a word of them, the end of them within a word; read back the same."""
    for text in dict.fromkeys(_CASES):
        if not re.search("[A-Z]{2}[-' ][A-Z]{2}|[A-Z]{2}['-]", text):  # passages and words joined by hyphens: by their parts here
            assert words(text) == translate(text, G1), text
        assert read_words(words(text)) == text


@needs_louis
@pytest.mark.parametrize("form", ["3{}", "12{}x", "3.{}", "{}3", "3-{}", "3,{}", "3{}4"])
def test_letters_beside_figures_equal_liblouis(form: str) -> None:
    """UEB 5.6 and 6.3: a to j after a figure need the letter sign, k to z do not."""
    for letter in "abcdefghijklmnopqrstuvwxyz":
        for text in (form.format(letter), form.format(letter.upper())):
            assert words(text) == translate(text, G1), text
            assert read_words(words(text)) == text


@pytest.mark.parametrize("text", ["“Oh”", "a “b” c", "(“Oh”)", "—“Oh”", "“Oh, “no”, so”", "Why? Who?", "why?”", "“Why?” he said",
                                  "-“a”", "a?b", "[“x”]"])
def test_quotation_marks_and_questions_share_their_cells(text: str) -> None:
    """UEB 7.5 and 7.6: dots 236 open where a word begins and ask where it ends."""
    assert read_words(words(text)) == text


def test_a_letter_after_a_figure_has_its_sign() -> None:
    """UEB 6.5: the grade 1 indicator (56) before a to j, which would be read as figures; k and the others need none."""
    for letter, cells in (("a", "56-1"), ("j", "56-245"), ("k", "13")):
        assert to_dots(words(f"1{letter}")) == f"3456-1-{cells}"
        assert read_words(words(f"1{letter}")) == f"1{letter}"
