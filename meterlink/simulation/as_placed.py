"""What a simulated sensor sees of *her* set: the light that is waited for fires, as it is placed and powered.

So that first steps without hardware behave as the real thing: the pop belongs to the light that was asked for, a reading at
another power or distance comes out as it should, a card adds to its source, and a dome held off reads high.  How much a role
gives is made up, and said to be simulated wherever it is shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import dist

from meterlink.photometry.colour import kelvin, mired, mix, xy_of_cct
from meterlink.records import Light, Placement
from meterlink.simulation.studio import FACE, Pulse, StudioLight, at_dome, received

LEVELS_LXS = {"key": 230.0, "fill": 75.0, "hair": 130.0, "rim": 120.0, "background": 90.0, "other": 140.0}
"""Light at the point of a role's light at quarter power from 1.2 m: a portrait at about f/8, ISO 100."""
USUAL_M, USUAL_POWER_STOPS = 1.2, -2.0
CARD = 0.3
"""What a card sends back of its source's light on the face."""
UNDECLARED_M = 0.03
"""A hand's usual distance when nobody says any."""
DAYLIGHT_K = 5600.0
"""What a flash tube is made for (common practice, no published source)."""
COOLER_MIRED = -1.5
"""How a head's colour goes with each stop that it is turned down; made up."""
GELS_MIRED = {"cto": 159.0, "cts": 145.0, "ctb": -137.0}
"""Shift of a full gel by the trade's name; from memory."""
PARTS = {"full": 1.0, "3/4": 0.75, "half": 0.5, "1/2": 0.5, "quarter": 0.25, "1/4": 0.25, "eighth": 0.125, "1/8": 0.125}


def studio_light(light: Light, placement: Placement) -> StudioLight:
    """The light as the simulated studio integrates it, with what it gives at its point."""
    shape = placement.shape if placement.width_m else "point"
    made = StudioLight(
        light.name, light.role, 1.0, placement.distance_m or USUAL_M, placement.azimuth_deg or 0.0,
        placement.elevation_deg or 0.0, shape, placement.width_m or 0.0, placement.height_m or placement.width_m or 0.0,
    )  # fmt: skip
    usual = received(made._replace(distance_m=USUAL_M), FACE, "light", "dome")
    nearer = received(made, FACE, "light", "dome") / usual if usual > 0 else 1.0
    power = placement.power_stops if placement.power_stops is not None else USUAL_POWER_STOPS
    return made._replace(exposure_lxs=LEVELS_LXS[light.role] * nearer * 2.0 ** (power - USUAL_POWER_STOPS))


def pulse_of(
    lights: Iterable[Light], placements: Mapping[str, Placement], *, light_id: str | None, purpose: str, lit: tuple[str, ...] = (),
    held_off_m: float | None = None, held_off_toward: str = "light", aim: str = "light", **_of_no_matter: object,
) -> Pulse | None:  # fmt: skip
    """Return the flash that the dome gets from what is waited for (a request's fields); None when nothing fires (room light)."""
    by_id = {light.id: light for light in lights}
    held = UNDECLARED_M if held_off_m is None else held_off_m
    if purpose == "room":
        return None
    total = 0.0
    tints: list[tuple[float, float, float]] = []
    # A card that stands there throws back what its source sends it, whether or not it was named.
    standing = [one.id for one in by_id.values() if one.source_light_id in lit and one.id not in lit]
    for one in (*lit, *standing) if light_id is None else (light_id,):
        light = by_id.get(one)
        if light is None:
            return None
        own = studio_light(light, placements.get(one) or Placement("", one, 0.0))
        source = by_id.get(light.source_light_id or "")
        if source is None:
            got = at_dome(own, held, held_off_toward, aim)
            total += got
            tints.append((*chromaticity(placements.get(one)), got))
            continue
        feeding = studio_light(source, placements.get(source.id) or Placement("", source.id, 0.0))
        if purpose in ("with", "without"):
            # The dome looks at the card and sees its source from the side.
            a, b = feeding.position, own.position
            cosine = sum(x * y for x, y in zip(a, b, strict=True)) / (dist(a, FACE) * dist(b, FACE))
            total += feeding.exposure_lxs * (1.0 + cosine) / 2.0
        if purpose != "without":
            total += CARD * at_dome(own._replace(exposure_lxs=feeding.exposure_lxs), held, held_off_toward, aim)
    return Pulse(total, xy=mix(tints) if tints else chromaticity(None)) if total > 0 else None


def chromaticity(placement: Placement | None) -> tuple[float, float]:
    """Return x and y of a head as it is powered, through its gel; a gel of another name than CTO, CTS or CTB changes nothing."""
    power = placement.power_stops if placement is not None and placement.power_stops is not None else USUAL_POWER_STOPS
    shift = COOLER_MIRED * -power
    words = placement.gel.lower().split() if placement is not None else []
    full = next((GELS_MIRED[word] for word in words if word in GELS_MIRED), 0.0)
    part = next((PARTS[word] for word in words if word in PARTS), 1.0)
    return xy_of_cct(kelvin(mired(DAYLIGHT_K) + shift + full * part))
