"""Evidence to calibration: uncertainty and every refusal, each with what to do."""

from __future__ import annotations

import math

import pytest

from benchmarks.calibration_figures import absolute_u_rel
from meterlink.calibration.evidence import Dark, Evidence, Overlap, Pair, mean_of, raw_of, resolution_u_rel
from meterlink.calibration.scale import Scaled, calibrate_relative, calibrate_scale, calibrate_zero
from meterlink.errors import CalibrationError
from meterlink.records import Calibration, Measurement, RangeScale

NAMES = ("bright", "dim")
DARKS = (Dark(0, 0.004, 0.0003), Dark(1, 0.004, 0.0003))
NOMINAL = Calibration("nominal", "s1", 0.0, 330.0, ranges=(RangeScale(2e6), RangeScale(2e5)))


def pairs(index: int, full_scale: float, kind: str = "steady", levels: tuple[float, ...] = (0.8, 0.4, 0.2, 0.1, 0.05),
          off: dict[int, float] | None = None) -> list[Pair]:  # fmt: skip
    """Exact pairs of a range; ``off`` bends single ones by a factor."""
    found = []
    for i, level in enumerate(levels):
        raw = level + (0.004 if kind == "steady" else 0.0)
        scale = 1.0 if kind == "steady" else 4e-4
        light = level * full_scale * scale * (off or {}).get(i, 1.0)
        found.append(Pair(kind, index, raw * scale if kind == "flash" else raw, 0.003, light, 0.02, f"{kind} {i}", level))
    return found


def evidence(*found: Pair, overlaps: tuple[Overlap, ...] = (), darks: tuple[Dark, ...] = DARKS) -> Evidence:
    """Evidence of the sensor s1."""
    return Evidence(NAMES, found, darks, overlaps)


def calibrate(*found: Pair, **more: object) -> Scaled:
    """Make a calibration with a reference known to 2 %."""
    return calibrate_scale(evidence(*found, **more), NOMINAL, reference="lab", u_reference_rel=0.02)  # type: ignore[arg-type]


BOTH = (*pairs(0, 1.8e6), *pairs(1, 1.9e5))


def test_exact_pairs_give_back_the_scale() -> None:
    """Exact pairs give the exact scale; the uncertainty is that of the weighted mean and of a bend that may hide."""
    made = calibrate(*BOTH)

    assert made.calibration.ranges[0].full_scale_lx == pytest.approx(1.8e6)
    assert made.calibration.ranges[1].full_scale_lx == pytest.approx(1.9e5)
    assert 0.02 / math.sqrt(5) < made.calibration.ranges[0].u_rel < 0.02
    assert all(abs(stops) < 1e-9 for _, stops in made.residuals)
    assert made.calibration.constant == NOMINAL.constant


def test_a_range_without_pairs_gets_its_scale_through_the_overlap() -> None:
    """Raw ratio 0.1 of one light on both ranges makes the dim range's scale a tenth of the bright one's."""
    made = calibrate(*pairs(0, 1.8e6), overlaps=(Overlap(0, 1, 0.1, 0.004),))

    assert made.calibration.ranges[1].full_scale_lx == pytest.approx(1.8e5)
    assert made.calibration.ranges[1].u_rel > made.calibration.ranges[0].u_rel


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (pairs(0, 2e6)[:3], "take at least 4"),
        (pairs(0, 2e6, levels=(0.8, 0.7, 0.6, 0.5)), "span 0.7 stops"),
        (pairs(0, 2e6, off={2: 1.3}), "pair steady 2 lies 0.3"),
        (pairs(0, 2e6, off={0: 1.1, 1: 0.9, 2: 1.1, 3: 0.9}), "scatter by"),
        (pairs(0, 2e6, off={0: 1.12, 1: 1.05, 3: 0.985, 4: 0.98}), "not linear"),
        ([*pairs(0, 2e6), *pairs(0, 2e6 * 1.5, "flash")], "disagree by 0.58 stop"),
        ([*pairs(0, 2e6), Pair("steady", 0, 0.003, 0.1, 10.0, 0.02, "dim one")], "not above the dark"),
        (pairs(0, 2e6), "nothing was measured on range dim"),
    ],
    ids=["few", "close", "outlier", "scatter", "bend", "kinds", "dark", "unreached"],
)
def test_pairs_that_cannot_carry_a_calibration_are_refused(found: list[Pair], words: str) -> None:
    """Too few, too close, an outlier (named), scatter, a bend, steady against flash, below dark, an unreached range."""
    with pytest.raises(CalibrationError, match=words):
        calibrate(*found)


def test_pairs_against_overlap_are_refused() -> None:
    """Pairs that say ten to one and an overlap that says eight to one cannot both be right."""
    with pytest.raises(CalibrationError, match="pairs and overlap disagree"):
        calibrate(*BOTH, overlaps=(Overlap(0, 1, 0.125, 0.004),))


