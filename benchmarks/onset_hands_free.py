"""The twelve days with a range finder on the dome and lights fired in any order: she begins a walk, fires, and moves on.

At the app's desk, in simulated time.  The heads were used before, on another set (other distances and dials), so that a pop can
tell whose it is; the finder was calibrated by a ruler.  She fires the lights of a walk in random order, each once; a pop that is
asked for again is fired again.  Nobody says a distance: what was typed afterwards, or forgotten, on the other days is measured.
A finger counts as used for a light only between two pops; the one touch that begins a walk is counted apart.
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from random import Random

from benchmarks.onset_days import Day, Slip, Step
from benchmarks.onset_desk import Touching, lived
from benchmarks.onset_scene import Actual, Scene
from benchmarks.onset_terminal import BETWEEN_POPS_S, Counts
from meterlink.calibration import ranger
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import HeldOff, Purpose, RangerState
from meterlink.simulation.chip_model import RANGER_BEHIND_M, RANGER_NOISE_M, RANGER_SCALE, RANGER_WHITE, ChipModel
from meterlink.simulation.sensor import SimulatedLink

RULER_M = (0.1, 0.3)
FIGURES = 40
MOST_POPS = 20
"""So many in one walk, and she gives up."""
USUAL_HELD_M = (0.0, 0.06)
"""How far off a hand holds the dome that touches nothing."""


class InHand(SimulatedLink):
    """A sensor that only her hand moves: no walk tells it where it is."""

    def hold(self, held_off_m: float | None, reflectance: float = 0.5) -> None:
        """Nothing: ``held`` says it."""

    def held(self, held_off_m: float) -> None:
        """Be held so far off a face from now on."""
        super().hold(held_off_m)


class HandsFree(Touching):
    """One day without a tap between two pops."""

    def __init__(self, day: Day, folder: Path) -> None:
        super().__init__(day, folder)
        self.random = Random(f"{day.name} hands free")
        chip = ChipModel(seed=len(day.name), range_finder=True)
        self.link: InHand = InHand(chip, clock=asyncio.get_running_loop().time)
        self.held_m = 0.0
        self.begun = 0
        """Touches that begin a walk."""
        self.library.remember(ranger.key(chip.identity.sensor_id), self._by_ruler()._asdict())

    def _by_ruler(self) -> ranger.RangerScale:
        """The finder's scale from two marks before a white card."""
        marks = []
        for true_m in RULER_M:
            figures = [RANGER_SCALE * (true_m + RANGER_BEHIND_M) + self.random.gauss(0.0, RANGER_NOISE_M) for _ in range(FIGURES)]
            said = [HeldOff(0.0, one, RANGER_NOISE_M, RangerState.GOOD, RANGER_WHITE / one**2) for one in figures]
            marks.append(ranger.mark(true_m, said))
        return ranger.fit(marks)

    async def live(self) -> Counts:
        """Go through an earlier set with the same heads, then the day."""
        await self._earlier()
        counts = await super().live()
        return counts._replace(keys=self.taps - self.begun)

    async def _earlier(self) -> None:
        today, self.scene = self.scene, Scene(tuple(self._elsewhere(one) for one in self.day.lights))
        self._describe("Earlier")
        await self._connect()
        self.desk.begin()
        await self._walk(Step(("meter",), len(self.day.lights)))
        await self.sensors.close()
        self.scene = today
        self.pops = self.taps = self.begun = self.questions = 0

    def _elsewhere(self, one: Actual) -> Actual:
        """The same head on another set: other place, other power."""
        if one.source:
            return one
        turned = one.turned(self.random.choice((-1, -2 / 3, -1 / 3, 0, 1 / 3, 2 / 3)))
        return turned.moved(one.distance_m * self.random.uniform(0.8, 1.25))

    async def _step(self, step: Step) -> None:
        before = self.taps
        await super()._step(step)
        self.begun += self.taps - before

    async def _walk(self, step: Step) -> None:
        slips, fired, tries = dict(step.slips), set[str](), 0
        again = ""
        while tries < MOST_POPS and (now := await self._waiting()) is not None:
            session, waiting = now
            tries += 1
            request = self._next(session, waiting, fired, again)
            name = self._name(session, request)
            self._advised(step, name, again=name in fired)
            slip = self._slip(slips, name)
            outcome = await self._fire_held(name, request.purpose, slip)
            again = name if outcome is None or outcome.kind != OutcomeKind.LOGGED else ""
            if again or outcome is None:
                continue
            if request.purpose != Purpose.WITHOUT:
                fired.add(name)
            await self._afterwards(name, slips.pop(name, Slip())._replace(said_after=""))
            if step.quit_after == name or (step.quit_after and len(fired) == step.needs):
                session.begin([])
                return

    def _next(self, session: Session, waiting: Request, fired: set[str], again: str) -> Request:
        """Which light she fires: the one that is asked for again, else one that she has not fired yet, else what is waited for."""
        may = {self._name(session, one): one for one in session.may_come() or [waiting]}
        if again in may:
            return may[again]
        if waiting.purpose != Purpose.ALONE:
            return waiting
        alone = {self._name(session, one): one for one in session.walk.requests if one.purpose == Purpose.ALONE}
        left = [name for name in alone if name not in fired]
        # An order that must be kept was said beforehand; what she has fired she knows better than the walk.
        left = [name for name in left if name in may] or left
        return alone[self.random.choice(left)] if left else waiting

    async def _fire_held(self, name: str, purpose: str, slip: Slip) -> Outcome | None:
        held_m = slip.held_m or self.random.uniform(*USUAL_HELD_M)
        if purpose == Purpose.WITHOUT:
            held_m = self.held_m  # the dome stays where it was for the pop with the card
        elif purpose == Purpose.TOGETHER:
            held_m = 0.0
        self.held_m = held_m
        self.link.held(held_m)
        await asyncio.sleep(BETWEEN_POPS_S)
        return await self._fire(self._pulse(name, purpose, slip._replace(held_m=held_m)), damaged=slip.lost)


def day_hands_free(day: Day, folder: Path, where: type[HandsFree] = HandsFree) -> Counts:
    """Return what a day costs with a range finder and in any order, at the app's desk or where else she works."""
    measured = any(slip.held_m for step in day.steps for slip in step.slips.values())
    # A dome held off is no fault any more: its distance is known.
    return lived(lambda: where(day._replace(wrong="") if measured else day, folder))
