"""The simulated studio of ``rebuild_simulation``: real heads, tapes, stands and a dome held by hand.

Distributions, all independent:

* 2 to 6 lights: key, fill, hair, rim, background, other; disks and rectangles of 0.1 to 1.5 m (log-uniform), 0.6 to 4 m away
  and no nearer than their width; levels against the key as photographers set them: fill -3..0, hair -2..+0.5, rim -1.5..+1,
  background -3..+0.5, other -2..0 stops;
* source: anywhere between uniform and point (a hot spot), by a draw from 0 to 1, unknown to the code;
* distances: tape and memory err by 2 to 5 % (k=1, one figure a set) when the set is stored, and again when it is built; a move
  that is asked for is carried out to 1 cm (k=1);
* heads: half of them the same in the rebuild, else another one, 0.5 stop (k=1) stronger or weaker; steps of 1/10 or 1/3 stop;
  each dial is wrong by 3 % (k=1, ``--slope``) of the steps it is turned, and by 0.01 stop (k=1) at every position;
* pops: 0.02 stop (k=1) from one to the next (``--spread``); the dome within 1 cm (k=1, ``--dome``) of the point at each pop,
  toward or away from the light, declared as 0.
"""

from __future__ import annotations

import random
from math import log, log2
from typing import Any

from meterlink.library.store import Library
from meterlink.metering.rebuild import Rebuild
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.photometry.sources import Disk, Point, Rectangle
from meterlink.records import Calibration, Light, Measurement, Placement, Setup, new_id
from meterlink.tables.adjustment import Move, placement_changes

ROLES = ("key", "fill", "hair", "rim", "background", "other")
LEVELS = {"key": (0.0, 0.0), "fill": (-3, 0), "hair": (-2, 0.5), "rim": (-1.5, 1), "background": (-3, 0.5), "other": (-2, 0)}
LOWEST_STOPS = -8.0
CARRY_M = 0.01


class Errors:
    """How well things are made and done in this studio, k=1."""

    def __init__(self, slope: float = 0.03, spread_stops: float = 0.02, dome_m: float = 0.01, mix: float = 1.0) -> None:
        self.slope, self.spread_stops, self.dome_m, self.mix = slope, spread_stops, dome_m, mix


class Head:
    """A flash head: what its dial really delivers, and how strong it is."""

    def __init__(self, rng: random.Random, level_stops: float, step_stops: float, u_slope: float) -> None:
        self.level_stops = level_stops
        self.step_stops = step_stops
        self._slope = rng.gauss(0, u_slope)
        self._seed = rng.random()

    def stops(self, power_stops: float) -> float:
        """Stops of light against full power of a nominal head."""
        at = random.Random(f"{self._seed}:{power_stops:.3f}").gauss(0, 0.01)
        return self.level_stops + power_stops * (1 + self._slope) + at


class Truth:
    """One light as it really stands."""

    def __init__(self, head: Head, source: Any, mix: float, distance_m: float) -> None:
        self.head, self.source, self.mix, self.distance_m = head, source, mix, distance_m

    def light(self, power_stops: float, nearer_m: float = 0.0) -> float:
        """lx·s that the dome receives; the source lies between uniform and point."""
        d = self.distance_m - nearer_m
        area = 2.0 ** self.source.change_stops(1.0, d)
        point = 2.0 ** Point().change_stops(1.0, d)
        return 400.0 * ((1 - self.mix) * area + self.mix * point) * 2.0 ** self.head.stops(power_stops)


