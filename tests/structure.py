"""What the shape of the code is: imports, cycles, long and complex functions, prose outside the language package.

    python tests/structure.py            a page of figures, one JSON object as its last line
    python tests/structure.py match      what is amiss in one package

`tests/test_structure.py` holds what must stay so.
"""

from __future__ import annotations

import ast
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CODE = ROOT / "companion"
#: In the order in which data flows; a package imports from those before it only.
PACKAGES = ("tune", "ear", "match", "braille", "transcribe", "diary", "course", "language", "audio", "paper", "workbook",
            "lesson", "page", "command")
#: What each package may not use although it stands later: braille knows only tune, ear nothing of tunes.
NARROW: dict[str, set[str]] = {"braille": {"tune"}, "ear": set(), "diary": {"tune", "match"}}
#: Modules at the top that every package may use.
SHARED = ("errors", "lazy", "limits", "messages", "places", "quiet")
MOST_LINES, MOST_COMPLEX = 60, 20
#: How statements to the database begin, and the conditions that are put into them.
SQL = re.compile(r"SELECT|INSERT|UPDATE|DELETE|CREATE|PRAGMA|\w+ = \?")
#: Calls whose text is looked up in the catalogue.
TRANSLATED = ("_", "N_", "Sign", "message", "plural")


@dataclass(frozen=True)
class Module:
    path: Path
    tree: ast.Module

    @property
    def name(self) -> str:
        parts = self.path.relative_to(ROOT).with_suffix("").parts
        return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)

    @property
    def package(self) -> str:
        parts = self.path.relative_to(CODE).parts
        return parts[0] if len(parts) > 1 else ""


@cache
def _all_modules() -> tuple[Module, ...]:
    return tuple(Module(p, ast.parse(p.read_text(encoding="utf-8"))) for p in sorted(CODE.glob("**/*.py")))


@cache
def _known() -> frozenset[str]:
    return frozenset(m.name for m in _all_modules())


@cache
def _public(name: str) -> frozenset[str]:
    """What the `__all__` of a module names."""
    tree = next((m.tree for m in _all_modules() if m.name == name), None)
    for node in tree.body if tree else ():
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            return frozenset(ast.literal_eval(node.value))
    return frozenset()


def modules(package: str | None = None) -> list[Module]:
    return [m for m in _all_modules() if package is None or m.package == package]


def imports(module: Module) -> Iterator[tuple[str, int]]:
    """(module imported, line), those inside functions and for type checking too."""
    known = _known()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "companion":
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                # A public function may bear the name of its file: then the function is what is imported.
                own = node.module == f"companion.{module.package}"
                is_module = inner in known and (own or alias.name not in _public(node.module))
                yield (inner if is_module else node.module), node.lineno
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == "companion":
                    yield alias.name, node.lineno


def wrong_imports(package: str) -> list[str]:
    """Imports against the order of the packages, and imports from inside another package."""
    out = []
    allowed = NARROW.get(package, set(PACKAGES[:PACKAGES.index(package)]))
    for module in modules(package):
        for name, line in imports(module):
            parts = name.split(".")
            other = parts[1] if len(parts) > 1 else ""
            if other in ("", package, *SHARED):
                continue
            where = f"{module.path.relative_to(ROOT)}:{line}"
            if other not in allowed:
                out.append(f"{where} imports {name}, which stands later")
            elif len(parts) > 2:
                out.append(f"{where} imports from inside companion.{other}: {name}")
    return out


def cycles() -> list[list[str]]:
    """Groups of files that import each other in a circle (strongly connected components of two and more)."""
    graph = {m.name: {n for n, _ in imports(m) if n != m.name} for m in modules()}
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    out: list[list[str]] = []

    def visit(name: str) -> None:
        index[name] = low[name] = len(index)
        stack.append(name)
        for other in graph.get(name, ()):
            if other not in graph:
                continue
            if other not in index:
                visit(other)
                low[name] = min(low[name], low[other])
            elif other in stack:
                low[name] = min(low[name], index[other])
        if low[name] == index[name]:
            group = []
            while True:
                group.append(stack.pop())
                if group[-1] == name:
                    break
            if len(group) > 1:
                out.append(sorted(group))

    sys.setrecursionlimit(10_000)
    for name in graph:
        if name not in index:
            visit(name)
    return out


