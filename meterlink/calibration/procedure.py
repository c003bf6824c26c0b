"""A walk through tasks: what to do next, what counts, what was collected.

No input or output, no clock: whoever drives it shows ``task``, hands in measurements with ``take`` and prints the
sentence that comes back.  The command line and the app drive the same walks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from meterlink.calibration.evidence import bare, full_raw_of, peak_raw_of, raw_of
from meterlink.errors import CalibrationError, UsageError
from meterlink.records import Calibration, Identity, Measurement
from meterlink.sensor.measuring.calibrate import CEILING_MARGIN, raw_for
from meterlink.words.told import NOTHING, Told, told

SMALLEST_PEAK = 0.03
"""Eight codes of 8 bits: a pop below it cannot carry a calibration."""
SMALLEST_STEADY = 0.01
SMALLEST_LUX = 1e-4
"""The same of a sensor that reports lux itself: 10 lx."""
FILL_PATIENCE = 3
FLASH, BARE_BULB, HOT_LAMP = told("caution_flash"), told("caution_bare_bulb"), told("caution_hot_lamp")
"""Cautions, shown where they belong; local codes and licensed practice come first."""
TYPED = "typed"
"""Kind of a task for which nothing is measured: what another instrument says is typed."""


class Task(NamedTuple):
    """One thing to do with the sensor."""

    name: str
    """Unique in its walk, such as ``dark-1`` or ``angle-45``."""
    title: Told
    text: Told
    """What to do, in one or two sentences."""
    kind: str
    """``steady`` or ``flash``: what a measurement must be to count; ``typed``: a value alone."""
    wanted: int = 1
    """Measurements wanted."""
    range_index: int | None = None
    """The range that the sensor must be on; None lets it choose."""
    camera: bool = False
    """Typed: the other instrument is a camera, and not a meter."""
    value: float | None = None
    """What the task itself stands for: the angle in degrees, the distance in metres."""
    light: float | None = None
    """What its light gives, in lx·s or lx, where that is known beforehand."""
    settable: bool = False
    """Whether ``value`` may be typed when it is another than the task asks for."""
    caution: Told = NOTHING
    optional: bool = False
    group: str = ""
    """Beginning of the names of all tasks that are left out with this one."""
    fill: tuple[float, float] | None = None
    """Part of the range that the light should fill, from and to; helps to set it.  A range that gives way before
    never gets there, so after ``FILL_PATIENCE`` tries what comes is taken.  It counts for the first measurement of
    the task only: from then on the light is not to be touched."""
    level: float | None = None
    """Part of the range that the light should fill, about; nothing is refused for it."""
    patience_s: float | None = None
    """So long a pop is waited for; then the step is over without it (``missed``)."""
    dark: bool = False
    """In the dark a reading too dim for anything else is what is wanted."""
    darkest_raw: float | None = None
    """Raw value above which a dark is none; None takes what comes."""


def wrong_kind(task: Task) -> Told:
    """Say that a measurement of the other kind does not count for a step."""
    return told("wants_pop" if task.kind == "flash" else "wants_steady", step=task.title)


def kind_of(task: Task) -> str:
    """Kind of the light that a task is about, also of one for which a value is only typed."""
    return task.name.split("-")[1] if task.kind == TYPED else task.kind


class Taken(NamedTuple):
    """One measurement that counted."""

    task: Task
    measurement: Measurement
    value: float | None = None
    """The typed value, else the task's own."""


