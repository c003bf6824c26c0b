"""Which calibration a sensor's readings are made with: that of the sensor *and* the receptor that is mounted.

Dome and disk let through different parts of the light and have different C, so a calibration with the one says little
of the other.  Where only the other was calibrated, its ranges and darks (the same diode and amplifier) are borrowed and the
scale is stated as wide as a change of receptor can make it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlink.photometry.exposure import CONSTANT_START_LX
from meterlink.records import Calibration, Identity
from meterlink.records.kept import BORROWED_FROM, OTHER_RECEPTOR_U_STOPS
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.sensor.measuring.reference import REFERENCE_KEY


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
