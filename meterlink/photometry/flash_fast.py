"""The four plain numbers of a pop (exposure, peak, t0.5, t0.1) straight from integer codes, fast.

For one clean pulse whose samples are many: live display, files, batches.  No uncertainty, no humps, no trains: that is
``flash.analyse``.  The peak is the highest sample; a crossing is the mean of the one nearest to the peak and the outermost one,
each on the straight line between two samples, because under noise either alone is biased by 1 to 4 %.

Arrays take numpy; lists, ``array`` and ``bytes`` take the standard library only, so that a one-shot command need not
import numpy.  All raise ``ValueError``.
"""

from __future__ import annotations

import math
from collections import namedtuple

from meterlink.photometry.flash_plain import edges_of, width

MAX_CODES = 134_217_728
"""More than a hundred million samples are refused."""
MIN_CODES = 4
_CACHED = 262_144
"""Samples of a batch that are compared at a time."""
_INFINITE = math.inf


TYPE_CHECKING = False
if TYPE_CHECKING:
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


def _check(count: int, scale_lx: float, sample_interval_s: float, pretrigger: int | None) -> int:
    """Return the number of samples that the ambient level is taken from."""
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
    quiet = _check(len(codes), scale_lx, sample_interval_s, pretrigger)
    find = _numpy_edges if hasattr(codes, "dtype") else edges_of
    total, top, base, half, tenth = find(codes, quiet)
    numbers = (
        (total - base * len(codes)) * scale_lx * sample_interval_s,
        (top - base) * scale_lx,
        half * sample_interval_s,
        tenth * sample_interval_s,
        (base - zero_code) * scale_lx,
    )
    # what the class itself would do, less a call in Python
    return tuple.__new__(PulseNumbers, numbers)


def _no_pulse() -> ValueError:
    return ValueError("no pulse: nothing rises above the level before the trigger")


def _numpy_edges(codes: Any, quiet: int) -> tuple[float, float, float, float, float]:
    """Return what ``flash_plain.edges_of`` returns; every call counts here, numpy's own set-up is most of the time."""
    import numpy as np

    kind = codes.dtype.kind
    if codes.ndim != 1 or kind not in "uif":
        raise ValueError("codes must be one row of numbers")
    add, code_at, count = np.add.reduce, codes.item, codes.size
    at = int(codes.argmax())
    top = code_at(at)
    if kind == "u" and top * count < 2**32:
        # the narrow sum is twice as fast and wide enough for most records
        total = int(add(codes, 0, np.uint32))
    else:
        total = add(codes, 0, np.float64 if kind == "f" else np.int64).item()
        if not math.isfinite(total):
            raise ValueError("codes hold values that are not numbers")
    # a ufunc's set-up costs more than adding up a short list
    base = (sum(codes[:quiet].tolist()) if quiet <= 128 else float(add(codes[:quiet], 0, np.float64))) / quiet
    height = top - base
    if height <= 0.0:
        raise _no_pulse()
    half, tenth = base + 0.5 * height, base + 0.1 * height
    if kind == "f":
        above_half, above_tenth = codes >= half, codes >= tenth
    else:
        # integers are compared with integers: with a float numpy would convert every sample
        above_half, above_tenth = codes >= math.ceil(half), codes >= math.ceil(tenth)
    return (
        total,
        top,
        base,
        width(code_at, above_half.tobytes(), at, half, count),
        width(code_at, above_tenth.tobytes(), at, tenth, count),
    )


def measure_many(
    codes: Any, scale_lx: float, sample_interval_s: float, pretrigger: int | None = None, zero_code: float = 0.0
) -> PulseColumns:
    """Return the four numbers of each row of a 2-D array of integer codes; nan where a row holds no pulse."""
    import numpy as np

    if getattr(codes, "ndim", 0) != 2 or codes.dtype.kind not in "ui" or codes.shape[0] == 0:
        raise ValueError("codes must be a 2-D array of integers, one waveform a row")
    rows, count = codes.shape
    quiet = _check(count, scale_lx, sample_interval_s, pretrigger)
    _check(codes.size, scale_lx, sample_interval_s, None)
    at = codes.argmax(axis=1)
    top = codes[np.arange(rows), at].astype(np.float64)
    narrow = codes.dtype.kind == "u" and float(top.max()) * count < 2**32
    total = codes.sum(axis=1, dtype=np.uint32 if narrow else np.int64).astype(np.float64)
    base = codes[:, :quiet].sum(axis=1, dtype=np.int64) / quiet
    height = top - base
    empty = height <= 0.0
    places = at.tolist()
    widths = [_row_widths(codes, places, base + f * height) for f in (0.5, 0.1)]
    for column in (*widths, height):
        column[empty] = math.nan
    exposure = np.where(empty, math.nan, (total - base * count) * (scale_lx * sample_interval_s))
    return PulseColumns(
        exposure,
        height * scale_lx,
        widths[0] * sample_interval_s,
        widths[1] * sample_interval_s,
        (base - zero_code) * scale_lx,
    )


def _row_widths(codes: Any, at: list[int], level: Any) -> npt.NDArray[np.float64]:
    """Mean of the widths between the nearest and between the outermost crossings of each row, in samples."""
    import numpy as np

    rows, count = codes.shape
    first = np.minimum(np.ceil(level), np.iinfo(codes.dtype).max).astype(codes.dtype)[:, None]
    # a few rows at a time stay in the cache from the comparison to the search, in one buffer
    block = max(1, _CACHED // count)
    mask = bytearray(min(block, rows) * count)
    marks = np.frombuffer(mask, dtype=np.bool_).reshape(-1, count)
    find, rfind = mask.find, mask.rfind
    edges: list[int] = []
    for start in range(0, rows, block):
        part = codes[start : start + block]
        np.greater_equal(part, first[start : start + block], out=marks[: len(part)])
        begin = 0
        for place in at[start : start + block]:
            end, peak = begin + count, begin + place
            fall = find(0, peak, end)
            edges += (
                (rfind(0, begin, peak) + 1 or begin) - begin,
                find(1, begin, end) - begin,
                (fall if fall >= 0 else end) - 1 - begin,
                rfind(1, begin, end) - begin,
            )
            begin = end
    return _between(codes, level, np.array(edges).reshape(rows, 4).T)


def _between(codes: Any, level: Any, edges: Any) -> npt.NDArray[np.float64]:
    """Return the mean widths of rows between samples above a level (nearest and outermost rise, then fall)."""
    import numpy as np

    rows, count = codes.shape
    index = np.arange(rows)
    mean = np.zeros(rows)
    for row, step, sign in ((0, -1, -0.5), (1, -1, -0.5), (2, 1, 0.5), (3, 1, 0.5)):
        inside = edges[row].clip(0, count - 1)
        outside = (inside + step).clip(0, count - 1)
        above = codes[index, inside].astype(np.float64)
        gap = above - codes[index, outside]
        part = np.divide(above - level, gap, out=np.zeros(rows), where=gap > 0.0)
        mean += sign * (edges[row] + step * part)
    return mean
