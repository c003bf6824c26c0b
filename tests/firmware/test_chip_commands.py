"""The real firmware on the simulated chip, read with a decoder of our own for tests: commands and identity."""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator

import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import POP_MS, READY_MS, Line, exposure_raw_s, of

from hardware_notes.firmware.bench import simulated_chip as chip_module
from hardware_notes.firmware.bench.simulated_chip import BRIGHT_FULL_SCALE_LX, DIM_FULL_SCALE_LX, SimulatedChip


def test_identifies_itself_after_start_and_when_asked(chip: SimulatedChip, line: Line) -> None:
    """A chip tells who it is unasked, and again on IDENTIFY, with its id and name from the EEPROM."""
    first = of(line.after(READY_MS), "IDENTITY")
    line.send("IDENTIFY")
    second = of(line.after(5), "IDENTITY")
    assert len(first) == len(second) == 1
    assert first == second
    assert first[0]["id"].hex() == "4d4c000000000001"
    assert first[0]["name"] == "bench dome"
    assert (first[0]["ring"], first[0]["adc_bits"], first[0]["interval_ns"], first[0]["ranges"]) == (1024, 10, 13000, 2)
    assert first[0]["capabilities"] == 0b100011
    assert line.damaged == 0
    assert line.raw[0] == 0, "a sender begins with 0x00"


def test_id_and_name_are_the_sensors_own() -> None:
    """Two chips with different EEPROMs tell different ids."""
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    seen = []
    for sensor_id, name in (("00112233445566ff", "Kuppel für Anna"), ("ffffffffffffffff", "ignored when erased")):
        with SimulatedChip(sensor_id=sensor_id, name=name) as one:
            line = Line(one)
            seen += [(m["id"].hex(), m["name"]) for m in of(line.after(READY_MS), "IDENTITY")]
            line.close()
    assert seen == [("00112233445566ff", "Kuppel für Anna"), ("0" * 16, "ignored when erased")]


def test_ranges(chip: SimulatedChip, line: Line) -> None:
    """SET_RANGE closes the other feedback: ten times the signal, no pop from the step, windows that do not mix."""
    chip.ambient(50_000.0)
    line.after(300)
    assert chip.stats().range_pins == 1
    sequence = line.send("SET_RANGE", b"\x01")
    messages = line.after(500)
    assert chip.stats().range_pins == 0
    assert of(messages, "REPLY") == [{"command": 0x82, "its_sequence": sequence, "code": 0}]
    assert not of(messages, "POP")
    for window in of(messages, "STEADY"):
        full_scale_lx = (BRIGHT_FULL_SCALE_LX, DIM_FULL_SCALE_LX)[window["range"]]
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert abs(mean - (50_000 / full_scale_lx + 0.0123)) <= 0.5 / 1024 + 1e-9
        assert window["max"] - window["min"] <= 1
    truth_lxs = chip.pop(1.0e5, decay_us=700, rise_us=50)
    block = of(line.after(POP_MS), "BLOCK")[0]
    assert block["range"] == 1
    assert exposure_raw_s(block) * DIM_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    line.send("SET_RANGE", b"\x02")
    assert of(line.after(20), "REPLY")[0]["code"] == 2
    assert chip.stats().range_pins == 0


def test_arming(chip: SimulatedChip, line: Line) -> None:
    """Disarmed it sees no pop but steady light; armed with a threshold it sees what is above that only."""
    line.after(READY_MS)
    line.send("ARM", struct.pack("<BH", 0, 0))
    line.after(10)
    chip.pop(1e6, decay_us=400, rise_us=30)
    messages = line.after(250)
    assert not of(messages, "POP")
    assert of(messages, "STEADY")
    line.send("ARM", struct.pack("<BH", 1, 0x4000))
    line.send("GET_STATUS")
    messages = line.after(30)
    assert of(messages, "STATUS")[0]["threshold"] == 0x4000
    chip.rectangle(0.2 * BRIGHT_FULL_SCALE_LX, width_us=500)
    assert not of(line.after(POP_MS), "POP")
    chip.rectangle(0.3 * BRIGHT_FULL_SCALE_LX, width_us=500)
    assert len(of(line.after(POP_MS), "POP")) == 1


def test_steady_rate(chip: SimulatedChip, line: Line) -> None:
    """STEADY_RATE sets how often steady light comes, up to 50 Hz, and 0 ends it; more is not possible."""
    line.after(READY_MS)
    for rate_hz, wanted in ((50, 50), (2, 2), (0, 0)):
        line.send("STEADY_RATE", bytes([rate_hz]))
        line.after(30)
        assert abs(len(of(line.after(1000), "STEADY")) - wanted) <= (1 if rate_hz else 0)
    line.send("STEADY_RATE", b"\x33")
    assert of(line.after(20), "REPLY")[0]["code"] == 2


