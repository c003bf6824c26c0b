"""The walks of ``meterlink calibrate`` to a scale or a zero, and what becomes of them; the angle is ``turntable``'s."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlink.calibration import cautions
from meterlink.calibration.evidence import (
    Dark,
    Evidence,
    Overlap,
    Pair,
    bare,
    full_raw_of,
    guide_number_light,
    mean_of,
    peak_raw_of,
    raw_of,
    resolution_u_rel,
)
from meterlink.calibration.pair_fit import fit_range
from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale import Scaled, calibrate_relative, calibrate_scale, calibrate_zero
from meterlink.calibration.steps import (
    LEVELS,
    dark_tasks,
    faint_tasks,
    overlap_tasks,
    pair_tasks,
    repeat_task,
    with_caution,
)
from meterlink.errors import CalibrationError
from meterlink.photometry.calibration_fit import STOPS, repeatability
from meterlink.records import Calibration, Identity, Measurement

U_POP_REL = 0.01
"""Least relative uncertainty given to one pop: studio flash repeats to about this (common practice)."""
MORE_LEVELS = 3
ENOUGH_REL = 0.01
"""When the pairs of a range leave more (standard, relative) than this, more are asked for: 0.03 stop at k=2."""


def darks_of(walk: Procedure) -> tuple[Dark, ...]:
    """Return the darks that a walk has taken.

    One code of the converter, rectangular, bounds what averaging can promise of a zero.
    """
    step = 2.0 ** -(walk.identity.adc_bits or 16) * full_raw_of(walk.identity)
    found = []
    for index in range(len(walk.identity.ranges)):
        raws = [raw_of(t.measurement, walk.calibration) for t in walk.of(f"dark-{index}")]
        if raws:
            mean = math.fsum(raws) / len(raws)
            spread = math.sqrt(math.fsum((r - mean) ** 2 for r in raws) / max(1, len(raws) - 1))
            found.append(Dark(index, mean, max(spread / math.sqrt(len(raws)), step / math.sqrt(12))))
    return tuple(found)


def evidence_of(walk: Procedure, temperature_c: float | None) -> Evidence:
    """Return the darks of a walk as evidence."""
    return Evidence(
        sensor_id=walk.identity.sensor_id,
        receptor=walk.calibration.receptor,
        range_names=walk.identity.ranges,
        darks=darks_of(walk),
        temperature_c=temperature_c,
        full_raw=full_raw_of(walk.identity),
        ceilings=walk.ceilings(),
    )


class ScaleWalk(Procedure):
    """``meterlink calibrate``: dark, repeats, overlap, pairs with a reference.

    The sensor must measure with ``walk.calibration``, which is the one given with a dark of 0.
    """

    def __init__(
        self,
        identity: Identity,
        calibration: Calibration,
        *,
        levels: int = LEVELS,
        relative: bool = False,
        resolution_stops: float = 0.1,
    ) -> None:
        """Start a walk with so many pairs a range and kind; ``resolution_stops`` are the steps of the reference's display."""
        tasks = [*dark_tasks(identity), repeat_task(identity), *faint_tasks(identity), *overlap_tasks(identity)]
        if not relative:
            tasks += pair_tasks(identity, range(levels), resolution_stops)
        super().__init__(identity, bare(calibration), [with_caution(t) for t in tasks], expected=calibration)
        self.previous = calibration
        self.relative = relative
        self.resolution_stops = resolution_stops
        self._levels, self._may_extend = levels, not relative

    def take(self, measurement: Measurement, value: float | None = None) -> str:
        """As ``Procedure.take``; once, when the last pair leaves a range known too little, more pairs are asked for."""
        said = super().take(measurement, value)
        if self.task is not None or not self._may_extend:
            return said
        try:
            wanting = self._wanting()
        except CalibrationError:
            return said  # a pair that is to be taken again comes first
        self._may_extend = False
        levels = range(self._levels, self._levels + MORE_LEVELS)
        more = [t for t in pair_tasks(self.identity, levels, self.resolution_stops) if t.range_index in wanting]
        more = [with_caution(t) for t in more]
        if not more:
            return said
        self.tasks += more
        return f"{said}; these pairs leave {max(wanting.values()):.2f} stop (k=2), so a few more, please"

    def _wanting(self) -> dict[int, float]:
        """Ranges whose pairs leave more than ``ENOUGH_REL``, and how much in stops at k=2; refuses as ``fit_range``."""
        evidence = self.evidence(resolution_u_rel(self.resolution_stops))
        found = {}
        for dark in evidence.darks:
            pairs = [p for p in evidence.pairs if p.range_index == dark.range_index]
            u = fit_range(pairs, dark, evidence.range_names[dark.range_index], evidence.full_raw).u_log_scale
            if u > ENOUGH_REL:
                found[dark.range_index] = 2 * u * STOPS
        return found

    def light_of(self, taken: Taken) -> float | None:
        """What the reference says of a pair, in lx or lx·s: the typed value."""
        return taken.value

    def evidence(self, u_reference_reading_rel: float = 0.0, temperature_c: float | None = None) -> Evidence:
        """Return what was collected; the typed value of a pair is the reference's light in lx or lx·s."""
        repeat_rel = self._repeat_rel()
        pairs = tuple(self._pair(t, u_reference_reading_rel, repeat_rel) for t in self.group("pair"))
        return evidence_of(self, temperature_c)._replace(
            pairs=pairs,
            overlaps=self._overlaps(repeat_rel),
            repeat_rel=repeat_rel,
            noise_peak=self._noise_peak(),
            pulse_s=self._pulse_s(),
        )

    def _noise_peak(self) -> tuple[float, float] | None:
        pops = self.of("faint") or self.of("repeat")
        peaks = [peak_raw_of(t.measurement, self.calibration) or 0.0 for t in pops]
        if not any(peaks):
            return None
        stated = math.fsum(t.measurement.u_rel * p for t, p in zip(pops, peaks, strict=True)) / len(pops)
        if len(pops) < 4:
            return stated, stated
        seen = repeatability([raw_of(t.measurement, self.calibration) for t in pops])
        # u_mean · √n is one pop's spread, widened for few readings; the lamp's own spread is in it too.
        spread = seen.u_mean * math.sqrt(seen.readings) / seen.mean
        return min(stated, spread * math.fsum(peaks) / len(peaks)), stated

    def _pulse_s(self) -> float | None:
        pops = [t.measurement for t in self.of("repeat")]
        found = [m.exposure_lxs / m.peak_lx for m in pops if m.exposure_lxs and m.peak_lx]
        return math.fsum(found) / len(found) if found else None

    def result(
        self,
        *,
        reference: str = "",
        u_reference_rel: float = 0.05,
        u_reference_reading_rel: float = 0.02,
        temperature_c: float | None = None,
        created_at_s: float = 0.0,
        method: str = "reference",
    ) -> Scaled:
        """Make the calibration; the angular response of the one that the walk began with is kept.

        Raises:
            CalibrationError: as ``calibrate_scale``.
        """
        evidence = self.evidence(u_reference_reading_rel, temperature_c)
        if self.relative:
            return calibrate_relative(evidence, self.previous, created_at_s=created_at_s)
        return calibrate_scale(
            evidence,
            reference=reference,
            u_reference_rel=u_reference_rel,
            constant=self.calibration.constant,
            method=method,
            created_at_s=created_at_s,
            nominal=self.previous,
        )

    def _repeat_rel(self) -> float | None:
        raws = [raw_of(t.measurement, self.calibration) for t in self.of("repeat")]
        if len(raws) < 2:
            return None
        mean = math.fsum(raws) / len(raws)
        return math.sqrt(math.fsum((r - mean) ** 2 for r in raws) / (len(raws) - 1)) / mean

    def _pair(self, taken: Taken, u_reading_rel: float, repeat_rel: float | None) -> Pair:
        m = taken.measurement
        flicker = (repeat_rel or U_POP_REL) if m.kind == "flash" else 0.0
        light = self.light_of(taken)
        if light is None:
            raise CalibrationError(
                "{task}: the reference's reading is missing; give it with the pair",
                task=taken.task.title,
            )
        return Pair(
            kind=m.kind,
            range_index=m.range_index,
            raw=raw_of(m, self.calibration),
            u_raw_rel=math.hypot(m.u_rel, flicker),
            light=light,
            u_light_rel=u_reading_rel,
            label=taken.task.title,
            peak_raw=peak_raw_of(m, self.calibration),
        )

    def _overlaps(self, repeat_rel: float | None) -> tuple[Overlap, ...]:
        found = []
        for i in range(len(self.identity.ranges) - 1):
            a, b = self.of(f"overlap-{i}-{i}"), self.of(f"overlap-{i}-{i + 1}")
            if not (a and b):
                continue
            (raw_a, u_a), (raw_b, u_b) = (mean_of([t.measurement for t in g], self.calibration) for g in (a, b))
            if a[0].measurement.kind == "steady":
                raw_a, raw_b = raw_a - darks_of(self)[i].raw, raw_b - darks_of(self)[i + 1].raw
            if raw_a <= 0 or raw_b <= 0:
                raise CalibrationError("the overlap light is not above the dark: take it brighter, on both ranges")
            least = (repeat_rel or U_POP_REL) * math.sqrt(1 / len(a) + 1 / len(b))
            found.append(Overlap(i, i + 1, raw_a / raw_b, max(math.hypot(u_a, u_b), least)))
        return tuple(found)


