"""The geometry of one reading, completed by the assumptions, and what light it implies.

``case_of`` turns a reading and its placement into a ``Case``: checked, in metres and degrees, with the uncertainties and the
assumed values of whatever nobody declared.  ``change_of`` gives the change from the dome to the point as a function of
both distances: in closed form on the axis, by ``receptors`` off it, by quadrature for narrow emitters and measured
angle responses, or along a measured falloff.

Standard library only: this module is on the start-up path of the ratio table.
"""

from __future__ import annotations

from collections.abc import Callable
from math import acos, cos, degrees, log, log2, radians, sqrt
from typing import NamedTuple, Protocol, TypeAlias

from meterlink.photometry import geometry
from meterlink.photometry.angle import measured_response
from meterlink.photometry.quadrature import illuminance
from meterlink.photometry.receptors import Vector, receive, response
from meterlink.photometry.sources import Point, Source, checked_length, on_axis, source_of
from meterlink.records.kept import Placement, Reading, Settings
from meterlink.words.told import NOTHING, Told, told

ASSUMED_DISTANCE_M = (0.5, 4.0)
"""A light whose distance nobody typed stands somewhere in here, each doubling as likely as the next."""
ASSUMED_ELEVATION_DEG = 20.0
U_ASSUMED_ELEVATION_DEG = 15.0
"""A light with an azimuth only: keys and fills stand between eye height and well above it (common practice)."""
MOST_RECESS_M = 2.0
_LN2 = log(2.0)


class Refused(ValueError):
    """A geometry that allows no figure; ``why`` says why not."""

    def __init__(self, why: Told) -> None:
        super().__init__(why)
        self.why = why

    def __str__(self) -> str:
        return str(self.why)


def refusal_of(error: ValueError) -> Told:
    """Return why a geometry was refused: a code with its numbers, or what a formula said of a value that cannot be."""
    return error.why if isinstance(error, Refused) else told("formula", why=str(error))


def no_place(source: Source, position: Vector, what: str) -> Told:
    """Return why no figure can be given for ``what`` (``the_dome``, ``the_point``) at a position in the source's frame."""
    gap_m = geometry.gap(source, position)
    size_m = source.largest_dimension_m
    if gap_m is None:
        return told("not_in_front", what=told(what))
    if gap_m < geometry.SURROUNDS * size_m:
        return told("surrounded", what=told(what), gap_m=gap_m, size_m=size_m, least_m=geometry.SURROUNDS * size_m)
    return NOTHING


class Falloff(Protocol):
    """A measured falloff of a modifier (see ``meterlink.photometry.falloff``)."""

    def change_stops(self, from_m: float, to_m: float) -> float:
        """Return log2(E(to) / E(from)) on the axis."""

    def u_change_stops(self, from_m: float, to_m: float) -> float:
        """Return its standard uncertainty, growing outside the measured range."""


class Case(NamedTuple):
    """The geometry of one reading, checked and completed by the assumptions."""

    source: Source
    emission_n: float
    receptor: str
    aim: str
    toward: str
    distance_m: float
    u_distance_m: float
    held_off_m: float
    u_held_off_m: float
    azimuth_deg: float | None
    elevation_deg: float
    u_azimuth_deg: float
    u_elevation_deg: float
    feather_deg: float
    angle_response: tuple[tuple[float, float], ...]

    @property
    def axial(self) -> bool:
        """Whether everything happens on the source's axis, so that directions do not matter."""
        return self.toward == "light" and self.aim == "light" and not self.feather_deg


Change: TypeAlias = "Callable[[float, float], float]"
"""(light's distance, held-off distance) in metres -> correction in stops."""


def case_of(
    reading: Reading,
    placement: Placement,
    settings: Settings,
    angle_response: tuple[tuple[float, float], ...] = (),
) -> Case:
    """Return the geometry of ``reading``; missing distances are filled in by assumptions.

    Raises ValueError, in words, for a size, distance or angle that cannot be.
    """
    source = source_of(*placement.surface)
    if placement.distance_m is None:
        distance = sqrt(ASSUMED_DISTANCE_M[0] * ASSUMED_DISTANCE_M[1])
        u_distance = 0.0
    else:
        distance = checked_length(placement.distance_m, "the light's distance")
        u_distance = settings.u_distance_m(distance, placement.u_distance_m)
        if not 0.0 <= u_distance < distance:
            raise ValueError(f"the light's distance is {distance:g} m uncertain by {u_distance!r} m: it must be less")
    if not 0.0 <= placement.recess_m <= MOST_RECESS_M:
        raise ValueError(f"the recess is {placement.recess_m!r} m: it must be 0 to {MOST_RECESS_M:g} m")
    if source.shape == "point":
        distance += placement.recess_m
    response(reading.receptor, 1.0)
    held_off, u_held_off = _held_off(reading, settings)
    elevation, u_elevation = placement.elevation_deg, settings.u_direction_deg
    if elevation is None:
        elevation, u_elevation = ASSUMED_ELEVATION_DEG, U_ASSUMED_ELEVATION_DEG
    return Case(
        source,
        emission_of(placement),
        reading.receptor,
        reading.aim,
        reading.held_off_toward if reading.held_off_m is not None else "light",
        distance,
        u_distance,
        held_off,
        u_held_off,
        placement.azimuth_deg,
        elevation,
        settings.u_direction_deg,
        u_elevation,
        placement.feather_deg,
        angle_response,
    )


