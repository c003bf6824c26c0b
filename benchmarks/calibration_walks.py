"""A photographer who does what the walks ask, with simulated lamps: shared by the benchmark and the tests."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from benchmarks.calibration_world import FULL_SCALE_LX, Reference, reference_reads
from meterlink.calibration.procedure import Procedure, Task
from meterlink.records import Measurement

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
        self.power: dict[str, float] = {}
        """What the lights of a task were turned to, against what ``level`` asks for."""

    def walk(self, procedure: Procedure) -> None:
        """Do every task; a light that is refused is turned down or up and popped again."""
        self.sensor.calibration = procedure.calibration
        while (task := procedure.task) is not None:
            # Lights of one comparison are not touched between its readings; only its first may be set.
            group = task.name.rsplit("-", 1)[0] if task.name.split("-")[0] in ("add", "overlap") else task.name
            fixed = task.name.split("-")[0] == "distance" or any(
                t.task.name.startswith(group) and t.task.name != task.name for t in procedure.taken
            )
            for _ in range(14):
                before = len(procedure.taken)
                measurement, light = self.shine(task, self.level(task) * self.power.get(group, 1.0))
                value = None
                if task.ask:
                    assert self.reference is not None
                    value = reference_reads(light, self.reference, self.rng)
                procedure.take(measurement, value)
                if len(procedure.taken) > before:
                    break
                # As sensing does by itself: the other range is tried for the next pop.
                self.free_range = 1 if measurement.too_dim else 0
                if not fixed:
                    self.power[group] = self.power.get(group, 1.0) * self.turn(procedure, task, measurement)
            else:
                if not task.optional:
                    raise CannotDo(f"{task.name} cannot be done with this sensor")
                procedure.skip()

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
            return task.level
        if parts[0] == "add":
            single = 0.45 if parts[2] == "hi" else 0.21
            return {"a": single, "b": 0.9 * single, "ab": 1.9 * single}[parts[3]]
        if parts[0] == "distance":
            assert task.value is not None
            # Half of the bright range at half a metre; the lamp is not touched, the far ones go to the sensitive range.
            return 0.5 * (0.5 / task.value) ** 2
        return {"overlap": 0.7, "torch": 0.5, "repeat": 0.6, "short": 0.3, "angle": 0.6}[parts[0]]

    def shine(self, task: Task, level: float) -> tuple[Measurement, float]:
        """Return a measurement and the light that really fell on the dome's axis."""
        index = self.range_for(task)
        scale = FULL_SCALE_LX[0] if task.name.startswith("distance") else FULL_SCALE_LX[-1]
        if task.range_index is not None and not task.name.startswith("overlap"):
            scale = FULL_SCALE_LX[task.range_index]
        peak = level * scale
        angle = 0.0
        if task.name.startswith("angle"):
            angle = (task.value or 0.0) + self.rng.normal(0, PROTRACTOR_DEG)
        if task.name.startswith("distance"):
            d = task.value or 1.0
            peak *= (d / (d + self.sensor.build.plane_m + self.rng.normal(0, TAPE_M))) ** 2
        if task.kind == "steady":
            capped = task.name.startswith("leak")
            return self.sensor.steady(peak, index, angle, capped_leak=capped), peak
        tau = 60e-6 if task.name.startswith("short") else self.tau_s
        exposure = peak * tau * (1 + POP_SPREAD * self.rng.normal())
        return self.sensor.flash(exposure, index, tau, angle), exposure

    def range_for(self, task: Task) -> int:
        """The range that the task names, else the one that sensing would choose."""
        if task.range_index is not None:
            return task.range_index
        return self.free_range if task.name.startswith("distance") else 1


def stops(ratio: float) -> float:
    """Stops of a ratio of light."""
    return math.log2(ratio)