def test_damaged_commands_are_counted_and_not_obeyed(chip: SimulatedChip, line: Line) -> None:
    """Garbage, a flipped bit, a short body and an overlong frame are refused without an answer; a good one is obeyed."""
    line.after(READY_MS)
    line.send_bytes(bytes(random.Random(1).randrange(1, 256) for _ in range(200)) + b"\0")
    line.after(40)
    line.send_bytes(bytes.fromhex("0201058204010101050201020304") + b"\0")
    line.send("SET_RANGE")
    line.send_bytes(b"\x33" * 500 + b"\0")
    messages = line.after(80)
    assert not of(messages, "REPLY")
    line.send(0xEE)
    line.send("GET_STATUS")
    messages = line.after(30)
    assert of(messages, "REPLY")[0]["code"] == 1
    assert of(messages, "STATUS")[0]["frames_refused"] == 4
    assert chip.stats().range_pins == 1
    assert chip.stats().samples_missed == 0


def test_flood_of_garbage_neither_stops_sampling_nor_the_chip(chip: SimulatedChip, line: Line) -> None:
    """4,000 bytes at full speed during a pop: no conversion is missed, the block is whole, commands are obeyed after."""
    line.after(READY_MS)
    chances = random.Random(2)
    line.send_bytes(bytes(chances.randrange(256) for _ in range(3000)))
    truth_lxs = chip.pop(1e6, decay_us=400, rise_us=30, at_ms=30)
    messages = line.after(250)
    assert exposure_raw_s(of(messages, "BLOCK")[0]) * BRIGHT_FULL_SCALE_LX == pytest.approx(truth_lxs, rel=0.02)
    line.send_bytes(b"\0")
    line.send("IDENTIFY")
    assert len(of(line.after(30), "IDENTITY")) == 1
    assert chip.stats().samples_missed == 0


def test_reset_in_mid_block(chip: SimulatedChip, line: Line) -> None:
    """A reset cuts the block in two: one damaged frame, then IDENTITY, numbers from the beginning, and all works."""
    line.after(READY_MS)
    chip.pop(1e6, decay_us=400, rise_us=30)
    line.after(45)
    chip.reset()
    messages = line.after(READY_MS)
    assert line.damaged == 1
    assert [m.kind for m in messages][-1] == "IDENTITY"
    assert messages[-1].sequence == 0
    chip.pop(1e6, decay_us=400, rise_us=30)
    (block,) = of(line.after(POP_MS), "BLOCK")
    assert block["pop"] == 1
    assert line.damaged == 1


def test_sequence_numbers_count_every_frame(chip: SimulatedChip, line: Line) -> None:
    """Through pops, steady light and commands no number is left out or used twice."""
    messages = line.after(READY_MS)
    for i in range(5):
        chip.pop(1e6, decay_us=200, rise_us=30)
        line.send(("GET_STATUS", "IDENTIFY")[i % 2])
        messages += line.after(130)
    assert [m.sequence for m in messages] == list(range(len(messages)))


@pytest.fixture
def nameless() -> Iterator[SimulatedChip]:
    """A chip whose memory was never written."""
    reason = chip_module.why_not()
    if reason:
        pytest.skip(reason)
    with SimulatedChip(sensor_id="0000000000000000", name="") as started:
        yield started


def test_identity_is_given_once_over_the_line_and_kept(nameless: SimulatedChip) -> None:
    """A chip without an id takes one, tells it and the name also after a reset; another id is refused, another name is not."""
    chip, line = nameless, Line(nameless)
    line.after(READY_MS)
    chosen, other = bytes.fromhex("4d4c00aabbccddee"), bytes.fromhex("4d4c00aabbccddef")

    def ask(unique_id: bytes, name: bytes) -> int:
        line.send("SET_IDENTITY", unique_id + bytes([len(name)]) + name)
        return int(of(line.after(300), "REPLY")[0]["code"])

    def told() -> tuple[bytes, str]:
        line.send("IDENTIFY")
        (identity,) = of(line.after(50), "IDENTITY")
        return identity["id"], identity["name"]

    assert told() == (bytes(8), "")
    assert ask(b"\xff" * 8, b"x") == 2
    assert ask(bytes(8), b"x") == 2
    assert ask(chosen, b"my dome") == 0
    assert told() == (chosen, "my dome")
    chip.reset()
    line.after(READY_MS)
    assert told() == (chosen, "my dome")
    assert ask(other, b"stolen") == 2
    assert ask(chosen, b"Stirn") == 0
    assert ask(chosen, b"n" * 33) == 2
    assert told() == (chosen, "Stirn")
    line.close()
