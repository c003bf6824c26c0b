"""What a judged walk is made of: rows with their limits, and the figures that tell a cause."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.photometry import calibration_fit as cf
from meterlink.photometry.angle import AngleFit
from meterlink.words.told import Told

LIMITS = {
    "dark": 0.015,
    "leak": 0.005,
    "hum": 0.05,
    "repeat": 0.05,
    "short": 400e-6,
    "origin": 0.015,
    "inverse square": 0.1,
    "additivity": 0.1,
    "overlap": 0.3,
    "angle": 0.2,
    "drift": 0.004,
    "supply": 0.3,
}
"""Largest figure that passes.  Ours: what keeps a reading within a tenth of a stop, with room for a real lamp."""
INDEX_LIMIT = {"dome": 0.19, "flat": 0.08}
"""Error index of a receptor whose smooth departure is just what passes at 60 degrees, so that both rows say the same."""
RIM_LIMIT = 0.4
"""Stops that light from behind may exceed what the front and the side let expect: more comes in around the rim."""


class Row(NamedTuple):
    """One check."""

    name: str
    what: Told
    figure: float | None
    u: float
    """Standard uncertainty of the figure."""
    limit: float
    unit: str
    outcome: str
    """``pass``, ``fail``, ``unsure`` or ``left out``."""


class Findings(NamedTuple):
    """All rows, and the numbers that tell what is behind a failure."""

    rows: tuple[Row, ...]
    pedestal_raw: float
    dark_raw: tuple[float, ...]
    leak_raw: float
    modulation: float
    repeat_stops: float
    shortest_s: float | None
    distance: cf.DistanceFit | None
    additivity: dict[tuple[int, str], tuple[float, float]]
    """(range, level) -> together over the sum, in stops, and its standard uncertainty; negative: too little."""
    peaks: dict[tuple[int, str], tuple[float, float]]
    """(range, level) -> peak together over the sum of the peaks, in stops, and the peak together as a raw value."""
    overlap_stops: tuple[float, ...]
    """Sensitivity ratio of neighbouring ranges against the design, in stops."""
    angle: AngleFit | None
    rim_stops: float
    """Dome: error from behind beyond what the smooth error of the front lets expect; 0 when not known."""
    drift_raw: float
    ceilings: tuple[tuple[int, float], ...] = ()
    """Range, and the raw value at which pops were cut off below the converter's own end."""


def angle_limit(degrees: float) -> float:
    """Largest error that passes, in stops: light from the side matters less, from behind least."""
    return LIMITS["angle"] * (1 if degrees <= 60 else 2 if degrees <= 90 else 3.5)


def row(name: str, what: Told, figure: float | None, u: float, unit: str, limit: float | None = None) -> Row:
    """Return a row with its outcome; ``limit`` when it is not the usual one of its name, None as figure: left out."""
    bound = LIMITS[name] if limit is None else limit
    if figure is None:
        return Row(name, what, None, 0.0, bound, unit, "left out")
    size = abs(figure)
    if size - 2 * u > bound:
        outcome = "fail"
    elif size <= bound and 2 * u <= bound:
        outcome = "pass"
    else:
        outcome = "unsure"
    return Row(name, what, figure, u, bound, unit, outcome)
