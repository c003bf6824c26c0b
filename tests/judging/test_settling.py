"""What the pops of one light say together, and what is set last without a pop."""

from __future__ import annotations

import random
from math import log2, sqrt

import numpy as np
import pytest
from small_sets import SETTINGS, light, placed, read, view

from meterlink.judging.history import pasts_from
from meterlink.judging.joined_pops import carried, settled
from meterlink.judging.judge import AS_TOLD
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.power_curve import U_STEP, U_STEP_LEAST
from meterlink.records import Calibration, Light, Placement, Reading
from meterlink.tables.match import match_report
from meterlink.tables.match_rounds import last_round, second_round
from meterlink.tables.targets import Wish, plan

KEY = light(0, "KEY", "key", power_step_stops=0.1, fixture="A")
THIRDS = light(0, "KEY", "key", power_step_stops=1 / 3, fixture="A")
CALIBRATIONS = {"c": Calibration("c", "x", 0.0, 330.0)}


def stood(order: int, power_stops: float, **fields: object) -> Placement:
    """The key's placement number ``order``."""
    return placed(0, power_stops=power_stops, power_text=f"{power_stops:g}", **fields)._replace(id=f"p0-{order}")


def metered(steps: list[tuple[Placement, float | None]], head: Light = KEY, **fields: object) -> JudgedSet:
    """The key in one placement after the other, each read as given (None: not read there), with all of it as history."""
    readings: list[Reading] = []
    entries = []
    for order, (place, value) in enumerate(steps):
        if value is not None:
            reading = read(0, value, order=order, **fields)._replace(placement_id=place.id)
            readings.append(reading)
            entries.append((head, place, reading))
    history = pasts_from(entries, SETTINGS)
    return view([head], [steps[-1][0]], readings, history=history)._replace(calibrations=CALIBRATIONS)


def now(seen: JudgedSet) -> float:
    """What the key gives, in stops of lx·s."""
    return log2(seen.lights[0].value or 0.0)


def test_a_lone_pop_is_taken_as_it_is() -> None:
    """One reading and nothing before it: nothing changes."""
    seen = metered([(stood(0, -3.0), 320.0)])

    assert settled(seen) == seen


def test_two_pops_with_a_turn_between_count_together() -> None:
    """Generalized least squares by numpy: the earlier pop plus the turn, doubted by the dial's 4 % a stop and its positions."""
    seen = metered([(stood(0, -3.0), 320.0), (stood(1, -2.5), 320.0 * 2.0**0.6)])
    after = settled(seen)
    u = seen.lights[0].judged.u_stops
    dial = (U_STEP * 0.5) ** 2 + U_STEP_LEAST**2
    weights = np.linalg.inv(np.diag([u**2 + dial, u**2])) @ np.ones(2)
    expected = weights @ np.array([log2(320.0) + 0.5, log2(320.0) + 0.6]) / weights.sum()

    assert now(after) == pytest.approx(expected, abs=1e-9)
    assert after.lights[0].judged.u_stops == pytest.approx(1 / sqrt(weights.sum()))


def test_pops_before_one_large_turn_share_its_doubt() -> None:
    """Three pops two stops away are no three witnesses of the dial: the newest pop keeps most of the say."""
    steps = [(stood(i, -5.0 + 0.1 * i), 80.0 * 2.0 ** (0.1 * i)) for i in range(3)]
    seen = metered([*steps, (stood(3, -3.0), 320.0 * 2.0**0.1)])

    assert now(settled(seen)) - log2(320.0) > 0.08


def test_a_pop_that_contradicts_the_newest_is_left_out() -> None:
    """Half a stop between two pops of one stay: something else was changed, only the newest counts."""
    seen = metered([(stood(0, -3.0), 320.0), (stood(1, -2.9), 320.0 * 2.0**0.6)])

    assert now(settled(seen)) == pytest.approx(log2(320.0) + 0.6)


OTHER_STAYS = [
    ({"gel": "CTO"}, "another gel"),
    ({"azimuth_deg": 40.0}, "another direction"),
    ({"distance_m": 2.4}, "carried to twice its distance"),
    ({"width_m": 0.6}, "another source"),
]


