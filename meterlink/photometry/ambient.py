"""Room light in a flash picture: what it adds, its share, the ghost it leaves, and what brings it down.

k is by how many stops the flash exceeds the room light at the working shutter, k = log2(H / (E * t)).
Pure formulas on the standard library.  They raise ``ValueError``.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from meterlink.photometry.exposure import finite, positive

CLEAN_STOPS = (2.0, 4.0)
"""Common practice (no published source): a flash two to four stops above the room is clean."""
LITTLE_STOPS = 0.1
"""An addition below this is not seen; it is reached from 3.8 stops on."""


class RoomLight(NamedTuple):
    """What the room light does at one part of the picture."""

    part: str
    flash_over_room_stops: float
    added_stops: float
    share: float
    """Part of the picture's exposure there, 0 to 1: also the strength of the ghost of something that moves."""
    ghost_stops: float
    """How far below the picture the ghost lies: log2 of the share, negative."""
    verdict: str
    """``clean`` (adds less than a tenth of a stop), ``visible``, ``ghosts`` (flash less than two stops above the room)."""


class Remedy(NamedTuple):
    """What brings the room light down to a wanted distance below the flash."""

    stops: float
    """So many stops are missing, 0 or less when none are: so much more flash power would do it, the aperture closed by as much."""
    shutter_s: float
    """The shutter time that would do it alone."""


def flash_over_room_stops(exposure_lxs: float, illuminance_lx: float, time_s: float) -> float:
    """Return k = log2(H / (E * t)); plus infinity in a dark room."""
    flash = positive(exposure_lxs, "exposure_lxs")
    if illuminance_lx == 0.0:
        return math.inf
    return math.log2(flash) - math.log2(positive(illuminance_lx, "illuminance_lx") * positive(time_s, "time_s"))


def added_stops(k: float) -> float:
    """Return by how many stops the room light raises the flash exposure: log2(1 + 2**-k).  0.32 at k = 2."""
    if k == math.inf:
        return 0.0
    finite(k, "k")
    # for a room far brighter than the flash, 2**-k would overflow
    return math.log1p(math.exp2(-k)) / math.log(2.0) if k > -1000.0 else -k


def room_share(k: float) -> float:
    """Return the part of the exposure that is room light: 1 / (1 + 2**k)."""
    return 0.0 if k > 1000.0 else 1.0 / (1.0 + math.exp2(finite(k, "k")))


def stops_for_added(added: float) -> float:
    """Return the k at which the room adds so many stops (above 0): -log2(2**added - 1).  3.80 for a tenth."""
    return -math.log2(math.expm1(positive(added, "added") * math.log(2.0)))


def judge(exposure_lxs: float, illuminance_lx: float, time_s: float, part: str = "") -> RoomLight:
    """Return what the room light does where the flash gives this exposure."""
    k = flash_over_room_stops(exposure_lxs, illuminance_lx, time_s)
    share, added = room_share(k), added_stops(k)
    verdict = "clean" if added < LITTLE_STOPS else "ghosts" if k < CLEAN_STOPS[0] else "visible"
    return RoomLight(part, k, added, share, math.log2(share) if share > 0.0 else -math.inf, verdict)


def remedy(exposure_lxs: float, illuminance_lx: float, time_s: float, wanted_k: float) -> Remedy:
    """Return what puts the flash ``wanted_k`` stops above the room: a shorter shutter, or more flash and a smaller aperture."""
    missing = finite(wanted_k, "wanted_k") - flash_over_room_stops(exposure_lxs, illuminance_lx, time_s)
    return Remedy(missing, time_s * math.exp2(-missing))


def modelling_illuminance(on_lx: float, off_lx: float) -> float:
    """Return what the modelling lamps add: room light read with them on less read with them off (not below 0)."""
    if not (0.0 <= on_lx < math.inf and 0.0 <= off_lx < math.inf):
        raise ValueError("illuminances must be zero or positive")
    return max(0.0, on_lx - off_lx)
