"""Many positions at once equal one at a time."""

from __future__ import annotations

import numpy as np
import pytest

from meterlink.photometry.batch import receive_many
from meterlink.photometry.quadrature import illuminance, illuminance_many, node_count
from meterlink.photometry.receptors import receive
from meterlink.photometry.sources import Disk, Point, Rectangle

SOURCES = [Rectangle(0.6, 0.9), Rectangle(1.4, 0.2), Disk(0.9), Disk(0.05), Point()]


def somewhere(count: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Positions before the source and normals that look roughly at it."""
    rng = np.random.default_rng(seed)
    where = np.column_stack([rng.uniform(-1, 1, count), rng.uniform(-1, 1, count), rng.uniform(0.4, 3, count)])
    facing = -where + 0.1 * rng.normal(size=(count, 3))
    return where, facing / np.linalg.norm(facing, axis=1, keepdims=True)


@pytest.mark.parametrize("source", SOURCES)
def test_batch_equals_scalar(source: Rectangle | Disk | Point) -> None:
    """Closed forms in numpy equal those in plain Python to 1e-12, for domes anywhere and flats that see all of it."""
    where, facing = somewhere(300)
    dome = receive_many(source, where, facing, "dome")
    expected = [receive(source, tuple(p), tuple(n), "dome") for p, n in zip(where, facing, strict=True)]
    assert dome == pytest.approx(expected, rel=1e-12)
    ahead = np.array([0.0, 0.0, -1.0])
    flat = receive_many(source, where, ahead, "flat")
    assert flat == pytest.approx([receive(source, tuple(p), (0.0, 0.0, -1.0), "flat") for p in where], rel=1e-11)


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("emission_n", [1.0, 4.0])
def test_quadrature_batch_equals_scalar(source: Rectangle | Disk | Point, emission_n: float) -> None:
    """The vectorised quadrature equals the scalar one with the same nodes, with a hot spot and a narrow emission."""
    where, facing = somewhere(40)
    nodes = node_count(source, 0.4) if not isinstance(source, Point) else None
    spot = lambda u, v: np.exp(-(u * u + v * v) / 0.1)  # noqa: E731
    many = illuminance_many(source, where, facing, "dome", emission_n, spot, nodes)
    one = [illuminance(source, tuple(p), tuple(n), "dome", emission_n, spot, nodes) for p, n in zip(where, facing, strict=True)]
    assert many == pytest.approx(one, rel=1e-10)


def test_quadrature_is_good_to_a_millionth() -> None:
    """With the nodes it chooses, quadrature of uniform sources is within 1e-6 of the closed form."""
    where, facing = somewhere(200, 3)
    for source in (Rectangle(0.6, 0.9), Disk(0.9)):
        closed = receive_many(source, where, facing, "dome")
        assert illuminance_many(source, where, facing, "dome") == pytest.approx(closed, rel=1e-6)


def test_refusals() -> None:
    """Wrong shapes, places behind the source, half-seen sources and unknown receptors are refused."""
    ahead = [0.0, 0.0, -1.0]
    with pytest.raises(ValueError, match="rows of x, y, z"):
        receive_many(Disk(1.0), [1.0, 2.0, 3.0], ahead)
    with pytest.raises(ValueError, match="rows of x, y, z"):
        illuminance_many(Disk(1.0), [1.0, 2.0, 3.0], ahead)
    for many in (receive_many, illuminance_many):
        with pytest.raises(ValueError, match="behind"):
            many(Disk(1.0), [[0.0, 0.0, -1.0]], ahead)
        with pytest.raises(ValueError, match="not one of dome, flat"):
            many(Disk(1.0), [[0.0, 0.0, 1.0]], ahead, "globe")
    with pytest.raises(ValueError, match="horizon"):
        receive_many(Disk(1.0), [[0.0, 0.0, 1.0]], [1.0, 0.0, 0.0], "flat")
    with pytest.raises(ValueError, match="behind"):
        illuminance(Disk(1.0), (0.0, 0.0, -1.0), (0.0, 0.0, -1.0))
    with pytest.raises(ValueError, match="exponent"):
        illuminance(Disk(1.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), "dome", -1.0)
