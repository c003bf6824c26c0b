"""How far is too far?  The largest held-off distance that keeps a reading right, said before it is taken."""

from typing import NamedTuple

from meterlink.judging.case import Falloff, case_of, change_of
from meterlink.photometry import geometry
from meterlink.records.kept import FACE, Placement, Reading, Settings
from meterlink.words.told import Told, told

MOST_M = 1.0
"""Farther than an arm's length nobody holds a dome off a face."""


class Reach(NamedTuple):
    """Largest held-off distances in metres; None when the light's distance is not given or it cannot be."""

    good_m: float | None
    """Within 0.1 stop (``Settings.good_correction_stops``)."""
    usable_m: float | None
    """Within a third of a stop (``Settings.corrected_u95_stops``)."""
    toward: str = "light"

    def advice(self, light: str, point: str = FACE) -> Told:
        """Return the advice."""
        if self.good_m is None:
            return told("reach_no_distance", light=light, point=point)
        if self.good_m >= MOST_M:
            return told("reach_anywhere", light=light, point=point)
        good = centimetres(self.good_m)
        if self.usable_m is None or self.usable_m >= MOST_M:
            return told("reach_within", good_cm=good, point=point, light=light)
        return told("reach_within_third", good_cm=good, usable_cm=centimetres(self.usable_m), point=point, light=light)


def centimetres(length_m: float) -> int:
    """Whole centimetres, rounded down: the advice must stay on the safe side."""
    return int(length_m * 100 + 1e-6)


def reach_of(
    placement: Placement | None,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    receptor: str = "dome",
    aim: str = "light",
    toward: str = "light",
    falloff: Falloff | None = None,
) -> Reach:
    """Return how far the dome may be held off ``toward`` a direction for the light in ``placement``."""
    if placement is None or placement.distance_m is None:
        return Reach(None, None, toward)
    good, usable = (
        reach_within(placement, limit, settings, receptor=receptor, aim=aim, toward=toward, falloff=falloff)
        for limit in (settings.good_correction_stops, settings.corrected_u95_stops)
    )
    return Reach(good, usable, toward)


def costs_more(placement: Placement, settings: Settings, falloff: Falloff | None = None) -> bool:
    """Say whether the far end of the assumed reach costs more than ``good_correction_stops``; quicker than the limit."""
    read = Reading("", "", None, None, "", "", 0.0, held_off_m=0.0)
    try:
        case = case_of(read, placement, settings)
        change = change_of(case, geometry.direction(0.0), falloff)
        return (
            placement.distance_m is not None
            and abs(change(case.distance_m, min(settings.assumed_reach_max_m, 0.9 * case.distance_m)))
            > settings.good_correction_stops
        )
    except ValueError:
        return False


def reach_within(
    placement: Placement,
    limit_stops: float,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    receptor: str = "dome",
    aim: str = "light",
    toward: str = "light",
    falloff: Falloff | None = None,
) -> float | None:
    """Return the largest held-off distance (up to 1 m) whose correction stays within ``limit_stops`` either way.

    The correction grows steadily from 0, so the first crossing is found by bisection to a tenth of a millimetre; None
    when the geometry cannot be.  Raises ValueError for a limit that is not above 0.
    """
    if not limit_stops > 0.0:
        raise ValueError(f"the limit is {limit_stops!r} stop: it must be above 0")
    read = Reading("", "", None, None, "", "", 0.0, receptor=receptor, aim=aim, held_off_toward=toward, held_off_m=0.0)
    try:
        case = case_of(read, placement, settings)
        azimuth = 0.0 if case.azimuth_deg is None else case.azimuth_deg
        change = change_of(case, geometry.direction(azimuth, case.elevation_deg), falloff)
    except ValueError:
        return None
    distance = case.distance_m
    nearest = geometry.SURROUNDS * case.source.largest_dimension_m

    def within(held_m: float) -> bool | None:
        if case.axial and distance - held_m <= nearest:
            return None
        try:
            return abs(change(distance, held_m)) <= limit_stops
        except ValueError:
            return None

    if within(0.0) is None:
        return None
    low, high = 0.0, MOST_M
    step = 0.02
    while step <= MOST_M:
        if not within(step):
            high = step
            break
        low = step
        step *= 1.5
    else:
        return MOST_M
    while high - low > 1e-4:
        middle = (low + high) / 2
        if within(middle):
            low = middle
        else:
            high = middle
    return low
