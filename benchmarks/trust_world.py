"""A simulated studio for the trust benchmark: its own geometry and quadrature, nothing of the code under test.

Distributions (all drawn from one seeded generator):

* lights: 2 to 6 (weights 20, 30, 30, 15, 5 %): a key, a fill, then hair, background, rim and other in random order;
* source: disk (half) or rectangle (aspect 1 to 3), largest side log-uniform 10 to 200 cm by role;
* distance: log-normal about a role's median (key 1.2, fill 1.6, other 1.5, hair 1.5, rim 1.6, background 1.4 m),
  spread 30 %, kept to 0.5 to 4 m and to at least 0.6 of the source's largest side;
* direction: key 15-60 degrees to one side, 10-45 up; fill on the other side 0-60, -10-30 up; other +-80, 0-50 up; hair
  and rim behind; level at the point in stops under the key: fill 0-3, other 0-2.5, hair -1-1.5, rim -1-1, background 0-3;
* declared: distance off by a relative error whose own spread is 2-5 %, azimuth and elevation by 5 degrees each;
* every pop: 0.03 stop; every honest reading: dome 0-6 cm from its point toward the light, nothing declared; the
  pop of all lights, which judges the others: dome touching the face (0-2 cm toward the camera), declared as that; all
  readings share a calibration error of 0.1 stop;
* with probability one half one reading (any light) is taken 10-40 cm toward its light, at most half its distance;
* earlier set: the same fixtures and modifiers at other distances (30 % spread), directions and powers (1 stop spread,
  tenths), metered in the same way, nothing misplaced; the dial is off by 2 % of a step, a lamp differs by 0.03 stop.

Worlds: ``uniform`` sources have constant luminance.  ``realistic`` ones have a hot spot (luminance falls to 10-80 % of
the centre's with a Gaussian of 0.3-0.8 of the half side), fabric that favours its axis (cosine to the power 0-1.2 in
luminance), one in six a grid (triangular transmission, true cut-off 0.8-1.2 of the declared angle), and sources
under 30 cm are dishes: 30-70 % of the light from the bulb 2-12 cm behind the rim, half of the dishes with that recess
declared.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

MEDIAN_M = {"key": 1.2, "fill": 1.6, "other": 1.5, "hair": 1.5, "rim": 1.6, "background": 1.4}
SIZES_M = {"key": (0.18, 1.6), "fill": (0.3, 2.0), "other": (0.1, 1.5), "hair": (0.1, 1.0), "rim": (0.2, 1.4)}
FRONTAL = ("key", "fill", "other")
U_POP = 0.03
REACH_M = (0.0, 0.06)


class TrueSource(NamedTuple):
    """What the code under test does not know."""

    shape: str
    width_m: float
    height_m: float
    spot: float = 0.0
    """Part of the luminance that belongs to the hot spot."""
    spot_size: float = 0.5
    power: float = 0.0
    """Luminance falls as cos**power from the axis."""
    grid_tan: float = 0.0
    """Tangent of the true cut-off angle of a grid, 0 without."""
    bulb: float = 0.0
    """Part of the light that comes straight from the bulb."""
    recess_m: float = 0.0


class TrueLight(NamedTuple):
    """A light as it really stands."""

    name: str
    role: str
    source: TrueSource
    distance_m: float
    azimuth_deg: float
    elevation_deg: float
    log_luminance: float
    power_stops: float
    declared_distance_m: float
    declared_azimuth_deg: float
    declared_elevation_deg: float
    declared_grid_deg: float | None
    declared_recess_m: float

    @property
    def toward(self) -> np.ndarray:
        """Unit vector from the point to the light."""
        a, e = np.radians(self.azimuth_deg), np.radians(self.elevation_deg)
        return np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])


_NODES: dict[int, tuple[np.ndarray, np.ndarray]] = {}


def _rule(count: int) -> tuple[np.ndarray, np.ndarray]:
    if count not in _NODES:
        _NODES[count] = np.polynomial.legendre.leggauss(count)
    return _NODES[count]


def _surface(source: TrueSource, near_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points across and up on the source and the light that each stands for (luminance times area)."""
    side = max(source.width_m, source.height_m)
    x, w = _rule(int(min(40, max(10, np.ceil(4 * side / near_m) + 4))))
    if source.shape == "disk":
        radius = source.width_m / 2
        r = radius * (x + 1) / 2
        turns = 2 * len(x)
        angle = 2 * np.pi * (np.arange(turns) + 0.5) / turns
        u, v = np.outer(r, np.cos(angle)).ravel(), np.outer(r, np.sin(angle)).ravel()
        area = np.repeat(w * radius / 2 * r * 2 * np.pi / turns, turns)
    else:
        u = np.repeat(source.width_m / 2 * x, len(x))
        v = np.tile(source.height_m / 2 * x, len(x))
        area = np.outer(w, w).ravel() * source.width_m * source.height_m / 4
    scale2 = (source.spot_size * source.width_m / 2) ** 2, (source.spot_size * source.height_m / 2) ** 2
    luminance = 1 - source.spot + source.spot * np.exp(-(u * u / scale2[0] + v * v / scale2[1]) / 2)
    return u, v, luminance * area


