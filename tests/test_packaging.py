"""What is installed is whole, and what is handed out builds and tests itself."""

from __future__ import annotations

import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the source archive, built as for handing out."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a clone: what belongs into the archives is what git knows")
    folder = tmp_path_factory.mktemp("dist")
    code = (
        "import sys; from hatchling import build; "
        f"build.build_wheel({str(folder)!r}); build.build_sdist({str(folder)!r})"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True)
    return folder


def test_what_is_told_to_be_installed_can_be() -> None:
    """From the checkout, as README does: no registry has it; an extra that is named is one of the project's."""
    listed = subprocess.run(["git", "ls-files", "*.py", "*.md", "*.po"], cwd=ROOT, capture_output=True, text=True, check=True)
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    told = [
        what
        for name in listed.stdout.split()
        for what in re.findall(r"pip install ['\"]?([.a-z]+(?:\[\w+\])?)", (ROOT / name).read_text(encoding="utf-8"))
    ]

    assert any(one.startswith(".[") for one in told)
    assert {one.partition("[")[0] for one in told}.isdisjoint({"meterlink"})
    assert {one.partition("[")[2].strip("]") for one in told if "[" in one} <= set(extras)


def test_the_wheel_holds_every_module_and_the_shared_files(built: Path) -> None:
    """Every file of the two packages that git knows is installed, and the shared files inside meterlink."""
    wheel = next(built.glob("*.whl"))
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    listed = subprocess.run(["git", "ls-files", "meterlink", "mobile"], cwd=ROOT, capture_output=True, text=True, check=True)
    shared = {f"meterlink/shared_data/{p.relative_to(ROOT / 'shared')}" for p in (ROOT / "shared" / "wire").glob("*")}

    assert set(listed.stdout.split()) <= inside
    assert shared <= inside
    assert {name.split("/")[0] for name in inside if ".dist-info" not in name} == {"meterlink", "mobile"}


def test_the_source_archive_builds_and_tests_itself(built: Path) -> None:
    """Firmware, notes, tests, benchmarks and Makefile are in it, and nothing that git ignores."""
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()

    assert {name for name in tracked if not name.startswith(".git")} <= inside
    assert not any(name.startswith((".venv/", "dist/")) for name in inside)


def test_top_level_holds_only_what_the_design_card_allows() -> None:
    """No stray file at the top level."""
    allowed = {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml", ".gitignore", ".ci",
        "meterlink", "mobile", "tests", "hardware_notes", "shared", "benchmarks",
    }  # fmt: skip
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout

    assert {line.split("/")[0] for line in tracked.splitlines()} <= allowed


def test_no_two_test_modules_share_a_name() -> None:
    """pytest imports test modules by their file's name: two of one name cannot run together."""
    names = [path.name for path in (ROOT / "tests").rglob("*.py") if path.name != "conftest.py"]

    assert sorted(names) == sorted(set(names))


def test_the_app_without_kivy_says_what_it_needs_in_one_line() -> None:
    """``python -m mobile`` where Kivy cannot be had ends with one line and no traceback."""
    code = "import runpy, sys; sys.modules['kivy'] = None; runpy.run_module('mobile', run_name='__main__')"

    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "pip install '.[app]'" in done.stderr
