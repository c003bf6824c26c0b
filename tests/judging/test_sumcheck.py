"""The sum check: alarms, suspects with their sign, the next pop, and what it refuses."""

from __future__ import annotations

import math
from typing import Any

import pytest
from small_sets import all_at_once, hot, light, placed, read, seen, view

from meterlink.checks.finders import findings
from meterlink.judging.aim import carried_to_camera
from meterlink.judging.evidence import Weighing, weigh_ways
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.likelihood import HeldCost, Member, Together
from meterlink.judging.next_pop import next_pop
from meterlink.judging.prediction import Prediction
from meterlink.judging.sum_check import sum_check
from meterlink.records import Reading
from meterlink.words.told import told

KEY = placed(0, azimuth_deg=40.0, elevation_deg=25.0, shape="point", width_m=None)
FILL = placed(1, azimuth_deg=-30.0, elevation_deg=5.0, shape="point", width_m=None, distance_m=1.5)
LIGHTS = [light(0, "KEY", "key"), light(1, "FILL", "fill")]


def weigh(members: list[Member], sums: list[Together] | tuple[()] = ()) -> Weighing:
    """Weigh what was read in one way."""
    return weigh_ways([(members, sums)])


def together_of(values: dict[int, float]) -> float:
    """What all at once give at the face, camera-facing dome."""
    return sum(value * seen((KEY, FILL)[i]) for i, value in values.items())


def two_lights(key: float = 160.0, fill: float = 80.0, factor: float = 1.0, **fields: Any) -> JudgedSet:
    """Key and fill that truly give 160 and 80 lx·s, read as given, all at once ``factor`` times the truth."""
    measured = together_of({0: 160.0, 1: 80.0}) * factor
    return view(LIGHTS, [KEY, FILL], [read(0, key), read(1, fill), all_at_once(measured, (0, 1), **fields)])


def test_lights_add() -> None:
    """Right readings add up: residual within its uncertainty, no alarm, nothing suggested."""
    check = sum_check(two_lights())
    assert not check.refusal
    # A declared zero is a little in front of the point, for the light's own dome more than for one toward the camera.
    assert check.residual_stops == pytest.approx(0.0, abs=0.02)
    assert 0.02 < check.u_stops < 0.12
    assert not check.alarm
    assert check.next is None


@pytest.mark.parametrize("brought_at_s", [1.0, 50.0])
def test_a_reflector_that_came_after_the_common_pop_was_not_in_it(brought_at_s: float) -> None:
    """Its light is no part of that sum, and no reading is blamed for the difference: all are to be fired together once more."""
    card = placed(2, azimuth_deg=-60.0, distance_m=0.7)._replace(id="p", created_at_s=brought_at_s)
    pair = [read(2, 90.0, order=20, purpose="with"), read(2, 40.0, order=21, purpose="without")]
    mine = [one._replace(placement_id=card.id, id=f"q{one.id}") for one in pair]
    both = [read(0, 160.0), read(1, 80.0), all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1))]
    seen_all = view([*LIGHTS, light(2, "CARD", "fill", source_light_id="l0")], [KEY, FILL, card], [*both, *mine])

    assert seen_all.state("l2").value == pytest.approx(50.0)
    assert (seen_all.check.refusal.code, seen_all.blamed is None) == (("sum_none", True) if brought_at_s > 1.0 else ("", False))


def test_a_dome_held_off_is_found_with_its_centimetres() -> None:
    """The key read 25 cm in front of the face: alarm, key first, held off, about so many centimetres; fire it again."""
    check = sum_check(two_lights(key=160.0 * hot(KEY, 0.25)))
    assert check.alarm
    assert check.residual_stops < -3 * check.u_stops
    top = check.suspects[0]
    assert (top.light_id, top.cause) == ("l0", "held off")
    assert top.held_off_m == pytest.approx(0.25, abs=0.08)
    assert top.stops > 0.4
    assert check.next is not None
    assert (check.next.kind, check.next.light_id) == ("again", "l0")


