"""Trails of movement and what a fixture's own curve says."""

from __future__ import annotations

import math

import pytest

from meterlink.photometry import freeze


def test_blur_is_speed_times_time():
    """Three metres a second for 1/3000 s is a millimetre."""
    assert freeze.blur_mm(3.0, 1 / 3000) == pytest.approx(1.0)
    assert freeze.blur_mm(0.0, 1 / 60) == 0.0


def test_pixels_follow_magnification_and_pitch():
    """A millimetre at 1:10 is 100 µm on the sensor: 20 pixels of 5 µm."""
    assert freeze.magnification(100.0, 1.1) == pytest.approx(0.1)
    assert freeze.blur_px(1.0, 0.1, 5.0) == pytest.approx(20.0)


def test_curve_interpolates_in_stops_and_refuses_to_extrapolate():
    """Between two powers the value goes straight in stops; outside of what was read there is none."""
    curve = freeze.learn([(0.0, 1 / 500), (-4.0, 1 / 8000), (-4.0, 1 / 8000)])

    assert curve.at(-2.0) == pytest.approx(1 / 2000)
    assert curve.at(0.0) == pytest.approx(1 / 500)
    assert curve.at(-4.5) is None
    assert curve.at(0.5) is None


def test_readings_at_one_power_are_averaged_in_stops():
    """1/400 and 1/1600 at one power are 1/800."""
    curve = freeze.learn([(0.0, 1 / 400), (0.0, 1 / 1600), (-1.0, 1 / 1000)])
    assert curve.at(0.0) == pytest.approx(1 / 800)


def test_cut_off_head_is_turned_down():
    """A head that gets shorter at low power reaches 1/2000 s two stops down, and the cost comes from its own exposures."""
    durations = freeze.learn([(0.0, 1 / 500), (-2.0, 1 / 2000), (-5.0, 1 / 9000)])
    exposures = freeze.learn([(0.0, 100.0), (-2.0, 27.0), (-5.0, 3.0)])

    choice = freeze.power_for_t01(durations, 1 / 2000, 0.0, exposures)

    assert choice.power_stops == pytest.approx(-2.0)
    assert choice.cost_stops == pytest.approx(math.log2(0.27))
    assert freeze.power_for_t01(durations, 1 / 1000, 0.0).power_stops == pytest.approx(-1.0)


def test_voltage_controlled_head_is_turned_up_or_given_up():
    """A head that gets longer at low power is turned up; one that never gets there is given up."""
    durations = freeze.learn([(0.0, 1 / 2000), (-3.0, 1 / 1000)])

    assert freeze.power_for_t01(durations, 1 / 1500, -3.0).change_stops > 0.0
    assert freeze.power_for_t01(durations, 1 / 5000, 0.0) is None


def test_present_power_is_kept_when_it_is_short_enough():
    """Nothing is changed when the light is short enough already."""
    durations = freeze.learn([(0.0, 1 / 500), (-4.0, 1 / 8000)])
    choice = freeze.power_for_t01(durations, 1 / 1000, -3.0)
    assert (choice.change_stops, choice.cost_stops) == (0.0, 0.0)


def test_impossible_arguments_are_refused():
    """One power, closer than focal length and negative speed raise ValueError."""
    for call in (
        lambda: freeze.learn([(0.0, 1 / 500), (-0.2, 1 / 600)]),
        lambda: freeze.learn([(0.0, 1 / 500)]),
        lambda: freeze.learn([(3.0, 1 / 500), (-1.0, 1 / 600)]),
        lambda: freeze.magnification(100.0, 0.05),
        lambda: freeze.blur_mm(-1.0, 0.1),
        lambda: freeze.blur_px(-1.0, 0.1, 5.0),
    ):
        with pytest.raises(ValueError):
            call()
