"""Bluetooth SIG formats of light, as in the SIG's assigned numbers and GATT Specification Supplement.

Formats and 'value is not known' codes were seen in the SIG's YAML as packaged in PyPI bluetooth-sig 0.6.0; the byte
examples follow from them.
"""

from __future__ import annotations

import pytest

from meterlink.records import Battery, Colour, Steady
from meterlink.sensor.dialects import gatt


@pytest.mark.parametrize(
    ("value", "lux"), [("40E201", 1234.56), ("FA0000", 2.5), ("FEFFFF", 167772.14), ("000000", 0.0), ("FFFFFF", None)]
)
def test_illuminance_is_uint24_in_hundredths_of_lux(value: str, lux: float | None) -> None:
    """0x2AFB: uint24, 0.01 lx, 0 to 167772.14, FFFFFF is not known."""
    assert gatt.number("2AFB", bytes.fromhex(value)) == lux


@pytest.mark.parametrize(("value", "lux"), [("0100", 1.0), ("FEFF", 65534.0), ("FFFF", None)])
def test_illuminance_16_is_uint16_in_lux(value: str, lux: float | None) -> None:
    """0x2C1C: uint16, 1 lx, 0 to 65534, FFFF is not known."""
    assert gatt.number("2C1C", bytes.fromhex(value)) == lux


@pytest.mark.parametrize(("value", "kelvin"), [("7C15", 5500.0), ("2003", 800.0), ("FEFF", 65534.0), ("FFFF", None)])
def test_cct_is_uint16_in_kelvin(value: str, kelvin: float | None) -> None:
    """0x2AE9: uint16, 1 K, 800 to 65534, FFFF is not known."""
    assert gatt.number("2AE9", bytes.fromhex(value)) == kelvin


@pytest.mark.parametrize(("channel", "code", "limit"), [("2AE9", 799, "800"), ("2AE3", 5001, "0.05"), ("2AE3", -5001, "-0.05")])
def test_what_a_format_forbids_is_refused(channel: str, code: int, limit: str) -> None:
    """0x2AE9 allows nothing below 800 K, 0x2AE3 nothing beyond a Duv of ±0.05."""
    with pytest.raises(ValueError, match=limit):
        gatt.number(channel, code.to_bytes(2, "little", signed=True))


def test_chromaticity_of_d65() -> None:
    """0x2AE4: D65 (x 0.3127, y 0.3290; CIE 15) is 0D 50 39 54 in both scalings that the SIG's text allows."""
    assert gatt.chromaticity(bytes.fromhex("0D503954")) == pytest.approx((0.3127, 0.3290), abs=1e-5)


@pytest.mark.parametrize(
    ("value", "duv"), [("0CFE", -0.005), ("8813", 0.05), ("78EC", -0.05), ("FE7F", None), ("FF7F", None)]
)
def test_duv_is_sint16_in_hundred_thousandths(value: str, duv: float | None) -> None:
    """0x2AE3: sint16, 1e-5, within ±0.05; 7FFE is not known, 7FFF not valid."""
    assert gatt.number("2AE3", bytes.fromhex(value)) == duv


@pytest.mark.parametrize(("value", "fraction"), [("00", 0.0), ("57", 0.87), ("64", 1.0), ("65", None), ("FF", None)])
def test_battery_level_is_percent(value: str, fraction: float | None) -> None:
    """0x2A19: uint8, 0 to 100 %; everything above is reserved."""
    assert gatt.number("2A19", bytes.fromhex(value)) == fraction


def test_cct_and_duv_stand_in_one_characteristic() -> None:
    """0x2AE5 is 0x2AE9 followed by 0x2AE3."""
    decoder = gatt.CharacteristicDecoder(gatt.DecoderStats())
    assert decoder.feed(bytes.fromhex("7C150CFE"), 2.0, "2AE5") == [Colour(2.0, cct_k=5500.0, duv=-0.005)]


def test_unknown_values_make_no_sample() -> None:
    """What the sensor does not know is nothing, and not zero."""
    decoder = gatt.CharacteristicDecoder(gatt.DecoderStats())
    for channel, value in (("2AFB", "FFFFFF"), ("2C1C", "FFFF"), ("2AE9", "FFFF"), ("2A19", "FF")):
        assert decoder.feed(bytes.fromhex(value), 0.0, channel) == []


def test_known_values_make_samples() -> None:
    """A known illuminance is steady light, at the end of the format marked as clipped; a level is a battery."""
    decoder = gatt.CharacteristicDecoder(gatt.DecoderStats())
    assert decoder.feed(bytes.fromhex("40E201"), 1.0, "2AFB") == [Steady(1.0, None, illuminance_lx=1234.56)]
    assert decoder.feed(bytes.fromhex("FEFFFF"), 1.0, "2AFB") == [
        Steady(1.0, None, clipped=True, illuminance_lx=167772.14)
    ]
    assert decoder.feed(b"\x57", 1.0, "2A19") == [Battery(1.0, 0.87)]


@pytest.mark.parametrize("channel", ["2AFB", "2C1C", "2AE9", "2AE4", "2AE3", "2AE5", "2A19"])
def test_wrong_length_is_damage(channel: str) -> None:
    """A value of another length is counted as damaged and gives nothing."""
    stats = gatt.DecoderStats()
    decoder = gatt.CharacteristicDecoder(stats)
    assert decoder.feed(b"", 0.0, channel) == decoder.feed(bytes(9), 0.0, channel) == []
    assert stats.damaged == {"body": 2}
