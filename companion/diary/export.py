"""Everything of a pupil in one zip: JSON, MusicXML, FLAC; open formats, nothing left out."""

from __future__ import annotations

import io
import json
import re
import zipfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

from companion.diary.diary import Diary
from companion.diary.model import Pupil
from companion.errors import Trouble
from companion.places import write_whole
from companion.tune import find


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def export_pupil(diary: Diary, pupil: Pupil, path: str | Path) -> list[str]:
    """Write the zip, whole or not at all; returns the names inside.

    pupil.json: nickname, range, settings, consents, work, what other packages keep. takes.json: every take with
    notes and moves. tunes/: the tunes that were sung or set, as far as they can still be read.
    sound/: what sound is kept, by the take's number.
    """
    takes = diary.takes(pupil)
    about = {
        "nickname": pupil.nickname, "since": pupil.since, "low": pupil.low, "high": pupil.high,
        "settings": diary.settings(pupil), "consents": diary.consents(pupil),
        "work": [asdict(w) for w in diary.work(pupil)],
        "kept": {owner: diary.kept(pupil, owner) for owner in diary.owners(pupil)}}
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("pupil.json", json.dumps(about, ensure_ascii=False, indent=1, default=_plain))
        archive.writestr("takes.json", json.dumps([asdict(t) for t in takes], ensure_ascii=False, indent=1,
                                                  default=_plain))
        for tune in sorted({t.tune for t in takes} | {w.tune for w in diary.work(pupil)}):
            try:
                source = find(tune)
                content = source.read_bytes()
            except (Trouble, OSError):
                continue  # moved away since, or a line that was only sung
            archive.writestr(f"tunes/{re.sub('[^A-Za-z0-9_.-]', '_', source.name)}", content)
        for number in diary.sounds(pupil):
            sound = diary.sound(number)
            if sound:
                archive.writestr(f"sound/take-{number}.flac", sound)
        names = archive.namelist()
    write_whole(path, data.getvalue(), private=True)
    return names
