"""From the light at the dome to the light at the point: how many stops, and how sure.

The correction is the ratio of what this source gives this receptor at the point and at the dome, in stops, to be added
to the reading: negative when the dome was nearer to the light than the point.  Parts of its uncertainty (k=1, stops):

* model: a uniform source is the middle case; a real one has a hot spot and lies between uniform and point.  The
  correction is taken as triangular between the two with its mode at the uniform (or declared cos**n) source,
  since mild hot spots are common and true points are not; only a measured falloff narrows it;
* distance: the light's distance;
* held off: the dome's distance from the point, declared or assumed;
* direction: azimuth and elevation, where the geometry depends on them.

An undeclared held-off distance is not zero: it is taken as uniform over the assumed reach toward the light, in bias
and uncertainty.  Where the relative uncertainty of the dome's distance to the light is above 0.1, first order is not
enough and the correction is integrated over both distances (Gauss-Hermite, 5 by 5 nodes).

Standard library only: this module is on the start-up path of the ratio table.
"""

from math import exp, log, log2, sqrt
from typing import NamedTuple, TypeAlias

from meterlink.judging.case import (
    ASSUMED_DISTANCE_M,
    Case,
    Change,
    Falloff,
    Refused,
    axial_light,
    case_light,
    case_of,
    change_of,
    no_place,
    refusal_of,
)
from meterlink.photometry import geometry
from meterlink.photometry.receptors import Vector
from meterlink.records.kept import Placement, Reading, Settings
from meterlink.words.told import NOTHING, Told, told

FIRST_ORDER_LIMIT = 0.1
_LN2 = log(2.0)
_FROM_MODE = 1 / sqrt(6.0)
"""``triangular_u`` from one end."""

_REACH_NODES = ((-0.7745966692414834, 5 / 18), (0.0, 8 / 18), (0.7745966692414834, 5 / 18))
"""Gauss-Legendre, 3 nodes, weights of a uniform density."""
_HERMITE = (
    (-2.8569700138728056, 0.011257411327720689),
    (-1.355626179974266, 0.22207592200561266),
    (0.0, 0.53333333333333333),
    (1.355626179974266, 0.22207592200561266),
    (2.8569700138728056, 0.011257411327720689),
)
"""Gauss-Hermite for a standard normal density, 5 nodes."""


class Correction(NamedTuple):
    """What to add to a reading, in stops.  ``stops`` is None when nothing can be said; ``refusal`` says why."""

    stops: float | None
    u_stops: float = 0.0
    """Standard uncertainty of all parts together."""
    model_u_stops: float = 0.0
    distance_u_stops: float = 0.0
    held_off_u_stops: float = 0.0
    direction_u_stops: float = 0.0
    inverse_square_stops: float | None = None
    """What inverse square alone would say, for comparison."""
    held_off_m: float = 0.0
    """Declared, or the middle of the assumed reach."""
    toward: str = "light"
    assumed_reach: bool = False
    """Nobody declared the held-off distance."""
    assumed_distance: bool = False
    """Nobody gave the light's distance."""
    slope_distance: float = 0.0
    """Change of the correction with the light's distance, stops per metre."""
    slope_held_off: float = 0.0
    """Change of the correction with the held-off distance, stops per metre."""
    refusal: Told = NOTHING


Nodes: TypeAlias = "tuple[tuple[float, float], ...]"
"""(value, weight) of a quadrature rule."""


def triangular_u(mode: float, one_end: float, other_end: float) -> float:
    """Return the root mean square deviation from the mode of a triangular density between two ends.

    Taken about the mode and not the mean, since the mode is what is reported.
    """
    low, high = min(one_end, other_end, mode), max(one_end, other_end, mode)
    p, q = mode - low, high - mode
    return sqrt((p * p - p * q + q * q) / 6)


def correct(
    reading: Reading,
    placement: Placement,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    falloff: Falloff | None = None,
    angle_response: tuple[tuple[float, float], ...] = (),
) -> Correction:
    """Return the correction of ``reading`` to the light's point, with its uncertainty and where it comes from.

    ``falloff`` is what was measured of this very modifier and beats every model.  ``angle_response`` are measured
    (degrees, response) pairs of the receptor.  Never raises for a geometry that cannot be: the answer then has no
    stops and a ``refusal``.
    """
    try:
        case = case_of(reading, placement, settings, angle_response)
        return _corrected(case, reading.held_off_m is None, placement.distance_m is None, settings, falloff)
    except ValueError as error:
        why = refusal_of(error)
        return Correction(None, toward=reading.held_off_toward, held_off_m=reading.held_off_m or 0.0, refusal=why)


