"""The portable core of the firmware, compiled for this machine with sanitizers, and its C tests."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "hardware_notes" / "firmware"


def test_core_passes_its_tests_under_sanitizers() -> None:
    """All golden vectors, trigger, capture, commands and a seeded fuzz hold, with no warning and no undefined act."""
    if shutil.which("gcc") is None or shutil.which("make") is None:
        pytest.skip("no C compiler here: install gcc and make")
    done = subprocess.run(["make", "-C", FIRMWARE, "test"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    found = re.search(r"(\d+) messages \((\d+) built from their fields\), (\d+) streams", done.stdout)
    assert found
    assert int(found[1]) >= 39
    assert int(found[3]) >= 62
    assert re.search(r"\d{6,} checks, 0 failures", done.stdout)


def test_core_has_no_chip_header_and_no_heap() -> None:
    """The core includes nothing of avr-libc and never asks for memory, so that it builds for any chip."""
    for source in sorted((FIRMWARE / "core").glob("*.[ch]")):
        text = source.read_text()
        assert "<avr/" not in text, source.name
        assert not re.search(r"\b(malloc|calloc|realloc|free)\s*\(", text), source.name
