"""When a calibration is old, belongs to something else, or says less than one might think."""

from __future__ import annotations

from meterlink.records import Calibration, Identity

OLD_S = 365 * 86_400.0
"""A year: what makers of meters ask for (common practice, no published source)."""
TEMPERATURE_GAP_C = 15.0
"""A silicon photodiode's current changes by about 0.05 to 0.2 % a kelvin: 15 K is up to 0.04 stop."""


def reminders(
    calibration: Calibration | None,
    identity: Identity,
    now_s: float,
    *,
    receptor: str | None = None,
    temperature_c: float | None = None,
    old_s: float = OLD_S,
) -> tuple[str, ...]:
    """Return what the photographer should know before trusting a reading, most serious first; empty when all is well.

    ``receptor`` is what is mounted, ``temperature_c`` the room's; both only when known.
    """
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
    if not calibration.angle_response:
        said.append("angular response never tested: lights from the side may read wrong; 'meterlink calibrate angle'")
    return tuple(said)
