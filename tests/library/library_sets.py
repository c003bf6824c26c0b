"""Builders of records and libraries for the tests of the store."""

from __future__ import annotations

from meterlink.library import Library
from meterlink.records import Calibration, Light, Placement, Pop, RangeScale, Reading, Segment, Setup, WaveBlock, new_id


class Set:
    """A set-up with two lights, where they stand, and a calibration, all stored in ``library``."""

    def __init__(self, library: Library, name: str = "Window wall") -> None:
        self.library = library
        self.setup = Setup(new_id(), name, 1_700_000_000.0)
        library.add_setup(self.setup)
        self.key = self.light("Key", "key", 1)
        self.fill = self.light("Fill", "fill", 2)
        self.stands = {x.id: self.place(x) for x in (self.key, self.fill)}
        self.calibration = Calibration(
            new_id(), "dome-1", 1_700_000_000.0, 330.0, ranges=(RangeScale(1e5), RangeScale(1e3, 0.01, 0.02))
        )
        library.add_calibration(self.calibration)

    def light(self, name: str, role: str, order: int) -> Light:
        """Store one more light."""
        light = Light(new_id(), self.setup.id, name, role, order=order)
        self.library.add_light(light)
        return light

    def place(self, light: Light, **facts: object) -> Placement:
        """Store a placement of a light."""
        values = {"shape": "rectangle", "width_m": 0.6, "height_m": 0.9, "distance_m": 1.4, **facts}
        placement = Placement(new_id(), light.id, 1_700_000_001.0)._replace(**values)
        self.library.add_placement(placement)
        return placement

    def reading(self, light: Light | None = None, exposure_lxs: float = 12.5, **facts: object) -> Reading:
        """Make a reading of a light (default: the key) with every usual figure; not stored."""
        light = light or self.key
        values: dict[str, object] = {
            "exposure_lxs": exposure_lxs, "u_rel": 0.0123, "peak_lx": 31234.5, "t05_s": 0.000412, "t01_s": 0.00131,
            "ambient_lx": 52.25, "range_index": 1,
            "pops": (Pop(exposure_lxs, 0.0123, 31234.5, 0.000412, 0.00131, 52.25, False, 1),), **facts,
        }  # fmt: skip
        return Reading(
            new_id(),
            self.setup.id,
            light.id,
            self.stands[light.id].id,
            self.calibration.id,
            "dome-1",
            1_700_000_002.123456,
        )._replace(**values)

    def add(
        self, light: Light | None = None, exposure_lxs: float = 12.5, *, waveform: WaveBlock | None = None, **facts: object
    ) -> Reading:
        """Make and store a reading."""
        reading = self.reading(light, exposure_lxs, **facts)
        self.library.add_reading(reading, waveform)
        return reading


def block(samples: int = 2000) -> WaveBlock:
    """Make a captured flash of 8-bit samples."""
    data = bytes(min(255, 3 + n % 7 + (200 if 100 < n < 300 else 0)) for n in range(samples))
    quarter = samples // 4
    return WaveBlock(12.5, 7, data, 8, 8, (Segment(0, quarter, 2.6e-5), Segment(quarter, samples - quarter, 1.04e-4)), 64, 1)
