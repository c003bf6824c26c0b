"""Exposure equation, EV, APEX and guide numbers against published figures.

Status of each figure: *seen* in the source named; *seen-2* in a secondary source quoting the standard; *from memory*.
HDRI is the colour-hdri project of colour-science (exposure/common.py, tests/test_common.py, tests/test_dsc.py).
"""

from __future__ import annotations

import math

import pytest

from meterlink.photometry import exposure


def test_calibration_constants_of_iso_2720():
    """ISO 2720:1974 as quoted in HDRI's docstrings (seen-2): C 240-400 flat, 320-540 dome, K 10.6-13.4."""
    assert exposure.CONSTANT_RANGE_FLAT_LX == (240.0, 400.0)
    assert exposure.CONSTANT_RANGE_DOME_LX == (320.0, 540.0)
    assert exposure.REFLECTED_RANGE_CD_M2 == (10.6, 13.4)
    for start, (low, high) in (
        (exposure.CONSTANT_START_FLAT_LX, exposure.CONSTANT_RANGE_FLAT_LX),
        (exposure.CONSTANT_START_DOME_LX, exposure.CONSTANT_RANGE_DOME_LX),
    ):
        assert low <= start <= high


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


@pytest.mark.parametrize(("luminance", "constant", "ev"), [(0.125, 12.5, 0.0), (0.25, 12.5, 1.0), (0.125, 14, -0.16349873)])
def test_exposure_value_of_luminance(luminance, constant, ev):
    """HDRI tests (seen): EV of a luminance at ISO 100."""
    assert exposure.exposure_value_of_luminance(luminance, 100, constant) == pytest.approx(ev, abs=5e-9)


@pytest.mark.parametrize(
    ("f_number", "time_s", "iso", "ev"),
    [(8, 1 / 250, 100, 13.96578428), (5.6, 1 / 500, 800, 10.93663794), (2.8, 1 / 1000, 1600, 8.93663794)],
)
def test_exposure_value_at_iso_100(f_number, time_s, iso, ev):
    """HDRI test_dsc (seen): EV100 of printed camera settings."""
    assert exposure.exposure_value_at_iso_100(f_number, time_s, iso) == pytest.approx(ev, abs=5e-9)


@pytest.mark.parametrize(("ev", "lux"), [(-1, 1.25), (0, 2.5), (1, 5), (2, 10), (3, 20), (4, 40)])
def test_lux_table(ev, lux):
    """devpeace.com/c/5401738, table for ISO 100 (seen): whole EV exactly."""
    assert exposure.illuminance_at_exposure_value(ev, 100, 250) == pytest.approx(lux, rel=1e-12)


@pytest.mark.parametrize(("ev", "lux"), [(0.5, 3.5), (1.5, 7), (2.5, 14), (3.5, 28)])
def test_lux_table_half_steps_rounded(ev, lux):
    """devpeace.com/c/5401738 (seen): half EV, rounded in the source to 1 %."""
    assert exposure.illuminance_at_exposure_value(ev, 100, 250) == pytest.approx(lux, rel=0.0105)


def test_assumed_reflectance():
    """Wikipedia "Light meter", a copy (seen): K 12.5 with C 250 is 15.7 %, K 14 is 17.6 %."""
    assert exposure.assumed_reflectance(12.5, 250) == pytest.approx(0.157, abs=5e-4)
    assert exposure.assumed_reflectance(14, 250) == pytest.approx(0.176, abs=5e-4)


def test_handbook_constants_in_foot_units():
    """Handbook chapter at tanguayphotomag.biz/colour-temperature-2 (seen): K 3.64 and C 25.6 in foot units give R 0.14."""
    candela_m2 = 3.64 / math.pi / 0.3048**2
    lux = 25.6 / 0.3048**2
    assert exposure.assumed_reflectance(candela_m2, lux) == pytest.approx(0.14, abs=0.005)
    assert 10.6 <= candela_m2 <= 13.4


@pytest.mark.parametrize(("f_number", "av"), [(2, 2), (2 * math.sqrt(2), 3)])
def test_apex_aperture(f_number, av):
    """speedylook.com/APEX_(photography) and libexif exif-entry.c (seen): Av = 2 log2 N."""
    assert exposure.aperture_value(f_number) == pytest.approx(av)
    assert exposure.f_number_of_aperture_value(av) == pytest.approx(f_number)


@pytest.mark.parametrize(("time_s", "tv"), [(1 / 128, 7), (1 / 256, 8), (1, 0)])
def test_apex_time(time_s, tv):
    """The same sources (seen): 1/125 is Tv 7 and 1/250 is 8, as exact 1/128 and 1/256."""
    assert exposure.time_value(time_s) == pytest.approx(tv)
    assert exposure.time_of_time_value(tv) == pytest.approx(time_s)


def test_apex_speed():
    """speedylook (seen): Sv = log2(S / 3.125): ISO 100 is 5, 400 is 7."""
    assert exposure.speed_value(100) == pytest.approx(5)
    assert exposure.speed_value(400) == pytest.approx(7)


