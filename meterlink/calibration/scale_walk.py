"""The walk of ``meterlink calibrate``: dark, overlap, then lights that dome and reference see one after the other.

It starts from the light that there is: the first pop of a range and the first lamp say what the others are to be.  Lights are taken
in two runs, all of them by the one and then all by the other, so that the meter changes hands once or twice instead of at every
pair; the price is that a head set to the same power again gives the same light to ``U_AGAIN_REL`` only, which is in every pair.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import fmean, stdev
from typing import Any

from meterlink.calibration import camera, steps
from meterlink.calibration.calibrate import U_POP_REL, darks_of, evidence_of
from meterlink.calibration.evidence import Evidence, Overlap, Pair, full_raw_of, mean_of, peak_raw_of, raw_of, resolution_u_rel
from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale import Scaled, calibrate_relative, calibrate_scale, left_by_pairs
from meterlink.errors import CalibrationError
from meterlink.photometry.calibration_fit import repeatability
from meterlink.records import Calibration, Identity, Measurement
from meterlink.words.told import NOTHING, Told, all_of, told

MORE_LEVELS = 3
ENOUGH_REL = 0.015
"""When pairs and overlap leave more of a range (standard, relative) than this, more are asked for: 0.04 stop at k=2.  Less would
be asked of two in five walks and widen their claim by a twentieth of a stop (100 simulated sensors)."""
U_AGAIN_REL = 0.01
"""Of one light that is set twice, on its way from dome to reference: heads and dimmers at the same mark (common practice, no
published source)."""
LEAST_STEADY = 0.02
"""Part of the most sensitive range below which steady light weighs nothing: the dark's own uncertainty is 1 % of it."""
FULLEST_STEADY = 0.7
"""Part of a range, by what is known of it before, up to which it is chosen for steady light."""
FAINT_POPS = 6
"""A spread of six is known to a third, with the widening of few repeats 1.3 times itself."""
PRIOR_REPEATS = 3
"""A pop's usual spread counts as so many repeats of its own, since few repeats tell little about theirs."""