class Procedure:
    """Tasks in order; each takes its measurements, may be taken back, and the optional ones skipped."""

    def __init__(self, identity: Identity, calibration: Calibration, tasks: Sequence[Task], *, with_dark: bool = False) -> None:
        """Start a walk that measures with ``calibration``, or ``with_dark`` with the same that leaves the dark in (``bare``)."""
        if identity.sensor_id != calibration.sensor_id:
            raise CalibrationError("this calibration belongs to another sensor: choose that sensor's own")
        self.identity = identity
        self.calibration = bare(calibration) if with_dark else calibration
        self._dark_raw = [r.dark_raw for r in calibration.ranges]
        self.tasks = list(tasks)
        self.skipped: set[str] = set()
        self.missed: set[str] = set()
        """Tasks for which nothing came in their time."""
        self.taken: list[Taken] = []
        self.refused: list[Taken] = []
        """What was not counted, last at the end: a light that clips where it should not tells something too."""
        self._short_of: dict[str, int] = {}

    @property
    def task(self) -> Task | None:
        """What to do next; None when all is done."""
        for task in self.tasks:
            if task.name not in self.skipped and len(self.of(task.name)) < task.wanted:
                return task
        return None

    @property
    def done(self) -> bool:
        """Whether every task has what it wants."""
        return self.task is None

    @property
    def progress(self) -> tuple[int, int]:
        """Measurements taken and wanted."""
        wanted = sum(t.wanted for t in self.tasks if t.name not in self.skipped)
        return len(self.taken), wanted

    def of(self, name: str) -> list[Taken]:
        """Return what was taken for a task."""
        return [t for t in self.taken if t.task.name == name]

    def group(self, prefix: str) -> list[Taken]:
        """Return what was taken for all tasks whose name begins with a word and a dash."""
        return [t for t in self.taken if t.task.name.split("-")[0] == prefix]

    def take(self, measurement: Measurement, value: float | None = None) -> Told:
        """Give a measurement to the present task; returns a sentence.  One that does not fit changes nothing.

        Raises UsageError: all is done; CalibrationError: from another sensor or made with another calibration.
        """
        task = self.task
        if task is None:
            raise UsageError("every step is done: finish, or take the last one back first")
        reason = self._why_not(task, measurement)
        if reason:
            self.refused = [*self.refused[-99:], Taken(task, measurement._replace(wave=None), value)]
            return reason
        self.taken.append(Taken(task, measurement, task.value if value is None else value))
        left = task.wanted - len(self.of(task.name))
        self.replan()
        return told("step_more", step=task.title, left=left) if left else told("step_done", step=task.title)

    def read(self, value: float) -> Told:
        """Give the present task, a typed one, its value; returns a sentence.

        Raises UsageError: the task wants a measurement, or all is done.
        """
        task = self.task
        if task is None or task.kind != TYPED:
            raise UsageError("this step wants a measurement, not a value: do what it says")
        blank = Measurement(TYPED, 0.0, self.identity.sensor_id, self.calibration.id)
        self.taken.append(Taken(task, blank, value))
        self.replan()
        return told("step_done", step=task.title)

    def replan(self) -> None:
        """Make the tasks anew from what was taken and left out; a walk whose steps are fixed has nothing to do."""

    def undo(self) -> Told:
        """Take the last measurement back.  Raises UsageError: there is none."""
        if not self.taken:
            raise UsageError("nothing has been taken yet")
        gone = self.taken.pop()
        self.replan()
        return told("taken_back", step=gone.task.title)

    def named(self, values: Iterable[object]) -> list[str]:
        """Return the names of the steps whose title is among the values of a refusal."""
        titles = set(map(str, values))
        return [t.name for t in self.tasks if str(t.title) in titles]

    def retake(self, values: Iterable[object]) -> list[str]:
        """Take back every step that a refusal names; return the steps' names."""
        names = self.named(values)
        self.taken = [t for t in self.taken if t.task.name not in names]
        self.replan()
        return names

    def skip(self) -> Told:
        """Leave the present task out.  Raises UsageError: it is not optional, or all is done."""
        task = self.task
        if task is None or not task.optional:
            raise UsageError("this step cannot be left out: do it, or stop and come back later")
        self.taken = [t for t in self.taken if t.task.name != task.name]
        self.skipped |= {t.name for t in self.tasks if t.name == task.name or (task.group and t.name.startswith(task.group))}
        self.replan()
        return told("step_left_out", step=task.title)

    def miss(self) -> None:
        """Give the present task up, for which nothing came in its time."""
        task = self.task
        if task is not None:
            self.missed.add(task.name)
            self.skipped.add(task.name)
            self.replan()

    def ceilings(self) -> tuple[tuple[int, float], ...]:
        """Return, by range, the raw value at which a pop that was too bright was cut off; not where the converter's own end is."""
        found: dict[int, float] = {}
        for m in (taken.measurement for taken in self.refused):
            if m.kind == "flash" and m.clipped and m.evidence is not None and m.evidence.peak_raw is not None:
                top = m.evidence.peak_raw + self.calibration.ranges[m.range_index].dark_raw
                found[m.range_index] = max(top, found.get(m.range_index, 0.0))
        # where a whole pop reached higher it was no ceiling
        return tuple((i, top) for i, top in sorted(found.items()) if self._reached_raw(i) < top < 1.0 - CEILING_MARGIN)

    def _reached_raw(self, range_index: int) -> float:
        pops = (t.measurement for t in self.taken if t.measurement.range_index == range_index)
        return max((raw_for(m.peak_lx, range_index, self.calibration) for m in pops if m.peak_lx is not None), default=0.0)

    def _why_not(self, task: Task, measurement: Measurement) -> Told:
        if measurement.sensor_id != self.identity.sensor_id:
            raise CalibrationError("this measurement came from another sensor: disconnect that one")
        if measurement.calibration_id != self.calibration.id:
            raise CalibrationError("this measurement was made with another calibration: take it again")
        if measurement.kind != task.kind:
            return wrong_kind(task)
        if task.range_index is not None and measurement.range_index != task.range_index:
            return told("other_range", name=self.identity.ranges[task.range_index])
        if measurement.incomplete:
            return told("not_whole")
        if task.range_index is None and measurement.note and (measurement.clipped or measurement.too_dim):
            # sensing has changed the range itself; the light is to stay as it is
            return told("note_not_counted", note=measurement.note)
        if measurement.clipped:
            return told("too_bright_here")
        if task.darkest_raw is not None and raw_of(measurement, self.calibration) > task.darkest_raw:
            return told("no_dark")
        if not task.dark and self._too_dim(task, measurement):
            return told("too_dim_here")
        return self._off_level(task, measurement)

    def _off_level(self, task: Task, measurement: Measurement) -> Told:
        if task.fill is None or self.of(task.name):
            return NOTHING
        level = self.level_of(measurement)
        low, high = task.fill
        if level is None or low <= level <= high:
            return NOTHING
        tries = self._short_of[task.name] = self._short_of.get(task.name, 0) + 1
        if tries > FILL_PATIENCE:
            return NOTHING
        way = told("turn_up") if level < low else told("turn_down")
        return told("fill_wanted", level=level, low=low, high=high, way=way)

    def level_of(self, measurement: Measurement) -> float | None:
        """Part of its range that a measurement filled above dark: the peak of a pop, the mean of steady light."""
        if measurement.kind == "flash":
            return peak_raw_of(measurement, self.calibration)
        if measurement.illuminance_lx is None:
            return None
        above = raw_of(measurement, self.calibration) - self._dark_raw[measurement.range_index]
        return above / full_raw_of(self.identity)

    def _too_dim(self, task: Task, measurement: Measurement) -> bool:
        """Sensing calls a pop too dim when a finer range would take it; a task that names its range wants it still."""
        if task.range_index is None or (measurement.exposure_lxs is None and measurement.illuminance_lx is None):
            return measurement.too_dim
        level = self.level_of(measurement)
        steady = SMALLEST_STEADY if self.identity.adc_bits else SMALLEST_LUX
        return level is not None and level < (SMALLEST_PEAK if measurement.kind == "flash" else steady)
