"""From physics to table, sources brighter in their middle: see ``area_lights``."""

from __future__ import annotations

import math
from pathlib import Path

from tests.area_lights import CONSTANT, AreaLight, Bench, bench, each_set, needs_chip

__all__ = ["bench"]
pytestmark = needs_chip


def test_hot_spots_stay_within_the_stated_interval(tmp_path: Path, bench: Bench) -> None:
    """A source with a hot spot that nobody told of is within the interval that the table states."""

    def check(one: AreaLight, row: dict, key: AreaLight, key_row: dict) -> None:
        true_f = math.sqrt(one.face_exposure_lxs * 100 / CONSTANT)
        error = 2 * math.log2(row["corrected_f"] / true_f)
        assert abs(error) <= row["u95_stops"], (one, row)

    each_set(tmp_path, bench, hot=True, check=check)
