"""How an undeclared dome was held is one unknown of the whole walk, told by what was read."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy
from small_sets import all_at_once, hot, light, placed, read, seen, view

from meterlink.judging.evidence import CAUSE_SHARE, HELD, weigh_ways
from meterlink.judging.habit import habits, never_behind
from meterlink.judging.judged_set import SumCheck
from meterlink.judging.likelihood import HeldCost, Member, Together
from meterlink.judging.members import witness_of
from meterlink.judging.sum_check import sum_check
from meterlink.records import Settings

KEY = placed(0, azimuth_deg=40.0, elevation_deg=25.0, width_m=0.3, distance_m=0.8)
FILL = placed(1, azimuth_deg=-30.0, elevation_deg=5.0, width_m=0.3, distance_m=0.9)
LIGHTS = [light(0, "KEY", "key"), light(1, "FILL", "fill")]


@pytest.mark.parametrize(("held_m", "u_m"), [(0.0, 0.01), (0.01, 0.01), (0.03, 0.01), (0.2, 0.02), (0.1, 0.0)])
def test_a_declared_dome_is_never_behind_its_point(held_m: float, u_m: float) -> None:
    """Mean and spread of a declared distance are those of scipy's normal cut off at zero."""
    found = never_behind(held_m, u_m)

    if u_m:
        expected = scipy.stats.truncnorm(-held_m / u_m, np.inf, loc=held_m, scale=u_m)
        assert found.mean_m == pytest.approx(expected.mean(), abs=2e-6)
        assert found.u_m == pytest.approx(expected.std(), rel=1e-3)
    else:
        assert found == (held_m, 0.0)


def test_habits_lie_within_what_the_settings_assume() -> None:
    """A third, two thirds and all of the reach, each uniform; the widest is what the table corrects by."""
    touching, _, loose = habits(Settings())

    assert (touching.mean_m, loose.mean_m) == (pytest.approx(0.01), pytest.approx(0.03))
    assert loose.u_m == pytest.approx(0.06 / math.sqrt(12))


def metered(held_m: float, declared: bool) -> SumCheck:
    """Both lights read so far off, nothing declared; all at once at the face, and that declared or not."""
    true = (160.0, 100.0)
    alone = [read(i, true[i] * hot(place, held_m), held_off_m=None) for i, place in enumerate((KEY, FILL))]
    total = sum(value * seen(place) for value, place in zip(true, (KEY, FILL), strict=True))
    return sum_check(view(LIGHTS, [KEY, FILL], [*alone, all_at_once(total, (0, 1), held_off_m=0.0 if declared else None)]))


@pytest.mark.parametrize("declared", [True, False])
@pytest.mark.parametrize("held_m", [0.002, 0.055])
def test_one_hand_held_it_for_all(held_m: float, declared: bool) -> None:
    """Touching for every light, or five centimetres off for every one: neither is a light that was held off."""
    check = metered(held_m, declared)

    assert abs(check.residual_stops) < 2.5 * check.u_stops
    assert not check.alarm


def test_a_reading_s_own_cause_does_not_depend_on_the_habit() -> None:
    """What a dome 25 cm off would have read stays the same light, whatever centimetres the habit takes off an honest one."""
    judged = view(LIGHTS, [KEY, FILL], [read(0, 160.0, held_off_m=None), read(1, 100.0, held_off_m=None)])
    witness = witness_of(judged.lights[0], judged)
    members = [witness.under(one) for one in habits(Settings())]

    assert len({round(member.value, 3) for member in members}) == 3
    assert len({round(member.value - member.held_costs[5].stops, 6) for member in members}) == 1
    assert members[0].u_own < members[2].u_own


def test_likelihoods_are_averaged_over_habits_and_not_light_by_light() -> None:
    """Odds over two ways equal scipy's densities of both lights, averaged first, then divided."""
    costs = (HeldCost(0.1, 0.3), HeldCost(0.2, 0.6), HeldCost(0.3, 1.0))
    pop = Together(("a", "b"), 0.9, 0.03)
    ways = [
        ([Member(name, value + moved, u, 0.01, held_costs=costs) for name, value in (("a", 0.1), ("b", -0.2))], [pop])
        for moved, u in ((0.0, 0.04), (0.08, 0.03))
    ]

    def density(members: list[Member], wrong: int | None, stops: float, spread: float) -> float:
        parts = np.exp2([one.value - (stops if i == wrong else 0.0) for i, one in enumerate(members)])
        shares = parts / parts.sum()
        u = [math.hypot(one.u_own, one.u_common, spread if i == wrong else 0.0) for i, one in enumerate(members)]
        variance = pop.u**2 + float(((shares * u) ** 2).sum()) + (spread**2 if wrong is None else 0.0)
        off = pop.value - math.log2(parts.sum()) - (stops if wrong is None else 0.0)
        return float(scipy.stats.multivariate_normal(0.0, variance).pdf(off))

    weighing = weigh_ways(ways)

    clean = sum(density(members, None, 0.0, 0.0) for members, _ in ways)
    held = sum(one.weight for one in weighing.hypotheses if one.cause == "held off" and one.light_id == "a")
    cells = ((0.3, 0.3), (0.6, 0.35), (1.0, 0.4))
    by_hand = sum(density(members, 0, stops, width / math.sqrt(12)) for stops, width in cells for members, _ in ways)
    assert held * weighing.odds == pytest.approx(CAUSE_SHARE[HELD] / 2 / 3 * by_hand / clean, rel=1e-3)


def test_a_hot_spot_widens_what_a_distance_costs() -> None:
    """The cost of 25 cm lies between that of a uniform source and that of a point, with the room between them as its doubt."""
    wide = placed(0, width_m=1.2, distance_m=1.0)
    judged = view([LIGHTS[0]], [wide], [read(0, 160.0)])
    cost = next(one for one in witness_of(judged.lights[0], judged).held_costs if one.held_off_m == 0.25)

    uniform, point = math.log2(hot(wide, 0.25)), 2 * math.log2(1.0 / 0.75)
    assert uniform < cost.stops < point
    assert cost.u_stops == pytest.approx((point - uniform) / math.sqrt(18), rel=1e-6)


def test_what_a_dome_held_off_costs_goes_on_from_where_it_was_said_to_be() -> None:
    """Declared 20 cm off a point 1.2 m away, a reading is corrected: only further off it errs, by inverse square from there."""
    point = placed(0, shape="point", width_m=None)
    judged = view([LIGHTS[0]], [point], [read(0, 160.0, held_off_m=0.2)])
    costs = {one.held_off_m: one.stops for one in witness_of(judged.lights[0], judged).held_costs}

    assert min(costs) > 0.2
    assert costs[0.4] == pytest.approx(2 * math.log2(1.0 / 0.8), rel=1e-6)
