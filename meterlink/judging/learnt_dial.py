"""What a head's dial was found to deliver, learnt from its earlier readings."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.judging.power_curve import PowerCurve, learn_power
from meterlink.judging.prediction import Past
from meterlink.records import Light, Placement


def learnt_curve(light: Light, pasts: Iterable[Past]) -> PowerCurve | None:
    """Return what the dial of this light's head delivers, from those of ``pasts`` that are its own; None if nothing is known."""
    mine = [
        one
        for one in pasts
        if (one.fixture.casefold() == light.fixture.casefold() if light.fixture else one.light_id == light.id)
    ]
    if len(mine) < 2:
        return None
    # What differs by power alone: the same light in the same place, and nothing else before the lamp.
    curve = learn_power(
        (p.placement.power_stops, p.value, p.u_stops, (p.light_id, p.calibration_id, *_place(p.placement))) for p in mine
    )
    return curve if curve.pairs else None


def _place(p: Placement) -> tuple[object, ...]:
    return (p.distance_m, p.azimuth_deg, p.elevation_deg, p.feather_deg, p.shape, p.width_m, p.grid_deg, p.gel, p.diffusers)
