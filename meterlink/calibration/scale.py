"""Evidence to calibration: scale and dark of every range with their uncertainty, or a refusal that says what to do.

The uncertainty has two parts, kept apart because they act differently: what all readings share (the reference's own
scale, ``u_scale_rel``) cancels in every ratio; what one range has to itself (``RangeScale.u_rel``: scatter of the
pairs, bend of the range) does not cancel between ranges.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, NamedTuple

from meterlink.calibration.claim import claim_of
from meterlink.calibration.evidence import MAX_DARK_LX, MAX_DARK_RAW, Dark, Evidence, Pair
from meterlink.calibration.pair_fit import fit_range, net_of, usable
from meterlink.errors import CalibrationError
from meterlink.photometry import calibration_fit as cf
from meterlink.records import Calibration, RangeScale, new_id
from meterlink.records.kept import BORROWED_FROM
from meterlink.sensor.measuring.calibrate import CEILING_KEY
from meterlink.units import format_illuminance
from meterlink.words.told import Told, told, written

SOUND_BEND = 0.0115
"""Standard deviation of the bend of a sound range, empty to full (a uniform 2 %; common practice, no published
source).  Pairs narrow it."""
RMS_OF_LINE = 0.29
"""Standard deviation of a unit slope over a unit interval: what a bend leaves when its mean is calibrated away."""
NOMINAL_U_REL = 0.3
"""Of a sensor's design value: diode, dome and resistor tolerances together (common practice, no published source)."""
U_PLANE_M = 0.005
"""Between the planes of dome and reference: each is put at the same mark by eye (common practice, no published source)."""
USUAL_LIGHT_M = 2.0
"""How far off the lights of the walk stand when nothing else is said."""


class Scaled(NamedTuple):
    """A calibration and what there is to say about it."""

    calibration: Calibration
    residuals: tuple[tuple[Pair, float], ...]
    """Each pair with how much brighter the reference says than the calibration, in stops."""
    warnings: tuple[Told, ...]


def calibrate_scale(
    evidence: Evidence,
    nominal: Calibration,
    *,
    reference: str,
    u_reference_rel: float,
    method: str = "reference",
    created_at_s: float = 0.0,
    light_distance_m: float = USUAL_LIGHT_M,
    lamp: str = "",
    lamp_errors: dict[str, float] | None = None,
) -> Scaled:
    """Make a calibration from pairs with a reference; sensor, receptor, C and angular response stay those of ``nominal``.

    ``reference`` and ``lamp`` (the steady one) are in the photographer's words; ``u_reference_rel``: relative standard uncertainty
    of the reference's scale, which every pair shares; ``method``: ``reference``, ``camera`` or ``guide number``; ``lamp_errors``:
    by how many stops other lamps are read too bright, where the sensor's spectral response is known.  ``light_distance_m``: how far
    off the lights stood; the dome's plane is off by the same in every pair, so no mean takes it out: 2 · 0.5 cm / 2 m is 0.007 stop
    (k=1), at half a metre four times that.

    Raises CalibrationError: pairs too few, too close together, clipped, in disagreement with one another, a range that nothing
    reaches, or ranges in the wrong order.
    """
    u_plane_rel = 2 * U_PLANE_M / light_distance_m
    if not 0 < u_reference_rel < 1:
        raise CalibrationError("give the reference's own uncertainty, between 0 and 1 (0.1 stop is 0.07)")
    darks = _darks(evidence)
    used, fits, warnings = _fits(evidence, darks, relaxed=method == "guide number")
    ranges = _ranges(evidence, darks, {i: (f.log_scale, f.u_log_scale) for i, f in fits.items()}, fits)
    details = _details(evidence, darks, nominal)
    details.update(u_plane_rel=u_plane_rel, light_distance_m=light_distance_m, lamp=lamp, lamp_errors=lamp_errors)
    calibration = nominal._replace(
        ranges=ranges, u_scale_rel=math.hypot(u_reference_rel, u_plane_rel), relative=False, method=method, reference=reference,
        temperature_c=evidence.temperature_c, details=details,
    )  # fmt: skip
    residuals = tuple(
        (p, math.log2(p.light / (net_of(p, darks[p.range_index])[0] * ranges[p.range_index].full_scale_lx))) for p in used
    )
    return Scaled(claiming(calibration, created_at_s), residuals, warnings)


