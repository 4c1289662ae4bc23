"""Everything of a pupil in one zip: JSON, MusicXML, FLAC; open formats, nothing left out. Encrypted where that is wanted, in the
age format (age-encryption.org/v1), which other programs open with the same passphrase."""

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
from companion.messages import _
from companion.places import read_named, write_whole
from companion.tune import find

AGE = ".age"  # how names of encrypted files end
FEWEST_LETTERS = 8  # of a passphrase (NIST SP 800-63B, 5.1.1: at least eight)
MOST_BYTES = 2_000_000_000  # of an encrypted file: it is decrypted in memory


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def export_pupil(diary: Diary, pupil: Pupil, path: str | Path, passphrase: str | None = None) -> list[str]:
    """Write the zip, whole or not at all; returns the names inside. passphrase: encrypt it; the name then ends in .age.

    pupil.json: nickname, range, settings, consents, work, what other packages keep. takes.json: every take with
    notes and moves. tunes/: the tunes that were sung or set, as far as they can still be read.
    sound/: what sound is kept, by the take's number. Raises Trouble where it cannot be written or encrypted.
    """
    if passphrase is not None:
        check_encryption(path, passphrase)
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
    whole = data.getvalue()
    write_whole(path, whole if passphrase is None else _age().passphrase.encrypt(whole, passphrase), private=True)
    return names


def check_encryption(path: str | Path, passphrase: str) -> None:
    """Raises Trouble where a file of this name cannot be encrypted with this passphrase."""
    _age()
    if Path(path).suffix.lower() != AGE:
        raise Trouble(_("{path} is to be encrypted; give a name that ends in .age, such as robin.zip.age.").format(path=path))
    if len(passphrase) < FEWEST_LETTERS:
        raise Trouble(_("The passphrase has {n} letters; give at least {least}, some words for example.").format(
                            n=len(passphrase), least=FEWEST_LETTERS))


def decrypt_export(path: str | Path, passphrase: str) -> Path:
    """Write what an encrypted file holds beside it, under its name without .age; returns that name.

    Raises Trouble where there is no such file, another passphrase was used, or something lies there already.
    """
    source = Path(path)
    age = _age()
    if source.suffix.lower() != AGE:
        raise Trouble(_("{path} does not end in .age, as an encrypted export does. Check its name.").format(path=source))
    plain = source.with_suffix("")
    if plain.exists():
        raise Trouble(_("{path} is there already and was left as it is. Move it away, then try again.").format(path=plain))
    data = read_named(source, MOST_BYTES)
    try:
        whole = age.passphrase.decrypt(data, passphrase)
    except age.DecryptError as error:
        raise Trouble(_("{path} could not be opened: another passphrase was used, or the file is damaged. Try again.").format(
                            path=source)) from error
    write_whole(plain, whole, private=True)
    return plain


def _age() -> Any:
    """The module pyrage. Raises Trouble where it is not installed."""
    try:
        import pyrage
    except ImportError as error:
        raise Trouble(_("Encryption is done by the package pyrage. Install it with pip install pyrage, or leave out "
                        "--encrypt.")) from error
    return pyrage
