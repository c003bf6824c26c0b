"""The records that every layer speaks in: a leaf that imports nothing of the package.

Records are named tuples: immutable, compared by value, and cheap to import (a one-shot command pays for every
class it creates; ``dataclasses`` alone costs half the start of the interpreter).  A new state is a new record
(``record._replace(...)``), never a changed one.
"""

from __future__ import annotations

from meterlink.records.ids import new_id
from meterlink.records.kept import (
    Calibration,
    Light,
    Placement,
    Pop,
    RangeScale,
    Reading,
    Settings,
    Setup,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from meterlink.records.samples import (
        Battery,
        Colour,
        HeldOff,
        Identity,
        Measurement,
        PopNotice,
        Reply,
        Sample,
        Segment,
        Status,
        Steady,
        WaveBlock,
    )

__all__ = [
    "Battery",
    "Calibration",
    "Colour",
    "HeldOff",
    "Identity",
    "Light",
    "Measurement",
    "Placement",
    "Pop",
    "PopNotice",
    "RangeScale",
    "Reading",
    "Reply",
    "Sample",
    "Segment",
    "Settings",
    "Setup",
    "Status",
    "Steady",
    "WaveBlock",
    "new_id",
]


def __getattr__(name: str) -> Any:
    """Load the samples when one is asked for: a command that only reads the library need not pay for their classes."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from meterlink.records import samples

    return getattr(samples, name)
