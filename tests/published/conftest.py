"""Fixtures of the published checks."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from meterlink.judging.judge import judge_set
from meterlink.records import Calibration, Light, Placement, Reading, Settings, Setup, new_id
from meterlink.tables.ratios import RatioTable, ratio_table


@pytest.fixture
def metered() -> Callable[..., RatioTable]:
    """Return the ratio table of a set whose lights gave these exposures (lx·s) right at the face."""

    def make(camera_offset_stops: float = 0.0, filter_stops: float = 0.0, **exposures: float) -> RatioTable:
        setup = Setup(
            new_id(), "S", 0.0, camera_offset_stops=camera_offset_stops, filter_stops=filter_stops, shutter_s=1 / 128
        )
        calibration = Calibration(new_id(), "s", 0.0, 330.0, u_scale_rel=0.0)
        lights, placements, readings = [], {}, []
        for order, (name, exposure) in enumerate(exposures.items()):
            light = Light(new_id(), setup.id, name, name.lower(), order=order)
            placement = Placement(
                new_id(), light.id, 0.0, "disk", 0.9, None, 1.0, 0.01, azimuth_deg=0.0, elevation_deg=0.0
            )
            lights.append(light)
            placements[light.id] = placement
            readings.append(
                Reading(
                    new_id(),
                    setup.id,
                    light.id,
                    placement.id,
                    calibration.id,
                    "s",
                    0.0,
                    exposure_lxs=exposure,
                    held_off_m=0.0,
                    u_held_off_m=0.005,
                )
            )
        return ratio_table(judge_set(setup, lights, placements, readings, {calibration.id: calibration}, Settings()))

    return make