def received(light: TrueLight, place_m: np.ndarray, normal: np.ndarray | None = None) -> float:
    """Light on an ideal dome at ``place_m`` (set coordinates, point at the origin); None: aimed at the light."""
    ell = light.toward
    centre = ell * light.distance_m
    axis = -ell
    across = np.cross([0.0, 1.0, 0.0], axis)
    size = np.linalg.norm(across)
    across = across / size if size > 1e-9 else np.array([1.0, 0.0, 0.0])
    up = np.cross(axis, across)
    offset = place_m - centre
    x, y, z = float(offset @ across), float(offset @ up), float(offset @ axis)
    facing = -offset / np.linalg.norm(offset) if normal is None else normal
    n = (float(facing @ across), float(facing @ up), float(facing @ axis))
    source = light.source
    u, v, weight = _surface(source, z)
    total = float((weight * _seen(u - x, v - y, -z, n, source)).sum())
    if source.bulb > 0.0:
        area = float(weight.sum())
        deep = _seen(np.array([-x]), np.array([-y]), -(z + source.recess_m), n, source)
        total = (1 - source.bulb) * total + source.bulb * area * float(deep[0])
    return total * 2.0**light.log_luminance


def along_axis(source: TrueSource, distances_m: np.ndarray) -> np.ndarray:
    """Light on a dome on the axis and aimed at the source, for many distances at once: ``received`` with fewer points."""
    u, v, weight = _surface(source, 0.5)
    ahead = (0.0, 0.0, -1.0)
    total = (weight * _seen(u, v, -distances_m[:, None], ahead, source)).sum(axis=1)
    if source.bulb > 0.0:
        middle = np.zeros((len(distances_m), 1))
        deep = _seen(middle, middle, -(distances_m[:, None] + source.recess_m), ahead, source)[:, 0]
        total = (1 - source.bulb) * total + source.bulb * weight.sum() * deep
    return total


def _seen(dx: np.ndarray, dy: np.ndarray, dz: float | np.ndarray, n: tuple[float, float, float], source: TrueSource) -> np.ndarray:
    r2 = dx * dx + dy * dy + dz * dz
    r = np.sqrt(r2)
    emitted = -dz / r
    answer = (1 + (n[0] * dx + n[1] * dy + n[2] * dz) / r) / 2
    part = answer * emitted / r2
    if source.power:
        part = part * emitted**source.power
    if source.grid_tan:
        part = part * np.clip(1 - np.hypot(dx, dy) / -dz / source.grid_tan, 0.0, None)
    return part


def draw_source(rng: np.random.Generator, role: str, world: str) -> tuple[TrueSource, float | None, float]:
    """Return a source, its declared grid angle and its declared recess."""
    low, high = SIZES_M.get(role, (0.2, 1.2))
    side = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    if rng.random() < 0.5:
        shape, width, height = "disk", side, side
    else:
        aspect = rng.uniform(1.0, 3.0)
        shape, (width, height) = "rectangle", rng.permutation([side, side / aspect])
    source = TrueSource(shape, float(width), float(height))
    if world == "uniform":
        return source, None, 0.0
    source = source._replace(spot=rng.uniform(0.2, 0.9), spot_size=rng.uniform(0.3, 0.8), power=rng.uniform(0.0, 1.2))
    grid, recess = None, 0.0
    if rng.random() < 1 / 6:
        grid = float(rng.choice([30.0, 40.0, 50.0]))
        source = source._replace(grid_tan=float(np.tan(np.radians(grid * rng.uniform(0.8, 1.2)))))
    if side < 0.3:
        depth = rng.uniform(0.02, 0.12)
        source = source._replace(shape="disk", height_m=source.width_m, bulb=rng.uniform(0.3, 0.7), recess_m=depth)
        recess = depth if rng.random() < 0.5 else 0.0
    return source, grid, recess


