"""A level is made of its fields by place, for speed: the same as by name."""

from __future__ import annotations

import pytest

from meterlink.records import Calibration, Measurement, RangeScale, Steady, Trouble
from meterlink.sensor.measuring.levels import level
from meterlink.words.told import told

CALIBRATION = Calibration("cal", "s1", 0.0, 330.0, "dome", (RangeScale(2e6, 0.02), RangeScale(2e5, 0.02)), 0.1, "assumed")


@pytest.mark.parametrize("clipped", [False, True])
def test_each_figure_stands_in_its_own_field(clipped: bool) -> None:
    """raw 0.52 on a scale of 200,000 lx with 0.02 of dark is 100,000 lx; min and max are ± a fiftieth of that."""
    sample = Steady(7.0, 0.52, 1, clipped, None, 0.51, 0.53, 0.1, 0.25, 12)

    found = level(sample, "s1", CALIBRATION)

    # A rectangle as wide as the swing of twelve samples: standard deviation width/√12 (GUM 4.3.7), of their mean 1/√12 of it.
    u_rel = 0.02 / 0.5 / 12
    assert found == Measurement(
        kind="steady", at_s=7.0, sensor_id="s1", calibration_id="cal", illuminance_lx=pytest.approx(1e5),
        u_rel=pytest.approx(u_rel), range_index=1, clipped=clipped, modulation=pytest.approx(0.02), held_off_m=0.25,
        note=told("clips_here") if clipped else "",
    )  # fmt: skip
    assert type(found) is Measurement
    assert len(found) == len(Measurement._fields)


def test_no_number_is_incomplete_and_nothing_else() -> None:
    """What cannot be a level says so in its own field: no light, incomplete, neither clipped nor too dim."""
    found = level(Steady(7.0, float("nan"), 0, raw_min=0.1, raw_max=0.2), "s1", CALIBRATION)

    assert found.illuminance_lx is None
    assert found.incomplete
    assert not found.too_dim
    assert not found.clipped
    assert found.note
    assert found.trouble is Trouble.UNREADABLE
