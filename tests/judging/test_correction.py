"""The correction against a simulator of its own (scipy in the set's coordinates), its parts, its refusals."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad

from meterlink.judging.correction import correct, triangular_u
from meterlink.records import Placement, Reading, Settings

SETTINGS = Settings()


def reading(**fields: Any) -> Reading:
    """A reading of 160 lx·s (f/8 at ISO 100 and C 250)."""
    base = {"held_off_m": 0.2, "exposure_lxs": 160.0}
    return Reading("r", "s", "l", "p", "c", "x", 0.0, **{**base, **fields})


def placement(**fields: Any) -> Placement:
    """A disk of 90 cm a metre away, unless said otherwise."""
    base = {"shape": "disk", "width_m": 0.9, "distance_m": 1.0, "azimuth_deg": 40.0, "elevation_deg": 25.0}
    return Placement("p", "l", 0.0, **{**base, **fields})


def simulated(read: Reading, place: Placement) -> float:
    """Correction in stops from scipy's dblquad over the source, in the coordinates of the set."""
    az, el = math.radians(place.azimuth_deg or 0.0), math.radians(place.elevation_deg or 0.0)
    light = np.array([math.sin(az) * math.cos(el), math.sin(el), math.cos(az) * math.cos(el)])
    centre = light * (place.distance_m or 0.0)
    axis = -light
    across = np.cross([0.0, 1.0, 0.0], axis)
    across /= np.linalg.norm(across)
    up = np.cross(axis, across)
    if place.feather_deg:
        # Positive feather turns the axis toward the camera's side.
        turn = math.radians(place.feather_deg) * (1 if across[2] > 0 else -1)
        axis, across = (
            math.cos(turn) * axis + math.sin(turn) * across,
            math.cos(turn) * across - math.sin(turn) * axis,
        )
    ways = {"light": light, "camera": [0, 0, 1], "up": [0, 1, 0], "down": [0, -1, 0], "left": [-1, 0, 0]}
    ways["right"] = [1, 0, 0]
    way = ways.get(read.held_off_toward)
    if way is None:
        way = np.array([float(v) for v in read.held_off_toward.split(",")])
        way = way / np.linalg.norm(way)
    dome = np.asarray(way) * (read.held_off_m or 0.0)

    def light_at(place_m: np.ndarray) -> float:
        normal = np.array([0.0, 0.0, 1.0]) if read.aim == "camera" else centre - place_m
        normal = normal / np.linalg.norm(normal)

        def element(u: float, v: float) -> float:
            to = centre + u * across + v * up - place_m
            r = math.sqrt(float(to @ to))
            cosine = float(normal @ to) / r
            weight = (1 + cosine) / 2 if read.receptor == "dome" else max(0.0, cosine)
            emitted = max(0.0, -float(axis @ to) / r)
            return weight * emitted**place.emission_n / r**2

        a = (place.width_m or 0.0) / 2
        if place.shape == "disk":
            polar = dblquad(lambda r, t: r * element(r * math.cos(t), r * math.sin(t)), 0, 2 * math.pi, 0, a, epsrel=1e-9)
            return float(polar[0])
        b = (place.height_m or 0.0) / 2
        return float(dblquad(lambda v, u: element(u, v), -a, a, -b, b, epsrel=1e-9)[0])

    return math.log2(light_at(np.zeros(3)) / light_at(dome))


