"""What a calibration is worth in one figure: how wide its claim is, how sure one reading of it."""

from __future__ import annotations

import math
from typing import Any

from meterlink.records import Calibration


def stops_of(claim: dict[str, Any], kind: str) -> float:
    """Width of a claim in stops for ``flash`` or ``steady``, over all ranges, gaps left out."""
    spans = sorted(tuple(s) for s in claim["flash_peak_lx" if kind == "flash" else "steady_lx"] if s)
    total, reached = 0.0, 0.0
    for low, high in spans:
        if high > reached:
            total += math.log2(high / max(low, reached))
            reached = high
    return total


def absolute_u_rel(calibration: Calibration, range_index: int, u_noise_rel: float, raw: float | None = None) -> float:
    """Relative standard uncertainty of one reading's light: noise, range, dark (steady light: give ``raw``), scale.

    ``raw`` is the steady raw value above dark; the dark's own uncertainty matters at the bottom of a range.
    """
    scale = calibration.ranges[range_index]
    u_darks = calibration.details.get("u_dark_raw") or []
    u_dark = float(u_darks[range_index]) / raw if raw and range_index < len(u_darks) else 0.0
    return math.sqrt(u_noise_rel**2 + scale.u_rel**2 + u_dark**2 + calibration.u_scale_rel**2)
