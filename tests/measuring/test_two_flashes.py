"""Two flashes in one record: a pre-flash is left out and told, two heads are asked about, nothing is summed in silence."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from meterlink.records import Calibration, Measurement, RangeScale, Segment, Trouble, WaveBlock
from meterlink.sensor.measuring.flash import measure
from meterlink.simulation.studio import Pulse

FULL_LX = 2e6
CALIBRATION = Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(FULL_LX, 0.02),))


def measured(light: Callable[[float], float], interval_s: float) -> Measurement:
    """Return what the sensor makes of light in a record of 1024 samples of 8 bits, 128 of them before."""
    rng = np.random.default_rng(3)
    level = np.array([light((k + 0.3) * interval_s) if k >= 0 else 0.0 for k in range(-128, 896)]) + 60.0
    codes = np.clip(np.floor((level / FULL_LX + 0.02) * 256 + rng.normal(0.0, 0.5, 1024)), 0, 255).astype(np.uint8)
    return measure(WaveBlock(1.0, 1, codes.tobytes(), 8, 8, (Segment(0, 1024, interval_s),), 128), "s", CALIBRATION)


def pair(first: float, second: float, lag_s: float, fall_s: float = 0.5e-3) -> Callable[[float], float]:
    """Two flashes, in lx·s."""
    a, b = Pulse(first, fall_s=fall_s), Pulse(second, fall_s=fall_s)
    return lambda t: a.illuminance_lx(t) + b.illuminance_lx(t - lag_s)


@pytest.mark.parametrize(("lag_s", "interval_s"), [(6e-3, 13e-6), (30e-3, 52e-6), (70e-3, 104e-6)])
@pytest.mark.parametrize("stops", [0.7, 2.1, 3.0])
def test_a_pre_flash_in_the_record_is_left_out_and_told(lag_s: float, interval_s: float, stops: float) -> None:
    """The later, stronger one is the light; how far ahead and how much weaker the other was stands beside it."""
    found = measured(pair(400.0 / 2**stops, 400.0, lag_s), interval_s)

    assert not found.incomplete
    assert found.exposure_lxs == pytest.approx(400.0, rel=0.05)
    assert found.evidence is not None
    assert found.evidence.apart_s == pytest.approx(lag_s, rel=0.05)
    assert found.evidence.apart_stops == pytest.approx(stops, abs=0.4)


@pytest.mark.parametrize(("lag_s", "interval_s", "fall_s"), [(2.5e-3, 13e-6, 5e-4), (6e-3, 13e-6, 5e-4), (70e-3, 104e-6, 2e-3)])
@pytest.mark.parametrize("stops", [-0.3, 0.0, 0.3])
def test_two_flashes_alike_are_asked_about(lag_s: float, interval_s: float, fall_s: float, stops: float) -> None:
    """Two heads fired together?  Not summed in silence; the sum is there for a pop of all."""
    found = measured(pair(300.0, 300.0 * 2**stops, lag_s, fall_s), interval_s)

    assert (found.incomplete, found.trouble) == (True, Trouble.TWO_FLASHES)
    assert found.exposure_lxs == pytest.approx(300.0 * (1 + 2**stops), rel=0.05)
    assert found.evidence is not None
    assert found.evidence.apart_s == pytest.approx(lag_s, rel=0.05)
    assert found.evidence.apart_stops == pytest.approx(stops, abs=0.2)


def test_a_weaker_flash_afterwards_is_asked_about() -> None:
    """A second head at a lower power, or a glitch: which of them is the light's cannot be told."""
    found = measured(pair(400.0, 130.0, 5e-3), 13e-6)

    assert (found.incomplete, found.trouble) == (True, Trouble.WHICH_FLASH)


def test_one_flash_with_a_dip_in_it_is_one_flash() -> None:
    """Two humps with light between them are one head's pulse: nothing is asked."""
    found = measured(pair(300.0, 200.0, 1.0e-3), 13e-6)

    assert found.trouble is None
    assert found.exposure_lxs == pytest.approx(500.0, rel=0.05)
