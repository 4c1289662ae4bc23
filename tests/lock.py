"""The exact versions of all that is installed, with the hashes of their files: for runs that are to be the same again.

    python tests/lock.py            writes .ci/lock.txt, for this system and this Python

pip itself finds the versions (`pip install --dry-run --report`); nothing is installed. Install by
`pip install --require-hashes -r .ci/lock.txt`, and then the project with `--no-deps`.
"""

from __future__ import annotations

import json
import platform
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
LOCK = ROOT / ".ci" / "lock.txt"


def lines_of(report: dict[str, Any]) -> list[str]:
    """A line a package of pip's report, in order of their names; the project itself has no hash and is left out."""
    found = []
    for package in report["install"]:
        hashes = package["download_info"].get("archive_info", {}).get("hashes", {})
        if "sha256" in hashes:
            about = package["metadata"]
            found.append(f"{about['name'].lower().replace('_', '-')}=={about['version']} --hash=sha256:{hashes['sha256']}")
    return sorted(found)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        subprocess.run([sys.executable, "-m", "pip", "install", "-q", "--dry-run", "--ignore-installed", "--report", str(report),
                        f"{ROOT}[test,print,dask,encrypt]"], check=True)
        lines = lines_of(json.loads(report.read_text(encoding="utf-8")))
    head = f"# Python {platform.python_version()}, {sys.platform} {platform.machine()}; by python tests/lock.py"
    LOCK.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    print(f"{LOCK} written, {len(lines)} packages.")


if __name__ == "__main__":
    main()
