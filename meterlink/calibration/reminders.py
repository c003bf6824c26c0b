"""When a calibration is old, belongs to something else, or says less than one might think."""

from __future__ import annotations

import math
import time

from meterlink.calibration import camera
from meterlink.records import Calibration, Identity
from meterlink.records.kept import BORROWED_FROM
from meterlink.words.actions import Do
from meterlink.words.told import Told, told

OLD_S = 365 * 86_400.0
"""A year: what makers of meters ask for (common practice, no published source)."""
TEMPERATURE_GAP_C = 15.0
"""A silicon photodiode's current changes by about 0.05 to 0.2 % a kelvin: 15 K is up to 0.04 stop."""


def off_stops(calibration: Calibration) -> float:
    """How far the absolute scale may be off, in stops at k=2."""
    return 2 * calibration.u_scale_rel / math.log(2)


def in_use(calibration: Calibration) -> Told:
    """Say which calibration is used: ``calibration 0192ab34, dome, 2026-11-02, against "my meter": f-numbers ± 0.06 stop``."""
    made = {
        "id": calibration.id[:8], "receptor": calibration.receptor, "off": off_stops(calibration), "constant": calibration.constant,
        "date": time.strftime("%Y-%m-%d", time.gmtime(calibration.created_at_s)), "reference": calibration.reference,
    }  # fmt: skip
    if calibration.details.get(BORROWED_FROM):
        return told("used_borrowed", **made)
    if calibration.method == "assumed":
        return told("used_assumed", **made)
    if calibration.relative:
        return told("used_relative", **made)
    if calibration.method == camera.METHOD:
        return told("used_camera", **made)
    return told("used_reference" if calibration.reference else "used", **made)


def reminders(
    calibration: Calibration | None,
    identity: Identity,
    now_s: float,
    *,
    receptor: str | None = None,
    temperature_c: float | None = None,
    angle: bool = True,
) -> tuple[Told, ...]:
    """Return what the photographer should know before trusting a reading, most serious first; empty when all is well.

    ``receptor`` is what is mounted, ``temperature_c`` the room's; both only when known.  ``angle``: whether an angular
    response that was never tested is worth a word each time.
    """
    if calibration is not None and calibration.details.get(BORROWED_FROM):
        borrowed = calibration.receptor
        do = Do("calibrate_receptor", receptor=borrowed)
        return (told("never_with", receptor=borrowed, off=off_stops(calibration), do=do),)
    if calibration is None or calibration.method == "assumed":
        return (told("not_calibrated", do=Do("calibrate")),)
    said = []
    if calibration.sensor_id != identity.sensor_id:
        said.append(told("of_another"))
    names = calibration.details.get("range_names")
    if len(calibration.ranges) != len(identity.ranges) or (names and list(names) != list(identity.ranges)):
        said.append(told("ranges_changed"))
    if receptor is not None and receptor != calibration.receptor:
        said.append(told("receptor_changed", made=calibration.receptor, receptor=receptor))
    if calibration.relative:
        said.append(told("relative_only"))
    age_s = now_s - calibration.created_at_s
    if age_s > OLD_S:
        said.append(told("old", days=age_s / 86_400))
    elif age_s < -86_400:
        said.append(told("in_the_future"))
    before_c = calibration.temperature_c
    if temperature_c is not None and before_c is not None and abs(temperature_c - before_c) > TEMPERATURE_GAP_C:
        said.append(told("other_warmth", before=before_c, now=temperature_c))
    if angle and not calibration.angle_response:
        said.append(told("no_angle", do=Do("calibrate_angle")))
    return tuple(said)