@pytest.mark.parametrize(("fields", "what"), OTHER_STAYS, ids=[what for _, what in OTHER_STAYS])
def test_only_pops_of_one_stay_count(fields: dict[str, object], what: str) -> None:
    """A light that was dressed, aimed or placed otherwise says nothing of how it stands now."""
    seen = metered([(stood(0, -3.0, **fields), 320.0), (stood(1, -3.0), 330.0)])

    assert now(settled(seen)) == pytest.approx(log2(330.0)), what


def test_a_retake_replaces_its_pop_and_does_not_join_it() -> None:
    """A reading that was superseded is no witness: it was taken again because it was wrong."""
    seen = metered([(stood(0, -3.0), 320.0), (stood(1, -2.9), 345.0)])
    without = seen._replace(readings=seen.readings[1:])

    assert now(settled(without)) == pytest.approx(log2(345.0))


def test_a_carried_stand_is_followed_by_its_falloff() -> None:
    """Six centimetres nearer by a disk's own falloff ((R² + d²) of H. C. Hottel's disk): both pops agree, and say so."""
    gain = log2((0.45**2 + 1.2**2) / (0.45**2 + 1.14**2))
    seen = metered([(stood(0, -3.0, distance_m=1.2), 320.0), (stood(1, -3.0, distance_m=1.14), 320.0 * 2.0**gain)])
    found = carried(settled(seen).lights[0], seen)

    assert found is not None
    assert found.pops == 2
    assert found.value == pytest.approx(log2(320.0) + gain, abs=0.01)


def test_a_light_turned_after_its_pops_is_expected_to_give_what_they_say() -> None:
    """A tenth less than two pops said; another reading of it is not needed to say so, and its doubt is small."""
    seen = metered([(stood(0, -3.0), 320.0), (stood(1, -2.5), 320.0 * 2.0**0.5), (stood(2, -2.6), None)])
    found = carried(seen.lights[0], seen)

    assert found is not None
    assert found.value == pytest.approx(log2(320.0) + 0.4, abs=1e-6)
    assert found.turned_stops == pytest.approx(-0.1)
    assert found.u_stops < 0.04


def test_together_they_are_nearer_the_truth() -> None:
    """1000 lights with pops of ±0.03 stop and dials off by 3 % a stop: nearer than the second pop alone, as its doubt says."""
    rng = random.Random(4)
    alone, both, doubt = [], [], []
    for _ in range(1000):
        turn = rng.choice((0.2, 0.4, 0.6))
        truth = log2(320.0) + turn * (1 + rng.gauss(0, 0.03)) + rng.gauss(0, 0.014)
        first, second = 320.0 * 2.0 ** rng.gauss(0, 0.03), 2.0 ** (truth + rng.gauss(0, 0.03))
        seen = metered([(stood(0, -3.0), first), (stood(1, -3.0 + turn), second)])
        after = settled(seen)
        alone.append(log2(second) - truth)
        both.append(now(after) - truth)
        doubt.append(after.lights[0].judged.u_stops)
    rms = [sqrt(sum(d * d for d in some) / len(some)) for some in (alone, both, doubt)]

    assert rms[1] < 0.9 * rms[0]
    assert rms[1] < rms[2] < 1.5 * rms[1]


# -- what is set last ---------------------------------------------------------------------------------------------------


def stored() -> JudgedSet:
    """The key as it was: 320 lx·s."""
    return metered([(stood(9, -3.0), 320.0)])


def test_one_pop_that_may_be_off_is_fired_again_as_it_stands() -> None:
    """0.08 under with a tolerance of 0.1: no turn, but a second pop; 0.05 needs none."""
    unsure, sure = (metered([(stood(0, -3.0), 320.0 * 2.0**d)]) for d in (-0.08, -0.05))
    (turn,) = second_round(match_report(stored(), unsure), unsure)

    assert turn.move is None
    assert "one pop is not sure enough" in str(turn.sentence)
    assert second_round(match_report(stored(), sure), sure) == ()


