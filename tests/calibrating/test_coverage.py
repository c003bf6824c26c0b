"""A small run of the calibration benchmark: sensors drawn from a world that the code does not know."""

from __future__ import annotations

import numpy as np

from benchmarks.bench_calibration_coverage import coverage


def test_intervals_cover_the_truth_and_are_not_wide() -> None:
    """24 sensors: at least 90 % of k=2 intervals cover (93 % of 2,000 in the benchmark), width at most 1.5 x the oracle's."""
    found, refused = coverage(24, 11)

    covered = np.mean([abs(c.error_stops) <= 2 * c.u_stops for c in found])
    width = np.mean([c.u_stops for c in found]) / np.mean([c.oracle_u_stops for c in found])
    assert refused <= 2
    assert len(found) >= 200
    assert covered >= 0.90
    assert width <= 1.5
    assert np.quantile([abs(c.error_stops) for c in found], 0.95) <= 0.12
