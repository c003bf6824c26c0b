"""Notes, drawings and formulas agree."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILDS
from hardware_notes.design.make_notes import NOTES, engineering, made
from hardware_notes.wiring import bench, boards, draw
from meterlink.sensor.measuring.calibrate import ASSUMED_FULL_SCALE_LX, PEDESTAL_RAW


def test_every_computed_table_and_plot_is_up_to_date() -> None:
    """What the notes hold between their marks, and the plots, is what the formulas give now."""
    files = made()
    assert {p.name for p in files} == {"build_b.md", "front_end_d.md", "receptors.md", "range_b.svg", "range_d.svg"}
    for path, text in files.items():
        assert path.read_text(encoding="utf-8") == text, f"run python -m hardware_notes.design.make_notes ({path.name})"


def test_spectral_table_is_up_to_date() -> None:
    """The table of lamp errors is what colour-science's lamps give now."""
    pytest.importorskip("colour")
    from hardware_notes.design.make_spectral import made as spectral_made

    path, text = spectral_made()
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("name", [*draw.DRAWINGS, *bench.DRAWINGS, *boards.DRAWINGS])
def test_drawing_is_up_to_date_and_well_formed(name: str) -> None:
    """Each SVG is what the script draws now, is well-formed XML and keeps its text inside the sheet."""
    text = (NOTES / "wiring" / name).read_text(encoding="utf-8")
    assert text == {**draw.DRAWINGS, **bench.DRAWINGS, **boards.DRAWINGS}[name]()
    root = ET.fromstring(text)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for node in root.iter("{http://www.w3.org/2000/svg}text"):
        if "transform" in node.attrib:
            continue  # turned by a quarter: the names of leads, above or below the board
        size = float(node.attrib["font-size"])
        long = 0.5 * size * len(node.text or "")
        x = float(node.attrib["x"]) - {"middle": long / 2, "end": long}.get(node.attrib["text-anchor"], 0.0)
        assert x >= -4, node.text
        assert x + long <= width, node.text
        assert 0 < float(node.attrib["y"]) < height


@pytest.mark.parametrize("build", BUILDS, ids=lambda b: b.name)
def test_drawn_resistors_are_the_computed_ones(build: c.Build) -> None:
    """Circuit and breadboard show the parts that the tables are computed from, with one tolerance, and a divider for 2 %."""
    for text in (draw.DRAWINGS[f"build_{build.name}.svg"](), boards.DRAWINGS[f"breadboard_{build.name}.svg"]()):
        for ohm in (build.dim_ohm, build.bright_ohm):
            assert f"{engineering(ohm, 'Ω')} 1 %" in text
        assert f"{engineering(build.feedback_f, 'F')} C0G" in text
        for ohm in (build.lift_top_ohm, build.lift_bottom_ohm, build.filter_ohm):
            assert engineering(ohm, "Ω") in text
    assert build.lift_v / build.reference_v == pytest.approx(PEDESTAL_RAW, rel=0.03)


COMMON_JOINTS = (
    "D1.1 U2.2 R1.2 C1.2 U3.4",
    "U2.1 R1.1 C1.1 R2.2 R5.1",
    "U3.3 R2.1",
    "U3.5 R6.1 R7.1",
    "U2.3 R3.1 R4.1 C2.1",
    "U2.6 U2.7",
)
JOINTS = {
    "b": (
        *COMMON_JOINTS,
        "R6.2 U1.4",
        "R5.2 C3.1 U1.23",
        "R3.2 U1.20 R8.1 R9.1 C6.1 C7.1",
        "U1.21 C8.1",
        "U1.9 X1.1 C10.1",
        "U1.10 X1.2 C11.1",
        "U1.1 R10.2 C12.2 ISP_5:_RESET",
        "C12.1 USB_module:_DTR",
        "U1.2 USB_module:_TXD",
        "U1.3 USB_module:_RXD",
        "U1.17 ISP_4:_MOSI",
        "U1.18 ISP_1:_MISO",
        "U1.19 ISP_3:_SCK",
        "U1.7 U2.8 U3.14 R8.2 R10.1 C4.1 C5.1 C9.1 C13.1 USB_module:_5_V ISP_2:_5_V",
        "U1.8 U1.22 U2.4 U2.5 U3.7 U3.6 U3.12 U3.13 D1.2 R4.2 R7.2 R9.2 C2.2 C3.2 C4.2 C5.2 C6.2 C7.2 C8.2 C9.2 C10.2 C11.2 C13.2"
        " USB_module:_GND ISP_6:_GND",
    ),
    "d": (
        *COMMON_JOINTS,
        "R6.2 U1.29",
        "R5.2 C3.1 U1.31",
        "R3.2 U1.35 U4.1",
        "U1.36 R8.1",
        "R8.2 U2.8 U3.14 C4.1 C5.1 C6.1",
        "U1.3 U1.33 U2.4 U2.5 U3.7 U3.6 U3.12 U3.13 U4.2 D1.2 R4.2 R7.2 C2.2 C3.2 C4.2 C5.2 C6.2",
    ),
}
"""The circuit, written by hand from the makers' pin lists (from memory): what must be joined, and nothing else."""


