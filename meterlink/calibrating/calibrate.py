"""The walks of ``meterlink calibrate`` and what becomes of them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlink.calibrating import cautions
from meterlink.calibrating.evidence import Dark, Evidence, Overlap, Pair, bare, full_raw_of, mean_of, peak_raw_of, raw_of
from meterlink.calibrating.procedure import Procedure, Taken, Task
from meterlink.calibrating.scale import Scaled, calibrate_relative, calibrate_scale
from meterlink.errors import CalibrationError
from meterlink.model import Calibration, Identity, new_id
from meterlink.photometry.angle import LARGEST_ANGLE_DEG, AngleFit, fit_response

ANGLES_DEG = {
    "dome": (0.0, 30.0, 60.0, 90.0, 120.0, -30.0, -60.0, -90.0, -120.0, 0.0),
    "flat": (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, -15.0, -30.0, -45.0, -60.0, -75.0, 0.0),
}
"""Both sides, so that the zero of the turntable comes out of the fit; the axis first and last, to show drift."""
U_ANGLE_DEG = 1.0
"""Standard uncertainty of an angle set with a protractor."""
U_POP_REL = 0.01
"""Least relative uncertainty given to one pop: studio flash repeats to about this (common practice)."""
FLASH_LEVELS = 4


def dark_tasks(identity: Identity, count: int = 3) -> list[Task]:
    """Cap on, every range."""
    return [
        Task(
            f"dark-{i}",
            f"dark, range {name}",
            "Put the opaque cap over the dome and wait for the figure to settle.",
            "steady",
            count,
            i,
            dark=True,
        )
        for i, name in enumerate(identity.ranges)
    ]


def overlap_tasks(identity: Identity, count: int = 3) -> list[Task]:
    """The same light on each range and its neighbour; the sensitive one first, since it says how bright it may be."""
    kind = "flash" if identity.flash else "steady"
    what = "pop" if kind == "flash" else "lamp"
    tasks: list[Task] = []
    for i in range(len(identity.ranges) - 1):
        text = f"One {what}, not touched between the two ranges, that nearly fills range {identity.ranges[i + 1]}."
        tasks += [
            Task(f"overlap-{i}-{i + 1}", f"overlap on range {identity.ranges[i + 1]}", text, kind, count, i + 1,
                 fill=(0.6, 0.95)),
            Task(f"overlap-{i}-{i}", f"overlap on range {identity.ranges[i]}", text, kind, count, i),
        ]  # fmt: skip
    return tasks


def pair_tasks(identity: Identity, levels: int = 5, kinds: Sequence[str] = ()) -> list[Task]:
    """Pairs with a reference on every range, steady and flash, from bright to dim."""
    tasks: list[Task] = []
    for kind in kinds or (("steady", "flash") if identity.flash else ("steady",)):
        for i, name in enumerate(identity.ranges):
            for level in range(levels):
                text = (
                    "Reference and dome at the very same place, one after the other, aimed at the light. Start bright, "
                    "about 80 % of the range, and come down a stop each time (power, not only distance)."
                )
                title = f"{kind} pair {level + 1} of {levels}, range {name}"
                name_of, fill = f"pair-{kind}-{i}-{level}", (0.6, 0.95) if level == 0 else None
                # Below a tenth of the range the steps of 8 bits are too coarse to carry a calibration.
                if kind == "flash" and level >= FLASH_LEVELS:
                    continue
                tasks.append(Task(name_of, title, text, kind, 1, i, "reference", fill=fill))
    return tasks


def repeat_task(identity: Identity, count: int = 8) -> Task:
    """The same pop again and again."""
    kind = "flash" if identity.flash else "steady"
    return Task("repeat", "repeats", "Nothing moves: the same light again and again.", kind, count)


class ScaleWalk(Procedure):
    """``meterlink calibrate``: dark, repeats, overlap, pairs with a reference.

    The sensor must measure with ``walk.calibration``, which is the one given with a dark of 0.
    """

    def __init__(self, identity: Identity, calibration: Calibration, *, levels: int = 5, relative: bool = False) -> None:
        tasks = [*dark_tasks(identity), repeat_task(identity), *overlap_tasks(identity)]
        if not relative:
            tasks += pair_tasks(identity, levels)
        super().__init__(identity, bare(calibration), [_with_caution(t) for t in tasks], expected=calibration)
        self.previous = calibration
        self.relative = relative

    def evidence(self, u_reference_reading_rel: float = 0.0, temperature_c: float | None = None) -> Evidence:
        """Return what was collected; the typed value of a pair is the reference's light in lx or lx·s."""
        repeat_rel = self._repeat_rel()
        pairs = tuple(self._pair(t, u_reference_reading_rel, repeat_rel) for t in self.group("pair"))
        return Evidence(
            sensor_id=self.identity.sensor_id,
            receptor=self.calibration.receptor,
            range_names=self.identity.ranges,
            pairs=pairs,
            darks=tuple(self._dark(i) for i in range(len(self.identity.ranges)) if self.of(f"dark-{i}")),
            overlaps=self._overlaps(repeat_rel),
            repeat_rel=repeat_rel,
            temperature_c=temperature_c,
            noise_peak=self._noise_peak(),
            full_raw=full_raw_of(self.identity),
        )

    def _noise_peak(self) -> float | None:
        pops = [(t.measurement.u_rel, peak_raw_of(t.measurement, self.calibration)) for t in self.of("repeat")]
        found = [u * peak for u, peak in pops if peak]
        return sum(found) / len(found) if found else None

    def result(
        self,
        *,
        reference: str = "",
        u_reference_rel: float = 0.05,
        u_reference_reading_rel: float = 0.02,
        temperature_c: float | None = None,
        created_at_s: float = 0.0,
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
            created_at_s=created_at_s,
            nominal=self.previous,
        )

    def _repeat_rel(self) -> float | None:
        raws = [raw_of(t.measurement, self.calibration) for t in self.of("repeat")]
        if len(raws) < 2:
            return None
        mean = math.fsum(raws) / len(raws)
        return math.sqrt(math.fsum((r - mean) ** 2 for r in raws) / (len(raws) - 1)) / mean

    def _dark(self, index: int) -> Dark:
        raws = [raw_of(t.measurement, self.calibration) for t in self.of(f"dark-{index}")]
        mean = math.fsum(raws) / len(raws)
        spread = math.sqrt(math.fsum((r - mean) ** 2 for r in raws) / max(1, len(raws) - 1))
        # One code of the converter, rectangular, bounds what averaging can promise of the zero.
        code = 2.0 ** -(self.identity.adc_bits or 16)
        step = code * full_raw_of(self.identity)
        return Dark(index, mean, max(spread / math.sqrt(len(raws)), step / math.sqrt(12)))

    def _pair(self, taken: Taken, u_reading_rel: float, repeat_rel: float | None) -> Pair:
        m = taken.measurement
        flicker = (repeat_rel or U_POP_REL) if m.kind == "flash" else 0.0
        if taken.value is None:
            raise CalibrationError(f"{taken.task.title}: the reference's reading is missing; give it with the pair")
        return Pair(
            kind=m.kind,
            range_index=m.range_index,
            raw=raw_of(m, self.calibration),
            u_raw_rel=math.hypot(m.u_rel, flicker),
            light=taken.value,
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
                raw_a, raw_b = raw_a - self._dark(i).raw, raw_b - self._dark(i + 1).raw
            if raw_a <= 0 or raw_b <= 0:
                raise CalibrationError("the overlap light is not above the dark: take it brighter, on both ranges")
            least = (repeat_rel or U_POP_REL) * math.sqrt(1 / len(a) + 1 / len(b))
            found.append(Overlap(i, i + 1, raw_a / raw_b, max(math.hypot(u_a, u_b), least)))
        return tuple(found)


class AngleWalk(Procedure):
    """``meterlink calibrate angle``: one lamp, the sensor turned on a turntable."""

    def __init__(self, identity: Identity, calibration: Calibration, angles_deg: Sequence[float] = ()) -> None:
        kind = "flash" if identity.flash else "steady"
        angles = list(angles_deg) or list(ANGLES_DEG[calibration.receptor])
        largest = LARGEST_ANGLE_DEG[calibration.receptor]
        if any(abs(a) > largest for a in angles):
            raise CalibrationError(f"a {calibration.receptor} receptor is tested up to {largest:g} degrees: leave the rest")
        seen: dict[float, int] = {}
        tasks = []
        for angle in angles:
            seen[angle] = seen.get(angle, 0) + 1
            again = " again" if seen[angle] > 1 else ""
            text = f"Turn the sensor so that the lamp stands {angle:+g} degrees off its axis; the dome stays in place."
            tasks.append(Task(f"angle-{angle:g}-{seen[angle]}", f"{angle:+g} degrees{again}", text, kind, 1, value=angle))
        super().__init__(identity, calibration, [_with_caution(t) for t in tasks])

    def fit(self, u_pop_rel: float | None = None) -> AngleFit:
        """Fit the response.

        Raises:
            CalibrationError: too few angles, or readings from which none follows.
        """
        repeat = self.calibration.details.get("repeat_rel")
        lights = [_light(t) for t in self.taken]
        return fit_angles(self.taken, lights, self.calibration.receptor, u_pop_rel or repeat or U_POP_REL)

    def result(self, created_at_s: float = 0.0) -> tuple[Calibration, AngleFit]:
        """Return a new calibration that is the present one with this angular response."""
        fit = self.fit()
        details = dict(self.calibration.details)
        details.pop("certificate", None)
        details["angle"] = {
            "error_index": fit.error_index,
            "zero_deg": fit.zero_deg,
            "u_rel": list(fit.u_rel),
            "error_stops": [list(e) for e in fit.error_stops],
        }
        calibration = self.calibration._replace(
            id=new_id(), created_at_s=created_at_s, angle_response=fit.response, details=details
        )
        return calibration, fit


def fit_angles(taken: Sequence[Taken], lights: Sequence[float], receptor: str, u_pop_rel: float) -> AngleFit:
    """Fit lights at the angles of their tasks; what a wrong angle does grows toward the side and is counted in.

    Raises:
        CalibrationError: readings from which no response follows.
    """
    angles = [float(t.value or 0.0) for t in taken]
    # d ln(response) / d angle of an ideal receptor: tan(z/2) for a dome, tan z for a flat one.
    u_angle = math.radians(U_ANGLE_DEG)
    us = []
    for t, angle in zip(taken, angles, strict=True):
        half = abs(math.radians(angle)) / (2 if receptor == "dome" else 1)
        us.append(math.hypot(u_pop_rel, t.measurement.u_rel, u_angle * math.tan(min(half, 1.45))))
    try:
        return fit_response(angles, lights, us, receptor)
    except ValueError as error:
        raise CalibrationError(f"no angular response follows: {error}") from None


def _light(taken: Taken) -> float:
    m = taken.measurement
    value = m.exposure_lxs if m.exposure_lxs is not None else m.illuminance_lx
    if value is None or value <= 0:
        raise CalibrationError(f"{taken.task.title}: no light was measured; take that angle again")
    return value


def _with_caution(task: Task) -> Task:
    return task._replace(caution=cautions.FLASH if task.kind == "flash" else "")