BOTH = all_at_once(together_of({0: 158.0, 1: 80.0}), (0, 1), order=5)


@pytest.mark.parametrize(
    ("both_before", "again", "wanted"),
    [
        ([], 1, None),
        ([BOTH], 1, ("again", "l0")),
        ([BOTH], 0, ("again", "l1")),
        ([BOTH._replace(exposure_lxs=together_of({0: 100.0, 1: 80.0}))], 1, None),
        ([BOTH._replace(taken_at_s=0.5)], 1, None),
    ],
    ids=["fired once", "fired twice", "the key too", "another level", "before a light was moved"],
)
def test_a_pop_of_all_lights_is_not_asked_for_a_third_time(
    both_before: list[Reading], again: int, wanted: tuple[str, str] | None
) -> None:
    """Both lights read as before (held off both times), so the pop of both is doubted; fired again, one fired once tells more."""
    off = 160.0 * hot(KEY, 0.3)
    parts = [read(0, off), read(1, 80.0, order=3), all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1))]
    before = [read(1, 80.5, order=1) if again else read(0, off * 1.005, order=-1), *both_before]
    known = {"l0": Prediction(math.log2(off), 0.05, 1, True, told("note", note="before"))}
    seen_all = view(LIGHTS, [KEY, FILL], parts, earlier=before)
    check = sum_check(seen_all._replace(predictions=known))

    assert check.blamed is not None
    assert check.blamed.light_id is None
    assert (check.next[:2] if check.next else None) == wanted


def test_a_light_that_is_suspected_is_fired_again_also_where_all_were_fired_twice() -> None:
    """The fill was held off; that the pop of both came twice alike speaks against the fill, not for the brightest light."""
    parts = [read(0, 160.0), read(1, 80.0 * hot(FILL, 0.3)), all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1))]
    known = {"l0": Prediction(math.log2(160.0), 0.05, 1, True, told("note", note="before"))}
    seen_all = view(LIGHTS, [KEY, FILL], parts, earlier=[BOTH])
    check = sum_check(seen_all._replace(predictions=known))

    assert check.next is not None
    assert check.next[:2] == ("again", "l1")


def test_low_readings_have_low_causes() -> None:
    """A key that had not recycled reads a stop low: the parts claim less than there is, and the cause is a low one."""
    check = sum_check(two_lights(key=80.0))
    assert check.alarm
    assert check.residual_stops > 0
    assert check.suspects[0].cause == "low"
    assert check.suspects[0].stops < 0


def test_firing_again_clears_a_light() -> None:
    """The fill was held off; after the key fired again alike the blame goes to the fill."""
    wrong = [read(0, 160.0), read(1, 80.0 * hot(FILL, 0.4)), all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1))]
    before = sum_check(view(LIGHTS, [KEY, FILL], wrong))
    assert before.alarm
    again = read(0, 161.0, order=20)
    after = sum_check(view(LIGHTS, [KEY, FILL], [*wrong, again]))
    chance = {one.light_id: one.probability for one in after.suspects}
    assert chance["l1"] > 0.9
    assert after.suspects[0].light_id == "l1"


def test_a_corrected_retake_ends_the_alarm() -> None:
    """When the wrong reading is taken again rightly the sum agrees, though the old one stays known."""
    bad = read(0, 160.0 * hot(KEY, 0.3))
    readings = [read(0, 160.0, order=20), read(1, 80.0), all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1))]
    check = sum_check(view(LIGHTS, [KEY, FILL], readings, earlier=[bad]))
    assert not check.alarm


