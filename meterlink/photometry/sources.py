"""Light sources on their own axis: how illuminance changes with distance, in closed form.

A receptor that faces the source from a distance d on its axis receives E = pi L F from a source of uniform
luminance L, with the configuration factor

* disk of radius R:           F = R**2 / (R**2 + d**2)
* rectangle, half sides a, b: F = (2 / pi) [A / sqrt(1 + A**2) atan(B / sqrt(1 + A**2))
                                          + B / sqrt(1 + B**2) atan(A / sqrt(1 + B**2))],  A = a / d, B = b / d
* point:                      E = I / d**2

These are the textbook factors (R. Siegel and J. Howell, Thermal Radiation Heat Transfer; Howell's catalogue,
B-3 and B-12, from memory); tests compare them with published tables and with quadrature.  A dome gets half of that and half
of the solid angle; off the axis, or for a source that is not uniform, see ``meterlink.photometry.receptors`` and ``quadrature``.

Standard library only: this module is on the start-up path of the ratio table.
"""

from __future__ import annotations

from functools import lru_cache
from math import atan, hypot, log2, pi, sqrt

MAX_DISTANCE_M = 50.0
"""No light of a portrait set stands farther away, or is larger: a larger number is a slip of the finger."""


def checked_length(value: float, name: str) -> float:
    """Return ``value`` as a float if it is in metres, above 0 and up to ``MAX_DISTANCE_M``, else raise ValueError."""
    number = float(value)
    # Written so that NaN, which compares false with everything, is refused as well.
    if not 0.0 < number <= MAX_DISTANCE_M:
        raise ValueError(f"{name} is {value!r} m: it must be above 0 and at most {MAX_DISTANCE_M:g} m")
    return number


class Source:
    """A flat source of uniform luminance that sends light into the half space before it."""

    shape = ""
    half_width_m = 0.0
    """Half the extent across; a point has none."""
    half_height_m = 0.0
    """Half the extent upward."""
    largest_dimension_m = 0.0
    """The diameter, or a rectangle's diagonal: the five-times rule needs it, five times the side still errs by 1.3 per cent."""
    sizes_m: tuple[float, ...] = ()
    """What it was made with."""

    def change_stops(self, from_m: float, to_m: float) -> float:
        """Return log2(E(to) / E(from)) on the axis: positive when the receptor comes nearer.

        Both distances in metres from the emitting surface, receptor flat and facing the source.
        Raises ValueError for a distance that is not above 0 and at most 50 m.
        """
        there, here = (on_axis(self, checked_length(d, "the distance"), "flat")[0] for d in (to_m, from_m))
        return log2(there / here)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Source) and (self.shape, self.sizes_m) == (other.shape, other.sizes_m)

    def __hash__(self) -> int:
        return hash((self.shape, self.sizes_m))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{value:g}' for value in self.sizes_m)})"


class Point(Source):
    """A source so small that only inverse square counts."""

    shape = "point"


class Disk(Source):
    """A round source (softbox, umbrella, reflector, bowl) of ``diameter_m``, 0 to 50 m, else ValueError."""

    shape = "disk"

    def __init__(self, diameter_m: float) -> None:
        self.diameter_m = self.largest_dimension_m = checked_length(diameter_m, "the diameter")
        self.half_width_m = self.half_height_m = self.diameter_m / 2
        self.sizes_m = (self.diameter_m,)


class Rectangle(Source):
    """A rectangular source (softbox, strip, panel) of ``width_m`` by ``height_m``, each 0 to 50 m, else ValueError."""

    shape = "rectangle"

    def __init__(self, width_m: float, height_m: float) -> None:
        self.width_m = checked_length(width_m, "the width")
        self.height_m = checked_length(height_m, "the height")
        self.half_width_m, self.half_height_m = self.width_m / 2, self.height_m / 2
        self.largest_dimension_m = hypot(self.width_m, self.height_m)
        self.sizes_m = (self.width_m, self.height_m)


def on_axis(source: Source, distance_m: float, receptor: str = "dome", emission_n: float = 1.0) -> tuple[float, float]:
    """Return illuminance on the axis, receptor facing the source, and its logarithmic slope d(ln E)/dd in 1/m.

    ``emission_n`` above 1 narrows the emission of a disk: luminance falls as cos**(n - 1); a rectangle with
    n other than 1 has no closed form here (ValueError).  ``distance_m`` must be above 0; it is not checked.
    """
    if isinstance(source, Point):
        return 1.0 / (distance_m * distance_m), -2.0 / distance_m
    if isinstance(source, Disk):
        return _disk_on_axis(source.diameter_m / 2, distance_m, receptor, emission_n)
    if isinstance(source, Rectangle) and emission_n == 1.0:
        return _rectangle_on_axis(source.width_m / 2, source.height_m / 2, distance_m, receptor)
    raise ValueError("no closed form for this source: use meterlink.photometry.quadrature")


def _disk_on_axis(radius: float, d: float, receptor: str, n: float) -> tuple[float, float]:
    """Disk on its axis: with c = d / slant the cap's integrals are (1 - c**n) / n and (1 - c**(n+1)) / (n+1)."""
    radius2 = radius * radius
    slant2 = radius2 + d * d
    slant = sqrt(slant2)
    c = d / slant
    if n == 1.0:
        # 1 - c written without the difference of two nearly equal numbers, which far away would lose digits.
        omega = 2 * pi * radius2 / (slant * (slant + d))
        phi = pi * radius2 / slant2
    else:
        omega = 2 * pi * (1 - c**n) / n
        phi = 2 * pi * (1 - c ** (n + 1)) / (n + 1)
    slope = -2 * pi * radius2 / (slant2 * slant) * c ** (n - 1)
    if receptor == "flat":
        return phi, slope * c / phi
    return (omega + phi) / 2, slope * (1 + c) / (omega + phi)


def _rectangle_on_axis(a: float, b: float, d: float, receptor: str) -> tuple[float, float]:
    """Rectangle of half sides a, b on its axis."""
    d2 = d * d
    p2 = a * a + d2
    q2 = b * b + d2
    r2 = p2 + b * b
    p = sqrt(p2)
    q = sqrt(q2)
    angle_p = atan(b / p)
    angle_q = atan(a / q)
    phi = 2 * (a / p * angle_p + b / q * angle_q)
    phi_slope = -2 * d * (a * (angle_p / p + b / r2) / p2 + b * (angle_q / q + a / r2) / q2)
    if receptor == "flat":
        return phi, phi_slope / phi
    r = sqrt(r2)
    omega = 4 * atan(a * b / (d * r))
    omega_slope = -4 * a * b * (r2 + d2) / (r * p2 * q2)
    return (omega + phi) / 2, (omega_slope + phi_slope) / (omega + phi)


@lru_cache(maxsize=256)
def source_of(shape: str, width_m: float | None = None, height_m: float | None = None) -> Source:
    """Return the source that a placement describes; ``width_m`` is the diameter of a disk.

    Raises ValueError for an unknown shape, a missing size, or a size that is not above 0 and at most 50 m.
    """
    if shape == "point":
        return Point()
    if width_m is None:
        raise ValueError(f"the size of the {shape} is not given")
    if shape == "disk":
        return Disk(width_m)
    if shape == "rectangle":
        if height_m is None:
            raise ValueError("the height of the rectangle is not given")
        return Rectangle(width_m, height_m)
    raise ValueError(f"the shape {shape!r} is not one of point, disk, rectangle")
