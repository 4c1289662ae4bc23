"""Values that keep a child safe, as numbers: a change of one has to be made here too, with its reason."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from companion.command import main
from companion.diary import MOST_MINUTES, Diary, SettingName, default_settings, read_setting
from companion.errors import Trouble
from companion.places import write_whole


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


def test_the_hand_reaches_for_no_height_but_a_persons() -> None:
    """A shoulder is 40 (a small child sitting) to 190 cm (a tall adult) above the floor."""
    assert main(["wall", "snail-wall", "--shoulder", "190"]) == 0
    assert main(["wall", "snail-wall", "--shoulder", "191"]) == 2
    assert main(["wall", "snail-wall", "--shoulder", "39"]) == 2


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_a_diary_and_its_folder_are_the_owners_alone(tmp_path: Path) -> None:
    path = tmp_path / "data" / "d.sqlite"
    with Diary(path) as diary:
        diary.pupil("Wren", new=True)
        assert path.stat().st_mode & 0o777 == 0o600
        assert Path(f"{path}-wal").stat().st_mode & 0o777 == 0o600
        assert path.parent.stat().st_mode & 0o777 == 0o700


@pytest.mark.skipif(os.name != "posix", reason="links to themselves are POSIX's here")
def test_writing_to_a_link_to_itself_is_one_sentence(tmp_path: Path) -> None:
    link = tmp_path / "l.brf"
    link.symlink_to(link)
    with pytest.raises(Trouble, match="could not be written"):
        write_whole(link, b"x")
