"""The records that every layer speaks in: a leaf that imports nothing of the package.

Records are named tuples: immutable, compared by value.  A new state is a new record (``record._replace(...)``), never a
changed one.
"""

from __future__ import annotations

from meterlink.records.ids import new_id
from meterlink.records.kept import Calibration, Light, Placement, Pop, RangeScale, Reading, Settings, Setup
from meterlink.records.kinds import Kind, Purpose, RangerState, Trouble
from meterlink.records.samples import (  # fmt: skip
    Battery,
    Colour,
    Evidence,
    HeldOff,
    Identity,
    Measurement,
    PopFigures,
    PopNotice,
    Reply,
    Sample,
    Segment,
    Status,
    Steady,
    WaveBlock,
)

__all__ = [
    "Battery", "Calibration", "Colour", "Evidence", "HeldOff", "Identity", "Kind", "Light", "Measurement", "Placement",
    "Pop", "PopFigures", "PopNotice", "Purpose", "RangeScale", "RangerState", "Reading", "Reply", "Sample", "Segment",
    "Settings", "Setup", "Status", "Steady", "Trouble", "WaveBlock", "new_id",
]  # fmt: skip
