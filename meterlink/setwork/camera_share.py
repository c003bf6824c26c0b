"""How much of a light's reading a camera-facing receptor at the face would have seen."""

from __future__ import annotations

from math import cos, radians

TYPE_CHECKING = False
if TYPE_CHECKING:
    from meterlink.model import Placement, Reading


def camera_factor(reading: Reading, placement: Placement | None) -> float | None:
    """Part (0 to 1) of a reading that the same receptor, turned to the camera, would have read.

    A receptor aimed at the light reads it at 0 degrees; turned to the camera it sees the light at the angle
    between the light's direction and the camera axis.  None without a direction.
    """
    from meterlink.photometry.receptors import response

    if reading.aim == "camera":
        return 1.0
    if placement is None or placement.azimuth_deg is None:
        return None
    cosine = cos(radians(placement.elevation_deg or 0.0)) * cos(radians(placement.azimuth_deg))
    return response(reading.receptor, cosine)
