"""How one modifier really falls off, fitted to readings at several distances.

Two laws, each with a level and one shape parameter, both smooth and monotonic:

* ``shifted``: inverse square from an origin ``p`` metres behind the front, E = A / (d + p)**2 (a bulb in a dish, a
  lens: p may be negative);
* ``disk``: a uniform disk of radius ``p`` on its axis, seen by the receptor that was used.

Fitted by weighted least squares in stops (the level drops out as the weighted mean, the shape by scans that
grow finer).  The one with the smaller AICc is used; both have two parameters, so that is the
smaller chi-square.  When the other is not much worse, the difference between the two counts as uncertainty, by
its Akaike weight.  Outside the measured distances both uncertainties grow by themselves; ``low_m`` and ``high_m`` say
how far the curve may be carried before its expanded uncertainty passes 0.1 stop.

Standard library only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, isfinite, log2, sqrt
from typing import Any, NamedTuple

from meterlink.photometry.sources import Disk, checked_length, on_axis

SCATTER_LIMIT = 9.0
"""Chi-square per degree of freedom beyond which no smooth law explains the readings."""
LEAST_SPAN = 1.3
"""Farthest over nearest distance: less tells the laws apart no more than the noise does."""
CARRY_U95_STOPS = 0.1


class FalloffPoint(NamedTuple):
    """One reading: distance from the front to the dome, log2 of what was read, its standard uncertainty in stops."""

    distance_m: float
    stops: float
    u_stops: float = 0.03


class FalloffFit(NamedTuple):
    """A fitted falloff; usable wherever a source's ``change_stops`` is."""

    law: str
    """``shifted`` or ``disk``."""
    parameter_m: float
    u_parameter_m: float
    level_stops: float
    """log2 of what is read where the law itself is 1."""
    near_m: float
    far_m: float
    """Measured range."""
    low_m: float
    high_m: float
    """Range in which the curve may be used: expanded uncertainty at most 0.1 stop."""
    chi2: float
    points: tuple[FalloffPoint, ...]
    residuals: tuple[float, ...]
    """Reading minus curve, stops."""
    other_parameter_m: float = 0.0
    """Parameter of the law that was not chosen."""
    other_weight: float = 0.0
    """Akaike weight of the law that was not chosen, 0 to 0.5."""
    receptor: str = "dome"

    def change_stops(self, from_m: float, to_m: float) -> float:
        """Return log2(E(to) / E(from)): positive when the receptor comes nearer.  Distances above 0 to 50 m."""
        checked_length(from_m, "the distance")
        checked_length(to_m, "the distance")
        return self._change(self.law, self.parameter_m, from_m, to_m)

    def u_change_stops(self, from_m: float, to_m: float) -> float:
        """Return its standard uncertainty: of the parameter, and between the two laws."""
        law, p, receptor = self.law, self.parameter_m, self.receptor
        slope = _slope(law, to_m, p, receptor) - _slope(law, from_m, p, receptor)
        apart = self._change(_OTHER[law], self.other_parameter_m, from_m, to_m) - self.change_stops(from_m, to_m)
        # About the chosen law, not about the mixture's mean, since the chosen law is what is reported.
        return sqrt((slope * self.u_parameter_m) ** 2 + self.other_weight * apart * apart)

    def _change(self, law: str, parameter_m: float, from_m: float, to_m: float) -> float:
        return _LAWS[law](to_m, parameter_m, self.receptor) - _LAWS[law](from_m, parameter_m, self.receptor)

    def at(self, distance_m: float) -> float:
        """Return the curve's value in stops at a distance, for plots."""
        return self.level_stops + _LAWS[self.law](distance_m, self.parameter_m, self.receptor)

    def to_record(self) -> dict[str, Any]:
        """Return plain data for storage."""
        record = self._asdict()
        record["points"] = [list(point) for point in self.points]
        record["residuals"] = list(self.residuals)
        return record

    @classmethod
    def from_record(cls, record: dict[str, Any]) -> FalloffFit:
        """Return the fit stored by ``to_record``.  Raises ValueError for anything else."""
        try:
            as_is = ("law", "receptor", "points", "residuals")
            fields: dict[str, Any] = {n: record[n] if n in as_is else float(record[n]) for n in cls._fields}
            fields["points"] = tuple(FalloffPoint(*(float(v) for v in point)) for point in fields["points"][:1000])
            fields["residuals"] = tuple(float(v) for v in fields["residuals"][:1000])
            fit = cls(**fields)
        except (KeyError, TypeError, ValueError, IndexError) as error:
            raise ValueError(f"not a stored falloff: {error}") from None
        numbers = (fit.parameter_m, fit.u_parameter_m, fit.level_stops, fit.other_parameter_m, fit.other_weight)
        if fit.law not in _LAWS or fit.receptor not in ("dome", "flat") or not all(isfinite(v) for v in numbers):
            raise ValueError("not a stored falloff: unknown law, receptor or numbers")
        return fit


def _shifted(distance_m: float, shift_m: float, _receptor: str) -> float:
    # Nearer than the origin the law has no meaning; the floor keeps it finite there.
    return -2.0 * log2(max(distance_m + shift_m, 1e-3))


def _disk(distance_m: float, radius_m: float, receptor: str) -> float:
    # Divided by the area, so that a vanishing disk becomes a point instead of nothing.
    radius = max(abs(radius_m), 1e-4)
    return log2(on_axis(Disk(2 * radius), distance_m, receptor)[0] / (radius * radius))


