"""What is said back: one breath, the words of the song, one thing to try, nothing that was not heard."""

from __future__ import annotations

import pickle
import re
from dataclasses import replace

import pytest
from made_matches import made_line as line
from made_matches import made_match

from companion.language import (
    NOTHING_SUNG,
    English,
    Language,
    Variety,
    bare,
    count_line,
    cue_text,
    detail_lines,
    move_line,
    move_name,
    note_name,
    smaller_piece,
    start_line,
    try_again,
)
from companion.language.cues import MOST_WORDS
from companion.lesson import Answer, Reviewed, answer_lines, review_line
from companion.match import CueKind, Detail, Match, MissedSize, Verdict, advise, unjudged
from companion.places import shipped
from companion.tune import LineNote, Pitch, catalogue, load

BRITISH, AMERICAN = English(Variety.BRITISH), English(Variety.AMERICAN)


def cue(match: Match, language: Language = BRITISH) -> str:
    return cue_text(language, match, advise(match))


def one_wrong(notes: tuple[LineNote, ...], at: int, language: Language = BRITISH, counted: bool = True) -> str:
    match = made_match(notes, {at: Verdict.WRONG})
    return cue_text(language, match, advise(match), counted=counted)


# The wording itself: the directions are those of the brief (product.md, "How it speaks").

def test_all_right() -> None:
    assert cue(made_match(line("a", "b", "c", "d", "e", "f"))) == "All five right."
    assert cue(made_match(line("a", "b", "c"))) == "Both right."


@pytest.mark.parametrize(("pitches", "says"), [
    ("CD", "Right. You went up."), ("DC", "Right. You went down."), ("CC", "Right. You stayed.")])
def test_one_move_right_names_its_way(pitches: str, says: str) -> None:
    assert cue(made_match(line("snail", "wall", pitches=pitches))) == says


def test_one_thing_to_try() -> None:
    notes = line("Snail", "on", "the", "wall", "creep", "up")
    assert cue(made_match(notes, {2: Verdict.WRONG, 4: Verdict.WRONG})) == (
        "Three of five right. From 'the' to 'wall' the tune goes up. Listen.")


def test_all_wrong_says_what_went_well_all_the_same() -> None:
    wrong = dict.fromkeys(range(5), Verdict.WRONG)
    notes = line("", "", "", "", "", "")
    assert cue(made_match(notes, wrong)) == (
        "You sang all six notes. To the second note the tune goes up. Listen.")
    assert cue(made_match(notes[:2], wrong)).startswith("You sang both notes. ")
    assert cue(made_match(notes, {0: Verdict.WRONG, 1: Verdict.WRONG, 2: Verdict.WRONG}, left_out=[4])).startswith(
        "I heard five of six notes. "), "nothing is praised that was not heard"


def test_not_sure_says_what_to_sing_again() -> None:
    notes = line("", "", "", "", "", "")
    assert cue(made_match(notes, {1: Verdict.UNSURE, 2: Verdict.UNSURE})) == (
        "Three of five right. I did not catch the third note. Once more, please.")
    assert cue(made_match(notes, left_out=[2])) == (
        "Three of five right. I did not hear the third note. Once more, please.")
    assert cue(made_match(notes, dict.fromkeys(range(5), Verdict.UNSURE))) == (
        "I heard you sing, but could not follow. Once more, please.")


def test_nothing_and_one_note() -> None:
    notes = line("", "")
    assert cue(made_match(notes, left_out=[0, 1])) == NOTHING_SUNG
    assert cue(made_match(notes[:1])) == "That is the note."
    assert cue(Match(None, (), (), 0.0)) == NOTHING_SUNG


# Names of notes.

@pytest.mark.parametrize(("syllable", "word"), [
    ("Snail—", "Snail"), ("wall…", "wall"), ("–creep", "creep"), ("“don't,”", "don't"), ("'hello'", "hello"),
    ("‘Snail", "Snail"), ("wall.’", "wall"), ("'tis", "'tis"), ("go‿on", "go on"), ("-ing", "ing"), ("—", ""),
    ("…", ""), ("'", ""), ("[[x]]", "x"), (" up\n", "up"), ("«la»", "la"), ("up!?", "up"), ("", "")])
def test_a_syllable_without_its_punctuation(syllable: str, word: str) -> None:
    assert bare(syllable) == word


def test_no_quotation_marks_inside_the_same_ones() -> None:
    assert BRITISH.quoted("snail") == "'snail'"
    assert BRITISH.quoted("don't") == '"don\'t"'
    assert one_wrong(line("I", "don’t", "know"), 1) == (
        "One of two right. From \"don’t\" to 'know' the tune goes up. Listen.")


