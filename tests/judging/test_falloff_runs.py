"""From readings at several distances to a stored falloff, and from there into corrections."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from small_sets import placed, read

from meterlink.judging.falloff_runs import FalloffRun, falloff_from, falloff_lines
from meterlink.judging.verdict import judge
from meterlink.photometry.falloff import FalloffFit
from meterlink.photometry.sources import Disk, on_axis
from meterlink.records import Settings
from meterlink.words.language import use

DISTANCES = (0.7, 1.0, 1.4, 2.0)


def runs(size: float = 0.5, **fields: Any) -> list[FalloffRun]:
    """A disk of ``size`` read at four distances; its placement says 90 cm, which the fit must not believe."""
    result = []
    for i, distance in enumerate(DISTANCES):
        light = on_axis(Disk(size), distance, "dome")[0]
        result.append(FalloffRun(placed(i, distance_m=distance, **fields), read(i, 100 * light)))
    return result


def test_measured_falloff_replaces_the_declared_size() -> None:
    """A box that acts like half its size is fitted as such, and a correction with it is right and narrower."""
    fit = falloff_from(runs())
    assert fit.law == "disk"
    assert 2 * fit.parameter_m == pytest.approx(0.5, abs=0.01)
    place, reading = placed(0, distance_m=1.0), read(0, 100.0, held_off_m=0.2)
    truth = math.log2(on_axis(Disk(0.5), 1.0)[0] / on_axis(Disk(0.5), 0.8)[0])
    learnt, model = judge(reading, place, falloff=fit), judge(reading, place)
    assert learnt.correction_stops == pytest.approx(truth, abs=0.005)
    assert abs((model.correction_stops or 0.0) - truth) > 0.05
    assert learnt.correction.model_u_stops < model.correction.model_u_stops


def test_power_and_held_off_are_allowed_for() -> None:
    """A run at half power and one with the dome 10 cm nearer give the same curve."""
    plain = falloff_from(runs(power_stops=0.0))
    changed = runs(power_stops=0.0)
    half, nearer = changed[1], changed[2]
    dimmed = half.reading._replace(exposure_lxs=(half.reading.exposure_lxs or 0.0) / 2)
    changed[1] = FalloffRun(half.placement._replace(power_stops=-1.0), dimmed)
    changed[2] = FalloffRun(nearer.placement._replace(distance_m=1.5), nearer.reading._replace(held_off_m=0.1))
    again = falloff_from(changed)
    assert again.parameter_m == pytest.approx(plain.parameter_m, abs=0.01)
    assert again.u_parameter_m > plain.u_parameter_m


def test_undeclared_reach_widens_a_falloff() -> None:
    """With nothing declared the assumed reach enters each distance."""
    bare = [FalloffRun(one.placement, one.reading._replace(held_off_m=None)) for one in runs()]
    assert falloff_from(bare).u_parameter_m > falloff_from(runs()).u_parameter_m
    assert falloff_from(bare, Settings(assumed_reach_max_m=0.0)).parameter_m == pytest.approx(0.25, abs=0.01)


def test_refusals() -> None:
    """Two points, another source or receptor, a missing distance, an unknown power or a clipped pop: one clear line."""
    good = runs()
    first = good[0]
    cases = [
        ([], "no readings"),
        (good[:2], "three or more"),
        ([*good[:3], FalloffRun(good[3].placement._replace(width_m=0.4), good[3].reading)], "source was changed"),
        ([*good[:3], FalloffRun(good[3].placement, good[3].reading._replace(receptor="flat"))], "like with like"),
        ([*good[:3], FalloffRun(good[3].placement, good[3].reading._replace(aim="camera"))], "aimed at the camera"),
        ([*good[:3], FalloffRun(good[3].placement._replace(distance_m=None), good[3].reading)], "distance is missing"),
        ([*good[:3], FalloffRun(good[3].placement._replace(power_text="6"), good[3].reading)], "power was changed"),
        ([*good[:3], FalloffRun(good[3].placement, good[3].reading._replace(clipped=True))], "clipped"),
        ([FalloffRun(first.placement, first.reading._replace(held_off_m=0.1, held_off_toward="up")), *good[1:]], "sideways"),
    ]
    for some, words in cases:
        with pytest.raises(ValueError, match=words):
            falloff_from(some)


def test_plot_for_the_terminal() -> None:
    """Curve, readings, law in words, how far it may be used and the residuals."""
    fit = falloff_from(runs())
    lines = falloff_lines(fit)
    text = "\n".join(lines)
    assert text.count("o") >= len(DISTANCES)
    assert "a disk of 50" in text
    assert "may be used from" in text
    assert len([line for line in lines if line.endswith(")") and "stop" in line]) == len(DISTANCES)
    assert all(len(line) <= 132 for line in lines)
    bulb = FalloffFit.from_record({**fit.to_record(), "law": "shifted", "parameter_m": 0.1})
    assert "behind the front" in "\n".join(falloff_lines(bulb))
    with pytest.raises(ValueError, match="20–200"):
        falloff_lines(fit, 5)


def test_the_plot_speaks_german_too() -> None:
    """Its axis, its distances and its residuals have a decimal comma and no English unit."""
    use("de")
    lines = falloff_lines(falloff_from(runs()))

    assert "stop" not in " ".join(lines)
    assert not re.search(r"\d\.\d", " ".join(lines))
