"""What the diary keeps, forgets, tells and gives away."""

from __future__ import annotations

import io
import json
import zipfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scripted_diary import some_match

from companion.command import main
from companion.diary import (
    Diary,
    Locked,
    SessionKind,
    SettingName,
    Tally,
    export_pupil,
    import_pupil,
    suggestion,
    week_of,
    weeks_of,
)
from companion.diary.merge import Merged
from companion.diary.week import next_kind, tunes_with
from companion.errors import Trouble
from companion.language import English, week_lines
from companion.match import MoveKind, Verdict
from companion.tune import catalogue, load

NICKNAME = "Quillon"
SOUND = (np.random.default_rng(0).normal(0, 0.1, 8000).astype(np.float32), 22050)


class Clock:
    def __init__(self) -> None:
        self.time = datetime(2026, 3, 2, 16, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.time


def traces(folder: Path, *needles: bytes) -> list[str]:
    """Files below a folder in which any of these bytes stand."""
    return [f"{p.name}: {n!r}" for p in folder.rglob("*") if p.is_file() for n in needles if n in p.read_bytes()]


def flac_pieces(flac: bytes) -> list[bytes]:
    """Stretches of a FLAC file long enough to be found nowhere by chance."""
    return [flac[i:i + 24] for i in range(200, len(flac) - 24, 500)]


def test_a_deleted_pupil_leaves_no_byte(tmp_path: Path) -> None:
    path = tmp_path / "diary.sqlite"
    diary = Diary(path)
    pupil, other = diary.pupil(NICKNAME, new=True), diary.pupil("Wren", new=True)
    diary.give_consent(pupil, "Grandmother Ysolde")
    diary.give_consent(other, "Uncle")
    for k in range(12):
        diary.add_take(pupil, SessionKind.PRACTISE, f"hidden-tune-{k}", some_match(), "All three right.", SOUND)
        diary.add_take(other, SessionKind.PRACTISE, "kite", some_match(), "All three right.", SOUND)
    diary.keep(pupil, "course", "stage", f"secret of {NICKNAME}")
    flac = diary.sound(1)
    assert flac is not None
    # The other pupil sang the same sound: only what is this pupil's is looked for by name, so give it its own.
    own = (np.random.default_rng(7).normal(0, 0.1, 8000).astype(np.float32), 22050)
    number = diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(), "Right.", own)
    flac = diary.sound(number)
    assert flac is not None
    needles = [NICKNAME.encode(), NICKNAME.casefold().encode(), b"Ysolde", b"hidden-tune", *flac_pieces(flac)]
    assert len(needles) > 10
    assert traces(tmp_path, *needles), "what is kept can be found before it is deleted"
    assert diary.forget(NICKNAME.upper())
    # With the diary still open, and again once it is closed.
    assert traces(tmp_path, *needles) == []
    diary.close()
    assert traces(tmp_path, *needles) == []
    with Diary(path) as again:
        assert [p.nickname for p in again.pupils()] == ["Wren"]
        assert len(again.takes(again.pupil("Wren"))) == 12
        assert len(again.sounds(again.pupil("Wren"))) == 12