CASES = [
    ({}, {}),
    ({}, {"shape": "rectangle", "width_m": 0.6, "height_m": 0.9}),
    ({"receptor": "flat"}, {"shape": "rectangle", "width_m": 0.35, "height_m": 1.0}),
    ({"held_off_toward": "camera"}, {}),
    ({"held_off_toward": "camera", "aim": "camera"}, {"shape": "rectangle", "width_m": 0.6, "height_m": 0.9}),
    ({"held_off_toward": "up", "held_off_m": 0.3}, {"azimuth_deg": -70.0, "feather_deg": 25.0}),
    ({"held_off_toward": "down", "aim": "camera"}, {"feather_deg": -20.0, "azimuth_deg": 110.0}),
    ({"held_off_toward": "left"}, {"shape": "rectangle", "width_m": 1.2, "height_m": 0.4, "elevation_deg": -30.0}),
    ({"held_off_toward": "right", "receptor": "flat", "aim": "camera"}, {"azimuth_deg": 30.0}),
    ({"held_off_toward": "0.1,-0.2,0.3"}, {"emission_n": 4.0}),
    ({}, {"emission_n": 6.0}),
    ({}, {"shape": "rectangle", "width_m": 0.6, "height_m": 0.6, "emission_n": 5.0}),
    ({"held_off_m": 0.3}, {"feather_deg": 30.0, "shape": "rectangle", "width_m": 0.6, "height_m": 0.9}),
    ({"receptor": "flat", "aim": "camera"}, {"azimuth_deg": 80.0, "elevation_deg": 0.0, "held_off_m": 0.1}),
]


@pytest.mark.parametrize(("read", "place"), CASES)
def test_correction_equals_an_independent_simulator(read: dict[str, Any], place: dict[str, Any]) -> None:
    """Every shape, direction, aim, receptor and feather: the same stops as scipy's quadrature in set coordinates."""
    place = {key: value for key, value in place.items() if key != "held_off_m"}
    one, other = reading(**read), placement(**place)
    # Exact distances: nothing is integrated over, so the middle case must be the simulator's.
    got = correct(one._replace(u_held_off_m=0.0), other._replace(u_distance_m=0.0), SETTINGS)
    assert got.stops == pytest.approx(simulated(one, other), abs=2e-5)


def test_half_a_stop_at_a_softbox() -> None:
    """20 cm in front of the face: half a stop hot at a 90 cm softbox 1 m away, a stop at a small reflector at 0.7 m."""
    assert correct(reading(), placement(), SETTINGS).stops == pytest.approx(-0.53, abs=0.01)
    small = correct(reading(), placement(width_m=0.18, distance_m=0.7), SETTINGS)
    assert small.stops == pytest.approx(-0.95, abs=0.02)
    assert small.inverse_square_stops == pytest.approx(2 * math.log2(0.5 / 0.7))


def test_parts_add_in_quadrature() -> None:
    """The stated uncertainty is the root of the squares of its parts."""
    got = correct(reading(held_off_toward="camera"), placement(), SETTINGS)
    parts = (got.model_u_stops, got.distance_u_stops, got.held_off_u_stops, got.direction_u_stops)
    assert all(part > 0 for part in parts)
    assert got.u_stops == pytest.approx(math.sqrt(sum(part**2 for part in parts)))


@settings(max_examples=60)
@given(
    distance=st.floats(0.5, 4.0),
    held=st.floats(0.02, 0.3),
    size=st.floats(0.1, 1.5),
    shape=st.sampled_from(["disk", "rectangle"]),
    receptor=st.sampled_from(["dome", "flat"]),
)
def test_slopes_are_derivatives(distance: float, held: float, size: float, shape: str, receptor: str) -> None:
    """The closed slopes equal numerical differences of the correction."""
    if distance - held < 0.3 * size:
        return
    place = placement(shape=shape, width_m=size, height_m=0.7 * size, distance_m=distance, u_distance_m=0.0)
    read = reading(held_off_m=held, receptor=receptor, u_held_off_m=0.0)
    got = correct(read, place, SETTINGS)
    step = 1e-5
    by_distance = [correct(read, place._replace(distance_m=distance + s), SETTINGS).stops for s in (step, -step)]
    by_held = [correct(read._replace(held_off_m=held + s), place, SETTINGS).stops for s in (step, -step)]
    assert got.slope_distance == pytest.approx((by_distance[0] - by_distance[1]) / (2 * step), abs=1e-5)
    assert got.slope_held_off == pytest.approx((by_held[0] - by_held[1]) / (2 * step), abs=1e-5)


