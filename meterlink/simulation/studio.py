"""A simulated set: lights of real size around a face, and what a receptor at a place receives from each.

Written apart from ``photometry`` on purpose: the source is cut into small patches and each is summed, so that a test which compares
the two compares two ways of thinking.  Coordinates: face at the origin, metres, x to camera right, y up, z toward the camera.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Any, NamedTuple

Vector = tuple[float, float, float]
FACE = (0.0, 0.0, 0.0)
PATCHES = 12
"""Patches along each side of a source (rings and sectors of a disk)."""
_HELD_OFF: dict[str, Vector] = {
    "camera": (0.0, 0.0, 1.0), "up": (0.0, 1.0, 0.0), "down": (0.0, -1.0, 0.0),
    "left": (-1.0, 0.0, 0.0), "right": (1.0, 0.0, 0.0),
}  # fmt: skip


class Pulse(NamedTuple):
    """A flash in time: A (exp(-t/fall) - exp(-t/rise)), which holds ``exposure_lxs`` in all."""

    exposure_lxs: float
    rise_s: float = 40e-6
    fall_s: float = 0.7e-3
    xy: tuple[float, float] | None = None
    """CIE 1931 chromaticity, for a sensor that sees colour; None is not simulated."""

    def illuminance_lx(self, t_s: float) -> float:
        """Return the light ``t_s`` after the start; 0 before it."""
        if t_s <= 0.0:
            return 0.0
        height = self.exposure_lxs / (self.fall_s - self.rise_s)
        return height * (math.exp(-t_s / self.fall_s) - math.exp(-t_s / self.rise_s))

    @property
    def peak_lx(self) -> float:
        """The highest illuminance, at t = ln(fall/rise) · fall · rise / (fall - rise)."""
        f, r = self.fall_s, self.rise_s
        return self.illuminance_lx(math.log(f / r) * f * r / (f - r))


class StudioLight(NamedTuple):
    """One light of a simulated set."""

    name: str
    role: str
    exposure_lxs: float
    """What its point receives at ``power_stops`` 0, receptor aimed at the light."""
    distance_m: float
    azimuth_deg: float = 0.0
    elevation_deg: float = 0.0
    shape: str = "point"
    width_m: float = 0.0
    height_m: float = 0.0
    power_stops: float = 0.0
    hot_spot: float = 0.0
    """0: evenly bright; 1: the edge is dark.  Luminance falls as 1 - hot_spot · r² from centre to corner."""
    emission_n: float = 1.0
    rise_s: float = 40e-6
    fall_s: float = 0.7e-3

    @property
    def position(self) -> Vector:
        """Centre of the emitting surface, seen from its point."""
        az, el = math.radians(self.azimuth_deg), math.radians(self.elevation_deg)
        d = self.distance_m
        return (d * math.cos(el) * math.sin(az), d * math.sin(el), d * math.cos(el) * math.cos(az))


class Studio:
    """Lights by name, and the light of the room."""

    def __init__(self, lights: tuple[StudioLight, ...], ambient_lx: float = 60.0) -> None:
        self.lights = {light.name: light for light in lights}
        self.ambient_lx = ambient_lx

    def change(self, name: str, **changes: Any) -> None:
        """Move or re-power a light (any field of ``StudioLight``)."""
        self.lights[name] = self.lights[name]._replace(**changes)

    def exposure_lxs(
        self, name: str, held_off_m: float = 0.0, toward: str = "light", *, aim: str = "light", receptor: str = "dome"
    ) -> float:
        """Return what the receptor gets from one pop of ``name``, held off its point."""
        light = self.lights[name]
        return math.exp2(light.power_stops) * at_dome(light, held_off_m, toward, aim, receptor)

    def pulse(self, name: str, held_off_m: float = 0.0, toward: str = "light", *, aim: str = "light") -> Pulse:
        """Return one pop of ``name`` as the receptor sees it."""
        light = self.lights[name]
        return Pulse(self.exposure_lxs(name, held_off_m, toward, aim=aim), light.rise_s, light.fall_s)


def at_dome(light: StudioLight, held_off_m: float, toward: str, aim: str, receptor: str = "dome") -> float:
    """Return the lx·s of one pop at power 0 at the receptor, held off the light's point."""
    there = received(light, held_off_vector(light, held_off_m, toward), aim, receptor)
    return light.exposure_lxs * there / received(light, FACE, "light", "dome")