def left_by_pairs(evidence: Evidence) -> dict[int, float]:
    """Return what pairs and overlaps together leave of each range's scale, relative and standard, without its bend.

    Raises CalibrationError: as ``calibrate_scale``.
    """
    _, fits, _ = _fits(evidence, _darks(evidence))
    _, covariance = _join(evidence, {i: (f.log_scale, f.u_log_scale) for i, f in fits.items()})
    return {i: math.sqrt(covariance[i][i]) for i in range(len(evidence.range_names))}


def calibrate_relative(evidence: Evidence, nominal: Calibration, *, created_at_s: float = 0.0) -> Scaled:
    """Make a calibration without any reference: dark and the ranges' ratio are measured, the scale is the design's.

    Ratios of readings are right, also across ranges; f-numbers are marked as relative.  Raises CalibrationError: a range without
    overlap with another, or no dark.
    """
    darks = _darks(evidence)
    if len(evidence.range_names) > 1 and not evidence.overlaps:
        raise CalibrationError("a relative calibration needs the same light on both ranges: take the overlap pops")
    ranges = _ranges(evidence, darks, {0: (math.log(nominal.ranges[0].full_scale_lx), 1e-6)}, {})
    calibration = nominal._replace(
        ranges=ranges, u_scale_rel=NOMINAL_U_REL, relative=True, method="relative", reference="",
        temperature_c=evidence.temperature_c, details=_details(evidence, darks, nominal),
    )  # fmt: skip
    return Scaled(claiming(calibration, created_at_s), (), (told("relative_warning"),))


def calibrate_zero(evidence: Evidence, previous: Calibration, *, created_at_s: float = 0.0) -> Calibration:
    """Return the calibration in force with the dark of every range measured anew; all else stays.

    Raises CalibrationError: a range without a dark reading, or one that is no dark.
    """
    darks = _darks(evidence)
    ranges = tuple(r._replace(dark_raw=dark.raw) for r, dark in zip(previous.ranges, darks, strict=False))
    details = {**previous.details, "u_dark_raw": [dark.u_raw for dark in darks], "zero_of": previous.id}
    return claiming(previous._replace(ranges=ranges, details=details), created_at_s)


def claiming(calibration: Calibration, created_at_s: float) -> Calibration:
    """Return the calibration as a record of its own, with the claim that follows from it, or with none, and no certificate."""
    details = {key: value for key, value in calibration.details.items() if key not in ("certificate", "claim")}
    claim = claim_of(calibration)
    details |= {} if claim is None else {"claim": claim}
    return calibration._replace(id=new_id(), created_at_s=created_at_s, details=details)


def _darks(evidence: Evidence) -> list[Dark]:
    """Return the dark of every range; refuse one that is missing, or none."""
    found = {d.range_index: d for d in evidence.darks}
    for index, name in enumerate(evidence.range_names):
        if index not in found:
            raise CalibrationError("range {name} has no dark reading: put the cap on and take one", name=written(name, "range"))
        raw = found[index].raw
        if evidence.full_raw != 1.0 and raw > MAX_DARK_LX:
            raise CalibrationError(
                "the sensor reports {lux} under the cap: that is light; black tape along the seam, the cap pressed on, and again",
                lux=format_illuminance(raw),
            )
        if raw > MAX_DARK_RAW * evidence.full_raw:
            raise CalibrationError(
                "range {name} shows {part:.0%} of full scale in the dark: look for light under the cap, then "
                "for a photodiode the wrong way round, and do not calibrate before",
                name=written(name, "range"), part=raw / evidence.full_raw,
            )
    return [found[index] for index in range(len(evidence.range_names))]


def _fits(
    evidence: Evidence, darks: list[Dark], *, relaxed: bool = False
) -> tuple[list[Pair], dict[int, cf.ScaleFit], tuple[Told, ...]]:
    """Return the pairs that are used, the scale that those of each range give it, and what there is to say of them."""
    used: list[Pair] = []
    fits: dict[int, cf.ScaleFit] = {}
    warnings: list[Told] = []
    for index in sorted({p.range_index for p in evidence.pairs}):
        dark, name = darks[index], evidence.range_names[index]
        pairs = usable([p for p in evidence.pairs if p.range_index == index], dark, name, warnings)
        fits[index] = fit_range(pairs, dark, name, evidence.full_raw, relaxed=relaxed)
        used += pairs
    return used, fits, tuple(warnings)