@pytest.mark.parametrize(("name", "layout"), [("b", boards.board_b()), ("d", boards.board_d())], ids=["b", "d"])
def test_breadboard_joins_what_the_circuit_joins(name: str, layout: boards.Layout) -> None:
    """Strips, rails and wires of the drawing give the circuit's joints exactly; no hole holds two legs; legs reach."""
    wanted = {frozenset(x.replace("_", " ") for x in joint.split()) for joint in JOINTS[name]}
    assert layout.nets() == wanted
    holes = [hole for _, hole in layout.holes()]
    assert len(holes) == len(set(holes))
    for part in layout.parts:
        (x1, y1), (x2, y2) = boards.place(part.one), boards.place(part.other)
        long_mm = 2.54 / boards.PITCH * ((x1 - x2) ** 2 + (y1 - y2) ** 2) ** 0.5
        assert 2.5 <= long_mm <= (26 if part.kind == "resistor" else 22), part.name


def test_a_wire_in_the_wrong_hole_is_seen() -> None:
    """The same layout with one end of a wire a row off no longer gives the circuit's joints."""
    layout = boards.board_b()
    wires = tuple(w._replace(other="b13") if w.other == "b12" else w for w in layout.wires)
    assert layout._replace(wires=wires).nets() != layout.nets()


EXTRA_WIRES = (
    ("build_b.md", r"for this test only\*\* a wire from (\w+) to", boards.board_b()),
    ("front_end_d.md", r"only\*\* a wire from (\w+) to", boards.board_d()),
    ("build_b.md", r"A0 \(PC0\) to (\w+), its D2 \(PD2\) to (\w+);", boards.board_b()),
    ("build_d.md", r"20's row: (\w+)\), GND to T–, SDA to GP4 \(pin 6: (\w+)\), SCL to GP5 \(pin 7: (\w+)\)", boards.board_d()),
)


@pytest.mark.parametrize(("note", "words", "layout"), EXTRA_WIRES, ids=["b-test", "d-test", "b-bare", "d-ranger"])
def test_a_wire_that_only_a_step_names_finds_its_hole_free(note: str, words: str, layout: boards.Layout) -> None:
    """No part, chip or wire of the drawing stands in the hole that a step sends one more wire to."""
    found = re.search(words, (NOTES / note).read_text(encoding="utf-8"))
    assert found, words
    taken = {hole for _, hole in layout.holes()}
    assert not taken & set(found.groups())


def test_leads_of_the_programmer_are_the_drawn_ones() -> None:
    """The holes that the step names for USB module and programmer are those of the drawing."""
    note = (NOTES / "build_b.md").read_text(encoding="utf-8").replace("–", "-")
    drawn = {lead.name: lead.hole for lead in boards.board_b().leads}
    for name, pin, hole in re.findall(r"(MISO|5 V|SCK|MOSI|RESET|GND) \((\d)\) ([a-jTB+-]+\d+)", note):
        assert drawn.pop(f"ISP {pin}: {name}") == hole
    for name, hole in re.findall(r"(TXD|RXD|DTR)[^,;.]* (?:to )(a\d+)", note):
        assert drawn.pop(f"USB module: {name}") == hole
    assert set(drawn) == {"USB module: 5 V", "USB module: GND"}


@pytest.mark.parametrize("build", BUILDS, ids=lambda b: b.name)
def test_design_is_the_sensor_that_the_software_assumes(build: c.Build) -> None:
    """Full scales within 6 % of what an uncalibrated sensor is taken for, zero lifted as sensing assumes."""
    for a, nominal in zip(build.ranges, ASSUMED_FULL_SCALE_LX, strict=True):
        assert c.full_scale_lx(build, a) == pytest.approx(nominal, rel=0.06)


def test_firmware_knows_the_designs_reference() -> None:
    """The 4.83 V of the firmware and of the light bench are the design's converter reference, 5 V less a resistor's share."""
    header = (NOTES / "firmware" / "avr" / "board.h").read_text(encoding="utf-8")
    bench_source = (NOTES / "firmware" / "bench" / "light.c").read_text(encoding="utf-8")
    assert f"1.1 / {BUILD_B.reference_v:.4f} " in header
    assert f"({BUILD_B.reference_v:.4f} / 5.0)" in bench_source


def test_connections_of_the_firmware_are_those_of_its_source_and_its_design() -> None:
    """Whoever builds the board by the firmware's page joins the pins that its source drives, and lifts the zero as assumed."""
    page = (NOTES / "firmware" / "README.md").read_text(encoding="utf-8").split("## Connections")[1]
    source = (NOTES / "firmware" / "avr" / "board.h").read_text(encoding="utf-8")
    pins = re.compile(r"\b(?:P[BCD]\d|ADC\d)\b")
    assert set(pins.findall(page)) == set(pins.findall(source))
    assert [int(one) / 100 for one in re.findall(r"(\d+) % of full scale", page)] == [PEDESTAL_RAW]
    for nominal in ASSUMED_FULL_SCALE_LX:
        assert f"{nominal:,.0f} lx" in page


def test_links_of_the_notes_lead_somewhere() -> None:
    """Every relative link and picture in the notes exists."""
    for note in NOTES.glob("*.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", note.read_text(encoding="utf-8")):
            assert (NOTES / target).exists(), f"{note.name}: {target}"


def test_notes_say_what_never_ran() -> None:
    """The state of each part is stated where a builder looks first."""
    text = (Path(NOTES) / "README.md").read_text(encoding="utf-8")
    assert text.count("never |") == 7
