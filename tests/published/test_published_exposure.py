"""Exposure equation, EV and lighting ratios against published figures.

Status of each figure: *seen* in the source named; *seen-2* in a secondary source quoting the standard; *from memory*.
HDRI is the colour-hdri project of colour-science (exposure/common.py, tests/test_common.py, tests/test_dsc.py).
"""

from __future__ import annotations

import pytest

from meterlink.photometry import exposure


def test_calibration_constants_of_iso_2720():
    """ISO 2720:1974 as quoted in HDRI's docstrings (seen-2): C 240-400 flat, 320-540 dome."""
    assert 240 <= exposure.CONSTANT_START_LX["flat"] <= 400
    assert 320 <= exposure.CONSTANT_START_LX["dome"] <= 540


@pytest.mark.parametrize(
    ("f_number", "time_s", "iso", "illuminance_lx"),
    [(2.8, 1 / 8, 100, 156.8), (5.6, 1 / 2, 800, 19.6), (8, 1, 16000, 1.0), (8, 1, 100, 160.0)],
)
def test_illuminance_of_settings(f_number, time_s, iso, illuminance_lx):
    """HDRI tests and documentation (seen): N² C / (t S) with C = 250."""
    assert exposure.illuminance(f_number, time_s, iso, 250) == pytest.approx(illuminance_lx, rel=1e-12)


@pytest.mark.parametrize(("illuminance_lx", "constant", "ev"), [(2.5, 250, 0.0), (5, 250, 1.0), (0.125, 340, -4.76553475)])
def test_exposure_value_of_illuminance(illuminance_lx, constant, ev):
    """HDRI tests (seen): EV at ISO 100."""
    assert exposure.exposure_value(illuminance_lx, 100, constant) == pytest.approx(ev, abs=5e-9)


@pytest.mark.parametrize(("ev", "lux"), [(-1, 1.25), (0, 2.5), (1, 5), (2, 10), (3, 20), (4, 40)])
def test_lux_table(ev, lux):
    """devpeace.com/c/5401738, table for ISO 100 (seen): whole EV exactly."""
    assert exposure.exposure_value(lux, 100, 250) == pytest.approx(ev, abs=1e-12)


@pytest.mark.parametrize(("ev", "lux"), [(0.5, 3.5), (1.5, 7), (2.5, 14), (3.5, 28)])
def test_lux_table_half_steps_rounded(ev, lux):
    """devpeace.com/c/5401738 (seen): half EV, rounded in the source to 1 %."""
    assert exposure.exposure_value(lux, 100, 250) == pytest.approx(ev, abs=0.016)


@pytest.mark.parametrize(
    ("key", "fill", "ratio"), [(200, 100, 3), (800, 200, 5)]
)
def test_highlight_to_shadow(key, fill, ratio):
    """en.wikipedia.org/wiki/Lighting_ratio, ASC definition (seen): (key + fill) : fill."""
    assert exposure.stops_of_highlight_to_shadow(ratio) == pytest.approx(exposure.stops_between(key, fill))


def test_stops_and_ratios():
    """Lighting_ratio and brighthub.com/54240 (seen): 1:1 to 128:1 are 0 to 7 stops; 3:1 is about 1.5."""
    for stops in range(8):
        assert exposure.stops_between(2**stops, 1) == pytest.approx(stops)
    assert exposure.stops_between(3, 1) == pytest.approx(1.5, abs=0.1)


def test_halving_the_ratio_is_no_rule():
    """brighthub and a blog print "5:1 = 2.5 stops" (seen, and wrong): it is 2.32; 6:1 is 2.58 and 9:1 3.17."""
    assert exposure.stops_between(5, 1) == pytest.approx(2.321928, abs=1e-6)
    assert exposure.stops_between(6, 1) == pytest.approx(2.584963, abs=1e-6)
    assert exposure.stops_between(9, 1) == pytest.approx(3.169925, abs=1e-6)


def test_lights_add():
    """speedlighter.ca/2014/06/08/math (seen): two lights of f/5.6 give f/8, four give f/11 (exact values)."""
    light = exposure.luminous_exposure(2**2.5, 100, 250)
    assert exposure.f_number(2 * light, 100, 250) == pytest.approx(8)
    assert exposure.f_number(4 * light, 100, 250) == pytest.approx(2**3.5)


def test_key_and_fill_of_f16_and_f11():
    """cybercollege.com/tvp033 (seen): 1000 lx against 500 lx is f/16 against f/11 and 2:1."""
    assert exposure.stops_between(1000, 500) == pytest.approx(1)
    assert pytest.approx(2) == (16 / 2**3.5) ** 2


def test_f11_against_f5_6_is_two_stops_and_four_to_one():
    """Common practice, no published source: f/11 against f/5.6 is two stops, 4:1."""
    h11, h56 = (exposure.luminous_exposure(n, 100, 250) for n in (2**3.5, 2**2.5))
    assert exposure.stops_between(h11, h56) == pytest.approx(2)
    assert h11 / h56 == pytest.approx(4)


def test_meter_that_reads_a_stop_hot_makes_the_picture_a_stop_dark():
    """Common practice, no published source: twice the reading closes one stop, and the picture gets half the light."""
    right, hot = (exposure.f_number(h, 100, 250) for h in (160.0, 320.0))
    assert exposure.stops_between(hot**2, right**2) == pytest.approx(1)
    picture_light = (right / hot) ** 2
    assert exposure.stops_between(picture_light, 1.0) == pytest.approx(-1)
