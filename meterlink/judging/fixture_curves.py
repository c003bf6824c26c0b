"""What a fixture's own readings say over its power dial: duration, exposure and colour.

Only readings of this very head count, in this set and in others: cut-off heads get shorter and usually higher in CCT at
low power, voltage-controlled ones usually do not (common practice, no published source), so nothing is assumed.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, fsum
from typing import NamedTuple

from meterlink.judging.history import past_of
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.prediction import Past, curve_from
from meterlink.photometry import freeze
from meterlink.records import Reading

LEAST_SPAN_STOPS = 0.5
"""Readings at powers closer than this say nothing about a curve."""


class ColourPoint(NamedTuple):
    """Colour of a fixture at one power, its readings there averaged in mired."""

    power_stops: float
    mired: float
    duv: float | None
    readings: int


class FixtureCurves(NamedTuple):
    """What is known of one head; None where readings at two powers are missing."""

    name: str
    """The fixture's name, else the light's."""
    durations: freeze.ReadCurve | None
    """t0.1 in s over power in stops from full."""
    exposures: freeze.ReadCurve | None
    """Light delivered over power, 1 at the highest power read."""
    colours: tuple[ColourPoint, ...]
    """Rising power; empty when no reading carries a colour."""
    readings: int

    @property
    def colour_span_mired(self) -> float:
        """Largest difference of colour between its powers, 0 with fewer than two."""
        mireds = [point.mired for point in self.colours]
        return max(mireds) - min(mireds) if len(mireds) > 1 else 0.0


def fixture_curves(state: LightState, view: JudgedSet) -> FixtureCurves:
    """Return the curves of a light's head, from the view's history and the light's present reading."""
    light, reading, placement, judged = state.light, state.reading, state.placement, state.judged
    mine = [one for one in view.history if one.is_of(light)]
    told = any(reading is not None and one.reading.id == reading.id for one in mine)
    if not told and reading is not None and placement is not None and judged is not None:
        now = past_of(light, placement, reading, view.settings, judge=lambda *_: judged)
        mine += [now] if now is not None else []
    return curves_of(mine, light.fixture or light.name)


def curves_of(pasts: Iterable[Past], name: str = "") -> FixtureCurves:
    """Return the curves that readings of one head give; readings without a power are left out."""
    mine = [one for one in pasts if one.placement.power_stops is not None and one.reading.kind == "flash"]
    durations = _learnt([(one.placement.power_stops, one.reading.t01_s) for one in mine])
    return FixtureCurves(name, durations, _delivered(mine), _colours(mine), len(mine))


def _learnt(points: Iterable[tuple[float | None, float | None]]) -> freeze.ReadCurve | None:
    good = [(power, value) for power, value in points if power is not None and value is not None and value > 0.0]
    try:
        return freeze.learn(good)
    except ValueError:
        return None


def _delivered(mine: list[Past]) -> freeze.ReadCurve | None:
    """What the dial's steps deliver, from readings that differ in power alone; scale-free."""
    learnt = curve_from(mine)
    if not learnt.pairs or learnt.powers[-1] - learnt.powers[0] < LEAST_SPAN_STOPS:
        return None
    top = learnt.powers[-1]
    return freeze.ReadCurve(learnt.powers, tuple(2.0 ** learnt.change(top, power)[0] for power in learnt.powers))


def _colours(mine: list[Past]) -> tuple[ColourPoint, ...]:
    """Colour at each power; gels and other modifiers colour the light, so only the most read combination counts."""
    groups: dict[tuple[str, str, str, str], list[Past]] = {}
    for one in mine:
        if one.reading.cct_k is not None and one.reading.cct_k > 0.0:
            like = (one.light.modifier, one.placement.gel, one.placement.diffusers, one.reading.sensor_id)
            groups.setdefault(like, []).append(one)
    if not groups:
        return ()
    best = max(groups.values(), key=lambda group: (len(set(map(_power, group))), max(p.reading.taken_at_s for p in group)))
    by_power: dict[float, list[Reading]] = {}
    for one in best:
        by_power.setdefault(_power(one), []).append(one.reading)
    points = []
    for power in sorted(by_power):
        group = by_power[power]
        duvs = [one.duv for one in group if one.duv is not None]
        mired = fsum(1e6 / (one.cct_k or 1.0) for one in group) / len(group)
        points.append(ColourPoint(power, mired, fsum(duvs) / len(duvs) if duvs else None, len(group)))
    return tuple(points)


def _power(past: Past) -> float:
    return round(past.placement.power_stops or 0.0, 2)


def shorter_power(state: LightState, curves: FixtureCurves, wanted_t01_s: float) -> freeze.PowerChoice | None:
    """Return the power at which this head's own readings reach a t0.1, on a step of its dial; None when none does."""
    placement = state.placement
    if curves.durations is None or placement is None or placement.power_stops is None:
        return None
    choice = freeze.power_for_t01(curves.durations, wanted_t01_s, placement.power_stops, curves.exposures)
    step = state.light.power_step_stops
    if choice is None or not step or step <= 0.0:
        return choice
    # The next step of the dial beyond the exact one, if the readings reach that far: it is short enough, too.
    steps = choice.power_stops / step
    power = round((floor(steps + 1e-6) if choice.change_stops < 0 else ceil(steps - 1e-6)) * step, 6)
    there = curves.durations.at(power)
    if there is None or there > wanted_t01_s * 1.001:
        return choice
    return freeze.choice(power, placement.power_stops, curves.exposures)
