"""The four plain numbers of a pop (exposure, peak, t0.5, t0.1) straight from integer codes, fast.

For one clean pulse whose samples are many: live display, files, batches.  No uncertainty, no humps, no trains: that is
``flash.analyse``.  The peak is the highest sample; a crossing is the mean of the one nearest to the peak and the outermost one,
each on the straight line between two samples, because under noise either alone is biased by 1 to 4 %.

Arrays take numpy (``flash_arrays``); lists, ``array`` and ``bytes`` take the standard library only (``flash_plain``), so that a
one-shot command need not import numpy.  All raise ``ValueError``.
"""

from __future__ import annotations

import math
from collections import namedtuple

from meterlink.photometry.flash.plain import edges_of

MAX_CODES = 134_217_728
"""More than a hundred million samples are refused."""
MIN_CODES = 4
_INFINITE = math.inf


TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any, NamedTuple

    import numpy as np
    import numpy.typing as npt

    class _Numbers(NamedTuple):
        exposure_lxs: float
        peak_lx: float
        t05_s: float
        t01_s: float
        ambient_lx: float

    class _Columns(NamedTuple):
        exposure_lxs: npt.NDArray[np.float64]
        peak_lx: npt.NDArray[np.float64]
        t05_s: npt.NDArray[np.float64]
        t01_s: npt.NDArray[np.float64]
        ambient_lx: npt.NDArray[np.float64]
else:
    # The same without ``typing``, which alone costs a third of a start of Python.
    _Numbers = _Columns = namedtuple("_Numbers", "exposure_lxs peak_lx t05_s t01_s ambient_lx")


class PulseNumbers(_Numbers):
    """Four plain numbers of a pop and the level that they stand on."""

    __slots__ = ()


class PulseColumns(_Columns):
    """The same for many pops: one array each, nan where a row holds no pulse."""

    __slots__ = ()


_measure_array: Callable[..., PulseNumbers] | None = None
"""``flash_arrays.measure_array`` once an array has been met: to import it every time would cost a twentieth of the whole."""


def check(count: int, scale_lx: float, sample_interval_s: float, pretrigger: int | None) -> int:
    """Return the number of samples that the ambient level is taken from; raise ``ValueError`` for what cannot be."""
    if not MIN_CODES <= count <= MAX_CODES:
        raise ValueError(f"a waveform has {MIN_CODES} to {MAX_CODES} samples, got {count}")
    if not (0.0 < scale_lx < _INFINITE and 0.0 < sample_interval_s < _INFINITE):
        raise ValueError("scale and sample interval must be positive")
    if pretrigger is None:
        return count // 16 or 1
    if not 0 < pretrigger < count:
        raise ValueError(f"pretrigger is 1 to {count - 1} samples, got {pretrigger}")
    return pretrigger


def measure(
    codes: Any, scale_lx: float, sample_interval_s: float, pretrigger: int | None = None, zero_code: float = 0.0
) -> PulseNumbers:
    """Return exposure, peak, t0.5 and t0.1 of one clean pulse; light = (code - zero_code) * scale_lx.

    ``pretrigger``: samples before the pulse that give the ambient level (a sixteenth of the record when not given).
    """
    if hasattr(codes, "dtype"):
        return (_measure_array or _load())(codes, scale_lx, sample_interval_s, pretrigger, zero_code)
    quiet = check(len(codes), scale_lx, sample_interval_s, pretrigger)
    total, top, base, half, tenth = edges_of(codes, quiet)
    return PulseNumbers(
        (total - base * len(codes)) * scale_lx * sample_interval_s,
        (top - base) * scale_lx,
        half * sample_interval_s,
        tenth * sample_interval_s,
        (base - zero_code) * scale_lx,
    )


def _load() -> Callable[..., PulseNumbers]:
    global _measure_array
    from meterlink.photometry.flash.arrays import measure_array

    _measure_array = measure_array
    return measure_array


def measure_many(
    codes: Any, scale_lx: float, sample_interval_s: float, pretrigger: int | None = None, zero_code: float = 0.0
) -> PulseColumns:
    """Return the four numbers of each row of a 2-D array of integer codes; nan where a row holds no pulse."""
    from meterlink.photometry.flash import arrays as flash_arrays

    return flash_arrays.measure_many(codes, scale_lx, sample_interval_s, pretrigger, zero_code)
