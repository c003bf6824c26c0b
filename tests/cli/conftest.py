"""Running the command line in this process, on a library of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.simulated_time import run_main


class Ran(NamedTuple):
    """What a command did."""

    code: int
    out: str
    err: str


@pytest.fixture
def ml(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ran]:
    """Run ``meterlink`` with arguments on a fresh library."""
    monkeypatch.setenv("METERLINK_LIBRARY", str(tmp_path / "library.sqlite"))
    monkeypatch.delenv("METERLINK_SENSOR", raising=False)

    def run(*arguments: str) -> Ran:
        capsys.readouterr()
        code = run_main(arguments)
        out, err = capsys.readouterr()
        return Ran(code, out, err)

    return run


@pytest.fixture
def small_set(ml: Callable[..., Ran]) -> Callable[..., Ran]:
    """A set-up with a key and a fill, placed and not metered; returns the runner."""
    ml("setup", "new", "Potter", "--iso", "100", "--shutter", "1/125")
    ml("light", "add", "KEY", "--role", "key", "--disk", "90cm", "--distance", "1.2m", "--azimuth", "40", "--power", "1/4")
    ml("light", "add", "FILL", "--role", "fill", "--rectangle", "60x90cm", "--distance", "4ft6", "--azimuth", "-50")
    return ml