class World:
    """One set: its truth, and somebody who meters, turns dials and moves stands."""

    def __init__(self, rng: random.Random, library: Library, calibration: Calibration, errors: Errors, number: int) -> None:
        self.rng, self.library, self.calibration, self.errors = rng, library, calibration, errors
        self.u_tape = rng.uniform(0.02, 0.05)
        self.clock = 0.0
        setup = Setup(new_id(), f"set {number}", 0.0)
        library.add_setup(setup)
        library.use_setup(setup.id)
        self.session = Session(library, setup.id)
        self.truth: dict[str, Truth] = {}
        self.pop_errors: dict[str, list[float]] = {}
        """Stops by which each pop since the last ``forget_pops`` read off the true light, by light."""
        roles = ["key", *rng.sample(ROLES[1:], rng.randint(1, 5))]
        key_level = rng.uniform(-1, 1)
        for order, role in enumerate(roles):
            self._add(order, role, key_level + rng.uniform(*LEVELS[role]))
        self.meter(self.session)

    def _add(self, order: int, role: str, level: float) -> None:
        rng = self.rng
        size = 2 ** rng.uniform(log2(0.1), log2(1.5))
        source = Disk(size) if rng.random() < 0.5 else Rectangle(size, size * rng.uniform(1, 2.5))
        told = round(rng.uniform(max(0.6, size), 4.0), 2)
        step = rng.choice((0.1, 1 / 3))
        power = round(round(rng.uniform(-5, -1.5) / step) * step, 6)
        head = Head(rng, 0.0, step, self.errors.slope)
        truth = Truth(head, source, rng.uniform(0, self.errors.mix), told * (1 + rng.gauss(0, self.u_tape)))
        head.level_stops += level - log2(truth.light(power) / 400.0)
        disk = isinstance(source, Disk)
        light = Light(
            new_id(), self.session.setup.id, role.upper(), role, "face" if role in ("key", "fill", "other") else role, order,
            fixture=f"head {order} of {self.session.setup.name}", power_step_stops=step, power_min_stops=LOWEST_STOPS,
        )  # fmt: skip
        placement = Placement(
            new_id(), light.id, 0.0, "disk" if disk else "rectangle", size, None if disk else source.height_m, told,
            azimuth_deg=30.0 * order, elevation_deg=10.0, power_stops=power, power_text=f"{power:.2f}",
        )  # fmt: skip
        self.session.add_light(light, placement)
        self.truth[light.name] = truth

    # -- metering ---------------------------------------------------------------------------------------------

    def pop(self, name: str, power_stops: float) -> Measurement:
        """One pop at the point, the dome off by a finger's breadth."""
        self.clock += 3.0
        truth = self.truth[name]
        seen = truth.light(power_stops, self.rng.gauss(0, self.errors.dome_m))
        exposure = seen * 2.0 ** self.rng.gauss(0, self.errors.spread_stops)
        self.pop_errors.setdefault(name, []).append(log2(exposure / truth.light(power_stops)))
        return Measurement("flash", self.clock, "sim", self.calibration.id, exposure_lxs=exposure, u_rel=0.003)

    def meter(self, session: Session, names: set[str] | None = None) -> None:
        """One pop of every light, or of these."""
        lights = [one for one in session.lights() if names is None or one.name in names]
        session.begin([Request(one.id, point=one.point, held_off_m=0.0) for one in lights])
        self.fire(session)

    def fire(self, session: Session) -> dict[str, int]:
        """Fire whatever is waited for until the walk is over, doing before each pop what was told; return the pops."""
        pops: dict[str, int] = {}
        while (request := session.walk.waiting) is not None:
            light = next(one for one in session.lights() if one.id == request.light_id)
            power = self._power(session, light)
            turn = session.planned.get(light.id) if isinstance(session, Rebuild) else None
            if turn is not None and turn.move is not None:
                self.obey(session, light, turn.move)
                power = turn.move.power_stops if turn.move.power_stops is not None else power
            outcome = session.take(self.pop(light.name, power))
            assert outcome.kind == "logged", outcome
            pops[light.name] = pops.get(light.name, 0) + 1
            if isinstance(session, Rebuild):
                session.after(outcome)
        return pops

    @staticmethod
    def _power(session: Session, light: Light) -> float:
        return (session.placement(light.id) or Placement("", "", 0.0)).power_stops or 0.0

    def light_now(self, session: Session, light: Light) -> float:
        """The true light at the point with the dial as it is recorded."""
        return self.truth[light.name].light(self._power(session, light))

    # -- doing what is told -----------------------------------------------------------------------------------

    def obey(self, session: Session, light: Light, move: Move) -> None:
        """Carry a stand by the difference that was told, to a centimetre."""
        placement = session.placement(light.id)
        if move.distance_m is not None and placement is not None and placement.distance_m is not None:
            self.truth[light.name].distance_m += move.distance_m - placement.distance_m + self.rng.gauss(0, CARRY_M)

    def set(self, session: Session, light: Light, move: Move, *, as_told: bool = False) -> None:
        """Do a move and tell it; ``as_told``: with the word that it was told so, as ``targets --set`` does."""
        self.obey(session, light, move)
        changes: dict[str, Any] = placement_changes(move)
        if changes:
            session.move(light, as_told=as_told, **changes)

    def build_again(self) -> None:
        """Another day: the same distances by tape, half of the heads are others."""
        for light in self.session.lights():
            old = self.truth[light.name]
            told = (self.session.placement(light.id) or Placement("", "", 0.0)).distance_m or 1.0
            head = old.head
            if self.rng.random() < 0.5:
                head = Head(self.rng, old.head.level_stops + self.rng.gauss(0, 0.5), old.head.step_stops, self.errors.slope)
            self.truth[light.name] = Truth(head, old.source, old.mix, told * (1 + self.rng.gauss(0, self.u_tape)))

    # -- what nobody can know ---------------------------------------------------------------------------------

    def u_pop_stops(self, name: str) -> float:
        """Standard deviation of one pop's error at this light, k=1."""
        truth = self.truth[name]
        slope = log(truth.light(0.0, 0.005) / truth.light(0.0, -0.005)) / 0.01 / log(2.0)
        return float((self.errors.spread_stops**2 + (slope * self.errors.dome_m) ** 2) ** 0.5)
