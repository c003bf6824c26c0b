"""From physics to table, uniform area lights: see ``area_lights``."""

from __future__ import annotations

import math
from pathlib import Path

from tests.area_lights import CONSTANT, SETS, AreaLight, Bench, bench, each_set, needs_chip

__all__ = ["bench"]
pytestmark = needs_chip


def test_uniform_lights_are_within_a_tenth_of_a_stop_at_every_held_off_distance(tmp_path: Path, bench: Bench) -> None:
    """With uniform sources the light at the face and the stops from the key are right within 0.1 stop, 0 to 30 cm off."""
    worst = 0.0

    def check(one: AreaLight, row: dict, key: AreaLight, key_row: dict) -> None:
        nonlocal worst
        true_f = math.sqrt(one.face_exposure_lxs * 100 / CONSTANT)
        error = 2 * math.log2(row["corrected_f"] / true_f)
        from_key = row["from_key_stops"] - math.log2(one.face_exposure_lxs / key.face_exposure_lxs)
        worst = max(worst, abs(error), abs(from_key))
        assert abs(error) <= 0.1, (one, row)
        assert abs(from_key) <= 0.1, (one, row, key_row)

    each_set(tmp_path, bench, hot=False, check=check)
    print(f"worst error of {SETS} sets: {worst:.3f} stop")
