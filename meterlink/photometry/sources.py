"""Light sources on their own axis: how illuminance changes with distance, in closed form.

A receptor that faces the source from a distance d on its axis receives E = pi L F from a source of uniform
luminance L, with the configuration factor

* disk of radius R:           F = R**2 / (R**2 + d**2)
* rectangle, half sides a, b: F = (2 / pi) [A / sqrt(1 + A**2) atan(B / sqrt(1 + A**2))
                                          + B / sqrt(1 + B**2) atan(A / sqrt(1 + B**2))],  A = a / d, B = b / d
* point:                      E = I / d**2

These are the textbook factors (R. Siegel and J. Howell, Thermal Radiation Heat Transfer; Howell's catalogue,
B-3 and B-12, from memory); tests compare them with published tables and with quadrature.  Off the axis, for a
dome, or for a source that is not uniform see ``meterlink.photometry.receptors`` and ``quadrature``.

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
    """A flat source of uniform luminance that sends light into the half space before it.

    Subclasses give ``relative_illuminance``.
    """

    shape = ""
    half_width_m = 0.0
    """Half the extent across; a point has none."""
    half_height_m = 0.0
    """Half the extent upward."""
    largest_dimension_m = 0.0
    """The diameter, or a rectangle's diagonal: the five-times rule needs it, five times the side still errs by 1.3 per cent."""
    sizes_m: tuple[float, ...] = ()
    """What it was made with."""

    def relative_illuminance(self, distance_m: float) -> float:
        """Return illuminance on the axis at ``distance_m`` in a unit of the source's own (only ratios have meaning).

        Raises ValueError for a distance that is not above 0 and at most 50 m.
        """
        raise NotImplementedError

    def change_stops(self, from_m: float, to_m: float) -> float:
        """Return log2(E(to) / E(from)) on the axis: positive when the receptor comes nearer.

        Both distances in metres from the emitting surface, receptor flat and facing the source.
        Raises ValueError for a distance that is not above 0 and at most 50 m.
        """
        return log2(self.relative_illuminance(to_m) / self.relative_illuminance(from_m))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Source) and (self.shape, self.sizes_m) == (other.shape, other.sizes_m)

    def __hash__(self) -> int:
        return hash((self.shape, self.sizes_m))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{value:g}' for value in self.sizes_m)})"


class Point(Source):
    """A source so small that only inverse square counts."""

    shape = "point"

    def relative_illuminance(self, distance_m: float) -> float:
        """Return 1 / d**2."""
        distance = checked_length(distance_m, "the distance")
        return 1.0 / (distance * distance)


class Disk(Source):
    """A round source (softbox, umbrella, reflector, bowl) of ``diameter_m``, 0 to 50 m, else ValueError."""

    shape = "disk"

    def __init__(self, diameter_m: float) -> None:
        self.diameter_m = self.largest_dimension_m = checked_length(diameter_m, "the diameter")
        self.half_width_m = self.half_height_m = self.diameter_m / 2
        self.sizes_m = (self.diameter_m,)

    def relative_illuminance(self, distance_m: float) -> float:
        """Return the configuration factor R**2 / (R**2 + d**2), 0 to 1."""
        distance = checked_length(distance_m, "the distance")
        radius2 = self.diameter_m * self.diameter_m / 4
        return radius2 / (radius2 + distance * distance)


class Rectangle(Source):
    """A rectangular source (softbox, strip, panel) of ``width_m`` by ``height_m``, each 0 to 50 m, else ValueError."""

    shape = "rectangle"

    def __init__(self, width_m: float, height_m: float) -> None:
        self.width_m = checked_length(width_m, "the width")
        self.height_m = checked_length(height_m, "the height")
        self.half_width_m, self.half_height_m = self.width_m / 2, self.height_m / 2
        self.largest_dimension_m = hypot(self.width_m, self.height_m)
        self.sizes_m = (self.width_m, self.height_m)

    def relative_illuminance(self, distance_m: float) -> float:
        """Return the configuration factor, 0 to 1: four times that of a quarter seen from its corner."""
        distance = checked_length(distance_m, "the distance")
        across = self.width_m / (2 * distance)
        up = self.height_m / (2 * distance)
        slant_across = sqrt(1 + across * across)
        slant_up = sqrt(1 + up * up)
        return (across / slant_across * atan(up / slant_across) + up / slant_up * atan(across / slant_up)) * 2 / pi


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
