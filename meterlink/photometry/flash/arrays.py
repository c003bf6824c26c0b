"""The four plain numbers of a pop from numpy arrays, one record or many: see ``flash_fast``.

At a thousand samples numpy's own set-up is nearly all of the time: a reduction or a comparison costs about a microsecond before it
looks at a sample, a step of Python a thirtieth of that.  So there are few calls here and no helpers between them.
"""

from __future__ import annotations

import math
from math import ceil
from typing import Any

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash.fast import PulseColumns, PulseNumbers, check
from meterlink.photometry.flash.plain import width

_LONG = 50_000
"""Samples of a record from which on it pays to look for the half of the peak in a part of it only."""
_CACHED = 262_144
"""Samples of a batch that are compared at a time."""
_NARROW = 2**32
"""A sum below this fits 32 bits: twice as fast as one of 64, and wide enough for most records."""
_SPLITS: dict[int, npt.NDArray[np.intp]] = {}
"""Where a record is split into the quiet part and the rest, by the length of the quiet part: an array costs more than its use."""
_MOST_SPLITS = 64

_new = tuple.__new__
_sums = np.add.reduceat
_not_below = np.greater_equal


def measure_array(
    codes: Any, scale_lx: float, sample_interval_s: float, pretrigger: int | None, zero_code: float
) -> PulseNumbers:
    """Do the work of ``flash_fast.measure`` for an array."""
    kind = codes.dtype.kind
    if codes.ndim != 1 or kind not in "ui":
        codes = _as_numbers(codes)
    count = len(codes)
    quiet = check(count, scale_lx, sample_interval_s, pretrigger)
    at = int(codes.argmax())
    # its elements are Python's own numbers, which cost half of an array's ``item``
    view = codes.data
    try:
        top = view[at]
    except NotImplementedError:  # bytes in the other order, or not where this machine wants them
        codes = codes.astype(codes.dtype.newbyteorder("="))
        view = codes.data
        top = view[at]
    wide = np.float64 if kind == "f" else np.uint32 if kind == "u" and top * count < _NARROW else np.int64
    # one call sums both parts
    calm, rest = _sums(codes, _SPLITS[quiet] if quiet in _SPLITS else _split(quiet), 0, wide).tolist()
    base = calm / quiet
    height = top - base
    if not 0.0 < height < math.inf or not math.isfinite(calm + rest):
        raise _unfit(calm + rest)
    half, tenth = base + 0.5 * height, base + 0.1 * height
    # integers are compared with integers, or numpy would convert every sample; a plain number takes it longer than an array of one
    level = np.array(tenth if kind == "f" else ceil(tenth), codes.dtype)
    mask = _not_below(codes, level).tobytes()
    tenth_width = width(view, mask, at, tenth, count)
    inside, first = count, 0
    if count > _LONG:
        # what is above the half is inside what is above the tenth; a sample more on each side for the lines
        first = max(mask.find(1) - 1, 0)
        end = mask.rfind(1) + 2
        codes, view = codes[first:end], view[first:end]
        inside = len(codes)
    level[()] = half if kind == "f" else ceil(half)
    half_width = width(view, _not_below(codes, level).tobytes(), at - first, half, inside)
    numbers = (
        (calm + rest - base * count) * scale_lx * sample_interval_s,
        height * scale_lx,
        half_width * sample_interval_s,
        tenth_width * sample_interval_s,
        (base - zero_code) * scale_lx,
    )
    # what the class itself would do, less a call in Python
    return _new(PulseNumbers, numbers)


def _as_numbers(codes: Any) -> Any:
    """Return one row of floats as float64; raise ``ValueError`` for what is no row of numbers."""
    if codes.ndim != 1 or codes.dtype.kind != "f":
        raise ValueError("codes must be one row of numbers")
    return codes.astype(np.float64)


def _split(quiet: int) -> npt.NDArray[np.intp]:
    if len(_SPLITS) >= _MOST_SPLITS:
        _SPLITS.clear()
    split = _SPLITS[quiet] = np.array((0, quiet))
    return split


def _unfit(total: float) -> ValueError:
    if not math.isfinite(total):
        return ValueError("codes hold values that are not numbers")
    return ValueError("no pulse: nothing rises above the level before the trigger")


def measure_many(
    codes: Any, scale_lx: float, sample_interval_s: float, pretrigger: int | None, zero_code: float
) -> PulseColumns:
    """Do the work of ``flash_fast.measure_many``."""
    if getattr(codes, "ndim", 0) != 2 or codes.dtype.kind not in "ui" or codes.shape[0] == 0:
        raise ValueError("codes must be a 2-D array of integers, one waveform a row")
    rows, count = codes.shape
    quiet = check(count, scale_lx, sample_interval_s, pretrigger)
    check(codes.size, scale_lx, sample_interval_s, None)
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