def test_swapped_ranges_are_refused_by_name() -> None:
    """A bright range that is more sensitive than the dim one: the resistors are swapped."""
    with pytest.raises(CalibrationError, match="swapped"):
        calibrate(*pairs(0, 1.9e5), *pairs(1, 1.8e6))


def test_missing_and_bright_darks_are_refused() -> None:
    """No dark, or a dark of a fifth of full scale: refused with what to look for."""
    with pytest.raises(CalibrationError, match="range dim has no dark"):
        calibrate(*BOTH, darks=DARKS[:1])
    with pytest.raises(CalibrationError, match="wrong way round"):
        calibrate(*BOTH, darks=(DARKS[0], Dark(1, 0.2, 0.001)))


def test_steady_pairs_slightly_off_leave_the_flash_scale_and_a_warning() -> None:
    """Steady light 0.2 stop off (the lamp's colour): the scale is that of the flash pairs, and it is said."""
    made = calibrate(*pairs(0, 2e6, "flash"), *pairs(0, 2e6 * 2**0.2), *pairs(1, 2e5))

    assert made.calibration.ranges[0].full_scale_lx == pytest.approx(2e6)
    assert "+0.20 stop" in str(made.warnings[0])


def test_reference_uncertainty_must_be_stated() -> None:
    """A reference without an uncertainty is none."""
    with pytest.raises(CalibrationError, match="uncertainty"):
        calibrate_scale(evidence(*BOTH), NOMINAL, reference="lab", u_reference_rel=0.0)


def test_relative_calibration_needs_the_overlap() -> None:
    """Without reference and without overlap nothing ties the ranges together."""
    with pytest.raises(CalibrationError, match="overlap"):
        calibrate_relative(evidence(), NOMINAL)
    made = calibrate_relative(evidence(overlaps=(Overlap(0, 1, 0.11, 0.004),)), NOMINAL)
    assert made.calibration.ranges[1].full_scale_lx == pytest.approx(2.2e5, rel=1e-6)


def test_a_new_record_carries_no_certificate_of_the_one_before_it() -> None:
    """A certificate is of one record: scale, ranges' ratio and zero measured anew have none, and keep what else was known."""
    before = calibrate(*BOTH).calibration
    certified = before._replace(details={**before.details, "certificate": {"verdict": "passed"}, "noted": 1})
    whole = evidence(*BOTH, overlaps=(Overlap(0, 1, 0.1, 0.004),))
    made = (
        calibrate_scale(whole, certified, reference="lab", u_reference_rel=0.02).calibration,
        calibrate_relative(whole, certified).calibration,
        calibrate_zero(whole, certified),
    )

    assert [("certificate" in one.details, one.details["noted"]) for one in made] == [(False, 1)] * 3
    assert len({certified.id, *(one.id for one in made)}) == 4


def test_absolute_uncertainty_adds_noise_range_scale_and_dark() -> None:
    """Noise 1 %, range u, scale 2 %, 0.5 cm of plane at 2 m; near the bottom of steady light the dark's uncertainty counts too."""
    calibration = calibrate(*BOTH).calibration
    u_range = calibration.ranges[0].u_rel

    assert absolute_u_rel(calibration, 0, 0.01) == pytest.approx(math.hypot(0.01, u_range, 0.02, 2 * 0.005 / 2.0))
    assert absolute_u_rel(calibration, 0, 0.0, raw=0.01) > 0.03


def test_resolution_of_a_tenth_of_a_stop() -> None:
    """A display in tenths has a standard uncertainty of 0.1/sqrt(12) stop, 2.0 % of the light (GUM 4.3.7)."""
    assert resolution_u_rel(0.1) == pytest.approx(0.02001, abs=1e-5)


def test_raw_comes_back_out_of_a_measurement() -> None:
    """Raw = light / full scale + dark for steady light, without dark for a pop; another calibration is refused."""
    calibration = NOMINAL._replace(ranges=(RangeScale(2e6, 0.004), RangeScale(2e5, 0.004)))
    steady = Measurement("steady", 0, "s1", "nominal", illuminance_lx=1e5, range_index=1)
    pop = Measurement("flash", 0, "s1", "nominal", exposure_lxs=80.0, range_index=1)

    assert raw_of(steady, calibration) == pytest.approx(0.504)
    assert raw_of(pop, calibration) == pytest.approx(4e-4)
    assert mean_of([pop, pop._replace(exposure_lxs=82.0)], calibration)[0] == pytest.approx(4.05e-4)
    with pytest.raises(CalibrationError, match="another calibration"):
        raw_of(steady._replace(calibration_id="x"), calibration)
    with pytest.raises(CalibrationError, match="no value"):
        raw_of(steady._replace(illuminance_lx=None), calibration)
