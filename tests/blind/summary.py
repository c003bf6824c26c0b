"""What many sets of one world say together: errors against the truth, how honest the intervals are, alarms."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.blind.drive import COSTLY_STOPS, Seen

HEAD = (
    f"{'world':27s} {'sets':>5s} {'lights':>6s} {'median':>7s} {'95 %':>6s} {'covered %':>10s} {'retake %':>9s}"
    f" {'alarmed %':>16s} {'caught %':>16s} {'right first %':>16s}"
)


def interval(hits: Sequence[bool]) -> tuple[float, float]:
    """95 % confidence interval of a share (Wilson 1927, score interval), 0 to 1."""
    n, z = len(hits), 1.96
    p = float(np.mean(hits))
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def share(hits: Sequence[bool]) -> str:
    """``4.1 (2.0-8.1)``: per cent with its 95 % interval."""
    if not len(hits):
        return "–"
    low, high = interval(hits)
    return f"{100 * np.mean(hits):.1f} ({100 * low:.1f}-{100 * high:.1f})"


def from_key(sets: Sequence[Seen]) -> tuple[np.ndarray, np.ndarray]:
    """Absolute errors in stops from the key and the half-widths stated for them, of clean sets."""
    rows = [row for one in sets if not one.wrong for row in one.rows if row.from_key_error_stops is not None]
    return np.abs([row.from_key_error_stops for row in rows]), np.array([row.from_key_u95_stops for row in rows])


def line(name: str, sets: Sequence[Seen]) -> str:
    """One line of the table."""
    clean = [one for one in sets if not one.wrong]
    costly = [one for one in sets if one.wrong and one.cost_stops > COSTLY_STOPS]
    text = f"{name:27s} {len(clean):5d}"
    if clean:
        error, half = from_key(clean)
        retakes = [row.verdict == "retake" for one in clean for row in one.rows]
        text += f" {len(error):6d} {np.median(error):7.3f} {np.quantile(error, 0.95):6.3f} {100 * np.mean(error <= half):10.1f}"
        text += f" {100 * np.mean(retakes):9.1f} {share([bool(one.alarm) for one in clean]):>16s}"
    caught = [bool(one.alarm) for one in costly]
    right = [one.alarm == one.wrong for one in costly if one.alarm]
    return text + f" {share(caught):>16s} {share(right):>16s}"
