"""What every command says and writes, kept in a folder, so that a redesign can be held against what was there before.

    python tests/benchmarks/outputs.py keep FOLDER [--root CHECKOUT] [--folk 200] [--only NAME]
    python tests/benchmarks/outputs.py compare BEFORE AFTER

`keep` runs each command in a forked process of its own, with a home and a working folder of its own, on all shipped
tunes and takes and on folk melodies that music21 carries (written to MusicXML by music21, so that two checkouts read
the same files). Text is kept as it is; of sounds and PDFs only the size of what a person gets (seconds, pages).
`compare` prints what differs, and one JSON object as its last line.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import hashlib
import io
import json
import os
import random
import re
import sys
import tempfile
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parents[2]
#: Options that show more of a command, tried on the shipped tunes.
TUNE_RUNS: dict[str, tuple[str, ...]] = {
    "braille": (), "braille-28": ("--width", "28"), "braille-pitch": ("--pitch-only",),
    "braille-dots": ("--as", "dots"), "braille-json": ("--json",), "braille-american": ("--american",),
}
#: Typed answers for a course sitting and for drills: some right, some wrong, some not understood.
TYPED = ("c", "higher", "lower", "the same", "1 4 5", "15", "d", "", "?", "again", "e", "145", "up", "down", "stays",
         "quaver", "crotchet", "yes", "f", "g", "c d e", "nonsense", "4", "2", "minim", "sharp", "bar", "a", "b", "5 145")


def folk_files(folder: Path, count: int, seed: int = 11) -> list[Path]:
    """`count` melodies of the Essen collection as MusicXML files, written once."""
    from music21 import converter, corpus

    folder.mkdir(parents=True, exist_ok=True)
    found = sorted(folder.glob("*.musicxml"))
    if len(found) >= count:
        return found[:count]
    texts = []
    for path in sorted(p for p in corpus.getCorePaths() if "essenFolksong" in str(p)):
        text = Path(path).read_text(encoding="utf-8", errors="replace")
        texts += [piece for piece in re.split(r"(?m)^(?=X:)", text) if piece.startswith("X:")]
    random.Random(seed).shuffle(texts)
    out: list[Path] = []
    for text in texts:
        if len(out) == count:
            break
        path = folder / f"folk-{len(out):03}.musicxml"
        try:
            converter.parse(text, format="abc").parts[0].write("musicxml", str(path))
        except Exception:
            continue  # music21 itself cannot write a few of them
        out.append(path)
    return out


def runs(root: Path, folk: list[Path]) -> Iterator[tuple[str, list[str], str]]:
    """Name, arguments and standard input of every run. "{out}" stands for the folder of the run."""
    sys.path.insert(0, str(root))
    tunes = sorted((root / "exercises").glob("*.musicxml"))
    takes = sorted((root / "recordings").glob("*.flac"))
    for take in takes:
        for extra in ((), ("--json",), ("--more", "--american"), ("--phrase", "1")):
            yield f"hear {take.stem} {' '.join(extra)}", ["hear", str(take), "--tune", "snail-wall", *extra], ""
        for extra in ((), ("--json",), ("--american", "--fix", "in three")):
            yield f"notate {take.stem} {' '.join(extra)}", ["notate", str(take), *extra], ""
    yield "notate out", ["notate", str(takes[4]), "--words", "Snail on the wall creep up slow", "--title", "Snail",
                         *[x for end in ("musicxml", "mid", "brf", "svg") for x in ("--out", f"{{out}}/a.{end}")]], ""
    yield "notate correct", ["notate", str(takes[4]), "--correct"], \
        "help\nbar 1 note 2 is a crotchet\nin three\nundo\nbar 2 note 1 is E\nnonsense\n\n"
    yield "demo", ["demo", "--sound", "{out}/cue.wav"], ""
    yield "demo json", ["demo", "--json"], ""
    yield "tunes", ["tunes"], ""
    yield "tunes american", ["tunes", "--american"], ""
    yield "tunes json", ["tunes", "--json"], ""
    yield "wrong tune", ["hear", str(takes[0]), "--tune", "no-such-tune"], ""
    yield "help", ["--help"], ""
    for command in ("hear", "review", "lesson", "practise", "diary", "braille", "read", "notate", "exercises", "line",
                    "wall", "course", "drill", "sheet"):
        yield f"help {command}", [command, "--help"], ""
    for path in [*tunes, *folk]:
        yield from tune_runs(path, shipped=path in tunes)
    yield from course_runs()
    yield from diary_runs()


def tune_runs(path: Path, shipped: bool) -> Iterator[tuple[str, list[str], str]]:
    name, tune = path.stem, str(path)
    for run, extra in TUNE_RUNS.items():
        if shipped or run in ("braille", "braille-28", "braille-json"):
            yield f"{run} {name}", ["braille", tune, *extra], ""
    yield f"brf {name}", ["braille", tune, "--out", "{out}/a.brf", "--numbered"], ""
    yield f"read {name}", ["read", "{out}/a.brf"], ""
    yield f"read-json {name}", ["read", "{out}/a.brf", "--json", "--out", "{out}/a.musicxml"], ""
    yield f"damaged {name}", ["read", "{out}/b.brf"], ""
    yield f"line {name}", ["line", tune, "--out", "{out}/a.svg"], ""
    yield f"line-say {name}", ["line", tune, "--american"], ""
    yield f"wall {name}", ["wall", tune, "--shoulder", "98"], ""
    yield f"exercises {name}", ["exercises", tune, *(("--out", "{out}/book") if shipped else ())], ""
    yield f"answers {name}", ["exercises", tune, "--answers", *(("--american",) if shipped else ())], ""
    if shipped:
        yield f"sheet-tune {name}", ["sheet", "tune", tune], ""
        yield f"sheet-brf {name}", ["sheet", "tune", tune, "--out", "{out}/a.brf", "--american"], ""
        yield f"wall-html {name}", ["wall", tune, "--shoulder", "98", "--out", "{out}/a.html"], ""


def course_runs() -> Iterator[tuple[str, list[str], str]]:
    yield "course list", ["course", "--list"], ""
    yield "course words", ["course", "--words", "--american"], ""
    typed = "\n".join(TYPED * 6) + "\n"
    quiet = ["--silent", "--speech", "off", "--on", "2026-03-02"]
    for stage in range(1, 21):
        yield f"stage {stage}", ["course", "--stage", str(stage)], ""
        yield f"stage-american {stage}", ["course", "--stage", str(stage), "--american"], ""
        yield f"sheet-stage {stage}", ["sheet", "stage", str(stage)], ""
        yield f"sheet-stage-html {stage}", ["sheet", "stage", str(stage), "--out", "{out}/a.html", "--whole"], ""
        yield f"sheet-drill {stage}", ["sheet", "drill", str(stage)], ""
        passed = [x for n in range(1, stage) for x in ("--pass", str(n))]
        diary = ["--diary", "{out}/diary.sqlite"]
        yield f"begin {stage}", ["course", "Robin", "--new", *diary, *passed, "--on", "2026-03-01"], ""
        yield f"sitting {stage}", ["course", "Robin", *diary, *quiet], typed
        yield f"sitting-american {stage}", ["course", "Wren", "--new", "--american", *diary, *quiet], typed
        yield f"known {stage}", ["course", "Robin", "--known", *diary, "--on", "2026-03-03"], ""
        yield f"sheet-week {stage}", ["sheet", "week", "Robin", *diary, "--on", "2026-03-03"], ""
    yield "drill kinds", ["drill"], ""
    for kind in ("name the cell", "write the cell", "higher or lower", "say the octave", "how many beats", "find the wrong cell",
                 "mark or no mark", "which bar", "write what you hear", "read and sing"):
        for extra in (("--stage", "9"), ("--tune", "lantern"), ("--stage", "14", "--american")):
            yield f"drill {kind} {' '.join(extra)}", ["drill", kind, *extra, "--seed", "4", "--silent", "--speech", "off"], typed
            yield f"drill-json {kind} {' '.join(extra)}", ["drill", kind, *extra, "--seed", "4", "--json"], ""


def diary_runs() -> Iterator[tuple[str, list[str], str]]:
    diary = ["--diary", "{out}/diary.sqlite"]
    for n, extra in enumerate((["--new"], ["--set", "snail-wall"], ["--range", "A3", "D5"], ["--settings"],
                               ["--setting", "rate=130"], ["--setting", "nonsense=1"], ["--consent", "Ada"], [], ["--json"])):
        yield f"diary {n}", ["diary", "Robin", *diary, *extra], ""
    yield "diary all", ["diary", *diary], ""


def _one(root: Path, argv: list[str], typed: str, folder: Path) -> dict[str, Any]:
    """One command in a forked process: exit code, output, errors, and the files in `folder` afterwards."""
    got = folder / ".got"
    pid = os.fork()
    if pid == 0:
        try:
            os.chdir(folder)
            out, err = io.StringIO(), io.StringIO()
            sys.stdin = io.StringIO(typed)
            code: Any = 1
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                try:
                    from companion.command import main

                    code = main([a.replace("{out}", ".") for a in argv])
                except SystemExit as stop:
                    code = stop.code
            got.write_text(json.dumps({"code": code, "out": out.getvalue(), "err": err.getvalue()}), encoding="utf-8")
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(0)
    os.waitpid(pid, 0)
    found = json.loads(got.read_text(encoding="utf-8")) if got.exists() else {"code": "died"}
    got.unlink(missing_ok=True)
    text = json.dumps(found)
    for path, name in ((str(root), "ROOT"), (str(folder), "OUT"), (tempfile.gettempdir(), "TMP")):
        text = text.replace(path, name)
    found = json.loads(text)
    found["files"] = {p.name: _content(p) for p in sorted(folder.glob("*")) if p.is_file() and "sqlite" not in p.name}
    return found


def _content(path: Path) -> str:
    data = path.read_bytes()
    if path.suffix in (".wav", ".flac"):
        import soundfile

        return f"{round(soundfile.info(str(path)).duration)} seconds"
    if path.suffix in (".pdf", ".sqlite", ".zip"):
        return path.suffix
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return hashlib.sha256(data).hexdigest()


def keep(folder: Path, root: Path, folk: int, only: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    files = folk_files(folder.parent / "folk", folk)
    os.environ["COMPANION_DEBUG"] = ""
    home = Path(tempfile.mkdtemp())
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        os.environ[name] = str(home)
    previous, place, kept = "", None, {}
    for name, argv, typed in runs(root, files):
        if only and only not in name:
            continue
        # Runs on one tune, one stage or one diary follow each other in one folder.
        group = name.split(" ", 1)[-1] if name.split()[0] not in ("hear", "notate", "drill", "diary") else name.split()[0]
        if group != previous or place is None:
            place = Path(tempfile.mkdtemp(prefix="outputs-"))
            previous = group
        if name.startswith("damaged"):
            _damage(place)
        kept[name] = _one(root, argv, typed, place)
    (folder / "outputs.json").write_text(json.dumps(kept, indent=1, ensure_ascii=False), encoding="utf-8")
    print(json.dumps({"runs": len(kept), "died": sum(k["code"] == "died" for k in kept.values())}))


def _damage(place: Path) -> None:
    """A page with slips: a cell left out in the middle, two cells changed places near the end."""
    path = place / "a.brf"
    if path.exists():
        text = path.read_text(encoding="ascii")
        middle = len(text) // 2
        damaged = text[:middle] + text[middle + 1:-20] + text[-18] + text[-19] + text[-17:]
        (place / "b.brf").write_text(damaged, encoding="ascii")


def compare(before: Path, after: Path, most: int) -> None:
    old = json.loads((before / "outputs.json").read_text(encoding="utf-8"))
    new = json.loads((after / "outputs.json").read_text(encoding="utf-8"))
    different = [name for name in old if name in new and old[name] != new[name]]
    for name in different[:most]:
        print(f"== {name}")
        for part in ("code", "out", "err", "files"):
            a, b = old[name].get(part), new[name].get(part)
            if a != b:
                lines = [json.dumps(x, ensure_ascii=False, indent=0).replace("\\n", "\n").splitlines() for x in (a, b)]
                print("\n".join(list(difflib.unified_diff(*lines, "before", "after", n=0, lineterm=""))[2:42]))
    print(json.dumps({"runs": len(old), "missing": len(set(old) - set(new)), "different": len(different),
                      "american": sum("american" in name for name in different)}))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("keep", "compare"))
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--root", type=Path, default=HERE)
    parser.add_argument("--folk", type=int, default=200)
    parser.add_argument("--only", default="")
    parser.add_argument("--most", type=int, default=40)
    options = parser.parse_args()
    if options.what == "keep":
        keep(options.folders[0].resolve(), options.root.resolve(), options.folk, options.only)
    else:
        compare(*options.folders, most=options.most)


if __name__ == "__main__":
    main()
