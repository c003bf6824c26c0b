"""What a calibration may claim: the light over which its own evidence supports a tenth of a stop, in 99 of 100 readings.

Light below it drowns in the dark's uncertainty or a pop's noise, light above it nears the end of the range.  What the
scale leaves (reference, scatter of the pairs, bend, angular response) takes its part of the tenth first; what is left is
how much noise there may be.  A calibration whose parts leave nothing claims nothing, and says why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Any

from meterlink.calibration import camera
from meterlink.photometry.calibration_fit import STOPS
from meterlink.records import Calibration, RangeScale

CLAIM_STOPS = 0.1
SIGMAS = 2.576
"""99 % of a normal distribution: what the limit means at the very ends of the claim."""
TOP_STEADY, TOP_PEAK = 0.95, 0.9
"""Parts of a range up to which nothing clips: a pop's last samples before the peak may lie higher than the peak that is seen."""
BOTTOM_STEADY, BOTTOM_PEAK = 0.01, 0.05
HOLDS_STOPS = 0.02
"""A lamp that is read so far off is claimed with the one of the calibration: a fifth of the tenth."""
ANGLES_DEG = (75.0, 60.0, 45.0, 30.0, 15.0)
ANGLE_COST_STOPS = 1 / 3
"""A wider claim for light from the side is preferred while it costs at most so much at the lower ends."""


def claim_of(calibration: Calibration) -> dict[str, Any] | None:
    """Return the claim as plain data for ``Calibration.details``; None for a sensor that was never calibrated.

    ``against``: ``truth`` (f-numbers), ``reference`` (f-numbers as this reference would read them, when it alone may be
    off by more), ``camera`` (as this camera brings its card out), ``ratios`` (no reference was used).  ``steady_lx`` and
    ``flash_peak_lx``: from and to, one pair a range or None.  ``angle_deg``: how far off the axis the light may come from; more
    than 0 only with a measured response.  ``why``: what stands in the way, when something does.
    """
    details = calibration.details
    if calibration.method == "assumed" or "u_dark_raw" not in details:
        return None
    # The reference's own error is not ours to claim about; where the dome stood is.
    u_plane = float(details.get("u_plane_rel", 0.0))
    if calibration.relative:
        against, shared = "ratios", 0.0
    elif calibration.method == camera.METHOD:
        against, shared = camera.METHOD, u_plane
    elif _left(calibration.u_scale_rel, 1.25 * max(r.u_rel for r in calibration.ranges)) <= 0:
        against, shared = "reference", u_plane
    else:
        against, shared = "truth", calibration.u_scale_rel
    angle, u_angle = _angle(calibration, shared)
    full_raw, u_darks, noise = float(details.get("full_raw", 1.0)), details["u_dark_raw"], details.get("noise_peak")
    with_dark = zip_longest(calibration.ranges, u_darks[: len(calibration.ranges)] if _lamp_seen(details) else ())
    steady = [None if u_dark is None else _steady(r, full_raw, u_dark, (shared, u_angle)) for r, u_dark in with_dark]
    flash = [_flash(r, noise, (shared, u_angle)) if noise else None for r in calibration.ranges]
    return {
        "stops": CLAIM_STOPS,
        "share": 0.99,
        "against": against,
        "angle_deg": angle,
        "steady_lx": steady,
        "flash_peak_lx": flash,
        "flash_pulse_s": details.get("pulse_s"),
        "why": _why(calibration, against, [*steady, *flash]),
        "assumes": _assumptions(calibration),
    }


def kept(code: str, **values: Any) -> list[Any]:
    """Return a sentence as the claim's record keeps it: its phrase is ``claim_CODE``, and it is read in any language."""
    return [code, values]


def _lamp_seen(details: Mapping[str, Any]) -> bool:
    """Whether steady light was weighed against the reference; yes where that is not known (a record of before)."""
    points = details.get("points")
    return not points or any(p["kind"] == "steady" for p in points)


def _assumptions(calibration: Calibration) -> list[Any]:
    """What a claim takes for granted: the lamp of its steady light, and where the dome's plane is."""
    details, found = calibration.details, []
    lamp, errors = details.get("lamp") or kept("the_lamp"), details.get("lamp_errors")
    if not _lamp_seen(details):
        found.append(kept("no_lamp"))
    elif not errors:
        found.append(kept("one_lamp", lamp=lamp))
    else:
        holds = [name for name, stops in errors.items() if abs(stops) <= HOLDS_STOPS]
        others = [f"{name} {stops:+.2f}" for name, stops in errors.items() if abs(stops) > HOLDS_STOPS]
        found.append(kept("lamps", lamp=lamp, lamps=", ".join(holds)) if holds else kept("lamp", lamp=lamp))
        if others:
            found.append(kept("other_lamps", lamps=", ".join(others)))
    u_plane = details.get("u_plane_rel")
    if u_plane:
        found.append(kept("plane", far=details["light_distance_m"], stops=2 * u_plane * STOPS))
    return found


