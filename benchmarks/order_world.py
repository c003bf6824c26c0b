"""The simulated studios of ``bench_order``: heads with tubes, dials and tapes that err, and a hand that holds the dome.

Distributions, all independent unless said:

* 3 to 6 lights in the roles, sizes, distances and levels of ``rebuild_world``; sources anywhere between uniform and point;
* tape: distances err by 2 to 5 % (k=1, one figure a set) whenever a stand is put up;
* dials: whenever one is set it is off by up to 0.1 stop (flat), and by 3 % (k=1) of the stops from full power, a head's own;
* pops: 0.02 stop (k=1) from one to the next; the dome 0 to 6 cm (flat) from the point toward the light, undeclared;
* t0.1 and its ratio to t0.5 as measured: 1.5 % each from pop to pop.

``usual`` world: voltage-controlled heads, whose t0.1 grows by 0.1 to 0.3 stop for each stop of power down; in half of the sets all
heads are of one make (tubes within 4 %), else each is of its own (1/300 to 1/3000 s at full power).
``other`` world: a third of the heads like that, a third cut off (t0.1 falls by 0.5 to 0.9 stop for each stop down, their form grows
fuller), a third switched between banks of capacitors (t0.1 flat in power but for a step at one power); all makes mixed.
Tubes' figures: common practice, no published source.
"""

from __future__ import annotations

import random
from math import log2
from typing import Any, NamedTuple

from benchmarks.rebuild_world import LEVELS, ROLES
from meterlink.judging.history import past_of
from meterlink.judging.prediction import Past
from meterlink.judging.whose_pop import Seen
from meterlink.photometry.sources import Disk, Point, Rectangle
from meterlink.records import Light, Placement, Reading, Settings

U_POP, U_TUBE, U_DURATION = 0.02, 0.06, 0.022
DIAL_STOPS, U_SLOPE = 0.1, 0.03
REACH_M = 0.06


class Tube(NamedTuple):
    """How long a head's flash lasts over its power: log2 of t0.1 in s, and of t0.5/t0.1."""

    kind: str
    base: float
    slope: float
    form: float
    form_slope: float
    step_at: float = 0.0
    step: float = 0.0

    def at(self, power: float) -> tuple[float, float]:
        """(log2 of t0.1, log2 of t0.5/t0.1) at a power in stops from full."""
        return self.base + self.slope * power + self.step_of(power), self.form + self.form_slope * power

    def step_of(self, power: float) -> float:
        """What the switched banks change of log2 of t0.1 at a power."""
        return self.step if power < self.step_at else 0.0


def draw_tube(rng: random.Random, world: str, make: float | None) -> Tube:
    """One head's tube; ``make``: what all heads of the set have in common."""
    base = rng.uniform(log2(1 / 3000), log2(1 / 300)) if make is None else make + rng.gauss(0, U_TUBE)
    kind = "voltage" if world == "usual" else rng.choice(("voltage", "cut off", "banks"))
    form = log2(0.36) + rng.gauss(0, 0.08)
    if kind == "voltage":
        return Tube(kind, base, -rng.uniform(0.1, 0.3), form, 0.0)
    if kind == "cut off":
        return Tube(kind, rng.uniform(log2(1 / 600), log2(1 / 150)), rng.uniform(0.5, 0.9), form, -rng.uniform(0.05, 0.12))
    return Tube(kind, base, rng.gauss(0, 0.03), form, 0.0, rng.uniform(-4, -1.5), -rng.uniform(0.3, 0.8))


class Truth:
    """One light: its head, modifier and what was put up."""

    def __init__(self, rng: random.Random, order: int, role: str, level: float, tube: Tube) -> None:
        size = 2 ** rng.uniform(log2(0.1), log2(1.5))
        self.role, self.order, self.tube = role, order, tube
        self.source: Any = Disk(size) if rng.random() < 0.5 else Rectangle(size, size * rng.uniform(1, 2.5))
        self.size = size
        self.mix = rng.random()
        self.slope = rng.gauss(0, U_SLOPE)
        self.step = rng.choice((0.1, 1 / 3))
        self.told_m = round(rng.uniform(max(0.6, size), 4.0), 2)
        self.power = round(round(rng.uniform(-5, -1) / self.step) * self.step, 6)
        self.level = 0.0
        self.level = level - self.light(self.told_m, self.power, 0.0)
        self.light_id = f"light {order}"

    def light(self, distance_m: float, power: float, dial: float) -> float:
        """log2 of lx·s at ``distance_m``."""
        area = 2.0 ** self.source.change_stops(1.0, distance_m)
        point = 2.0 ** Point().change_stops(1.0, distance_m)
        return self.level + log2((1 - self.mix) * area + self.mix * point) + power * (1 + self.slope) + dial

    def record(self, setup: str) -> Light:
        """What is typed of the light."""
        return Light(f"{self.light_id} {setup}", setup, self.role.upper(), self.role, self.role, self.order, f"head {self.order}")

    def placed(self, light: Light, told_m: float, power: float) -> Placement:
        """What is typed of where it stands."""
        disk = isinstance(self.source, Disk)
        return Placement(
            f"at {light.id}", light.id, 0.0, "disk" if disk else "rectangle", self.size,
            None if disk else self.source.height_m, told_m, power_text=f"{power:.2f}", power_stops=power,
        )  # fmt: skip