def draw_place(rng: np.random.Generator, role: str, side: float, source: TrueSource) -> tuple[float, float, float]:
    """Return distance, azimuth and elevation of a light."""
    median = MEDIAN_M[role]
    distance = median * np.exp(0.3 * rng.normal())
    distance = float(np.clip(distance, max(0.5, 0.6 * max(source.width_m, source.height_m)), 4.0))
    if role == "key":
        return distance, side * rng.uniform(15, 60), rng.uniform(10, 45)
    if role == "fill":
        return distance, -side * rng.uniform(0, 60), rng.uniform(-10, 30)
    if role == "other":
        return distance, rng.uniform(-80, 80), rng.uniform(0, 50)
    if role == "hair":
        return distance, 180 + rng.uniform(-40, 40), rng.uniform(40, 70)
    return distance, rng.choice([-1, 1]) * rng.uniform(115, 165), rng.uniform(0, 40)


def declared(rng: np.random.Generator, distance_m: float, azimuth_deg: float, elevation_deg: float) -> tuple[float, float, float]:
    """What she types: with tape and compass errors."""
    spread = rng.uniform(0.02, 0.05)
    typed = distance_m * (1 + spread * rng.normal())
    return typed, azimuth_deg + 5 * rng.normal(), float(np.clip(elevation_deg + 5 * rng.normal(), -89, 89))


LEVELS = {"fill": (0.0, 3.0), "other": (0.0, 2.5), "hair": (-1.0, 1.5), "rim": (-1.0, 1.0), "background": (0.0, 3.0)}


def draw_set(rng: np.random.Generator, world: str) -> list[TrueLight]:
    """Return the lights of one set."""
    count = int(rng.choice([2, 3, 4, 5, 6], p=[0.2, 0.3, 0.3, 0.15, 0.05]))
    extra = list(rng.permutation(["hair", "background", "rim", "other"]))
    side = float(rng.choice([-1.0, 1.0]))
    lights = []
    for i, role in enumerate((["key", "fill", *extra])[:count]):
        source, grid, recess = draw_source(rng, role, world)
        place = draw_place(rng, role, side, source)
        level = 0.0 if role == "key" else -rng.uniform(*LEVELS[role])
        light = TrueLight(f"{role}{i}", role, source, *place, 0.0, 0.0, *declared(rng, *place), grid, recess)
        lights.append(at_level(light, level))
    return lights


def at_level(light: TrueLight, level: float) -> TrueLight:
    """Set the luminance so that the light gives ``level`` stops (of an arbitrary unit) at its point."""
    bare = light._replace(log_luminance=0.0)
    return light._replace(log_luminance=level - float(np.log2(received(bare, np.zeros(3)))))


def earlier_place(rng: np.random.Generator, light: TrueLight, world: str) -> tuple[TrueLight, float]:
    """Return the same fixture as it stood in an earlier set, and its dial's power now relative to then.

    Power now is stored in ``power_stops`` of the light now; the earlier one stands at its own.
    """
    distance = float(np.clip(light.distance_m * np.exp(0.3 * rng.normal()), 0.5, 4.0))
    distance = max(distance, 0.6 * max(light.source.width_m, light.source.height_m))
    step = round(float(rng.normal()), 1)
    delivered = step * (1 + 0.02 * rng.normal()) + 0.03 * rng.normal()
    azimuth, elevation = light.azimuth_deg + 20 * rng.normal(), light.elevation_deg
    typed = declared(rng, distance, azimuth, elevation)
    before = light._replace(
        distance_m=distance,
        azimuth_deg=azimuth,
        log_luminance=light.log_luminance - delivered,
        declared_distance_m=typed[0],
        declared_azimuth_deg=typed[1],
        declared_elevation_deg=typed[2],
    )
    return before, step
