"""The real firmware on the simulated chip, read with a decoder of our own for tests: steady light."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("cobs.cobs")
from chip_reader import POP_MS, READY_MS, Line, of

from hardware_notes.firmware.bench.simulated_chip import BRIGHT_FULL_SCALE_LX, SimulatedChip


@pytest.mark.parametrize("lux", [0.0, 700.0, 25_000.0, 640_000.0, 1_900_000.0])
def test_steady_light_ten_times_a_second(chip: SimulatedChip, line: Line, lux: float) -> None:
    """Steady light comes at 10 Hz as sums whose mean is the light, to a step of the converter and not by its digits."""
    chip.ambient(lux)
    line.after(READY_MS)
    got = of(line.after(1000), "STEADY")
    assert len(got) == 10
    for window in got[1:]:
        mean = (window["sum"] / window["count"] + 0.5) / 1024
        assert abs(mean - (lux / BRIGHT_FULL_SCALE_LX + 0.0123)) <= 0.5 / 1024 + 1e-9
        assert window["count"] == pytest.approx(3846, abs=40)
        assert window["min"] == window["max"]
        assert window["flags"] == 0


def test_noise_dithers_steady_light_below_a_step(chip: SimulatedChip, line: Line) -> None:
    """With noise of a step or so the mean of thousands of conversions is true to a fiftieth of a step."""
    chip.amplifier(noise=0.0015, seed=4)
    chip.ambient(123_456.0)
    line.after(300)
    means = [w["sum"] / w["count"] + 0.5 for w in of(line.after(1000), "STEADY")]
    assert np.mean(means) == pytest.approx((123_456 / BRIGHT_FULL_SCALE_LX + 0.0123) * 1024, abs=0.02)


def test_flickering_light_shows_its_modulation(chip: SimulatedChip, line: Line) -> None:
    """The smallest and largest code of a window show a lamp that flickers with the mains, and it is no pop."""
    chip.ambient(100_000.0, flicker_depth=0.3, flicker_hz=100.0)
    line.after(200)
    messages = line.after(400)
    for window in of(messages, "STEADY"):
        low, high = window["min"] + 0.5 - 0.0123 * 1024, window["max"] + 0.5 - 0.0123 * 1024
        assert (high - low) / (high + low) == pytest.approx(0.3, abs=0.02)
    assert not of(messages, "POP")


def test_saturated_room_is_flagged_and_does_not_stop_the_chip(chip: SimulatedChip, line: Line) -> None:
    """At full scale STEADY and STATUS say so, no pop is invented, no conversion is missed."""
    line.after(READY_MS)
    chip.ambient(3e6)
    messages = line.after(500)
    assert len(of(messages, "STEADY")) >= 4
    assert all(w["flags"] & 1 for w in of(messages, "STEADY")[1:])
    line.send("GET_STATUS")
    (status,) = of(line.after(40), "STATUS")
    assert status["flags"] & 2
    assert len(of(messages, "POP")) == 1, "the step up is taken for a pop, once"
    assert chip.stats().samples_missed == 0


def test_reference_is_measured_and_follows_the_supply(chip: SimulatedChip, line: Line) -> None:
    """GET_STATUS tells the chip's 1.1 V against 0.966 of the supply, within a step of 10 bits; sampling goes on afterwards and a
    pop is kept."""
    line.after(READY_MS)
    for supply_v in (4.5, 5.0, 5.5):
        chip.amplifier(supply_v=supply_v)
        line.send("GET_STATUS")
        (status,) = of(line.after(60), "STATUS")
        assert status["reference"] / 65536 == pytest.approx(1.1 / (0.96614 * supply_v), abs=0.6 / 1024)
        assert status["reference_by_design"] / 65536 == pytest.approx(1.1 / 4.8307, abs=1e-4)
        assert status["reference_tolerance"] / 65536 == pytest.approx(0.1 / 1.1, abs=1e-4)
    line.after(20)
    chip.pop(1.0e6, decay_us=500, rise_us=50)
    assert len(of(line.after(POP_MS), "BLOCK")) == 1
    assert chip.stats().samples_missed == 0
