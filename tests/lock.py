"""The exact versions of all that is installed, with the hashes of their files: for runs that are to be the same again.

    python tests/lock.py            writes .ci/lock.txt, for this system and this Python
    python tests/lock.py --audit    asks pip-audit what is known to be wrong with what stands there; exit 1 if anything is

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


def known_faults(report: dict[str, Any]) -> tuple[int, list[str]]:
    """How many packages were looked up, and a line for each fault that is known, of pip-audit's report."""
    looked_up = [p for p in report["dependencies"] if "vulns" in p and not p.get("skip_reason")]
    return len(looked_up), [f"{p['name']} {p['version']}: {v['id']}, mended in {', '.join(v['fix_versions']) or 'none yet'}"
                            for p in looked_up for v in p["vulns"]]


def audit() -> int:
    """pip-audit of the lock, in an environment of its own; skipped, and said so, where its data cannot be reached."""
    with tempfile.TemporaryDirectory() as folder:
        report, own = Path(folder) / "audit.json", Path(folder) / "own"
        python = own / ("Scripts" if sys.platform == "win32" else "bin") / "python"
        for step in ([sys.executable, "-m", "venv", str(own)], [str(python), "-m", "pip", "install", "-q", "pip-audit"],
                     [str(python), "-m", "pip_audit", "-r", str(LOCK), "--disable-pip", "--require-hashes", "-f", "json",
                      "-o", str(report), "--progress-spinner", "off"]):
            try:
                done = subprocess.run(step, capture_output=True, text=True, timeout=600)
            except subprocess.TimeoutExpired:
                break
            if done.returncode and not report.exists():
                break
        looked_up, known = known_faults(json.loads(report.read_text(encoding="utf-8"))) if report.exists() else (0, [])
    print(f"{looked_up} packages looked up, {len(known)} known faults." if looked_up else
          "The audit is skipped: what is known of packages cannot be reached from here.")
    print("\n".join(known), end="\n" if known else "")
    return 1 if known else 0


def main() -> None:
    if sys.argv[1:] == ["--audit"]:
        sys.exit(audit())
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
