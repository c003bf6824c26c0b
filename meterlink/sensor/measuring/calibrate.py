"""From a sensor's raw values to light, by the calibration that belongs to it.

Light = (raw - dark_raw) · full_scale_lx, one pair of figures for each sensitivity range.  A sensor that reports lux
by itself has one range in which "raw" is that lux and the full scale a plain factor.

A converter may measure against its supply.  Then the sensor measures a fixed voltage with the converter that measures the light
(STATUS, ``reference``); when the supply falls, both read higher by the same factor, so light is raw × full scale × (reference at
the calibration) / (reference now).
"""

from __future__ import annotations

from math import hypot, log, log2, sqrt

from meterlink.errors import CalibrationError
from meterlink.photometry.exposure import CONSTANT_START_LX
from meterlink.records import Calibration, Identity, RangeScale, Status
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

ASSUMED_FULL_SCALE_LX = (2e6, 2e5)
"""What the two ranges of the sensor in the build notes are made for; a real one is to be calibrated."""
ASSUMED_U_REL = 0.1
PEDESTAL_RAW = 0.02
"""The amplifier in the build notes rests at 2 % of full scale in the dark: a converter that stands on zero cuts the lower
half of the noise off, reads high there, and would hide the light of a room.  A real sensor's own value comes from
``meterlink calibrate zero``."""

REFERENCE_KEY = "reference_raw"
"""In ``Calibration.details``: the raw value of the fixed reference at which its full scales hold."""
U_DRIFT_REL = 0.005
"""What a chip's own reference moves with temperature and age, standard (from memory: about 1 % over 50 °C); not in a
calibration."""
CEILING_KEY = "ceiling_raw"
"""In ``Calibration.details``: the raw value at which the amplifier of a range stops, by the range's number."""
CEILING_MARGIN = 1.5 / 256
"""A level measured in codes of 8 bits is known to one of them, and noise carries a sample that has stopped half a code lower."""


def default_calibration(identity: Identity, receptor: str = "dome") -> Calibration:
    """Return what is assumed of a sensor that nobody has calibrated: its scale may be 10 % off (k=1)."""
    if identity.adc_bits:
        last = ASSUMED_FULL_SCALE_LX[-1]
        known = [*ASSUMED_FULL_SCALE_LX, *(last / 10 ** (i + 1) for i in range(len(identity.ranges)))]
        ranges = tuple(RangeScale(full, PEDESTAL_RAW) for full in known[: len(identity.ranges)])
    else:
        ranges = (RangeScale(1.0),)
    return Calibration(
        id=f"assumed-{identity.sensor_id}", sensor_id=identity.sensor_id, created_at_s=0.0,
        constant=CONSTANT_START_LX[receptor], receptor=receptor, ranges=ranges, u_scale_rel=ASSUMED_U_REL, method="assumed",
    )  # fmt: skip


def scale_of(calibration: Calibration, range_index: int) -> RangeScale:
    """Return the figures of one range.  Raises CalibrationError: the calibration has no such range."""
    if not 0 <= range_index < len(calibration.ranges):
        raise CalibrationError(
            "the calibration has {count} range(s) and the sensor used number {range_index}: {do}",
            do=Do("calibrate"), count=len(calibration.ranges), range_index=range_index,
        )
    return calibration.ranges[range_index]


def ceiling_raw(calibration: Calibration, range_index: int) -> float:
    """Return the raw value from which on an amplifier is known to give way; 1 when it was never seen to."""
    known = calibration.details.get(CEILING_KEY)
    found = known.get(str(range_index)) if isinstance(known, dict) else None
    return min(max(float(found) - CEILING_MARGIN, 0.0), 1.0) if isinstance(found, (int, float)) else 1.0


def illuminance_lx(raw: float, range_index: int, calibration: Calibration) -> float:
    """Return the illuminance in lx for one raw value; slightly negative values are noise around dark and stay."""
    scale = scale_of(calibration, range_index)
    return (raw - scale.dark_raw) * scale.full_scale_lx


def raw_for(level_lx: float, range_index: int, calibration: Calibration) -> float:
    """Return the raw value, as a fraction of full scale, that ``level_lx`` would give; above 1 it clips."""
    scale = scale_of(calibration, range_index)
    return level_lx / scale.full_scale_lx + scale.dark_raw


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


def supply_words(calibration: Calibration, status: Status) -> Told:
    """What a person should hear once of a sensor whose converter measures against its supply; false when nothing."""
    if not status.reference_raw or REFERENCE_KEY in calibration.details:
        return NOTHING
    if calibration.method == "assumed":
        return told("own_reference", tolerance=status.reference_tolerance_rel, do=Do("calibrate"))
    return told("unknown_supply")