def test_prediction_and_sum_work_together() -> None:
    """A weak misplacement that neither shows alone is found by both."""
    low = two_lights(fill=80.0 * 2**0.5)
    alone = sum_check(low)
    expected = {"l1": Prediction(math.log2(80.0), 0.14, 1, False, "one earlier reading"),
                "l0": Prediction(math.log2(160.0), 0.14, 1, False, "one earlier reading")}  # fmt: skip
    both = sum_check(low._replace(predictions=expected))
    assert both.weighing is not None
    assert alone.weighing is not None
    assert both.weighing.odds > alone.weighing.odds
    assert both.alarm
    assert both.suspects[0].light_id == "l1"


def test_hair_light_may_be_shaded() -> None:
    """A hair light that fired with the others enters between nothing and all of it: no alarm either way."""
    hair = placed(2, azimuth_deg=170.0, elevation_deg=60.0, shape="point", width_m=None)
    lights = [*LIGHTS, light(2, "HAIR", "hair", point="hair")]
    parts = [read(0, 160.0), read(1, 80.0), read(2, 160.0, point="hair")]
    base = together_of({0: 160.0, 1: 80.0})
    for extra in (0.0, 160.0 * seen(hair)):
        check = sum_check(view(lights, [KEY, FILL, hair], [*parts, all_at_once(base + extra, (0, 1, 2))]))
        assert not check.refusal
        assert not check.alarm


def test_of_several_common_pops_the_one_that_fits_worst_is_told() -> None:
    """Key and fill agree, key and rim do not: the figure is that of the pop that raised the alarm."""
    rim = placed(2, azimuth_deg=60.0, shape="point", width_m=None)
    parts = [read(0, 160.0), read(1, 80.0), read(2, 80.0)]
    right = all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1), order=8)
    low = all_at_once((160.0 * seen(KEY) + 80.0 * seen(rim)) * 0.7, (0, 2), order=9)
    check = sum_check(view([*LIGHTS, light(2, "RIM")], [KEY, FILL, rim], [*parts, right, low]))

    assert check.alarm
    assert check.residual_stops == pytest.approx(math.log2(0.7), abs=0.05)
    assert set(check.fired) == {"l0", "l2"}


def test_dark_side_light_hides() -> None:
    """A light two stops under the key that reads 0.4 stop hot moves the sum by less than its uncertainty: said, not found."""
    check = sum_check(
        two_lights(fill=80.0 / 4 * 2**0.4, factor=together_of({0: 160.0, 1: 20.0}) / together_of({0: 160.0, 1: 80.0}))
    )
    assert abs(check.residual_stops or 0.0) < 2 * check.u_stops
    assert not check.alarm


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lights": [light(0, "KEY", "key", shared_generator=True), light(1, "FILL", "fill", shared_generator=True)]}, "generator"),
        ({"drop": 1}, "FILL fired with the others but has no current reading"),
        ({"together": {"aim": "light"}}, "not aimed at the camera"),
        ({"together": {"point": "hair"}}, "take it at the face"),
        ({"together": {"clipped": True}}, "clipped"),
        ({"together": {"receptor": "flat"}}, "another receptor"),
        ({"lit": (0, 1, 7)}, "no longer in the set"),
        ({"place": {"azimuth_deg": None}}, "direction of KEY is not given"),
        ({"place": {"created_at_s": 100.0}}, "since the last change"),
        ({"place": {"width_m": None, "shape": "disk"}}, "cannot be brought to its point"),
    ],
)  # fmt: skip
def test_refuses_unlike_things(change: dict[str, Any], words: str) -> None:
    """A sum of unlike things, or one with a light missing, is refused in one line and gives no number."""
    key = KEY._replace(**change.get("place", {}))
    readings = [read(0, 160.0), read(1, 80.0)]
    if "drop" in change:
        del readings[change["drop"]]
    pop = all_at_once(180.0, change.get("lit", (0, 1)), **change.get("together", {}))
    check = sum_check(view(change.get("lights", LIGHTS), [key, FILL], [*readings, pop]))
    assert words in str(check.refusal)
    assert check.residual_stops is None
    assert "\n" not in str(check.refusal)