def test_words_in_syllables_are_said_whole() -> None:
    notes = line("lan-", "-tern", "but-", "-ter-", "-fly", "glow")
    assert [note_name(BRITISH, notes, i) for i in range(6)] == [
        "the first part of 'lantern'", "the second part of 'lantern'", "the first part of 'butterfly'",
        "the second part of 'butterfly'", "the third part of 'butterfly'", "'glow'"]
    assert "From the first to the second part of 'lantern' the" in one_wrong(notes, 0, counted=False)
    assert "From the third part of 'butterfly' to 'glow' the" in one_wrong(notes, 4, counted=False)


def test_words_that_come_again_are_counted() -> None:
    notes = line("creep", "creep", "lan-", "-tern", "Lan-", "-tern")
    assert "From the first 'creep' to the second the" in one_wrong(notes, 0)
    assert note_name(BRITISH, notes, 4) == "the first part of the second 'Lantern'"


@pytest.mark.parametrize("notes", [
    line("la", "", "lo", "li"),  # a note on which an earlier syllable is still sung
    line("la", "—", "lo", "li"),
    line("-tern", "glow", "for", "me"),  # its word began before
    line("glow", "lan-"),  # and here it ends after
    line("lan-", "glow", "la")])
def test_both_ends_of_a_move_have_one_kind_of_name(notes: tuple[LineNote, ...]) -> None:
    assert "From the first note to the second the" in one_wrong(notes, 0)


def test_far_into_a_line_notes_are_counted_in_their_bar() -> None:
    notes = line(*[""] * 16)
    assert note_name(BRITISH, notes, 8) == "the ninth note"
    assert note_name(BRITISH, notes, 9) == "the second note of bar three"
    assert note_name(AMERICAN, notes, 9) == "the second note of measure three"
    assert "From the ninth note to" not in one_wrong(notes, 8, counted=False)
    assert "From the first to the second note of bar three the" in one_wrong(notes, 8, counted=False)
    assert move_name(AMERICAN, notes, 11) == "from the fourth note of measure three to the first note of measure four"
    assert "To the first note of measure four the" in one_wrong(notes, 11, AMERICAN), "both are too long for one breath"


def test_a_bar_that_is_sung_twice_does_not_name_a_note() -> None:
    notes = line(*[""] * 12)
    again = tuple(replace(n, bar=1) if i >= 8 else n for i, n in enumerate(notes))
    assert note_name(BRITISH, again, 9) == "the tenth note"


def test_a_whole_line_of_words_on_one_note_is_no_name() -> None:
    assert note_name(BRITISH, line("all of the words of it", "la"), 0) == "the first note"


def test_places_beyond_twenty() -> None:
    assert [BRITISH.ordinal(n) for n in (1, 20, 21, 22, 23, 24, 111)] == [
        "first", "twentieth", "21st", "22nd", "23rd", "24th", "111th"]
    many = line(*[""] * 25)
    assert one_wrong(many, 0).startswith("23 of 24 right. "), "one kind of figure"


# One breath.

def sentences(say: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.])\s+", say) if s]


def breath(say: str) -> None:
    """One breath: few words, what went well and one thing to try. Sixteen words are 6.4 s at 150 words a minute."""
    assert len(say.split()) <= MOST_WORDS == 16, say
    assert len(sentences(say)) <= 3, say
    assert say.count("the tune") + say.count("Once more") <= 1, say
    assert "''" not in say
    assert "  " not in say
    assert not re.search(r"wrong|fail|bad|mistake|great|well done|!", say, re.I)


def cases_of(notes: tuple[LineNote, ...]) -> list[Match]:
    """Each move the other way, all moves, unclear ones, each note left out, and each place at which to stop."""
    moves = range(len(notes) - 1)
    cases = [made_match(notes), made_match(notes, dict.fromkeys(moves, Verdict.WRONG)),
             made_match(notes, dict.fromkeys(moves, Verdict.UNSURE))]
    cases += [made_match(notes, {i: verdict}) for i in moves for verdict in (Verdict.WRONG, Verdict.UNSURE)]
    cases += [made_match(notes, {}, range(i, i + n)) for i in moves for n in (1, 2)]
    return cases + [replace(made_match(notes, {}, range(i, len(notes))), stopped=True) for i in moves if i > 1]


def test_every_cue_over_every_shipped_tune_is_one_breath() -> None:
    """Whole tunes and phrases, counted and not; American cues have the same words but "measure", so as many."""
    for entry in catalogue():
        tune = load(entry.name)
        whole = tune.line()
        for notes in [whole, *[tune.phrase(p) for p in sorted({n.phrase for n in whole})]]:
            for match in cases_of(notes):
                advice = advise(match)
                said = cue_text(BRITISH, match, advice)
                breath(said)
                breath(cue_text(BRITISH, match, advice, counted=False))
                assert said.replace(" bar ", " measure ") == cue_text(AMERICAN, match, advice)
            for move in made_match(notes).moves:
                for language in (BRITISH, AMERICAN):
                    assert all(len(try_again(language, notes, move, times).split()) <= MOST_WORDS for times in (1, 2))


