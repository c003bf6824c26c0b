"""Two marks of a ruler give a range finder's scale; what cannot be is refused, a damaged one is as never calibrated."""

from __future__ import annotations

import random

import pytest

from meterlink.calibration.ranger import fit, from_json, mark
from meterlink.errors import CalibrationError
from meterlink.records import HeldOff, RangerState
from meterlink.sensor.measuring.ranger import FACTORY


def said(true_m: float, *, scale: float = 1.04, offset_m: float = 0.012, noise_m: float = 0.003, seed: int = 1) -> list[HeldOff]:
    """Three seconds of a finder before a white card."""
    rng = random.Random(seed)
    figures = [scale * (true_m + offset_m) + rng.gauss(0, noise_m) for _ in range(45)]
    return [HeldOff(i / 15, one, 0.003, RangerState.GOOD, 20_000.0 / one**2) for i, one in enumerate(figures)]


def test_offset_and_scale_are_found_within_their_uncertainty() -> None:
    """A finder 12 mm behind the dome that reads 4 % long: distances come out right from 0 to 40 cm."""
    found = fit([mark(0.3, said(0.3)), mark(0.1, said(0.1, seed=2))])

    for true_m in (0.0, 0.1, 0.2, 0.4):
        off = found.distance_m(1.04 * (true_m + 0.012)) - true_m
        u = (found.u_offset_m**2 + (found.u_scale_rel * true_m) ** 2) ** 0.5
        assert abs(off) < 2 * u < 0.02
    assert found.white == pytest.approx(20_000.0, rel=0.05)


def test_coverage_over_many_calibrations() -> None:
    """Of 400 calibrations with a ruler laid to 2 mm (k=1), k=2 covers the truth at 20 cm in 93 % or more."""
    rng, inside = random.Random(3), 0
    for i in range(400):
        marks = [mark(d, said(d + rng.gauss(0, 0.002), seed=2 * i + k)) for k, d in enumerate((0.1, 0.3))]
        found = fit(marks)
        off = found.distance_m(1.04 * 0.212) - 0.2
        inside += abs(off) <= 2 * (found.u_offset_m**2 + (found.u_scale_rel * 0.2) ** 2) ** 0.5
    assert inside >= 0.93 * 400


@pytest.mark.parametrize(
    ("near", "far", "words"),
    [
        (said(0.10), said(0.15), "apart"),
        (said(0.10), said(0.10), "ruler"),
        (said(0.10), [HeldOff(0.0, None, None, RangerState.NOTHING, 0.0)] * 40, "nothing"),
        (said(0.10), said(0.30, noise_m=0.05), "changed"),
    ],
)
def test_what_cannot_be_is_refused(near: list[HeldOff], far: list[HeldOff], words: str) -> None:
    """Marks too close, a finder that does not follow, nothing seen, a hand that moves."""
    far_m = 0.15 if words == "apart" else 0.3
    with pytest.raises(CalibrationError, match=words):
        fit([mark(0.1, near), mark(far_m, far)])


def test_a_scale_survives_as_json_and_damage_is_as_never_calibrated() -> None:
    """What comes from a file is never believed beyond what such a finder can be."""
    found = fit([mark(0.3, said(0.3)), mark(0.1, said(0.1, seed=2))])

    assert from_json(found._asdict()) == found
    changed = ({"scale": 7.0}, {"offset_m": "x"}, {"scale": float("nan")}, {"u_offset_m": -1.0})
    for wrong in (None, [], {}, *({**found._asdict(), **one} for one in changed)):
        assert from_json(wrong) == FACTORY