def test_a_reader_in_the_way_of_a_deletion_is_said_and_the_traces_go_later(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sqlite3

    path = tmp_path / "diary.sqlite"
    diary = Diary(path)
    diary.pupil(NICKNAME, new=True)
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM pupils").fetchall()
    monkeypatch.setattr("companion.diary.store.BUSY_S", 0.1)
    diary._store._con.execute("PRAGMA busy_timeout = 50")
    with pytest.raises(Locked, match=r"traces|held"):
        diary.forget(NICKNAME)
    assert diary.find(NICKNAME) is None
    reader.execute("ROLLBACK")
    reader.close()
    diary.close()
    with Diary(path):
        assert traces(tmp_path, NICKNAME.encode()) == []


def test_old_sound_goes_although_another_program_reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sqlite3
    import time

    monkeypatch.setattr("companion.diary.store.BUSY_S", 60.0)  # a write may wait; a session that opens its diary may not
    clock = Clock()
    path = tmp_path / "d.sqlite"
    with Diary(path, clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.give_consent(pupil, "Wren's mother")
        flac = diary.sound(diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND))
    assert flac is not None
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM sounds").fetchall()
    clock.time += timedelta(days=60)
    began = time.monotonic()
    with Diary(path, clock) as diary:  # opens all the same, at once
        assert diary.sounds(diary.pupil("Wren")) == []
    assert time.monotonic() - began < 30
    reader.execute("ROLLBACK")
    reader.close()
    with Diary(path, clock):
        assert traces(tmp_path, *flac_pieces(flac)) == []


def test_sound_needs_consent_and_goes_with_it(tmp_path: Path) -> None:
    clock = Clock()
    with Diary(tmp_path / "d.sqlite", clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        first = diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND)
        assert diary.sound(first) is None
        diary.give_consent(pupil, "Wren's mother", date(2026, 3, 5))
        second = diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND)
        flac = diary.sound(second)
        assert flac is not None
        samples, rate = soundfile.read(io.BytesIO(flac), dtype="float32")
        assert rate == 22050
        assert np.abs(samples - SOUND[0]).max() < 2 ** -15  # 16 bits
        clock.time += timedelta(days=4)  # the day after the consent's last
        assert diary.consent(pupil) is None
        assert diary.sound(diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND)) is None
        clock.time -= timedelta(days=4)  # a clock that is moved back does not bring it to life
        assert diary.consent(pupil) is None
        diary.give_consent(pupil, "Wren's mother")
        diary.withdraw_consent(pupil)
        assert diary.sounds(pupil) == []
        assert traces(tmp_path, *flac_pieces(flac)) == []


def test_sound_is_kept_for_so_many_days(tmp_path: Path) -> None:
    clock = Clock()
    path = tmp_path / "d.sqlite"
    with Diary(path, clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.give_consent(pupil, "Wren's mother")
        diary.set_setting(pupil, SettingName.KEEP_SOUND_DAYS, 3)
        flac = diary.sound(diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND))
        assert flac is not None
    for days, kept in ((3, 1), (1, 0)):
        clock.time += timedelta(days=days)
        with Diary(path, clock) as diary:
            assert len(diary.sounds(diary.pupil("Wren"))) == kept
    assert traces(tmp_path, *flac_pieces(flac)) == []
    with Diary(path, clock) as diary:
        assert len(diary.takes(diary.pupil("Wren"))) == 1


def test_a_clock_moved_back_loses_no_take_and_keeps_their_order(tmp_path: Path) -> None:
    clock = Clock()
    with Diary(tmp_path / "d.sqlite", clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.set_work(pupil, "kite")
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "one")
        clock.time -= timedelta(days=400)
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "two")
        assert [t.cue for t in diary.takes(pupil)] == ["one", "two"]
        assert diary.work(pupil)[0].takes == 2


def test_five_lines_and_what_is_next(tmp_path: Path) -> None:
    clock = Clock()
    with Diary(tmp_path / "d.sqlite", clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        for _ in range(4):
            diary.add_take(pupil, SessionKind.PRACTISE, "kite", some_match(3, Verdict.WRONG), "Listen.")
        clock.time += timedelta(days=10)
        diary.set_work(pupil, "snail-wall")
        for _ in range(4):
            diary.add_take(pupil, SessionKind.PRACTISE, "snail-wall", some_match(3), "Both right.")
        lines = week_lines(English(), week_of(diary, pupil))
        assert len(lines) == 5
        assert lines[0] == "Wren sang 4 times on 1 day of the last seven. " \
            "From note to note the voice went the right way 8 times of 8."
        assert lines[1] == "Set until Thursday: Snail on the wall, sung 4 times."
        assert lines[2] == "Better than before: steps up, right 8 times of 8; in the weeks before 0 of 8."
        next_one = suggestion(diary, pupil)
        assert next_one is not None
        kind = next_one.tally
        assert (kind.kind, kind.right, kind.total) == ("step up", 8, 16)
        assert list(next_one.tunes) == tunes_with(kind.kind)[:3]
        assert lines[3] == ("Next: steps up, which went right 8 times of 16. Songs with many of them: "
                            f"{', '.join(load(name).title for name in next_one.tunes)}.")
        assert lines[4] == "Recordings: none kept, as nobody has consented."
        assert next_kind(diary.tally(pupil, since=clock.time - timedelta(days=1))) is None


def test_settings_last_and_are_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "d.sqlite")
    assert main(["diary", "--diary", path, "Wren", "--new", "--setting", "rate=130", "--setting", "speech=off",
                 "--setting", "keys=f9:go,pagedown:again", "--range", "A3", "Bb4"]) == 0
    for wrong in ("rate=5", "speech=loud", "nonsense=1", "rate"):
        assert main(["diary", "--diary", path, "Wren", "--setting", wrong]) == 2
    capsys.readouterr()
    assert main(["diary", "--diary", path, "Wren", "--json"]) == 0
    page = json.loads(capsys.readouterr().out)
    assert page["settings"]["rate"] == 130
    assert page["settings"]["keys"] == {"f9": "go", "pagedown": "again"}
    assert (page["low"], page["high"]) == (57, 70)
    assert main(["diary", "--diary", path, "Wrenn"]) == 2
    assert "Did you mean Wren?" in capsys.readouterr().err