def test_another_tune_is_said_in_one_breath() -> None:
    titles = [e.title for e in catalogue()]
    absent = unjudged(made_match(line("a", "b", "c", "d", "e")))
    for title, better in [*zip(titles, reversed(titles), strict=True), ("", titles[0]), (titles[0], "")]:
        breath(cue_text(BRITISH, absent, advise(absent), title, better))
    assert cue_text(BRITISH, absent, advise(absent), "Snail on the wall") == (
        "I could not find 'Snail on the wall' in this recording.")
    assert cue_text(BRITISH, absent, advise(absent), "Snail on the wall", "Where the octaves meet") == (
        "I could not find 'Snail on the wall'. It sounds like 'Where the octaves meet'.")


def test_where_a_breath_is_too_short_names_are_shorter_and_then_nothing_is_counted() -> None:
    notes = line("lan-", "-tern", "lan-", "-tern", "glow", "glow", pitches="CDEFGG")
    assert one_wrong(notes, 0) == "Four of five right. From the first note to the second the tune goes up. Listen."
    assert one_wrong(notes, 0, counted=False) == (
        "From the first to the second part of the first 'lantern' the tune goes up. Listen.")
    assert one_wrong(notes, 3) == "Four of five right. To the first 'glow' the tune goes up. Listen."
    assert one_wrong(notes, 4) == "Four of five right. From the first 'glow' to the second the tune stays. Listen."
    assert one_wrong(line(*[""] * 40), 37) == "38 of 39 right. To the third note of bar ten the tune goes up. Listen."
    heard = made_match(notes, left_out=[1, 2])
    assert cue(heard) == "I did not hear the second note and one more. Once more, please."


def test_in_a_lesson_nothing_is_counted_but_what_is_all_right() -> None:
    notes = line("Snail", "on", "the", "wall", "creep", "up")

    def said(match: Match) -> str:
        return cue_text(BRITISH, match, advise(match), counted=False)

    assert said(made_match(notes)) == "All five right."
    assert said(made_match(notes, {2: Verdict.WRONG})) == "From 'the' to 'wall' the tune goes up. Listen."
    assert said(made_match(notes, left_out=[2])) == "I did not hear 'the'. Once more, please."
    assert said(made_match(notes, {1: Verdict.UNSURE, 2: Verdict.UNSURE, 3: Verdict.UNSURE})) == (
        "I could not follow all of it. Once more, please.")
    assert said(replace(made_match(notes, left_out=[4, 5]), stopped=True)) == "The first three right. You stopped at 'wall'."


@pytest.mark.parametrize("take", [
    pytest.param(p.name, marks=pytest.mark.slow) if p.stem.endswith(("another-tune", "noisy")) else p.name  # they take seconds
    for p in sorted(shipped("recordings").glob("*.flac"))])
def test_the_cue_of_every_shipped_take_is_one_breath(take: str) -> None:
    from companion.errors import NothingSung
    from companion.lesson import answer_take

    path = shipped("recordings") / take
    tune = next(e.name for e in catalogue() if take.startswith(e.name))
    try:
        found = answer_take(path, tune)
    except NothingSung:
        assert "too-noisy" in take, "in every other take something was sung"
        return
    breath(found.cue(BRITISH))
    assert (found.advice.kind == CueKind.ALL_RIGHT) == (found.match.counts[Verdict.RIGHT] == len(found.match.moves))
    assert (found.advice.move is not None) == (found.match.counts[Verdict.WRONG] > 0)


# What comes before and after.

def test_the_note_to_start_on() -> None:
    assert start_line(BRITISH, Pitch("G", 4)) == "Start on G."
    assert start_line(BRITISH, Pitch("B", 3, -1)) == "Start on B flat."
    assert start_line(BRITISH, Pitch("G", 4), -3.2) == "Start on E."
    assert start_line(BRITISH, Pitch("C", 4), 6) == "Start on F sharp."
    assert start_line(BRITISH, Pitch("F", 5, 1), 0.4) == "Start on F sharp.", "not moved, not respelled"


def test_a_smaller_piece_is_said_by_its_words() -> None:
    notes = line("Snail", "wall", "lan-", "-tern", "glow", "for", "me", "", "la")
    assert smaller_piece(BRITISH, notes[:2]) == "Just two notes now. Snail, wall."
    assert smaller_piece(BRITISH, notes[2:5]) == "Just three notes now. Lantern, glow."
    assert smaller_piece(BRITISH, notes[3:5]) == "Just two notes now.", "half a word is no word"
    assert smaller_piece(BRITISH, notes[3:5], notes) == "Just two notes now. The second part of 'lantern', then 'glow'."
    assert smaller_piece(BRITISH, notes[:7], notes) == "Just seven notes now. From 'Snail' to 'me'."
    assert smaller_piece(BRITISH, notes[6:8], notes) == "Just two notes now."
    assert smaller_piece(BRITISH, notes[:1]) == "Just one note now. Snail."