class ZeroWalk(Procedure):
    """``meterlink calibrate zero``: the dark of every range, nothing else."""

    def __init__(self, identity: Identity, calibration: Calibration) -> None:
        super().__init__(identity, bare(calibration), dark_tasks(identity, 5), expected=calibration)
        self.previous = calibration

    def result(self, created_at_s: float = 0.0) -> Calibration:
        """Return the calibration in force with a new zero.  Raises CalibrationError when the dark is none."""
        return calibrate_zero(evidence_of(self, None), self.previous, created_at_s=created_at_s)


class GuideWalk(ScaleWalk):
    """``meterlink calibrate --guide-number``: dark, repeats, overlap, and a known flash at two distances."""

    def __init__(
        self, identity: Identity, calibration: Calibration, guide_number_m: float, distances_m: Sequence[float], range_index: int
    ) -> None:
        if not identity.flash:
            raise CalibrationError("a guide number is one of flash, and this sensor cannot see a pop: use a reference")
        super().__init__(identity, calibration, relative=True)
        self.relative, self._may_extend = False, False
        self.guide_number_m = guide_number_m
        for i, d in enumerate(distances_m):
            text = f"The known flash at full power and its stated zoom, dome on its axis at {d:g} m, dark walls."
            self.tasks.append(
                Task(f"pair-flash-{range_index}-{i}", f"flash at {d:g} m", text, "flash", 2, range_index, value=d,
                     caution=cautions.FLASH)
            )  # fmt: skip

    def light_of(self, taken: Taken) -> float | None:
        """N = GN / d, at ISO 100."""
        return guide_number_light(
            calibration_constant=self.calibration.constant,
            guide_number_m=self.guide_number_m,
            distance_m=taken.value or 0.0,
        )[0]
