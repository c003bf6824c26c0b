"""Reminders and spectra."""

from __future__ import annotations

import numpy as np
import pytest

from meterlink.calibration.chosen import OLD_S, reminders
from meterlink.calibration.spectra import known_lamps, lamp_errors, parse_csv
from meterlink.errors import CalibrationError
from meterlink.photometry import spectral
from meterlink.records import Calibration, Identity, RangeScale

IDENTITY = Identity("s1", "sensor", "meterlink-1", flash=True, ranges=("bright", "dim"))
OLD = Calibration("old", "s1", 1e9, 330.0, ranges=(RangeScale(2e6), RangeScale(2e5, 0.002)), method="reference",
                  temperature_c=20.0, angle_response=((0.0, 1.0), (60.0, 0.7)))  # fmt: skip


def test_nothing_to_say_about_a_fresh_calibration_that_fits() -> None:
    """A recent calibration of this sensor, its ranges and its receptor has no reminders."""
    assert reminders(OLD, IDENTITY, 1e9 + 1, receptor="dome", temperature_c=25.0) == ()


@pytest.mark.parametrize(
    ("calibration", "now", "more", "words"),
    [
        (None, 1e9, {}, "not calibrated"),
        (OLD._replace(method="assumed"), 1e9, {}, "not calibrated"),
        (OLD._replace(sensor_id="x"), 1e9, {}, "another sensor"),
        (OLD._replace(ranges=OLD.ranges[:1]), 1e9, {}, "ranges have changed"),
        (OLD._replace(details={"range_names": ["a", "b"]}), 1e9, {}, "ranges have changed"),
        (OLD, 1e9, {"receptor": "flat"}, "now the flat is mounted"),
        (OLD._replace(relative=True), 1e9, {}, "relative calibration"),
        (OLD, 1e9 + OLD_S + 1, {}, "365 days ago"),
        (OLD, 1e9 - 1e6, {}, "in the future"),
        (OLD, 1e9, {"temperature_c": 2.0}, "calibrated at 20 °C, now 2 °C"),
        (OLD._replace(angle_response=()), 1e9, {}, "angular response never tested"),
    ],
)
def test_reminders_name_what_no_longer_fits(
    calibration: Calibration | None, now: float, more: dict[str, object], words: str
) -> None:
    """Missing, assumed, another sensor's, other ranges, receptor, relative, old, future, temperature, angle."""
    assert any(words in said for said in map(str, reminders(calibration, IDENTITY, now, **more)))  # type: ignore[arg-type]


CSV = """# a comment
nm;my diode;dome
380;0.1;0.9
500;0.6;0.9

780;0.2;0.9
"""


def test_csv_of_spectra_is_read() -> None:
    """Comments, empty lines and semicolons are fine; values are interpolated to 5 nm."""
    spectra = parse_csv(CSV)
    assert list(spectra) == ["my diode", "dome"]
    assert spectra["my diode"][12] == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "header"),
        ("nm,a\n400,1\n", "header"),
        ("nm,a\n400,1\n500,x\n", "line 3 of the spectra"),
        ("nm,a\n400,1\n500\n", "line 3 of the spectra is not 2 numbers"),
        ("nm,a\n400,1,1\n500,1,1\n", "line 2 of the spectra"),
        ("nm,a,a\n400,1,1\n500,1,1\n", "one name"),
        ("nm,a\n500,1\n400,1\n", "rise"),
        ("x" * 2_000_001, "characters"),
    ],
)
def test_broken_csv_is_refused_in_one_line(text: str, words: str) -> None:
    """Empty, short, not numbers, ragged, doubled names, falling wavelengths, far too large."""
    with pytest.raises(CalibrationError, match=words):
        parse_csv(text)


def test_lamp_errors_of_a_sensor_with_the_eyes_response_are_zero() -> None:
    """A perfect sensor has f1′ 0 and no error under any lamp; a shifted one reads warm and cool lamps apart."""
    lamps = known_lamps()
    assert len(lamps) == 8

    index, rows = lamp_errors(spectral.V_LAMBDA, lamps)
    assert index == pytest.approx(0, abs=1e-9)
    assert all(abs(r.error_stops) < 1e-9 for r in rows)

    index, rows = lamp_errors(np.interp(spectral.GRID_NM - 20, spectral.GRID_NM, spectral.V_LAMBDA), lamps, "tungsten, studio")
    assert index > 0.15
    errors = {r.lamp: r.error_stops for r in rows}
    assert errors["tungsten, studio"] == pytest.approx(0)
    assert errors["daylight flash (xenon)"] < -0.1
    with pytest.raises(CalibrationError, match="no lamp"):
        lamp_errors(spectral.V_LAMBDA, lamps, "candle")