def test_names_that_are_none(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        for name in ("", "  ", "x" * 41, "a\x1bb"):
            with pytest.raises(Trouble, match="nickname"):
                diary.pupil(name, new=True)
        assert diary.pupil("Wren", new=True) == diary.pupil(" wREN ", new=True)


def test_everything_of_a_pupil_is_exported(tmp_path: Path) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.give_consent(pupil, "Wren's mother")
        diary.set_work(pupil, "heron")
        diary.keep(pupil, "course", "stage", [1, 2])
        number = diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "All three right.", SOUND)
        export_pupil(diary, pupil, tmp_path / "wren.zip")
        with zipfile.ZipFile(tmp_path / "wren.zip") as archive:
            assert set(archive.namelist()) == {"pupil.json", "takes.json", "tunes/heron.musicxml",
                                               "tunes/kite.musicxml", f"sound/take-{number}.flac"}
            about, takes = (json.loads(archive.read(n)) for n in ("pupil.json", "takes.json"))
            assert about["kept"] == {"course": {"stage": [1, 2]}}
            assert about["consents"][0]["given_by"] == "Wren's mother"
            assert [m["verdict"] for m in takes[0]["moves"]] == ["right"] * 3
            assert archive.read(f"sound/take-{number}.flac") == diary.sound(number)


@pytest.mark.slow  # the format makes each guess of a passphrase cost a second
def test_an_encrypted_export_opens_with_its_passphrase_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                             capsys: pytest.CaptureFixture[str]) -> None:
    """The age format (age-encryption.org/v1): its first line says so, and no byte of the child stands in it."""
    pyrage = pytest.importorskip("pyrage", reason="the package pyrage is not installed")
    diary, plain, sealed = str(tmp_path / "d.sqlite"), tmp_path / "wren.zip", tmp_path / "wren.zip.age"

    def typed(text: str) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO(text))

    typed("blue snail wall\n")
    assert main(["diary", "Wren", "--new", "--diary", diary, "--export", str(sealed), "--encrypt"]) == 0
    assert "2 files in it" in capsys.readouterr().out
    data = sealed.read_bytes()
    assert data.startswith(b"age-encryption.org/v1\n-> scrypt ")
    assert b"Wren" not in data
    assert b"PK" not in data[:200]
    assert zipfile.ZipFile(io.BytesIO(pyrage.passphrase.decrypt(data, "blue snail wall"))).namelist()
    typed("another phrase\n")
    assert main(["diary", "--decrypt", str(sealed)]) == 2
    assert "another passphrase was used, or the file is damaged" in capsys.readouterr().err
    assert not plain.exists()
    typed("blue snail wall\n")
    assert main(["diary", "--decrypt", str(sealed)]) == 0
    assert "pupil.json" in zipfile.ZipFile(plain).namelist()
    assert main(["diary", "--decrypt", str(sealed)]) == 2
    assert "is there already" in capsys.readouterr().err
    for text, path, says in (("short\n", sealed, "give at least 8"), ("blue snail wall\n", plain, "ends in .age")):
        typed(text)
        assert main(["diary", "Wren", "--diary", diary, "--export", str(path), "--encrypt"]) == 2
        assert says in capsys.readouterr().err
    assert sealed.read_bytes() == data


def test_without_its_package_encryption_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                        capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyrage", None)
    monkeypatch.setattr("sys.stdin", io.StringIO("blue snail wall\n"))
    out = tmp_path / "wren.zip.age"
    assert main(["diary", "Wren", "--new", "--diary", str(tmp_path / "d.sqlite"), "--export", str(out), "--encrypt"]) == 2
    assert "pip install pyrage" in capsys.readouterr().err
    assert not out.exists()


