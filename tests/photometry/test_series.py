"""Nominal series as indices, and how an f-number is written."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry import series


@pytest.mark.parametrize(
    ("table", "limit"),
    [
        (series._F_THIRDS, 1 / 6),
        (series._F_HALVES, 1 / 4),
        (series._T_THIRDS, None),
        (series._T_HALVES, 1 / 4),
        (series._S_THIRDS, 1 / 6),
        (series._S_HALVES, 1 / 4),
    ],
)
def test_every_printed_number_is_nearest_to_its_own_step(table, limit):
    """No printed number is nearer to a neighbouring step; f-numbers count two stops an octave, longer times fewer Tv."""
    scale = 2.0 if table in (series._F_THIRDS, series._F_HALVES) else -1.0 if table in (series._T_THIRDS, series._T_HALVES) else 1.0
    reference = 100.0 if table in (series._S_THIRDS, series._S_HALVES) else 1.0
    # 1/10 and 1/20 s are printed a hair past the midpoint of thirds (-0.178): custom, not arithmetic
    bound = 0.18 if limit is None else limit
    for printed, stops in table.items():
        assert abs(scale * math.log2(printed / reference) - stops) < bound, printed


def test_series_have_no_double_entries():
    """Every printed number of a series is there once, so a look-up is never ambiguous within it."""
    for numbers, table in (
        (series.THIRD_F_NUMBERS, series._F_THIRDS),
        (series.HALF_F_NUMBERS, series._F_HALVES),
        (series.THIRD_TIMES, series._T_THIRDS),
        (series.HALF_TIMES, series._T_HALVES),
        (series.THIRD_SPEEDS, series._S_THIRDS),
        (series.HALF_SPEEDS, series._S_HALVES),
    ):
        assert len(numbers) == len(table)


def test_f13_and_f1_2_depend_on_the_setting():
    """f/13 and f/1.2 are thirds unless halves come first."""
    assert series.f_number_exact(13) == pytest.approx(2 ** (22 / 6))
    assert series.f_number_exact(13, halves_first=True) == pytest.approx(2 ** (7.5 / 2))
    assert series.f_number_exact(1.2) == pytest.approx(2 ** (1 / 3))
    assert series.f_number_exact(1.2, halves_first=True) == pytest.approx(2**0.25)
    assert series.f_number_exact(9.5) == pytest.approx(2 ** (6.5 / 2))


def test_number_with_two_meanings_is_refused_with_both():
    """f/8.3 is refused and the message shows f/8+0.3 and how to type the number 8.3."""
    with pytest.raises(ValueError, match=r"f/8\+0\.3.*8\.3 type f/8\+0\.1"):
        series.f_number_exact(8.3)
    with pytest.raises(ValueError, match=r"f/9\.7 is on no nominal series: type f/8\+0\.6"):
        series.f_number_exact(9.7)


@pytest.mark.parametrize(
    ("av", "text"),
    [
        (6.0, "f/8"),
        (6.3, "f/8 +0.3"),
        (6.04, "f/8"),
        (6.05, "f/8 +0.1"),
        (6.9499, "f/8 +0.9"),
        (6.95, "f/11"),
        (6.99, "f/11"),
        (7.0, "f/11"),
        (-0.5, "f/0.7 +0.5"),
        (-0.05, "f/1"),
        (15.0, "f/181"),
        (-3.0, "f/0.354"),
    ],
)
def test_f_number_is_written_as_full_stop_and_tenths(av, text):
    """Nominal full stop at or below plus tenths; +0.95 and up carries to the next full stop."""
    assert series.format_f_number(2 ** (av / 2)) == text


@given(st.floats(0.5, 120))
def test_written_tenths_are_within_half_a_tenth(f_number):
    """Reading the written form back is within 0.05 stop of the number."""
    full, tenths = series.split_f_number(f_number)

    assert 0 <= tenths <= 9
    assert abs(full + tenths / 10 - 2 * math.log2(f_number)) <= 0.05 + 1e-6


@given(st.floats(0.5, 128), st.sampled_from([("third", 1 / 6), ("half", 1 / 4), ("full", 1 / 2)]))
def test_nearest_f_number_leaves_less_than_half_a_step(f_number, step):
    """The step and what is left over give the number back, and the rest is at most half a step."""
    nearest = series.nearest_f_number(f_number, step[0])

    assert abs(nearest.left_over_stops) <= step[1] + 1e-9
    assert nearest.value * 2 ** (nearest.left_over_stops / 2) == pytest.approx(f_number)


def test_nearest_keeps_to_the_ends_and_says_what_is_left():
    """Beyond the series the last step is given, with all that is left over."""
    nearest = series.nearest_f_number(256.0)

    assert nearest.text == "f/128"
    assert nearest.left_over_stops == pytest.approx(2.0)
    assert series.nearest_iso(1.0).text == "ISO 6"
    assert series.nearest_time_s(120.0).text == "30 s"


@pytest.mark.parametrize("numbers", [series.THIRD_TIMES, series.HALF_TIMES])
def test_every_time_survives_writing_and_nearest(numbers):
    """The exact value of each printed time is nearest to that very time; longer is positive."""
    step = "third" if numbers is series.THIRD_TIMES else "half"
    for code in numbers:
        printed = code if code > 0 else 1 / -code
        exact = series.time_exact_s(printed, halves_first=step == "half")
        nearest = series.nearest_time_s(exact * 1.01, step)
        assert nearest.value == pytest.approx(exact)
        assert nearest.left_over_stops == pytest.approx(math.log2(1.01))


def test_times_and_speeds_off_the_series_are_taken_as_they_are():
    """1/300 s and ISO 1000000 are on no series and keep their printed value."""
    assert series.time_exact_s(1 / 300) == 1 / 300
    assert series.iso_exact(123) == 123
    assert series.format_time(1 / 300) == "1/300 s"
    assert series.format_iso(123) == "ISO 123"
    assert series.format_time(45.0) == "45 s"
    assert series.format_time(3000.0) == "3000 s"


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_values_are_refused(bad):
    """Zero, negative, NaN and infinite values raise ValueError in every function."""
    for function in (
        series.f_number_exact,
        series.time_exact_s,
        series.iso_exact,
        series.nearest_f_number,
        series.nearest_time_s,
        series.nearest_iso,
        series.format_f_number,
    ):
        with pytest.raises(ValueError, match="positive"):
            function(bad)
    with pytest.raises(ValueError, match="third, half or full"):
        series.nearest_f_number(8.0, "fifth")
