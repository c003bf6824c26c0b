"""Incident metering of a studio set: from a sensor's bytes to the ratio table.

::

    import meterlink

    with meterlink.open("library.sqlite") as library:
        setup = library.new_setup("Low key", iso=100, shutter_s=1 / 160)
        setup.add_light("KEY", role="key", source=meterlink.Disk(0.90), distance_m=1.2, azimuth_deg=40, power="1/4")
        for taken in setup.meter("sim:", ["KEY@20cm"]):
            print(taken.sentence)
        for row in setup.ratios().rows:
            print(row.light, row.corrected_f, row.from_key_stops)

The picture of the house is in DEVELOPERS.md.
"""

from meterlink.errors import MeterlinkError
from meterlink.front import Library, Setup, Taken, analyse_pop, open  # noqa: A004 - meterlink.open() reads as it is meant
from meterlink.photometry.exposure import exposure_value, f_number, luminous_exposure, stops_between
from meterlink.photometry.flash import FlashPulse
from meterlink.photometry.sources import Disk, Point, Rectangle

__all__ = [
    "Disk", "FlashPulse", "Library", "MeterlinkError", "Point", "Rectangle", "Setup", "Taken", "analyse_pop", "exposure_value",
    "f_number", "luminous_exposure", "open", "stops_between",
]  # fmt: skip

__version__ = "0.1.0"
