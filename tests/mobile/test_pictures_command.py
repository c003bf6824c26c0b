"""The command that takes pictures of the app's pages says how it is used, and makes nothing before it is understood."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def command(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run it as one does, in a folder of its own."""
    return subprocess.run(
        [sys.executable, "-m", "mobile.pictures", *words],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip


def test_help_is_shown_and_makes_no_folder(tmp_path: Path) -> None:
    """``--help`` is asked for help, not the name of a folder."""
    done = command(tmp_path, "--help")

    assert done.returncode == 0
    assert "WIDTHxHEIGHT" in done.stdout
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", [(), ("there", "3y"), ("there", "0x640"), ("there", "360x640", "big"), ("there", "--part s")])
def test_what_it_does_not_understand_it_refuses(tmp_path: Path, words: tuple[str, ...]) -> None:
    """One line that says what is wanted, exit code 2, and no folder."""
    done = command(tmp_path, *words)

    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("python -m mobile.pictures: error: ")
    assert list(tmp_path.iterdir()) == []