_LAWS: dict[str, Callable[[float, float, str], float]] = {"shifted": _shifted, "disk": _disk}
_OTHER = {"shifted": "disk", "disk": "shifted"}


def _slope(law: str, distance_m: float, parameter_m: float, receptor: str) -> float:
    """Return by how many stops a law changes at a distance for a metre more of its parameter."""
    step = 1e-4 * max(abs(parameter_m), 0.05)
    shape = _LAWS[law]
    return (shape(distance_m, parameter_m + step, receptor) - shape(distance_m, parameter_m - step, receptor)) / (2 * step)


def fit_falloff(points: Sequence[FalloffPoint], receptor: str = "dome") -> FalloffFit:
    """Return the falloff that fits ``points`` best.

    Raises ValueError, in words, for fewer than three distances, distances too close together, impossible numbers,
    or readings that scatter more than any smooth law allows.
    """
    points = sorted(points)
    _check(points, receptor)
    best, other = sorted((_fit(law, points, receptor) for law in _LAWS), key=lambda one: one.chi2)
    freedom = max(1, len(points) - 2)
    if best.chi2 / freedom > SCATTER_LIMIT:
        worst = max(abs(r) for r in best.residuals)
        raise ValueError(
            f"the readings scatter by up to {worst:.2f} stop about any smooth falloff: check the distances and take them again"
        )
    # Both laws have two parameters: the difference of AICc is that of chi-square.
    fit = best._replace(
        u_parameter_m=best.u_parameter_m * max(1.0, sqrt(best.chi2 / freedom)),
        other_parameter_m=other.parameter_m,
        other_weight=1.0 / (1.0 + exp(min(50.0, (other.chi2 - best.chi2) / 2))),
    )
    return fit._replace(low_m=_carried(fit, fit.near_m, 0.97), high_m=_carried(fit, fit.far_m, 1.03))


def _check(points: Sequence[FalloffPoint], receptor: str) -> None:
    """Refuse what no falloff can be drawn from."""
    if len(points) > 1000:
        raise ValueError(f"{len(points)} readings: at most 1,000 can be fitted")
    for point in points:
        checked_length(point.distance_m, "the distance")
        if not (isfinite(point.stops) and 0.0 < point.u_stops < 10.0):
            raise ValueError(f"the reading at {point.distance_m:g} m is {point.stops!r} ± {point.u_stops!r} stops")
    distinct = sorted({round(point.distance_m, 3) for point in points})
    if len(distinct) < 3:
        raise ValueError(f"{len(distinct)} distance{'s' if len(distinct) != 1 else ''}: a falloff needs three or more")
    if distinct[-1] / distinct[0] < LEAST_SPAN:
        raise ValueError(
            f"the distances span {distinct[0]:.2f} to {distinct[-1]:.2f} m only: "
            f"the farthest must be at least {LEAST_SPAN:g} times the nearest"
        )
    if receptor not in ("dome", "flat"):
        raise ValueError(f"the receptor {receptor!r} is not one of dome, flat")


def _about_mean(values: Sequence[float], points: Sequence[FalloffPoint]) -> tuple[float, float]:
    """Chi-square of one value a point about their weighted mean, and that mean."""
    weights = [1.0 / (point.u_stops * point.u_stops) for point in points]
    mean = sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)
    return sum(w * (v - mean) ** 2 for w, v in zip(weights, values, strict=True)), mean


def _fit(law: str, points: Sequence[FalloffPoint], receptor: str) -> FalloffFit:
    """Best parameter of one law with its uncertainty, as if there were no other law."""
    near, far = points[0].distance_m, points[-1].distance_m
    low, high = (-0.8 * near, 5.0) if law == "shifted" else (1e-3, 5.0)

    def apart(parameter: float) -> list[float]:
        return [q.stops - _LAWS[law](q.distance_m, parameter, receptor) for q in points]

    parameter = _minimum(lambda p: _about_mean(apart(p), points)[0], low, high)
    chi2, level = _about_mean(apart(parameter), points)
    information, _ = _about_mean([_slope(law, q.distance_m, parameter, receptor) for q in points], points)
    # A disk much smaller than the distances leaves no trace: its radius is then known only to be small.
    u_parameter = min(1.0 / sqrt(information) if information > 0 else 5.0, 5.0 if law == "shifted" else near)
    residuals = tuple(one - level for one in apart(parameter))
    return FalloffFit(law, parameter, u_parameter, level, near, far, near, far, chi2, tuple(points), residuals, receptor=receptor)


def _minimum(function: Callable[[float], float], low: float, high: float) -> float:
    """Minimum of a smooth function: a coarse scan, denser where small, then finer ones about the best place, to 1e-9."""
    grid = [low + (high - low) * (i / 60) ** 2 for i in range(61)]
    while high - low > 1e-10:
        best = min(range(len(grid)), key=lambda i: function(grid[i]))
        low, high = grid[max(0, best - 1)], grid[min(len(grid) - 1, best + 1)]
        grid = [low + (high - low) * i / 8 for i in range(9)]
    return (low + high) / 2


def _carried(fit: FalloffFit, start_m: float, factor: float) -> float:
    """How far from an end of the measured range the curve may be carried, at most to half or twice that end."""
    distance = start_m
    for _ in range(24):
        further = distance * factor
        if further <= 0.02 or 2 * fit.u_change_stops(start_m, further) > CARRY_U95_STOPS:
            break
        distance = further
    return distance
