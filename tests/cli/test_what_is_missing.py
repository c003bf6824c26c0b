"""``meter`` alone waits for what has no valid reading, and takes a distance only where one is said."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

Run = Callable[..., object]
SIM = ("--sensor", "sim:?every=0.8")


@pytest.fixture
def metered(small_set: Run) -> Run:
    """KEY held off 20 cm and FILL at its point, both metered."""
    assert small_set("meter", "KEY@20cm", "FILL@0", *SIM).code == 0
    return small_set


def corrections(run: Run) -> dict[str, float]:
    """Each light's correction in stops."""
    return {row["light"]: row["correction_stops"] for row in json.loads(run("ratios", "--json").out)}


def test_everything_is_waited_for_at_first(small_set: Run) -> None:
    """Nothing has a reading: all lights in their order."""
    out = small_set("meter", *SIM).out

    assert out.index("waiting for KEY") < out.index("waiting for FILL")


def test_nothing_is_waited_for_when_all_is_well(metered: Run) -> None:
    """No good reading is overwritten by a stray pop."""
    ran = metered("meter", *SIM)

    assert ran.code == 2
    assert "every light has a valid reading" in ran.err
    assert "waiting" not in ran.out


@pytest.mark.parametrize("words", [("meter",), ("meter", "--pending")])
def test_only_a_light_that_moved_is_waited_for(metered: Run, words: tuple[str, ...]) -> None:
    """The other's reading still holds; the distance of before is not assumed."""
    metered("light", "move", "KEY", "1.1m")
    out = metered(*words, *SIM).out

    assert "waiting for KEY" in out
    assert "waiting for FILL" not in out
    assert abs(corrections(metered)["KEY"]) < 0.15


def test_a_distance_of_before_is_taken_where_that_is_said(metered: Run) -> None:
    """``--held-as-before``: 20 cm again."""
    metered("light", "move", "KEY", "1.1m")
    metered("meter", "--held-as-before", *SIM)

    assert corrections(metered)["KEY"] < -0.3


def test_what_is_missing_may_have_a_distance(metered: Run) -> None:
    """``--pending KEY@20cm FILL@10cm``: distances for those that are waited for; the rest is not metered."""
    metered("light", "move", "KEY", "1.1m")
    out = metered("meter", "--pending", "KEY@20cm", *SIM).out

    assert "waiting for FILL" not in out
    assert corrections(metered)["KEY"] < -0.3


def test_a_set_without_lights_says_so(ml: Run) -> None:
    """``checks`` and ``meter`` of a new set-up send to the first light; neither says that a reading is valid, nor fails."""
    ml("setup", "new", "E")
    checks, meter = ml("checks"), ml("meter", *SIM)

    assert [checks.code, checks.err] == [0, ""]
    assert "E: no lights yet: meterlink light add" in checks.out
    assert meter.code == 2
    assert "E: no lights yet: meterlink light add" in meter.err
