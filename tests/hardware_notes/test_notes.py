"""Notes, drawings and formulas agree; the program of build (a) prints what the reader understands."""

from __future__ import annotations

import importlib.util
import re
import xml.etree.ElementTree as ET
from pathlib import Path
from types import ModuleType

import pytest

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILD_C
from hardware_notes.design.make_notes import NOTES, engineering, made
from hardware_notes.wiring import bench, draw
from meterlink.records import Steady
from meterlink.sensor.measuring.calibrate import ASSUMED_FULL_SCALE_LX, PEDESTAL_RAW


def test_every_computed_table_and_plot_is_up_to_date() -> None:
    """What the notes hold between their marks, and the plots, is what the formulas give now."""
    files = made()
    assert {p.name for p in files} == {"build_b.md", "build_c.md", "range_b.svg", "range_c.svg"}
    for path, text in files.items():
        assert path.read_text(encoding="utf-8") == text, f"run python -m hardware_notes.design.make_notes ({path.name})"


def test_spectral_table_is_up_to_date() -> None:
    """The table of lamp errors is what colour-science's lamps give now."""
    pytest.importorskip("colour")
    from hardware_notes.design.make_spectral import made as spectral_made

    path, text = spectral_made()
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("name", [*draw.DRAWINGS, *bench.DRAWINGS])
def test_drawing_is_up_to_date_and_well_formed(name: str) -> None:
    """Each SVG is what the script draws now, is well-formed XML and keeps its text inside the sheet."""
    text = (NOTES / "wiring" / name).read_text(encoding="utf-8")
    assert text == {**draw.DRAWINGS, **bench.DRAWINGS}[name]()
    root = ET.fromstring(text)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for node in root.iter("{http://www.w3.org/2000/svg}text"):
        size = float(node.attrib["font-size"])
        long = 0.5 * size * len(node.text or "")
        x = float(node.attrib["x"]) - {"middle": long / 2, "end": long}.get(node.attrib["text-anchor"], 0.0)
        assert x >= -4, node.text
        assert x + long <= width, node.text
        assert 0 < float(node.attrib["y"]) < height


def test_drawn_resistors_are_the_computed_ones() -> None:
    """The diagram of build (b) shows the feedback parts that the tables are computed from, and a divider for 2 %."""
    text = draw.build_b()
    for a in BUILD_B.ranges:
        assert f"{engineering(a.r_ohm, 'Ω')} 1 %" in text
        assert f"{engineering(a.c_farad, 'F')} C0G" in text
    for build in (BUILD_B, BUILD_C):
        low, top = draw.lift_bottom_ohm(build), draw.LIFT_TOP_OHM[build.name]
        lift = build.supply_v * low / (low + top)
        assert lift / build.reference_v == pytest.approx(PEDESTAL_RAW, rel=0.03)


def test_design_is_the_sensor_that_the_software_assumes() -> None:
    """Full scales within 6 % of what an uncalibrated sensor is taken for, zero lifted as sensing assumes."""
    for build in (BUILD_B, BUILD_C):
        for a, nominal in zip(build.ranges, ASSUMED_FULL_SCALE_LX, strict=True):
            assert c.full_scale_lx(build, a) == pytest.approx(nominal, rel=0.06)
        assert build.lift_v / build.reference_v == pytest.approx(PEDESTAL_RAW)


def test_links_of_the_notes_lead_somewhere() -> None:
    """Every relative link and picture in the notes exists."""
    for note in NOTES.glob("*.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", note.read_text(encoding="utf-8")):
            assert (NOTES / target).exists(), f"{note.name}: {target}"


def build_a() -> ModuleType:
    """Load the MicroPython program of build (a) under Python."""
    spec = importlib.util.spec_from_file_location("build_a_main", NOTES / "build_a" / "main.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Bus:
    """A stand-in for the two-wire bus: remembers the configuration, gives a count, or is not there."""

    def __init__(self, count: int | None) -> None:
        self.count = count
        self.written: list[tuple[int, int, bytes]] = []

    def writeto_mem(self, address: int, register: int, data: bytes) -> None:
        """Take a register."""
        if self.count is None:
            raise OSError(19)
        self.written.append((address, register, data))

    def readfrom_mem(self, address: int, register: int, length: int) -> bytes:
        """Give the light register."""
        assert (address, register, length) == (0x10, 0x04, 2)
        assert self.count is not None
        return self.count.to_bytes(2, "little")


@pytest.mark.parametrize(("count", "expected"), [(0, 0.0), (278, 512.4), (40_000, 73_728.0)])
def test_build_a_prints_lines_that_the_lux_dialect_reads(count: int, expected: float, capsys: pytest.CaptureFixture[str]) -> None:
    """What the program prints for a count comes back as that illuminance from the shipped dialect."""
    from meterlink.sensor.dialects.dialect_file import find_dialect
    from meterlink.sensor.dialects.text_lines import TextLineDecoder

    bus = Bus(count)
    build_a().main(bus, pause=lambda _: None, times=1)
    printed = capsys.readouterr().out

    decoder = TextLineDecoder(find_dialect("lux-lines"))
    samples = decoder.feed(b"\n" + printed.encode(), 0.0)
    steady = [s for s in samples if isinstance(s, Steady)]
    assert steady[0].illuminance_lx == pytest.approx(expected, abs=0.06)
    # Gain 1/8, 25 ms, switched on.
    assert bus.written == [(0x10, 0x00, (0x1300).to_bytes(2, "little"))]


def test_build_a_says_when_nothing_is_connected_and_when_it_is_too_bright(capsys: pytest.CaptureFixture[str]) -> None:
    """A bus error is a comment line, a full count is OL; neither stops the program."""
    build_a().main(Bus(None), pause=lambda _: None, times=2)
    build_a().main(Bus(65535), pause=lambda _: None, times=1)
    assert capsys.readouterr().out.splitlines() == ["# no sensor: check the four wires"] * 2 + ["OL"]


def test_notes_say_what_never_ran() -> None:
    """The state of each part is stated where a builder looks first."""
    text = (Path(NOTES) / "README.md").read_text(encoding="utf-8")
    assert text.count("never |") == 6
