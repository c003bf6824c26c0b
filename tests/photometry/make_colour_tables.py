"""Make meterlink/photometry/colour_tables.py: the Planckian locus and the spectral locus, from the CIE 1931 observer.

Run from the repository: python tests/photometry/make_colour_tables.py > meterlink/photometry/colour_tables.py
Needs colour-science (for the colour matching functions, 1 nm); the package itself does not.
"""

from __future__ import annotations

import sys

import numpy as np

C2_M_K = 1.4388e-2
"""Second radiation constant of CIE 15:2004."""
MIRED_STEP = 3
"""Cubic interpolation between points so far apart leaves 0.0001 K up to 10 000 K, and ten digits no more."""
MIREDS = range(30, 616, MIRED_STEP)


def observer():
    """Return wavelengths in nm and the CIE 1931 2 degree colour matching functions at 1 nm."""
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return cmfs.wavelengths, cmfs.values


def locus():
    """Return the CIE 1960 u, v of black bodies, one row a mired step."""
    wavelengths, values = observer()
    metres = wavelengths * 1e-9
    rows = []
    for mired in MIREDS:
        kelvin = 1e6 / mired
        power = metres**-5.0 / np.expm1(C2_M_K / (metres * kelvin))
        x, y, z = (values * power[:, None]).sum(axis=0)
        bottom = x + 15.0 * y + 3.0 * z
        rows.append((4.0 * x / bottom, 6.0 * y / bottom))
    return rows


def spectral():
    """Return x, y of monochromatic light from 380 to 700 nm, 5 nm apart."""
    wavelengths, values = observer()
    rows = []
    for nm in range(380, 701, 5):
        x, y, z = values[int(np.argmin(np.abs(wavelengths - nm)))]
        rows.append((x / (x + y + z), y / (x + y + z)))
    return rows


def render(name, rows, doc, digits):
    """Return a table as source text."""
    cells = [f"({a:.{digits}f}, {b:.{digits}f})," for a, b in rows]
    width = 128 // len(cells[0] + " ")
    lines = ["    " + " ".join(cells[k : k + width]) for k in range(0, len(cells), width)]
    return f"{name}: tuple[tuple[float, float], ...] = (\n" + "\n".join(lines) + f'\n)\n"""{doc}"""\n'


def source():
    """Return the whole module."""
    head = (
        '"""Loci of the CIE 1931 chromaticity diagram.  Made by tests/photometry/make_colour_tables.py; do not edit.\n\n'
        "Colour matching functions: CIE 1931 2 degree observer, 1 nm (CIE 15:2004); c2 = 1.4388e-2 m K (CIE 15:2004).\n"
        '"""\n\nfrom __future__ import annotations\n\n'
    )
    return (
        head
        + f"FIRST_MIRED = {MIREDS[0]}\nMIRED_STEP = {MIRED_STEP}\n"
        + render("PLANCKIAN_UV", locus(), "CIE 1960 u, v of black bodies from FIRST_MIRED on, one each MIRED_STEP.", 10)
        + render("SPECTRAL_XY", spectral(), "x, y of monochromatic light from 380 to 700 nm, 5 nm apart.", 6)
    )


if __name__ == "__main__":
    sys.stdout.write(source())
