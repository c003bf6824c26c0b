"""What a colour sample says: chromaticity, colour temperature and distance from the Planckian locus."""

from __future__ import annotations

from meterlink.photometry import colour
from meterlink.records import Calibration, Colour

Tint = tuple[float | None, float | None, float | None, float | None]
"""x, y, CCT in K, Duv."""


def chromaticity_of(colour: Colour, calibration: Calibration | None) -> Tint:
    """Return (x, y, cct_k, duv); raw channels need the matrix of the calibration (three rows, row by row, to XYZ)."""
    x, y = colour.x, colour.y
    if x is None and colour.channels and calibration is not None:
        x, y = _by_matrix(colour.channels, calibration.colour_matrix)
    cct_k, duv = colour.cct_k, colour.duv
    if cct_k is None and x is not None and y is not None:
        cct_k, duv = _cct(x, y)
    return x, y, cct_k, duv


def _by_matrix(channels: tuple[float, ...], matrix: tuple[float, ...]) -> tuple[float | None, float | None]:
    n = len(channels)
    if len(matrix) != 3 * n:
        return None, None
    xyz = [sum(m * c for m, c in zip(matrix[row * n : (row + 1) * n], channels, strict=True)) for row in range(3)]
    total = sum(xyz)
    if not total > 0.0 or min(xyz[:2]) <= 0.0:
        return None, None
    return xyz[0] / total, xyz[1] / total


def _cct(x: float, y: float) -> tuple[float | None, float | None]:
    try:
        cct_k, duv = colour.cct(x, y)
    except ValueError:
        # Outside the diagram, or too far from white for a colour temperature to mean anything.
        return None, None
    return float(cct_k), float(duv)