HAIR = placed(2, azimuth_deg=60.0, shape="point", width_m=None)


@pytest.mark.parametrize(
    ("factor", "lit", "said"),
    [
        (0.5, (0, 1), True), (0.7, (0, 1), True), (0.98, (0, 1), False), (1.6, (0, 1), False),
        (0.6, (0, 1, 2), True), (1.3, (0, 1, 2), False),
    ],
)
def test_light_only_adds_to_what_is_known(factor: float, lit: tuple[int, ...], said: bool) -> None:
    """A pop of all lights that gave less than those that were read claim speaks against them, though the last one was not read."""
    given = {0: 160.0, 1: 80.0}
    known = {i: given[i] for i in lit[:-1]}
    pops = [*(read(i, value) for i, value in known.items()), all_at_once(together_of(known) * factor, lit)]
    seen_all = view([*LIGHTS, light(2, "HAIR")][: len(lit)], [KEY, FILL, HAIR][: len(lit)], pops)
    check, found = seen_all.check, {one.kind: one for one in findings(seen_all)}

    assert check.alarm is said
    assert check.refusal.code == "sum_not_metered"
    assert ("sum" in found, "sum_missing" in found) == (said, not said and len(known) > 1)
    if "sum_missing" in found:
        # Another pop of all would lack it again.
        assert found["sum_missing"].advice == "meterlink meter HAIR"
    if said:
        assert check.residual_stops == pytest.approx(math.log2(factor), abs=0.03)
        assert check.unread == (f"l{lit[-1]}",)
        assert f"{'HAIR' if len(lit) > 2 else 'FILL'} not even counted" in str(found["sum"].said)
        assert found["sum"].to_do.code in ("alone_again", "together_again", "all_but")
        assert seen_all.blamed is not None


def test_a_pop_of_lights_that_were_all_read_counts_beside_one_that_was_not() -> None:
    """Key and fill fired together speak against the key, though all three fired together and the third has no reading yet."""
    pops = [all_at_once(together_of({0: 160.0, 1: 80.0}), (0, 1), order=8), all_at_once(600.0, (0, 1, 2))]
    seen_all = view([*LIGHTS, light(2, "HAIR")], [KEY, FILL, HAIR], [read(0, 160.0 * hot(KEY, 0.3)), read(1, 80.0), *pops])

    assert seen_all.blamed is not None
    assert (seen_all.blamed.light_id, seen_all.check.unread) == ("l0", ())


def test_undeclared_reach_of_the_common_pop_is_allowed_for() -> None:
    """A common pop with nothing declared carries the assumed reach toward the camera."""
    declared = sum_check(two_lights())
    assumed = sum_check(two_lights(held_off_m=None, u_held_off_m=None))
    assert assumed.u_stops > declared.u_stops
    assert assumed.residual_stops < declared.residual_stops


def test_carried_to_camera() -> None:
    """A light 60 degrees off loses 0.415 stop to a camera-facing dome, a stop to a flat one; unknown stays unknown."""
    place = placed(0, azimuth_deg=60.0, shape="point", width_m=None)
    dome = carried_to_camera(read(0, 100.0), place)
    flat = carried_to_camera(read(0, 100.0, receptor="flat"), place)
    assert dome is not None
    assert flat is not None
    assert dome.stops == pytest.approx(-0.415037, abs=1e-6)
    assert flat.stops == pytest.approx(-1.0, abs=1e-9)
    # d(log2 (1 + cos t) / 2) = tan(t / 2) dt / ln 2, five degrees.
    assert dome.u_stops == pytest.approx(math.tan(math.radians(30)) * math.radians(5) / math.log(2), rel=0.05)
    assert carried_to_camera(read(0, 100.0), place._replace(azimuth_deg=None)) is None
    assert carried_to_camera(read(0, 100.0), None) is None
    assert carried_to_camera(read(0, 100.0, aim="camera"), None) == (0.0, 0.0)
    assert carried_to_camera(read(0, 1.0), place._replace(azimuth_deg=180.0)).u_stops > 1.0
    wide = carried_to_camera(read(0, 100.0), place._replace(elevation_deg=None))
    assert wide.u_stops > dome.u_stops


