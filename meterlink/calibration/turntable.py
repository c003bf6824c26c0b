"""``meterlink calibrate angle``: one lamp, the sensor turned on a turntable, and the response fitted to it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlink.calibration.calibrate import U_POP_REL
from meterlink.calibration.procedure import Procedure, Taken, Task
from meterlink.calibration.scale import claiming
from meterlink.calibration.steps import with_caution
from meterlink.errors import CalibrationError
from meterlink.photometry.angle import AngleFit, fit_response
from meterlink.records import Calibration, Identity
from meterlink.words.told import told

ANGLES_DEG = {
    "dome": (0.0, 30.0, 60.0, 90.0, 120.0, -30.0, -60.0, -90.0, -120.0, 0.0),
    "flat": (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, -15.0, -30.0, -45.0, -60.0, -75.0, 0.0),
}
"""Both sides, so that the zero of the turntable comes out of the fit; the axis first and last, to show drift."""
U_ANGLE_DEG = 1.0
"""Standard uncertainty of an angle set with a protractor."""


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