def _corrected(case: Case, assumed_reach: bool, assumed_distance: bool, settings: Settings, falloff: Falloff | None) -> Correction:
    """Correction of a checked case."""
    axial = case.axial
    distance, held = case.distance_m, case.held_off_m
    near = distance - held if case.toward == "light" else distance
    if not axial or near < geometry.SURROUNDS * case.source.largest_dimension_m or near <= 0.0:
        why = _refused(case, axial)
        if why:
            raise Refused(why)
    wide = not assumed_distance and case.u_distance_m**2 + case.u_held_off_m**2 > (FIRST_ORDER_LIMIT * near) ** 2
    reaches = _reach_nodes(settings) if assumed_reach else ((held, 1.0),)
    farthest = max(value for value, _ in reaches)
    if assumed_reach and case.toward == "light" and farthest >= distance:
        raise Refused(told("reach_reaches_light", distance_m=distance))
    if axial and not wide and not assumed_distance and not case.angle_response:
        return _axial(case, reaches, assumed_reach, falloff)
    distances = _distance_nodes() if assumed_distance else ((distance, 1.0),)
    nodes = [(d, h, wd * wh) for d, wd in distances for h, wh in reaches]
    return _general(case, nodes, wide, assumed_reach, assumed_distance, falloff)


def _refused(case: Case, axial: bool) -> Told:
    """Why no figure can be given; nothing when one can."""
    if case.toward == "light" and case.held_off_m >= case.distance_m:
        return told("behind_light", held_off_m=case.held_off_m, distance_m=case.distance_m)
    if axial:
        return no_place(case.source, (0.0, 0.0, case.distance_m - case.held_off_m), "the_dome")
    light = _directions(case)[0]
    frame = geometry.frame_of(light, case.distance_m, case.feather_deg)
    at_point = no_place(case.source, frame.position((0.0, 0.0, 0.0)), "the_point")
    held = geometry.held_off_vector(case.toward, case.held_off_m, light)
    return at_point or no_place(case.source, frame.position(held), "the_dome")


def _axial(case: Case, reaches: Nodes, assumed_reach: bool, falloff: Falloff | None) -> Correction:
    """Everyday case: on the axis, first order in both distances, closed forms with their slopes."""
    far = case.distance_m
    narrow = case.emission_n != 1.0
    at_point, slope_far = case_light(case, far, falloff)
    stops = inverse_square = uniform = slope_near = square = 0.0
    for held, weight in reaches:
        near = far - held
        at_dome, slope = case_light(case, near, falloff)
        change = log2(at_point / at_dome)
        stops += weight * change
        square += weight * change * change
        slope_near += weight * slope
        inverse_square += weight * 2.0 * log2(near / far)
        if narrow and falloff is None:
            uniform += weight * log2(
                axial_light(case.source, far, case.receptor, 1.0)[0] / axial_light(case.source, near, case.receptor, 1.0)[0]
            )
    if falloff is not None:
        model = falloff.u_change_stops(far - case.held_off_m, far)
    elif narrow:
        model = triangular_u(stops, uniform, inverse_square)
    else:
        model = abs(stops - inverse_square) * _FROM_MODE
    slope_distance = (slope_far - slope_near) / _LN2
    slope_held = slope_near / _LN2
    u_distance = abs(slope_distance) * case.u_distance_m
    u_held = sqrt(max(0.0, square - stops * stops) + (slope_held * case.u_held_off_m) ** 2)
    return Correction(
        stops,
        sqrt(model * model + u_distance * u_distance + u_held * u_held),
        model,
        u_distance,
        u_held,
        0.0,
        inverse_square,
        case.held_off_m,
        case.toward,
        assumed_reach,
        False,
        slope_distance,
        slope_held,
    )


def _distance_nodes() -> Nodes:
    """Distances of a light that nobody measured, evenly spread in doublings, with their weights."""
    low, high = log(ASSUMED_DISTANCE_M[0]), log(ASSUMED_DISTANCE_M[1])
    return tuple((exp((low + high + (high - low) * t) / 2), w) for t, w in _REACH_NODES)


def _reach_nodes(settings: Settings) -> Nodes:
    """Held-off distances that nobody declared, evenly spread over the assumed reach, with their weights."""
    low, high = settings.assumed_reach_min_m, settings.assumed_reach_max_m
    if not 0.0 <= low <= high:
        raise ValueError(f"the assumed reach is {low!r} to {high!r} m: it must be 0 or more, the smaller first")
    return tuple(((low + high + (high - low) * t) / 2, w) for t, w in _REACH_NODES)


def _directions(case: Case) -> list[Vector]:
    """The light's direction, or a spread of likely ones when nobody gave it and it matters."""
    if case.azimuth_deg is not None:
        return [geometry.direction(case.azimuth_deg, case.elevation_deg)]
    if case.axial:
        return [geometry.direction(0.0)]
    return [geometry.direction(a, e) for a in (0.0, 30.0, -30.0, 60.0, -60.0, 90.0, -90.0) for e in (0.0, 30.0)]


