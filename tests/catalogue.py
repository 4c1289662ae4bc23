"""The catalogue of sentences: gathered from the code and the stages, and the American one made from it.

    python tests/catalogue.py            builds companion/language/locale anew
    python tests/catalogue.py --check    says whether what lies there is what would be built

Sentences are the first argument of `_`, `N_`, `message` and `plural` (and its second), those in
the templates of the page, the texts of the stages, and those of the guide. The
American catalogue has those in which a British word of the trade stands; what the table of words would get wrong is
in `AMERICAN_SENTENCES`. A translator begins with `companion.pot`.
"""

from __future__ import annotations

import ast
import io
import re
import sys
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jinja2
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import write_po

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from companion.workbook import GuideMark, GuidePart, guide_lines  # noqa: E402

LOCALE = ROOT / "companion" / "language" / "locale"
AMERICAN = "en_US"

#: British words and American ones (common usage on both sides).
AMERICAN_WORDS = {
    "breve": "double whole note", "semibreve": "whole note", "minim": "half note", "crotchet": "quarter note",
    "quaver": "eighth note", "semiquaver": "sixteenth note", "demisemiquaver": "thirty-second note",
    "hemidemisemiquaver": "sixty-fourth note", "semihemidemisemiquaver": "hundred-and-twenty-eighth note",
    "bar": "measure", "semitone": "half step", "centimetre": "centimeter", "practise": "practice", "colour": "color",
}
#: "double bar", "bar line" and "bar repeat" keep their name, and a bar on the wall or of soap is no measure.
KEPT = r"(?<!double )(?<!final )(?<!wall )(?<![-.\w/])\b(WORDS)(s?)\b(?! lines?\b)(?![-=])"
#: Sentences in which a word of the table means something else, or the table gives clumsy English.
AMERICAN_SENTENCES: dict[str, str] = {
    "a tone lower (or an octave higher)": "a whole step lower (or an octave higher)",
    "All of it is a tone higher, now in {key}.": "All of it is a whole step higher, now in {key}.",
    "All of it is a tone lower, now in {key}.": "All of it is a whole step lower, now in {key}.",
}
#: Places to be filled, `companion practise` and other names that are typed stay as they are.
TYPED = re.compile(r"\{[^{}]*\}|companion practise|--practise|\"bar [^\"]*\"")


def american(text: str) -> str:
    """A sentence with American names; itself where nothing changes."""
    if text in AMERICAN_SENTENCES:
        return AMERICAN_SENTENCES[text]
    kept: list[str] = []

    def keep(found: re.Match[str]) -> str:
        kept.append(found[0])
        return f"\0{len(kept) - 1}\0"

    def swap(found: re.Match[str]) -> str:
        new = AMERICAN_WORDS[found[1].lower()] + found[2]
        return new[:1].upper() + new[1:] if found[1][:1].isupper() else new

    words = "|".join(sorted(AMERICAN_WORDS, key=len, reverse=True))
    out = re.sub(KEPT.replace("WORDS", words), swap, TYPED.sub(keep, text), flags=re.IGNORECASE)
    out = re.sub(r"\ba (eighth note)", r"an \1", re.sub(r"\bA (eighth note)", r"An \1", out))
    return re.sub("\0(\\d+)\0", lambda m: kept[int(m[1])], out)


#: Keys of a stage file that hold texts; the others hold identifiers, such as names of facts.
STAGE_TEXTS = ("title", "aim", "need", "adult", "pupil", "word", "means", "sign", "do")


def _texts(value: Any, key: str = "") -> list[str]:
    """The texts of a stage file, or of a part of it."""
    if isinstance(value, str):
        return [value] if key in STAGE_TEXTS else []
    if isinstance(value, dict):
        return [s for k, v in value.items() for s in _texts(v, k)]
    return [s for v in value for s in _texts(v, key)] if isinstance(value, list) else []


def sentences() -> dict[str, tuple[str | None, list[str]]]:
    """Every sentence: its plural or None, and the files it stands in."""
    found: dict[str, tuple[str | None, list[str]]] = {}
    for path in sorted((ROOT / "companion").glob("**/*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            texts = [a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
            if called in ("_", "N_", "Sign", "message", "plural") and texts:
                many = texts[1] if called == "plural" and len(texts) > 1 else None
                found.setdefault(texts[0], (many, []))[1].append(str(path.relative_to(ROOT)))
    for path in sorted((ROOT / "companion" / "page" / "templates").glob("*.html")):
        for _line, called, texts in jinja2.Environment(extensions=["jinja2.ext.i18n"]).extract_translations(
                path.read_text(encoding="utf-8")):
            both = texts if isinstance(texts, tuple) else (texts,)
            if called in ("_", "gettext", "ngettext") and both[0]:
                many = both[1] if called == "ngettext" else None
                found.setdefault(both[0], (many, []))[1].append(str(path.relative_to(ROOT)))
    for path in sorted((ROOT / "companion" / "course" / "stages").glob("*.toml")):
        for text in _texts(tomllib.loads(path.read_text(encoding="utf-8"))):
            found.setdefault(text, (None, []))[1].append(str(path.relative_to(ROOT)))
    for part in GuidePart:
        for line in guide_lines(part):
            if line.mark is not GuideMark.TYPED and line.text != "...":
                found.setdefault(line.text, (None, []))[1].append(f"companion/workbook/guide/{part}.txt")
    return found


def build() -> dict[str, bytes]:
    """The files of the catalogue by name: the template for translators, and the American .po and .mo."""
    template, local = Catalog(project="companion"), Catalog(locale=AMERICAN, project="companion")
    # Nothing that changes from day to day, so that the same sentences give the same files.
    for catalog in (template, local):
        catalog.creation_date = catalog.revision_date = datetime(2026, 1, 1, tzinfo=UTC)
    for text, (many, files) in sorted(sentences().items()):
        key = (text, many) if many else text
        places = [(f, None) for f in sorted(set(files))]
        template.add(key, locations=places)
        ours = (american(text), american(many)) if many else american(text)
        if ours != key:
            local.add(key, ours, locations=places)
    out: dict[str, bytes] = {}
    for name, catalog in (("companion.pot", template), (f"{AMERICAN}/LC_MESSAGES/companion.po", local)):
        stream = io.BytesIO()
        write_po(stream, catalog, width=100, omit_header=name.endswith("pot"), sort_output=True)
        out[name] = stream.getvalue()
    stream = io.BytesIO()
    write_mo(stream, local)
    out[f"{AMERICAN}/LC_MESSAGES/companion.mo"] = stream.getvalue()
    return out


def main() -> int:
    built = build()
    different = [name for name, data in built.items()
                 if not (LOCALE / name).exists() or (LOCALE / name).read_bytes() != data]
    if "--check" in sys.argv:
        print("\n".join(f"{name} is not what the code says; run python tests/catalogue.py." for name in different))
        return 1 if different else 0
    for name, data in built.items():
        (LOCALE / name).parent.mkdir(parents=True, exist_ok=True)
        (LOCALE / name).write_bytes(data)
    print("\n".join(f"{name} written." for name in different) or "Nothing changed.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
