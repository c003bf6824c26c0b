"""Light from a source of any luminance on any receptor, by Gauss-Legendre quadrature.

For what has no closed form: narrow emitters (luminance falling as cos**(n - 1)) and measured angle responses.
The number of nodes, max(8, ceil(4 w / d) + 5) for a source of extent w at the distance d, keeps the error of a smooth
source below 1e-6.

Coordinates are those of the source: x across, y up, z the distance before its plane, in metres.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from math import ceil, cos, pi, sin, sqrt

from meterlink.photometry.receptors import MAX_NODES, Vector, gauss_legendre, response
from meterlink.photometry.sources import Disk, Point, Source


def node_count(source: Source, distance_m: float) -> int:
    """Return the nodes a side that keep a smooth source below 1e-6 at ``distance_m`` from its nearest part."""
    extent = 2 * max(source.half_width_m, source.half_height_m)
    return min(MAX_NODES, max(8, ceil(4 * extent / distance_m) + 5))


@lru_cache(maxsize=64)
def _nodes_on(source: Source, count: int) -> tuple[tuple[float, float, float], ...]:
    """Points (x, y) on the source with the area that each stands for."""
    rule = gauss_legendre(count)
    if isinstance(source, Disk):
        radius = source.diameter_m / 2
        around = 2 * count
        return tuple(
            (r * cos(t), r * sin(t), weight * radius / 2 * r * 2 * pi / around)
            for node, weight in rule
            for r in (radius * (node + 1) / 2,)
            for t in (2 * pi * (j + 0.5) / around for j in range(around))
        )
    a, b = source.half_width_m, source.half_height_m
    return tuple((a * u, b * v, wu * wv * a * b) for u, wu in rule for v, wv in rule)


def illuminance(
    source: Source,
    position: Vector,
    normal: Vector,
    receptor: str | Callable[[float], float] = "dome",
    emission_n: float = 1.0,
) -> float:
    """Return the illuminance of ``receptor`` at ``position`` with unit ``normal`` in units of the axial luminance.

    ``receptor`` is ``dome``, ``flat`` or a function of the cosine of the angle to the normal.  Luminance falls as
    cos**(emission_n - 1) with the angle from the source's axis; a point gives E in units of its axial intensity, which
    falls as cos**emission_n.
    Where a flat receptor's horizon cuts the source the rule loses its speed: 1e-3 is then all that is promised.
    Raises ValueError behind the source's plane and for an ``emission_n`` below 0 or above 1000.
    """
    x, y, z = position
    if not z > 0.0:
        raise ValueError(f"the receptor is {-z:g} m behind the plane of the source: it must be before it")
    if not 0.0 <= emission_n <= 1000.0:
        raise ValueError(f"the emission exponent is {emission_n!r}: it must be 0 to 1000")
    nx, ny, nz = normal
    answer = partial(response, receptor) if isinstance(receptor, str) else receptor
    if isinstance(source, Point):
        r = sqrt(x * x + y * y + z * z)
        return float(answer(-(nx * x + ny * y + nz * z) / r) * (z / r) ** emission_n / (r * r))
    total = 0.0
    power = emission_n - 1.0
    for u, v, area in _nodes_on(source, node_count(source, z)):
        dx, dy = u - x, v - y
        r2 = dx * dx + dy * dy + z * z
        r = sqrt(r2)
        cosine = z / r
        part = area * cosine / r2 * answer((nx * dx + ny * dy - nz * z) / r)
        if power:
            part *= cosine**power
        total += part
    return total
