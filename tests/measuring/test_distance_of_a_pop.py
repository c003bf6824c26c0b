"""A range finder's measurements become a distance with its uncertainty, or "not known" with the reason."""

from __future__ import annotations

import random
from statistics import stdev

import pytest

from meterlink.records import HeldOff, RangerState
from meterlink.sensor.measuring.ranger import Held, Ranger, RangerScale, Unknown

STEP_S = 0.066
SCALE = RangerScale(0.0, 1.0, 0.002, 0.005, white=20_000.0)


def heard(figures: list[float | RangerState], signal: float = 0.5, scale: RangerScale = SCALE) -> Held:
    """What is known just after the last of these, 15 a second; ``signal``: part of a white card's."""
    ranger = Ranger(scale)
    for i, one in enumerate(figures):
        if isinstance(one, RangerState):
            ranger.hear(HeldOff(i * STEP_S, None, None, one, 0.0))
        else:
            ranger.hear(HeldOff(i * STEP_S, one, 0.003, RangerState.GOOD, signal * 20_000.0 / one**2 if one else None))
    return ranger.at((len(figures) - 1) * STEP_S + 0.01)


def test_a_still_dome_has_the_median_of_the_last_300_ms() -> None:
    """One wild figure in the window does not move it, and nothing older than the window counts."""
    held = heard([0.30, 0.28, 0.26, 0.24, 0.22, 0.201, 0.199, 0.20, 0.215, 0.20])

    assert held.unknown is None
    assert held.held_off_m == pytest.approx(0.20, abs=0.002)


def test_uncertainty_holds_noise_offset_scale_skin_and_tilt() -> None:
    """At 20 cm: 2 mm offset, 1 mm scale, 3 mm skin, 3.5 mm for 15 degrees of tilt, under 2 mm of noise."""
    held = heard([0.2] * 8)

    assert held.u_m == pytest.approx((0.002**2 + 0.001**2 + 0.003**2 + 0.0035**2 + 0.0017**2) ** 0.5, rel=0.1)


def test_the_uncertainty_covers_what_noise_does() -> None:
    """Of a thousand windows of 3 mm noise the medians spread by less than is said, and not by less than a third of it."""
    rng = random.Random(5)
    medians, said = [], 0.0
    for _ in range(1000):
        held = heard([0.2 + rng.gauss(0, 0.003) for _ in range(8)], scale=RangerScale(0, 1, 0, 0))
        assert held.held_off_m is not None
        assert held.u_m is not None
        medians.append(held.held_off_m)
        said = max(said, held.u_m)
    assert said / 5 < stdev(medians) < said


@pytest.mark.parametrize(
    ("figures", "signal", "why"),
    [
        ([RangerState.NOTHING] * 8, 0.5, Unknown.NOTHING),
        ([RangerState.BRIGHT] * 8, 0.5, Unknown.BRIGHT),
        ([0.9] * 10, 0.5, Unknown.FAR),
        ([0.05, 0.09, 0.13, 0.17, 0.21, 0.25, 0.29, 0.33], 0.5, Unknown.MOVES),
        ([0.25] * 6 + [0.08] * 6, 0.5, Unknown.JUMPED),
        ([0.2] * 8, 0.05, Unknown.NO_FACE),
        ([0.2] * 8, 2.5, Unknown.NO_FACE),
        ([0.2, 0.2], 0.5, Unknown.NOTHING),
        ([], 0.5, Unknown.NONE_CAME),
    ],
)
def test_what_cannot_be_told_is_not_known(figures: list[float | RangerState], signal: float, why: Unknown) -> None:
    """Nothing in the cone, sunlight, a wall, a dome on its way, a hand that came in, a stand, a mirror: never a guess."""
    held = heard(figures, signal)

    assert (held.held_off_m, held.u_m, held.unknown) == (None, None, why)


def test_skin_of_every_kind_is_a_face() -> None:
    """From 0.3 to 0.7 of a white card's light, at every distance of an arm."""
    for part in (0.3, 0.5, 0.7):
        for distance_m in (0.05, 0.1, 0.2, 0.4):
            assert heard([distance_m] * 8, part).held_off_m == pytest.approx(distance_m)


def test_the_scale_brings_figures_to_the_dome() -> None:
    """A finder 12 mm behind the dome's plane that reads 4 % long."""
    held = heard([0.24] * 8, scale=RangerScale(-0.012, 0.96, 0.002, 0.005))

    assert held.held_off_m == pytest.approx(0.96 * 0.24 - 0.012)


def test_still_is_told_from_moving() -> None:
    """A hand that trembles by millimetres is still; one that creeps by two centimetres in the window is not."""
    assert heard([0.10, 0.102, 0.099, 0.101, 0.10, 0.10]).steady
    assert not heard([0.10, 0.105, 0.11, 0.115, 0.12, 0.125]).steady
