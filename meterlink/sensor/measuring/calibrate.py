"""From a sensor's raw values to light, by the calibration that belongs to it.

Light = (raw - dark_raw) · full_scale_lx, one pair of figures for each sensitivity range.  A sensor that reports lux
by itself has one range in which "raw" is that lux and the full scale a plain factor.
"""

from __future__ import annotations

from meterlink.errors import CalibrationError
from meterlink.photometry.exposure import CONSTANT_START_LX
from meterlink.records import Calibration, Identity, RangeScale
from meterlink.words.actions import Do

ASSUMED_FULL_SCALE_LX = (2e6, 2e5)
"""What the two ranges of the sensor in the build notes are made for; a real one is to be calibrated."""
ASSUMED_U_REL = 0.1
PEDESTAL_RAW = 0.02
"""The amplifier in the build notes rests at 2 % of full scale in the dark: a converter that stands on zero cuts the lower
half of the noise off, reads high there, and would hide the light of a room.  A real sensor's own value comes from
``meterlink calibrate zero``."""

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