def test_undeclared_is_not_zero() -> None:
    """Nobody typed a distance: 0-6 cm toward the light enter as a bias and as an uncertainty."""
    got = correct(reading(held_off_m=None, held_off_toward="camera"), placement(u_distance_m=0.0), SETTINGS)
    nodes = np.linspace(0.0, 0.06, 2001)
    read = reading(u_held_off_m=0.0)
    truth = [correct(read._replace(held_off_m=float(h)), placement(u_distance_m=0.0), SETTINGS).stops for h in nodes]
    assert got.assumed_reach
    assert got.stops == pytest.approx(np.mean(truth), abs=1e-5)
    assert got.held_off_u_stops == pytest.approx(np.std(truth), rel=1e-3)
    declared = correct(reading(held_off_m=0.0), placement(), SETTINGS)
    assert declared.stops == 0.0
    assert not declared.assumed_reach


def test_missing_light_distance_widens() -> None:
    """Without the light's distance the answer spans 0.5 to 4 m and says so in its width."""
    known = correct(reading(), placement(), SETTINGS)
    unknown = correct(reading(), placement(distance_m=None), SETTINGS)
    assert unknown.assumed_distance
    assert unknown.u_stops > 2 * known.u_stops


def test_missing_direction_matters_only_off_the_axis() -> None:
    """Toward the light the direction is irrelevant; toward the camera a missing one widens the interval."""
    nowhere = {"azimuth_deg": None, "elevation_deg": None}
    assert correct(reading(), placement(**nowhere), SETTINGS) == correct(reading(), placement(), SETTINGS)
    camera = reading(held_off_toward="camera")
    widened = correct(camera, placement(**nowhere), SETTINGS)
    assert widened.direction_u_stops > 3 * correct(camera, placement(), SETTINGS).direction_u_stops


def test_higher_order_where_the_distance_is_rough() -> None:
    """Above 10 % of distance uncertainty the mean and spread follow draws, not the first-order formula."""
    read = reading(held_off_m=0.3, u_held_off_m=0.08)
    place = placement(shape="point", width_m=None, distance_m=0.8, u_distance_m=0.04)
    got = correct(read, place, SETTINGS)
    rng = np.random.default_rng(5)
    far, held = rng.normal(0.8, 0.04, 400_000), rng.normal(0.3, 0.08, 400_000)
    draws = 2 * np.log2((far - held) / far)
    assert got.stops == pytest.approx(draws.mean(), abs=0.01)
    assert got.u_stops == pytest.approx(draws.std(), rel=0.03)
    assert abs(draws.mean() - got.inverse_square_stops) < 0.01


def test_hot_spots_fall_inside_the_interval() -> None:
    """A softbox with a hot spot (half the light at a third of its radius) lies within uniform and point, and in U."""
    place, read = placement(u_distance_m=0.0), reading(u_held_off_m=0.0)
    got = correct(read, place, SETTINGS)
    for sigma in (0.3, 0.5, 0.8):

        def light_at(z: float, sigma: float = sigma) -> float:
            profile = lambda r: math.exp(-((r / (sigma * 0.45)) ** 2) / 2)  # noqa: E731
            inner = lambda r, _t: r * profile(r) * (1 + z / math.hypot(r, z)) / 2 * z / math.hypot(r, z) ** 3  # noqa: E731
            return float(dblquad(inner, 0, 2 * math.pi, 0, 0.45)[0])

        truth = math.log2(light_at(1.0) / light_at(0.8))
        assert got.inverse_square_stops < truth < got.stops
        assert abs(truth - got.stops) <= 2 * got.u_stops


class Measured:
    """A falloff that was measured: inverse square from 10 cm behind the front."""

    def change_stops(self, from_m: float, to_m: float) -> float:
        """Shifted inverse square."""
        return 2 * math.log2((from_m + 0.1) / (to_m + 0.1))

    def u_change_stops(self, from_m: float, to_m: float) -> float:
        """A hundredth of a stop."""
        return 0.01


def test_measured_falloff_beats_the_models() -> None:
    """A measured falloff replaces shape and size, and its own uncertainty replaces the span from uniform to point."""
    got = correct(reading(), placement(), SETTINGS, falloff=Measured())
    assert got.stops == pytest.approx(2 * math.log2(0.9 / 1.1), abs=1e-9)
    assert got.model_u_stops == 0.01
    sideways = correct(reading(held_off_toward="camera"), placement(), SETTINGS, falloff=Measured())
    bare = correct(reading(held_off_toward="camera"), placement(), SETTINGS)
    assert sideways.stops == pytest.approx(bare.stops, abs=0.1)
    assert sideways.stops != bare.stops


