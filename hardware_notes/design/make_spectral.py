"""Write the table of spectral errors into ``spectral.md`` (needs colour-science for the lamps)."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np

from hardware_notes.design.make_notes import NOTES, table
from meterlink.calibration.spectra import known_lamps, lamp_errors
from meterlink.photometry import spectral

HALF_POINTS_NM = (420.0, 675.0)
"""Of a BPW21R, as its maker states."""
PEAK_NM = 555.0
# A crystalline silicon cell, 13 points (Driesse & Stein 2020, doi:10.2172/1814068, as tabulated in pvlib); to 800 nm here.
SILICON = ((350, 0.27), (400, 0.37), (500, 0.52), (650, 0.71), (800, 0.88))
_BLOCK = re.compile(r"(<!-- spectral -->\n).*?(<!-- end -->)", re.S)


def filtered() -> spectral.Array:
    """A bell with the half points of a filtered diode."""
    wl = spectral.GRID_NM
    width = np.where(wl < PEAK_NM, PEAK_NM - HALF_POINTS_NM[0], HALF_POINTS_NM[1] - PEAK_NM)
    return np.asarray(0.5 ** (((wl - PEAK_NM) / width) ** 2))


def bare() -> spectral.Array:
    """Bare silicon in the visible."""
    wl, values = zip(*SILICON, strict=True)
    return np.asarray(np.interp(spectral.GRID_NM, wl, values))


def text() -> str:
    """Return both tables, calibrated under tungsten and under daylight flash."""
    lamps = known_lamps()
    parts = []
    for under in ("tungsten, studio", "daylight flash (xenon)"):
        columns = [lamp_errors(s, lamps, under) for s in (filtered(), bare())]
        rows = [
            [name, *(f"{round(rows[i].error_stops, 2) + 0.0:+.2f}" for _, rows in columns)] for i, name in enumerate(lamps)
        ]
        heads = [f"{name} diode, f1′ {f1:.2f}" for name, (f1, _) in zip(("filtered", "bare silicon"), columns, strict=True)]
        parts.append(
            f"Calibrated under {under}: reads so many stops too bright (+) or too dark (−)\n\n" + table(["lamp", *heads], rows)
        )
    return "\n\n".join(parts)


def made() -> tuple[Path, str]:
    """Return the note and what it should hold."""
    path = NOTES / "spectral.md"
    return path, _BLOCK.sub(lambda m: f"{m[1]}{text()}\n{m[2]}", path.read_text(encoding="utf-8"))


if __name__ == "__main__":
    target, words = made()
    target.write_text(words, encoding="utf-8")
    sys.exit(0)
