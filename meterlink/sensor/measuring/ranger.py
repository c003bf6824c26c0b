"""From a range finder's measurements to how far the dome was from the point when it popped, or that this is not known.

The finder looks backward along the dome's axis, so what lies on that axis is what is measured: with the dome aimed at a light, the
face (or the hair, the wall) behind it, on the line on which the dome was held off.  Never a guess: what jumps, is far, returns too
little or too much, or moves too fast is "not known", with the reason.  No input or output in here.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise
from math import cos, hypot, pi, radians, sqrt
from statistics import median
from typing import NamedTuple

from meterlink.records import HeldOff, RangerState

WINDOW_S = 0.3
"""Of the last so many seconds before a pop the median is taken."""
LEAST = 3
"""Fewer good measurements in the window are none."""
GOOD_SHARE = 0.6
FARTHEST_M = 0.6
"""Beyond this a dome is not held at somebody's face."""
JUMP_M = 0.06
JUMP_BACK_S = 0.7
"""No hand that holds a dome moves 6 cm between two measurements 50 to 100 ms apart and is still again so soon: something came in
between, or left (our own estimate, no published source)."""
MOVES_M = 0.04
"""Between the ends of the window; a dome that is carried was not held when it popped."""
TILT_DEG = 15.0
"""By so much the dome may be turned off the light, in both directions, k=2: our own estimate, no published source."""
U_SKIN_M = 0.003
"""Skin lets infrared in before it sends it back, hair and brows stand before it: our own estimate, no published source."""
FACTOR_LEAST, FACTOR_MOST = 0.12, 1.6
"""Returned signal times distance squared, over that of a white card: skin returns 0.3 to 0.7 of it in the near infrared (published
measurements, from memory), a stand or a finger fills a part of the cone only, a glossy thing throws back more than a card."""
KEPT = 64


class Unknown(StrEnum):
    """Why a distance is not known."""

    NONE_CAME = "none_came"
    """The finder said nothing lately."""
    NOTHING = "nothing"
    """Nothing that it can see."""
    BRIGHT = "bright"
    """Too much other light."""
    FAR = "far"
    MOVES = "moves"
    JUMPED = "jumped"
    """Something came between dome and face, or left."""
    NO_FACE = "no_face"
    """What is there returns too little or too much for a face."""
    NEGATIVE = "negative"
    """Nearer than the dome itself: the finder is not calibrated, or touches something."""


class RangerScale(NamedTuple):
    """How a finder's own figure becomes the distance from the dome's reference plane: ``scale`` · figure + ``offset_m``."""

    offset_m: float = 0.0
    scale: float = 1.0
    u_offset_m: float = 0.015
    u_scale_rel: float = 0.03
    white: float | None = None
    """Signal times distance squared (counts/s · m²) of a white card; None: what is there cannot be told by its signal."""

    def distance_m(self, figure_m: float) -> float:
        """From the dome's reference plane to what the finder sees."""
        return self.scale * figure_m + self.offset_m


FACTORY = RangerScale()
"""Of a finder that was never calibrated (data sheets give 1 to 2 cm and 3 %, from memory)."""


class Held(NamedTuple):
    """What is known of the distance at one moment."""

    held_off_m: float | None
    u_m: float | None = None
    unknown: Unknown | None = None
    steady: bool = False
    """Whether the dome is still: over the window it moved less than its noise and a centimetre."""


class Ranger:
    """The last measurements of one sensor's finder."""

    def __init__(self, scale: RangerScale = FACTORY) -> None:
        self.scale = scale
        self._said: deque[HeldOff] = deque(maxlen=KEPT)

    def hear(self, said: HeldOff) -> None:
        """Take one measurement."""
        self._said.append(said)

    @property
    def heard(self) -> bool:
        """Whether this sensor's finder has ever said anything."""
        return bool(self._said)

    def since(self, at_s: float) -> list[HeldOff]:
        """The measurements that came since, as the finder said them (the last 64 at most)."""
        return [one for one in self._said if one.at_s >= at_s]

    def at(self, at_s: float) -> Held:
        """Return the distance as it was just before ``at_s`` (the host's clock): the median of the last 300 ms."""
        window = [one for one in self._said if at_s - WINDOW_S <= one.at_s <= at_s]
        if not window:
            return Held(None, unknown=Unknown.NONE_CAME)
        good = [one for one in window if one.state == RangerState.GOOD and one.held_off_m is not None]
        if len(good) < LEAST or len(good) < GOOD_SHARE * len(window):
            bright = sum(one.state == RangerState.BRIGHT for one in window)
            return Held(None, unknown=Unknown.BRIGHT if 2 * bright >= len(window) - len(good) > 0 else Unknown.NOTHING)
        figures = [one.held_off_m or 0.0 for one in good]
        middle = self.scale.distance_m(median(figures))
        unknown = self._doubt(middle, figures, good, at_s)
        if unknown is not None:
            return Held(None, unknown=unknown)
        noise = _noise(figures, good)
        still = max(figures) - min(figures) < max(0.01, 4.0 * _own(good))
        return Held(max(middle, 0.0), self._u(middle, figures, noise), steady=still)

    def _doubt(self, middle: float, figures: Sequence[float], good: Sequence[HeldOff], at_s: float) -> Unknown | None:
        if middle < -3.0 * self.scale.u_offset_m:
            return Unknown.NEGATIVE
        if middle > FARTHEST_M:
            return Unknown.FAR
        if self._jumped(at_s):
            return Unknown.JUMPED
        if abs(median(figures[-2:]) - median(figures[:2])) > MOVES_M:
            return Unknown.MOVES
        return None if self._like_a_face(good) else Unknown.NO_FACE

    def _jumped(self, at_s: float) -> bool:
        late = [one for one in self._said if at_s - JUMP_BACK_S <= one.at_s <= at_s and one.held_off_m is not None]
        return any(abs((b.held_off_m or 0.0) - (a.held_off_m or 0.0)) > JUMP_M for a, b in pairwise(late))

    def _like_a_face(self, good: Sequence[HeldOff]) -> bool:
        if self.scale.white is None:
            return True
        returned = [one.signal * (one.held_off_m or 0.0) ** 2 for one in good if one.signal is not None]
        # Closer than a few centimetres the beam and the view of the finder part, and its signal says nothing.
        if not returned or median(one.held_off_m or 0.0 for one in good) < 0.05:
            return True
        return FACTOR_LEAST <= median(returned) / self.scale.white <= FACTOR_MOST

    def _u(self, middle: float, figures: Sequence[float], noise: float) -> float:
        # The median of n is sqrt(pi/2) wider than their mean.
        u_median = noise * sqrt(pi / 2 / len(figures))
        # Off the axis by an angle within the limit the way to a face is up to 1/cos as long: half of that, k=1.
        u_tilt = middle * (1.0 / cos(radians(TILT_DEG)) - 1.0) / 2.0
        u_scale = hypot(self.scale.u_offset_m, self.scale.u_scale_rel * middle)
        return sqrt(u_median**2 + u_tilt**2 + u_scale**2 + U_SKIN_M**2)


def _noise(figures: Sequence[float], good: Sequence[HeldOff]) -> float:
    """Standard deviation of one measurement: the finder's own account, or their spread about the median when that is more."""
    middle = median(figures)
    spread = 1.4826 * median(abs(one - middle) for one in figures)
    return max(spread, _own(good))


def _own(good: Sequence[HeldOff]) -> float:
    """What the finder says of one of its measurements; 5 mm when it does not say."""
    own = [one.u_m for one in good if one.u_m is not None]
    return median(own) if own else 0.005