def member(light_id: str, value: float, **fields: Any) -> Member:
    """A frontal light with a reading of 0.03 stop."""
    return Member(light_id, value, 0.03, 0.01, **fields)


def gaussian(members: list[Member], pop: Together, wrong_by: float, spread: float) -> float:
    """Log-density of everything seen of two lights by scipy, when the first reads ``wrong_by`` too high."""
    import numpy as np
    from scipy.stats import multivariate_normal

    a, b = members
    # Unknowns: own and common errors of a and b, prediction errors, repeat error, both directions, the sum's own, the size.
    u = [a.u_own, a.u_common, b.u_own, b.u_common, a.u_predicted, b.u_predicted, a.again[0][1], a.u_to_camera, b.u_to_camera, pop.u]
    parts = np.exp2([a.value - wrong_by, b.value])
    ga, gb = parts / parts.sum()
    rows = np.zeros((4, 11))
    rows[0, [0, 6, 10]] = 1, -1, 1  # again: own error less the repeat's
    rows[1, [0, 1, 4, 10]] = 1, 1, -1, 1  # prediction of a
    rows[2, [2, 3, 5]] = 1, 1, -1  # prediction of b
    rows[3, [0, 1, 2, 3, 7, 8, 9, 10]] = -ga, -ga, -gb, -gb, ga, gb, 1, -ga
    off_a = a.value - wrong_by
    seen_values = [off_a - a.again[0][0], off_a - a.predicted, b.value - b.predicted, pop.value - math.log2(parts.sum())]
    covariance = rows @ np.diag(np.square([*u, spread])) @ rows.T
    return float(multivariate_normal(np.zeros(4), covariance).logpdf(seen_values))


@pytest.mark.parametrize(("wrong", "wrong_by", "spread"), [(None, 0.0, 0.0), (0, 0.4, 0.06), (0, 0.1, 0.03), (0, -0.35, 0.2)])
def test_evidence_agrees_with_a_full_gaussian(wrong: int | None, wrong_by: float, spread: float) -> None:
    """The likelihood of sums, predictions and repeats, for a clean and for a wrong reading, equals scipy's multivariate normal."""
    a = member("a", 0.1 + wrong_by, predicted=0.15, u_predicted=0.15, again=((0.12, 0.04),), u_to_camera=0.05)
    b = member("b", 0.0, predicted=-0.1, u_predicted=0.15, u_to_camera=0.05)
    pop = Together(("a", "b"), 1.08, 0.04)
    from meterlink.judging.likelihood import Scene

    ours, _, _ = Scene([a, b], [pop]).likelihood(wrong, wrong_by, spread)
    assert ours == pytest.approx(gaussian([a, b], pop, wrong_by, spread), abs=0.03)


COSTS = (HeldCost(0.1, 0.3), HeldCost(0.18, 0.6), HeldCost(0.28, 1.0))


