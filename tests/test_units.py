"""What a person types, and what is shown to people."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink import units
from meterlink.errors import UnitError

PARSERS = [
    units.parse_length,
    units.parse_distance,
    units.parse_size,
    units.parse_held_off,
    units.parse_f_number,
    units.parse_shutter,
    units.parse_time,
    units.parse_iso,
    units.parse_stops,
    units.parse_ratio,
    units.parse_power,
    units.parse_angle,
    units.parse_movement,
]


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1.4m", 1.4),
        ("140cm", 1.4),
        ("1400mm", 1.4),
        ("140 CM", 1.4),
        ("1,4 m", 1.4),
        ("4ft6", 1.3716),
        ("4 ft 6 in", 1.3716),
        ("4'6\"", 1.3716),
        ("4\u20326\u2033", 1.3716),
        ("4'", 1.2192),
        ("55in", 1.397),
        ('55"', 1.397),
        ("5 1/2in", 0.1397),
        ("5-1/2in", 0.1397),
        ("1/2in", 0.0127),
        ("4' 6-1/2\"", 1.3843),
        ("0", 0.0),
    ],
)
def test_lengths_are_read_as_people_say_them(text, metres):
    """Metric, feet and inches, typographic signs and blanks give metres."""
    assert units.parse_length(text) == pytest.approx(metres, abs=1e-12)


def test_metric_spellings_are_the_same_number():
    """1.4m, 140cm and 1400mm are one and the same float, so equal placements compare equal."""
    assert units.parse_length("1.4m") == units.parse_length("140cm") == units.parse_length("1400mm")


@pytest.mark.parametrize(
    "text", ["1.4", "4ft13", "nan", "inf", "-1m", "1e3m", "\u0663m", "1m2", "m", "5 1/0in", "1/0in", "1/2m", "1/2", "9" * 40]
)
def test_lengths_that_cannot_be_are_refused(text):
    """No unit, 13 inches, NaN, exponents and foreign digits are refused, showing what is accepted."""
    with pytest.raises(UnitError, match=r"type .*(m|in)") as caught:
        units.parse_length(text)
    assert caught.value.text == text
    assert caught.value.exit_code == 2


def test_distance_limits_are_said():
    """A distance of zero or beyond 50 m is refused with the range."""
    for text in ("0", "0m", "51m"):
        with pytest.raises(UnitError, match="to 50m"):
            units.parse_distance(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("90cm", (0.9, None)),
        ("60x90cm", (0.6, 0.9)),
        ("35 \u00d7 100 cm", (0.35, 1.0)),
        ("2ft x 3ft", (0.6096, 0.9144)),
        ('24x36"', (0.6096, 0.9144)),
    ],
)
def test_source_sizes_are_read(text, size):
    """One length is a diameter, two are a rectangle, and the unit may be said once."""
    width, height = units.parse_size(text)
    assert width == pytest.approx(size[0])
    assert height == (None if size[1] is None else pytest.approx(size[1]))


@pytest.mark.parametrize(
    ("text", "held"),
    [
        ("FILL", ("FILL", None)),
        ("FILL@20cm", ("FILL", 0.2)),
        ("FILL@0", ("FILL", 0.0)),
        ("Hair light@8in", ("Hair light", 0.2032)),
    ],
)
def test_held_off_suffix_is_split(text, held):
    """Undeclared is None and a declared zero is 0, never the same."""
    name, held_off_m = units.parse_held_off(text)
    assert name == held[0]
    assert held_off_m == (None if held[1] is None else pytest.approx(held[1]))


@pytest.mark.parametrize("text", ["", "@20cm", "FILL@", "FILL@20", "FILL@-2cm", "a\x1b[31m@2cm", "x" * 61])
def test_broken_held_off_suffix_is_refused(text):
    """A missing name, a missing unit or control characters are one clear line."""
    with pytest.raises(UnitError, match="type "):
        units.parse_held_off(text)


@pytest.mark.parametrize(
    ("text", "av"),
    [
        ("f/8", 6),
        ("F8", 6),
        ("8", 6),
        ("f/11", 7),
        ("5,6", 5),
        ("f/8+0.3", 6.3),
        ("f/8 + 1/3", 6 + 1 / 3),
        ("\u0192/13", 22 / 3),
    ],
)
def test_f_numbers_are_indices(text, av):
    """A typed f-number gives the exact value of its index, plus what is added."""
    assert units.parse_f_number(text) == pytest.approx(2 ** (av / 2), rel=1e-12)


def test_f_8_3_is_refused_with_both_meanings():
    """f/8.3 may be f/8 and 0.3 stop or the number 8.3; both ways to type it are shown."""
    with pytest.raises(UnitError, match=r"f/8\+0\.3.*f/8\+0\.1"):
        units.parse_f_number("f/8.3")


@given(st.floats(0.5, 120))
def test_written_f_number_can_be_typed_back(f_number):
    """What the tables print can be typed, and is within half a tenth of a stop."""
    typed = units.parse_f_number(units.format_f_number(f_number))
    assert abs(2 * math.log2(typed / f_number)) <= 0.05 + 1e-6


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1/160", 2 ** (-22 / 3)),
        ("1/60", 1 / 64),
        ("1/125 s", 1 / 128),
        ("0.5s", 0.5),
        ("0.5", 0.5),
        ('2"', 2),
        ("1/300", 1 / 300),
    ],
)
def test_shutter_times_are_indices_where_on_a_series(text, seconds):
    """1/60 is 1/64 s; a time on no series is taken as it is."""
    assert units.parse_shutter(text) == pytest.approx(seconds, rel=1e-12)


def test_plain_times_are_on_no_series():
    """A flash duration of 1/60 s is 1/60 s."""
    assert units.parse_time("1/60") == 1 / 60
    assert units.parse_time("250us") == pytest.approx(250e-6)
    assert units.parse_time("3\u00b5s") == pytest.approx(3e-6)


def test_speeds_are_indices():
    """ISO 1250 is 11/3 stops above 100; degrees give their speed."""
    assert units.parse_iso("ISO 1250") == pytest.approx(100 * 2 ** (11 / 3))
    assert units.parse_iso("24\u00b0") == pytest.approx(200)
    assert units.parse_iso("123") == 123


@pytest.mark.parametrize(
    ("text", "stops"),
    [
        ("full", 0),
        ("1/1", 0),
        ("1", 0),
        ("1/4", -2),
        ("1/4+0.3", -1.7),
        ("1/4 - 1/3", -2 - 1 / 3),
        ("1/128", -7),
        ("-2.3", -2.3),
        ("\u22122.3", -2.3),
        ("50%", -1),
    ],
)
def test_power_fractions_and_stops(text, stops):
    """Fractions of full power with tenths or thirds, stops below full and per cent give stops."""
    assert units.parse_power(text) == pytest.approx(stops, abs=1e-12)


def test_power_scales_that_need_a_top():
    """A numeric scale needs its top number and joules need the full power; both say so."""
    assert units.parse_power("6.3", scale_top=10) == pytest.approx(-3.7)
    assert units.parse_power("1", scale_top=10) == -9
    assert units.parse_power("200J", full_power_j=400) == -1
    assert units.parse_power("250 Ws", full_power_j=1000) == -2
    with pytest.raises(UnitError, match="top number"):
        units.parse_power("6.3")
    with pytest.raises(UnitError, match="full power in joules"):
        units.parse_power("200J")
    for text, scales in (("11", {"scale_top": 10}), ("500J", {"full_power_j": 400}), ("2/1", {}), ("+1", {})):
        with pytest.raises(UnitError, match="more than full power"):
            units.parse_power(text, **scales)


@given(st.integers(-90, 0))
def test_written_power_can_be_typed_back(tenths):
    """Power in tenths of a stop survives writing and typing in the fraction, number and joule scales."""
    stops = tenths / 10
    assert units.parse_power(units.format_power(stops)) == pytest.approx(stops, abs=1e-9)
    assert units.parse_power(units.format_power(stops, scale_top=10), scale_top=10) == pytest.approx(stops, abs=1e-9)
    joules = units.format_power(stops, full_power_j=500)
    assert units.parse_power(joules, full_power_j=500) == pytest.approx(stops, abs=0.01)


def test_ratios_angles_stops_and_speeds():
    """3:1 is 3, left is negative, a true minus counts, km/h becomes m/s."""
    assert units.parse_ratio("3:1") == 3
    assert units.parse_ratio("1:2") == 0.5
    assert units.parse_angle("30 left") == -30
    assert units.parse_angle("20\u00b0 up") == 20
    assert units.parse_stops("\u22121 1/3") == pytest.approx(-4 / 3)
    assert units.parse_movement("36 km/h") == pytest.approx(10)
    assert units.parse_length("1m40") == units.parse_length("1 m 40 cm") == 1.4
    assert units.parse_angle("behind") == 180
    assert units.parse_power("half") == units.parse_power("1/2") == -1
    assert units.parse_power("quarter+0.3") == pytest.approx(-1.7)
    for typed in ("3ft/s", "3 ft / s", "3 feet/s", "36 in/s"):
        assert units.parse_movement(typed) == pytest.approx(0.9144)
    assert units.parse_movement("10mph") == pytest.approx(4.4704)
    for parse, text in (
        (units.parse_ratio, "3"),
        (units.parse_ratio, "0:1"),
        (units.parse_angle, "400"),
        (units.parse_stops, "99"),
        (units.parse_movement, "2m"),
        (units.parse_length, "1m4"),
        (units.parse_length, "1m 40"),
    ):
        with pytest.raises(UnitError, match="type "):
            parse(text)


@pytest.mark.parametrize("parse", PARSERS)
@pytest.mark.parametrize(
    "text", ["", "   ", "nan", "inf", "-inf", "1e999", "\u0661/\u0664", "x" * 100_000, "1/0", "\x00", "0/0", "--1", "+"]
)
def test_hostile_text_is_one_line(parse, text):
    """Empty, huge, non-finite and foreign-digit text raises UnitError with one short line and nothing else."""
    if parse is units.parse_held_off and text.strip().isprintable() and 0 < len(text.strip()) <= units.MAX_TEXT:
        assert parse(text) == (text.strip(), None)  # any short printable word may be a light's name
        return
    with pytest.raises(UnitError) as caught:
        parse(text)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 250


@given(st.text(max_size=80))
def test_any_text_gives_a_finite_value_or_a_unit_error(text):
    """No text makes a parser raise anything else or return a number that is not finite."""
    for parse in PARSERS:
        try:
            value = parse(text)
        except UnitError as problem:
            message = str(problem)
        else:
            message = ""
            numbers = [v for v in (value if isinstance(value, tuple) else (value,)) if isinstance(v, float)]
            assert all(math.isfinite(number) for number in numbers)
        assert "\n" not in message


def test_something_that_is_no_text_is_refused():
    """A number where text belongs (from a file) is a UnitError, not a crash."""
    for parse in PARSERS:
        with pytest.raises(UnitError):
            parse(14)


@pytest.mark.parametrize(
    ("metres", "metric", "imperial"),
    [
        (0.2, "20 cm", "8 in"),
        (0.05, "5.0 cm", "2 in"),
        (0.9996, "1.00 m", "3 ft 3 in"),
        (1.397, "1.40 m", "4 ft 7 in"),
        (0.9144, "91 cm", "3 ft"),
        (1.8270, "1.83 m", "6 ft"),
        (-0.2, "\u221220 cm", "\u22128 in"),
        (0.0, "0.0 cm", "0 in"),
    ],
)
def test_lengths_are_written_for_people(metres, metric, imperial):
    """Centimetres below a metre, feet and inches with carry, a true minus."""
    assert units.format_length(metres) == metric
    assert units.format_length(metres, imperial=True) == imperial


def test_stops_carry_a_true_sign():
    """A plus or a true minus, and no sign on zero."""
    assert units.format_stops(0.34) == "+0.3"
    assert units.format_stops(-0.5) == "\u22120.5"
    assert units.format_stops(-0.04) == "0.0"


def test_other_formatters():
    """Ratios, durations, shutter, ISO, angles and lux as the trade writes them."""
    assert units.format_ratio(3.0) == "3:1"
    assert units.format_ratio(2.52) == "2.5:1"
    assert units.format_ratio(0.5) == "1:2"
    assert units.format_duration(1 / 2412) == "1/2400 s"
    assert units.format_duration(1.5) == "1.5 s"
    assert units.format_shutter(2 ** (-22 / 3)) == "1/160 s"
    assert units.format_iso(1269.92) == "ISO 1250"
    assert units.format_angle(-30.2) == "\u221230\u00b0"
    assert units.format_illuminance(12345.0) == "12.3 klx"
    assert units.format_illuminance(960.0) == "960 lx"
    assert units.format_power(0.0) == "full"


def test_importing_units_loads_nothing_heavy():
    """The start-up path stays light: no numpy, dataclasses, enum-heavy or asyncio modules come with units."""
    heavy = "('numpy', 'dataclasses', 'asyncio')"
    code = f"import sys, meterlink.units; print(*[m for m in {heavy} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == ""


@pytest.mark.parametrize(
    ("lx", "written"),
    [(0.717, "0.717 lx"), (12.34, "12.3 lx"), (1234.0, "1,230 lx"), (9994.0, "9,990 lx"), (9996.0, "10 klx"), (221.3e3, "221 klx")],
)
def test_light_is_written_with_three_figures_and_no_exponent(lx: float, written: str) -> None:
    """Nobody writes 1.23e+03 lx."""
    assert units.format_illuminance(lx) == written


@pytest.mark.parametrize(
    ("lxs", "written"), [(0.71749, "0.717 lx·s"), (220.4, "220 lx·s"), (1254.0, "1,250 lx·s"), (123456.0, "123,000 lx·s")]
)
def test_an_exposure_is_written_with_three_figures_and_no_exponent(lxs: float, written: str) -> None:
    """However large it is."""
    assert units.format_exposure(lxs) == written
