"""When a calibration is old, belongs to something else, or says less than one might think."""

from __future__ import annotations

import math
import time

from meterlink.calibration import camera
from meterlink.records import Calibration, Identity
from meterlink.records.kept import BORROWED_FROM
from meterlink.words.actions import Do
from meterlink.words.language import say

OLD_S = 365 * 86_400.0
"""A year: what makers of meters ask for (common practice, no published source)."""
TEMPERATURE_GAP_C = 15.0
"""A silicon photodiode's current changes by about 0.05 to 0.2 % a kelvin: 15 K is up to 0.04 stop."""


def off_stops(calibration: Calibration) -> float:
    """How far the absolute scale may be off, in stops at k=2."""
    return 2 * calibration.u_scale_rel / math.log(2)


def in_use(calibration: Calibration) -> str:
    """Say which calibration is used: ``calibration 0192ab34, dome, 2026-11-02, against "my meter": f-numbers ± 0.06 stop``."""
    off, receptor = off_stops(calibration), calibration.receptor
    if calibration.details.get(BORROWED_FROM):
        return say("calibration: none with the {receptor} receptor; f-numbers ± {off:.1f} stop", receptor=receptor, off=off)
    if calibration.method == "assumed":
        return say(
            "calibration: none, the design's values with the {receptor} receptor (C = {constant:g} lx)",
            receptor=receptor, constant=calibration.constant,
        )  # fmt: skip
    made = {"id": calibration.id[:8], "receptor": receptor, "date": _date(calibration.created_at_s), "off": off}
    if calibration.relative:
        return say("calibration {id}, {receptor}, {date}, without a reference: ratios only", **made)
    if calibration.method == camera.METHOD:
        return say(
            'calibration {id}, {receptor}, {date}: right for "{reference}", f-numbers ± {off:.1f} stop with another camera',
            reference=calibration.reference, **made,
        )  # fmt: skip
    if calibration.reference:
        return say(
            'calibration {id}, {receptor}, {date}, against "{reference}": f-numbers ± {off:.2f} stop',
            reference=calibration.reference, **made,
        )  # fmt: skip
    return say("calibration {id}, {receptor}, {date}: f-numbers ± {off:.2f} stop", **made)


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
            say(
                "never calibrated with the {receptor} receptor: the other receptor's ranges are used, f-numbers may be {off:.1f} "
                "stop off: {do}",
                receptor=calibration.receptor, off=off_stops(calibration),
                do=Do("calibrate_receptor", receptor=calibration.receptor),
            ),
        )  # fmt: skip
    if calibration is None or calibration.method == "assumed":
        return (say("not calibrated: design values are used, f-numbers may be half a stop off: {do}", do=Do("calibrate")),)
    said = []
    if calibration.sensor_id != identity.sensor_id:
        said.append(say("the calibration belongs to another sensor: choose this one's own or calibrate it"))
    names = calibration.details.get("range_names")
    if len(calibration.ranges) != len(identity.ranges) or (names and list(names) != list(identity.ranges)):
        said.append(say("the sensor's ranges have changed since it was calibrated: calibrate it again"))
    if receptor is not None and receptor != calibration.receptor:
        said.append(
            say(
                "calibrated with the {made}, now the {receptor} is mounted: use its own calibration",
                made=calibration.receptor, receptor=receptor,
            )
        )  # fmt: skip
    if calibration.relative:
        said.append(say("relative calibration: ratios are right, f-numbers are not absolute"))
    age_s = now_s - calibration.created_at_s
    if age_s > old_s:
        said.append(
            say("calibrated {days:.0f} days ago: calibrate again, or check one pair against the reference", days=age_s / 86_400)
        )
    elif age_s < -86_400:
        said.append(say("calibrated in the future by this clock: set the clock right"))
    before_c = calibration.temperature_c
    if temperature_c is not None and before_c is not None and abs(temperature_c - before_c) > TEMPERATURE_GAP_C:
        said.append(
            say("calibrated at {before:.0f} °C, now {now:.0f} °C: check the dark again", before=before_c, now=temperature_c)
        )
    if angle and not calibration.angle_response:
        said.append(say("angular response never tested, lights from the side may read wrong: {do}", do=Do("calibrate_angle")))
    return tuple(said)
