"""What the shutter keeps of a flash: evenly with a leaf shutter, row by row with a focal-plane or rolling one.

Time runs from the start of the flash.  A focal-plane shutter fires the flash when its first curtain has crossed the frame.
A row at x (0 is uncovered first, 1 last) is covered again ``time_s + x * travel_s`` after its first curtain started, so
a slow flash loses its tail in the rows that are covered first, and with a time shorter than the curtain's travel a band
of the frame gets nothing at all.  A rolling electronic shutter does the same with its readout time as travel.

Pure formulas on the standard library.  They raise ``ValueError``.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from typing import Any, NamedTuple

from meterlink.photometry.exposure import positive

KINDS = ("focal-plane", "leaf", "electronic")
SYNC_SPEED_S = 1 / 200
"""Fastest time fully open of a focal-plane shutter (common practice, no published source); a camera's own belongs here."""
_ROWS = 101
_VISIBLE_STOPS = 0.1


class Shutter(NamedTuple):
    """A shutter at one setting."""

    kind: str
    time_s: float
    """Exact time of the setting (1/60 is 1/64 s), the same for every row."""
    travel_s: float = 0.0
    """Curtain travel, readout time of a rolling shutter, or opening plus closing time of leaves; 0 for a global one."""
    delay_s: float = 0.0
    """From fully open to the start of the flash (radio triggers add to it)."""


class Kept(NamedTuple):
    """Share of a flash that the rows of a frame get, 0 to 1."""

    least: float
    most: float
    mean: float
    band_share: float
    """Part of the frame's height that loses more than a tenth of a stop against the best row."""
    dark_share: float
    """Part of the frame's height that gets nothing."""

    @property
    def loss_stops(self) -> float:
        """Stops lost in the worst row (negative or 0; minus infinity where it gets nothing)."""
        return math.log2(self.least) if self.least > 0.0 else -math.inf


def _checked(shutter: Shutter) -> Shutter:
    if shutter.kind not in KINDS:
        raise ValueError(f"kind of shutter is one of {', '.join(KINDS)}, got {shutter.kind!r}")
    positive(shutter.time_s, "shutter time")
    if not (0.0 <= shutter.travel_s < math.inf and 0.0 <= shutter.delay_s < math.inf):
        raise ValueError("curtain travel and delay must be zero or positive")
    return shutter


def fully_open_s(shutter: Shutter) -> float:
    """Return how long the whole frame is open at once, in s: shutter time less curtain travel, at least 0."""
    return max(0.0, _checked(shutter).time_s - shutter.travel_s)


def window_s(shutter: Shutter, row: float = 0.0) -> float:
    """Return how long after the start of the flash a row stays open, in s; row 0 is covered first, 1 last.

    Leaves are marked from half open to half closed and fire the flash when fully open, so half of their travel is lost.
    """
    _checked(shutter)
    if not 0.0 <= row <= 1.0:
        raise ValueError(f"row is between 0 and 1, got {row!r}")
    if shutter.kind == "leaf":
        return max(0.0, shutter.time_s - shutter.travel_s / 2.0 - shutter.delay_s)
    return max(0.0, shutter.time_s - (1.0 - row) * shutter.travel_s - shutter.delay_s)


def kept(shutter: Shutter, share_until: Callable[[float], float]) -> Kept:
    """Return what the frame keeps; ``share_until(s)`` is the share of the flash within s of its start, 0 to 1."""
    rows = 1 if _checked(shutter).kind == "leaf" or shutter.travel_s == 0.0 else _ROWS
    places = [0.0] if rows == 1 else [k / (rows - 1) for k in range(rows)]
    shares = [min(1.0, max(0.0, share_until(window_s(shutter, place)))) for place in places]
    best = max(shares)
    limit = best * math.exp2(-_VISIBLE_STOPS)
    dark = sum(share <= 0.0 for share in shares) / rows
    return Kept(min(shares), best, math.fsum(shares) / rows, sum(s < limit for s in shares) / rows, dark)


def share_within(window_s: float, t01_s: float) -> float:
    """Return the share of an exponential flash within a window from its peak: 1 - 10**(-window / t0.1).

    t0.1 holds 90 % of an exponential flash, twice t0.1 holds 99 %.  Cut-off heads end sooner, so this keeps to the safe side.
    """
    return 1.0 - 10.0 ** (-max(window_s, 0.0) / positive(t01_s, "t0.1")) if window_s < math.inf else 1.0


def kept_of_t01(shutter: Shutter, t01_s: float) -> Kept:
    """Return what the frame keeps of a flash of which only t0.1 is known, taken as an exponential."""
    return kept(shutter, lambda window: share_within(window, t01_s))


def kept_of_wave(shutter: Shutter, time_s: Sequence[float], light_lx: Sequence[float], start_s: float) -> Kept:
    """Return what the frame keeps of a recorded flash (light above ambient) that starts at ``start_s``."""
    return kept(shutter, share_of_wave(time_s, light_lx, start_s))


def share_of_wave(time_s: Sequence[float], light_lx: Sequence[float], start_s: float) -> Callable[[float], float]:
    """Return the function window -> share of a recorded flash within that window, by the trapezoidal rule."""
    if len(time_s) < 2 or len(light_lx) != len(time_s):
        raise ValueError("a recorded flash needs as many times as samples, at least two")
    times = [float(t) for t in time_s]
    light = [float(v) for v in light_lx]
    steps = ((t1 - t0) * (a + b) / 2.0 for (t0, t1), (a, b) in zip(pairwise(times), pairwise(light), strict=True))
    sums = list(accumulate(steps, initial=0.0))
    total = sums[-1]
    if not total > 0.0:
        raise ValueError("a recorded flash needs light above ambient")
    before = exposure_until(times, light, sums, start_s)
    return lambda window: (exposure_until(times, light, sums, start_s + window) - before) / total


def exposure_until(time_s: Any, light_lx: Any, sums_lxs: Any, moment_s: float) -> float:
    """Return the exposure up to a moment, in lx·s: straight between samples (lists or arrays), ``sums_lxs`` up to each of them."""
    if moment_s <= time_s[0]:
        return 0.0
    if moment_s >= time_s[-1]:
        return float(sums_lxs[-1])
    k = bisect_right(time_s, moment_s) - 1
    x = moment_s - time_s[k]
    slope = (light_lx[k + 1] - light_lx[k]) / (time_s[k + 1] - time_s[k])
    return float(sums_lxs[k] + x * (light_lx[k] + slope * x / 2.0))


def train_exposure_lxs(mean_lx: float, shutter: Shutter) -> float:
    """Return the exposure of high-speed sync or other pulsing light: mean level times the time each row is open."""
    if not 0.0 <= mean_lx < math.inf:
        raise ValueError(f"mean level must be zero or positive, got {mean_lx!r}")
    return mean_lx * _checked(shutter).time_s


def beyond_sync(shutter: Shutter, sync_speed_s: float = SYNC_SPEED_S) -> bool:
    """Say whether a shutter is faster than the sync speed, so that a part of the frame may stay dark; a leaf shutter never is."""
    # 1/200 as printed is 1/203 s exactly: a hundredth of a stop of room keeps nominal values equal
    limit_s = positive(sync_speed_s, "sync speed") * math.exp2(-0.05)
    return _checked(shutter).kind != "leaf" and shutter.time_s < limit_s
