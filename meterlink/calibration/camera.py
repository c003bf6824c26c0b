"""A camera and a grey card in place of a reference meter: what it leaves, and what it is right for.

The result makes the sensor show the aperture at which this camera brings the card out at its level.  On another camera or lens
the same f-number may give another picture, and the uncertainty of the scale says by how much.
"""

from __future__ import annotations

import math

from meterlink.photometry.calibration_fit import STOPS

METHOD = "camera"
U_CARD_STOPS = 0.05
"""Grey cards are within a twentieth or so of their 18 %, and are not aimed better than to 5° (common practice, no published
source)."""
U_FRAMING_STOPS = 0.05
"""The card in the middle of the frame, as large as there: falloff of the lens and light scattered in it."""
U_LENS_STOPS = 0.12
"""Lenses pass 0.1 to 0.4 stop less than their f-number says; half of the width, rectangular, a little rounded (common practice)."""
U_ISO_STOPS = 0.15
"""ISO 12232 (from memory) rounds a speed to a third of a stop and lets the maker choose between a measured output sensitivity and a
recommended exposure index."""
U_IRIS_STOPS, U_LEVEL_STOPS, U_CURVE_STOPS = 0.05, 0.03, 0.04
"""Of one frame: an iris that closes anew, the level read to a code and a half of 118, and the camera's own tone curve, an eighth
of a frame's third of a stop off its level."""

U_SCALE_REL = math.hypot(U_CARD_STOPS, U_FRAMING_STOPS, U_LENS_STOPS, U_ISO_STOPS) / STOPS
"""The same as light, and so for any other camera."""
U_READING_REL = math.hypot(U_IRIS_STOPS, U_LEVEL_STOPS, U_CURVE_STOPS) / STOPS
"""Of one frame, which the pairs do not share."""