def test_one_pop_is_never_enough_for_a_last_change() -> None:
    """What is off by a single pop is for the second round."""
    seen = metered([(stood(0, -3.0), 320.0 * 2.0**-0.08)])

    assert last_round(match_report(stored(), seen), settled(seen)) == ()


def test_after_two_pops_the_rest_is_set_without_a_third() -> None:
    """0.12 over by both pops: a tenth less on the dial, done; 0.08 over is within its tolerance and left alone."""
    for off, powers in ((0.12, [-2.8]), (0.08, [])):
        seen = metered([(stood(0, -3.0), 320.0 * 2.0 ** (off - 0.3)), (stood(1, -2.7), 320.0 * 2.0**off)])
        turns = last_round(match_report(stored(), seen), settled(seen))
        assert [turn.move.power_stops for turn in turns if turn.move] == pytest.approx(powers)
        assert not any("meter it again" in str(turn.sentence) for turn in turns)


def test_what_a_coarse_dial_leaves_is_closed_by_carrying_the_stand() -> None:
    """A head of thirds 0.2 over: its step overshoots by 0.13, so the stand is carried for the rest."""
    seen = metered([(stood(0, -3.0), 320.0 * 2.0 ** (0.2 - 1 / 3)), (stood(1, -8 / 3), 320.0 * 2.0**0.2)], THIRDS)
    (turn,) = last_round(match_report(stored(), seen), settled(seen))

    assert turn.move is not None
    assert turn.move.distance_m is not None
    assert abs(turn.move.left_over_stops) < 0.03


def test_a_large_difference_is_no_last_change() -> None:
    """Nearly a stop off after two pops: its row says what to do, but it is not set without a pop."""
    seen = metered([(stood(0, -3.0), 320.0 * 2.0**0.6), (stood(1, -2.7), 320.0 * 2.0**0.9)])
    report = match_report(stored(), seen)

    assert last_round(report, settled(seen)) == ()
    assert not report.rows[0].within
    assert "power down" in str(report.rows[0].sentence)


def test_pops_of_no_uncertainty_count_evenly() -> None:
    """A library may set every limit to 0: what is then sure to the last digit must not divide by nothing."""
    seen = metered([(stood(0, -3.0), 320.0), (stood(1, -3.0), 320.0)])
    sure = seen._replace(history=tuple(one._replace(u_stops=0.0) for one in seen.history))

    found = carried(sure.lights[0], sure)

    assert found is not None
    assert found.u_stops > 0.0


def test_what_was_set_last_is_reported_as_expected() -> None:
    """Turned as told by a tenth since its pops: within, and said to be an expectation; by two stops, or untold: it waits."""
    steps = [(stood(0, -3.0), 320.0 * 2.0**-0.2), (stood(1, -2.7), 320.0 * 2.0**0.1)]
    told = {"details": {AS_TOLD: True}}
    little = match_report(stored(), metered([*steps, (stood(2, -2.8, **told), None)])).rows[0]
    much = match_report(stored(), metered([*steps, (stood(2, -0.8, **told), None)])).rows[0]
    untold = match_report(stored(), metered([*steps, (stood(2, -2.8), None)])).rows[0]

    assert little.within
    assert not little.metered
    assert "turned since its last pop, so this is what to expect" in str(little.sentence)
    assert little.difference_stops == pytest.approx(0.0, abs=0.01)
    assert "waits for its pop" in str(much.sentence)
    assert "waits for its pop" in str(untold.sentence)


def test_targets_rest_on_all_pops_and_end_finely() -> None:
    """The key, turned as told, at 0.04 over the wish by both pops: less than half a tenth, so the stand is carried for it."""
    seen = metered([(stood(0, -3.0), 330.0 * 2.0**-0.26), (stood(1, -2.7, details={AS_TOLD: True}), 330.0 * 2.0**0.04)])
    (row,) = plan(seen, [Wish("KEY", 10.0)]).rows

    assert row.change_stops == pytest.approx(-0.04, abs=1e-6)
    assert row.move.power_stops is None
    assert row.move.distance_m == pytest.approx(1.22, abs=0.006)