def test_every_verdict_and_direction_has_its_words() -> None:
    match = made_match(line("a", "b", "c", "d", "e", pitches="CDCCE"), {2: Verdict.WRONG, 3: Verdict.UNSURE})
    assert [move_line(BRITISH, m) for m in match.moves] == [
        "Right. Note 1 to 2: the tune goes up, heard up.", "Right. Note 2 to 3: the tune goes down, heard down.",
        "Not that way. Note 3 to 4: the tune stays, heard up.",
        "Not sure. Note 4 to 5: the tune goes up; what was sung there is not clear."]
    assert {m.verdict for m in match.moves} == set(Verdict)
    assert count_line(BRITISH, match.counts) == "2 of 4 moves as written, 1 not that way, 1 not sure."
    assert count_line(BRITISH, made_match(line("a", "b")).counts) == "1 of 1 move as written."
    assert count_line(BRITISH, made_match(line("a")).counts) == "One note, no move."


def test_in_a_review_nothing_is_said_twice() -> None:
    notes, tune = line("Snail", "on", "the", "wall"), load("snail-wall")

    def reviewed(match: Match) -> str:
        return review_line(BRITISH, Reviewed("a.wav", "x", Answer("a.wav", tune, "x", notes, match, advise(match))))

    assert reviewed(made_match(notes)) == "a.wav: All three right."
    assert reviewed(made_match(notes, {1: Verdict.WRONG})) == (
        "a.wav: 2 of 3 moves as written, 1 not that way. From 'on' to 'the' the tune goes up.")
    assert reviewed(made_match(notes, dict.fromkeys(range(3), Verdict.WRONG))) == (
        "a.wav: 0 of 3 moves as written, 3 not that way. You sang all four notes. From 'Snail' to 'on' the tune goes up.")
    assert reviewed(made_match(notes, left_out=[3])) == (
        "a.wav: 2 of 3 moves as written, 1 not sure. I did not hear 'wall'.")
    assert review_line(BRITISH, Reviewed(" ", "x", None, "No such file.")) == "No take: No such file."


def test_a_language_can_be_sent_to_another_process() -> None:
    again = pickle.loads(pickle.dumps(AMERICAN))
    assert one_wrong(line(*[""] * 16), 11, again) == one_wrong(line(*[""] * 16), 11, AMERICAN)


def test_details_in_british_and_american_terms() -> None:
    notes = line(*[""] * 12, pitches="CCEFCDEFGABC")
    detail = Detail(sizes=(MissedSize(10, 11, -1.2), MissedSize(2, 3, 1.0)), drift_cents=10)
    match = replace(made_match(notes, {0: Verdict.WRONG, 2: Verdict.WRONG}), detail=detail)
    assert detail_lines(BRITISH, match) == [
        "From the second to the third note of bar three the move was 1.2 semitones too small.",
        "From the second note to the third the move was 1 semitone too large.", "The key held.",
        "Not that way: 1 of 1 move that stays.", "Not that way: 1 of 2 semitones up."]
    american = "\n".join(detail_lines(AMERICAN, match))
    assert "measure three the move was 1.2 half steps too small." in american
    assert "1 of 2 half steps up." in american
    assert "semitone" not in american
    assert " bar " not in american


def test_many_moves_that_are_not_sure_are_named_in_one_line() -> None:
    tune = load("kite")
    made = made_match(tune.line(), {0: Verdict.UNSURE, 1: Verdict.UNSURE, 3: Verdict.WRONG, 5: Verdict.UNSURE})
    answer = Answer("made", tune, "kite", tune.line(), made, advise(made))
    wrong = move_line(BRITISH, made.moves[3])
    assert [x for x in answer_lines(BRITISH, answer) if x.startswith("Not")][:-len(tune.line())] == [
        wrong, "Not sure: notes 1 to 3 and 6 to 7."]
    assert [x for x in answer_lines(BRITISH, answer, more=True) if x.startswith(("Not sure. ", "Not that way. "))] == [
        move_line(BRITISH, made.moves[k]) for k in (0, 1, 3, 5)], "each by itself where more is asked for"
    two = made_match(answer.line, {0: Verdict.UNSURE, 5: Verdict.UNSURE})
    assert answer_lines(BRITISH, replace(answer, match=two, advice=advise(two)))[2:4] == [
        move_line(BRITISH, two.moves[0]), move_line(BRITISH, two.moves[5])]
