"""What a light should give, from what its fixture gave before; dials that do not deliver are learnt."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from small_sets import gave, light, placed, read, view

from meterlink.judging.expected import placement_change_stops
from meterlink.judging.history import past_of, pasts_from, predictions_for
from meterlink.judging.power_curve import PowerCurve, learn_power, prior_u
from meterlink.judging.prediction import Past, causes, curve_from, predict
from meterlink.photometry.sources import Disk, on_axis
from meterlink.records import Placement

KEY = light(0, "KEY", "key", fixture="head A", modifier="big box")


def past(value: float, place: Placement, **fields: Any) -> Past:
    """What head A gave once, in another set."""
    return gave(fields.pop("fixture", "head A"), place, value, **{"modifier": "big box", "reading_id": "r1", **fields})


def test_carried_along_the_falloff_and_the_dial() -> None:
    """From 1.0 m at full to 1.5 m at a quarter: the disk's own falloff and two stops less."""
    then = placed(9, distance_m=1.0, power_stops=0.0)
    now = placed(0, distance_m=1.5, power_stops=-2.0)
    got = predict(KEY, now, [past(8.0, then)], calibration_id="c")
    assert got is not None
    change = math.log2(on_axis(Disk(0.9), 1.5)[0] / on_axis(Disk(0.9), 1.0)[0])
    assert got.value == pytest.approx(8.0 + change - 2.0)
    assert got.exposure_lxs == pytest.approx(2**got.value)
    # Two distances of 3 % and a step of two stops: a sixth of a stop.
    assert 0.1 < got.u_stops < 0.25
    assert got.pasts == 1
    assert not got.same_setup


def test_only_the_power_changed() -> None:
    """In the same place the distance cancels and the interval is a third of what a move would give."""
    then = placed(0, power_stops=0.0)._replace(id="p-old")
    now = placed(0, power_stops=-1.0)
    stayed = predict(KEY, now, [past(8.0, then, light_id="l0", setup_id="s")], calibration_id="c")
    moved = predict(KEY, now._replace(distance_m=1.3), [past(8.0, then, light_id="l0", setup_id="s")], calibration_id="c")
    assert stayed is not None
    assert moved is not None
    assert stayed.value == pytest.approx(7.0)
    assert stayed.same_setup
    assert stayed.u_stops < moved.u_stops / 2


def test_more_history_narrows_and_disagreement_widens() -> None:
    """Four agreeing readings are surer than one; four that disagree are less sure than four that agree."""
    now = placed(0, distance_m=1.5)
    agree = [past(8.0, placed(9, distance_m=1.0), reading_id=f"r{i}") for i in range(4)]
    apart = [past(8.0 + d, placed(9, distance_m=1.0), reading_id=f"r{i}") for i, d in enumerate((-0.6, 0.6, -0.6, 0.6))]
    one, four, wild = (predict(KEY, now, pasts) for pasts in (agree[:1], agree, apart))
    assert one is not None
    assert four is not None
    assert wild is not None
    assert four.u_stops < one.u_stops < wild.u_stops


@pytest.mark.parametrize(
    "changes",
    [
        {"fixture": "head B"},
        {"modifier": "grid"},
        {"receptor": "flat"},
        {"place": placed(9, width_m=0.5)},
        {"place": placed(9, gel="half blue")},
        {"place": placed(9, distance_m=None)},
        {"place": placed(9, power_text="6.0")},
        {"reading_id": "under test"},
    ],
)
def test_only_the_same_thing_predicts(changes: dict[str, Any]) -> None:
    """Another fixture, modifier, source, gel, receptor, an unknown power or distance, or itself: no prediction."""
    one = past(8.0, **{"place": placed(9, distance_m=1.0), **changes})
    assert predict(KEY, placed(0), [one], without_reading="under test") is None
    assert predict(KEY, placed(0), []) is None


def test_intervals_cover_simulated_sets() -> None:
    """Distances off by 3 %, pops by 0.03 stop, dial by 4 % of a step: k=2 covers at least 93 % of 800 predictions."""
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(800):
        a, b = rng.uniform(0.8, 2.5, 2)
        step = rng.uniform(-2, 2)
        then = placed(9, distance_m=float(a * (1 + 0.03 * rng.normal())), power_stops=0.0)
        now = placed(0, distance_m=float(b * (1 + 0.03 * rng.normal())), power_stops=float(step))
        value = math.log2(on_axis(Disk(0.9), float(a))[0]) + 0.04 * rng.normal()
        truth = math.log2(on_axis(Disk(0.9), float(b))[0]) + step * (1 + 0.04 * rng.normal())
        got = predict(KEY, now, [past(float(value), then)])
        assert got is not None
        inside += abs(got.value - truth) <= 2 * got.u_stops
    assert inside / 800 >= 0.93


def test_a_dial_is_learnt() -> None:
    """A head that gives 0.3 stop too much at a quarter is learnt from its readings and no longer surprises."""
    stand = ("l0", 1.2, 0.0)
    told = [(0.0, 8.0, 0.03, stand), (-1.0, 7.1, 0.03, stand), (-2.0, 6.3, 0.03, stand)]
    curve = learn_power([*told, *told])
    change, u = curve.change(0.0, -2.0)
    assert change == pytest.approx(-1.7, abs=0.06)
    assert u < prior_u(-2.0)
    assert curve.worst[0] == -2.0
    assert curve.worst[1] == pytest.approx(0.3, abs=0.06)
    between, _ = curve.change(0.0, -1.5)
    assert between == pytest.approx(-1.3, abs=0.06)
    outside, u_outside = curve.change(-2.0, -4.0)
    assert outside == pytest.approx(-2.0, abs=0.01)
    assert u_outside == prior_u(-2.0)


