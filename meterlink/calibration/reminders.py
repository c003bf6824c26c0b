"""When a calibration is old, belongs to something else, or says less than one might think."""

from __future__ import annotations

import math
import time

from meterlink.calibration import camera
from meterlink.records import Calibration, Identity
from meterlink.records.kept import BORROWED_FROM

OLD_S = 365 * 86_400.0
"""A year: what makers of meters ask for (common practice, no published source)."""
TEMPERATURE_GAP_C = 15.0
"""A silicon photodiode's current changes by about 0.05 to 0.2 % a kelvin: 15 K is up to 0.04 stop."""


def off_stops(calibration: Calibration) -> float:
    """How far the absolute scale may be off, in stops at k=2."""
    return 2 * calibration.u_scale_rel / math.log(2)


def in_use(calibration: Calibration) -> str:
    """Say which calibration is used: ``calibration 0192ab34, dome, 2026-11-02, against "my meter": f-numbers ± 0.06 stop``."""
    if calibration.details.get(BORROWED_FROM):
        return f"calibration: none with the {calibration.receptor} receptor; f-numbers ± {off_stops(calibration):.1f} stop"
    if calibration.method == "assumed":
        return f"calibration: none, the design's values with the {calibration.receptor} receptor (C = {calibration.constant:g} lx)"
    made = f"calibration {calibration.id[:8]}, {calibration.receptor}, {_date(calibration.created_at_s)}"
    if calibration.relative:
        return f"{made}, without a reference: ratios only"
    if calibration.method == camera.METHOD:
        return f'{made}: right for "{calibration.reference}", f-numbers ± {off_stops(calibration):.1f} stop with another camera'
    against = f', against "{calibration.reference}"' if calibration.reference else ""
    return f"{made}{against}: f-numbers ± {off_stops(calibration):.2f} stop"


def _date(at_s: float) -> str:
    return time.strftime("%Y-%m-%d", time.gmtime(at_s))


def reminders(
    calibration: Calibration | None,
    identity: Identity,
    now_s: float,
    *,
    receptor: str | None = None,
    temperature_c: float | None = None,
    old_s: float = OLD_S,
    angle: bool = True,
) -> tuple[str, ...]:
    """Return what the photographer should know before trusting a reading, most serious first; empty when all is well.

    ``receptor`` is what is mounted, ``temperature_c`` the room's; both only when known.  ``angle``: whether an angular
    response that was never tested is worth a word each time.
    """
    if calibration is not None and calibration.details.get(BORROWED_FROM):
        return (
            f"never calibrated with the {calibration.receptor} receptor: the other receptor's ranges are used, f-numbers may be "
            f"{off_stops(calibration):.1f} stop off; run 'meterlink calibrate --receptor {calibration.receptor}'",
        )
    if calibration is None or calibration.method == "assumed":
        return ("not calibrated: design values are used, f-numbers may be half a stop off; run 'meterlink calibrate'",)
    said = []
    if calibration.sensor_id != identity.sensor_id:
        said.append("the calibration belongs to another sensor: choose this one's own or calibrate it")
    names = calibration.details.get("range_names")
    if len(calibration.ranges) != len(identity.ranges) or (names and list(names) != list(identity.ranges)):
        said.append("the sensor's ranges have changed since it was calibrated: calibrate it again")
    if receptor is not None and receptor != calibration.receptor:
        said.append(f"calibrated with the {calibration.receptor}, now the {receptor} is mounted: use its own calibration")
    if calibration.relative:
        said.append("relative calibration: ratios are right, f-numbers are not absolute")
    age_s = now_s - calibration.created_at_s
    if age_s > old_s:
        said.append(f"calibrated {age_s / 86_400:.0f} days ago: calibrate again, or check one pair against the reference")
    elif age_s < -86_400:
        said.append("calibrated in the future by this clock: set the clock right")
    if (
        temperature_c is not None
        and calibration.temperature_c is not None
        and abs(temperature_c - calibration.temperature_c) > TEMPERATURE_GAP_C
    ):
        said.append(f"calibrated at {calibration.temperature_c:.0f} °C, now {temperature_c:.0f} °C: check the dark again")
    if angle and not calibration.angle_response:
        said.append("angular response never tested: lights from the side may read wrong; 'meterlink calibrate angle'")
    return tuple(said)
