"""Behaviour of the exposure formulas that no publication needs to state: inverses, limits, refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry import exposure

positive = st.floats(1e-6, 1e9)
isos = st.floats(1, 1e6)
constants = st.floats(100, 1000)


@given(positive, isos, constants)
def test_f_number_and_luminous_exposure_are_inverses(h, iso, c):
    """An exposure turned into an f-number and back is the same exposure."""
    assert exposure.luminous_exposure(exposure.f_number(h, iso, c), iso, c) == pytest.approx(h, rel=1e-12)


@given(positive, isos, constants)
def test_exposure_value_and_illuminance_are_inverses(e, iso, c):
    """An illuminance is what settings of its exposure value ask for: f/1 for 2**-EV seconds."""
    ev = exposure.exposure_value(e, iso, c)

    assert exposure.illuminance(1.0, 2.0**-ev, iso, c) == pytest.approx(e, rel=1e-9)


@given(positive, positive, st.floats(1e-4, 10), isos, constants)
def test_mixed_light_is_the_sum_of_both_kinds(h, e, t, iso, c):
    """N² of flash and steady light together is the sum of the two N²."""
    together = exposure.f_number(h + e * t, iso, c) ** 2
    apart = exposure.f_number(h, iso, c) ** 2 + exposure.f_number_steady(e, t, iso, c) ** 2

    assert together == pytest.approx(apart, rel=1e-12)


@given(positive, positive)
def test_stops_are_antisymmetric_and_match_their_ratio(a, b):
    """Swapping two exposures changes the sign only, and 2**stops is their ratio."""
    stops = exposure.stops_between(a, b)

    assert exposure.stops_between(b, a) == pytest.approx(-stops, abs=1e-12)
    assert 2**stops == pytest.approx(a / b, rel=1e-9)


def test_lighting_ratio_conventions_are_inverses():
    """Stops to (key + fill) : fill and back is the same number of stops."""
    for stops in (-2.0, 0.0, 1.0, 1.585, 3.0):
        assert exposure.stops_of_highlight_to_shadow(2**stops + 1) == pytest.approx(stops)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "formula",
    [
        lambda bad: exposure.f_number(bad, 100, 250),
        lambda bad: exposure.f_number(100, bad, 250),
        lambda bad: exposure.f_number(100, 100, bad),
        lambda bad: exposure.luminous_exposure(bad, 100, 250),
        lambda bad: exposure.exposure_value(bad, 100, 250),
        lambda bad: exposure.stops_between(bad, 1.0),
        lambda bad: exposure.stops_between(1.0, bad),
        lambda bad: exposure.illuminance(8, bad, 100, 250),
        lambda bad: exposure.filter_stops(bad),
        lambda bad: exposure.stops_of_highlight_to_shadow(bad),
    ],
)
def test_arguments_outside_the_range_are_refused(formula, bad):
    """Zero, negative, not-a-number and infinite arguments raise ValueError, never a number that pretends."""
    with pytest.raises(ValueError, match=r"must be|is above|is 1 or more"):
        formula(bad)
