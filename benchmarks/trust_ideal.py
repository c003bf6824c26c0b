"""The ideal detector of the trust benchmark: the likelihood ratio with the distributions that made the sets.

It knows what no tool can: the shape and the emission of every source, how tapes, compasses, dials, lamps and domes err in
``trust_world``, that nothing but a dome 10-40 cm toward its light is ever wrong, and that one of the lights is, with the
same chance for each.  By the lemma of Neyman and Pearson no test with as many false alarms finds more over all of them together
(a slice may lie either way): what it misses is not in the numbers.  Its limit is the one at which 2 % of the simulated clean
sets alarm.

All values are log2 of lx·s.  Draws stand for what is unknown: distances by the tape, reach of the dome, directions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from trust_world import FRONTAL, REACH_M, U_POP, TrueLight, along_axis, received

DRAWS = 1000
"""Distances and reaches that stand for a light's unknowns."""
SAMPLES = 250
"""Of a light's level, in the density of the sum."""
U_LAMP, U_DIAL = 0.03, 0.02
CAMERA = np.array([0.0, 0.0, 1.0])
TOUCH_M = 0.02
AXIS_M = np.geomspace(0.2, 8.0, 40)


class Seen(NamedTuple):
    """What was read of one set, or of one drawn like it."""

    now: np.ndarray
    """Reading of each light."""
    before: np.ndarray
    """Reading of each light in the earlier set."""
    together: float


def typed(rng: np.random.Generator, declared_m: float) -> np.ndarray:
    """True distances behind a declared one: every tape has its own spread of 2-5 %."""
    return np.maximum(declared_m / (1 + rng.uniform(0.02, 0.05, DRAWS) * rng.normal(size=DRAWS)), 0.25)


class Light:
    """One light with draws of everything that is not known of it."""

    def __init__(self, rng: np.random.Generator, light: TrueLight, past: Any) -> None:
        along = np.log2(along_axis(light.source, AXIS_M))

        def at(distance_m: np.ndarray) -> np.ndarray:
            return np.interp(np.log(distance_m), np.log(AXIS_M), along)

        now, then = typed(rng, light.declared_distance_m), typed(rng, past.light.declared_distance_m)
        held = rng.uniform(0.1, np.minimum(0.4, now / 2))
        self.frontal = light.role in FRONTAL
        self.reach = {False: at(now - rng.uniform(*REACH_M, DRAWS)) - at(now), True: at(now - held) - at(now)}
        """Stops that the reading is too high: of an honest dome, and of one that was held off."""
        self.carried = past.step_stops + at(now) - at(then - rng.uniform(*REACH_M, DRAWS))
        self.u_carried = float(np.sqrt(U_POP**2 + U_LAMP**2 + (U_DIAL * past.step_stops) ** 2))
        self.to_camera, self.nearer = self._camera(rng, light) if self.frontal else (np.zeros(DRAWS), 0.0)

    @staticmethod
    def _camera(rng: np.random.Generator, light: TrueLight) -> tuple[np.ndarray, float]:
        """What a camera-facing dome sees at the face, by directions 5 degrees off; and how much more 2 cm nearer."""
        azimuth, elevation = light.declared_azimuth_deg, light.declared_elevation_deg
        stands = light._replace(azimuth_deg=azimuth, elevation_deg=elevation, distance_m=light.declared_distance_m)
        facing, here, near = (
            np.log2(received(stands, CAMERA * place, normal)) for place, normal in ((0.0, None), (0.0, CAMERA), (TOUCH_M, CAMERA))
        )
        turned = np.radians([azimuth + 5 * rng.normal(size=DRAWS), elevation + 5 * rng.normal(size=DRAWS)])
        seen = (1 + np.cos(turned[0]) * np.cos(turned[1])) / (1 + stands.toward[2])
        return here - facing + np.log2(np.maximum(seen, 1e-3)), float(near - here)

    def weights(self, now: float, before: float, wrong: bool, history: bool, least_stops: float) -> np.ndarray:
        """Likelihood of this light's own readings for every draw; a misplacement that costs less than ``least_stops`` has none."""
        counts = self.reach[True] > least_stops if wrong else np.ones(DRAWS, bool)
        if not history:
            return counts * 1.0
        variance = self.u_carried**2 + U_POP**2
        off = now - before - self.carried - self.reach[wrong]
        return counts * np.maximum(np.exp(-0.5 * off * off / variance), 1e-290)

    def levels(
        self, rng: np.random.Generator, weights: np.ndarray, now: float, before: float, wrong: bool, history: bool
    ) -> np.ndarray:
        """Draw its level at the point, as a camera-facing dome sees it there, from draws with these weights."""
        sums = np.cumsum(weights)
        k = np.searchsorted(sums, sums[-1] * (np.arange(SAMPLES) + rng.random()) / SAMPLES).clip(max=DRAWS - 1)
        k = rng.permutation(k)
        level, variance = now - self.reach[wrong][k], U_POP**2
        if history:
            trust = variance / (variance + self.u_carried**2)
            level = level + trust * (before + self.carried[k] - level)
            variance *= 1 - trust
        return level + np.sqrt(variance) * rng.normal(size=SAMPLES) + rng.permutation(self.to_camera)[:SAMPLES]


