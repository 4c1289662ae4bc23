"""Fetch two real voices for the tests: python tests/fetch_voices.py

They are recordings of the open set vocadito (Bittner et al. 2021, CC BY 4.0) inside the source package of
basic-pitch 0.4.0 on PyPI. They are unpacked to tests/downloads/, which git ignores. The package is only
downloaded and unpacked, never built or run. Exit code 1 where the registry is out of reach.
"""

import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "downloads"
NAMES = ("vocadito_10.wav", "vocadito_14.wav")


def archive(folder: str) -> Path | None:
    """The source package: by pip, which may fail at reading its metadata after the download; then by its index."""
    subprocess.run([sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:",
                    "basic-pitch==0.4.0", "-d", folder], capture_output=True, check=False)
    found = list(Path(folder).glob("basic*pitch*.tar.gz"))
    if found:
        return found[0]
    import json
    import urllib.request

    try:
        with urllib.request.urlopen("https://pypi.org/pypi/basic-pitch/0.4.0/json", timeout=30) as page:
            links = [u["url"] for u in json.load(page)["urls"] if u["packagetype"] == "sdist"]
        target = Path(folder) / "basic_pitch.tar.gz"
        with urllib.request.urlopen(links[0], timeout=120) as data:
            target.write_bytes(data.read())
        return target
    except (OSError, IndexError, ValueError):
        return None


def main() -> int:
    if all((FOLDER / n).exists() for n in NAMES):
        return 0
    with tempfile.TemporaryDirectory() as folder:
        packed = archive(folder)
        if packed is None:
            print("basic-pitch 0.4.0 could not be fetched; the checks on real voices are skipped.")
            return 1
        FOLDER.mkdir(exist_ok=True)
        with tarfile.open(packed) as tar:
            for member in tar.getmembers():
                name = Path(member.name).name
                source = tar.extractfile(member) if name in NAMES else None
                if source is not None:
                    (FOLDER / name).write_bytes(source.read())
    return 0 if all((FOLDER / n).exists() for n in NAMES) else 1


if __name__ == "__main__":
    sys.exit(main())
