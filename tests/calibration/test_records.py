"""Reminders, readings seen with a new calibration, and spectra."""

from __future__ import annotations

import pytest

from meterlink.calibration.reapplied import reapply, reapply_all
from meterlink.calibration.reminders import OLD_S, reminders
from meterlink.calibration.spectra import known_lamps, lamp_errors, parse_csv
from meterlink.errors import CalibrationError
from meterlink.photometry import exposure, spectral
from meterlink.records import Calibration, Identity, Pop, RangeScale, Reading

IDENTITY = Identity("s1", "sensor", "meterlink-1", flash=True, ranges=("bright", "dim"))
OLD = Calibration("old", "s1", 1e9, 330.0, ranges=(RangeScale(2e6), RangeScale(2e5, 0.002)), method="reference",
                  temperature_c=20.0, angle_response=((0.0, 1.0), (60.0, 0.7)))  # fmt: skip
NEW = OLD._replace(id="new", ranges=(RangeScale(1.8e6), RangeScale(2.2e5, 0.004)), u_scale_rel=0.02)
READING = Reading("r", "set", "light", "place", "old", "s1", 1e9, exposure_lxs=30.0, range_index=1, peak_lx=6e4,
                  ambient_lx=600.0, pops=(Pop(20.0, range_index=1, peak_lx=6e4), Pop(40.0, range_index=0)))  # fmt: skip


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
    assert any(words in said for said in reminders(calibration, IDENTITY, now, **more))  # type: ignore[arg-type]


def test_old_reading_is_seen_with_the_new_scale_and_never_changed() -> None:
    """Pops move by their own range's factor, steady light with its dark; the reading itself stays as it is."""
    seen = reapply(READING, OLD, NEW)

    assert seen.pops[0].exposure_lxs == pytest.approx(22.0)
    assert seen.pops[1].exposure_lxs == pytest.approx(36.0)
    assert seen.exposure_lxs == pytest.approx(30.0 * 58 / 60)
    assert seen.ambient_lx == pytest.approx((600 / 2e5 + 0.002 - 0.004) * 2.2e5)
    assert seen.peak_lx == pytest.approx(6.6e4)
    assert seen.calibration_id == "new"
    assert READING.exposure_lxs == 30.0
    # There and back again is where it began.
    assert reapply(seen, NEW, OLD).exposure_lxs == pytest.approx(30.0)


def test_f_number_moves_by_the_stops_of_the_scale() -> None:
    """A scale 10 % larger moves a one-pop reading's f-number by log2(1.1) stop (N² = H·S/C)."""
    one = READING._replace(pops=())
    before = exposure.f_number(one.exposure_lxs or 0, 100, OLD.constant)
    after = exposure.f_number(reapply(one, OLD, NEW).exposure_lxs or 0, 100, NEW.constant)
    assert (after / before) ** 2 == pytest.approx(1.1)


def test_views_refuse_what_does_not_belong_together() -> None:
    """Another calibration, sensor, receptor or a missing range is refused; a list of readings says why, once."""
    for old, new, words in [
        (OLD._replace(id="x"), NEW, "another calibration"),
        (OLD, NEW._replace(sensor_id="x"), "another sensor"),
        (OLD, NEW._replace(receptor="flat"), "cannot be seen"),
        (OLD, NEW._replace(ranges=NEW.ranges[:1]), "calibration has 1 range"),
    ]:
        with pytest.raises(CalibrationError, match=words):
            reapply(READING, old, new)

    seen, why = reapply_all([READING, READING._replace(calibration_id="gone")] * 2, {"old": OLD}, NEW)
    assert [r.calibration_id for r in seen] == ["new", "gone"] * 2
    assert why == ["its calibration is not in the library: it stays as it is"]


CSV = """# a comment
nm;my diode;dome
380;0.1;0.9
500;0.6;0.9

780;0.2;0.9
"""


def test_csv_of_spectra_is_read() -> None:
    """Comments, empty lines and semicolons are fine; values are interpolated to 5 nm."""
    spectra = parse_csv(CSV)
    assert list(spectra.values) == ["my diode", "dome"]
    assert spectra.values["my diode"][12] == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "header"),
        ("nm,a\n400,1\n", "header"),
        ("nm,a\n400,1\n500,x\n", "line 3 of the spectra"),
        ("nm,a\n400,1\n500\n", "every line|numbers"),
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
    assert len(lamps.values) == 8

    index, rows = lamp_errors(spectral.v_lambda(spectral.GRID_NM), lamps)
    assert index == pytest.approx(0, abs=1e-9)
    assert all(abs(r.error_stops) < 1e-9 for r in rows)

    index, rows = lamp_errors(spectral.v_lambda(spectral.GRID_NM - 20), lamps, "tungsten, studio")
    assert index > 0.15
    errors = {r.lamp: r.error_stops for r in rows}
    assert errors["tungsten, studio"] == pytest.approx(0)
    assert errors["daylight flash (xenon)"] < -0.1
    with pytest.raises(CalibrationError, match="no lamp"):
        lamp_errors(spectral.v_lambda(spectral.GRID_NM), lamps, "candle")
