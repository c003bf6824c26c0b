"""Quadrature over a source against the closed form, and what it refuses."""

from __future__ import annotations

import random

import pytest

from meterlink.photometry.quadrature import illuminance
from meterlink.photometry.receptors import receive
from meterlink.photometry.sources import Disk, Rectangle


@pytest.mark.parametrize("source", [Rectangle(0.6, 0.9), Rectangle(1.4, 0.2), Disk(0.9), Disk(0.05)])
def test_quadrature_is_good_to_a_millionth(source: Rectangle | Disk) -> None:
    """With the nodes that it chooses, uniform sources are within 1e-6 of the closed form, for domes anywhere before them."""
    chance = random.Random(3)
    for _ in range(60):
        where = (chance.uniform(-1, 1), chance.uniform(-1, 1), chance.uniform(0.4, 3))
        facing = (0.0, 0.0, -1.0)
        assert illuminance(source, where, facing) == pytest.approx(receive(source, where, facing, "dome"), rel=1e-6)


def test_what_cannot_be_is_refused() -> None:
    """A receptor behind the source and an emission exponent below zero."""
    with pytest.raises(ValueError, match="behind"):
        illuminance(Disk(1.0), (0.0, 0.0, -1.0), (0.0, 0.0, -1.0))
    with pytest.raises(ValueError, match="exponent"):
        illuminance(Disk(1.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), "dome", -1.0)
