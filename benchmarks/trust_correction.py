"""How right corrections are and whether their intervals are honest, in the worlds of ``trust_world``.

Usage: ``python benchmarks/trust_correction.py [--sets 2000] [--seed 1] [--world uniform|realistic]``.

For every light of every set: one reading with nothing declared (dome 0-6 cm toward the light) and one declared 10-40 cm
toward the light (at most half its distance), measured with a tape of 5 mm standard uncertainty that is declared too.
In the realistic world the declared ones are also corrected by inverse square alone, and by a falloff measured of that
very modifier at five distances (0.55 to 1.5 times, each right within 5 mm, four pops of 0.03 stop each).

The oracle's interval knows every distribution: for the lights of one set in five, 40 sources, distances and held-off
distances are drawn that could have led to the same declaration; twice the standard deviation of the true correction,
with the pop's spread, is the narrowest honest half-width.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import trust_world as world_of
from trust_simulation import SETTINGS, placement_of, reading_of
from trust_world import REACH_M, U_POP, TrueLight, received

from meterlink.judging.verdict import Judged, judge
from meterlink.photometry.falloff import FalloffFit, FalloffPoint, fit_falloff

TAPE_M = 0.005
KINDS = ("undeclared", "declared", "declared, inverse square alone", "declared, measured falloff", "refused")
ORACLE_DRAWS = 40
ORACLE_EVERY = 5
FACE = np.zeros(3)


def truth(light: TrueLight) -> float:
    """log2 of the light at the point."""
    return float(np.log2(received(light, FACE)))


def read(rng: np.random.Generator, light: TrueLight, held_m: float) -> float:
    """One pop with the dome held toward the light."""
    return received(light, light.toward * held_m) * 2.0 ** (U_POP * rng.normal())


def measured_falloff(rng: np.random.Generator, light: TrueLight) -> FalloffFit | None:
    """What ``falloff`` would have learnt of this modifier on another day; None when it refuses."""
    points = []
    for times in (0.55, 0.7, 0.9, 1.15, 1.5):
        true_m = max(light.distance_m * times, 0.3 * max(light.source.width_m, light.source.height_m))
        moved = light._replace(distance_m=true_m + TAPE_M * rng.normal())
        pops = np.mean([received(moved, FACE) * 2.0 ** (U_POP * rng.normal()) for _ in range(4)])
        u = float(np.hypot(U_POP / 2, 2 / np.log(2) * TAPE_M / true_m))
        points.append(FalloffPoint(true_m, float(np.log2(pops)), u))
    try:
        return fit_falloff(points)
    except ValueError:
        return None


def oracle_u(rng: np.random.Generator, light: TrueLight, world: str, declared_m: float | None, wanted: bool) -> float:
    """Standard deviation of the true correction given what is declared, over everything that could be behind it."""
    changes = []
    if not wanted:
        return 0.0
    for _ in range(ORACLE_DRAWS):
        spread = rng.uniform(0.02, 0.05)
        distance = max(light.declared_distance_m * (1 + spread * rng.normal()), 0.3)
        source = light.source
        if world == "realistic":
            drawn, _grid, _recess = world_of.draw_source(rng, light.role, world)
            source = drawn._replace(shape=source.shape, width_m=source.width_m, height_m=source.height_m, grid_tan=0.0)
            if light.declared_grid_deg is not None:
                angle = light.declared_grid_deg * rng.uniform(0.8, 1.2)
                source = source._replace(grid_tan=float(np.tan(np.radians(angle))))
            small = max(light.source.width_m, light.source.height_m) < 0.3
            source = source._replace(bulb=rng.uniform(0.3, 0.7) if small else 0.0)
            depth = light.declared_recess_m or rng.uniform(0.02, 0.12)
            source = source._replace(recess_m=depth if small else 0.0)
        held = rng.uniform(*REACH_M) if declared_m is None else max(0.0, declared_m + TAPE_M * rng.normal())
        one = light._replace(source=source, distance_m=distance)
        changes.append(np.log2(received(one, FACE) / received(one, one.toward * min(held, 0.7 * distance))))
    return float(np.hypot(np.std(changes), U_POP))


class Tally:
    """Errors, intervals and oracle widths of one kind of reading, with the set that each belongs to."""

    def __init__(self) -> None:
        self.error: list[float] = []
        self.half: list[float] = []
        self.oracle: list[float] = []
        self.sets: list[int] = []

    def add(self, number: int, error: float, half: float, oracle: float = 0.0) -> None:
        """Add one reading."""
        self.error.append(error)
        self.half.append(half)
        self.oracle.append(oracle)
        self.sets.append(number)

    def line(self, name: str) -> str:
        """Figures of this kind in one line."""
        error, half = np.abs(self.error), np.array(self.half)
        if not len(error):
            return f"  {name:42s} none"
        text = f"  {name:42s} median {np.median(error):.3f}  95th {np.quantile(error, 0.95):.3f}"
        if half.any():
            inside = error <= half
            text += f"  covered {100 * inside.mean():.1f} ± {100 * 2 * self._clustered(inside):.1f} %"
            text += f"  mean half-width {half.mean():.3f}"
        oracle = np.array(self.oracle)
        if oracle.any():
            text += f"  of the oracle's {half[oracle > 0].mean() / oracle[oracle > 0].mean():.2f}"
        return text + f"  (n {len(error)})"

    def _clustered(self, inside: np.ndarray) -> float:
        """Standard error of the coverage with the readings of one set taken together."""
        numbers = np.array(self.sets)
        residual = inside - inside.mean()
        sums = np.bincount(numbers, residual)
        return float(np.sqrt((sums**2).sum()) / len(inside))


def one_light(rng: np.random.Generator, world: str, light: TrueLight, number: int, tallies: dict[str, Tally]) -> None:
    """Both readings of one light."""
    placement = placement_of(light, "l0", 0.0)
    true = truth(light)
    wanted = number % ORACLE_EVERY == 0
    plain = judge(reading_of(read(rng, light, rng.uniform(*REACH_M)), "l0", 0), placement, SETTINGS)
    add(tallies["undeclared"], number, plain, true, oracle_u(rng, light, world, None, wanted))
    held = rng.uniform(0.1, max(0.1, min(0.4, light.distance_m / 2)))
    taped = max(0.01, held + TAPE_M * rng.normal())
    value = read(rng, light, held)
    reading = reading_of(value, "l0", 1, held_off_m=taped, u_held_off_m=TAPE_M)
    judged = judge(reading, placement, SETTINGS)
    if judged.corrected is None:
        tallies["refused"].add(number, 0.0, 0.0)
        return
    add(tallies["declared"], number, judged, true, oracle_u(rng, light, world, taped, wanted))
    square = np.log2(value) + (judged.inverse_square_stops or 0.0)
    tallies["declared, inverse square alone"].add(number, float(square) - true, 0.0)
    fit = measured_falloff(rng, light)
    if fit is not None:
        learnt = judge(reading, placement, SETTINGS, falloff=fit)
        add(tallies["declared, measured falloff"], number, learnt, true)


def add(tally: Tally, number: int, judged: Judged, true: float, oracle: float = 0.0) -> None:
    """Tally one judged reading."""
    if judged.corrected:
        tally.add(number, float(np.log2(judged.corrected)) - true, judged.u95_stops, 2 * oracle)


def run(world: str, sets: int, seed: int) -> dict[str, Tally]:
    """Simulate and print one world."""
    rng = np.random.default_rng(seed)
    start = time.perf_counter()
    tallies = {name: Tally() for name in KINDS}
    for number in range(sets):
        for light in world_of.draw_set(rng, world):
            one_light(rng, world, light, number, tallies)
    print(f"\n{world} sources: error in stops at the point (one pop each, shared calibration left out)")
    for name, tally in tallies.items():
        print(tally.line(name))
    everything = Tally()
    for name in ("undeclared", "declared"):
        one = tallies[name]
        for row in zip(one.sets, one.error, one.half, one.oracle, strict=True):
            everything.add(*row)
    print(everything.line("all as read or declared"))
    print(f"  ({time.perf_counter() - start:.0f} s)")
    return tallies


def main() -> None:
    """Run both worlds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--world", choices=("uniform", "realistic"))
    args = parser.parse_args()
    for world in (args.world,) if args.world else ("uniform", "realistic"):
        run(world, args.sets, args.seed)


if __name__ == "__main__":
    main()
