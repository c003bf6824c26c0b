"""How far corrections and checks can be trusted: 2,000 simulated sets in two worlds (see ``trust_world``).

Usage: ``python benchmarks/trust_simulation.py [--sets 2000] [--seed 1 ...] [--world uniform|realistic]``.

Prints, for each world: how many misplaced readings are caught by one pop of all lights, by the fixtures' history,
and by both, by level under the key and by size, beside an ideal detector (``trust_ideal``); whether the right light is
known after two suggested pops; false alarms of all checks together in clean sets.  A set with a misplaced reading is
looked at a second time as a clean one, with an honest reading in its place.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import trust_world as world_of
from trust_ideal import Ideal, Seen
from trust_tables import Outcome, report
from trust_world import FRONTAL, REACH_M, U_POP, TrueLight, received

from meterlink.checks.disagreement import predicted_apart
from meterlink.judging.judge import judge_set
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.prediction import Past, Prediction, predict
from meterlink.judging.sum_check import SumCheck, sum_check
from meterlink.judging.verdict import judge
from meterlink.records import Light, Placement, Reading, Settings, Setup

SETTINGS = Settings()
"""All defaults, as she has them."""
CAMERA = np.array([0.0, 0.0, 1.0])
COSTLY = 1 / 3
TOUCH_M = (0.0, 0.02)
"""Dome to face in the pop of all lights, which judges the others: touching, and declared so."""
TOUCHING = {"held_off_m": 0.0}


class Earlier(NamedTuple):
    """A fixture as it stood and read in the earlier set."""

    light: TrueLight
    step_stops: float
    """What the dial says of the power now over the power then."""
    exposure_lxs: float


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
    earlier: tuple[Earlier, ...] = ()


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
    records, placements, readings, predictions, earlier, cost = [], {}, [], {}, [], 0.0
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
        earlier.append(Earlier(before, step, pop(rng, before, offset)))
        read = reading_of(earlier[-1].exposure_lxs, "old", 99)
        judged = judge(read, old, SETTINGS)
        past = Past(record._replace(id="old", setup_id="e"), old, read, float(np.log2(judged.corrected or 1.0)), judged.u_stops)
        predictions[light_id] = predict(record, placement, [past], SETTINGS, calibration_id="c")
        records.append(record)
        placements[light_id] = placement
    front = [one for one in lights if one.role in FRONTAL]
    lit = tuple(f"l{i}" for i, one in enumerate(lights) if one.role in FRONTAL)
    together = reading_of(pop_together(rng, front, offset), None, 50, purpose="together", aim="camera", lit=lit, **TOUCHING)
    return Studio(lights, records, placements, readings, together, predictions, wrong, cost, offset, tuple(earlier))


def view_of(
    studio: Studio, readings: list[Reading], predictions: dict[str, Prediction] | None = None, earlier: Sequence[Reading] = ()
) -> JudgedSet:
    """The records as the code under test sees them, with what the heads' history predicts of each light."""
    setup = Setup("s", "simulated", 0.0)
    seen = judge_set(setup, studio.records, studio.placements, readings, {}, SETTINGS, earlier=earlier)
    seen = seen._replace(predictions=predictions or {})
    return seen._replace(check=sum_check(seen))


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
        check = view_of(studio, [*readings, *sums], predictions, earlier).check
    return False, 2


def honest(rng: np.random.Generator, studio: Studio) -> Studio:
    """The same set with an honest reading in place of the misplaced one: another clean set."""
    i = studio.wrong or 0
    again = reading_of(pop(rng, studio.lights[i], studio.offset), f"l{i}", i, point=studio.readings[i].point)
    return studio._replace(wrong=None, cost=0.0, readings=[*studio.readings[:i], again, *studio.readings[i + 1 :]])


def checked(studio: Studio) -> dict[str, SumCheck]:
    """What the code under test says of a set, by what it is given."""
    both = [*studio.readings, studio.together]
    return {
        "sum": view_of(studio, both).check,
        "history": view_of(studio, studio.readings, studio.predictions).check,
        "both": view_of(studio, both, studio.predictions).check,
    }


def complained(studio: Studio, use: str, check: SumCheck) -> bool:
    """Whether any check of readings complains: the alarm, or a single reading apart from its prediction."""
    predictions = {} if use == "sum" else studio.predictions
    readings = studio.readings if use == "history" else [*studio.readings, studio.together]
    return check.alarm or any(True for _ in predicted_apart(view_of(studio, readings, predictions)))


def seen_of(studio: Studio) -> Seen:
    """What was read, for the ideal detector."""
    before = [one.exposure_lxs for one in studio.earlier]
    now = [one.exposure_lxs for one in studio.readings]
    return Seen(np.log2(now), np.log2(before), float(np.log2(studio.together.exposure_lxs or 0.0)))


def outcomes(world: str, seed: int, number: int) -> list[Outcome]:
    """Draw one set and return what was found in it; where something was misplaced, in its honest twin too.

    Every set has its own generators, so that neither the code under test nor the ideal detector changes the next set.
    """
    rng, ideal_rng, later = (np.random.default_rng([seed, number, part]) for part in range(3))
    studio = build(rng, world)
    ideal = Ideal(ideal_rng, studio.lights, studio.earlier)

    def odds(one: Studio) -> dict[str, float]:
        seen = seen_of(one)
        return {"sum": ideal.of_sum(seen, COSTLY), "history": ideal.of_history(seen, 0.5), "both": ideal.of_both(seen, 0.5)}

    clean = studio if studio.wrong is None else honest(later, studio)
    alarms = {use: complained(clean, use, check) for use, check in checked(clean).items()}
    result = [Outcome(False, 0.0, 0.0, 0.0, True, alarms, odds(clean), {})]
    if studio.wrong is None or studio.cost <= COSTLY:
        return result
    light = studio.lights[studio.wrong]
    frontal = light.role in FRONTAL
    checks = checked(studio)
    known = {
        use: found_after(later, studio, use, check)[0]
        for use, check in checks.items()
        if check.alarm and (frontal or use != "sum")
    }
    prediction = studio.predictions[f"l{studio.wrong}"]
    judged = judge(studio.readings[studio.wrong], studio.placements[f"l{studio.wrong}"], SETTINGS)
    level = -float(np.log2(received(light, np.zeros(3)) / received(studio.lights[0], np.zeros(3))))
    u = float(np.hypot(prediction.u_stops, judged.u_stops))
    found = {use: check.alarm for use, check in checks.items()}
    return [*result, Outcome(True, studio.cost, u, level, frontal, found, odds(studio), known)]


def run(world: str, sets: int, seed: int) -> list[Outcome]:
    """Simulate one world."""
    return [one for number in range(sets) for one in outcomes(world, seed, number)]


def main() -> None:
    """Run both worlds, seed by seed, and print the seeds together at the end where there are several."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2000)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--world", choices=("uniform", "realistic"))
    args = parser.parse_args()
    for world in (args.world,) if args.world else ("uniform", "realistic"):
        together: list[Outcome] = []
        for seed in args.seed:
            start = time.perf_counter()
            found = run(world, args.sets, seed)
            report(f"{world} sources, seed {seed}", found)
            print(f"  ({time.perf_counter() - start:.0f} s)", flush=True)
            together += found
        if len(args.seed) > 1:
            report(f"{world} sources, seeds {', '.join(str(one) for one in args.seed)} together", together)


if __name__ == "__main__":
    main()
