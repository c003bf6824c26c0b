"""Colour samples to chromaticity and colour temperature."""

from __future__ import annotations

import pytest

from meterlink.records import Calibration, Colour
from meterlink.sensor.measuring.levels import chromaticity_of

CALIBRATION = Calibration("c", "s", 0.0, 330.0, colour_matrix=(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0))


def test_standard_illuminant_a_has_its_temperature() -> None:
    """x = 0.44757, y = 0.40745 (CIE standard illuminant A) is 2856 K on the Planckian locus."""
    x, y, cct_k, duv = chromaticity_of(Colour(0.0, 0.44757, 0.40745), None)
    assert (x, y) == (0.44757, 0.40745)
    assert cct_k == pytest.approx(2856, abs=3)
    assert duv == pytest.approx(0.0, abs=2e-4)


def test_channels_need_the_matrix_of_the_calibration() -> None:
    """XYZ of the equal-energy light gives x = y = 1/3; without a matrix that fits nothing is said."""
    sample = Colour(0.0, channels=(5.0, 5.0, 5.0))
    assert chromaticity_of(sample, CALIBRATION)[:2] == pytest.approx((1 / 3, 1 / 3))
    assert chromaticity_of(sample, None) == (None, None, None, None)
    assert chromaticity_of(Colour(0.0, channels=(1.0, 2.0)), CALIBRATION) == (None, None, None, None)
    assert chromaticity_of(Colour(0.0, channels=(0.0, 0.0, 0.0)), CALIBRATION) == (None, None, None, None)


def test_a_colour_that_is_no_white_has_no_temperature() -> None:
    """Deep red has a chromaticity and no colour temperature."""
    x, _, cct_k, _ = chromaticity_of(Colour(0.0, 0.7, 0.29), None)
    assert x == 0.7
    assert cct_k is None


def test_a_sensor_that_says_its_temperature_is_believed() -> None:
    """CCT and Duv from the sensor stay as they are."""
    assert chromaticity_of(Colour(0.0, cct_k=5600.0, duv=0.001), CALIBRATION) == (None, None, 5600.0, 0.001)
    said = Colour(0.0, 0.44757, 0.40745, channels=(5.0, 5.0, 5.0), cct_k=5600.0, duv=0.001)
    assert chromaticity_of(said, CALIBRATION) == (0.44757, 0.40745, 5600.0, 0.001)


def test_channels_that_no_light_gives_have_no_colour() -> None:
    """A matrix that makes X negative, as one for other channels may: no chromaticity below 0 is told."""
    assert chromaticity_of(Colour(0.0, channels=(-1.0, 5.0, 5.0)), CALIBRATION) == (None, None, None, None)
