"""Places and directions in the set."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry.geometry import (
    direction,
    dot,
    frame_of,
    gap,
    held_off_vector,
    length,
    receptor_normal,
    unit,
)
from meterlink.photometry.sources import Disk, Rectangle

azimuths = st.floats(-360.0, 360.0)
elevations = st.floats(-90.0, 90.0)


def test_directions_of_the_trade() -> None:
    """On the camera's axis is +z, camera right +x, above +y, behind the subject -z."""
    assert direction(0, 0) == pytest.approx((0, 0, 1))
    assert direction(90, 0) == pytest.approx((1, 0, 0))
    assert direction(-90, 0) == pytest.approx((-1, 0, 0))
    assert direction(180, 0) == pytest.approx((0, 0, -1), abs=1e-12)
    assert direction(30, 90) == pytest.approx((0, 1, 0), abs=1e-12)


@given(azimuths, elevations, st.floats(0.1, 10.0), st.floats(-80, 80))
def test_frames_are_right_angled(azimuth: float, elevation: float, distance: float, feather: float) -> None:
    """Across, up and axis are unit vectors at right angles, right-handed; the point lies at its distance."""
    frame = frame_of(direction(azimuth, elevation), distance, feather)
    for one in (frame.across, frame.up, frame.axis):
        assert length(one) == pytest.approx(1.0)
    assert dot(frame.across, frame.up) == pytest.approx(0, abs=1e-9)
    assert dot(frame.axis, frame.up) == pytest.approx(0, abs=1e-9)
    assert dot(frame.across, frame.axis) == pytest.approx(0, abs=1e-9)
    position = frame.position((0.0, 0.0, 0.0))
    assert length(position) == pytest.approx(distance)
    assert position[2] == pytest.approx(distance * math.cos(math.radians(feather)))


@pytest.mark.parametrize("azimuth", [-100.0, -45.0, 45.0, 135.0])
def test_feather_turns_toward_the_camera(azimuth: float) -> None:
    """A positive feather lets the axis pass the point on the camera's side, wherever the light stands."""
    light = direction(azimuth)
    ahead = frame_of(light, 1.0, 10.0)
    passes = (ahead.centre[0] + ahead.axis[0], ahead.centre[1] + ahead.axis[1], ahead.centre[2] + ahead.axis[2])
    assert passes[2] > 0.05


def test_held_off_places() -> None:
    """Left and right are the camera's; a free vector counts by its direction; toward the light needs one."""
    assert held_off_vector("right", 0.2) == pytest.approx((0.2, 0, 0))
    assert held_off_vector("left", 0.2) == pytest.approx((-0.2, 0, 0))
    assert held_off_vector("down", 0.1) == pytest.approx((0, -0.1, 0))
    assert held_off_vector("0, 3, 4", 0.5) == pytest.approx((0, 0.3, 0.4))
    assert held_off_vector("light", 0.2, (0.0, 1.0, 0.0)) == pytest.approx((0, 0.2, 0))
    with pytest.raises(ValueError, match="direction is not given"):
        held_off_vector("light", 0.2)
    for text in ("", "a,b,c", "1,2", "nan,1,2", "0,0,0", "1," * 5000):
        with pytest.raises(ValueError, match="no direction"):
            held_off_vector(text, 0.2)


def test_receptor_looks_at_the_source() -> None:
    """Aimed at the light the receptor follows its centre; at the camera it faces +z."""
    frame = frame_of(direction(90.0), 1.0)
    assert receptor_normal("light", (0.0, 0.0, 0.2), frame) == pytest.approx(unit((1.0, 0.0, -0.2)))
    assert receptor_normal("camera", (0.0, 0.0, 0.2), frame) == (0.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="not one of"):
        receptor_normal("sky", (0.0, 0.0, 0.0), frame)
    with pytest.raises(ValueError, match="no direction"):
        receptor_normal("light", frame.centre, frame)


def test_how_far_a_place_is_from_the_source() -> None:
    """Behind the source there is no distance; beside a rectangle it counts from its edge."""
    assert gap(Disk(0.9), (0.0, 0.0, -0.1)) is None
    assert gap(Disk(0.9), (0.0, 0.0, 0.08)) == pytest.approx(0.08)
    assert gap(Rectangle(0.2, 1.0), (0.5, 0.0, 0.3)) == pytest.approx(0.5)
    for bad in (math.nan, 91.0, -91.0):
        with pytest.raises(ValueError, match="feathered"):
            frame_of((0.0, 0.0, 1.0), 1.0, bad)
        with pytest.raises(ValueError, match="elevation"):
            direction(0.0, bad)
    with pytest.raises(ValueError, match="azimuth"):
        direction(math.nan)
