"""The exposure equation for steady and flash light, APEX values, guide numbers.

::

    steady light    N**2 / t = E * S / C
    flash           N**2     = H * S / C
    both            N**2     = (H + E * t) * S / C

N is the f-number, t the exposure time in s, E the illuminance in lx, H the luminous exposure in lx·s above ambient,
S the ISO speed (exact value, see ``series``), C the calibration constant of the receptor in lx (ISO 2720).  C is always
an argument: it belongs to the sensor's calibration and no formula has a silent default for it.

Stops are log2 of a ratio of exposures; positive means more light.
All functions raise ``ValueError`` for arguments that are not finite or outside the stated range.
"""

from __future__ import annotations

import math

CONSTANT_RANGE_FLAT_LX = (240.0, 400.0)
"""C for a flat (cosine) receptor.  ISO 2720:1974, known here from secondary sources; 250 is common."""
CONSTANT_RANGE_DOME_LX = (320.0, 540.0)
"""C for a hemispherical receptor.  ISO 2720:1974, known here from secondary sources; 320 to 340 in practice."""
CONSTANT_START_FLAT_LX = 250.0
"""What a new calibration of a flat receptor starts with; never used by a formula."""
CONSTANT_START_DOME_LX = 330.0
"""What a new calibration of a dome starts with; never used by a formula."""
REFLECTED_RANGE_CD_M2 = (10.6, 13.4)
"""K for reflected light.  ISO 2720:1974, known here from secondary sources; 12.5 is common."""

_FOOT_M = 0.3048


def _positive(value: float, name: str) -> float:
    if not 0.0 < value < math.inf:
        raise ValueError(f"{name} must be a positive finite number, got {value!r}")
    return value


def _not_negative(value: float, name: str) -> float:
    if not 0.0 <= value < math.inf:
        raise ValueError(f"{name} must be zero or a positive finite number, got {value!r}")
    return value


def _finite(value: float, name: str) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{name} must be a finite number, got {value!r}")
    return value


def _exp2(stops: float, name: str) -> float:
    if not -1000.0 <= stops <= 1000.0:  # also refuses nan
        raise ValueError(f"{name} must be between -1000 and 1000, got {stops!r}")
    return math.exp2(stops)


def stops_between(a: float, b: float) -> float:
    """Return log2(a / b): by how many stops ``a`` exceeds ``b``, both exposures, illuminances or speeds, positive."""
    return math.log2(_positive(a, "a")) - math.log2(_positive(b, "b"))


def ratio_of_stops(stops: float) -> float:
    """Return the linear ratio 2**stops: 1 stop is 2, 1.584963 stops are 3."""
    return _exp2(stops, "stops")


def f_number(exposure_lxs: float, iso: float, calibration_constant: float) -> float:
    """Return the f-number for a flash of luminous exposure H: sqrt(H * S / C)."""
    h = _positive(exposure_lxs, "exposure_lxs")
    return math.sqrt(h * _positive(iso, "iso") / _positive(calibration_constant, "calibration_constant"))


def luminous_exposure(f_number: float, iso: float, calibration_constant: float) -> float:
    """Return the luminous exposure in lx·s that asks for this f-number: N**2 * C / S."""
    n = _positive(f_number, "f_number")
    return n * n * _positive(calibration_constant, "calibration_constant") / _positive(iso, "iso")


def exposure_value(illuminance_lx: float, iso: float, calibration_constant: float) -> float:
    """Return the exposure value at this ISO, log2(E * S / C); with C = 250 lx and ISO 100, 2.5 lx are EV 0."""
    e = _positive(illuminance_lx, "illuminance_lx")
    return math.log2(e * _positive(iso, "iso") / _positive(calibration_constant, "calibration_constant"))


def illuminance_at_exposure_value(ev: float, iso: float, calibration_constant: float) -> float:
    """Return the illuminance in lx of this exposure value at this ISO: 2**EV * C / S."""
    constant = _positive(calibration_constant, "calibration_constant")
    return _exp2(ev, "ev") * constant / _positive(iso, "iso")


def illuminance(f_number: float, time_s: float, iso: float, calibration_constant: float) -> float:
    """Return the steady illuminance in lx for which f-number and time are right: N**2 * C / (t * S)."""
    return luminous_exposure(f_number, iso, calibration_constant) / _positive(time_s, "time_s")


