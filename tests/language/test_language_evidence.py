"""The evidence for one verdict: which move is meant, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_matches import made_line as line
from made_matches import made_match

from companion.errors import Trouble
from companion.language import English, Variety, evidence_lines, move_line, move_meant, move_name
from companion.match import Doubt, MoveEvidence, Verdict
from companion.tune import load

BRITISH, AMERICAN = English(Variety.BRITISH), English(Variety.AMERICAN)
KNOWN = MoveEvidence((0.02, 0.14), (0.4, 0.3), 0.031, 0.011, 0.958, 0.97, 0.12, None)


@pytest.mark.parametrize("typed", [
    "4", "4 to 5", "4-5", "note 4 to 5", "Note 4 to 5:", "to 'wall'", "to wall", "wall", "from 'the' to 'wall'", "the to wall",
    "From “the” to “Wall”", "from the fourth note to the fifth"])
def test_a_move_is_meant_by_its_number_or_its_words(typed: str) -> None:
    notes = line("Snail", "on", "upon", "the", "wall", "creeps", "by")
    assert move_meant(BRITISH, notes, typed) == 3


def test_every_move_is_meant_by_what_the_cue_and_the_lines_call_it() -> None:
    """Whatever `hear` says can be typed back, in every tune that ships and in a phrase of it, whose numbers go on."""
    for name in ("snail-wall", "two-octaves-meet", "lantern"):
        for language in (BRITISH, AMERICAN):
            for notes in (load(name).line(), load(name).phrase(max(n.phrase for n in load(name).line()))):
                for i, move in enumerate(made_match(notes).moves):
                    said = move_line(language, move).partition(". ")[2].partition(":")[0]
                    assert move_meant(language, notes, said) == i
                    assert move_meant(language, notes, move_name(language, notes, i)) == i


def test_a_word_that_comes_again_and_one_that_is_not_there_are_said() -> None:
    notes = line("on", "the", "wall", "on", "the", "tree")
    assert move_meant(BRITISH, notes, "to the second 'the'") == 3
    with pytest.raises(Trouble) as several:
        move_meant(BRITISH, notes, "to 'the'")
    assert str(several.value) == (
        "There are several moves \"to 'the'\". Give the number of the note that yours goes from: 1 or 4.")
    with pytest.raises(Trouble) as none:
        move_meant(BRITISH, notes, "6")
    assert str(none.value) == ("There is no move '6' here. Give the number of the note that it goes from, 1 to 5, or its words, "
                               "as in \"to the first 'the'\".")
    with pytest.raises(Trouble, match="one note and no move"):
        move_meant(BRITISH, notes[:1], "1")


def test_the_evidence_is_said_in_plain_lines() -> None:
    match = made_match(line("Snail", "wall", "creep", pitches="CED"), {1: Verdict.WRONG}, shift=-3.25)
    match = replace(match, evidence=(KNOWN, KNOWN))
    assert evidence_lines(BRITISH, match, 0) == [
        "Right. Note 1 to 2: the tune goes up, heard up.",
        "Of a hundred verdicts as clear as this one 90 are right.",
        "Written: 4 semitones up. Sung: 4.0 semitones up, give or take 0.2.",
        "Note 1, 'Snail': A, third octave, 25 cents low, from 0.00 to 0.50 seconds. Half of it lies within 2 cents.",
        "Note 2, 'wall': C sharp, fourth octave, 25 cents low, from 0.50 to 1.00 seconds. Half of it lies within 14 cents.",
        "Chances in a hundred: up 3, level 1, down 96.",
        "That the two notes lie where they were found: 97 in a hundred.",
        "To judge it by ear, listen from 0.0 to 1.0 seconds."]
    assert evidence_lines(BRITISH, match, 1)[0].startswith("Not that way. ")
    assert evidence_lines(AMERICAN, match, 0)[2] == "Written: 4 half steps up. Sung: 4.0 half steps up, give or take 0.2."


def test_of_a_note_that_was_left_out_nothing_is_said_that_was_not_measured() -> None:
    match = replace(made_match(line("a", "b", "c"), left_out=[1]), evidence=(MoveEvidence(), MoveEvidence()))
    assert evidence_lines(BRITISH, match, 0) == [
        "Not sure. Note 1 to 2: the tune goes up; what was sung there is not clear.",
        "Not judged, because one of the two notes was not heard.",
        "Written: 2 semitones up. Sung: not known.",
        "Note 1, 'a': A, third octave, 30 cents low, from 0.00 to 0.50 seconds.",
        "Note 2, 'b': not heard.",
        "To judge it by ear, listen from 0.0 to 0.5 seconds."]


@pytest.mark.parametrize("doubt", Doubt)
def test_every_doubt_has_its_sentence(doubt: Doubt) -> None:
    match = made_match(line("a", "b"), {0: Verdict.UNSURE})
    said = evidence_lines(BRITISH, replace(match, evidence=(replace(KNOWN, doubt=doubt),)), 0)[1]
    assert said.startswith(("Not sure, because ", "Not judged, because "))
    assert said.endswith(".")