def test_apex_worked_example():
    """speedylook (seen): B = 14.6 cd/m², K = 11.4, ISO 400: Bv 2, Sv 7, Ev 9 (agrees with N = 0.32 only)."""
    bv = exposure.brightness_value(14.6, 11.4)
    assert bv == pytest.approx(2.0, abs=0.001)
    assert bv + exposure.speed_value(400) == pytest.approx(9.0, abs=0.001)


def test_sunny_settings():
    """Notes on the Frostbite course (seen-2): 1/125 s at f/16 is EV 14.97, commonly 15."""
    assert exposure.exposure_value_of_settings(16, 1 / 125) == pytest.approx(14.97, abs=0.005)
    assert exposure.exposure_value_of_settings(16, 1 / 128) == pytest.approx(15)


@pytest.mark.parametrize(("guide", "distance_m", "f_number"), [(45, 5, 9), (40, 10, 4), (40, 5, 8), (24, 3, 8)])
def test_guide_number_examples(guide, distance_m, f_number):
    """idigitalphoto.com dictionary, qastack photo/16850, photo.stackexchange.com/q/16850 (seen): N = GN / d."""
    assert exposure.f_number_of_guide_number(guide, distance_m) == pytest.approx(f_number)
    assert exposure.guide_number(f_number, distance_m) == pytest.approx(guide)
    assert exposure.distance_of_guide_number(guide, f_number) == pytest.approx(distance_m)


@pytest.mark.parametrize(("iso", "printed"), [(200, 56), (400, 80), (800, 112)])
def test_guide_number_at_other_speeds(iso, printed):
    """qastack photo/16850 (seen): GN 40 at ISO 200, 400, 800 (the page doubles the rounded 56, hence 1.5 %)."""
    assert exposure.guide_number_at_iso(40, 100, iso) == pytest.approx(printed, rel=0.015)


@pytest.mark.parametrize(("iso", "factor"), [(100, 1), (200, 1.4), (400, 2), (800, 2.8), (1600, 4)])
def test_iso_factor_of_guide_numbers(iso, factor):
    """photo.stackexchange.com/q/16850 (seen): factors 1, 1.4, 2, 2.8, 4 (nominal)."""
    assert exposure.guide_number_at_iso(1, 100, iso) == pytest.approx(factor, rel=0.011)


def test_guide_number_is_the_exposure_equation_at_a_distance():
    """No published counterpart: 1000 cd·s is GN 20 m at C 250, and both ways give one exposure."""
    assert exposure.guide_number_of_intensity(1000, 100, 250) == pytest.approx(20)
    assert exposure.exposure_of_guide_number(20, 1.0, 100, 250) == pytest.approx(1000)
    assert exposure.guide_number_in_feet(40) == pytest.approx(131.2336, abs=1e-4)


def test_speed_degrees():
    """1001ferramentas.com tools/asa-iso-din-equivalence (seen): S° = 10 lg S + 1: 100 is 21, 200 is 24, 400 is 27, 1600 is 33."""
    for iso, degrees in ((100, 21), (200, 24), (400, 27), (1600, 33)):
        assert round(exposure.degrees_of_speed(iso)) == degrees


@pytest.mark.parametrize(
    ("key", "fill", "ratio"), [(200, 100, 3), (800, 200, 5)]
)
def test_highlight_to_shadow(key, fill, ratio):
    """en.wikipedia.org/wiki/Lighting_ratio, ASC definition (seen): (key + fill) : fill."""
    assert exposure.highlight_to_shadow(exposure.stops_between(key, fill)) == pytest.approx(ratio)


@pytest.mark.parametrize(("key", "fill", "ratio"), [(800, 200, 4), (100, 100, 1)])
def test_key_to_fill(key, fill, ratio):
    """absoluteastronomy Lighting_ratio, older text of the article (seen): key : fill."""
    assert exposure.key_to_fill(exposure.stops_between(key, fill)) == pytest.approx(ratio)


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
    light = 2**2.5
    assert exposure.sum_f_numbers(light, light) == pytest.approx(8)
    assert exposure.sum_f_numbers(*[light] * 4) == pytest.approx(2**3.5)


def test_adding_half_is_no_rule():
    """100blownhighlights.blogspot.com prints f/8 + f/5.6 = f/9.5 and f/8 + f/4 = f/8.75 (seen, and wrong)."""
    assert exposure.sum_f_numbers(8, 2**2.5) == pytest.approx(9.797959, abs=1e-6)
    assert exposure.sum_f_numbers(8, 4) == pytest.approx(8.944272, abs=1e-6)


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
    assert exposure.aperture_value(hot) - exposure.aperture_value(right) == pytest.approx(1)
    picture_light = (right / hot) ** 2
    assert exposure.stops_between(picture_light, 1.0) == pytest.approx(-1)
