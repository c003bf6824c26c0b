"""How far the dome may be held off, said before metering."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sets import SETTINGS, placed

from meterlink.judging.reach import Reach, reach_of, reach_within
from meterlink.photometry.sources import Point


def test_point_source_in_closed_form() -> None:
    """For a point at D the reach within s stops is D (1 - 2**(-s/2))."""
    place = placed(0, shape="point", width_m=None, distance_m=1.0)
    for stops in (0.1, 1 / 3):
        assert reach_within(place, stops) == pytest.approx(1 - 2 ** (-stops / 2), abs=2e-4)
    assert Point().change_stops(1.0, 1.0 - (1 - 2**-0.05)) == pytest.approx(0.1)


@settings(max_examples=40)
@given(st.floats(0.5, 4.0), st.floats(0.1, 1.5), st.sampled_from([0.1, 1 / 3]))
def test_the_correction_there_is_the_limit(distance: float, size: float, limit: float) -> None:
    """At the stated reach the correction has just reached the limit, for any disk that does not surround the dome."""
    from meterlink.judging.correction import correct
    from meterlink.records import Reading

    if distance < 0.5 * size:
        return
    place = placed(0, width_m=size, distance_m=distance, u_distance_m=0.0)
    reach = reach_within(place, limit)
    assert reach is not None
    read = Reading("", "", None, None, "", "", 0.0, held_off_m=reach, u_held_off_m=0.0, exposure_lxs=1.0)
    stops = correct(read, place, SETTINGS).stops
    assert stops is not None
    assert abs(stops) <= limit
    if reach < 0.99:
        further = correct(read._replace(held_off_m=reach + 3e-4), place, SETTINGS).stops
        assert further is None or abs(further) > limit


def test_larger_sources_forgive_more() -> None:
    """A big box lets the dome stand off further than a small reflector at the same distance; farther lights too."""
    small, box = (reach_of(placed(0, width_m=w, distance_m=1.0)).good_m or 0.0 for w in (0.18, 1.5))
    assert box > small
    far = reach_of(placed(0, width_m=0.18, distance_m=3.0)).good_m or 0.0
    assert far == pytest.approx(3 * small, rel=0.05)
    toward_camera = reach_of(placed(0, azimuth_deg=75.0, distance_m=1.0), toward="camera")
    assert (toward_camera.good_m or 0.0) > (reach_of(placed(0, azimuth_deg=75.0, distance_m=1.0)).good_m or 0.0)


def test_words() -> None:
    """The sentence rounds down, names light and point, and says what to do when nothing is known."""
    said = "keep the dome within 5 cm of the face for KEY (14 cm costs a third of a stop)"
    assert str(Reach(0.0599, 0.149).advice("KEY")) == said
    assert "anywhere" in str(Reach(1.0, 1.0).advice("RIM", "rim"))
    assert "give the distance" in str(reach_of(placed(0, distance_m=None)).advice("KEY"))
    assert reach_of(None).good_m is None
    assert reach_of(placed(0, distance_m=None)).good_m is None
    assert str(reach_of(placed(0, distance_m=1.0)).advice("KEY")).startswith("keep the dome within")


def test_what_cannot_be() -> None:
    """An impossible geometry has no reach; a limit of zero is refused."""
    assert reach_within(placed(0, width_m=1.0, distance_m=0.05), 0.1) is None
    for bad in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="above 0"):
            reach_within(placed(0), bad)
