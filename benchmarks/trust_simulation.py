"""How far corrections and checks can be trusted: 2,000 simulated sets in two worlds (see ``trust_world``).

Usage: ``python benchmarks/trust_simulation.py [--sets 2000] [--seed 1] [--world uniform|realistic]``.

Prints, for each world: how many misplaced readings are caught by one pop of all lights, by the fixtures' history,
and by both, by level under the key, beside an ideal detector; whether the right light is known after two suggested
pops; false alarms in clean sets; the error after a declared correction; and whether stated intervals cover the truth.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import trust_world as world_of
from trust_world import FRONTAL, REACH_M, U_POP, TrueLight, received

from meterlink.model import Light, Placement, Reading, Settings, Setup
from meterlink.setwork.prediction import Past, predict
from meterlink.setwork.sumcheck import SumCheck, sum_check
from meterlink.setwork.verdict import judge
from meterlink.setwork.view import SetView, look

SETTINGS = Settings(u_distance_rel=0.036)
"""The root mean square of the 2-5 % by which her tape is off; all else is the default."""
CAMERA = np.array([0.0, 0.0, 1.0])
COSTLY = 1 / 3
TOUCH_M = (0.0, 0.02)
"""Dome to face in the pop of all lights, which judges the others: touching, and declared so."""
TOUCHING = {"held_off_m": 0.01, "u_held_off_m": 0.006, "held_off_toward": "camera"}
USES = ("sum", "ideal sum", "history", "ideal history", "both")
BANDS = ((-9.0, 1.0), (1.0, 2.0), (2.0, 9.0))


class Studio(NamedTuple):
    """One simulated set with everything that was typed and read."""

    lights: list[TrueLight]
    records: list[Light]
    placements: dict[str, Placement]
    readings: list[Reading]
    together: Reading
    predictions: dict[str, Any]
    wrong: int | None
    cost: float
    offset: float


def placement_of(light: TrueLight, light_id: str, power: float) -> Placement:
    """What is declared of a light."""
    s = light.source
    return Placement(
        f"p{light_id}", light_id, 0.0, s.shape, s.width_m, s.height_m, light.declared_distance_m, None,
        (light.declared_azimuth_deg + 180) % 360 - 180, light.declared_elevation_deg, 0.0, "", power,
        grid_deg=light.declared_grid_deg, recess_m=light.declared_recess_m,
    )  # fmt: skip


def reading_of(value: float, light_id: str | None, number: int, **fields: Any) -> Reading:
    """A reading as logged: nothing declared."""
    base: dict[str, Any] = {"exposure_lxs": value, **fields}
    return Reading(f"{number:032d}", "s", light_id, f"p{light_id}", "c", "x", 10.0 + number, **base)


def pop(rng: np.random.Generator, light: TrueLight, offset: float, held_m: float | None = None) -> float:
    """One pop of one light, dome held toward it and aimed at it."""
    held = rng.uniform(*REACH_M) if held_m is None else held_m
    return received(light, light.toward * held) * 2.0 ** (offset + U_POP * rng.normal())


def pop_together(rng: np.random.Generator, lights: list[TrueLight], offset: float) -> float:
    """One pop of several lights, dome touching the face and aimed at the camera."""
    place = CAMERA * rng.uniform(*TOUCH_M)
    total = sum(received(one, place, CAMERA) * 2.0 ** (U_POP * rng.normal()) for one in lights)
    return total * 2.0**offset


def build(rng: np.random.Generator, world: str) -> Studio:
    """Draw a set, its earlier set, and every reading."""
    lights = world_of.draw_set(rng, world)
    offset = 0.1 * rng.normal()
    wrong = int(rng.integers(len(lights))) if rng.random() < 0.5 else None
    records, placements, readings, predictions, cost = [], {}, [], {}, 0.0
    for i, light in enumerate(lights):
        light_id = f"l{i}"
        own_point = light.role not in FRONTAL
        point = light.role if own_point else "face"
        record = Light(light_id, "s", light.name, light.role, point, i, fixture=f"head {i}")
        before, step = world_of.earlier_place(rng, light, world)
        placement = placement_of(light, light_id, step)
        held = None
        if i == wrong:
            held = rng.uniform(0.1, min(0.4, light.distance_m / 2))
            cost = float(np.log2(received(light, light.toward * held) / received(light, np.zeros(3))))
        readings.append(reading_of(pop(rng, light, offset, held), light_id, i, point=point))
        old = placement_of(before, "old", 0.0)
        judged = judge(reading_of(pop(rng, before, offset), "old", 99), old, SETTINGS)
        past = Past(record.fixture, "", old, float(np.log2(judged.corrected or 1.0)), judged.u_stops, "c", setup_id="e")
        predictions[light_id] = predict(record, placement, [past], SETTINGS, calibration_id="c")
        records.append(record)
        placements[light_id] = placement
    front = [one for one in lights if one.role in FRONTAL]
    lit = tuple(f"l{i}" for i, one in enumerate(lights) if one.role in FRONTAL)
    together = reading_of(pop_together(rng, front, offset), None, 50, purpose="together", aim="camera", lit=lit, **TOUCHING)
    return Studio(lights, records, placements, readings, together, predictions, wrong, cost, offset)


def view_of(studio: Studio, readings: list[Reading]) -> SetView:
    """The records as the code under test sees them."""
    return look(Setup("s", "simulated", 0.0), studio.records, studio.placements, readings, {}, SETTINGS)


def found_after(rng: np.random.Generator, studio: Studio, use: str, check: SumCheck) -> tuple[bool, int]:
    """Follow at most two suggestions; whether the right light is then known, and how many pops it took."""
    readings = list(studio.readings)
    sums = [studio.together] if use != "history" else []
    predictions = studio.predictions if use != "sum" else {}
    earlier: list[Reading] = []
    right = f"l{studio.wrong}"
    for taken in range(3):
        top = check.suspects[0]
        if top.probability > 0.9:
            return top.light_id == right, taken
        if taken == 2 or check.next is None:
            return top.light_id == right and top.probability > 0.5, taken
        kind, light_id = check.next.kind, check.next.light_id
        if kind == "again":
            i = int((light_id or "l0")[1:])
            again = reading_of(pop(rng, studio.lights[i], studio.offset), light_id, 60 + taken, point=readings[i].point)
            was, now = (judge(one, studio.placements[light_id or ""], SETTINGS) for one in (readings[i], again))
            u = np.hypot(was.u_stops, now.u_stops)
            if abs(np.log2((was.corrected or 1) / (now.corrected or 1))) > 3 * u:
                return light_id == right, taken + 1
            earlier.append(readings[i])
            readings[i] = again
        else:
            lit = tuple(one for one in studio.together.lit if one != light_id)
            some = [studio.lights[int(one[1:])] for one in lit]
            value = pop_together(rng, some, studio.offset)
            extra = reading_of(value, None, 70 + taken, purpose="together", aim="camera", lit=lit, **TOUCHING)
            sums = [extra] if kind == "together" else [*sums, extra]
        check = sum_check(view_of(studio, [*readings, *sums]), predictions=predictions, earlier=earlier)
    return False, 2


def ideal_sum(rng: np.random.Generator, studio: Studio) -> float:
    """Chance that the best possible test of the sum's residual, knowing every true distribution, finds this one."""
    front = [one for one in studio.lights if one.role in FRONTAL]
    wrong = studio.lights[studio.wrong or 0]
    parts = np.array([received(one, np.zeros(3), CAMERA) for one in front])
    near = np.array([received(one, CAMERA * TOUCH_M[1], CAMERA) for one in front])
    costs = [np.log2(received(o, o.toward * 0.06) / received(o, np.zeros(3))) for o in front]
    draws = 400
    readings = np.zeros((draws, len(front)))
    for j, one in enumerate(front):
        angle = np.arccos(np.clip(one.toward[2], -1, 1))
        slope = np.tan(angle / 2) * np.radians(5) / np.log(2)
        noise = U_POP * rng.normal(size=draws) + costs[j] * rng.uniform(0, 1, draws) + slope * rng.normal(size=draws)
        readings[:, j] = parts[j] * 2.0**noise
    reach = rng.uniform(0, 1, (draws, 1))
    measured = ((parts + (near - parts) * reach) * 2.0 ** (U_POP * rng.normal(size=(draws, len(front))))).sum(axis=1)
    clean = np.log2(measured / readings.sum(axis=1))
    j = next(i for i, one in enumerate(front) if one.name == wrong.name)
    # The misplaced reading: its honest reach is replaced by the cost of where it was.
    off = readings.copy()
    off[:, j] = parts[j] * 2.0 ** (studio.cost + U_POP * rng.normal(size=draws))
    return float((np.log2(measured / off.sum(axis=1)) < np.quantile(clean, 0.02)).mean())


