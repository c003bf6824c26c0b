"""Nominal series against published tables, and lengths of the trade.

kameraarkasi.org/objektifler/terminoloji/fstop.html copies the Wikipedia table (seen; ISO 517 itself was not).
"""

from __future__ import annotations

import itertools

import pytest

from meterlink import units
from meterlink.photometry import series

FULL = "0.5 0.7 1.0 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64 90 128"
HALF = "1.0 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22"
THIRD = "1.0 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5.0 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22"
EXACT_THIRDS = (
    "1.00 1.12 1.26 1.41 1.59 1.78 2.00 2.24 2.52 2.83 3.17 3.56 4.00 4.49 5.04 5.66 6.35 7.13 8.00 8.98 10.08 11.31 "
    "12.70 14.25 16.00 17.96 20.16 22.63"
)
SHUTTER = (
    "1 0.8 0.6 1/2 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 "
    "1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000"
)
SPEEDS = (
    "6/9 8/10 10/11 12/12 16/13 20/14 25/15 32/16 40/17 50/18 64/19 80/20 100/21 125/22 160/23 200/24 3200/36 6400/39 8000/40"
)


def test_full_stops():
    """The published full stops are Av -2 to 14."""
    for index, printed in enumerate(FULL.split()):
        assert units.parse_f_number(printed) == pytest.approx(2 ** ((index - 2) / 2), rel=1e-12)


def test_half_stops():
    """The published half stops, halves first, are half a stop apart."""
    for index, printed in enumerate(HALF.split()):
        assert units.parse_f_number(printed, halves_first=True) == pytest.approx(2 ** (index / 4), rel=1e-12)


def test_third_stops():
    """The published third stops are a third of a stop apart."""
    for index, printed in enumerate(THIRD.split()):
        assert units.parse_f_number(printed) == pytest.approx(2 ** (index / 6), rel=1e-12)


def test_exact_thirds():
    """largeformatphotography.info t=8513 (seen): exact thirds to two decimals."""
    for printed, exact in zip(THIRD.split(), EXACT_THIRDS.split(), strict=True):
        assert units.parse_f_number(printed) == pytest.approx(float(exact), abs=0.0051)


def test_shutter_thirds():
    """scottlocklear.com/shutter-speed-chart (seen): printed times are a third of a stop apart."""
    for index, printed in enumerate(SHUTTER.split()):
        assert units.parse_shutter(printed) == pytest.approx(2 ** (-index / 3), rel=1e-12)


@pytest.mark.parametrize(("printed", "exact"), [(15, 16), (30, 32), (60, 64), (125, 128), (250, 256), (500, 512), (1000, 1024)])
def test_nominal_and_exact_times(printed, exact):
    """scantips.com/lights/fstop2 (seen): 1/15 is 1/16, 1/60 is 1/64, 1/1000 is 1/1024."""
    assert units.parse_shutter(f"1/{printed}") == pytest.approx(1 / exact, rel=1e-12)


def test_speeds_and_degrees():
    """analog.cafe/app/film-speed (seen): speed and degrees name one step."""
    for pair in SPEEDS.split():
        speed, degrees = pair.split("/")
        assert units.parse_iso(speed) == pytest.approx(units.parse_iso(f"{degrees}°"), rel=1e-12)


def test_three_thirds_of_320():
    """openphotographyforums.com t-18490 (seen): 320, 640, 1250 (not 1280), 2500 are whole stops apart."""
    speeds = [units.parse_iso(text) for text in ("320", "640", "1250", "2500")]
    for low, high in itertools.pairwise(speeds):
        assert high / low == pytest.approx(2, rel=1e-12)


def test_every_published_f_number_is_written_back():
    """Each published third, half and full stop survives finding its nearest step."""
    for table, step in ((THIRD, "third"), (HALF, "half"), (FULL, "full")):
        for printed in table.split():
            exact = units.parse_f_number(printed, halves_first=step == "half")
            assert series.nearest_f_number(exact, step).text == f"f/{float(printed):g}"


def test_lengths_of_the_trade():
    """Common practice, no published source: 190 cm is 75 in, a 35 x 100 cm strip is 14 x 39 in."""
    assert units.format_size(units.parse_length("190cm"), imperial=True) == "75 in"
    strip = units.parse_size("35x100cm")
    assert units.format_size(strip.width_m, strip.height_m, imperial=True) == "14 × 39 in"
    assert units.parse_length("1in") == 0.0254
