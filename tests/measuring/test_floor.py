"""Small pops on a converter that stands at its lowest code before and after them."""

from __future__ import annotations

import math
import random

import pytest

from meterlink.records import Calibration, RangeScale, Segment, Steady, WaveBlock
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.measuring import flash
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.studio import Pulse
from meterlink.words.sentences import level


def exposures(exposure_lxs: float, fall_s: float, noise_codes: float, ambient_lx: float) -> list[tuple[float, float]]:
    """Return (relative error, stated relative uncertainty) of twelve pops, at twelve phases of the converter."""
    chip = ChipModel(noise_codes=noise_codes, seed=3)
    chip.ambient_lx = ambient_lx
    calibration, decoder = default_calibration(chip.identity), NativeDecoder()
    decoder.feed(chip.restart(), 0.0)
    found = []
    for _ in range(12):
        (room,) = decoder.feed(chip.steady(1.0), 1.0)
        shown = chip.pop(Pulse(exposure_lxs, fall_s=fall_s), 1.0)
        assert shown is not None
        (block,) = decoder.feed(shown.block, 1.0)
        assert isinstance(block, WaveBlock)
        assert isinstance(room, Steady)
        pop = flash.measure(block, "s", calibration, room)
        assert pop.exposure_lxs is not None
        found.append((pop.exposure_lxs / exposure_lxs - 1.0, pop.u_rel))
    return found


@pytest.mark.parametrize("noise_codes", [0.0, 0.5])
@pytest.mark.parametrize("ambient_lx", [60.0, 1000.0, 4000.0, 30_000.0])
@pytest.mark.parametrize(("exposure_lxs", "fall_s"), [(170.0, 0.8e-3), (380.0, 0.8e-3), (1200.0, 0.8e-3), (60.0, 0.25e-3)])
def test_small_pops_are_right_whatever_the_room_is(
    exposure_lxs: float, fall_s: float, ambient_lx: float, noise_codes: float
) -> None:
    """A tenth of the range or more: the mean error stays below 5 % (0.07 stop) and within twice what is stated."""
    found = exposures(exposure_lxs, fall_s, noise_codes, ambient_lx)
    mean = math.fsum(e for e, _ in found) / len(found)
    stated = math.sqrt(math.fsum(u * u for _, u in found) / len(found))
    assert abs(mean) < 0.05
    assert abs(mean) < 2.2 * stated


def test_a_level_above_the_floor_is_left_alone() -> None:
    """With a dark level of some codes, as a good build has it, nothing is added and errors are those of the noise."""
    assert all(abs(e) < 0.04 for e, _ in exposures(380.0, 0.8e-3, 0.5, 40_000.0))


def test_the_foot_of_a_pop_is_no_room_light() -> None:
    """A trigger sees the light when it has risen already: of five samples before it three are the pop's, and are not subtracted."""
    rise, fall, step_s, peak, room = 4.0, 40.0, 13e-6, 150.0, 20.0
    top = (fall / rise) ** (-rise / (fall - rise)) - (fall / rise) ** (-fall / (fall - rise))
    scale = RangeScale(2e6, 0.02)
    truth = peak * (fall - rise) / top * scale.full_scale_lx / 256 * step_s
    chance, held = random.Random(2), []
    for _ in range(12):
        moments = [k - 1.5 for k in range(400)]
        light = [room + peak * (math.exp(-t / fall) - math.exp(-t / rise)) / top if t > 0.0 else room for t in moments]
        data = bytes(int(one + chance.gauss(0.0, 0.6)) for one in light)
        block = WaveBlock(1.0, 1, data, 8, 8, (Segment(0, 400, step_s),), 5)
        found = flash.measure(block, "s", Calibration("c", "s", 0.0, 330.0, ranges=(scale,)))
        held.append(abs((found.exposure_lxs or 0.0) / truth - 1.0) <= 2.0 * found.u_rel)
    assert sum(held) >= 11


def test_live_light_that_a_range_cannot_resolve_is_said_to_be_below_it(calibration: Calibration) -> None:
    """39.1 lx on a range of 2,000,000 lx would be a figure out of noise; the sensitive range tells ten times less."""
    said = [str(level(lx, calibration, range_index)) for lx, range_index in ((39.1, 0), (39.1, 1), (250.0, 1), (4214.0, 0))]

    assert said == ["below 2,000 lx now", "below 200 lx now", "250 lx now", "4,210 lx now"]