def held_off_vector(light: StudioLight, held_off_m: float, toward: str) -> Vector:
    """Return where the receptor is, from the light's point."""
    x, y, z = _HELD_OFF[toward] if toward in _HELD_OFF else _unit(light.position)
    return (x * held_off_m, y * held_off_m, z * held_off_m)


def received(light: StudioLight, place: Vector, aim: str, receptor: str) -> float:
    """Return the illuminance at ``place`` in units of the source's luminance, summed over its patches."""
    centre = light.position
    normal = _unit((-centre[0], -centre[1], -centre[2]))
    axis = _unit(_minus(centre, place)) if aim == "light" else (0.0, 0.0, 1.0)
    total = 0.0
    for offset, area, bright in _patches(light, normal):
        way = _minus((centre[0] + offset[0], centre[1] + offset[1], centre[2] + offset[2]), place)
        distance = math.sqrt(_dot(way, way))
        leaving = -_dot(way, normal) / distance
        if leaving <= 0.0:
            continue
        arriving = _dot(way, axis) / distance
        response = (1.0 + arriving) / 2.0 if receptor == "dome" else max(0.0, arriving)
        total += bright * area * leaving**light.emission_n * response / distance**2
    return total


def _patches(light: StudioLight, normal: Vector) -> list[tuple[Vector, float, float]]:
    if light.shape == "point":
        return [((0.0, 0.0, 0.0), 1.0, 1.0)]
    disk = light.shape == "disk"
    half_width = light.width_m / 2.0
    half_height = half_width if disk else light.height_m / 2.0
    area = (math.pi if disk else 4.0) * half_width * half_height / PATCHES**2
    across = _unit((normal[2], 0.0, -normal[0])) if abs(normal[1]) < 0.999 else (1.0, 0.0, 0.0)
    up = (
        normal[1] * across[2] - normal[2] * across[1],
        normal[2] * across[0] - normal[0] * across[2],
        normal[0] * across[1] - normal[1] * across[0],
    )
    found = []
    for i, j in product(range(PATCHES), repeat=2):
        if disk:
            # Rings of equal area, so that every patch counts for as much.
            r2, turn = (i + 0.5) / PATCHES, 2.0 * math.pi * (j + 0.5) / PATCHES
            u, v = math.sqrt(r2) * math.cos(turn), math.sqrt(r2) * math.sin(turn)
        else:
            u, v = (2 * i + 1) / PATCHES - 1.0, (2 * j + 1) / PATCHES - 1.0
            r2 = (u * u + v * v) / 2.0
        a, b = u * half_width, v * half_height
        offset = (a * across[0] + b * up[0], a * across[1] + b * up[1], a * across[2] + b * up[2])
        found.append((offset, area, 1.0 - light.hot_spot * r2))
    return found


def _minus(a: Vector, b: Vector) -> Vector:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def _dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _unit(a: Vector) -> Vector:
    length = math.sqrt(_dot(a, a))
    return (a[0] / length, a[1] / length, a[2] / length)


def first_steps() -> Studio:
    """Return the set that ``sim:`` shows: a portrait with key, fill, hair and background light."""
    return Studio(
        (
            StudioLight("KEY", "key", 230.0, 1.2, 40.0, 30.0, "rectangle", 0.9, 0.9, fall_s=0.9e-3),
            StudioLight("FILL", "fill", 90.0, 1.8, -35.0, 10.0, "disk", 1.2, fall_s=0.7e-3),
            StudioLight("HAIR", "hair", 140.0, 1.5, 160.0, 45.0, "rectangle", 0.3, 1.0, fall_s=0.5e-3),
            StudioLight("BACKGROUND", "background", 70.0, 1.4, -150.0, 0.0, "point", fall_s=0.5e-3),
        )
    )
