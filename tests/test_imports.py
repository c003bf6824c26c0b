"""What a command does not use it does not import: start-up is part of the tempo on set."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {
    "asyncio", "babel", "bleak", "jinja2", "kivy", "numpy", "scipy", "serial", "pymodbus", "psycopg", "segno",
}  # fmt: skip
"""Libraries that cost more than the whole rest of a one-shot command."""


def modules_after(code: str) -> set[str]:
    """Return the top names in ``sys.modules`` after running ``code`` in a new interpreter."""
    script = f"import sys\nbefore = set(sys.modules)\n{code}\nprint(*sorted(set(sys.modules) - before))"
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=dict(os.environ))
    return {name.partition(".")[0] for name in result.stdout.splitlines()[-1].split()}


def test_help_imports_nothing_heavy() -> None:
    """``meterlink --help`` loads no large library."""
    loaded = modules_after("from meterlink.cli.main import main; main(['--help'])")

    assert not loaded & HEAVY


@pytest.mark.parametrize("verb", ["ratios", "checks", "undo", "setup", "light"])
def test_one_shot_verbs_import_nothing_heavy(verb: str, tmp_path: Path) -> None:
    """Verbs that read the library load neither numpy nor asyncio nor any sensor code."""
    action = {"setup": ["list"], "light": ["list"]}.get(verb, [])
    arguments = ["--library", f"{tmp_path}/l.sqlite", verb, *action]

    loaded = modules_after(f"from meterlink.cli.main import main; main({arguments!r})")

    assert not loaded & HEAVY
