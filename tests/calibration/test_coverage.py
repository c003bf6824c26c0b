"""A small run of the calibration benchmark: sensors drawn from a world that the code does not know."""

from __future__ import annotations

import numpy as np

from benchmarks.bench_calibration_coverage import coverage
from benchmarks.calibration_figures import stops_of


def test_intervals_cover_the_truth_and_are_not_wide() -> None:
    """24 sensors: at least 90 % of k=2 intervals cover (93 % of 2,000 in the benchmark), width at most 1.5 x the oracle's; of the
    readings that the calibrations claim none is beyond 0.1 stop but for its reference's own error, and they claim much."""
    trial = coverage(24, 11)
    found = [c for one in trial.sensors for c in one]
    claimed = [c for c in found if c.claimed]

    covered = np.mean([abs(c.error_stops) <= 2 * c.u_stops for c in found])
    width = np.mean([c.u_stops for c in found]) / np.mean([c.oracle_u_stops for c in found])
    assert trial.refused <= 2
    assert len(found) >= 320
    assert covered >= 0.90
    assert width <= 1.5
    # 24 measurements and a dome plane off by 0.5 cm: 0.53 seen; with 38 measurements 0.64 (light from 45 instead of 30 degrees).
    assert len(claimed) >= 0.5 * len(found)
    assert max(abs(c.error_stops - c.reference_stops) for c in claimed) <= 0.1
    assert np.quantile([abs(c.error_stops) for c in claimed], 0.95) <= 0.1
    assert np.median([stops_of(c, "flash") for c in trial.claims]) >= 6.0
    assert np.median([stops_of(c, "steady") for c in trial.claims]) >= 7.5