def f_number_steady(illuminance_lx: float, time_s: float, iso: float, calibration_constant: float) -> float:
    """Return the f-number for steady light and an exposure time: sqrt(E * t * S / C)."""
    exposure_lxs = _positive(illuminance_lx, "illuminance_lx") * _positive(time_s, "time_s")
    return f_number(exposure_lxs, iso, calibration_constant)


def f_number_mixed(
    exposure_lxs: float, illuminance_lx: float, time_s: float, iso: float, calibration_constant: float
) -> float:
    """Return the f-number for a flash on top of steady light: sqrt((H + E * t) * S / C); one of H, E may be 0."""
    flash = _not_negative(exposure_lxs, "exposure_lxs")
    ambient = _not_negative(illuminance_lx, "illuminance_lx") * _positive(time_s, "time_s")
    return f_number(flash + ambient, iso, calibration_constant)


def exposure_time(f_number: float, illuminance_lx: float, iso: float, calibration_constant: float) -> float:
    """Return the exposure time in s for steady light at this f-number: N**2 * C / (E * S)."""
    return luminous_exposure(f_number, iso, calibration_constant) / _positive(illuminance_lx, "illuminance_lx")


def exposure_value_of_settings(f_number: float, time_s: float) -> float:
    """Return log2(N**2 / t), the exposure value that camera settings stand for, whatever the ISO."""
    n = _positive(f_number, "f_number")
    return math.log2(n * n / _positive(time_s, "time_s"))


def exposure_value_at_iso_100(f_number: float, time_s: float, iso: float) -> float:
    """Return the exposure value referred to ISO 100: log2(N**2 / t) - log2(S / 100)."""
    return exposure_value_of_settings(f_number, time_s) - stops_between(iso, 100.0)


def exposure_value_of_luminance(luminance_cd_m2: float, iso: float, reflected_constant: float) -> float:
    """Return the exposure value of a luminance at this ISO, log2(L * S / K), K in cd/m² (ISO 2720)."""
    lum = _positive(luminance_cd_m2, "luminance_cd_m2")
    return math.log2(lum * _positive(iso, "iso") / _positive(reflected_constant, "reflected_constant"))


def assumed_reflectance(reflected_constant: float, calibration_constant: float) -> float:
    """Return pi * K / C: reflectance at which an incident and a reflected reading agree (a diffuse subject)."""
    return math.pi * _positive(reflected_constant, "K") / _positive(calibration_constant, "calibration_constant")


def sum_f_numbers(*f_numbers: float) -> float:
    """Return the f-number of several lights together: exposures add, so N = sqrt(sum of N**2)."""
    if not f_numbers:
        raise ValueError("at least one f-number is needed")
    return math.sqrt(math.fsum(_positive(n, "f_number") ** 2 for n in f_numbers))


def change_f_number(f_number: float, stops: float) -> float:
    """Return the f-number that is right for ``stops`` more light: N * 2**(stops / 2)."""
    return _positive(f_number, "f_number") * _exp2(stops / 2.0, "stops / 2")


def working_f_number(f_number: float, camera_offset_stops: float = 0.0, filter_stops: float = 0.0) -> float:
    """Return the aperture to set from a measured f-number.

    ``camera_offset_stops`` > 0 closes down (the camera wants less light than the sensor says), ``filter_stops`` >= 0 is
    light lost in filters on the lens and opens up.  Both act on the working aperture and on nothing else.
    """
    lost = _not_negative(filter_stops, "filter_stops")
    return change_f_number(f_number, _finite(camera_offset_stops, "camera_offset_stops") - lost)


def filter_stops(factor: float) -> float:
    """Return the stops that a filter of this factor (1 or more: 2, 4, 8) takes away: log2(factor)."""
    if not 1.0 <= factor < math.inf:
        raise ValueError(f"a filter factor is 1 or more, got {factor!r}")
    return math.log2(factor)


# APEX: Ev = Av + Tv = Bv + Sv (additive system of photographic exposure, as written down with Exif 2.2, annex C)


def aperture_value(f_number: float) -> float:
    """Return Av = 2 log2 N: f/1 is 0, f/2 is 2, f/2.8 (exact value) is 3."""
    return 2.0 * math.log2(_positive(f_number, "f_number"))


def f_number_of_aperture_value(av: float) -> float:
    """Return N = 2**(Av / 2)."""
    return _exp2(av / 2.0, "av / 2")