def _general(
    case: Case,
    nodes: list[tuple[float, float, float]],
    wide: bool,
    assumed_reach: bool,
    assumed_distance: bool,
    falloff: Falloff | None,
) -> Correction:
    """Any geometry: evaluate at the nodes of what is unknown, differentiate by what is known only roughly."""
    lights = _directions(case)
    values, points, squares, weights = [], [], [], []
    for light in lights:
        middle = change_of(case, light, falloff)
        bare = change_of(case, light, None, as_point=True)
        for d, h, w in _spread(case, nodes, wide):
            values.append(middle(d, h))
            points.append(bare(d, h))
            squares.append(_inverse_square(case, light, d, h))
            weights.append(w / len(lights))
    stops = sum(w * v for w, v in zip(weights, values, strict=True))
    spread = sum(w * (v - stops) ** 2 for w, v in zip(weights, values, strict=True))
    as_point = sum(w * v for w, v in zip(weights, points, strict=True))
    light = lights[0]
    middle = change_of(case, light, falloff)
    d, h = case.distance_m, case.held_off_m
    slope_d, slope_h = _slopes(case, middle)
    u_distance = 0.0 if wide else abs(slope_d) * case.u_distance_m
    u_held = 0.0 if wide else abs(slope_h) * case.u_held_off_m
    u_direction = _direction_u(case, falloff) if case.azimuth_deg is not None and not case.axial else 0.0
    # What the nodes spread belongs to the held-off distance, unless only the light's distance or direction is unknown.
    if len(lights) > 1 and not wide:
        u_direction = sqrt(spread)
    elif assumed_distance and not assumed_reach:
        u_distance = sqrt(u_distance**2 + spread)
    else:
        u_held = sqrt(u_held**2 + spread)
    if falloff is not None:
        model = falloff.u_change_stops(max(d - h, 0.1 * d), d)
    else:
        uniform = stops
        if case.emission_n != 1.0:
            uniform = stops + change_of(case._replace(emission_n=1.0), light, None)(d, h) - middle(d, h)
        model = triangular_u(stops, uniform, as_point)
    total = sqrt(model**2 + u_distance**2 + u_held**2 + u_direction**2)
    return Correction(
        stops,
        total,
        model,
        u_distance,
        u_held,
        u_direction,
        sum(w * v for w, v in zip(weights, squares, strict=True)),
        case.held_off_m,
        case.toward,
        assumed_reach,
        assumed_distance,
        slope_d,
        slope_h,
    )


def _spread(case: Case, nodes: list[tuple[float, float, float]], wide: bool) -> list[tuple[float, float, float]]:
    """Nodes widened by both distances' uncertainties where first order is not enough."""
    if not wide:
        return nodes
    floor = max(geometry.SURROUNDS * case.source.largest_dimension_m, 0.02 * case.distance_m)
    result = []
    for d, h, w in nodes:
        for td, wd in _HERMITE:
            for th, wh in _HERMITE:
                far = max(d + td * case.u_distance_m, 2 * floor)
                held = min(max(h + th * case.u_held_off_m, 0.0), far - floor)
                result.append((far, held, w * wd * wh))
    return result


def _slopes(case: Case, change: Change) -> tuple[float, float]:
    """Slopes of the correction with both distances, stops per metre, by central differences over small steps."""
    d, h = case.distance_m, case.held_off_m
    near = max(d - h, 0.05 * d) if case.toward == "light" else d
    step = 1e-3 * near
    slope_d = (change(d + step, h) - change(d - step, h)) / (2 * step)
    low = max(0.0, h - step)
    slope_h = (change(d, h + step) - change(d, low)) / (h + step - low)
    return slope_d, slope_h


def _direction_u(case: Case, falloff: Falloff | None) -> float:
    """Uncertainty from azimuth and elevation: half the difference over plus and minus one standard uncertainty."""
    azimuth = case.azimuth_deg or 0.0
    total = 0.0
    for da, de in ((case.u_azimuth_deg, 0.0), (0.0, case.u_elevation_deg)):
        ends = []
        for sign in (1.0, -1.0):
            elevation = min(90.0, max(-90.0, case.elevation_deg + sign * de))
            light = geometry.direction((azimuth + sign * da) % 360.0, elevation)
            ends.append(change_of(case, light, falloff)(case.distance_m, case.held_off_m))
        total += ((ends[0] - ends[1]) / 2) ** 2
    return sqrt(total)


def _inverse_square(case: Case, light: Vector, distance_m: float, held_off_m: float) -> float:
    """What inverse square alone says: twice log2 of the ratio of both distances from the source's centre."""
    if case.toward == "light":
        return 2.0 * log2((distance_m - held_off_m) / distance_m)
    held = geometry.held_off_vector(case.toward, held_off_m, light)
    centre = (light[0] * distance_m, light[1] * distance_m, light[2] * distance_m)
    near = geometry.length((centre[0] - held[0], centre[1] - held[1], centre[2] - held[2]))
    return 2.0 * log2(near / distance_m)
