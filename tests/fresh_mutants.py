"""Sixty small changes that somebody who sings, teaches or helps would feel, made from the code alone by somebody who had not
seen the tests of these packages. Each is made in a copy of the project, and the default tests of its package must fail.

    python tests/fresh_mutants.py [PACKAGE | NUMBER ...]

Prints a line a change, "caught" or "SURVIVED", and a JSON object as its last line. What was caught at first sight stands in
tests/benchmarks/README.md.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]
LONGEST_S = 900.0  # of the tests of a package; a change that makes one of them hang is noticed too


class Mutant(NamedTuple):
    """A file below `companion/`, what stands there once, what it becomes, and what somebody feels of it."""

    file: str
    old: str
    new: str
    felt: str


MUTANTS: tuple[Mutant, ...] = (
    # --- match
    Mutant("match/advice.py", "return max(wrong, key=lambda m: (round(m.sure, 2), -m.start), default=None)",
           "return max(wrong, key=lambda m: (-round(m.sure, 2), -m.start), default=None)",
           "the least sure miss is the one to try"),
    Mutant("match/advice.py", "if m.end <= last]", "if m.start <= last]",
           "who stopped early is never told that it was right so far"),
    Mutant("match/details.py", "round(abs(m.sung_semitones) - abs(m.wanted_semitones), 1)",
           "round(m.sung_semitones - m.wanted_semitones, 1)", "a move down that was too large is called too small"),
    Mutant("match/details.py", "(off[j] - off[i])[good]", "(off[i] - off[j])[good]", "a voice that sinks is said to rise"),
    Mutant("match/sizes.py", "at_end = note.written.phrase != notes[i + 1].written.phrase", "at_end = False",
           "the last note of a phrase, held for a breath, is too long"),
    Mutant("match/sizes.py", "least, most = sorted((wanted * factor, float(wanted)))", "least = most = float(wanted)",
           "who shrinks all intervals a little is corrected at each"),
    Mutant("match/judge.py", "    if e.fault and not as_wanted:\n        return _call_of_fault(e, wanted, params)\n", "",
           "an octave slip of the tracker is the child's fault"),
    Mutant("match/take.py", "float(np.median(sung)) - QUIET_DB", "float(np.median(sung)) + QUIET_DB",
           "in noise a singer is said to have stopped"),
    Mutant("match/take.py", "moves = _never_wrong(moves, _where_it_joins(stretch, len(moves)))", "pass",
           "who begins again in another key went the wrong way there"),
    # --- braille
    Mutant("braille/encode.py", "if bar.key or bar.time or bar.forward_repeat or bar.ending or bar.after or bar.notes",
           "if bar.key or bar.time or bar.forward_repeat or bar.after or bar.notes",
           "an ending is lost in a bar repeat"),
    Mutant("braille/encode.py", 'out += sung if place in ("begin", "middle") else sung + " "',
           'out += sung if place == "begin" else sung + " "', "a word of three syllables is torn"),
    Mutant("braille/encode.py", "if title and tune.composer:", "if title and tune.composer and not tune.title:",
           "the composer is left out"),
    Mutant("braille/encode.py", "return S.NUMBER + number_cells(str(verse + 1)) + S.SPACE",
           "return S.NUMBER + number_cells(str(verse)) + S.SPACE", "verses are misnumbered"),
    Mutant("braille/lines.py", "if not page.marked:  # also after bars of rest", "if not page.begun:  # also after bars of rest",
           "after a rest at the beginning of a line the note has no octave mark"),
    Mutant("braille/lines.py", "return 0 if following is None or (following.flow and following.head[0] != S.HYPHEN) else 1",
           "return 0", "a line with a music hyphen is one cell too long"),
    Mutant("braille/decode.py", "Row(row.number, row.indent - margin, row.cells, margin)",
           "Row(row.number, row.indent - margin, row.cells)", "on paper with a margin, errors are said to lie farther left"),
    Mutant("braille/decode.py", "self._verse(sung[0][0], verse, cells, places, goes_on.get(verse, False))",
           "self._verse(sung[0][0], verse, cells, places, False)", "a word that goes on in the next line is read as two"),
    Mutant("braille/encode.py", "            held = note.tie\n", "            held = False\n",
           "in a reading exercise a tied note is read twice"),
    # --- diary
    Mutant("diary/diary.py", "    return name.casefold()\n", "    return name\n", "robin is not Robin"),
    Mutant("diary/diary.py", '(("at >= ?", since), ("at < ?", until))', '(("at >= ?", since), ("at < ?", None))',
           "the weeks before hold this week too"),
    Mutant("diary/diary.py", "FROM work WHERE pupil = ? AND until >= ? ", "FROM work WHERE pupil = ? AND until > ? ",
           "what was set is gone on its last day"),
    Mutant("diary/week.py", "timedelta(days=today.weekday())", "timedelta(days=0)", "weeks begin on any day"),
    Mutant("diary/week.py", "return min(known, key=", "return max(known, key=", "what goes best is to be practised"),
    Mutant("diary/week.py", "(reach is None or e.reach <= reach)", "True", "a tune wider than the voice is suggested"),
    Mutant("diary/merge.py", "SET ended_at = coalesce(ended_at, :ended_at) WHERE", "SET ended_at = ended_at WHERE",
           "a consent that was withdrawn on another machine holds on"),
    Mutant("diary/copies.py", "            if earlier_day:\n", "            if False:\n",
           "there is never but one copy, of today"),
    Mutant("diary/changes.py", '{"#": 1, "b": -1}', '{"#": 1, "b": 0}', "a range from B flat cannot be given, or is another"),
    # --- course
    Mutant("course/answer.py", "apart = STEPS.index(a.step) - STEPS.index(b.step)",
           "apart = STEPS.index(b.step) - STEPS.index(a.step)", "the wanted note is said to be higher where it is lower"),
    Mutant("course/answer.py", "is FactKind.NOTE and given.step.lower() == letter_of(wanted):",
           "is FactKind.NOTE and given.step.lower() == letter_of(given):", "the letter trap is no longer explained"),
    Mutant("course/answer.py", "            if cards.get(name) != Verdict.WRONG:\n                cards[name]",
           "            if True:\n                cards[name]", "a kind of move missed once counts as known"),
    Mutant("course/progress.py", 'and (not since or _moment(a["at"]) >= _moment(since))]', "]",
           "a stage to be done again is passed by old answers"),
    Mutant("course/progress.py", "            del self.answers[same[0]]\n", "            del self.answers[0]\n",
           "answers of another stage are forgotten"),
    Mutant("course/planning.py", "rested = progress.away(now) < BREAK_DAYS or not due", "rested = True",
           "after a long break something new comes at once"),
    Mutant("course/planning.py", "key=lambda n: not progress.recall.missed(n)", "key=progress.recall.missed",
           "what was wrong comes last"),
    Mutant("course/rhythm.py", "sure = audible and not any(heard)", "sure = not any(heard)",
           "in a loud room a soft clap is called missing"),
    Mutant("course/drill.py", "- interval_steps(interval) + 1\n", "- interval_steps(interval)\n",
           "the key to intervals is a note too low"),
    # --- transcribe
    Mutant("transcribe/score.py", "bpm = 60.0 / counts.beat_s / (3.0 if six else 1.0)", "bpm = 60.0 / counts.beat_s",
           "counted in six, a tune is three times as quick"),
    Mutant("transcribe/layout.py", "if bars.at % bars.bar and not (place and bars.at == place):", "if bars.at % bars.bar:",
           "the last bar of a tune with a pickup is filled up"),
    Mutant("transcribe/layout.py", "slur_stops=0 if tie else note.slur_stops,", "slur_stops=note.slur_stops,",
           "a slur ends in the middle of a tied note, twice"),
    Mutant("transcribe/corrections.py", "key = transposed_key(n.key, c.semitones)", "key = n.key",
           "a transposed tune keeps its old key"),
    Mutant("transcribe/corrections.py", "before = (n.bar_ticks - n.place) % n.bar_ticks // 2",
           "before = (n.bar_ticks - n.place) % n.bar_ticks", "halved, a tune keeps a pickup that is too long"),
    Mutant("transcribe/corrections.py", "replace(new, midi=old.midi, syllable=old.syllable, slur_starts",
           "replace(new, midi=old.midi, slur_starts", "another time signature takes the words away"),
    Mutant("transcribe/lyrics.py", "tuple(s.text for s in given[count:] if s))", "tuple(s.text for s in given[count + 1:] if s))",
           "of too many words one is lost"),
    Mutant("transcribe/triplets.py", "    if r.time.compound:\n        return []\n", "", "there are triplets in six-eight"),
    # --- workbook
    Mutant("workbook/exercises.py", "            return pitches, i + 1\n", "            return pitches, i\n",
           "the key names the note before the wrong one"),
    Mutant("workbook/exercises.py", "octave=needs_octave(before, missing), accidental=None)", "octave=False, accidental=None)",
           "the key to a gap lacks its octave mark"),
    Mutant("workbook/exercises.py", "base=n.base * n.tuplet.normal if n.tuplet else n.base)",
           "base=n.base)", "a triplet made plain is too short for its bar"),
    Mutant("workbook/exercises.py", "needs | needs_too, semitones=semitones))", "needs | needs_too, semitones=-semitones))",
           "the key says lower where the new start is higher"),
    Mutant("workbook/exercises.py", "tuple(here if kind in _WHOLE else here[:MOST_ITEMS])", "tuple(here[:MOST_ITEMS])",
           "of a long tune only the first phrases are read"),
    Mutant("workbook/sheets.py", "or (d == 0 and at < now)", "", "what is overdue is in no day of the week's sheet"),
    Mutant("workbook/sheets.py", "if f.signs <= known]", "]", "the key up to a stage has what nobody has been taught"),
    Mutant("workbook/sheets.py", "blocks += [NewPage(helper=True), _heading(SheetHeading.ANSWERS",
           "blocks += [_heading(SheetHeading.ANSWERS", "answers stand on the page of the questions"),
    # --- lesson
    Mutant("lesson/ladder.py", "up = self._half if self.piece.size is Size.MOVE and self._half is not None else self._whole",
           "up = self._whole", "from one move the whole phrase is asked for at once"),
    Mutant("lesson/session.py", "            way = (way + 6) % 12 - 6\n", "            pass\n",
           "a phrase is given an octave from the one before"),
    Mutant("lesson/session.py", "        self._began += self.clock.now() - began\n        self._resumed = True",
           "        self._resumed = True", "a pause is taken from the session's time"),
    Mutant("lesson/session.py", "        self._waiting = [waiting for waiting in self._waiting if waiting[0] is not taken]\n", "",
           "a take that was struck out is kept after all"),
    Mutant("lesson/session.py", "for t in last.values() if t.kind is CueKind.ONE_TO_TRY]",
           "for t in self.taken if t.kind is CueKind.ONE_TO_TRY]", "a phrase that came in the end is named as hard"),
    Mutant("lesson/session.py", "self.tempo * (TEMPO_STEP if slower else 1 / TEMPO_STEP)",
           "self.tempo * (1 / TEMPO_STEP if slower else TEMPO_STEP)", "slower is faster"),
    Mutant("lesson/live.py", "heard.kind is not HeardKind.SILENCE or (waits == 1 and not heard.others)",
           "heard.kind is not HeardKind.SILENCE or not heard.others", "silence is remarked on again and again"),
    Mutant("lesson/live.py",
           '            while (path := self.keep_in / f"line-{number}.musicxml").exists():\n                number += 1\n',
           '            path = self.keep_in / f"line-{number}.musicxml"\n', "a line that was kept last week is written over"),
)


def chosen(arguments: list[str]) -> list[int]:
    """The numbers, from 1, of the changes that are asked for: by number, or by package; all where none is named."""
    if not arguments:
        return list(range(1, len(MUTANTS) + 1))
    return [n for n, m in enumerate(MUTANTS, 1) if str(n) in arguments or m.file.partition("/")[0] in arguments]


def notice(tree: Path, package: str) -> str:
    """The first test of a package that fails in a copy of the project, "" where none does."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", f"tests/{package}"]
    running = subprocess.Popen(command, cwd=tree, env={**os.environ, "PYTHONPATH": str(tree)}, stdout=subprocess.PIPE,
                               stderr=subprocess.STDOUT, text=True, start_new_session=True)
    try:
        said, _ = running.communicate(timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        os.killpg(running.pid, signal.SIGKILL)
        running.communicate()
        return "it hangs"
    if running.returncode not in (0, 1):
        raise SystemExit(f"The tests of {package} cannot be run:\n{said[-2000:]}")
    return next((line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))), "a test failed") \
        if running.returncode else ""


def main() -> int:
    survived = []
    numbers = chosen(sys.argv[1:])
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "downloads", "__pycache__"), symlinks=True)
        for number in numbers:
            mutant = MUTANTS[number - 1]
            file = tree / "companion" / mutant.file
            text = file.read_text(encoding="utf-8")
            if text.count(mutant.old) != 1:
                raise SystemExit(f"{number}: {mutant.file} has {mutant.old!r} {text.count(mutant.old)} times")
            file.write_text(text.replace(mutant.old, mutant.new), encoding="utf-8")
            test = notice(tree, mutant.file.partition("/")[0])
            file.write_text(text, encoding="utf-8")
            survived += [] if test else [number]
            print(f"{number} {'caught' if test else 'SURVIVED'}: {mutant.file}: {mutant.felt}. {test[:110]}", flush=True)
    print(json.dumps({"mutants": len(numbers), "survived": survived}))
    return bool(survived)


if __name__ == "__main__":
    sys.exit(main())