class ScaleWalk(Procedure):
    """``meterlink calibrate``; the sensor must measure with ``walk.calibration``, which is the one given with a dark of 0."""

    def __init__(
        self,
        identity: Identity,
        calibration: Calibration,
        *,
        levels: int = steps.LEVELS,
        relative: bool = False,
        resolution_stops: float = 0.1,
        with_camera: bool = False,
    ) -> None:
        """Start a walk with so many pops a range against the reference.

        ``resolution_stops`` are the steps of its display; ``with_camera``: it is a camera that looks at a grey card.
        """
        super().__init__(identity, calibration, [], with_dark=True)
        self.previous = calibration
        self.relative = relative
        self.resolution_stops = resolution_stops
        self.with_camera = with_camera
        self.u_reading_rel = camera.U_READING_REL if with_camera else resolution_u_rel(resolution_stops)
        self._levels = levels
        self._wanting: tuple[int, ...] | None = None
        """Ranges on which more levels were asked for; None before that was looked at."""
        self.replan()

    # ------------------------------------------------------------------------------------------------ steps

    def replan(self) -> None:
        """Make the steps that follow from what was taken: each first light says what the others are."""
        self._make_tasks()
        if self.task is None and self._wanting is None and not self.relative:
            self._wanting = self._ranges_wanting()
            self._make_tasks()

    def _make_tasks(self) -> None:
        tasks = [*steps.dark_tasks(self.identity, 1)]
        if len(self.identity.ranges) > 1:
            tasks += steps.overlap_tasks(self.identity, 3, 3)
        else:
            tasks.append(steps.repeat_task(self.identity, 4))
        tasks += [*steps.faint_tasks(self.identity, FAINT_POPS), *self._pair_tasks()]
        tasks = [steps.with_caution(t) for t in tasks]
        self.tasks = [steps.for_camera(t) for t in tasks] if self.with_camera else tasks

    def _pair_tasks(self) -> list[Task]:
        if self.relative:
            return []
        first = self._flash_levels(0, self._levels)
        more = [t for t in self._flash_levels(self._levels, self._levels + MORE_LEVELS) if t.range_index in (self._wanting or ())]
        lamps = self._lamp_tasks()
        # She who holds the reference begins where the dome left off, and the other way round: a drift of the lamp then cancels.
        reads, reads_more = ([steps.reference_task(t, t is run[-1]) for t in reversed(run)] for run in (first, more))
        return [*first, *reads, *lamps, *self._steady_tasks(lamps), *more, *reads_more]

    def _flash_levels(self, start: int, end: int) -> list[Task]:
        """Pops on each range from the first, as bright as it was, down; a range whose first was left out has none.

        Levels too low for a pop to carry anything are passed over, and more of those between taken.
        """
        if not self.identity.flash:
            return []
        found = []
        for index in range(len(self.identity.ranges)):
            seen = self.of(f"pair-flash-{index}-0")
            if f"pair-flash-{index}-0" in self.skipped:
                continue
            top = self.level_of(seen[0].measurement) if seen else None
            parts = steps.parts_of_run(self.resolution_stops, self._a_run())
            if top is not None:
                parts = [part for part in parts if part == 1.0 or top * part >= steps.SMALLEST_LEVEL * 0.95]
            found += [steps.flash_task(self.identity, index, n, top, parts) for n in range(start, min(end, len(parts)))]
        return found

    def _a_run(self) -> int:
        """Levels on the way down a range; when more are wanted they lie between these, not below where pops are too coarse."""
        return min(self._levels, steps.LEVELS)

    def _lamp_tasks(self) -> list[Task]:
        """What the reference reads of the lamp: as bright as it goes, then dimmer, as long as the sensor can weigh it."""
        if "ref-steady-0" in self.skipped:
            return []
        needed = not self.identity.flash
        tasks = [steps.lamp_task(0, None, optional=not needed)]
        seen = self.of("ref-steady-0")
        if seen and seen[0].value:
            top = seen[0].value
            least = self._least_lx()
            count = 2 * steps.STEADY_LEVELS * len(self.identity.ranges) if needed else steps.STEADY_LEVELS
            levels = [top * 2.0 ** -(steps.STEADY_STEP_STOPS * n) for n in range(1, count)]
            tasks += [steps.lamp_task(n, lx, optional=False) for n, lx in enumerate(levels, 1) if lx >= least]
        return tasks

    def _steady_tasks(self, lamps: list[Task]) -> list[Task]:
        """The dome under the same lamp, dimmest first, each on the most sensitive range that holds it."""
        found: list[Task] = []
        for lamp in reversed(lamps):
            seen = self.of(lamp.name)
            lx = seen[0].value if seen else None
            index = self._range_for(lx) if lx else None
            if lx and index is not None:
                number = int(lamp.name.rsplit("-", 1)[1])
                found.append(steps.steady_task(self.identity, index, number, lx / self._full_lx(index), not found))
        return found

    def _least_lx(self) -> float:
        """The dimmest steady light that weighs anything; one that reports lux itself is asked from a dim room on."""
        return LEAST_STEADY * self._full_lx(len(self.identity.ranges) - 1) if self.identity.adc_bits else 20.0

    def _full_lx(self, index: int) -> float:
        """Full scale of a range as far as it is known before."""
        return self.previous.ranges[index].full_scale_lx * full_raw_of(self.identity)

    def _range_for(self, lx: float) -> int | None:
        """The most sensitive range that holds a steady light; None when it is too dim to weigh anything, or too bright for all.

        A range on which no pop was taken has its scale from the overlap, and one lamp on it would not better that.
        """
        ranges = range(len(self.identity.ranges))
        indices = [i for i in ranges if not self.identity.flash or f"pair-flash-{i}-0" not in self.skipped]
        holding = [i for i in indices if lx <= FULLEST_STEADY * self._full_lx(i)]
        if not holding or lx < self._least_lx():
            return None
        return min(holding, key=self._full_lx)

    def read(self, value: float) -> Told:
        """As ``Procedure.read``; a lamp that cannot carry a pair is told of."""
        task = self.task
        said = super().read(value)
        if task is not None and task.name == "ref-steady-0" and self._range_for(value) is None:
            code = "lamp_weighs_nothing" if value < self._least_lx() else "lamp_beyond"
            return told(code, said=said, part=value / self._full_lx(len(self.identity.ranges) - 1))
        return said

    def _off_level(self, task: Task, measurement: Measurement) -> Told:
        """A pop for a pair must stand well on its range; the first of a range says how far down the others can go."""
        if not task.name.startswith("pair-flash"):
            return super()._off_level(task, measurement)
        level = self.level_of(measurement)
        # The last of a range's levels must still stand above a tenth.
        span = steps.step_stops(self.resolution_stops) * (self._a_run() - 1) if task.name.endswith("-0") else 0.0
        least = 0.95 * steps.SMALLEST_LEVEL * 2.0**span
        if level is None or level >= least:
            return NOTHING
        short = told("fill_least", level=level, least=least)
        return all_of(short, told("s_leaves_range")) if task.optional else short

    def take(self, measurement: Measurement, value: float | None = None) -> Told:
        """As ``Procedure.take``; a lamp that is too bright or too dim for the range that it was thought to fit is left out."""
        task, counted = self.task, len(self.taken)
        said = super().take(measurement, value)
        lamp = task is not None and task.name.startswith("pair-steady") and measurement.kind == task.kind
        if task is None or not lamp or len(self.taken) > counted or measurement.range_index != task.range_index:
            return said
        self.skipped.add(task.name)
        self.replan()
        return told("lamp_left_out" if measurement.clipped else "lamp_too_dim", step=task.title)

    def retake(self, values: Iterable[object]) -> list[str]:
        """As ``Procedure.retake``, with what the reference read of that light."""
        found = super().retake(values)
        names = [name.removeprefix("pair-") for name in found if name.startswith("pair-")]
        lights = {f"ref-{n}" if n.startswith("flash") else f"ref-steady-{n.split('-')[-1]}" for n in names}
        self.taken = [t for t in self.taken if t.task.name not in lights]
        self.replan()
        return found

    # --------------------------------------------------------------------------------------------- evidence

    def _ranges_wanting(self) -> tuple[int, ...] | None:
        """Ranges whose pops leave more than ``ENOUGH_REL``; None when a pair is to be taken again first."""
        try:
            left = left_by_pairs(self.evidence(self.u_reading_rel))
        except CalibrationError:
            return None
        flash = {t.measurement.range_index for t in self.group("pair") if t.measurement.kind == "flash"}
        return tuple(i for i, u in left.items() if u > ENOUGH_REL and i in flash)

    def light_of(self, taken: Taken) -> float | None:
        """What the reference says of a pair, in lx or lx·s: typed at another step, with the reference in the dome's place."""
        _, kind, index, number = taken.task.name.split("-")
        twin = f"ref-flash-{index}-{number}" if kind == "flash" else f"ref-steady-{number}"
        seen = self.of(twin)
        return seen[0].value if seen else None

    def evidence(self, u_reference_reading_rel: float = 0.0, temperature_c: float | None = None) -> Evidence:
        """Return what was collected; ``u_reference_reading_rel`` is what one reading of the reference leaves by itself."""
        repeat_rel = self._repeat_rel()
        pairs = tuple(self._pair(t, u_reference_reading_rel, repeat_rel) for t in self.group("pair"))
        return evidence_of(self, temperature_c)._replace(
            pairs=pairs, overlaps=self._overlaps(repeat_rel), repeat_rel=repeat_rel, noise_peak=self._noise_peak(),
            pulse_s=self._pulse_s(),
        )  # fmt: skip

    def _bright_repeats(self) -> list[Taken]:
        """The same light again and again, well up a range."""
        last = len(self.identity.ranges) - 1
        return self.of("repeat") or self.of(f"overlap-{last - 1}-{last}")

    def _noise_peak(self) -> tuple[float, float] | None:
        pops = self.of("faint") or self._bright_repeats()
        peaks = [peak_raw_of(t.measurement, self.calibration) or 0.0 for t in pops]
        if not any(peaks):
            return None
        stated = fmean(t.measurement.u_rel * p for t, p in zip(pops, peaks, strict=True))
        if len(pops) < 4:
            return stated, stated
        seen = repeatability([raw_of(t.measurement, self.calibration) for t in pops])
        # u_mean · √n is one pop's spread, widened for few readings; the lamp's own spread is in it too.
        spread = seen.u_mean * math.sqrt(seen.readings) / seen.mean
        return min(stated, spread * fmean(peaks)), stated

    def _pulse_s(self) -> float | None:
        pops = [t.measurement for t in self._bright_repeats()]
        found = [m.exposure_lxs / m.peak_lx for m in pops if m.exposure_lxs and m.peak_lx]
        return fmean(found) if found else None

    def _repeat_rel(self) -> float | None:
        raws = [raw_of(t.measurement, self.calibration) for t in self._bright_repeats()]
        if len(raws) < 2:
            return None
        free = len(raws) - 1
        return math.sqrt((free * (stdev(raws) / fmean(raws)) ** 2 + PRIOR_REPEATS * U_POP_REL**2) / (free + PRIOR_REPEATS))

    def _pair(self, taken: Taken, u_reading_rel: float, repeat_rel: float | None) -> Pair:
        m = taken.measurement
        flicker = (repeat_rel or U_POP_REL) if m.kind == "flash" else 0.0
        light = self.light_of(taken)
        if light is None:
            raise CalibrationError("{task}: the reference's reading is missing; give it with the pair", task=taken.task.title)
        return Pair(
            kind=m.kind, range_index=m.range_index, raw=raw_of(m, self.calibration), u_raw_rel=math.hypot(m.u_rel, flicker),
            light=light, u_light_rel=math.hypot(u_reading_rel, U_AGAIN_REL), label=str(taken.task.title),
            peak_raw=peak_raw_of(m, self.calibration),
        )  # fmt: skip

    def _overlaps(self, repeat_rel: float | None) -> tuple[Overlap, ...]:
        found = []
        for i in range(len(self.identity.ranges) - 1):
            a, b = self.of(f"overlap-{i}-{i}"), self.of(f"overlap-{i}-{i + 1}")
            if not (a and b):
                continue
            (raw_a, u_a), (raw_b, u_b) = (mean_of([t.measurement for t in g], self.calibration) for g in (a, b))
            if a[0].measurement.kind == "steady":
                darks = darks_of(self)
                raw_a, raw_b = raw_a - darks[i].raw, raw_b - darks[i + 1].raw
            if raw_a <= 0 or raw_b <= 0:
                raise CalibrationError("the overlap light is not above the dark: take it brighter, on both ranges")
            least = (repeat_rel or U_POP_REL) * math.sqrt(1 / len(a) + 1 / len(b))
            found.append(Overlap(i, i + 1, raw_a / raw_b, max(math.hypot(u_a, u_b), least)))
        return tuple(found)

    def result(
        self, u_reference_reading_rel: float = 0.02, temperature_c: float | None = None, created_at_s: float = 0.0, **against: Any
    ) -> Scaled:
        """Make the calibration; the angular response of the one that the walk began with is kept.

        ``against``: the reference, as ``calibrate_scale`` takes it.  Raises CalibrationError: as that.
        """
        evidence = self.evidence(u_reference_reading_rel, temperature_c)
        if self.relative:
            return calibrate_relative(evidence, self.previous, created_at_s=created_at_s)
        return calibrate_scale(evidence, self.previous, created_at_s=created_at_s, **against)
