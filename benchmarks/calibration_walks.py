"""A photographer who does what the walks ask, with simulated lamps: shared by the benchmark and the tests."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from benchmarks.calibration_world import FULL_SCALE_LX, Reference, reference_reads
from meterlink.calibration.procedure import TYPED, Procedure, Task
from meterlink.records import Measurement

AGAIN_SPREAD = 0.01
"""Relative spread of a head or a dimmer that is set to the same mark again."""
LAMP_LX = 150e3
LIGHT_M = 2.0
"""Distance of the lights that dome and reference see one after the other."""
POP_SPREAD = 0.005
"""Relative spread of a flash head from pop to pop."""
TAPE_M, PROTRACTOR_DEG = 0.003, 0.7
TAU_S = 4e-4
Take = Callable[[Task, float, float], Measurement]


class CannotDo(AssertionError):
    """A step that this sensor does not let anyone finish."""


class Photographer:
    """Walks with a sensor (simulated, or a chip behind the same three methods)."""

    def __init__(self, sensor: object, rng: np.random.Generator, reference: Reference | None = None) -> None:
        self.sensor, self.rng, self.reference = sensor, rng, reference
        self.tau_s = TAU_S
        self.free_range = 0
        self.lamp_lx = LAMP_LX
        """The brightest steady lamp at hand."""
        self.brightest_lx = math.inf
        """The highest peak of the flash at hand."""
        self.hands = ""
        self.swaps = 0
        """How often dome and reference were changed over."""
        self.lights: dict[str, float] = {}
        """What a light was that dome and reference both see, by the end of its tasks' names."""
        self.seen: dict[int | None, float] = {}
        """Range -> what a light fills there against what it was thought to fill: the next are turned down from it."""
        self.power: dict[str, float] = {}
        """What the lights of a task were turned to, against what ``level`` asks for."""

    def walk(self, procedure: Procedure) -> None:
        """Do every task; a light that is refused is turned down or up and popped again."""
        self.sensor.calibration = procedure.calibration
        while (task := procedure.task) is not None:
            self._swap("reference" if task.kind == TYPED else "dome", task)
            if task.kind == TYPED:
                procedure.read(self.read(task))
                continue
            # Lights of one comparison are not touched between its readings; only its first may be set.
            group = task.name.rsplit("-", 1)[0] if task.name.split("-")[0] in ("add", "overlap") else task.name
            fixed = task.name.split("-")[0] == "distance" or any(
                t.task.name.startswith(group) and t.task.name != task.name for t in procedure.taken
            )
            for _ in range(14):
                before = len(procedure.taken)
                wanted = self.level(task) * self.power.get(group, 1.0)
                procedure.take(measurement := self.shine(task, wanted))
                if len(procedure.taken) > before:
                    if task.name.startswith("pair-flash") and task.name.endswith("-0"):
                        self.seen[task.range_index] = (procedure.level_of(measurement) or wanted) / wanted
                    break
                if task.name in procedure.skipped:
                    break
                # As sensing does by itself: the other range is tried for the next pop.
                self.free_range = 1 if measurement.too_dim else 0
                if not fixed:
                    self.power[group] = self.power.get(group, 1.0) * self.turn(procedure, task, measurement)
            else:
                if not task.optional:
                    raise CannotDo(f"{task.name} cannot be done with this sensor")
                procedure.skip()

    def _swap(self, hands: str, task: Task) -> None:
        """Whoever stands in the light changes; cap, overlap and the first pops need no reference."""
        if task.name.split("-")[0] in ("pair", "ref"):
            self.swaps += bool(self.hands) and self.hands != hands
            self.hands = hands

    def read(self, task: Task) -> float:
        """What the reference shows: of a pop that the dome has seen, its head set anew, or of the lamp."""
        assert self.reference is not None
        light = self.lights.get(task.name.partition("-")[2], 0.0)
        if task.name.startswith("ref-steady"):
            light = self.lamp_lx if task.value is None else task.value
            self.lights[task.name.partition("-")[2]] = light
        spread = POP_SPREAD if task.name.startswith("ref-flash") else 0.0
        light *= 1 + AGAIN_SPREAD * self.rng.normal() + spread * self.rng.normal()
        return reference_reads(light, self.reference, self.rng)

    def turn(self, procedure: Procedure, task: Task, measurement: Measurement) -> float:
        """By how much the lights are turned up or down after a reading that was not counted."""
        if measurement.clipped:
            return 0.8
        level = None if measurement.incomplete else procedure.level_of(measurement)
        if task.fill is None or not level:
            return 1.5
        return float(np.clip(math.sqrt(task.fill[0] * task.fill[1]) / level, 0.5, 2.0))

    def level(self, task: Task) -> float:
        """Fraction of the range (by design) that the light of a task fills."""
        parts = task.name.split("-")
        if parts[0] in ("dark", "leak", "after"):
            return 0.0
        if task.level is not None:
            return task.level / (1.0 if parts[-1] == "0" or parts[0] != "pair" else self.seen.get(task.range_index, 1.0))
        if parts[0] == "add":
            single = 0.45 if parts[2] == "hi" else 0.21
            return {"a": single, "b": 0.9 * single, "ab": 1.9 * single}[parts[3]]
        if parts[0] == "distance":
            assert task.value is not None
            # Half of the bright range at half a metre; the lamp is not touched, the far ones go to the sensitive range.
            return 0.5 * (0.5 / task.value) ** 2
        return {"overlap": 0.7, "torch": 0.5, "repeat": 0.6, "short": 0.3, "angle": 0.6}[parts[0]]

    def shine(self, task: Task, level: float) -> Measurement:
        """Return a measurement of the task's light, which fills so much of the range by design."""
        index = self.range_for(task)
        scale = FULL_SCALE_LX[0] if task.name.startswith("distance") else FULL_SCALE_LX[-1]
        if task.range_index is not None and not task.name.startswith("overlap"):
            scale = FULL_SCALE_LX[task.range_index]
        peak = level * scale
        if task.name.startswith("pair-steady"):
            peak = self.lights[f"steady-{task.name.rsplit('-', 1)[1]}"]
        if task.name.startswith("pair"):
            peak = min(peak, self.brightest_lx)
            self.lights[task.name.partition("-")[2]] = peak * self.tau_s
            peak *= (LIGHT_M / (LIGHT_M + self.sensor.build.plane_m)) ** 2
        angle = 0.0
        if task.name.startswith("angle"):
            angle = (task.value or 0.0) + self.rng.normal(0, PROTRACTOR_DEG)
        if task.name.startswith("distance"):
            d = task.value or 1.0
            peak *= (d / (d + self.sensor.build.plane_m + self.rng.normal(0, TAPE_M))) ** 2
        if task.kind == "steady":
            capped = task.name.startswith("leak")
            return self.sensor.steady(peak, index, angle, capped_leak=capped)
        tau = 60e-6 if task.name.startswith("short") else self.tau_s
        exposure = peak * tau * (1 + POP_SPREAD * self.rng.normal())
        return self.sensor.flash(exposure, index, tau, angle)

    def range_for(self, task: Task) -> int:
        """The range that the task names, else the one that sensing would choose."""
        if task.range_index is not None:
            return task.range_index
        return self.free_range if task.name.startswith("distance") else 1


def stops(ratio: float) -> float:
    """Stops of a ratio of light."""
    return math.log2(ratio)
