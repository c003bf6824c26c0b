"""Foot-candles and lux, from SI definitions: 1 ft = 0.3048 m exactly (NIST SP 811), 1 lx = 1 lm/m²."""

from __future__ import annotations

from fractions import Fraction

import pytest

from meterlink.sensor.dialects.dialect_file import find_dialect, make_decoder
from meterlink.sensor.dialects.quantities import LUX_PER_FOOTCANDLE, to_si

EXACT = 1 / Fraction(3048, 10_000) ** 2


def test_one_footcandle_is_a_lumen_per_square_foot() -> None:
    """NIST SP 811, appendix B.8: 1 footcandle = 1.076391 E+01 lux."""
    assert float(EXACT) == LUX_PER_FOOTCANDLE
    assert float(EXACT) == pytest.approx(10.76391, abs=5e-6)


@pytest.mark.parametrize("unit", ["fc", "ftc", "ft-c", "footcandle", "footcandles", "foot-candle", "foot-candles"])
def test_every_spelling_means_the_same(unit: str) -> None:
    """100 foot-candles are 1076.391 lx however they are spelt."""
    field = find_dialect("lux-lines").fields[0]
    assert to_si(field, 100.0, unit) == pytest.approx(float(100 * EXACT), rel=1e-14)


def test_a_line_in_footcandles_becomes_lux() -> None:
    """Line, unit and factor together; the line before it is dropped because its head may be missing."""
    found = make_decoder("lux-lines").feed(b"9 fc\n50 fc\n", 0.0)
    assert [sample.illuminance_lx for sample in found[1:]] == [pytest.approx(538.1955208)]


def test_ev_becomes_lux_by_the_stated_constant() -> None:
    """E = C·2^EV/S: EV 8 at ISO 100 with C = 250 is 640 lx (ISO 2720's equation; table in check values)."""
    found = make_decoder("ev-lines").feed(b"\n8 EV\n", 0.0)
    assert found[1].illuminance_lx == 640.0