def exported(path: Path) -> tuple[dict[str, object], list[dict[str, object]]]:
    """What an export says, without what another diary numbers or dates anew."""
    with zipfile.ZipFile(path) as archive:
        about, takes = json.loads(archive.read("pupil.json")), json.loads(archive.read("takes.json"))
    return about, [{k: v for k, v in t.items() if k != "number"} for t in takes]


def test_an_export_put_into_another_diary_holds_the_same_and_nothing_twice(tmp_path: Path,
                                                                           capsys: pytest.CaptureFixture[str]) -> None:
    clock = Clock()
    with Diary(tmp_path / "one.sqlite", clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.set_range(pupil, 57, 74)
        diary.set_setting(pupil, SettingName.RATE, 120)
        diary.set_setting(pupil, SettingName.KEYS, {"f9": "go"})
        diary.keep(pupil, "course", "progress", {"answers": [{"at": "2026-03-02", "stage": "1"}]})
        for n in range(3):
            clock.time += timedelta(seconds=20)
            if n == 1:
                diary.set_work(pupil, "kite", 14)
                diary.give_consent(pupil, "Wren's mother")
            diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "All three right.", SOUND)
        export_pupil(diary, pupil, tmp_path / "wren.zip")
    with Diary(tmp_path / "two.sqlite", clock) as other:
        other.add_take(other.pupil("Robin", new=True), SessionKind.LESSON, "kite", some_match(), "")
        assert import_pupil(other, tmp_path / "wren.zip") == ("Wren", Merged(1, 3))
        assert import_pupil(other, tmp_path / "wren.zip") == ("Wren", Merged(0, 0))
        wren = other.pupil("wren")
        assert [w.takes for w in other.work(wren)] == [2], "as many takes count for what is set as before"
        assert len(other.sounds(wren)) == 2
        export_pupil(other, wren, tmp_path / "again.zip")
        assert len(other.takes(other.pupil("Robin"))) == 1
    assert exported(tmp_path / "again.zip") == exported(tmp_path / "wren.zip")
    assert main(["diary", "--import", str(tmp_path / "wren.zip"), "--diary", str(tmp_path / "three.sqlite")]) == 0
    assert capsys.readouterr().out == "Wren is in the diary; 3 takes were new.\n"


def test_sound_comes_in_only_where_a_consent_holds(tmp_path: Path) -> None:
    """Recordings of children are kept only when someone responsible has said so (product rule)."""
    clock = Clock()
    with Diary(tmp_path / "one.sqlite", clock) as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.give_consent(pupil, "Wren's mother")
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.", SOUND)
        export_pupil(diary, pupil, tmp_path / "with.zip")
        diary.withdraw_consent(pupil)
        export_pupil(diary, pupil, tmp_path / "ended.zip")
    with zipfile.ZipFile(tmp_path / "with.zip") as one, zipfile.ZipFile(tmp_path / "ended.zip") as ended, \
            zipfile.ZipFile(tmp_path / "mixed.zip", "w") as mixed:  # its sound, and the page on which the consent has ended
        for archive, names in ((ended, ["pupil.json", "takes.json"]), (one, ["sound/take-1.flac"])):
            for name in names:
                mixed.writestr(name, archive.read(name))
    with Diary(tmp_path / "two.sqlite", clock) as other:
        import_pupil(other, tmp_path / "mixed.zip")
        assert other.sounds(other.pupil("Wren")) == []
        assert len(other.takes(other.pupil("Wren"))) == 1


@pytest.mark.parametrize(("name", "old", "new"), [
    ("pupil.json", b'"nickname": "Wren"', b'"nickname": ""'), ("pupil.json", b'"nickname"', b'"name"'),
    ("pupil.json", b'"settings": {', b'"settings": {"speed": 3, '), ("takes.json", b'"lesson"', b'"dance"'),
    ("takes.json", b'"up"', b'"sideways"'), ("takes.json", b"[", b""), ("takes.json", b'"first": 1', b'"first": "x"'),
])
def test_what_is_no_export_puts_nothing_in(tmp_path: Path, name: str, old: bytes, new: bytes) -> None:
    with Diary(tmp_path / "one.sqlite") as diary:
        pupil = diary.pupil("Wren", new=True)
        diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "Right.")
        export_pupil(diary, pupil, tmp_path / "wren.zip")
    with zipfile.ZipFile(tmp_path / "wren.zip") as whole, zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
        for inside in whole.namelist():
            data = whole.read(inside)
            assert inside != name or old in data
            bad.writestr(inside, data.replace(old, new, 1) if inside == name else data)
    (tmp_path / "text.zip").write_text("no zip at all")
    with Diary(tmp_path / "two.sqlite") as other:
        for file in ("bad.zip", "text.zip"):
            with pytest.raises(Trouble, match=r"is no export of this program, or is cut or damaged; nothing was put in\.$"):
                import_pupil(other, tmp_path / file)
        with pytest.raises(Trouble, match="could not be read"):
            import_pupil(other, tmp_path / "none.zip")
        assert other.pupils() == []


