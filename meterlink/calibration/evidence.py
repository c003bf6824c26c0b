"""What a calibration rests on, as raw values: fractions of the sensor's full scale, before any calibration.

Measurements arrive as light under whatever calibration was in force.  That calibration is linear in each range, so the
raw value behind them is known exactly: ``raw_of`` takes it back out, and a new calibration can be made from old points.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, stdev
from typing import NamedTuple

from meterlink.errors import CalibrationError
from meterlink.records import Calibration, Identity, Measurement
from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW, raw_for, scale_of

REPORTED_FULL_LX = 1e5
"""What a sensor that reports lux is taken to reach: its raw values are lux, and limits need a full scale."""
MAX_DARK_RAW = 0.1
"""Part of a range that is no dark any more."""
MAX_DARK_LX = 20.0
"""In the dark, of a sensor that reports lux: its zero is its maker's, so more than this is light under the cap."""


class Pair(NamedTuple):
    """One light seen by the sensor and by the reference."""

    kind: str
    """``steady`` or ``flash``."""
    range_index: int
    raw: float
    """Steady: fraction of full scale, dark included.  Flash: fraction of full scale times seconds, above ambient."""
    u_raw_rel: float
    """Relative standard uncertainty of raw from noise and repeats."""
    light: float
    """What the reference says, in lx (steady) or lx·s (flash)."""
    u_light_rel: float
    """Relative standard uncertainty of the reference's reading by itself: its resolution and repeats, not its scale."""
    label: str = ""
    peak_raw: float | None = None
    """Flash: highest raw value; tells where in the range the pulse reached."""


class Dark(NamedTuple):
    """Raw value of one range with the cap on."""

    range_index: int
    raw: float
    u_raw: float


class Overlap(NamedTuple):
    """The same light on two ranges: ``raw_a / raw_b`` with its relative standard uncertainty."""

    range_a: int
    range_b: int
    raw_ratio: float
    u_rel: float


class Evidence(NamedTuple):
    """Everything that a calibration is made from."""

    range_names: tuple[str, ...]
    pairs: tuple[Pair, ...] = ()
    darks: tuple[Dark, ...] = ()
    overlaps: tuple[Overlap, ...] = ()
    repeat_rel: float | None = None
    """Relative spread of one pop among repeats (Type A), when it was measured."""
    temperature_c: float | None = None
    full_raw: float = 1.0
    """Raw value of a full range: 1, or ``REPORTED_FULL_LX`` for a sensor that reports lux itself."""
    noise_peak: tuple[float, float] | None = None
    """Noise of a pop's exposure as a part of full scale, its relative uncertainty times its peak: as faint pops scatter,
    and as sensing states it.  A pop of the same length with a peak p is known to noise_peak / p."""
    pulse_s: float | None = None
    """Exposure over peak of the repeated pops."""
    ceilings: tuple[tuple[int, float], ...] = ()
    """Range, and the raw value at which its amplifier stopped; only where that is below the converter's own end."""


def bare(calibration: Calibration) -> Calibration:
    """Return the same calibration with a dark of 0, for measuring while calibrating and verifying.

    Light below the dark that is in force is cut off at 0; with this one no raw value is lost, so that a dark that has
    moved down is seen.  It is never stored.
    """
    ranges = tuple(r._replace(dark_raw=0.0) for r in calibration.ranges)
    return calibration._replace(id=f"bare-{calibration.id}", ranges=ranges)


def full_raw_of(identity: Identity) -> float:
    """Raw value of a full range: a sensor without a converter of its own reports lux."""
    return 1.0 if identity.adc_bits else REPORTED_FULL_LX


def zero_of(identity: Identity) -> float:
    """Raw value at which the dark should be: lifted in the builds with a converter, 0 for a sensor that reports lux."""
    return PEDESTAL_RAW if identity.adc_bits else 0.0


def raw_of(measurement: Measurement, calibration: Calibration) -> float:
    """Take the raw value back out of a measurement: steady with dark, flash above ambient in full scales × seconds.

    Raises CalibrationError: made with another calibration, or without a value.
    """
    if measurement.calibration_id != calibration.id:
        raise CalibrationError("this measurement was made with another calibration: take it again")
    if measurement.exposure_lxs is not None:
        return measurement.exposure_lxs / scale_of(calibration, measurement.range_index).full_scale_lx
    if measurement.illuminance_lx is not None:
        return raw_for(measurement.illuminance_lx, measurement.range_index, calibration)
    raise CalibrationError("the sensor sent no value: take it again")


def peak_raw_of(measurement: Measurement, calibration: Calibration) -> float | None:
    """Highest raw value of a pop above its ambient, or None when it is not known."""
    if measurement.peak_lx is None:
        return None
    return measurement.peak_lx / scale_of(calibration, measurement.range_index).full_scale_lx


def resolution_u_rel(resolution_stops: float) -> float:
    """Relative standard uncertainty of a reading shown in steps of so many stops (a tenth, a third): GUM 4.3.7."""
    return resolution_stops * math.log(2) / math.sqrt(12)


def mean_of(measurements: Sequence[Measurement], calibration: Calibration) -> tuple[float, float]:
    """Return mean raw value of repeats of one light and its relative standard uncertainty.

    Few repeats tell little about their own scatter, so the noise that sensing states bounds it from below.
    """
    raws = [raw_of(m, calibration) for m in measurements]
    mean = fmean(raws)
    noise = math.sqrt(math.fsum(m.u_rel**2 for m in measurements)) / len(raws)
    if len(raws) < 2 or mean <= 0:
        return mean, noise
    return mean, max(noise, stdev(raws) / mean / math.sqrt(len(raws)))
