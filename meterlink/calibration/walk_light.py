"""The light that the steps of an acceptance walk saw, and how well ranges and repeats tie together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.evidence import full_raw_of, raw_of
from meterlink.calibration.procedure import Taken
from meterlink.photometry import calibration_fit as cf


def raws(walk: AcceptanceWalk, taken: Sequence[Taken]) -> list[float]:
    """Raw values as fractions of full scale, dark included."""
    full = full_raw_of(walk.identity)
    return [raw_of(t.measurement, walk.calibration) / full for t in taken]


def lighter(walk: AcceptanceWalk) -> Callable[[Taken], float]:
    """What turns a measurement into light: a pop is above its ambient already, steady light loses the walk's own dark."""
    darks = []
    for i in range(len(walk.identity.ranges)):
        seen = raws(walk, walk.of(f"dark-{i}"))
        dark = sum(seen) / len(seen) * full_raw_of(walk.identity) if seen else walk.judged.ranges[i].dark_raw
        darks.append(dark)

    def light(taken: Taken) -> float:
        m = taken.measurement
        if m.exposure_lxs is not None:
            return m.exposure_lxs
        full = walk.calibration.ranges[m.range_index].full_scale_lx
        return (m.illuminance_lx or 0.0) - darks[m.range_index] * full

    return light


def sensitivity(walk: AcceptanceWalk, i: int) -> float | None:
    """What range i + 1 says of a light over what range i says of it; 1 when the calibration ties them together well."""
    light = lighter(walk)
    a, b = walk.of(f"overlap-{i}-{i}"), walk.of(f"overlap-{i}-{i + 1}")
    low, high = (sum(map(light, g)) / len(g) if g else 0.0 for g in (a, b))
    return high / low if low > 0 and high > 0 else None


def u_sensitivity(walk: AcceptanceWalk, i: int, u_pop: float) -> float:
    """Relative standard uncertainty of ``sensitivity``."""
    light = lighter(walk)
    return math.hypot(*(mean_light(walk.of(f"overlap-{i}-{j}"), light, u_pop)[1] for j in (i, i + 1)))


def mean_light(taken: Sequence[Taken], light: Callable[[Taken], float], u_pop: float) -> tuple[float, float]:
    """Mean light of repeats of one step and its relative standard uncertainty; what moved between them counts too."""
    values, n = [light(t) for t in taken], max(1, len(taken))
    mean = math.fsum(values) / n
    spread = cf.repeatability(values).spread / mean if n > 1 and mean > 0 else 0.0
    one = math.sqrt(u_pop**2 + math.fsum(t.measurement.u_rel**2 for t in taken) / n)
    return mean, max(one, spread) / math.sqrt(n)
