"""What really stands on the scripted set: lights, their dials, and what a dome gets of them.

The studio (``simulation.studio``) integrates each source by patches of its own, apart from the formulas under test.
"""

from __future__ import annotations

from typing import NamedTuple

from meterlink.simulation.studio import FACE, Pulse, StudioLight, at_dome, received

CARD = 0.3
"""What a card adds on the face of its source's light."""
SEEN = 0.5
"""What a dome toward the card sees of the source itself."""


class Actual(NamedTuple):
    """One light as it is, whatever was said of it."""

    name: str
    role: str
    exposure_lxs: float
    """At its point, with the dial at ``dial_stops`` and the stand at ``distance_m``."""
    distance_m: float
    azimuth_deg: float
    elevation_deg: float
    width_m: float
    dial_stops: float = -2.0
    source: str = ""
    """For a card: the light that it returns."""
    pulse_s: float = 0.7e-3

    @property
    def studio(self) -> StudioLight:
        """The same for the simulated studio."""
        return StudioLight(
            self.name, self.role, self.exposure_lxs, self.distance_m, self.azimuth_deg, self.elevation_deg,
            "disk", self.width_m, self.width_m,
        )  # fmt: skip

    def turned(self, stops: float) -> Actual:
        """The same with its dial turned."""
        return self._replace(exposure_lxs=self.exposure_lxs * 2.0**stops, dial_stops=self.dial_stops + stops)

    def moved(self, distance_m: float) -> Actual:
        """The same at another distance."""
        there = self._replace(distance_m=distance_m)
        change = received(there.studio, FACE, "light", "dome") / received(self.studio, FACE, "light", "dome")
        return there._replace(exposure_lxs=self.exposure_lxs * change)


class Scene:
    """Lights by name; the day changes them."""

    def __init__(self, lights: tuple[Actual, ...]) -> None:
        self.lights = {one.name: one for one in lights}

    def at_point(self, name: str) -> float:
        """The truth: lx·s of one light at its point."""
        one = self.lights[name]
        return CARD * self.lights[one.source].exposure_lxs if one.source else one.exposure_lxs

    def alone(self, name: str, held_off_m: float, aim: str = "light") -> Pulse:
        """What the dome gets of one light."""
        one = self.lights[name]
        return Pulse(at_dome(one.studio, held_off_m, "light", aim), fall_s=one.pulse_s)

    def card(self, name: str, *, with_it: bool, held_off_m: float = 0.0) -> Pulse:
        """What the dome, toward a card, gets of the source with or without the card."""
        one = self.lights[name]
        source = self.lights[one.source]
        seen = SEEN * source.exposure_lxs
        back = at_dome(one._replace(exposure_lxs=self.at_point(name)).studio, held_off_m, "light", "light") if with_it else 0.0
        return Pulse(seen + back, fall_s=source.pulse_s)

    def together(self) -> Pulse:
        """All lights on the face at once, dome toward the camera; a card returns its part too."""
        total, longest = 0.0, 0.0
        for one in self.lights.values():
            if one.role in ("hair", "rim", "background"):
                continue
            total += at_dome(one._replace(exposure_lxs=self.at_point(one.name)).studio, 0.0, "light", "camera")
            longest = max(longest, one.pulse_s)
        return Pulse(total, fall_s=longest)


KEY = Actual("KEY", "key", 230.0, 1.2, 40.0, 30.0, 0.9)
FILL = Actual("FILL", "fill", 80.0, 1.4, -50.0, 5.0, 0.6)
HAIR = Actual("HAIR", "hair", 115.0, 1.5, 165.0, 45.0, 0.3, pulse_s=0.5e-3)
RIM = Actual("RIM", "rim", 140.0, 1.8, -150.0, 20.0, 0.3)
BACKGROUND = Actual("BACKGROUND", "background", 60.0, 2.0, 100.0, 10.0, 0.2)
ACCENT = Actual("ACCENT", "other", 30.0, 2.2, -80.0, 0.0, 0.2, pulse_s=0.4e-3)
CARD_LIGHT = Actual("CARD", "fill", 0.0, 0.7, -60.0, 0.0, 1.0, source="KEY")
FOUR = (KEY, FILL, HAIR, BACKGROUND)
FIVE = (*FOUR, RIM)
SIX = (*FIVE, ACCENT)