def _ranges(
    evidence: Evidence, darks: list[Dark], own: dict[int, tuple[float, float]], fits: dict[int, cf.ScaleFit]
) -> tuple[RangeScale, ...]:
    """Return every range by its own scale (see ``_join``) and the overlaps; refuse those that are in the wrong order."""
    scales, covariance = _join(evidence, own)
    names = evidence.range_names
    ranges = tuple(
        RangeScale(math.exp(scales[i]), darks[i].raw, math.sqrt(covariance[i][i] + _u_bend(fits.get(i)) ** 2))
        for i in range(len(names))
    )
    for (first, a), (second, b) in pairwise(zip(ranges, names, strict=True)):
        if first.full_scale_lx <= second.full_scale_lx:
            raise CalibrationError(
                "range {a} turns out more sensitive than range {b}: the ranges are swapped; look at what switches between them and "
                "at the feedback resistors, then calibrate again",
                a=written(a, "range"), b=written(b, "range"),
            )
    return ranges


def _u_bend(fit: cf.ScaleFit | None) -> float:
    """What the bend of a range leaves in a reading somewhere on it: prior knowledge narrowed by the pairs."""
    prior = SOUND_BEND**2
    if fit is None or not math.isfinite(fit.u_bend):
        return RMS_OF_LINE * SOUND_BEND
    weight = prior / (prior + fit.u_bend**2)
    return RMS_OF_LINE * math.sqrt((weight * fit.bend) ** 2 + weight * fit.u_bend**2)


def _join(evidence: Evidence, own: dict[int, tuple[float, float]]) -> tuple[list[float], list[list[float]]]:
    """Return ln of every range's scale and their covariance; ``own``: ln of what a range has by itself, its uncertainty."""
    count = len(evidence.range_names)
    # raw_a F_a = raw_b F_b, so ln(F_a / F_b) = -ln(raw_a / raw_b); the light lies high on one range, low on the other.
    bend = SOUND_BEND * 0.5
    overlaps = [(o.range_a, o.range_b, -math.log(o.raw_ratio), math.hypot(o.u_rel, bend)) for o in evidence.overlaps]
    for a, b, difference, u in overlaps:
        if a in own and b in own:
            gap = own[a][0] - own[b][0] - difference
            u_gap = math.sqrt(own[a][1] ** 2 + own[b][1] ** 2 + u**2)
            if abs(gap) > max(4 * u_gap, 0.1 / cf.STOPS):
                names = evidence.range_names
                raise CalibrationError(
                    "pairs and overlap disagree by {gap:.2f} stop about ranges {a} and {b}: one "
                    "set of pairs was taken on the other range, or a pop clipped; take both again",
                    gap=abs(gap) * cf.STOPS, a=written(names[a], "range"), b=written(names[b], "range"),
                )
    reached = set(own)
    for _ in range(count):
        reached |= {b for a, b, _, _ in overlaps if a in reached} | {a for a, b, _, _ in overlaps if b in reached}
    missing = [evidence.range_names[i] for i in range(count) if i not in reached]
    if missing:
        raise CalibrationError(
            "nothing was measured on range {missing}: take pairs there, or the overlap pops",
            missing=written(missing[0], "range"),
        )
    try:
        scales, covariance = cf.combine_ranges(count, own, overlaps)
    except ValueError as error:
        raise CalibrationError("the ranges cannot be tied together ({error}): take the overlap pops again", error=error) from None
    return scales.tolist(), covariance.tolist()


def _details(evidence: Evidence, darks: list[Dark], nominal: Calibration) -> dict[str, Any]:
    """Keep what a reader of the record may ask for, and what the claim is made from: points, darks, repeatability."""
    details = {key: value for key, value in nominal.details.items() if key != BORROWED_FROM}
    details.update(
        range_names=list(evidence.range_names),
        u_dark_raw=[dark.u_raw for dark in darks],
        points=[{"kind": p.kind, "range": p.range_index, "raw": p.raw, "light": p.light, "label": p.label} for p in evidence.pairs],
        repeat_rel=evidence.repeat_rel,
        full_raw=evidence.full_raw,
        noise_peak=None if evidence.noise_peak is None else list(evidence.noise_peak),
        pulse_s=evidence.pulse_s,
    )
    if evidence.ceilings:
        details[CEILING_KEY] = {**details.get(CEILING_KEY, {}), **{str(i): top for i, top in evidence.ceilings}}
    return details
