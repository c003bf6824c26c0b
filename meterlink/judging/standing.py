"""Which reading of a light stands: the one of its present placement, at its own point.

After a move or a change of power the old one is *stale* and never shown as current.  A passive reflector is read as the
difference of two pops of its source, with and without it, and is stale as soon as its source has moved.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot, log, sqrt
from typing import Any, NamedTuple

from meterlink.judging.judged_set import value_of
from meterlink.records import Light, Placement, Reading
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

_LN2 = log(2.0)


class Standing(NamedTuple):
    """What there is of a light: a reading, why it no longer stands, and what to do where there is none."""

    reading: Reading | None
    stale_why: Told = NOTHING
    to_do: Told = NOTHING


def standing_of(
    light: Light, placements: Mapping[str, Placement], by_light: Mapping[str, list[Reading]], u_pop_stops: float
) -> Standing:
    """Return the reading that stands for a light.

    ``placements`` maps a light's id to its present placement; ``by_light`` to its effective readings, oldest first;
    ``u_pop_stops`` is the spread of a head from pop to pop.
    """
    placement = placements.get(light.id)
    if light.source_light_id:
        near = by_light.get(light.id, []) + by_light.get(light.source_light_id, [])
        near.sort(key=lambda r: r.id)
        return Standing(*_reflector_state(light, placement, placements.get(light.source_light_id), near, u_pop_stops))
    reading, stale_why = _direct_state(light, placement, by_light.get(light.id, []))
    return Standing(reading, stale_why, told("meter_it", do=Do("meter", light=light.name)))


def _same_way(a: Reading, b: Reading) -> bool:
    """Say whether two readings were taken with the dome in the same way, so that one may be taken from the other."""
    return (
        a.kind == b.kind
        and a.receptor == b.receptor
        and a.point == b.point
        and a.aim == b.aim
        and _held_alike(a, b)
        and a.held_off_toward == b.held_off_toward
        and a.calibration_id == b.calibration_id
    )


def _held_alike(a: Reading, b: Reading) -> bool:
    """Say whether the dome was held at the same place: distances that were measured are so within what they are known to (k=2)."""
    if a.held_off_m is None or b.held_off_m is None:
        return a.held_off_m is b.held_off_m
    return abs(a.held_off_m - b.held_off_m) <= 2.0 * hypot(a.u_held_off_m or 0.0, b.u_held_off_m or 0.0)


def _latest(readings: Iterable[Reading], light: Light, purpose: str) -> Reading | None:
    found = None
    for r in readings:
        if r.light_id == light.id and r.purpose == purpose and r.point == light.point:
            found = r
    return found


def difference(with_it: Reading, without_it: Reading, u_pop_stops: float = 0.0) -> Reading:
    """Return the reading of a reflector alone: with minus without.

    The uncertainties of both pops add in quadrature as absolute amounts, so a weak reflector is read with a large
    relative uncertainty.  ``u_pop_stops`` is the head's spread from
    pop to pop, which each of the two has in full: what of it exceeds that of an ordinary pop is carried in ``u_rel``.
    """
    high, low = value_of(with_it) or 0.0, value_of(without_it) or 0.0
    gain = high - low
    spread = u_pop_stops * _LN2
    excess = spread * sqrt(max(0.0, high * high + low * low - gain * gain))
    u_rel = hypot(high * with_it.u_rel, low * without_it.u_rel, excess) / gain if gain > 0 else 1.0
    fields: dict[str, Any] = {"exposure_lxs": gain} if with_it.kind == "flash" else {"illuminance_lx": gain}
    return with_it._replace(
        u_rel=u_rel,
        pops=(),
        clipped=with_it.clipped or without_it.clipped,
        too_dim=with_it.too_dim or without_it.too_dim,
        **fields,
    )


def _direct_state(light: Light, placement: Placement | None, mine: list[Reading]) -> tuple[Reading | None, Told]:
    """Return the reading of a light that counts, and why it is stale when it is."""
    reading = _latest(mine, light, "alone")
    if reading is None:
        return None, NOTHING
    if placement is not None and reading.placement_id != placement.id:
        return reading, told("moved")
    return reading, NOTHING


def _reflector_state(
    light: Light,
    placement: Placement | None,
    source_placement: Placement | None,
    readings: list[Reading],
    u_pop_stops: float,
) -> tuple[Reading | None, Told, Told]:
    """Return (difference reading, why stale, what is missing) of a passive reflector."""
    with_it = _latest(readings, light, "with")
    if with_it is None:
        return None, NOTHING, told("meter_reflector", do=Do("meter", light=light.name))
    without = _latest(readings, light, "without")
    if without is None:
        candidates = [
            r
            for r in readings
            if r.light_id == light.source_light_id
            and r.purpose == "alone"
            and _same_way(r, with_it)
        ]
        without = candidates[-1] if candidates else None
    if without is None:
        return None, NOTHING, told("without_missing", do=Do("meter", light=light.name))
    if not _same_way(with_it, without):
        return None, NOTHING, told("metered_differently", do=Do("meter", light=light.name))
    reading = difference(with_it, without, u_pop_stops)
    if placement is not None and with_it.placement_id != placement.id:
        return reading, told("reflector_moved"), NOTHING
    oldest = min(with_it.id, without.id)
    if source_placement is not None and source_placement.id > oldest:
        return reading, told("source_moved"), NOTHING
    return reading, NOTHING, NOTHING
