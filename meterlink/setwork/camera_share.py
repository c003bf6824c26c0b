"""How much of a light's reading a camera-facing receptor at the face would have seen."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from meterlink.model import Placement, Reading


def camera_factor(reading: Reading, placement: Placement | None) -> float | None:
    """Part (0 to 1) of a reading that the receptor, turned to the camera, would have read; None without a direction."""
    from meterlink.photometry.receptors import camera_share_factor

    if reading.aim == "camera":
        return 1.0
    if placement is None or placement.azimuth_deg is None:
        return None
    return camera_share_factor(reading.receptor, placement.azimuth_deg, placement.elevation_deg or 0.0)