def test_measured_angle_response_is_used() -> None:
    """A dome whose measured response is a cosine reads as a flat receptor does."""
    cosine = tuple((float(a), max(0.0, math.cos(math.radians(a)))) for a in range(0, 181, 2))
    camera = reading(held_off_toward="camera", aim="camera")
    as_flat = correct(camera._replace(receptor="flat"), placement(), SETTINGS)
    measured = correct(camera, placement(), SETTINGS, angle_response=cosine)
    assert measured.stops == pytest.approx(as_flat.stops, abs=2e-3)


def test_beyond_what_was_measured_a_receptor_sees_as_its_ideal_does() -> None:
    """A dome measured to 60° and found ideal corrects a light at its side and behind it as an ideal one, as certified."""
    ideal = tuple((5.0 * i, (1.0 + math.cos(math.radians(5.0 * i))) / 2) for i in range(13))
    side = placement(azimuth_deg=130.0)
    camera = reading(held_off_toward="camera", aim="camera")
    measured = correct(camera, side, SETTINGS, angle_response=ideal)
    assert measured.stops == pytest.approx(correct(camera, side, SETTINGS).stops, abs=2e-3)


@pytest.mark.parametrize(
    ("read", "place", "words"),
    [
        ({"held_off_m": 1.5}, {}, "at or behind it"),
        ({"held_off_m": 0.95}, {}, "surrounds it"),
        ({"held_off_m": math.nan}, {}, "held-off distance"),
        ({"held_off_m": -0.1}, {}, "held-off distance"),
        ({}, {"distance_m": 0.0}, "above 0"),
        ({}, {"distance_m": -1.0}, "above 0"),
        ({}, {"distance_m": 51.0}, "at most 50"),
        ({}, {"distance_m": math.nan}, "above 0"),
        ({}, {"width_m": None}, "size of the disk"),
        ({}, {"shape": "blob"}, "not one of"),
        ({"receptor": "globe"}, {}, "not one of dome, flat"),
        ({"held_off_toward": "sideways"}, {}, "no direction"),
        ({"held_off_toward": "0,0,0"}, {}, "no direction"),
        ({"aim": "floor"}, {}, "not one of light, camera"),
        ({"held_off_toward": "camera", "held_off_m": 2.0}, {"azimuth_deg": 0.0, "elevation_deg": 0.0}, "not in front"),
        ({}, {"feather_deg": 95.0}, "feathered"),
        ({}, {"feather_deg": 89.9, "distance_m": 0.4}, "surrounds|not in front"),
        ({"receptor": "flat", "aim": "camera"}, {"azimuth_deg": 170.0, "elevation_deg": 0.0}, "does not see"),
        ({}, {"emission_n": 0.0}, "emission exponent"),
        ({}, {"u_distance_m": 2.0}, "uncertain"),
        ({}, {"recess_m": -0.1}, "recess"),
        ({"u_held_off_m": -1.0}, {}, "uncertainty of the held-off"),
    ],
)
def test_impossible_geometry_is_refused_in_words(read: dict[str, Any], place: dict[str, Any], words: str) -> None:
    """No number that pretends: the correction has no stops and says why."""
    got = correct(reading(**read), placement(**place), SETTINGS)
    assert got.stops is None
    assert pytest.approx(0) == got.u_stops
    import re

    assert re.search(words, str(got.refusal)), got.refusal
    assert "\n" not in str(got.refusal)


def test_triangular_about_its_mode() -> None:
    """Mean square about the mode: q**2 / 6 from one end, and by draws in between."""
    assert triangular_u(0.0, 0.0, 1.0) == pytest.approx(math.sqrt(1 / 6))
    rng = np.random.default_rng(3)
    draws = rng.triangular(-1.0, 0.5, 2.0, 400_000)
    assert triangular_u(0.5, 2.0, -1.0) == pytest.approx(math.sqrt(np.mean((draws - 0.5) ** 2)), rel=0.01)
