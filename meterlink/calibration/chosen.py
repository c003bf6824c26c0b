"""Which calibration a sensor's readings are made with, and when it is old, or says less than one might think.

It is that of the sensor *and* the receptor that is mounted.  Dome and disk let through different parts of the light and have
different C, so a calibration with the one says little of the other.  Where only the other was calibrated, its ranges and darks (the
same diode and amplifier) are borrowed and the scale is stated as wide as a change of receptor can make it.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence

from meterlink.calibration import camera
from meterlink.photometry.exposure import CONSTANT_START_LX
from meterlink.records import Calibration, Identity
from meterlink.records.kept import BORROWED_FROM, OTHER_RECEPTOR_U_STOPS
from meterlink.sensor.measuring.calibrate import REFERENCE_KEY, default_calibration
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


def choose(known: Sequence[Calibration], identity: Identity, receptor: str = "") -> Calibration:
    """Return the calibration to measure with.

    ``known``: the sensor's calibrations, oldest first; ``receptor``: ``dome`` or ``flat``, empty when it is not known: then the
    newest that was really made.  Returns one of ``known``, or a new record without an id (``""``), to be stored before it is used.
    """
    made = [c for c in known if c.method != "assumed"]
    fitting = [c for c in made if receptor in ("", c.receptor)]
    if fitting:
        return fitting[-1]
    assumed = _borrowed(made[-1], receptor) if made else default_calibration(identity, receptor or "dome")
    before = [
        c
        for c in known
        if c.method == "assumed"
        and (c.receptor, c.constant, len(c.ranges)) == (assumed.receptor, assumed.constant, len(assumed.ranges))
        and c.details.get(BORROWED_FROM) == assumed.details.get(BORROWED_FROM)
    ]
    return before[-1] if before else assumed._replace(id="")


def _borrowed(other: Calibration, receptor: str) -> Calibration:
    """What another receptor's calibration says of this one: ranges and darks, not the scale and not the angles."""
    kept = {key: other.details[key] for key in ("range_names", "full_raw", REFERENCE_KEY) if key in other.details}
    return other._replace(
        receptor=receptor,
        constant=CONSTANT_START_LX[receptor],
        u_scale_rel=math.hypot(other.u_scale_rel, OTHER_RECEPTOR_U_STOPS * math.log(2)),
        method="assumed",
        reference="",
        angle_response=(),
        details={**kept, BORROWED_FROM: other.id},
    )
