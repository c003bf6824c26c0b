"""What is installed is whole: every package is listed, and the shared files come along."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent


def project() -> dict:
    """The contents of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_every_package_is_listed_for_installation() -> None:
    """A new folder with modules is not forgotten in the list of packages."""
    listed = set(project()["tool"]["setuptools"]["packages"])

    found = {
        ".".join(p.parent.relative_to(ROOT).parts)
        for top in ("meterlink", "mobile")
        for p in (ROOT / top).rglob("*.py")
        # Recipes are read by the packer for Android, not installed.
        if "recipes" not in p.parts
    }

    assert found <= listed
    assert {name for name in listed if not name.startswith("meterlink_shared")} <= found


def test_shared_folders_are_installed_as_package_data() -> None:
    """Schemas, demo and wire files are installed beside the package."""
    setuptools = project()["tool"]["setuptools"]

    for folder in ("demo", "schema", "wire"):
        name = f"meterlink_shared.{folder}"
        assert name in setuptools["packages"]
        assert setuptools["package-dir"][name] == f"shared/{folder}"
        assert setuptools["package-data"][name] == ["*"]


def test_top_level_holds_only_what_the_design_card_allows() -> None:
    """No stray file at the top level."""
    allowed = {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml", ".gitignore", ".ci",
        "meterlink", "mobile", "tests", "hardware_notes", "shared", "benchmarks",
    }  # fmt: skip
    import subprocess

    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout

    assert {line.split("/")[0] for line in tracked.splitlines()} <= allowed


def test_no_two_test_modules_share_a_name() -> None:
    """pytest imports test modules by their file's name: two of one name cannot run together."""
    names = [path.name for path in (ROOT / "tests").rglob("*.py") if path.name != "conftest.py"]

    assert sorted(names) == sorted(set(names))
