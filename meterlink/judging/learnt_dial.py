"""A head's dial: what it was found to deliver, learnt from its earlier readings, and where else it may stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from meterlink import units
from meterlink.judging.power_curve import PowerCurve
from meterlink.judging.prediction import Past, curve_from
from meterlink.records import Light, Placement

ASSUMED_LOWEST_STOPS = -8.0
WHOLE_STOPS = (-3.0, -2.0, -1.0, 1.0, 2.0, 3.0)
"""A dial is misread or left by whole stops (common practice, no published source)."""
LEAST_STEP_STOPS, MOST_STEP_STOPS = 0.3, 6.0
"""Positions nearer than this to what was said, or farther, are not thought of."""


def learnt_curve(light: Light, pasts: Iterable[Past]) -> PowerCurve | None:
    """Return what the dial of this light's head delivers, from those of ``pasts`` that are its own; None if nothing is known."""
    curve = curve_from(one for one in pasts if one.is_of(light))
    return curve if curve.pairs else None


def power_range(light: Light) -> tuple[float, float]:
    """Lowest and highest power in stops from full; a fixture that says nothing is taken to reach 1/256."""
    return (light.power_min_stops if light.power_min_stops is not None else ASSUMED_LOWEST_STOPS, 0.0)


def powers_before(pasts: Iterable[Past]) -> dict[str, set[float]]:
    """Return ``JudgedSet.powers`` of earlier readings."""
    found: dict[str, set[float]] = {}
    for past in pasts:
        if past.placement.power_stops is not None:
            for name in (past.light.id, past.light.fixture):
                found.setdefault(name, set()).add(past.placement.power_stops)
    return found


def dial_steps(light: Light, placement: Placement | None, powers: Mapping[str, set[float]]) -> dict[float, float]:
    """Stops by which this light's dial may stand elsewhere than was said, with their shares: whole stops, and to where it stood.

    A turn that was said and not made is as usual as all that is misread together: our own estimate, no published source.
    """
    if placement is None or placement.power_stops is None or light.source_light_id:
        return {}
    now = placement.power_stops
    own = powers.get(light.id, set()) | (powers.get(light.fixture, set()) if light.fixture else set())
    lowest, highest = power_range(light)
    before = {round(power - now, 2) for power in own}
    stood = [one for one in before if LEAST_STEP_STOPS <= abs(one) <= MOST_STEP_STOPS and lowest <= now + one <= highest]
    whole = [one for one in WHOLE_STOPS if lowest - 1e-6 <= now + one <= highest + 1e-6]
    ways = [some for some in (stood, whole) if some]
    return {step: sum(1 / len(some) / len(ways) for some in ways if step in some) for step in sorted({*stood, *whole})}


def dial_words(light: Light, placement: Placement, stops: float = 0.0) -> str:
    """The position of a dial, ``stops`` from where it was said to stand, in the fixture's own scale: ``1/4``."""
    if placement.power_stops is None:
        return placement.power_text
    return power_words(light, placement.power_stops + stops)


def power_words(light: Light, power_stops: float) -> str:
    """A power in the fixture's own scale."""
    return units.format_power(power_stops, light.full_power_j, scale_top(light))


def scale_top(light: Light) -> float | None:
    """The top number of a dial of one stop a number; None where there is none, or what somebody else's file says is no number."""
    top = light.details.get("scale_top")
    return float(top) if isinstance(top, int | float) and not isinstance(top, bool) else None
