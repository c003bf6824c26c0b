"""Room light against the flash."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry import ambient


@given(st.floats(-20, 20))
def test_inverses(k):
    """k found from what it adds is the same k."""
    assert ambient.stops_for_added(ambient.added_stops(k)) == pytest.approx(k, abs=1e-6)


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e4), st.floats(1e-4, 10))
def test_added_stops_are_total_over_flash(h, e, t):
    """What the room adds is log2 of the whole over the flash alone."""
    k = ambient.flash_over_room_stops(h, e, t)
    assert ambient.added_stops(k) == pytest.approx(math.log2((h + e * t) / h), abs=1e-9)


def test_extremes():
    """A dark room adds nothing, a room far brighter than the flash adds all."""
    assert ambient.flash_over_room_stops(10, 0.0, 1) == math.inf
    assert ambient.added_stops(math.inf) == 0.0
    assert ambient.room_share(math.inf) == 0.0
    assert ambient.added_stops(-5000.0) == 5000.0
    assert ambient.room_share(5000.0) == 0.0


def test_remedy_reaches_what_is_wanted():
    """The shutter time offered puts the flash as far above the room as wanted; so does the power."""
    fix = ambient.remedy(10.0, 300.0, 1 / 64, 4.0)

    assert ambient.flash_over_room_stops(10.0, 300.0, fix.shutter_s) == pytest.approx(4.0)
    assert ambient.flash_over_room_stops(10.0 * 2**fix.stops, 300.0, 1 / 64) == pytest.approx(4.0)


def test_modelling_lamps_are_the_difference():
    """Room light with modelling lamps less without; a reading below is no negative light."""
    assert ambient.modelling_illuminance(320.0, 20.0) == 300.0
    assert ambient.modelling_illuminance(20.0, 21.0) == 0.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_values_are_refused(bad):
    """Zero, negative, NaN and infinite arguments raise ValueError."""
    for call in (
        lambda: ambient.flash_over_room_stops(bad, 1.0, 1.0),
        lambda: ambient.flash_over_room_stops(1.0, 1.0, bad),
        lambda: ambient.stops_for_added(bad),
    ):
        with pytest.raises(ValueError, match=r"must be|between"):
            call()
    with pytest.raises(ValueError, match="zero or positive"):
        ambient.modelling_illuminance(-1.0, 0.0)