def ideal_history(rng: np.random.Generator, cost: float, u: float, lights: int) -> float:
    """Chance that the best test of one prediction finds this one, at 2 % false alarms a set shared by its lights.

    It knows that the tapes of both sets are off by 2-5 %, each time by another share: tails heavier than Gaussian.
    """
    tape = 2 * (2 / np.log(2) * SETTINGS.u_distance_rel) ** 2
    spreads = rng.uniform(0.02, 0.05, (20_000, 2))
    variance = max(u * u - tape, 0.0) + min(u * u, tape) * (spreads**2).mean(axis=1) / SETTINGS.u_distance_rel**2
    noise = np.sqrt(variance) * rng.normal(size=len(variance))
    return float((noise + cost > np.quantile(noise, 0.98 ** (1 / lights))).mean())


def band(level: float) -> tuple[float, float]:
    """The band of levels under the key."""
    return next(one for one in BANDS if one[0] <= level < one[1])


def words(levels: tuple[float, float]) -> str:
    """A band of levels in words."""
    return f"{max(0, levels[0]):.0f}-{levels[1]:.0f} stops under the key" if levels[1] < 9 else "more than 2 stops under"


def run(world: str, sets: int, seed: int) -> None:
    """Simulate and print one world."""
    rng = np.random.default_rng(seed)
    start = time.perf_counter()
    caught: dict[str, dict[Any, list[float]]] = {use: defaultdict(list) for use in USES}
    beyond: dict[str, list[float]] = defaultdict(list)
    known: dict[str, list[bool]] = defaultdict(list)
    alarms: dict[str, list[bool]] = defaultdict(list)
    for _ in range(sets):
        studio = build(rng, world)
        both = view_of(studio, [*studio.readings, studio.together])
        alone = view_of(studio, studio.readings)
        checks = {
            "sum": sum_check(both),
            "history": sum_check(alone, predictions=studio.predictions),
            "both": sum_check(both, predictions=studio.predictions),
        }
        if studio.wrong is None:
            for use, check in checks.items():
                alarms[use].append(check.alarm)
            continue
        if studio.cost <= COSTLY:
            continue
        light = studio.lights[studio.wrong]
        level = -float(np.log2(received(light, np.zeros(3)) / received(studio.lights[0], np.zeros(3))))
        frontal = light.role in FRONTAL
        state = both.lights[studio.wrong]
        prediction = studio.predictions[f"l{studio.wrong}"]
        u = np.hypot(prediction.u_stops, state.judged.u_stops if state.judged else 0.0)
        for use, check in checks.items():
            caught[use][(frontal, band(level))].append(check.alarm)
            if check.alarm and (frontal or use != "sum"):
                known[use].append(found_after(rng, studio, use, check)[0])
            if studio.cost > 3 * u:
                beyond[f"{use} beyond 3 u"].append(check.alarm)
            if studio.cost > 0.5:
                beyond[f"{use} above 1/2 stop"].append(check.alarm)
                beyond[f"{use} above 1/2 stop, {words(band(level))}"].append(check.alarm)
        best = ideal_history(rng, studio.cost, float(u), len(studio.lights))
        caught["ideal history"][(frontal, band(level))].append(best)
        if studio.cost > 3 * u:
            beyond["ideal history beyond 3 u"].append(best)
        if studio.cost > 0.5:
            beyond["ideal history above 1/2 stop"].append(best)
            beyond[f"ideal history above 1/2 stop, {words(band(level))}"].append(best)
        if frontal:
            caught["ideal sum"][(True, band(level))].append(ideal_sum(rng, studio))
    report(world, caught, beyond, known, alarms)
    print(f"  ({time.perf_counter() - start:.0f} s)")


def share(values: list[Any]) -> str:
    """A share in per cent with the number it rests on."""
    return f"{100 * np.mean(values):5.1f} % of {len(values)}" if values else "    – of 0"


def report(world: str, caught: Any, beyond: Any, known: Any, alarms: Any) -> None:
    """Print the figures of one world."""
    print(f"\n{world} sources")
    print("  misplacements above 1/3 stop caught, by level under the key")
    for use in USES:
        for frontal in (True, False):
            cells = [(b, caught[use][(frontal, b)]) for b in BANDS if caught[use][(frontal, b)]]
            if cells:
                text = "  ".join(f"{max(0, b[0]):.0f}-{min(9, b[1]):.0f}: {share(v)}" for b, v in cells)
                print(f"    {use:14s} {'frontal' if frontal else 'other':8s} {text}")
    for name, values in sorted(beyond.items()):
        print(f"    {name}: {share(values)}")
    for use, values in known.items():
        print(f"  right light known after at most two suggested pops ({use}): {share(values)}")
    for use, values in alarms.items():
        print(f"  false alarms in clean sets ({use}): {share(values)}")


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
