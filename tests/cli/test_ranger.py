"""A sensor that measures its distance, at the command line."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]


class _Keys(io.StringIO):
    """Two times Enter, typed at once."""

    def fileno(self) -> int:
        """No descriptor: a thread reads it."""
        raise io.UnsupportedOperation


def test_calibrate_ranger_finds_zero_and_scale(small_set: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The simulated finder sits 8 mm behind the dome and reads 2 % long: both are found, and kept for this sensor."""
    monkeypatch.setattr(sys, "stdin", _Keys("\n\n"))
    ran = small_set("calibrate", "ranger", "--json", "--sensor", "sim:?every=0&ranger=yes")

    assert ran.code == 0
    found = json.loads(ran.out[ran.out.index("{") :])
    assert found["scale"] == pytest.approx(1 / 1.02, abs=0.02)
    assert found["offset_m"] == pytest.approx(-0.008, abs=0.004)


def test_what_has_no_range_finder_cannot_be_calibrated_so(small_set: Run) -> None:
    """It is told to type distances instead."""
    ran = small_set("calibrate", "ranger", "--sensor", "sim:?every=0")

    assert ran.code == 1
    assert "has no range finder: type distances" in ran.err


def test_distances_too_near_each_other_are_wrong_use(small_set: Run) -> None:
    """Before anything is opened."""
    assert small_set("calibrate", "ranger", "--distance", "10cm", "12cm", "--sensor", "sim:").code == 2


def test_a_pop_has_its_measured_distance_and_a_typed_one_beats_it(small_set: Run) -> None:
    """Nothing typed: about 3 cm measured and corrected; 20 cm typed and held: no complaint, and 20 cm counts."""
    ran = small_set("meter", "KEY", "FILL@20cm", "--sensor", "sim:?every=0.9&ranger=yes")

    assert ran.code == 0
    assert "KEY" in ran.out
    assert "dome 20 cm in front of the face" in ran.out
    assert "not given" not in ran.out
    assert "was said" not in ran.out