def functions(module: Module) -> Iterator[tuple[str, int, int, int, str]]:
    """(name, line, lines, complexity by radon, docstring) of every function and method."""
    from radon.complexity import ComplexityVisitor

    visitor = ComplexityVisitor.from_ast(module.tree)
    complexity = {f.lineno: f.complexity for f in visitor.functions}
    for c in visitor.classes:
        complexity |= {f.lineno: f.complexity for f in c.methods}
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            yield node.name, node.lineno, lines, complexity.get(node.lineno, 0), ast.get_docstring(node) or ""


def too_long(package: str) -> list[str]:
    """Functions of more than 60 lines or a complexity above 20 whose docstring gives no reason ("... because ...")."""
    return [f"{m.path.relative_to(ROOT)}:{line} {name}: {lines} lines, complexity {complexity}"
            for m in modules(package) for name, line, lines, complexity, doc in functions(m)
            if (lines > MOST_LINES or complexity > MOST_COMPLEX) and "because" not in doc]


def prose(module: Module) -> Iterator[tuple[int, str]]:
    """Literals that read as a sentence or phrase and do not pass through the catalogue: three words and more."""
    skipped: set[int] = set()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            for child in node.body:
                if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
                    skipped.add(id(child.value))
        elif isinstance(node, ast.Call):
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            if called in TRANSLATED:
                skipped |= {id(part) for arg in node.args for part in ast.walk(arg)}
        elif isinstance(node, ast.JoinedStr):
            skipped |= {id(part) for part in node.values}
    for node in ast.walk(module.tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        elif isinstance(node, ast.JoinedStr):
            text = "".join(str(p.value) if isinstance(p, ast.Constant) else "X" for p in node.values)
        else:
            continue
        if len(re.findall(r"[A-Za-z]{2,}[,.:;]? (?=[A-Za-z'\"X]+)", text)) >= 2 and not SQL.match(text.strip()):
            yield node.lineno, text


def prose_outside(package: str) -> list[str]:
    return [f"{m.path.relative_to(ROOT)}:{line} {text[:80]!r}" for m in modules(package) for line, text in prose(m)]


def arrays_compared(package: str) -> list[str]:
    """Dataclasses that hold arrays and are yet compared field by field: two arrays have no single answer to `==`, and from
    Python 3.13 on not even an array with itself (before, fields were compared as tuples, identity first)."""
    found = []
    for module in modules(package):
        names = {"NDArray", "ndarray"}
        for node in module.tree.body:  # F = NDArray[np.float64]
            if isinstance(node, ast.Assign) and {"NDArray"} & {n.id for n in ast.walk(node.value) if isinstance(n, ast.Name)}:
                names |= {t.id for t in node.targets if isinstance(t, ast.Name)}
        for node in ast.walk(module.tree):
            if not isinstance(node, ast.ClassDef):
                continue
            marks = [ast.unparse(d) for d in node.decorator_list if "dataclass" in ast.unparse(d)]
            held = [a for a in node.body if isinstance(a, ast.AnnAssign)
                    and re.search(rf"\b({'|'.join(names)})\b", ast.unparse(a.annotation))
                    and "Callable" not in ast.unparse(a.annotation)]
            if marks and held and "eq=False" not in marks[0]:
                found.append(f"{module.name}.{node.name}: {ast.unparse(held[0])}")
    return found


def late_imports(package: str) -> int:
    """Imports of our own inside functions."""
    return sum(1 for m in modules(package) for f in ast.walk(m.tree) if isinstance(f, ast.FunctionDef | ast.AsyncFunctionDef)
               for node in ast.walk(f) if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("companion"))


def main() -> None:
    for package in sys.argv[1:] or PACKAGES:
        print(f"{package}: {len(modules(package))} files")
        for title, found in (("imports", wrong_imports(package)), ("long or complex", too_long(package)),
                             ("prose", prose_outside(package) if package != "language" else [])):
            print(f"  {title}: {len(found)}")
            if sys.argv[1:]:
                print("\n".join(f"    {x}" for x in found))
        print(f"  imports inside functions: {late_imports(package)}")
    everything = [(lines, complexity, f"{m.name}.{name}") for m in modules() for name, _, lines, complexity, _ in functions(m)]
    print(json.dumps({
        "files": len(modules()), "cycles": cycles(), "longest": max(everything)[::2],
        "most_complex": max((c, n) for _, c, n in everything),
        "prose_outside_language": sum(1 for m in modules() if m.package != "language" for _ in prose(m)),
        "imports_inside_functions": sum(late_imports(p) for p in PACKAGES)}))


if __name__ == "__main__":
    main()
