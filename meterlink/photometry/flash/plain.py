"""Peak, sum and crossings of a pulse with the standard library only: no numpy on the path of a one-shot command.

Bytes and 16-bit codes are compared with a level all at once: bytes by a table, 16-bit codes as the digits of one long integer.
Other sequences are walked through in blocks.
"""

from __future__ import annotations

import math
import sys
from itertools import compress

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    Edges = tuple[float, float, float, float, float]

_TOP_BIT = 0x8000


def edges_of(codes: Sequence[Any], quiet: int) -> Edges:
    """Return (sum, top, level of the first ``quiet`` samples, width at a half, width at a tenth) of one pulse."""
    if getattr(codes, "typecode", "") == "H":
        raw = memoryview(codes).tobytes()  # type: ignore[arg-type]
        high, low = (raw[1::2], raw[::2]) if sys.byteorder == "little" else (raw[::2], raw[1::2])
        top_high = _highest(high)
        first, end = high.find(top_high), high.rfind(top_high) + 1
        top: float = top_high << 8 | max(compress(low[first:end], high[first:end].translate(_table(top_high))))
        total: float = (sum(high) << 8) + sum(low)
    else:
        raw, first = b"", 0
        top = _highest(codes) if isinstance(codes, (bytes, bytearray)) else max(codes)
        total = math.fsum(codes) if isinstance(top, float) else sum(codes)
        if not math.isfinite(total):
            raise ValueError("codes hold values that are not numbers")
    base = sum(codes[:quiet]) / quiet
    height = top - base
    if height <= 0.0:
        raise ValueError("no pulse: nothing rises above the level before the trigger")
    at = codes.index(top, first)
    levels = base + 0.5 * height, base + 0.1 * height
    if raw and top < _TOP_BIT:
        half, tenth = (_word_width(codes, raw, at, level) for level in levels)
    elif isinstance(codes, (bytes, bytearray)):
        half, tenth = (_byte_width(codes, at, level) for level in levels)
    else:
        half, tenth = _scan_widths(codes, at, levels)
    return total, top, base, half, tenth


def width(codes: Any, mask: bytes, at: int, level: float, count: int) -> float:
    """Mean of the widths between the nearest and between the outermost crossings, in samples.

    ``mask`` holds 1 for each sample from the level on.  Written out: at a thousand samples calls would be a fifth of all.
    """
    first, last = mask.find(1), mask.rfind(1)
    low, high = mask.rfind(0, first, at), mask.find(0, at, last)
    rise: float = first
    fall: float = last
    if first > 0:
        above = codes[first]
        rise -= (above - level) / (above - codes[first - 1])
    if last + 1 < count:
        above = codes[last]
        fall += (above - level) / (above - codes[last + 1])
    # a sample below the level inside parts the nearest crossing from the outermost
    if low > 0:
        above = codes[low + 1]
        rise = (rise + low + 1 - (above - level) / (above - codes[low])) / 2.0
    if high > 0:
        above = codes[high - 1]
        fall = (fall + high - 1 + (above - level) / (above - codes[high])) / 2.0
    return fall - rise


def between(code_at: Callable[[int], float], level: float, count: int, first: int, last: int) -> float:
    """Return the width between two crossings, each on the straight line from the ``first`` or ``last`` sample above outward."""
    total: float = last - first
    if first > 0:
        above = code_at(first)
        total += (above - level) / (above - code_at(first - 1))
    if last + 1 < count:
        above = code_at(last)
        total += (above - level) / (above - code_at(last + 1))
    return total


def _table(first: int) -> bytes:
    """Return a table for ``bytes.translate``: 1 from ``first`` on, 0 below."""
    return bytes(first) + b"\x01" * (256 - first)


def _highest(data: bytes | bytearray) -> int:
    """Return the largest byte: what is not above one of them is deleted until nothing is left."""
    top = 0
    while data:
        top = data[len(data) // 2]
        data = data.translate(None, bytes(range(top + 1)))
    return top


def _byte_width(codes: bytes | bytearray, at: int, level: float) -> float:
    mask = bytes(codes.translate(_table(math.ceil(level))))
    return width(codes, mask, at, level, len(codes))


def _word_width(codes: Sequence[int], raw: bytes, at: int, level: float) -> float:
    """Compare all codes (below 0x8000) at once: with the top bit set, code - level keeps that bit where code >= level."""
    count = len(codes)
    first = math.ceil(level)
    order = sys.byteorder
    lift = int.from_bytes((_TOP_BIT - first).to_bytes(2, order) * count, order)
    marks = (int.from_bytes(raw, order) + lift).to_bytes(2 * count, order)[1 if order == "little" else 0 :: 2]
    return width(codes, marks.translate(_table(128)), at, level, count)


def _scan_widths(codes: Sequence[float], at: int, levels: tuple[float, float]) -> tuple[float, float]:
    """Widths at the half and the tenth; a lower level is passed farther out, so each scan begins where one ended."""
    half, tenth = levels
    far_tenth = _first_above(codes, tenth, 0), _last_above(codes, tenth, len(codes))
    far_half = _first_above(codes, half, far_tenth[0]), _last_above(codes, half, far_tenth[1] + 1)
    near_half = _last_below(codes, half, at) + 1, _first_below(codes, half, at) - 1
    near_tenth = _last_below(codes, tenth, near_half[0]) + 1, _first_below(codes, tenth, near_half[1]) - 1
    code_at, count = codes.__getitem__, len(codes)
    return (
        (between(code_at, half, count, *near_half) + between(code_at, half, count, *far_half)) / 2.0,
        (between(code_at, tenth, count, *near_tenth) + between(code_at, tenth, count, *far_tenth)) / 2.0,
    )


# Each looks at blocks with min and max, which run in C, and at single samples only in the block that holds the answer
_BLOCK = 512


def _first_above(codes: Sequence[float], level: float, begin: int) -> int:
    start = next(k for k in range(begin, len(codes), _BLOCK) if max(codes[k : k + _BLOCK]) >= level)
    return next(k for k in range(start, len(codes)) if codes[k] >= level)


def _last_above(codes: Sequence[float], level: float, stop: int) -> int:
    end = next(k for k in range(stop, 0, -_BLOCK) if max(codes[max(k - _BLOCK, 0) : k]) >= level)
    return next(k for k in range(end - 1, -1, -1) if codes[k] >= level)


def _first_below(codes: Sequence[float], level: float, at: int) -> int:
    """Return the first sample from ``at`` on below the level, the number of samples when there is none."""
    count = len(codes)
    start = next((k for k in range(at, count, _BLOCK) if min(codes[k : k + _BLOCK]) < level), count)
    return next((k for k in range(start, count) if codes[k] < level), count)


def _last_below(codes: Sequence[float], level: float, at: int) -> int:
    """Return the last sample up to ``at`` below the level, -1 when there is none."""
    end = next((k for k in range(at + 1, 0, -_BLOCK) if min(codes[max(k - _BLOCK, 0) : k]) < level), 0)
    return next((k for k in range(end - 1, -1, -1) if codes[k] < level), -1)
