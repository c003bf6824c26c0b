"""The simulated set against closed forms and scipy: its patches must give what physics gives."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import dblquad, quad

from meterlink.metering.walk import Request
from meterlink.photometry import sources
from meterlink.records import Light, Placement
from meterlink.simulation.as_placed import pulse_of
from meterlink.simulation.studio import Pulse, Studio, StudioLight, first_steps, received


def light(**changes: object) -> StudioLight:
    """Return a light of exposure 100 straight in front."""
    return StudioLight(**{"name": "A", "role": "key", "exposure_lxs": 100.0, "distance_m": 1.0, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("distance_m", [0.5, 1.0, 2.0, 4.0])
def test_a_disk_gives_its_closed_form(distance_m: float) -> None:
    """On the axis of a Lambertian disk a flat receptor gets pi L R²/(R² + d²) (published closed form)."""
    disk = light(shape="disk", width_m=1.0, distance_m=distance_m)
    expected = math.pi * 0.25 / (0.25 + distance_m**2)
    assert received(disk, (0.0, 0.0, 0.0), "light", "flat") == pytest.approx(expected, rel=0.004)


@pytest.mark.parametrize(("azimuth_deg", "elevation_deg"), [(0.0, 0.0), (40.0, 30.0), (-120.0, -10.0), (0.0, 90.0)])
def test_a_rectangle_gives_what_scipy_integrates(azimuth_deg: float, elevation_deg: float) -> None:
    """A rectangle from any direction, dome and flat, with a hot spot: the same as scipy over its surface."""
    box = light(shape="rectangle", width_m=0.6, height_m=0.9, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg, hot_spot=0.5)

    def inner(v: float, u: float, dome: bool) -> float:
        d2 = 1.0 + u * u + v * v
        cosine = 1.0 / math.sqrt(d2)
        response = (1.0 + cosine) / 2.0 if dome else cosine
        bright = 1.0 - 0.5 * ((u / 0.3) ** 2 + (v / 0.45) ** 2) / 2.0
        return bright * cosine * response / d2

    for receptor in ("dome", "flat"):
        expected, _ = dblquad(inner, -0.3, 0.3, -0.45, 0.45, args=(receptor == "dome",))
        assert received(box, (0.0, 0.0, 0.0), "light", receptor) == pytest.approx(expected, rel=0.003)


@pytest.mark.parametrize("held_off_m", [0.0, 0.1, 0.2, 0.3])
def test_holding_off_changes_what_the_formulas_say(held_off_m: float) -> None:
    """Two ways of thinking, one answer: patches here, closed forms in photometry (flat receptor, on the axis)."""
    for shape, source in (("point", sources.Point()), ("disk", sources.Disk(0.9))):
        studio = Studio((light(shape=shape, width_m=0.9, azimuth_deg=25.0, elevation_deg=20.0),))
        here = studio.exposure_lxs("A", 0.0, receptor="flat")
        there = studio.exposure_lxs("A", held_off_m, receptor="flat")
        assert math.log2(there / here) == pytest.approx(source.change_stops(1.0, 1.0 - held_off_m), abs=0.01)


def test_directions_of_holding_off_are_as_the_camera_sees_them() -> None:
    """A light at camera right is nearer when the dome moves right, farther when it moves left or away."""
    studio = Studio((light(azimuth_deg=90.0),))
    face = studio.exposure_lxs("A")
    assert studio.exposure_lxs("A", 0.2, "right") == pytest.approx(face / 0.64)
    assert studio.exposure_lxs("A", 0.2, "left") == pytest.approx(face / 1.44)
    assert studio.exposure_lxs("A", 0.2, "camera") < face


def test_power_and_distance_change_the_exposure() -> None:
    """One stop down halves it."""
    studio = first_steps()
    before = studio.exposure_lxs("KEY")
    studio.change("KEY", power_stops=-1.0)
    assert studio.exposure_lxs("KEY") == pytest.approx(before / 2)


@pytest.mark.parametrize(("rise_s", "fall_s"), [(10e-6, 0.2e-3), (40e-6, 0.7e-3), (100e-6, 3e-3)])
def test_a_pulse_holds_its_exposure_and_peak(rise_s: float, fall_s: float) -> None:
    """The integral of the pulse is its exposure and nothing is above its peak."""
    pulse = Pulse(120.0, rise_s, fall_s)
    whole, _ = quad(pulse.illuminance_lx, 0.0, 40 * fall_s, points=[rise_s, fall_s, 5 * fall_s], limit=400)
    assert whole == pytest.approx(120.0, rel=1e-6)
    assert max(pulse.illuminance_lx(i * rise_s / 50) for i in range(2000)) == pytest.approx(pulse.peak_lx, rel=1e-3)


def test_what_is_waited_for_fires_at_a_dome_held_as_the_request_says() -> None:
    """A bare head at the side, 1.2 m off: 30 cm nearer by (1.2/0.9)²; 30 cm toward the camera, looked at or past, by geometry."""
    head, there = Light("key", "set", "KEY", "key"), Placement("here", "key", 0.0, distance_m=1.2, azimuth_deg=90.0)

    def got(**how: object) -> float:
        asked = Request("key", **how)  # type: ignore[arg-type]
        pulse = pulse_of([head], {"key": there}, **asked._asdict())
        assert pulse is not None
        return pulse.exposure_lxs

    at_face, slant2 = got(held_off_m=0.0), 1.2**2 + 0.3**2

    assert got(held_off_m=0.3) == pytest.approx(at_face * (1.2 / 0.9) ** 2)
    leaving = 1.2 / math.sqrt(slant2)
    assert got(held_off_m=0.3, held_off_toward="camera") == pytest.approx(at_face * 1.2**2 / slant2 * leaving)
    assert got(held_off_m=0.0, aim="camera") == pytest.approx(at_face / 2.0)
