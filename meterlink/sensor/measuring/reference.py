"""A converter that measures against its supply: light corrected by what the sensor says of its own fixed reference.

The sensor measures a fixed voltage with the converter that measures the light (STATUS, ``reference``).  When the supply falls, both
read higher by the same factor, so light is raw × full scale × (reference at the calibration) / (reference now).
"""

from __future__ import annotations

from math import hypot, log, log2, sqrt

from meterlink.records import Calibration, Status
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

REFERENCE_KEY = "reference_raw"
"""In ``Calibration.details``: the raw value of the fixed reference at which its full scales hold."""
U_DRIFT_REL = 0.005
"""What a chip's own reference moves with temperature and age, standard (from memory: about 1 % over 50 °C); not in a
calibration."""


def at_reference(calibration: Calibration, status: Status) -> Calibration:
    """Return the same calibration for the reference that the sensor now measures against.

    Its full scales are those that hold now, and its details say so.  One that nobody made (``assumed``) holds for the reference
    of the sensor's design and carries the fixed reference's own tolerance, taken as the half width of a uniform distribution, in
    its scale; one that was made before references were told is taken to hold now: only what changes from here on is corrected.
    """
    now = status.reference_raw
    if not now:
        return calibration
    held = calibration.details.get(REFERENCE_KEY)
    if isinstance(held, (int, float)) and held > 0:
        factor, u_scale_rel = held / now, calibration.u_scale_rel
    elif calibration.method == "assumed" and status.reference_by_design_raw:
        factor = status.reference_by_design_raw / now
        u_scale_rel = hypot(calibration.u_scale_rel, status.reference_tolerance_rel / sqrt(3))
    else:
        factor, u_scale_rel = 1.0, calibration.u_scale_rel
    return calibration._replace(
        ranges=tuple(r._replace(full_scale_lx=r.full_scale_lx * factor) for r in calibration.ranges),
        u_scale_rel=u_scale_rel,
        details={**calibration.details, REFERENCE_KEY: now},
    )


def u_reference_rel(calibration: Calibration, status: Status) -> float:
    """Relative standard uncertainty that the correction leaves: the fixed reference's tolerance until a calibration takes it in,
    then a step of the converter and its drift."""
    if REFERENCE_KEY not in calibration.details:
        return status.reference_tolerance_rel / sqrt(3)
    step = 2.0**-10 / sqrt(12) / status.reference_raw if status.reference_raw else 0.0
    return hypot(U_DRIFT_REL, step)


def supply_row(calibration: Calibration, status: Status) -> tuple[float, float] | None:
    """For ``verify``: by how many stops every reading is corrected, and the standard uncertainty of that in stops; None for a
    converter with a reference of its own."""
    held = calibration.details.get(REFERENCE_KEY) or status.reference_by_design_raw
    if not status.reference_raw or not held:
        return None
    return log2(held / status.reference_raw), u_reference_rel(calibration, status) / log(2)


def words(calibration: Calibration, status: Status) -> Told:
    """What a person should hear once of a sensor whose converter measures against its supply; false when nothing."""
    if not status.reference_raw or REFERENCE_KEY in calibration.details:
        return NOTHING
    if calibration.method == "assumed":
        return told("own_reference", tolerance=status.reference_tolerance_rel, do=Do("calibrate"))
    return told("unknown_supply")
