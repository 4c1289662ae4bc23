"""Nothing of a pupil is lost, and nothing left where it should be gone: copies, mending, taking over, deletion."""

from __future__ import annotations

import io
import os
import random
import sqlite3
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from scripted_diary import some_match

from companion.command import main
from companion.course import load_progress
from companion.diary import (
    Diary,
    Purpose,
    SessionKind,
    SettingName,
    beside,
    check_diary,
    delete_pupil,
    open_or_beside,
    repair_diary,
    restore_copy,
    suggestion,
    week_of,
)
from companion.diary.copies import copies
from companion.errors import Trouble

NICKNAME = "Quillon"


class Clock:
    def __init__(self) -> None:
        self.time = datetime(2026, 3, 2, 16, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.time += timedelta(milliseconds=1)
        return self.time


def add(path: Path, name: str, takes: int = 1, clock: Clock | None = None) -> None:
    with Diary(path, clock or Clock()) as diary:
        pupil = diary.pupil(name, new=True)
        for _ in range(takes):
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "All three right.")


def takes(path: Path, name: str) -> int:
    with Diary(path) as diary:
        return len(diary.takes(diary.pupil(name)))


def traces(folder: Path, needle: bytes) -> list[str]:
    return [p.name for p in folder.rglob("*") if p.is_file() and needle in p.read_bytes()]


def test_a_new_consent_ends_the_one_before(tmp_path: Path) -> None:
    """One consent to a purpose holds at a time: whoever gave the last answers for it (product rule on consent)."""
    with Diary(tmp_path / "d.sqlite", Clock()) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.give_consent(pupil, "Mother")
        diary.give_consent(pupil, "Father")
        first, second = diary.consents(pupil)
        assert first["ended_at"] is not None
        assert second["ended_at"] is None
        found = diary.consent(pupil, Purpose.RECORDING)
        assert found is not None
        assert found.given_by == "Father"
        diary.withdraw_consent(pupil)
        assert diary.consent(pupil) is None


