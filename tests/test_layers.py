"""The plan of the house, kept by a test: who may import whom."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "meterlink"
HEAVY = {
    "argcomplete", "arabic_reshaper", "asyncio", "bidi", "bleak", "cobs", "colour", "jinja2", "kivy", "numpy", "PIL",
    "platformdirs", "plyer", "psycopg", "pymodbus", "segno", "serial",
}  # fmt: skip
"""What a module may import late, in the function that needs it: large, or an extra that may be missing."""
LATE_ALL_THE_SAME = {("meterlink.front", "meterlink.metering.session")}
"""The front door stands in the way of every command, and few of them meter: it is a third of the start of ``ratios``."""

# Part -> the parts of the package that it may import, floor by floor from the ground.  ``errors`` and ``records`` are leaves
# that everyone may use; so are ``words.language`` and ``words.actions``, which errors need to be sentences.
GROUND = {"errors", "records", "words.language", "words.actions"}
# What there is to say, as codes: stands on the units, below everything that says something.
CODES = {"words.told", "words.phrases"}
ALLOWED: dict[str, set[str]] = {
    "errors": set(),
    "records": set(),
    "words.language": set(),
    "words.actions": set(),
    "shared_files": set(),
    "photometry": set(),
    "units": {"photometry"},
    "sensor": {"photometry", "units", "words.told"},
    "library": {"photometry", "words.told"},
    "calibration": {"photometry", "sensor", "units", "words.told"},
    "words.phrases": set(),
    "words.told": {"photometry", "units", "words.phrases"},
    "judging": {"photometry", "units", "words.told"},
    "tables": {"photometry", "units", "judging", "words.told"},
    "checks": {"photometry", "units", "judging", "tables", "words.told"},
    "words": {"photometry", "units", "judging", "tables", "checks", *CODES},
    "simulation": {"photometry", "sensor", "judging"},
    "metering": {
        "calibration", "photometry", "units", "sensor", "library", "judging", "tables", "checks", "words", "simulation", "demo",
        *CODES,
    },
    "demo": {"metering", "library", "shared_files"},
    "report": {"judging", "tables", "checks", "words", "photometry", "sensor", "units", "library", *CODES},
    "testing": {"sensor", "simulation"},
    "front": {"metering", "library", "checks", "tables", "photometry", "units"},
}


def imports_of(path: Path) -> set[str]:
    """Return the parts of meterlink that a module imports, also inside functions."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] if node.module != "meterlink" else [f"meterlink.{a.name}" for a in node.names]
        found |= {_part(name) for name in names if name.startswith("meterlink.")}
    return found


def _part(name: str) -> str:
    short = name.removeprefix("meterlink.")
    known = next((one for one in GROUND | CODES if short == one or short.startswith(f"{one}.")), None)
    return known or short.split(".")[0]


def modules() -> list[Path]:
    """Every module below a layer that has rules."""
    return sorted(p for p in PACKAGE.rglob("*.py") if layer_of(p) in ALLOWED)


def layer_of(path: Path) -> str:
    """First part of the module's path below the package; a module of the ground floor by its whole name."""
    return _part(".".join(("meterlink", *path.relative_to(PACKAGE).with_suffix("").parts)))


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_layer_imports_only_layers_before_it(path: Path) -> None:
    """A module imports nothing of the package beyond what its layer may know."""
    layer = layer_of(path)

    beyond = imports_of(path) - ALLOWED[layer] - GROUND - {layer}

    assert not beyond, f"{layer} must not import {sorted(beyond)}"


def test_every_part_of_the_package_has_a_rule() -> None:
    """No folder or module of the package escapes the rules but the command line itself."""
    parts = {layer_of(p) for p in PACKAGE.rglob("*.py")} - {"__init__", "__main__", "cli"}

    assert parts <= set(ALLOWED)


def test_nothing_but_the_command_line_imports_it() -> None:
    """The library never imports the command line or the app."""
    for path in PACKAGE.rglob("*.py"):
        if layer_of(path) in ("cli", "__main__"):
            continue

        assert "cli" not in imports_of(path), path
        assert "mobile" not in path.read_text(encoding="utf-8").split("import")[0:1], path


@functools.cache
def files() -> dict[str, Path]:
    """Every module of library and app by its dotted name."""
    found = [path for part in ("meterlink", "mobile") for path in (ROOT / part).rglob("*.py")]
    return {".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path for path in found}


@functools.cache
def imported(name: str) -> dict[str, bool]:
    """What a module imports, each with whether only a function of it does; what is for type checkers alone is left out."""
    tree = ast.parse(files()[name].read_text(encoding="utf-8"))
    within = {id(n) for f in ast.walk(tree) if isinstance(f, ast.FunctionDef | ast.AsyncFunctionDef) for n in ast.walk(f)}
    typing = {id(n) for f in ast.walk(tree) if isinstance(f, ast.If) and "TYPE_CHECKING" in ast.dump(f.test) for n in ast.walk(f)}
    found: dict[str, bool] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom) and id(node) not in typing:
            for target in _targets(node):
                found[target] = found.get(target, True) and id(node) in within
    found.pop(name, None)
    return found


def _targets(node: ast.Import | ast.ImportFrom) -> Iterator[str]:
    for alias in node.names:
        whole = f"{node.module}.{alias.name}" if isinstance(node, ast.ImportFrom) else alias.name
        yield whole if whole in files() or isinstance(node, ast.Import) else str(node.module)


def brought(name: str, seen: set[str]) -> set[str]:
    """The large libraries that come with a module, itself or through others."""
    if name not in files():
        return {name.partition(".")[0]} & HEAVY
    if name in seen:
        return set()
    seen.add(name)
    rooms = name.split(".")
    needed = {".".join(rooms[:i]) for i in range(2, len(rooms))} | {target for target, late in imported(name).items() if not late}
    return set().union(*(brought(one, seen) for one in needed))


def test_no_module_needs_itself() -> None:
    """There are no cycles, counting what is imported inside functions too: ``graphlib`` orders all modules of library and app."""
    graph = {name: {target for target in imported(name) if target in files()} for name in files()}

    assert len(list(TopologicalSorter(graph).static_order())) == len(graph)


def test_only_what_is_large_or_may_be_missing_is_imported_late() -> None:
    """A module of our own is imported inside a function only where a large library comes with it that was not there yet."""
    late = [(name, target) for name in files() for target, is_late in imported(name).items() if is_late and target in files()]

    assert late
    for name, target in sorted(set(late) - LATE_ALL_THE_SAME):
        assert brought(target, set()) - brought(name, set()), f"{name} imports {target} inside a function: it can stand at the top"