def after_dark(calibration: Calibration, dark_raw: Sequence[float], drift_raw: float = 0.0) -> dict[str, Any] | None:
    """Return the claim when the dark is found elsewhere than the calibration says: dim steady light suffers.

    ``dark_raw`` (each range) and ``drift_raw`` are fractions of full scale.
    """
    full, known = float(calibration.details.get("full_raw", 1.0)), calibration.details.get("u_dark_raw")
    if not known:
        return calibration.details.get("claim")
    shifts = [abs(d * full - r.dark_raw) + abs(drift_raw) * full for d, r in zip(dark_raw, calibration.ranges, strict=False)]
    # A dark that is off is a bias: taken as the half-width of a rectangle.
    us = [math.hypot(u, shift / math.sqrt(3)) for u, shift in zip(known, shifts, strict=False)]
    return claim_of(calibration._replace(details={**calibration.details, "u_dark_raw": us}))


def withdrawn(claim: dict[str, Any] | None, why: object) -> dict[str, Any] | None:
    """Return the claim with nothing in it, because of a fault."""
    if claim is None:
        return None
    nothing = [None] * len(claim["steady_lx"])
    return {**claim, "steady_lx": nothing, "flash_peak_lx": nothing, "why": why}


def _left(*parts: float, sigmas: float = SIGMAS) -> float:
    """Relative standard uncertainty that may be added to the parts until so many of all reach the limit; 0: none."""
    return math.sqrt(max(0.0, (CLAIM_STOPS / STOPS / sigmas) ** 2 - math.fsum(p * p for p in parts)))


def _angle(calibration: Calibration, shared: float) -> tuple[float, float]:
    """The widest angle that the claim can afford, and the greatest uncertainty of the response within it."""
    us = (calibration.details.get("angle") or {}).get("u_rel") or []
    worst = max(r.u_rel for r in calibration.ranges)
    free = _left(shared, worst)
    for degrees in ANGLES_DEG:
        within = us[: int(degrees / 5) + 1]
        if calibration.angle_response and len(within) == int(degrees / 5) + 1:
            u = max(within)
            if _left(shared, worst, u) >= free * 2**-ANGLE_COST_STOPS > 0:
                return degrees, u
    return 0.0, 0.0


def _steady(scale: RangeScale, full_raw: float, u_dark_raw: float, others: tuple[float, float]) -> list[float] | None:
    """From and to of steady light; ``others``: uncertainty of what all ranges share, and of the angle."""
    left = _left(scale.u_rel, *others)
    if left <= 0:
        return None
    # The reading stands on codes as the dark does.
    low = max(math.sqrt(2) * u_dark_raw / left, BOTTOM_STEADY * full_raw)
    high = TOP_STEADY * full_raw - scale.dark_raw
    return [low * scale.full_scale_lx, high * scale.full_scale_lx] if low < high else None


def _flash(scale: RangeScale, noise: Sequence[float], others: tuple[float, float]) -> list[float] | None:
    """From and to of a pop's peak; ``noise`` of a pop as part of full scale: as it scatters, and as it is stated."""
    left = _left(scale.u_rel, *others)
    if left <= 0:
        return None
    seen, stated = noise
    # What a reading says of itself (k=2) must not contradict the claim.
    low = max(seen / left, stated / _left(scale.u_rel, *others, sigmas=2.0), BOTTOM_PEAK)
    return [low * scale.full_scale_lx, TOP_PEAK * scale.full_scale_lx] if low < TOP_PEAK else None


def _why(calibration: Calibration, against: str, spans: list[list[float] | None]) -> list[Any] | str:
    if not any(spans):
        return kept("few_pairs", stops=2 * max(r.u_rel for r in calibration.ranges) * STOPS)
    if against == camera.METHOD:
        return kept("other_camera", stops=2 * calibration.u_scale_rel * STOPS)
    if against == "reference":
        return kept("reference_known_to", stops=2 * calibration.u_scale_rel * STOPS)
    return ""