def test_each_opening_keeps_a_copy_that_can_be_put_back(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren", 2)
    with Diary(path):
        pass
    (copy,) = copies(path)
    assert copy.name == "d-copy-1.sqlite"
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600  # owner alone (POSIX): a child's data is nobody else's
    for file in (path, Path(f"{path}-wal"), Path(f"{path}-shm")):
        file.unlink(missing_ok=True)
    assert restore_copy(copy, path).takes == 2
    assert restore_copy(copy, path).takes == 2, "nothing twice"
    assert takes(path, "Wren") == 2


def test_a_copy_of_an_earlier_day_is_kept_and_the_third_day_pushes_out_no_more_than_one(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    for day in range(5):
        for copy in copies(path):  # a day goes by
            then = copy.stat().st_mtime - 86400
            os.utime(copy, (then, then))
        add(path, f"Pupil {day}")
        with Diary(path):
            pass
    assert [c.name for c in copies(path)] == ["d-copy-1.sqlite", "d-copy-2.sqlite", "d-copy-3.sqlite"]


def test_deletion_reaches_copies_the_diary_beside_and_a_damaged_one_laid_aside(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    add(path, NICKNAME)
    with Diary(path):
        pass
    (copy,) = copies(path)
    os.utime(copy, (copy.stat().st_mtime - 86400,) * 2)  # a day goes by
    add(path, "Wren")
    with Diary(path):
        pass
    assert len(copies(path)) == 2
    os.link(copies(path)[1], tmp_path / "on the disk")  # what lies on the disk after the name is gone
    add(beside(path), NICKNAME)
    (tmp_path / "d-damaged.sqlite").write_bytes(b"..." + NICKNAME.encode() + b"...")
    assert len(traces(tmp_path, NICKNAME.encode())) >= 3
    delete_pupil(NICKNAME, path)
    assert traces(tmp_path, NICKNAME.encode()) == []
    assert traces(tmp_path, NICKNAME.casefold().encode()) == []
    assert takes(path, "Wren") == 1


def test_deletion_from_a_diary_beside_alone(tmp_path: Path) -> None:
    """The diary itself is held by nobody but lacks the pupil: what was kept beside it goes too."""
    path = tmp_path / "d.sqlite"
    add(path, "Wren")
    open_beside = Diary(beside(path))  # a session has it open, so that it cannot be taken over
    open_beside.pupil(NICKNAME, new=True)
    delete_pupil(NICKNAME, path)
    open_beside.close()
    assert traces(tmp_path, NICKNAME.encode()) == []


def test_a_mistyped_deletion_touches_nothing(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren")
    (tmp_path / "d-damaged.sqlite").write_bytes(b"kept")
    with pytest.raises(Trouble, match="no pupil"):
        delete_pupil("Wrenn", path)
    assert (tmp_path / "d-damaged.sqlite").read_bytes() == b"kept"
    assert takes(path, "Wren") == 1


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_an_abbreviated_option_deletes_nobody(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren")
    assert main(["diary", "Wren", "--del", "--diary", str(path)]) == 2
    assert "--del" in capsys.readouterr().err
    assert takes(path, "Wren") == 1


@pytest.mark.parametrize(("typed", "left"), [("\n", 1), ("yes\n", 1), ("", 1), ("Wren\n", None)])
def test_at_a_terminal_the_name_is_asked_for_again(tmp_path: Path, typed: str, left: int | None,
                                                   monkeypatch: pytest.MonkeyPatch,
                                                   capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren")
    monkeypatch.setattr("sys.stdin", Terminal(typed))
    assert main(["diary", "Wren", "--delete", "--diary", str(path)]) == 0
    said = capsys.readouterr().out
    assert "Type the name again" in said
    if left is None:
        assert "Wren is deleted for good." in said
        with pytest.raises(Trouble):
            takes(path, "Wren")
    else:
        assert "Nothing was deleted." in said
        assert takes(path, "Wren") == left


def test_yes_and_a_script_are_not_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                        capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "d.sqlite"
    for stdin, more in ((Terminal(""), ["--yes"]), (io.StringIO(""), [])):
        add(path, "Wren")
        monkeypatch.setattr("sys.stdin", stdin)
        assert main(["diary", "Wren", "--delete", "--diary", str(path), *more]) == 0
        assert capsys.readouterr().out.splitlines() == [
            "Wren is deleted for good.",
            "What was handed over, printed or written to other files is not reached, nor are backups that this machine makes of "
            "itself."]


def test_a_damaged_diary_is_mended_from_its_copy_and_what_is_readable(tmp_path: Path,
                                                                      capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "d.sqlite"
    clock = Clock()
    add(path, "Wren", 30, clock)
    with Diary(path):  # its copy is made here: 30 takes
        pass
    add(path, "Wren", 3, clock)  # the copy holds none of these
    data = bytearray(path.read_bytes())
    pages = len(data) // 4096
    data[4096 * (pages // 2):4096 * (pages // 2 + 2)] = b"\xa5" * 8192
    path.write_bytes(bytes(data))
    assert main(["diary", "--check", "--diary", str(path)]) == 2
    said = capsys.readouterr().out
    assert "damaged" in said
    assert "--repair" in said
    assert "Copy of" in said
    assert main(["diary", "--repair", "--diary", str(path)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("The diary is sound: 1 pupil, ")
    assert "laid aside as" in said
    assert takes(path, "Wren") >= 30
    assert main(["diary", "--check", "--diary", str(path)]) == 0
    assert "is sound" in capsys.readouterr().out
    assert (tmp_path / "d-damaged.sqlite").read_bytes() == bytes(data)


def test_mending_a_sound_diary_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren", 2)
    before = path.read_bytes()
    assert repair_diary(path).aside is None
    assert path.read_bytes() == before


def test_what_was_kept_beside_is_taken_over_once(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    clock = Clock()
    add(path, "Wren", 2, clock)
    whole = path.read_bytes()
    path.write_bytes(whole[:60])
    diary, trouble = open_or_beside(path, clock)
    with diary:
        assert trouble is not None
        pupil = diary.pupil("Wren", new=True)
        diary.add_take(pupil, SessionKind.PRACTISE, "snail-wall", some_match(), "Right.")
        diary.keep(pupil, "course", "progress", {"answers": [], "passed": {}, "since": {}, "cards": {}})
        diary.set_setting(pupil, SettingName.RATE, 120)
    path.write_bytes(whole)
    with Diary(path) as again:
        found = again.takes(again.pupil("Wren"))
        assert sorted(t.tune for t in found) == ["kite", "kite", "snail-wall"]
        assert [len(t.moves) for t in found] == [3, 3, 3]
        assert again.settings(again.pupil("Wren"))[SettingName.RATE] == 120
        assert load_progress(again, again.pupil("Wren")).answers == []
    assert not beside(path).exists()
    assert takes(path, "Wren") == 3


def test_a_session_that_still_writes_beside_is_not_taken_over_under_its_hands(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren")
    with Diary(beside(path)) as open_one:
        pupil = open_one.pupil("Wren", new=True)
        open_one.add_take(pupil, SessionKind.PRACTISE, "snail-wall", some_match(), "Right.")
        assert takes(path, "Wren") == 1
        open_one.add_take(pupil, SessionKind.PRACTISE, "heron", some_match(), "Right.")
    assert takes(path, "Wren") == 3


def test_where_nothing_can_be_written_the_session_is_kept_in_memory_and_saved_at_its_end(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "d.sqlite"
    add(path, "Wren", 2)
    monkeypatch.setattr("os.access", lambda *_: False)  # a folder that may not be written
    diary, trouble = open_or_beside(path)
    assert trouble is not None
    assert "may not be written" in str(trouble)
    assert diary.in_memory
    diary.add_take(diary.pupil("Wren", new=True), SessionKind.PRACTISE, "heron", some_match(), "Right.")
    monkeypatch.undo()  # made writable while the child sang
    diary.close()
    assert takes(path, "Wren") == 3


def test_any_damaged_byte_is_one_sentence_and_never_keeps_a_child_out(tmp_path: Path) -> None:
    """150 single bits changed anywhere in a diary: opened, read and sung with, or refused in one plain sentence."""
    path = tmp_path / "d.sqlite"
    clock = Clock()
    with Diary(path, clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.set_setting(pupil, SettingName.RATE, 130)
        diary.set_setting(pupil, SettingName.KEYS, {"f9": "go"})
        diary.give_consent(pupil, "Mother", (clock.time + timedelta(days=900)).date())
        diary.set_work(pupil, "kite", 366)
        diary.keep(pupil, "course", "progress", {
            "version": 1, "answers": [{"at": "2026-03-02T16:00:00+00:00", "stage": "1", "way": "cell to name",
                                       "verdict": "right"}], "passed": {}, "since": {}, "cards": {}, "moves_until": ""})
        for _ in range(3):
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "All three right.")
    data = path.read_bytes()
    used = [i for i, byte in enumerate(data) if byte]
    rng = random.Random(18)
    said: set[str] = set()
    for trial in range(150):
        for file in tmp_path.iterdir():
            file.unlink()
        damaged = bytearray(data)
        damaged[rng.choice(used)] ^= 1 << rng.randrange(8)
        path.write_bytes(bytes(damaged))
        try:
            with Diary(path, clock) as diary:
                for pupil in diary.pupils():
                    week_of(diary, pupil)
                    diary.settings(pupil)
                    diary.takes(pupil)
                    suggestion(diary, pupil)
                    load_progress(diary, pupil)
        except Trouble as trouble:
            said.add(str(trouble).replace(str(path), "PATH"))
        diary, _trouble = open_or_beside(path, clock)
        with diary:
            pupil = diary.pupil("Wren", new=True)
            settings = diary.settings(pupil)
            assert 80 <= settings[SettingName.RATE] <= 300, trial
            assert -50 <= settings[SettingName.LOUDNESS] <= -14, trial
            try:
                diary.add_take(pupil, SessionKind.PRACTISE, "heron", some_match(), "Right.")
            except Trouble:  # some damage is met only when a page is written: the session then saves beside
                with Diary(beside(path), clock) as other:
                    other.add_take(other.pupil("Wren", new=True), SessionKind.PRACTISE, "heron", some_match(), "Right.")
    assert any("--repair" in sentence for sentence in said)
    assert not [sentence for sentence in said if "\n" in sentence or not sentence.endswith(".")]


def test_an_answer_for_a_pupil_deleted_meanwhile_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "d.sqlite"
    with Diary(path) as diary:
        pupil = diary.pupil("Wren", new=True)
        assert diary.forget("Wren")
        with pytest.raises(Trouble, match="deleted"):
            diary.keep(pupil, "course", "progress", {})


def test_the_check_of_a_file_that_is_no_diary(tmp_path: Path) -> None:
    con = sqlite3.connect(tmp_path / "birds.sqlite")
    con.execute("CREATE TABLE birds (name TEXT)")
    con.close()
    before = (tmp_path / "birds.sqlite").read_bytes()
    assert not check_diary(tmp_path / "birds.sqlite").sound
    with pytest.raises(Trouble, match="no diary of this program"):
        repair_diary(tmp_path / "birds.sqlite")
    assert (tmp_path / "birds.sqlite").read_bytes() == before
    text = tmp_path / "notes.txt"
    text.write_text("not a diary at all")
    with pytest.raises(Trouble, match=r"Nothing in .* is readable"):
        repair_diary(text)
    with pytest.raises(Trouble, match="no diary of this program"):
        restore_copy(tmp_path / "birds.sqlite", tmp_path / "d.sqlite")
    assert text.read_text() == "not a diary at all"