def test_a_consent_that_is_past_changes_nothing_else_either(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "d.sqlite"
    assert main(["diary", "Wren", "--new", "--setting", "rate=99", "--consent", "Mother", "--until", "2020-01-01",
                 "--diary", str(path)]) == 2
    assert "2020-01-01 is past" in capsys.readouterr().err
    with Diary(path) as diary:
        wren = diary.pupil("Wren")
        assert diary.settings(wren)[SettingName.RATE] == 150
        assert diary.consents(wren) == []


def test_what_is_set_is_there_to_the_end_of_its_last_day(tmp_path: Path) -> None:
    clock = Clock()
    with Diary(tmp_path / "d.sqlite", clock) as diary:
        wren = diary.pupil("Wren", new=True)
        diary.set_work(wren, "kite", 2)  # on Monday 2 March
        clock.time = datetime(2026, 3, 4, 23, 59, tzinfo=UTC)
        assert [(w.tune, w.until) for w in diary.work(wren)] == [("kite", date(2026, 3, 4))]
        clock.time += timedelta(minutes=2)
        assert diary.work(wren) == []


def test_weeks_begin_on_mondays(tmp_path: Path) -> None:
    """1 March 2026 was a Sunday."""
    clock = Clock()
    with Diary(tmp_path / "d.sqlite", clock) as diary:
        wren = diary.pupil("Wren", new=True)
        for day in (1, 2, 4):
            clock.time = datetime(2026, 3, day, 16, 0, tzinfo=UTC)
            diary.add_take(wren, SessionKind.LESSON, "kite", some_match(), "")
        assert [(monday, sung.takes) for monday, sung in weeks_of(diary, wren)] == [(date(2026, 2, 23), 1), (date(2026, 3, 2), 2)]


def test_the_next_kind_is_the_one_that_goes_right_least_and_its_tunes_fit_the_voice(tmp_path: Path) -> None:
    tallies = [Tally(MoveKind.STEP_UP, 6, 2, 0), Tally(MoveKind.SKIP_UP, 2, 6, 0), Tally(MoveKind.LEAP_UP, 0, 3, 0),
               Tally(MoveKind.LEVEL, 9, 0, 0)]
    found = next_kind(tallies)
    assert found is not None
    assert found.kind is MoveKind.SKIP_UP, "of the leap too few were sung to tell"
    reaches = {e.name: e.reach for e in catalogue()}
    narrow = tunes_with(MoveKind.STEP_UP, 7.0)
    assert narrow
    assert all(reaches[name] <= 7 for name in narrow)
    assert len(narrow) < len(tunes_with(MoveKind.STEP_UP))
    with Diary(tmp_path / "d.sqlite") as diary:
        wren = diary.pupil("Wren", new=True)
        diary.set_range(wren, 60, 67)
        diary.add_take(wren, SessionKind.LESSON, "kite", some_match(8, Verdict.WRONG), "")
        next_one = suggestion(diary, diary.pupil("Wren"))
        assert next_one is not None
        assert all(reaches[name] <= 7 for name in next_one.tunes)


def test_a_consent_that_was_ended_on_either_machine_has_ended(tmp_path: Path) -> None:
    with Diary(tmp_path / "one.sqlite", Clock()) as diary:
        wren = diary.pupil("Wren", new=True)
        diary.give_consent(wren, "Wren's mother")
        export_pupil(diary, wren, tmp_path / "before.zip")
        diary.withdraw_consent(wren)
        export_pupil(diary, wren, tmp_path / "after.zip")
    with Diary(tmp_path / "two.sqlite", Clock()) as other:
        import_pupil(other, tmp_path / "before.zip")
        assert other.consent(other.pupil("Wren")) is not None
        import_pupil(other, tmp_path / "after.zip")
        assert other.consent(other.pupil("Wren")) is None
        import_pupil(other, tmp_path / "before.zip")
        assert other.consent(other.pupil("Wren")) is None, "nor does it come to life again"
