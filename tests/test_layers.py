"""The plan of the house, kept by a test: who may import whom."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "meterlink"

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
