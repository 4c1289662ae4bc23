"""Values that keep a child safe, as numbers: a change of one has to be made here too, with its reason."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from scripted_diary import some_match

from companion.command import main
from companion.diary import (
    MOST_MINUTES,
    Diary,
    SessionKind,
    SettingName,
    default_settings,
    export_pupil,
    read_setting,
    repair_diary,
)
from companion.errors import Trouble
from companion.places import write_whole
from companion.tune import heights_cm


def test_a_session_at_home_lasts_twenty_minutes_at_most() -> None:
    """Twenty minutes: a young voice tires (common practice of singing teachers)."""
    assert MOST_MINUTES == 20
    assert read_setting(SettingName.MINUTES, "20") == 20
    with pytest.raises(Trouble):
        read_setting(SettingName.MINUTES, "21")
    assert default_settings()[SettingName.MINUTES] == 10


def test_what_is_played_is_capped() -> None:
    """-14 dB below full scale over the loudest 50 ms, and a start 8 dB lower, so that nothing startles."""
    from companion.audio import playback

    assert playback.CAP_DBFS == -14.0
    assert playback.LOW_START_DB == 8.0
    assert read_setting(SettingName.LOUDNESS, "-14") == -14
    with pytest.raises(Trouble):
        read_setting(SettingName.LOUDNESS, "-13.9")


def test_what_is_played_is_soft_where_nobody_has_said_otherwise() -> None:
    """-20 dB below full scale, 6 under the cap; no sample above half of full scale, whatever is given."""
    from companion.audio import playback
    from companion.ear import Sound

    assert default_settings()[SettingName.LOUDNESS] == -20.0
    assert read_setting(SettingName.LOUDNESS, "-50") == -50
    tone = 0.05 * np.sin(np.arange(66150) * 0.1).astype(np.float32)
    tone[60000] = 1.0  # a click that is louder than the tone around it, and too short for the level of 50 ms
    assert 0.4 < np.abs(playback.finish(Sound(tone, 22050)).samples).max() <= 0.5
    with pytest.raises(Trouble):
        read_setting(SettingName.LOUDNESS, "0")


def test_a_young_voice_rests_and_is_not_pushed() -> None:
    """Three minutes of singing, then a rest of fifteen seconds; a range ends two semitones inside what was reached above, and
    where the voice is pushed, 12 dB louder than it began (common practice of singing teachers)."""
    from companion.lesson import practise, voice_range

    assert (practise.SET_S, practise.REST_S) == (180.0, 15.0)
    assert (voice_range.INSIDE, voice_range.STRAIN_DB) == (2.0, 12.0)


@pytest.mark.parametrize(("shoulder", "highest", "lowest"), [(98.0, 122.5, 63.7), (160.0, 200.0, 104.0)])
def test_nobody_stretches_and_nobody_bends(shoulder: float, highest: float, lowest: float) -> None:
    """At most a quarter of the shoulder's height above it, about the crown of the head; at least 0.65 of it, about the hip
    (proportions of the body by Drillis and Contini 1966)."""
    heights = heights_cm(range(40, 90), shoulder)
    assert max(heights) <= highest
    assert min(heights) >= lowest


def test_no_sound_is_kept_without_a_consent_that_holds_today(tmp_path: Path) -> None:
    """Recordings of children are kept only when someone responsible has said so (product rule); thirty days if not said."""
    now = datetime(2026, 3, 2, 12, tzinfo=UTC)
    assert default_settings()[SettingName.KEEP_SOUND_DAYS] == 30

    def kept(diary: Diary) -> bool:
        return diary.sound(diary.add_take(pupil, SessionKind.LESSON, "kite", some_match(), "", sound)) is not None

    sound = (np.zeros(2205, dtype=np.float32), 22050)
    with Diary(tmp_path / "d.sqlite", lambda: now) as diary:
        pupil = diary.pupil("Wren", new=True)
        assert not kept(diary)
        diary.give_consent(pupil, "Mother", date(2026, 3, 3))
        assert kept(diary)
        now += timedelta(days=1)
        assert kept(diary)
        now += timedelta(days=1)
        assert not kept(diary), "its last day is past"
        diary.give_consent(pupil, "Mother")
        assert kept(diary)
        diary.withdraw_consent(pupil)
        assert diary.sounds(pupil) == []
        assert not kept(diary)
        diary.give_consent(pupil, "Mother")
        assert kept(diary)
        now += timedelta(days=30)
    with Diary(tmp_path / "d.sqlite", lambda: now) as diary:
        assert len(diary.sounds(pupil)) == 1
        now += timedelta(days=1)
    with Diary(tmp_path / "d.sqlite", lambda: now) as diary:
        assert diary.sounds(pupil) == []


def test_a_session_of_more_than_twenty_minutes_is_not_begun(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Diary(tmp_path / "d.sqlite") as diary:
        diary.pupil("Wren", new=True)
    for minutes in ("20.5", "0", "-3", "inf"):
        assert main(["practise", "Wren", "--minutes", minutes, "--diary", str(tmp_path / "d.sqlite")]) == 2
        assert "give up to 20" in capsys.readouterr().err


def test_the_hand_reaches_for_no_height_but_a_persons() -> None:
    """A shoulder is 40 (a small child sitting) to 190 cm (a tall adult) above the floor."""
    assert main(["wall", "snail-wall", "--shoulder", "190"]) == 0
    assert main(["wall", "snail-wall", "--shoulder", "191"]) == 2
    assert main(["wall", "snail-wall", "--shoulder", "39"]) == 2


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_a_diary_and_its_folder_are_the_owners_alone(tmp_path: Path) -> None:
    path = tmp_path / "data" / "d.sqlite"
    with Diary(path) as diary:
        export_pupil(diary, diary.pupil("Wren", new=True), tmp_path / "wren.zip")
        assert (tmp_path / "wren.zip").stat().st_mode & 0o777 == 0o600
        assert path.stat().st_mode & 0o777 == 0o600
        assert Path(f"{path}-wal").stat().st_mode & 0o777 == 0o600
        assert path.parent.stat().st_mode & 0o777 == 0o700
    with Diary(path):
        pass
    (copy,) = path.parent.glob("*-copy-*")
    assert copy.stat().st_mode & 0o777 == 0o600
    path.write_bytes(path.read_bytes()[:5000])
    repair_diary(path)
    (damaged,) = path.parent.glob("*-damaged*")
    assert damaged.stat().st_mode & 0o777 == 0o600
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.skipif(os.name != "posix", reason="links to themselves are POSIX's here")
def test_writing_to_a_link_to_itself_is_one_sentence(tmp_path: Path) -> None:
    link = tmp_path / "l.brf"
    link.symlink_to(link)
    with pytest.raises(Trouble, match="could not be written"):
        write_whole(link, b"x")