def time_value(time_s: float) -> float:
    """Return Tv = -log2 t: 1 s is 0, 1/125 (exact value 1/128) is 7."""
    return -math.log2(_positive(time_s, "time_s"))


def time_of_time_value(tv: float) -> float:
    """Return t = 2**-Tv in s."""
    return _exp2(-tv, "tv")


def speed_value(iso: float) -> float:
    """Return Sv = log2(S / 3.125): ISO 100 is 5."""
    return math.log2(_positive(iso, "iso") / 3.125)


def brightness_value(luminance_cd_m2: float, reflected_constant: float) -> float:
    """Return Bv = log2(B / (0.32 * K)), so that Bv + Sv = log2(B * S / K).

    0.32 is 1 / 3.125, the constant that goes with Sv above; sources that print 0.3 or 0.2973 round it or use another
    Sv, and then their Bv + Sv is not the exposure value of the exposure equation.
    """
    lum = _positive(luminance_cd_m2, "luminance_cd_m2")
    return math.log2(lum * 3.125 / _positive(reflected_constant, "reflected_constant"))


def incident_value(illuminance_lx: float, calibration_constant: float) -> float:
    """Return Iv = log2(3.125 * E / C), so that Iv + Sv = log2(E * S / C)."""
    e = _positive(illuminance_lx, "illuminance_lx")
    return math.log2(e * 3.125 / _positive(calibration_constant, "calibration_constant"))


def degrees_of_speed(iso: float) -> float:
    """Return the logarithmic speed S° = 10 lg S + 1, not rounded: ISO 100 is 21°."""
    return 10.0 * math.log10(_positive(iso, "iso")) + 1.0


# Guide numbers: N * d is constant for a source that obeys the inverse square law


def guide_number(f_number: float, distance_m: float) -> float:
    """Return the guide number in metres, f-number times distance, for the speed that the f-number was found at."""
    return _positive(f_number, "f_number") * _positive(distance_m, "distance_m")


def f_number_of_guide_number(guide_number_m: float, distance_m: float) -> float:
    """Return N = GN / d; only for distances beyond about five times the size of the source."""
    return _positive(guide_number_m, "guide_number_m") / _positive(distance_m, "distance_m")


def distance_of_guide_number(guide_number_m: float, f_number: float) -> float:
    """Return d = GN / N in metres."""
    return _positive(guide_number_m, "guide_number_m") / _positive(f_number, "f_number")


def guide_number_at_iso(guide_number_m: float, from_iso: float, to_iso: float) -> float:
    """Return the guide number at another speed: GN * sqrt(S_to / S_from)."""
    gn = _positive(guide_number_m, "guide_number_m")
    return gn * math.sqrt(_positive(to_iso, "to_iso") / _positive(from_iso, "from_iso"))


def guide_number_of_intensity(intensity_cds: float, iso: float, calibration_constant: float) -> float:
    """Return the guide number in metres of a flash of luminous intensity integral I in cd·s: sqrt(I * S / C)."""
    return f_number(_positive(intensity_cds, "intensity_cds"), iso, calibration_constant)


def exposure_of_guide_number(
    guide_number_m: float, distance_m: float, iso: float, calibration_constant: float
) -> float:
    """Return the luminous exposure in lx·s that a guide number for this speed promises at a distance."""
    n = f_number_of_guide_number(guide_number_m, distance_m)
    return luminous_exposure(n, iso, calibration_constant)


def guide_number_in_feet(guide_number_m: float) -> float:
    """Return a guide number in feet (1 ft = 0.3048 m exactly)."""
    return _positive(guide_number_m, "guide_number_m") / _FOOT_M


# Lighting ratios, in the two conventions of the trade


def key_to_fill(key_stops_over_fill: float) -> float:
    """Return the incident ratio key : fill from stops: 1 stop is 2 (2:1), 2 stops are 4."""
    return ratio_of_stops(key_stops_over_fill)


def highlight_to_shadow(key_stops_over_fill: float) -> float:
    """Return (key + fill) : fill from stops: 1 stop is 3 (3:1), 2 stops are 5; where both lights overlap."""
    return ratio_of_stops(key_stops_over_fill) + 1.0


def stops_of_highlight_to_shadow(ratio: float) -> float:
    """Return by how many stops the key exceeds the fill for a (key + fill) : fill ratio above 1."""
    if not 1.0 < ratio < math.inf:
        raise ValueError(f"(key + fill) : fill is above 1, got {ratio!r}")
    return math.log2(ratio - 1.0)
