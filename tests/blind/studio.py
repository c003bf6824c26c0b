"""Random sets of the blind suite: what stands there, what she types of it, and what her dome gets.

Four worlds: ``uniform`` surfaces; ``hot`` spots (20 to 90 % of the luminance in a Gaussian of 0.3 to 0.8 of the half side);
``feathered`` (most lights turned 5 to 35 degrees, typed to the nearest 5); ``gridded`` (half of them with a grid of 30 to 60
degrees, true cut-off 0.8 to 1.2 of it).  The dome is held ``touching`` (0-2 cm) or ``loose`` (0-6 cm) toward its light.
Tapes are 2-5 % off, directions 5 degrees, heads vary by 0.03 stop from pop to pop.  What a light "gives" is at its point, with
the receptor aimed at it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tests.blind.optics import Source, Stand, received

WORLDS = ("uniform", "hot", "feathered", "gridded")
REACHES = {"touching": 0.02, "loose": 0.06}
FRONTAL = ("key", "fill", "other")
CAMERA = np.array([0.0, 0.0, 1.0])
FACE = np.zeros(3)
U_POP = 0.03
U_TAPE_M = 0.005
TAPE, U_DIRECTION_DEG, U_FEATHER_DEG, GRID_PART = (0.02, 0.05), 5.0, 2.0, (0.8, 1.2)
MEDIAN_M = {"key": 1.3, "fill": 1.6, "other": 1.5, "hair": 1.4, "rim": 1.6, "background": 1.5}
LEVELS = {"key": (0, 0), "fill": (-2.5, 0), "other": (-2.5, 0), "hair": (-1.5, 1), "rim": (-1, 1), "background": (-3, 0)}


class Lamp(NamedTuple):
    """One light: how it stands, how it was typed, and its strength."""

    name: str
    role: str
    stand: Stand
    typed: dict[str, float]
    """What she says of it: distance_m, azimuth_deg, elevation_deg, and feather_deg, grid_deg where it has them."""
    strength: float
    """lx·s at its point for luminance 1, receptor aimed at it."""
    gives_lxs: float

    @property
    def point(self) -> str:
        """Where it is metered."""
        return "face" if self.role in FRONTAL else self.role

    def options(self) -> list[str]:
        """The same as options of ``light add``."""
        source = self.stand.source
        size = f"--disk={source.width_m:.2f}m"
        if source.shape == "rectangle":
            size = f"--rectangle={source.width_m:.2f}x{source.height_m:.2f}m"
        words = [size, f"--role={self.role}", f"--point={self.point}", f"--distance={self.typed['distance_m']:.3f}m"]
        return words + [f"--{name.partition('_')[0]}={value:.0f}" for name, value in self.typed.items() if name.endswith("_deg")]

    def at(self, place: np.ndarray, normal: np.ndarray, receptor: str) -> float:
        """lx·s on a receptor."""
        return self.gives_lxs * received(self.stand, place, normal, receptor) / self.strength


def draw_source(rng: np.random.Generator, world: str) -> tuple[Source, dict[str, float]]:
    """A surface, and what is typed of it beside its size."""
    side = float(np.exp(rng.uniform(np.log(0.12), np.log(1.4))))
    shape = "disk" if rng.random() < 0.5 else "rectangle"
    other = side if shape == "disk" else side / rng.uniform(1.0, 2.5)
    source = Source(shape, round(side, 2), round(other, 2))
    if world == "hot":
        source = source._replace(spot=rng.uniform(0.2, 0.9), spot_size=rng.uniform(0.3, 0.8))
    if world == "gridded" and rng.random() < 0.5:
        grid = float(rng.choice([30, 40, 50, 60]))
        return source._replace(grid_deg=grid * rng.uniform(*GRID_PART)), {"grid_deg": grid}
    return source, {}


def draw_direction(rng: np.random.Generator, role: str, side: int) -> tuple[float, float]:
    """Azimuth and elevation."""
    if role == "key":
        return side * rng.uniform(15, 60), rng.uniform(5, 45)
    if role == "fill":
        return -side * rng.uniform(5, 60), rng.uniform(-10, 25)
    if role == "other":
        return rng.uniform(-80, 80), rng.uniform(0, 50)
    return rng.choice([-1, 1]) * rng.uniform(115, 165), rng.uniform(0, 60)


def draw_lamp(rng: np.random.Generator, world: str, name: str, role: str, side: int, key_lxs: float, receptor: str) -> Lamp:
    """One light of a set."""
    source, typed = draw_source(rng, world)
    longest = max(source.width_m, source.height_m)
    distance = float(np.clip(MEDIAN_M[role] * np.exp(0.3 * rng.normal()), max(0.5, 0.7 * longest), 3.5))
    azimuth, elevation = draw_direction(rng, role, side)
    stand = Stand(source, distance, azimuth, elevation)
    if world == "feathered" and rng.random() < 0.7:
        feather = 5.0 * int(rng.choice([-1, 1])) * int(rng.integers(1, 8))
        stand = stand._replace(feather_deg=feather + U_FEATHER_DEG * rng.normal())
        typed["feather_deg"] = feather
    typed["distance_m"] = round(distance * (1 + rng.uniform(*TAPE) * rng.normal()), 3)
    typed["azimuth_deg"] = round((azimuth + U_DIRECTION_DEG * rng.normal() + 180) % 360 - 180)
    typed["elevation_deg"] = round(float(np.clip(elevation + U_DIRECTION_DEG * rng.normal(), -89, 89)))
    strength = received(stand, FACE, stand.toward, receptor)
    return Lamp(name, role, stand, typed, strength, key_lxs * 2.0 ** rng.uniform(*LEVELS[role]))


def draw_set(rng: np.random.Generator, world: str, receptor: str) -> list[Lamp]:
    """Three to six lights: key, fill and others."""
    more = list(rng.permutation(["other", "hair", "rim", "background"]))
    roles = ["key", "fill", *more][: int(rng.integers(3, 7))]
    side, key_lxs = int(rng.choice([-1, 1])), 2.0 ** rng.uniform(6, 8.5)
    return [draw_lamp(rng, world, f"{role.upper()}{i}", role, side, key_lxs, receptor) for i, role in enumerate(roles)]


def alone(rng: np.random.Generator, lamp: Lamp, held_m: float, receptor: str) -> float:
    """lx·s of one pop, the receptor held off toward its light and aimed at it."""
    toward = lamp.stand.toward
    return lamp.at(toward * held_m, toward, receptor) * 2.0 ** (U_POP * rng.normal())


def together(rng: np.random.Generator, lamps: list[Lamp], held_m: float, receptor: str) -> float:
    """lx·s of one pop of several lights, the receptor held off the face toward the camera and aimed at it."""
    return sum(one.at(CAMERA * held_m, CAMERA, receptor) * 2.0 ** (U_POP * rng.normal()) for one in lamps)