def _held_off(reading: Reading, settings: Settings) -> tuple[float, float]:
    """Held-off distance and its uncertainty as declared; undeclared: the middle of the assumed reach."""
    held_off = reading.held_off_m
    if held_off is None:
        return (settings.assumed_reach_min_m + settings.assumed_reach_max_m) / 2, 0.0
    if not 0.0 <= held_off <= 50.0:
        raise ValueError(f"the held-off distance is {held_off!r} m: it must be 0 to 50 m")
    u = reading.u_held_off_m
    if u is None:
        return held_off, settings.u_held_off_m(held_off)
    if not 0.0 <= u <= 50.0:
        raise ValueError(f"the uncertainty of the held-off distance is {u!r} m: it must be 0 to 50 m")
    return held_off, u


def emission_of(placement: Placement) -> float:
    """Exponent of the emission; a grid narrows it so that half the intensity is left at half its angle."""
    if not 0.0 < placement.emission_n <= 1000.0:
        raise ValueError(f"the emission exponent is {placement.emission_n!r}: it must be above 0, 1 is a diffuser")
    if placement.grid_deg is None or placement.emission_n != 1.0:
        return placement.emission_n
    return max(1.0, -_LN2 / log(cos(radians(min(85.0, max(2.0, placement.grid_deg / 2))))))


def axial_light(source: Source, distance_m: float, receptor: str, emission_n: float) -> tuple[float, float]:
    """Illuminance on the axis and its logarithmic slope in 1/m, by quadrature for a narrow rectangle."""
    if emission_n == 1.0 or source.shape != "rectangle":
        return on_axis(source, distance_m, receptor, emission_n)
    step = 1e-4 * distance_m
    below, here, above = (
        illuminance(source, (0.0, 0.0, z), (0.0, 0.0, -1.0), receptor, emission_n)
        for z in (distance_m - step, distance_m, distance_m + step)
    )
    return here, (log(above) - log(below)) / (2 * step)


def case_light(case: Case, distance_m: float, falloff: Falloff | None = None) -> tuple[float, float]:
    """Illuminance on the axis and its logarithmic slope in 1/m: measured, or that of the source."""
    if falloff is None:
        return axial_light(case.source, distance_m, case.receptor, case.emission_n)
    step = 1e-4 * distance_m
    slope = falloff.change_stops(distance_m - step, distance_m + step) * _LN2 / (2 * step)
    return 2.0 ** falloff.change_stops(case.distance_m, distance_m), slope


def change_of(case: Case, light: Vector, falloff: Falloff | None = None, as_point: bool = False) -> Change:
    """Return the correction as a function of both distances, for a light in this direction."""
    source = Point() if as_point else case.source

    def change(distance_m: float, held_off_m: float) -> float:
        if case.axial and not case.angle_response:
            near = distance_m - held_off_m
            if falloff is not None and not as_point:
                return falloff.change_stops(near, distance_m)
            here = case._replace(source=source)
            return log2(case_light(here, distance_m)[0] / case_light(here, near)[0])
        frame = geometry.frame_of(light, distance_m, case.feather_deg)
        held = geometry.held_off_vector(case.toward, held_off_m, light)
        at_point = _light_at(case, source, frame, (0.0, 0.0, 0.0))
        at_dome = _light_at(case, source, frame, held)
        if at_point <= 0.0 or at_dome <= 0.0:
            raise Refused(told("not_seen"))
        stops = log2(at_point / at_dome)
        if falloff is not None and not as_point:
            near = geometry.length(frame.position(held))
            stops += falloff.change_stops(near, distance_m) - source.change_stops(near, distance_m)
        return stops

    return change


def _light_at(case: Case, source: Source, frame: geometry.Frame, place: Vector) -> float:
    """What the receptor receives at a place of the set, aimed as the reading was."""
    position = frame.position(place)
    why = no_place(source, position, "the_dome")
    if why:
        raise Refused(why)
    normal = frame.turned(geometry.receptor_normal(case.aim, place, frame))
    if case.emission_n == 1.0 and not case.angle_response:
        return receive(source, position, normal, case.receptor)
    if not case.angle_response:
        return illuminance(source, position, normal, case.receptor, case.emission_n)
    seen = measured_response(case.angle_response, case.receptor)
    return illuminance(source, position, normal, lambda cosine: seen(degrees(acos(max(-1.0, min(1.0, cosine))))), case.emission_n)