class Ideal:
    """The ideal detector of one set; misplacements that cost less than ``least_stops`` are not looked for."""

    def __init__(self, rng: np.random.Generator, lights: Sequence[TrueLight], earlier: Sequence[Any]) -> None:
        self.rng = rng
        self.lights = [Light(rng, one, past) for one, past in zip(lights, earlier, strict=True)]
        self.front = [i for i, one in enumerate(self.lights) if one.frontal]

    def of_history(self, seen: Seen, least_stops: float) -> float:
        """How much better 'one dome was held off' explains reading and history than 'all is well'."""
        return float(self._alone(seen, least_stops).mean())

    def of_sum(self, seen: Seen, least_stops: float) -> float:
        """The same of the readings and one pop of all lights."""
        return float(self._together(seen, False, least_stops).mean())

    def of_both(self, seen: Seen, least_stops: float) -> float:
        """The same of all of it."""
        own, sums = self._alone(seen, least_stops), self._together(seen, True, least_stops)
        return float((np.minimum(own, 1e150) * np.minimum(sums, 1e150)).mean())

    def _alone(self, seen: Seen, least_stops: float) -> np.ndarray:
        """Ratio of densities of each light's own readings, and its chance to be off by so much."""
        ratios = []
        for i, one in enumerate(self.lights):
            clean, off = (one.weights(seen.now[i], seen.before[i], wrong, True, least_stops).mean() for wrong in (False, True))
            ratios.append(off / max(clean, 1e-300))
        return np.array(ratios)

    def _together(self, seen: Seen, history: bool, least_stops: float) -> np.ndarray:
        """Ratio of densities of the common pop, given the rest, when each light is off; without history also of its prior."""
        drawn: dict[tuple[int, bool], np.ndarray] = {}
        share = np.ones(len(self.lights)) if history else np.zeros(len(self.lights))
        for i in self.front:
            for wrong in (False, True):
                weights = self.lights[i].weights(seen.now[i], seen.before[i], wrong, history, least_stops)
                if not weights.sum() > 0.0:
                    share[i] = 0.0
                    continue
                drawn[i, wrong] = self.lights[i].levels(self.rng, weights, seen.now[i], seen.before[i], wrong, history)
                if wrong and not history:
                    share[i] = weights.mean()
        place = self.rng.random(SAMPLES)
        clean = self._density([drawn[i, False] for i in self.front], place, seen.together)
        for j in self.front:
            if share[j] > 0.0:
                levels = [drawn[i, i == j] for i in self.front]
                share[j] *= self._density(levels, place, seen.together) / max(clean, 1e-300)
        return share

    def _density(self, levels: list[np.ndarray], place: np.ndarray, together: float) -> float:
        """Density of the common pop, given draws of each light's level and of the dome's place."""
        parts = np.array([2.0 ** (one + self.lights[i].nearer * place) for i, one in zip(self.front, levels, strict=True)])
        total = parts.sum(axis=0)
        u = U_POP * np.sqrt((parts**2).sum(axis=0)) / total
        return float((np.exp(-0.5 * ((together - np.log2(total)) / u) ** 2) / u).mean())
