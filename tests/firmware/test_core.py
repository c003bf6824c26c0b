"""The portable core of the firmware, compiled for this machine with sanitizers, and its C tests."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
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


def test_eeprom_image_is_intel_hex_of_id_and_name(tmp_path: Path) -> None:
    """binutils reads the image that the builder writes once: eight random bytes, the name's length, the name."""
    if shutil.which("objcopy") is None:
        pytest.skip("no objcopy here: install binutils")
    seen = set()
    for i in range(2):
        path = tmp_path / f"{i}.hex"
        subprocess.run([sys.executable, FIRMWARE / "avr" / "make_eeprom.py", "--name", "Kuppel für 2", path], check=True)
        subprocess.run(["objcopy", "-I", "ihex", "-O", "binary", path, tmp_path / "image"], check=True)
        image = (tmp_path / "image").read_bytes()
        name = "Kuppel für 2".encode()
        assert image[8:] == bytes([len(name)]) + name
        seen.add(image[:8])
    assert len(seen) == 2
    refused = subprocess.run(
        [sys.executable, FIRMWARE / "avr" / "make_eeprom.py", "--name", "x" * 33, tmp_path / "no.hex"],
        capture_output=True, text=True,
    )  # fmt: skip
    assert refused.returncode != 0
    assert "at most 32" in refused.stderr