def test_odds_are_a_ratio_of_averaged_densities() -> None:
    """Beside predictions the odds equal scipy's densities, averaged over causes and sizes, small ones left out."""
    from scipy.stats import norm

    from meterlink.judging import evidence as ev

    u, apart = math.hypot(0.03, 0.01, 0.15), 0.45
    weighing = weigh([member("a", apart, predicted=0.0, u_predicted=0.15, held_costs=COSTS)])
    # (stops, spread, chance, part that is worth a pop): a held-off distance stands for those nearer to it than to the next one.
    cells, cm = ((0.3, 0.3, 0.0), (0.6, 0.35, 1.0), (1.0, 0.4, 1.0)), (8, 9, 10)
    sizes = {
        ev.HELD: [(stops, width / 12**0.5, c / 27, part) for (stops, width, part), c in zip(cells, cm, strict=True)],
        # 0.4 stop stands for its neighbourhood: half of it counts; -0.35 is 0.05 under: a twelfth of it.
        ev.HIGH: [(stops, 0.25, 0.25, 0.5 if stops == 0.4 else 1.0) for stops in ev.HIGH_STOPS],
        ev.LOW: [(stops, 0.2, 0.2, 1 / 12 if stops == -0.35 else 1.0) for stops in ev.LOW_STOPS],
    }
    shares = sum(ev.CAUSE_SHARE[cause] for cause in sizes)
    expected = sum(
        ev.CAUSE_SHARE[cause] / shares * chance * part * norm(stops, math.hypot(u, spread)).pdf(apart)
        for cause, some in sizes.items()
        for stops, spread, chance, part in some
    ) / norm(0.0, u).pdf(apart)
    assert weighing.odds == pytest.approx(expected, rel=1e-6)
    assert sum(one.weight for one in weighing.hypotheses) == pytest.approx(1.0)


def test_alarms_are_kept_for_what_is_worth_a_new_pop() -> None:
    """A reading 2.8 u high alarms where a reach could cost a stop; where none costs 0.3 it does not, but is still suspected."""
    near = weigh([member("a", 0.43, predicted=0.0, u_predicted=0.15, held_costs=COSTS)])
    far = weigh([member("a", 0.43, predicted=0.0, u_predicted=0.15, held_costs=(HeldCost(0.1, 0.1), HeldCost(0.28, 0.3)))])
    assert near.alarm
    assert not far.alarm
    assert far.suspects[0].cause == "held off"


def test_a_small_mistake_against_a_sure_prediction_still_alarms() -> None:
    """0.3 stop from a prediction good to 0.05 is no chance, though less than what is worth a pop where predictions are vague."""
    sure = weigh([member("a", 0.3, predicted=0.0, u_predicted=0.05, held_costs=COSTS)])
    assert sure.alarm


def test_low_readings_must_stand_out_further() -> None:
    """Low causes are the rarer: the same distance from a prediction counts for less below than above, and a stop low alarms."""
    high, low = (weigh([member("a", off, predicted=0.0, u_predicted=0.15, held_costs=COSTS)]) for off in (0.5, -0.5))
    assert high.odds > 2 * low.odds
    assert weigh([member("a", -1.0, predicted=0.0, u_predicted=0.15, held_costs=COSTS)]).alarm


def test_next_pop_prefers_the_prime_suspect() -> None:
    """With one strong suspect it is fired again; with nothing suspected nothing is asked for."""
    costs = {"a": (HeldCost(0.2, 0.6),), "b": (HeldCost(0.2, 0.5),), "c": ()}
    members = [member(name, value, held_costs=costs[name]) for name, value in (("a", 0.0), ("b", -1.0), ("c", -2.0))]
    total = math.log2(sum(2.0**one.value for one in members))
    wrong = [Together(("a", "b", "c"), total - 0.35, 0.04)]
    weighing = weigh(members, wrong)
    assert weighing.alarm
    assert weighing.suspects[0].light_id == "a"
    pop = next_pop(members, wrong, weighing)
    assert pop is not None
    assert pop.kind in ("again", "without")
    assert pop.light_id == "a"
    assert weigh([], []).odds == 1.0
    assert not weigh(members, [Together(("a", "b", "c"), total, 0.04)]).alarm


def test_hopeless_numbers_do_not_overflow() -> None:
    """Readings that are ten stops apart still give finite odds."""
    members = [member("a", 0.0, predicted=10.0, u_predicted=0.01), member("b", 0.0)]
    weighing = weigh(members, [Together(("a", "b"), -20.0, 0.01)])
    assert math.isfinite(weighing.odds)
    assert weighing.alarm
