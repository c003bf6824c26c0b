"""What a fault test counts."""

from __future__ import annotations

import dataclasses


@dataclasses.dataclass(slots=True)
class Tally:
    """What one fault test did to the product, and what came of it."""

    what: str
    count: int = 0
    lost: int = 0
    doubled: int = 0
    tracebacks: int = 0
    worst_s: float = 0.0
    worst_mb: float = 0.0


ALL: list[Tally] = []
"""Of this run."""
