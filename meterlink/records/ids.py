"""Random 128-bit identifiers that sort by the time they were made."""

from __future__ import annotations

import os
import time

_last = 0


def new_id(now_s: float | None = None) -> str:
    """Return 32 hex digits: 48 bits of milliseconds, then 80 random bits (the layout idea of RFC 9562, UUID 7).

    Ids made by one process never run backwards, even when the clock does: two records made in this order keep it.
    ``now_s`` (seconds since 1970) is for tests and for imports that keep an old date.
    """
    global _last
    if now_s is not None:
        return f"{int(now_s * 1000) & (2**48 - 1):012x}{os.urandom(10).hex()}"
    _last = max(_last + 1, time.time_ns() // 1_000_000)
    return f"{_last & (2**48 - 1):012x}{os.urandom(10).hex()}"


def keep_after(identifier: str) -> None:
    """Make every later ``new_id()`` of this process sort after ``identifier`` (a library's latest record).

    A clock that was set back between two runs must not make a new placement look older than the one it replaces.
    """
    global _last
    _last = max(_last, int(identifier[:12], 16))
