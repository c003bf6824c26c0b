"""What walks have in common as evidence, and the walks to a zero and to an angular response; the scale is ``scale_walk``'s."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, stdev

from meterlink.calibration.evidence import Dark, Evidence, full_raw_of, raw_of
from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale import calibrate_zero, claiming
from meterlink.calibration.steps import dark_tasks, with_caution
from meterlink.errors import CalibrationError
from meterlink.photometry.angle import AngleFit, fit_response
from meterlink.records import Calibration, Identity
from meterlink.words.told import told

U_POP_REL = 0.01
"""Least relative uncertainty given to one pop: studio flash repeats to about this (common practice)."""
ANGLES_DEG = {
    "dome": (0.0, 30.0, 60.0, 90.0, 120.0, -30.0, -60.0, -90.0, -120.0, 0.0),
    "flat": (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, -15.0, -30.0, -45.0, -60.0, -75.0, 0.0),
}
"""Both sides, so that the zero of the turntable comes out of the fit; the axis first and last, to show drift."""
U_ANGLE_DEG = 1.0
"""Standard uncertainty of an angle set with a protractor."""


def darks_of(walk: Procedure) -> tuple[Dark, ...]:
    """Return the darks that a walk has taken.

    One code of the converter, rectangular, bounds what averaging can promise of a zero.
    """
    step = 2.0 ** -(walk.identity.adc_bits or 16) * full_raw_of(walk.identity)
    found = []
    for index in range(len(walk.identity.ranges)):
        raws = [raw_of(t.measurement, walk.calibration) for t in walk.of(f"dark-{index}")]
        if raws:
            spread = stdev(raws) if len(raws) > 1 else 0.0
            found.append(Dark(index, fmean(raws), max(spread / math.sqrt(len(raws)), step / math.sqrt(12))))
    return tuple(found)


def evidence_of(walk: Procedure, temperature_c: float | None) -> Evidence:
    """Return the darks of a walk as evidence."""
    return Evidence(
        range_names=walk.identity.ranges, darks=darks_of(walk), temperature_c=temperature_c,
        full_raw=full_raw_of(walk.identity), ceilings=walk.ceilings(),
    )  # fmt: skip


class ZeroWalk(Procedure):
    """``meterlink calibrate zero``: the dark of every range, nothing else."""

    def __init__(self, identity: Identity, calibration: Calibration) -> None:
        super().__init__(identity, calibration, dark_tasks(identity, 5), with_dark=True)
        self.previous = calibration

    def result(self, created_at_s: float = 0.0) -> Calibration:
        """Return the calibration in force with a new zero.  Raises CalibrationError when the dark is none."""
        return calibrate_zero(evidence_of(self, None), self.previous, created_at_s=created_at_s)


class AngleWalk(Procedure):
    """``meterlink calibrate angle``: one lamp, the sensor turned on a turntable."""

    def __init__(self, identity: Identity, calibration: Calibration) -> None:
        kind, angles = "flash" if identity.flash else "steady", ANGLES_DEG[calibration.receptor]
        tasks = []
        for i, angle in enumerate(angles):
            before = angles[:i].count(angle)
            title = told("angle_again" if before else "angle_step", angle=angle)
            tasks.append(Task(f"angle-{angle:g}-{before + 1}", title, told("do_turn", angle=angle), kind, 1, value=angle))
        super().__init__(identity, calibration, [with_caution(t) for t in tasks])

    def result(self, created_at_s: float = 0.0) -> tuple[Calibration, AngleFit]:
        """Return a new calibration that is the present one with this angular response.

        Raises CalibrationError: too few angles, or readings from which none follows.
        """
        u_pop_rel = self.calibration.details.get("repeat_rel") or U_POP_REL
        fit = fit_angles(self.taken, [_light(t) for t in self.taken], self.calibration.receptor, u_pop_rel)
        angle = {
            "error_index": fit.error_index, "zero_deg": fit.zero_deg, "u_rel": list(fit.u_rel),
            "error_stops": [list(e) for e in fit.error_stops],
        }  # fmt: skip
        details = {**self.calibration.details, "angle": angle}
        return claiming(self.calibration._replace(angle_response=fit.response, details=details), created_at_s), fit


def fit_angles(taken: Sequence[Taken], lights: Sequence[float], receptor: str, u_pop_rel: float) -> AngleFit:
    """Fit lights at the angles of their tasks; what a wrong angle does grows toward the side and is counted in.

    Raises CalibrationError: readings from which no response follows.
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
        raise CalibrationError("no angular response follows: {error}", error=error) from None


def _light(taken: Taken) -> float:
    m = taken.measurement
    value = m.exposure_lxs if m.exposure_lxs is not None else m.illuminance_lx
    if value is None or value <= 0:
        raise CalibrationError("{task}: no light was measured; take that angle again", task=taken.task.title)
    return value
