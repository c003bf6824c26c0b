"""The ideal Bayes classifier of ``bench_order``: it knows every distribution of ``order_world``, and nobody's draw.

Level: what the head gave before, carried to now through draws of all that is not known (source between uniform and point, tape,
dial, the hand's distance then and now), each draw weighed by how well the earlier readings agree under it; the pop's own spread is
kept in closed form.  Duration and form: Gaussian, with the true distribution of the head's kind, which is told to it, as is
where a head with banks of capacitors switches and by how much (ours must do without).  The assignments over all pops are those
of ``whose_pop``.
"""

from __future__ import annotations

from collections.abc import Callable
from math import log, log2, pi, sqrt
from typing import Any

import numpy as np

from benchmarks.order_world import DIAL_STOPS, REACH_M, U_DURATION, U_POP, U_SLOPE, Stand
from meterlink.judging.over_power import Prior, Trait, learn_over_power
from meterlink.judging.whose_pop import Seen
from meterlink.photometry.sources import Point

DRAWS = 4000
NEAR, FAR = 0.4, 6.0
_GRID = np.exp(np.linspace(np.log(NEAR), np.log(FAR), 160))
SLOPES = {"voltage": (-0.2, 0.058), "cut off": (0.7, 0.115), "banks": (0.0, 0.03)}
"""Mean and standard deviation of the flat distributions of a tube's slope."""
FORM_SLOPES = {"voltage": (0.0, 0.0), "cut off": (-0.085, 0.02), "banks": (0.0, 0.0)}


class Ideal:
    """What a light's pop should show, by the true distributions."""

    def __init__(self, rng: Any, now: Stand, before: list[tuple[Stand, Seen]], same_place: bool) -> None:
        self.light_id = now.truth.light_id
        self.means, self.weights, self.variance = _levels(rng, now, before, same_place)
        lasted = [(s.power, seen.duration or 0.0) for s, seen in before]
        self.duration = _trait(now, lasted, SLOPES, log2(1 / 950), 0.96, now.truth.tube.step_of)
        self.form = _trait(now, [(s.power, seen.form or 0.0) for s, seen in before], FORM_SLOPES, log2(0.36), 0.08, lambda _: 0.0)

    known = True
    """Its level can be predicted."""

    def log_density(self, seen: Seen) -> float:
        """Log of how likely this light gives just this pop."""
        density = np.exp(-((seen.level - self.means) ** 2) / (2 * self.variance)) / np.sqrt(2 * pi * self.variance)
        total = log(max(float((self.weights * density).sum()), 1e-300))
        for value, (mean, u) in ((seen.duration, self.duration), (seen.form, self.form)):
            v = u * u + U_DURATION**2
            total += -0.5 * ((value or 0.0) - mean) ** 2 / v - 0.5 * log(2 * pi * v)
        return total

    @property
    def level(self) -> tuple[float, float]:
        """Mean and width of its level."""
        mean = float((self.weights * self.means).sum())
        return mean, sqrt(float((self.weights * (self.means - mean) ** 2).sum()) + self.variance)


def _levels(rng: Any, now: Stand, before: list[tuple[Stand, Seen]], same_place: bool) -> tuple[Any, Any, float]:
    """Draws of the level now with their weights, and the variance that each draw leaves."""
    source = now.truth.source
    area = np.array([2.0 ** source.change_stops(1.0, float(d)) for d in _GRID])
    point = np.array([2.0 ** Point().change_stops(1.0, float(d)) for d in _GRID])
    mix, slope = rng.random(DRAWS), U_SLOPE * rng.standard_normal(DRAWS)

    def light(distance_m: Any) -> Any:
        x = np.log(distance_m)
        grid = np.log(_GRID)
        a, p = np.exp(np.interp(x, grid, np.log(area))), np.exp(np.interp(x, grid, np.log(point)))
        return np.log2((1 - mix) * a + mix * p)

    def put_up(stand: Stand) -> tuple[Any, Any]:
        true_m = stand.told_m * (1 + stand.u_tape * rng.standard_normal(DRAWS))
        return true_m, rng.uniform(-DIAL_STOPS, DIAL_STOPS, DRAWS)

    def gives(stand: Stand, place: tuple[Any, Any]) -> Any:
        near = np.clip(place[0] - rng.uniform(0, REACH_M, DRAWS), NEAR, FAR)
        return light(near) + stand.power * (1 + slope) + place[1]

    here = put_up(now)
    residuals = []
    for stand, seen in before:
        residuals.append(seen.level - gives(stand, here if same_place else put_up(stand)))
    r = np.array(residuals)
    middle = r.mean(axis=0)
    off = ((r - middle) ** 2).sum(axis=0) / (2 * U_POP**2)
    weights = np.exp(-(off - off.min()))
    return middle + gives(now, here), weights / weights.sum(), U_POP**2 * (1 + 1 / len(before))


def _trait(
    now: Stand,
    read: list[tuple[float, float]],
    slopes: dict[str, tuple[float, float]],
    mean: float,
    u: float,
    step_of: Callable[[float], float],
) -> tuple[float, float]:
    """Duration or form now; what heads of this kind do over power on average, and a step that is told, are taken out first."""
    slope, u_slope = slopes[now.truth.tube.kind]
    prior = Prior(mean, u, u_slope, 0.0, U_DURATION)
    found = learn_over_power([Trait(p, value - slope * p - step_of(p)) for p, value in read], prior).at(now.power)
    return found.mean + slope * now.power + step_of(now.power), found.u
