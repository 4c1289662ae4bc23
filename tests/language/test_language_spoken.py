"""What the speech engine is given, so that names of notes are said as such."""

import pytest

from companion.language import English


@pytest.mark.parametrize(("text", "said"), [
    ("F#4", "F sharp 4"), ("Bb3", "B flat 3"), ("E♭", "E flat"), ("C##5", "C double sharp 5"),
    ("Dbb2", "D double flat 2"), ("From C4 to F#4.", "From C 4 to F sharp 4."),
    ("Ebb and flow", "Ebb and flow"), ("Axe", "Axe"), ("Bb, then", "B flat, then"),
    ("A, fourth octave: dot 4", "[['eI]], fourth octave: dot 4"),
    ("A is one note lower.", "[['eI]] is one note lower."), ("Start on A.", "Start on [['eI]]."),
    ("Start on A flat.", "Start on [['eI]] flat."),
    ("A 4-year-old", "A 4-year-old"), ("A-flat", "[['eI]]-flat"), ("A minor", "[['eI]] minor"),
    ("A4", "[['eI]] 4"),
    ("Ab3", "[['eI]] flat 3"), ("That cell is A", "That cell is [['eI]]"), ("from A we go", "from [['eI]] we go"),
    ("A little closer, and sing again.", "A little closer, and sing again."),
    ("A palm's width.", "A palm's width."), ("I heard a note.", "I heard a note."), ("Add a", "Add a")])
def test_notes_are_called_by_their_names(text: str, said: str) -> None:
    assert English().spoken(text) == said
