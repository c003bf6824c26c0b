"""The ideal detector for one pop of all lights in the worlds of ``trust_studio``: the likelihood ratio with what made the sets.

It knows what no tool can: luminance, grid and feathering of each source as they are, how tapes and compasses err in this very world,
how far this world's domes reach, that nothing but one dome 10-40 cm toward its light is ever wrong, and which costs count.  Of
how photographers balance lights it knows nothing, as ours does not.  By the lemma of Neyman and Pearson no test with as many
false alarms finds more over all lights of the face together (a slice may lie either way); the light to which it gives the largest
part of the odds is the best guess that there is at whom to ask first.

Densities are means over ``DRAWS`` draws of everything unknown; all values are log2 of lx·s.
"""

from __future__ import annotations

import numpy as np

from benchmarks.trust_studio import Case
from tests.blind.drive import COSTLY_STOPS
from tests.blind.optics import Stand, received
from tests.blind.studio import CAMERA, FACE, REACHES, TAPE, U_DIRECTION_DEG, U_POP, Lamp

DRAWS = 500
PIECES = 14
"""Along each side of a source: its falloff on one line, to 0.01 stop."""
PLACES = 12
"""Distances at which that falloff is worked out, between which it is interpolated."""
TOUCH_M = 0.02


class _Light:
    """One light of the face with draws of all that is not known of it."""

    def __init__(self, rng: np.random.Generator, lamp: Lamp, far_m: float) -> None:
        typed = lamp.typed
        stand = lamp.stand._replace(
            distance_m=typed["distance_m"], azimuth_deg=typed["azimuth_deg"], elevation_deg=typed["elevation_deg"]
        )
        spread = rng.uniform(*TAPE, DRAWS) * rng.normal(size=DRAWS)
        true_m = np.clip(typed["distance_m"] / (1 + spread), 0.8 * typed["distance_m"], 1.25 * typed["distance_m"])
        held_m = rng.uniform(0.1, np.maximum(0.1, np.minimum(0.4, true_m / 2)))
        at_m = typed["distance_m"] * np.geomspace(0.35, 1.25, PLACES)
        light = np.log2([received(stand._replace(distance_m=d), FACE, stand.toward, pieces=PIECES) for d in at_m])

        def at(distance_m: np.ndarray) -> np.ndarray:
            return np.interp(np.log(distance_m), np.log(at_m), light)

        self.honest = at(true_m - rng.uniform(0, far_m, DRAWS)) - at(true_m)
        """Stops that the reading is too high."""
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


def odds(rng: np.random.Generator, case: Case, read_lxs: list[float], reach: str, said: bool) -> dict[str, float]:
    """How much better 'this light was held off, at a cost that counts' explains what was read than 'all is well', by name."""
    far = REACHES[reach]
    lights = {case.lamps[i].name: _Light(rng, case.lamps[i], far) for i in case.front}
    place = rng.uniform(0, min(far, TOUCH_M) if said else far, DRAWS)
    clean, off = {}, {}
    for i in case.front:
        name = case.lamps[i].name
        one = lights[name]
        level = np.log2(read_lxs[i]) + one.to_camera + one.nearer * place + U_POP * rng.normal(size=DRAWS)
        clean[name], off[name] = 2.0 ** (level - one.honest), 2.0 ** (level - one.off)
    total = sum(clean.values())
    square = sum(part**2 for part in clean.values())
    together = np.log2(case.together_lxs)
    fine = max(_densities(together, total, square).mean(), 1e-300)
    found = {}
    for name, one in lights.items():
        wrong = _densities(together, total - clean[name] + off[name], square - clean[name] ** 2 + off[name] ** 2)
        found[name] = float((wrong * (one.off > COSTLY_STOPS)).mean() / fine / len(lights))
    return found


def _densities(together: float, total: np.ndarray, square: np.ndarray) -> np.ndarray:
    """Density of the common pop for each draw; heads vary from pop to pop each for itself."""
    u = U_POP * np.sqrt(square) / total
    return np.exp(-0.5 * ((together - np.log2(total)) / u) ** 2) / u
