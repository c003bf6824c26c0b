"""A made-up portrait for the tests, metered with made-up light.

A key softbox, a fill disk, a white card beside the face, a strip behind the hair, a bare head on the background.  The fill was read
20 cm in front of the face and says so; the background light was re-powered after it was metered, so it is stale.
"""

from __future__ import annotations

import functools
import tempfile
from math import log2
from pathlib import Path
from typing import Any, NamedTuple

from meterlink.library.store import Library
from meterlink.records import Calibration, Light, Measurement, Placement, RangeScale, Setup, new_id
from meterlink.units import format_power
from mobile.desk import Desk, Shot
from mobile.made_up import pulse_for

SENSOR_ID = "simulated-demo"


class Made(NamedTuple):
    """One light of it."""

    name: str
    role: str
    placement: dict[str, Any]
    held_off_m: float | None = 0.0
    source: str = ""


LIGHTS = (
    Made("KEY", "key", {"shape": "rectangle", "width_m": 0.9, "height_m": 0.9, "distance_m": 1.1, "azimuth_deg": 38.0,
                        "elevation_deg": 32.0, "power_stops": -2.0, "diffusers": "inner and front"}),
    Made("FILL", "fill", {"shape": "disk", "width_m": 1.2, "distance_m": 1.7, "azimuth_deg": -42.0, "elevation_deg": 8.0,
                          "power_stops": -2.3}, 0.2),
    Made("CARD", "fill", {"shape": "rectangle", "width_m": 0.8, "height_m": 1.2, "distance_m": 0.7, "azimuth_deg": -80.0},
         0.0, "KEY"),
    Made("HAIR", "hair", {"shape": "rectangle", "width_m": 0.3, "height_m": 1.0, "distance_m": 1.5, "azimuth_deg": 158.0,
                          "elevation_deg": 45.0, "power_stops": -3.0, "grid_deg": 40.0}),
    Made("BACKGROUND", "background", {"shape": "point", "distance_m": 1.3, "azimuth_deg": -152.0, "power_stops": -3.0}),
)  # fmt: skip


def made_up_library(path: Path) -> str:
    """Put a library of this set alone there; return the set's id."""
    data, setup_id = _made_once()
    path.write_bytes(data)
    return setup_id


@functools.cache
def _made_once() -> tuple[bytes, str]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "library.db")
        desk = Desk(Library.open(path))
        setup_id = open_made_up(desk).setup.id
        desk.close()
        return path.read_bytes(), setup_id


def open_made_up(desk: Desk) -> Shot:
    """Make the set anew, meter it with made-up light, and use it."""
    setup = Setup(new_id(), desk.free_name("Made up"), desk.now(), shutter_s=1 / 128, notes="for tests")
    desk.library.add_setup(setup)
    ids: dict[str, str] = {}
    for order, made in enumerate(LIGHTS):
        point = made.role if made.role in ("hair", "rim", "background") else "face"
        light = Light(
            new_id(), setup.id, made.name, made.role, point=point, order=order, source_light_id=ids.get(made.source)
        )
        ids[made.name] = light.id
        desk.library.add_light(light)
        stops = made.placement.get("power_stops")
        text = format_power(stops) if stops is not None else ""
        desk.library.add_placement(Placement(new_id(), light.id, desk.now(), power_text=text, **made.placement))
        desk.library.remember(f"held:{light.id}", made.held_off_m)
    desk.use(setup.id, begin=True)
    _meter(desk, _calibration(desk).id)
    background = next(light for light in desk.shot.lights if light.role == "background")
    return desk.move_light(background.id, power_stops=-2.0, power_text=format_power(-2.0))


def _calibration(desk: Desk) -> Calibration:
    known = desk.library.calibrations(SENSOR_ID)
    if known:
        return known[-1]
    made = Calibration(new_id(), SENSOR_ID, desk.now(), 330.0, ranges=(RangeScale(2e6),), method="simulated")
    desk.library.add_calibration(made)
    return made


def _meter(desk: Desk, calibration_id: str) -> None:
    """Give every light its pop, two seconds apart."""
    at_s = 0.0
    while (request := desk.shot.waiting) is not None:
        pulse = pulse_for(desk.shot, request, request.held_off_m or 0.0)
        if pulse is None:
            desk.skip()
            continue
        at_s += 2.0
        t01_s = pulse.fall_s * log2(10) * 0.693
        desk.take(
            Measurement(
                "flash", at_s, SENSOR_ID, calibration_id, exposure_lxs=pulse.exposure_lxs, u_rel=0.004,
                peak_lx=pulse.peak_lx, t01_s=t01_s, ambient_lx=60.0,
            )
        )  # fmt: skip
