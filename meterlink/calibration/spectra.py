"""Spectra from CSV text, or by name from colour-science when it is installed, and what they mean for a sensor.

CSV: first column wavelength in nm, rising; one column a spectrum, its name in the first line.  ``#`` begins a comment.
"""

from __future__ import annotations

import csv
import io
import warnings
from typing import NamedTuple

import numpy as np

from meterlink.errors import CalibrationError
from meterlink.photometry import spectral

MAX_TEXT = 2_000_000
MAX_SPECTRA = 200
LAMPS = {
    "daylight flash (xenon)": "Kinoton 75P",
    "tungsten, studio": "ISO 7589 Studio Tungsten",
    "LED, warm (LED-B1)": "LED-B1",
    "LED, neutral (LED-B3)": "LED-B3",
    "LED, cool (LED-B5)": "LED-B5",
    "LED, violet pumped (LED-V1)": "LED-V1",
    "fluorescent, three bands (FL11)": "FL11",
    "daylight (D55)": "D55",
}
"""Our words -> name in colour-science's tables of CIE and ISO illuminants and measured light sources."""


Spectra = dict[str, spectral.Array]
"""Spectra by name, on the grid of ``spectral``."""


class LampError(NamedTuple):
    """What one lamp does to a sensor."""

    lamp: str
    factor: float
    """F*: what a reading is to be multiplied by."""
    error_stops: float
    """How much too bright the sensor reads (positive), in stops."""


def parse_csv(text: str) -> Spectra:
    """Read spectra from CSV text.

    Raises CalibrationError: too large, no header, a line that is not numbers, wavelengths that do not rise.
    """
    if len(text) > MAX_TEXT:
        raise CalibrationError("the file of spectra has more than {max_text:,} characters: thin it out to 1 nm", max_text=MAX_TEXT)
    lines = [line for line in io.StringIO(text.lstrip("\ufeff")) if line.strip() and not line.lstrip().startswith("#")]
    dialect = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    rows = list(csv.reader(lines, delimiter=dialect))
    if len(rows) < 3 or not 2 <= len(rows[0]) <= MAX_SPECTRA:
        raise CalibrationError("a file of spectra needs a header line, a wavelength column and at least one spectrum")
    names = [n.strip()[:60] or f"column {i + 2}" for i, n in enumerate(rows[0][1:])]
    if len(set(names)) != len(names):
        raise CalibrationError("two spectra of the file have one name: give each its own")
    table = []
    for number, cells in enumerate(rows[1:], 2):
        try:
            table.append([float(cell) for _, cell in zip(rows[0], cells, strict=True)])
        except ValueError:
            raise CalibrationError(
                "line {bad} of the spectra is not {count} numbers: correct it", bad=number, count=len(rows[0])
            ) from None
    wavelength_nm, *spectra = np.array(table).T
    try:
        return {name: spectral.on_grid(wavelength_nm, values) for name, values in zip(names, spectra, strict=True)}
    except ValueError as error:
        raise CalibrationError("the spectra cannot be used: {error}", error=error) from None


def known_lamps() -> Spectra:
    """Return the lamps of ``LAMPS`` from colour-science.  Raises CalibrationError: colour-science is not installed."""
    try:
        with warnings.catch_warnings():
            # It announces its own optional parts.
            warnings.simplefilter("ignore")
            import colour
    except ImportError:
        raise CalibrationError(
            "lamp spectra come from a CSV file or from the package colour-science: pip install colour-science"
        ) from None
    found = {}
    for words, name in LAMPS.items():
        source = colour.SDS_LIGHT_SOURCES[name] if name in colour.SDS_LIGHT_SOURCES else colour.SDS_ILLUMINANTS[name]
        # ISO 7589 tables end at 690 nm: their last value is held, as colour-science itself extrapolates.
        found[words] = np.asarray(np.interp(spectral.GRID_NM, source.wavelengths, source.values))
    return found


def lamp_errors(
    responsivity: spectral.Array, lamps: Spectra, calibration_lamp: str | None = None
) -> tuple[float, tuple[LampError, ...]]:
    """Return f1′ of a sensor and its error under each lamp when calibrated under one of them (illuminant A else).

    Raises CalibrationError: an unknown lamp, or a sensor that sees nothing of one.
    """
    if calibration_lamp is not None and calibration_lamp not in lamps:
        raise CalibrationError(
            "no lamp {calibration_lamp!r}: there are {values}",
            calibration_lamp=calibration_lamp[:40], values=', '.join(lamps),
        )
    under = lamps[calibration_lamp] if calibration_lamp else spectral.ILLUMINANT_A
    try:
        rows = []
        for name, lamp in lamps.items():
            factor = spectral.mismatch_factor(responsivity, lamp, under)
            rows.append(LampError(name, factor, spectral.error_stops(factor)))
        return spectral.f1_prime(responsivity), tuple(rows)
    except ValueError as error:
        raise CalibrationError("no spectral error follows: {error}", error=error) from None
