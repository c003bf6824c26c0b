"""Made-up light for the simulated sensor: what the lights of the set in use would give, so that any set can be tried.

Not a model of real heads: a level that photographers usually give each role, changed by power and by distance through
the source's own falloff; the patches of the simulated set do the held-off dome.
"""

from __future__ import annotations

from math import exp2

from meterlink.metering.walk import Request
from meterlink.photometry.sources import source_of
from meterlink.records import Light, Placement
from meterlink.simulation.studio import Pulse, Studio, StudioLight
from mobile.desk import Shot

USUAL_LXS = {"key": 600.0, "fill": 270.0, "hair": 420.0, "rim": 380.0, "background": 230.0, "other": 220.0}
"""Luminous exposure at the light's point at the usual power and distance; 600 lx·s is about f/13 at ISO 100."""
USUAL_POWER_STOPS = -2.0
USUAL_DISTANCE_M = 1.5
CARD_GAIN = 0.45
"""What a reflector adds, over what its source gives."""
AMBIENT_LX = 60.0


def studio_for(shot: Shot) -> Studio:
    """Return a simulated set with the lights of the set in use."""
    states = shot.view.lights if shot.view else ()
    return Studio(tuple(_light(s.light, s.placement) for s in states), AMBIENT_LX)


def _light(light: Light, placement: Placement | None) -> StudioLight:
    p = placement or Placement("", light.id, 0.0)
    distance = p.distance_m or USUAL_DISTANCE_M
    stops = (p.power_stops - USUAL_POWER_STOPS) if p.power_stops is not None else 0.0
    stops += source_of(p.shape, p.width_m, p.height_m).change_stops(USUAL_DISTANCE_M, distance)
    return StudioLight(
        light.id,
        light.role,
        USUAL_LXS.get(light.role, 60.0) * exp2(stops),
        distance,
        p.azimuth_deg or 0.0,
        p.elevation_deg or 0.0,
        p.shape,
        p.width_m or 0.0,
        p.height_m or 0.0,
    )


def pulse_for(shot: Shot, request: Request, held_off_m: float) -> Pulse | None:
    """Return the pop that the simulated set gives for a request; None when nothing of it can fire."""
    studio = studio_for(shot)
    if request.light_id is None:
        parts = [studio.exposure_lxs(one, held_off_m, "camera", aim="camera") for one in request.lit if one in studio.lights]
        return Pulse(sum(parts)) if parts else None
    light = shot.light(request.light_id)
    if light is None:
        return None
    if light.source_light_id in studio.lights:
        source = studio.exposure_lxs(str(light.source_light_id), held_off_m)
        return Pulse(source * (1 + CARD_GAIN) if request.purpose == "with" else source)
    return Pulse(studio.exposure_lxs(light.id, held_off_m))
