"""What a builder of build (b) puts into the chip: the prebuilt file, the fuses, the crystal."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from hardware_notes.design.make_notes import NOTES

FIRMWARE = NOTES / "firmware"
NOTE = (NOTES / "build_b.md").read_text(encoding="utf-8")
COMPILER = "5.4.0"
needs_avr = pytest.mark.skipif(shutil.which("avr-gcc") is None, reason="needs avr-gcc (Debian: gcc-avr avr-libc)")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the firmware as the sources give it, compiled as the prebuilt file was."""
    version = subprocess.run(["avr-gcc", "-dumpversion"], capture_output=True, text=True, check=True).stdout.strip()
    if version != COMPILER:
        pytest.skip(f"another compiler ({version}) makes other bytes than {COMPILER}")
    folder = tmp_path_factory.mktemp("built")
    subprocess.run(["make", "-s", "-C", str(FIRMWARE), f"BUILD={folder}", f"{folder}/meterlink.hex"], check=True)
    return folder


@needs_avr
def test_prebuilt_file_is_what_the_sources_give(built: Path) -> None:
    """meterlink.hex, built anew with the compiler that it was built with, is the same to the last byte."""
    assert (built / "meterlink.hex").read_bytes() == (FIRMWARE / "meterlink.hex").read_bytes(), "run make prebuilt"


@needs_avr
def test_sizes_on_the_firmwares_page_are_those_of_the_build(built: Path) -> None:
    """Flash and memory that the page states are what the chip's own tool counts in the program."""
    sizes = subprocess.run(["avr-size", built / "meterlink.elf"], capture_output=True, text=True, check=True).stdout
    text, data, zeroed = (int(one) for one in sizes.splitlines()[1].split()[:3])
    page = (FIRMWARE / "README.md").read_text(encoding="utf-8")
    assert f"{text + data:,} bytes of flash, {data + zeroed:,} bytes of RAM" in page


@needs_avr
def test_another_crystal_does_not_compile(tmp_path: Path) -> None:
    """At 8 MHz the compiler stops with a sentence about the 16 MHz."""
    done = subprocess.run(
        ["avr-gcc", "-mmcu=atmega328p", "-DF_CPU=8000000UL", "-O2", "-std=gnu11", "-I", str(FIRMWARE / "core"), "-c",
         str(FIRMWARE / "avr" / "main.c"), "-o", str(tmp_path / "x.o")],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode != 0
    assert "16 MHz" in done.stderr


def test_fuses_of_the_note_are_the_ones_that_are_meant() -> None:
    """Bits of the data sheet (from memory): crystal at full speed, no boot loader, EEPROM kept through an erase, brown-out at
    4.3 V,
    and neither the programmer's pins nor reset given away."""
    found = {name: {int(x, 16) for x in re.findall(rf"{name}:w:(0x[0-9A-F]{{2}}):m", NOTE)} for name in ("lfuse", "hfuse", "efuse")}
    ((low,), (high,), (extended,)) = found.values()
    assert low & 0x80, "CKDIV8 must be off"
    assert low & 0x40, "CKOUT must be off"
    assert low & 0x0F == 0x0F, "CKSEL: crystal from 8 MHz on"
    assert low & 0x30 == 0x30, "SUT: slowly rising supply"
    assert high & 0x80, "RSTDISBL must be off"
    assert high & 0x40, "DWEN must be off"
    assert not high & 0x20, "SPIEN must be on"
    assert high & 0x10, "WDTON must be off"
    assert not high & 0x08, "EESAVE must be on"
    assert high & 0x01, "BOOTRST must be off"
    assert extended & 0x07 == 0b100, "BODLEVEL 4.3 V"


def test_flashing_lines_name_the_prebuilt_file() -> None:
    """Every line that writes the flash writes the file that lies in the repository, for at least two programmers."""
    lines = re.findall(r"avrdude -c [^\n`]*flash:w:[^\n`]*", NOTE)
    assert len({re.search(r"-c (\S+)", x).group(1) for x in lines if re.search(r"-c (\S+)", x)}) >= 3  # type: ignore[union-attr]
    for line in lines:
        target = re.search(r"flash:w:([^:]+):i", line)
        assert target, line
        assert (NOTES.parent / target[1]).exists()