class Stand(NamedTuple):
    """A light put up once: what was typed, and what is true."""

    truth: Truth
    told_m: float
    true_m: float
    power: float
    dial: float
    u_tape: float

    def pop(self, rng: random.Random) -> Seen:
        """One pop with the dome held by hand."""
        level = self.truth.light(self.true_m - rng.uniform(0, REACH_M), self.power, self.dial) + rng.gauss(0, U_POP)
        duration, form = self.truth.tube.at(self.power)
        return Seen(level, U_POP, 0.0, duration + rng.gauss(0, U_DURATION), form + rng.gauss(0, U_DURATION))


def put_up(rng: random.Random, truth: Truth, told_m: float, power: float, u_tape: float) -> Stand:
    """Put a light up by tape and set its dial."""
    return Stand(
        truth, told_m, told_m * (1 + rng.gauss(0, u_tape)), power, rng.uniform(-DIAL_STOPS, DIAL_STOPS), u_tape
    )  # fmt: skip


class Case(NamedTuple):
    """A set to be metered: its stands, and for each light where its head stood before with what was read there."""

    now: list[Stand]
    before: list[list[tuple[Stand, Seen]]]
    same_place: bool
    """The set stands as it was metered before: nothing was touched."""


KNOWN = ("metered again", "rebuilt", "new set")


def draw_case(rng: random.Random, world: str, known: str) -> Case:
    """One set whose heads have been read before: this very set, the set before it was taken down, or other sets."""
    roles = ["key", *rng.sample(ROLES[1:], rng.randint(2, 5))]
    key_level = log2(200.0) + rng.uniform(-1, 1)
    make = rng.uniform(log2(1 / 3000), log2(1 / 300)) if world == "usual" and rng.random() < 0.5 else None
    lights = [
        Truth(rng, i, role, key_level + rng.uniform(*LEVELS[role]), draw_tube(rng, world, make)) for i, role in enumerate(roles)
    ]
    u_tape = rng.uniform(0.02, 0.05)
    now = [put_up(rng, one, one.told_m, one.power, u_tape) for one in lights]
    before: list[list[tuple[Stand, Seen]]] = [[] for _ in lights]
    if known == "metered again":
        before = [[(stand, stand.pop(rng))] for stand in now]
    elif known == "rebuilt":
        u_then = rng.uniform(0.02, 0.05)
        stood = [put_up(rng, one, one.told_m, one.power, u_then) for one in lights]
        before = [[(stand, stand.pop(rng))] for stand in stood]
    elif known == "new set":
        for _ in range(3):
            u_then = rng.uniform(0.02, 0.05)
            for one, known_of in zip(lights, before, strict=True):
                told = round(min(4.0, max(0.6, one.size, one.told_m * 2 ** rng.gauss(0, 0.4))), 2)
                power = min(0.0, one.power + round(rng.gauss(0, 1.0) / one.step) * one.step)
                stand = put_up(rng, one, told, power, u_then)
                known_of.append((stand, stand.pop(rng)))
    return Case(now, before, known == "metered again")


def pasts_of(case: Case, settings: Settings) -> tuple[list[tuple[Light, Placement]], list[Past]]:
    """Return the records of the set as typed, and its heads' past as the library would judge it."""
    records, pasts = [], []
    for stand, known_of in zip(case.now, case.before, strict=True):
        light = stand.truth.record("now")
        placement = stand.truth.placed(light, stand.told_m, stand.power)
        records.append((light, placement))
        for k, (then, seen) in enumerate(known_of):
            setup = "now" if case.same_place else f"before {k}"
            old = light if case.same_place else then.truth.record(setup)
            place = placement if case.same_place else then.truth.placed(old, then.told_m, then.power)
            t01 = 2.0 ** (seen.duration or 0.0)
            reading = Reading(
                f"reading {old.id}", setup, old.id, place.id, "c", "s", float(k), exposure_lxs=2.0**seen.level, point=old.point,
                u_rel=0.003, t01_s=t01, t05_s=t01 * 2.0 ** (seen.form or 0.0),
            )  # fmt: skip
            past = past_of(old, place, reading, settings)
            if past is not None:
                pasts.append(past)
    return records, pasts
