"""The ideal detector for one pop of all lights in the worlds of ``trust_studio``: the likelihood ratio with what made the sets.

It knows what no tool can: luminance, grid and feathering of each source as they are, how tapes and compasses err in this very
world, how far this world's domes reach, that nothing but one dome 10-40 cm toward its light is ever wrong, and which costs
count.  A second one is told all that but for the reach: only that it is one of the two.  Of how photographers balance lights
both know nothing, as ours does not.  By the lemma of Neyman and Pearson no test with as many false alarms finds more over all
lights of the face together (a slice may lie either way); the light to which it gives the largest part of the odds is the best
guess that there is at whom to ask first.

Densities are means over ``DRAWS`` draws of everything unknown; all values are log2 of lx·s.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from benchmarks.trust_studio import Case
from tests.blind.drive import COSTLY_STOPS
from tests.blind.optics import Stand, axes, received, surface
from tests.blind.studio import CAMERA, FACE, REACHES, TAPE, U_DIRECTION_DEG, U_POP, Lamp

DRAWS = 500
PIECES = 14
"""Along each side of a source: its falloff on one line, to 0.01 stop."""
PLACES = 12
"""Distances at which that falloff is worked out, between which it is interpolated."""
TOUCH_M = 0.02


class _Light:
    """One light of the face with draws of all that is not known of it."""

    def __init__(self, rng: np.random.Generator, lamp: Lamp) -> None:
        typed = lamp.typed
        stand = lamp.stand._replace(
            distance_m=typed["distance_m"], azimuth_deg=typed["azimuth_deg"], elevation_deg=typed["elevation_deg"]
        )
        spread = rng.uniform(*TAPE, DRAWS) * rng.normal(size=DRAWS)
        true_m = np.clip(typed["distance_m"] / (1 + spread), 0.8 * typed["distance_m"], 1.25 * typed["distance_m"])
        held_m = rng.uniform(0.1, np.maximum(0.1, np.minimum(0.4, true_m / 2)))
        at_m = typed["distance_m"] * np.geomspace(0.35, 1.25, PLACES)
        light = np.log2(_along(stand, at_m))

        def at(distance_m: np.ndarray) -> np.ndarray:
            return np.interp(np.log(distance_m), np.log(at_m), light)

        self.honest = {name: at(true_m - rng.uniform(0, far_m, DRAWS)) - at(true_m) for name, far_m in REACHES.items()}
        """Stops that the reading is too high, by how far domes reach."""
        self.off = at(true_m - held_m) - at(true_m)
        self.to_camera = self._to_camera(rng, stand)
        near = received(stand, CAMERA * TOUCH_M, CAMERA, pieces=PIECES) / received(stand, FACE, CAMERA, pieces=PIECES)
        self.nearer = float(np.log2(near)) / TOUCH_M

    @staticmethod
    def _to_camera(rng: np.random.Generator, stand: Stand) -> np.ndarray:
        """What a camera-facing dome gets of it, with directions that err as they do."""
        facing = received(stand, FACE, stand.toward, pieces=PIECES)
        there = np.log2(received(stand, FACE, CAMERA, pieces=PIECES) / facing)
        azimuth, elevation = (
            np.radians(angle + U_DIRECTION_DEG * rng.normal(size=DRAWS)) for angle in (stand.azimuth_deg, stand.elevation_deg)
        )
        seen = (1 + np.cos(azimuth) * np.cos(elevation)) / (1 + stand.toward[2])
        return there + np.log2(np.maximum(seen, 1e-3))


def _along(stand: Stand, distances_m: np.ndarray) -> np.ndarray:
    """``received`` at the point, facing the light, for many distances of it at once."""
    across, up, axis = axes(stand)
    u, v, emits = surface(stand.source, PIECES)
    rays = stand.toward * distances_m[:, None, None] + (np.outer(u, across) + np.outer(v, up))[None]
    r = np.linalg.norm(rays, axis=2)
    emission = np.maximum(-(rays @ axis) / r, 0.0)
    part = emits * emission * (1 + rays @ stand.toward / r) / 2 / r**2
    if stand.source.grid_deg:
        tangent = np.sqrt(np.maximum(1 - emission**2, 0.0)) / np.maximum(emission, 1e-9)
        part = part * np.maximum(1 - tangent / np.tan(np.radians(stand.source.grid_deg)), 0.0)
    return part.sum(axis=1)


class Odds(NamedTuple):
    """How much better 'one light was held off, at a cost that counts' explains what was read than 'all is well'."""

    total: float
    best: str
    """The light to which most of that belongs."""


def odds(rng: np.random.Generator, case: Case, read_lxs: list[float], reach: str, said: bool) -> tuple[Odds, Odds]:
    """Of the detector that is told how this world holds its domes, and of one that is told only that it is one of the two ways."""
    lights = {case.lamps[i].name: _Light(rng, case.lamps[i]) for i in case.front}
    found = {one: _densities_of(rng, lights, case, read_lxs, one, said) for one in REACHES}
    return _ratio([found[reach]]), _ratio(list(found.values()))


def _ratio(ways: list[tuple[float, dict[str, float]]]) -> Odds:
    clean = max(sum(fine for fine, _ in ways), 1e-300)
    by_name = {name: sum(wrong[name] for _, wrong in ways) / clean for name in ways[0][1]}
    return Odds(sum(by_name.values()), max(by_name, key=lambda name: by_name[name]))


def _densities_of(
    rng: np.random.Generator, lights: dict[str, _Light], case: Case, read_lxs: list[float], reach: str, said: bool
) -> tuple[float, dict[str, float]]:
    """Density of the common pop, given the readings alone, when all is well, and by the light that was held off."""
    far = REACHES[reach]
    place = rng.uniform(0, min(far, TOUCH_M) if said else far, DRAWS)
    clean, off = {}, {}
    for i in case.front:
        name = case.lamps[i].name
        one = lights[name]
        level = np.log2(read_lxs[i]) + one.to_camera + one.nearer * place + U_POP * rng.normal(size=DRAWS)
        clean[name], off[name] = 2.0 ** (level - one.honest[reach]), 2.0 ** (level - one.off)
    total = np.sum(list(clean.values()), axis=0)
    square = np.sum([part**2 for part in clean.values()], axis=0)
    together = float(np.log2(case.together_lxs))
    found = {}
    for name, one in lights.items():
        wrong = _density(together, total - clean[name] + off[name], square - clean[name] ** 2 + off[name] ** 2)
        found[name] = float((wrong * (one.off > COSTLY_STOPS)).mean() / len(lights))
    return float(_density(together, total, square).mean()), found


def _density(together: float, total: np.ndarray, square: np.ndarray) -> np.ndarray:
    """Density of the common pop for each draw; heads vary from pop to pop each for itself."""
    u = U_POP * np.sqrt(square) / total
    return np.exp(-0.5 * ((together - np.log2(total)) / u) ** 2) / u
