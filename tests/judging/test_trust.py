"""A small run of the trust simulation: what the full one prints must hold here too, within the noise of 200 sets."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks import bench_trust, trust_correction, trust_simulation
from benchmarks.trust_ideal_sum import Odds
from benchmarks.trust_tables import USES, Table


@pytest.mark.parametrize("world", ["uniform", "realistic"])
def test_misplaced_readings_are_caught_and_clean_sets_left_alone(world: str) -> None:
    """200 sets: few false alarms, frontal misplacements within a stop of the key mostly caught, the right light found."""
    rng = np.random.default_rng(11)
    clean, caught, right = [], [], []
    for _ in range(200):
        studio = trust_simulation.build(rng, world)
        check = trust_simulation.view_of(studio, [*studio.readings, studio.together], studio.predictions).check
        if studio.wrong is None:
            clean.append(check.alarm)
        elif studio.cost > 0.5:
            caught.append(check.alarm)
            if check.alarm:
                right.append(trust_simulation.found_after(rng, studio, "both", check)[0])
    assert np.mean(clean) <= 0.06
    assert np.mean(caught) >= 0.82
    assert np.mean(right) >= 0.9


def test_no_detector_beats_the_ideal_one() -> None:
    """120 sets and their honest twins: at as many false alarms the ideal detector finds as much as ours, and neither all."""
    found = trust_simulation.run("uniform", 120, 7)
    table = Table(found)
    for use in USES:
        ours, _at_2_percent, ideal = table.cells(use, lambda one: one.cost_stops > 0.5)
        assert len(ours) > 20
        assert np.mean(ideal) >= np.mean(ours) - 0.08
    ours, _at_2_percent, ideal = table.cells("history", lambda _one: True)
    assert 0.5 < np.mean(ideal) < 0.95


def test_declared_corrections_are_right() -> None:
    """40 sets of uniform sources: median error within 0.04 stop, 95 % within 0.12, intervals cover at least 90 %."""
    rng = np.random.default_rng(12)
    tallies = {name: trust_correction.Tally() for name in trust_correction.KINDS}
    for number in range(1, 41):
        for light in trust_simulation.world_of.draw_set(rng, "uniform"):
            # Numbers that are no multiple of ORACLE_EVERY spare the oracle's draws.
            trust_correction.one_light(rng, "uniform", light, number * trust_correction.ORACLE_EVERY + 1, tallies)
    errors = np.abs(tallies["declared"].error)
    halves = np.array(tallies["declared"].half)
    assert np.median(errors) <= 0.04
    assert np.quantile(errors, 0.95) <= 0.12
    assert (errors <= halves).mean() >= 0.9
    plain = np.abs(tallies["declared, inverse square alone"].error)
    assert np.quantile(plain, 0.95) > np.quantile(errors, 0.95)


def test_trust_goes_through_the_front_door_with_defaults() -> None:
    """24 sets of a world that the code does not know, each metered through the library's front door, clean and misplaced."""
    found = bench_trust.looked_at(7, "hot", "touching", bench_trust.SUM, 24)

    assert sum(one.alarm for one in found) <= 2
    wrong = [one for one in found if one.off is not None]
    assert len(wrong) >= 6
    assert sum(bool(one.named) for one in wrong) >= 0.7 * len(wrong)
    assert sum(one.named == one.wrong for one in wrong) >= 0.4 * len(wrong)
    # The ideal detector knows a set with a misplaced reading from the same set without it.
    assert np.median([one.off[0].total / one.clean[0].total for one in wrong]) > 5
    assert "of 24" in bench_trust.line("hot", found, found)


def test_who_is_not_told_the_reach_has_one_limit_for_both() -> None:
    """The detector that is told alarms as often as the product in its line, the other as often in both reaches together."""

    def looked(alarm: bool, told: float, untold: float) -> bench_trust.Looked:
        return bench_trust.Looked(alarm, (Odds(told, "KEY"), Odds(untold, "KEY")), "")

    touching = [looked(i == 0, float(i), 0.1 * i) for i in range(40)]
    loose = [looked(i < 3, float(i), 10.0 + i) for i in range(40)]

    told, untold = bench_trust.limits_of(touching, touching + loose)

    assert sum(one.clean[0].total > told for one in touching) == 1
    assert sum(one.clean[1].total > untold for one in touching) == 0
    assert sum(one.clean[1].total > untold for one in touching + loose) == 4
