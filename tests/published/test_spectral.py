"""f1′ and F* against worked values, with colour-science's spectra as the source of the data.

The figures for f1′ and F* were worked out with two independent programs (380-780 nm, 5 nm sums, CIE 1924 V(λ)); no
published numeric example was found.  V(λ) and illuminant A are CIE's own tables.
"""

from __future__ import annotations

import functools
import warnings
from types import ModuleType

import numpy as np
import pytest

from meterlink.photometry import spectral

GRID = spectral.GRID_NM
LAMPS = ("D50", "D65", "FL2", "FL11", "LED-B1", "LED-B3", "LED-V1", "ISO 7589 Studio Tungsten", "Kinoton 75P")
# pvlib's example response of a crystalline silicon cell, 13 points (Driesse & Stein 2020, doi:10.2172/1814068).
C_SI = (
    (290, 0), (350, 0.27), (400, 0.37), (500, 0.52), (650, 0.71), (800, 0.88), (900, 0.97), (950, 1),
    (1000, 0.93), (1050, 0.58), (1100, 0.21), (1150, 0.05), (1190, 0),
)  # fmt: skip


@functools.cache
def colour() -> ModuleType:
    """Return colour-science; it takes a second to import, and only one worker of a run needs it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")


def lamp(name: str) -> np.ndarray:
    """Return a lamp's spectrum of colour-science on our grid.

    ISO 7589's tungsten is tabulated to 690 nm only; the worked values hold its last value beyond.
    """
    table = colour().SDS_LIGHT_SOURCES if name == "Kinoton 75P" else colour().SDS_ILLUMINANTS
    spectrum = table[name]
    return np.interp(GRID, spectrum.wavelengths, spectrum.values)


def shifted_v(peak_nm: float) -> np.ndarray:
    """Return V(λ) moved along the wavelength axis."""
    return np.interp(GRID, GRID + (peak_nm - 555), spectral.V_LAMBDA)


def v10() -> np.ndarray:
    """Return the 1964 ȳ function."""
    cmfs = colour().MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    return np.interp(GRID, cmfs.wavelengths, cmfs.values[:, 1])


def test_v_lambda_is_the_cie_table() -> None:
    """V(λ) equals colour-science's CIE 1924 table, and its published 5 nm sum is 106.856639."""
    table = colour().SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    np.testing.assert_allclose(spectral.V_LAMBDA, [table[w] for w in GRID], atol=1e-9)
    assert sum(spectral.V_LAMBDA) * 5 == pytest.approx(106.856639, abs=1e-6)


def test_illuminant_a_is_the_cie_table() -> None:
    """The formula of illuminant A gives CIE's tabulated values."""
    table = colour().SDS_ILLUMINANTS["A"]
    np.testing.assert_allclose(spectral.ILLUMINANT_A, [table[w] for w in GRID], rtol=2e-5)


@pytest.mark.parametrize(
    ("responsivity", "f1", "factors"),
    [
        (v10(), 0.0950971,
         (0.9716693, 0.9590656, 0.9973462, 0.9986189, 1.0078840, 0.9918794, 0.9971325, 0.9963839, 0.9583819)),
        (shifted_v(560), 0.0941682,
         (1.0336615, 1.0443545, 1.0193940, 1.0152183, 0.9968998, 1.0215374, 0.9989183, 1.0057958, 1.0441218)),
        (shifted_v(550), 0.0976357,
         (0.9669881, 0.9569588, 0.9844027, 0.9878350, 1.0058775, 0.9810138, 1.0008565, 0.9942119, 0.9573669)),
    ],
    ids=["V10", "V at 560", "V at 550"],
)  # fmt: skip
def test_f1_prime_and_mismatch_of_three_detectors(
    responsivity: np.ndarray, f1: float, factors: tuple[float, ...]
) -> None:
    """f1′ and F* of three detectors under nine lamps agree with the worked values."""
    assert spectral.f1_prime(responsivity) == pytest.approx(f1, abs=2e-6)
    for name, factor in zip(LAMPS, factors, strict=True):
        assert spectral.mismatch_factor(responsivity, lamp(name)) == pytest.approx(factor, abs=2e-6), name


def test_bare_silicon_is_a_stop_wrong_between_lamps() -> None:
    """A bare silicon cell cut to the visible: worked values from 1.14 (tungsten) to 2.71 (fluorescent)."""
    from scipy.interpolate import PchipInterpolator

    wl, values = np.array(C_SI, dtype=float).T
    silicon = PchipInterpolator(wl, values)(GRID)
    worked = dict(zip(LAMPS, (1.5069, 1.5642, 2.7059, 2.6597, 2.2530, 2.4280, 1.6973, 1.1424, 2.1618), strict=True))
    assert spectral.f1_prime(silicon) == pytest.approx(1.0619, rel=0.01)
    for name, factor in worked.items():
        # The worked values used another spline through the same 13 points.
        assert spectral.mismatch_factor(silicon, lamp(name)) == pytest.approx(factor, rel=0.01), name


def test_sensor_with_the_eyes_response_needs_no_correction() -> None:
    """V(λ) itself has f1′ 0 and F* 1 under every lamp; under its own calibration lamp any sensor has F* 1."""
    v = spectral.V_LAMBDA
    assert spectral.f1_prime(v) == pytest.approx(0, abs=1e-12)
    assert spectral.mismatch_factor(v, lamp("FL11")) == pytest.approx(1, abs=1e-12)
    assert spectral.mismatch_factor(shifted_v(600), lamp("FL2"), lamp("FL2")) == pytest.approx(1, abs=1e-12)


def test_error_in_stops_has_the_sign_of_the_reading() -> None:
    """A factor below 1 means that the sensor reads too bright: 0.5 is one stop."""
    assert spectral.error_stops(0.5) == pytest.approx(1.0)
    assert spectral.error_stops(2.0) == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("wavelengths", "values"),
    [([400, 400], [1, 1]), ([500, 400], [1, 1]), ([400, 500], [1, -1]), ([900, 950], [1, 1]),
     ([400, 500], [1, float("nan")])],
)  # fmt: skip
def test_broken_spectra_are_refused(wavelengths: list[float], values: list[float]) -> None:
    """Not rising, negative, outside the visible or not a number: refused."""
    with pytest.raises(ValueError):
        spectral.on_grid(np.array(wavelengths), np.array(values))


def test_a_blind_sensor_is_refused() -> None:
    """A sensor that sees nothing has no factor and no index."""
    with pytest.raises(ValueError, match="see"):
        spectral.mismatch_factor(np.zeros(81), np.ones(81))
    with pytest.raises(ValueError, match="nothing"):
        spectral.f1_prime(np.zeros(81))
