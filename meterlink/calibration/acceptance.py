"""The walk of ``meterlink verify``: a ten-minute acceptance of a newly built sensor.

It needs no reference: every step compares the sensor with a law (the dark is dark, two lights add, inverse square, the
ideal angular response) or with itself (repeats, both ranges, dark before and after).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, stdev

from meterlink.calibration.evidence import full_raw_of, raw_of
from meterlink.calibration.procedure import BARE_BULB, Procedure, Taken, Task
from meterlink.calibration.steps import overlap_tasks, repeat_task, with_caution
from meterlink.records import Calibration, Identity
from meterlink.words.told import told

DISTANCES_M = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8)
ANGLES_DEG = {
    "dome": (0.0, 30.0, 60.0, 90.0, 120.0, -60.0, -90.0),
    "flat": (0.0, 30.0, 45.0, 60.0, 75.0, -45.0, -60.0),
}
HIGH, LOW = "hi", "lo"


def acceptance_tasks(identity: Identity, receptor: str) -> list[Task]:
    """Return the steps in an order that moves things as little as possible."""
    kind = "flash" if identity.flash else "steady"
    tasks = [_dark(identity, i, "dark", 3) for i in range(len(identity.ranges))]
    last = len(identity.ranges) - 1
    tasks.append(Task("leak", told("leak_step"), told("do_leak"), "steady", 2, last, dark=True))
    tasks.append(Task("torch", told("steadiness_step"), told("do_steadiness"), "steady", 3, last))
    tasks.append(repeat_task(identity))
    if identity.flash:
        tasks.append(Task("short", told("short_step"), told("do_short"), "flash", 2, optional=True))
    tasks += overlap_tasks(identity, 2)
    tasks += [
        Task(f"distance-{far:g}", told("bulb_step", far=far), told("do_bulb", far=far), kind, 2,
             value=far, settable=True, caution=BARE_BULB)
        for far in DISTANCES_M
    ]
    tasks += _additivity(identity, kind)
    for angle in ANGLES_DEG[receptor]:
        # A receptor that sees next to nothing from there is what the step is to find out.
        aside = abs(angle) >= 90
        step, text = told("angle_step", angle=angle), told("do_turn", angle=angle)
        tasks.append(Task(f"angle-{angle:g}", step, text, kind, 1, value=angle, optional=aside, dark=aside))
    tasks += [_dark(identity, i, "after", 2) for i in range(len(identity.ranges))]
    return [with_caution(t) for t in tasks]


def _dark(identity: Identity, index: int, name: str, wanted: int) -> Task:
    title = told("dark_step_again" if name == "after" else "dark_step", name=identity.ranges[index])
    return Task(f"{name}-{index}", title, told("do_dark_room"), "steady", wanted, index, dark=True)


def _additivity(identity: Identity, kind: str) -> list[Task]:
    """Two lights together, then each alone, near the top of each range and near its bottom."""
    tasks = []
    for i, name in enumerate(identity.ranges):
        for level, part, fill in ((HIGH, 0.85, (0.75, 0.95)), (LOW, 0.4, (0.3, 0.5))):
            for who in ("ab", "a", "b"):
                what, wanted = told(f"light_{who}"), fill if who == "ab" else None
                title = told(f"add_step_{level}", what=what, name=name)
                text = told("do_add", part=part, name=name, what=what)
                tasks.append(Task(f"add-{i}-{level}-{who}", title, text, kind, 2, i, fill=wanted))
    return tasks


class AcceptanceWalk(Procedure):
    """``meterlink verify``.  Evaluate with ``judge.judge(walk)`` when done."""

    def __init__(
        self, identity: Identity, calibration: Calibration, *, nominal_lx: Sequence[float] = (), receptor: str = ""
    ) -> None:
        """Start a walk for the calibration in force, nominal or made by ``meterlink calibrate``.

        ``nominal_lx``: full scale of every range by design; tells a wrong resistor even after calibration.  ``receptor``: what is
        mounted, when it is not the calibration's.
        """
        tasks = acceptance_tasks(identity, receptor or calibration.receptor)
        super().__init__(identity, calibration, tasks, with_dark=True)
        self.receptor = receptor or calibration.receptor
        self.nominal_lx = tuple(nominal_lx)
        self.supply: tuple[float, float] | None = None
        """Where the converter measures against the supply: how far, in stops, its reference is from that of the calibration (or of
        the design), for which every reading is corrected; and the standard uncertainty of that correction."""
        self.judged = calibration
        """The calibration under test; the walk measures with ``calibration``, the same with a dark of 0."""

    def raws(self, name: str) -> list[float]:
        """Raw values of a step as fractions of full scale, dark included."""
        full = full_raw_of(self.identity)
        return [raw_of(t.measurement, self.calibration) / full for t in self.of(name)]

    def light(self, taken: Taken) -> float:
        """What a measurement says of the light: a pop is above its ambient already, steady light loses the walk's own dark."""
        m = taken.measurement
        if m.exposure_lxs is not None:
            return m.exposure_lxs
        seen = self.raws(f"dark-{m.range_index}")
        dark = fmean(seen) * full_raw_of(self.identity) if seen else self.judged.ranges[m.range_index].dark_raw
        return (m.illuminance_lx or 0.0) - dark * self.calibration.ranges[m.range_index].full_scale_lx

    def mean_light(self, name: str, u_pop: float) -> tuple[float, float]:
        """Mean light of repeats of one step and its relative standard uncertainty; what moved between them counts too."""
        taken = self.of(name)
        if not taken:
            return 0.0, u_pop
        values = [self.light(t) for t in taken]
        mean = fmean(values)
        spread = stdev(values) / mean if len(values) > 1 and mean > 0 else 0.0
        one = math.sqrt(u_pop**2 + fmean(t.measurement.u_rel**2 for t in taken))
        return mean, max(one, spread) / math.sqrt(len(values))

    def sensitivity(self, i: int, u_pop: float) -> tuple[float, float] | None:
        """What range i + 1 says of a light over what range i says of it, and its relative standard uncertainty.

        1 when the calibration ties the two together well; None when they were not both taken.
        """
        (low, u_low), (high, u_high) = (self.mean_light(f"overlap-{i}-{j}", u_pop) for j in (i, i + 1))
        return (high / low, math.hypot(u_low, u_high)) if low > 0 and high > 0 else None