def test_learning_agrees_with_a_ridge_regression() -> None:
    """The posterior equals numpy's solution of the same Gaussian problem with one free level a group."""
    rng = np.random.default_rng(2)
    rows = [(float(p), 5.0 + g + p + 0.1 * p * p + 0.02 * rng.normal(), 0.02, g) for g in (0, 3) for p in (0, -1, -2, -3)]
    curve = learn_power(rows)
    powers = [-3.0, -2.0, -1.0, 0.0]
    design = np.zeros((len(rows), 6))
    target = np.zeros(len(rows))
    for i, (power, value, _u, group) in enumerate(rows):
        design[i, powers.index(power)] = 1
        design[i, 4 + (group == 3)] = 1
        target[i] = value - power
    prior = np.diag([1 / (0.02**2 / 4 + (0.04 * (0 - p)) ** 2) for p in powers] + [0.0, 0.0])
    posterior = np.linalg.inv(design.T @ design / 0.02**2 + prior)
    expected = posterior @ design.T @ target / 0.02**2
    assert curve.deviations == pytest.approx(expected[:4], abs=1e-8)
    assert np.array(curve.covariance) == pytest.approx(posterior[:4, :4], abs=1e-10)


def test_nothing_to_learn_from() -> None:
    """One power, different places or no powers at all leave the dial trusted."""
    assert learn_power([]) == PowerCurve()
    assert learn_power([(0.0, 8.0, 0.03, "a"), (-1.0, 7.0, 0.03, "b"), (None, 3.0, 0.03, "a")]).pairs == 0
    assert PowerCurve().change(0.0, -1.0) == (-1.0, prior_u(-1.0))
    assert PowerCurve().change(-1.0, -1.0) == (0.0, 0.0)
    assert PowerCurve().worst == (0.0, 0.0)


def test_history_from_records() -> None:
    """Good readings of earlier placements become predictions of the present one; retakes and others do not."""
    old = placed(0, power_stops=0.0)._replace(id="p-old")
    now = placed(0, power_stops=-1.0)
    good = read(0, 160.0)._replace(id="a" * 32, placement_id="p-old", setup_id="s")
    clipped = good._replace(id="b" * 32, clipped=True)
    camera = good._replace(id="d" * 32, aim="camera")
    pasts = pasts_from([(KEY, old, good), (KEY, old, clipped), (KEY, old, camera)])
    assert [one.reading.id for one in pasts] == ["a" * 32]
    assert past_of(KEY._replace(source_light_id="l1"), old, good) is None
    seen = view([KEY], [now], [read(0, 80.0)], history=pasts)
    got = predictions_for(seen)
    assert got["l0"].value == pytest.approx(math.log2(80.0), abs=1e-6)
    assert predictions_for(view([KEY], [now], [read(0, 80.0)])) == {}
    assert predictions_for(view([KEY], [now], [], history=pasts)) == {}


def test_causes_have_signs() -> None:
    """High and low readings have different causes; a re-powered light may not have been dumped."""
    assert "held off toward the light" in str(causes(0.5))
    assert "dumped" in str(causes(0.5, repowered=True))
    assert "dumped" not in str(causes(0.5))
    assert "not recycled" in str(causes(-0.5))
    assert "held off" not in str(causes(-0.5))


@pytest.mark.parametrize(
    ("then", "now", "stops"),
    [
        ((0.0, "1/1"), (-2.0, "1/4"), -2.0),
        ((None, "seven"), (None, "seven"), 0.0),
        ((None, "seven"), (None, "six"), None),
        ((None, "7"), (-2.0, "1/4"), None),
        ((-2.0, "1/4"), (None, "7"), None),
        ((None, ""), (-2.0, ""), None),
    ],
)
def test_power_scales_only_where_it_is_known_on_both_sides(
    then: tuple[float | None, str], now: tuple[float | None, str], stops: float | None
) -> None:
    """Stops of power on both sides scale the prediction, the same words leave it as it is, anything else predicts nothing."""
    before = placed(0, power_stops=then[0], power_text=then[1])._replace(id="old")
    after = placed(0, power_stops=now[0], power_text=now[1])
    got = predict(KEY, after, [past(8.0, before, light_id="l0", setup_id="s")], calibration_id="c")

    assert (None if got is None else pytest.approx(got.value - 8.0)) == stops


@pytest.mark.parametrize(
    ("then", "now", "stops"),
    [
        ((0.0, "1/1"), (-2.0, "1/4"), -2.0),
        ((None, "seven"), (None, "seven"), 0.0),
        ((None, "seven"), (None, "six"), None),
        ((None, "7"), (-2.0, "1/4"), None),
        ((-2.0, "1/4"), (None, "7"), None),
    ],
)
def test_the_range_is_chosen_by_power_only_where_both_are_known(
    then: tuple[float | None, str], now: tuple[float | None, str], stops: float | None
) -> None:
    """What a change of power should bring is said of two known powers, or of the same words; else nothing is."""
    before, after = (placed(0, power_stops=one[0], power_text=one[1]) for one in (then, now))

    assert placement_change_stops(before, after) == stops


@pytest.mark.parametrize(
    "other", [{"kind": "steady"}, {"receptor": "flat"}, {"calibration_id": "d"}, {"modifier": "bare"}, {"light_id": "y"}]
)
def test_a_dial_is_learnt_from_what_differs_by_power_alone(other: dict[str, str]) -> None:
    """A pop and the steady light of its lamp, two receptors, modifiers or places say nothing of the dial between them."""
    full, quarter = past(8.0, placed(9, power_stops=0.0)), placed(9, power_stops=-2.0)
    assert curve_from([full, past(5.0, quarter)]).pairs == 1
    assert curve_from([full, past(5.0, quarter, **other)]).pairs == 0
