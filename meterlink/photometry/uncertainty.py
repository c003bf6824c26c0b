"""How uncertain a result is, from how uncertain its inputs are, with what they share kept apart.

An ``Estimate`` is a value with its standard uncertainty (k=1) split by component: each component is one independent
cause, named, with the signed amount that it moves the value.  Two estimates that carry a component of one name move
together by it, so a calibration that two readings share cancels in their ratio by plain subtraction.

* ``propagate``: first order, with slopes given or by a numeric Jacobian (GUM, JCGM 100:2008, 5.1 and 5.2);
* ``second_order``: value and uncertainty with the terms of the note to GUM 5.1.2;
* ``draws``: seeded Monte Carlo after JCGM 101:2008, with the shortest 95 % interval.

Which one: first order while every relative uncertainty of a distance is below 0.1; second order or draws above.
The logarithm is a trap of its own: an exposure value of a rough reading is biased (NPL report DEM-ES-011, 9.2).

Standard library, except ``draws`` (numpy, imported there).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import log, log2, sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "Draws",
    "Estimate",
    "constant",
    "correlation",
    "draws",
    "effective_freedom",
    "from_observations",
    "independent",
    "propagate",
    "second_order",
    "stops_ratio",
    "u_relative",
    "u_stops",
    "weighted_sum",
]

Function = Callable[..., float]
_LN2 = log(2.0)


class Estimate(NamedTuple):
    """A value and the signed amounts (k=1) by which each independent component moves it."""

    value: float
    parts: dict[str, float]

    @property
    def u(self) -> float:
        """Standard uncertainty: the root of the sum of squares of the parts."""
        return sqrt(sum(part * part for part in self.parts.values()))


def constant(value: float) -> Estimate:
    """Return an estimate without uncertainty."""
    return Estimate(value, {})


def independent(name: str, value: float, u: float) -> Estimate:
    """Return an estimate whose whole uncertainty ``u`` (k=1, 0 or more) is the component ``name``.

    Raises ValueError for a negative or undefined uncertainty.
    """
    if not u >= 0.0:
        raise ValueError(f"the standard uncertainty of {name} is {u!r}: it must be 0 or more")
    return Estimate(value, {name: u})


def from_observations(name: str, series: Sequence[Sequence[float]]) -> list[Estimate]:
    """Return the means of simultaneously observed quantities, with the correlation of the observations kept.

    ``series[i]`` are the n >= 2 observations of quantity i; observation k of all series shares one component, so
    the covariance of two means is sum (x_k - x)(y_k - y) / (n (n - 1)) as in GUM 5.2.3.  Raises ValueError otherwise.
    """
    counts = {len(one) for one in series}
    if len(counts) != 1 or counts.pop() < 2:
        raise ValueError("every series needs the same number of observations, at least 2")
    n = len(series[0])
    scale = sqrt(n * (n - 1))
    result = []
    for one in series:
        mean = sum(one) / n
        result.append(Estimate(mean, {f"{name}[{k}]": (x - mean) / scale for k, x in enumerate(one)}))
    return result


def weighted_sum(terms: Iterable[tuple[float, Estimate]], value: float | None = None) -> Estimate:
    """Return the sum of coefficient times estimate; ``value`` replaces the value where the rule is not linear."""
    total = 0.0
    parts: dict[str, float] = {}
    for coefficient, term in terms:
        total += coefficient * term.value
        for name, part in term.parts.items():
            parts[name] = parts.get(name, 0.0) + coefficient * part
    return Estimate(total if value is None else value, parts)


def correlation(a: Estimate, b: Estimate) -> float:
    """Return the correlation coefficient of two estimates, -1 to 1; 0 when one has no uncertainty."""
    shared = sum(part * b.parts.get(name, 0.0) for name, part in a.parts.items())
    both = a.u * b.u
    return shared / both if both > 0.0 else 0.0


def propagate(function: Function, inputs: Sequence[Estimate], slopes: Sequence[float] | None = None) -> Estimate:
    """Return ``function(*values)`` with first-order uncertainty.

    ``slopes`` are its partial derivatives where a formula for them is at hand; otherwise they are taken numerically
    (five-point differences over a thousandth of the value or of the uncertainty, good to about 1e-11).
    """
    values = [one.value for one in inputs]
    if slopes is None:
        slopes = [_slope(function, values, i, _step(one)) if one.parts else 0.0 for i, one in enumerate(inputs)]
    return weighted_sum(zip(slopes, inputs, strict=True), function(*values))


def _step(one: Estimate) -> float:
    """Step for differences: small against both the value and nothing at all."""
    return 1e-3 * (abs(one.value) or one.u or 1.0)


def _slope(function: Function, values: Sequence[float], i: int, step: float) -> float:
    """Partial derivative by the five-point rule, error of order step**4."""

    def moved(times: float) -> float:
        return function(*values[:i], values[i] + times * step, *values[i + 1 :])

    return (8.0 * (moved(1.0) - moved(-1.0)) - (moved(2.0) - moved(-2.0))) / (12.0 * step)


def second_order(function: Function, inputs: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return (mean, standard uncertainty) to second order for independent, symmetric (value, u) inputs.

    The mean is shifted by half the sum of f_ii u_i**2; the variance gains
    sum_ij (f_ij**2 / 2 + f_i f_ijj) u_i**2 u_j**2 (GUM 5.1.2, note).  Derivatives by differences over 0.3 u, so that
    the function must be smooth over a few u.
    """
    values = [value for value, _ in inputs]
    steps = [0.3 * u for _, u in inputs]
    n = len(values)

    def at(*moves: tuple[int, float]) -> float:
        place = list(values)
        for i, times in moves:
            place[i] += times * steps[i]
        return function(*place)

    middle = function(*values)
    mean, variance = middle, 0.0
    first = [(at((i, 1.0)) - at((i, -1.0))) / 0.6 if steps[i] else 0.0 for i in range(n)]
    for i in range(n):
        if not steps[i]:
            continue
        mean += (at((i, 1.0)) - 2 * middle + at((i, -1.0))) / 0.09 / 2
        variance += first[i] ** 2
        for j in range(n):
            if steps[j]:
                variance += _mixed(at, middle, i, j) ** 2 / 2 + first[i] * _third(at, i, j)
    return mean, sqrt(max(0.0, variance))


def _mixed(at: Callable[..., float], middle: float, i: int, j: int) -> float:
    """f_ij u_i u_j."""
    if i == j:
        return (at((i, 1.0)) - 2 * middle + at((i, -1.0))) / 0.09
    corners = at((i, 1.0), (j, 1.0)) - at((i, 1.0), (j, -1.0)) - at((i, -1.0), (j, 1.0)) + at((i, -1.0), (j, -1.0))
    return corners / 0.36


def _third(at: Callable[..., float], i: int, j: int) -> float:
    """f_ijj u_i u_j**2."""
    if i == j:
        return (at((i, 2.0)) - 2 * at((i, 1.0)) + 2 * at((i, -1.0)) - at((i, -2.0))) / (2 * 0.027)

    def bend(times: float) -> float:
        return at((i, times), (j, 1.0)) - 2 * at((i, times)) + at((i, times), (j, -1.0))

    return (bend(1.0) - bend(-1.0)) / (2 * 0.027)


class Draws(NamedTuple):
    """What seeded draws of a result look like."""

    mean: float
    u: float
    low: float
    """Lower end of the shortest interval that holds ``coverage``."""
    high: float
    coverage: float


def draws(
    function: Callable[..., Any],
    sample: Sequence[Callable[[np.random.Generator, int], NDArray[np.float64]]],
    *,
    count: int = 200_000,
    seed: int = 1,
    coverage: float = 0.95,
) -> Draws:
    """Return mean, standard deviation and shortest coverage interval of ``function`` over seeded draws.

    ``sample`` are functions (generator, count) -> draws of each input; ``function`` takes the arrays.  ``count`` 1,000
    to 10 million, ``coverage`` 0 to 1, else ValueError.
    """
    import numpy as np

    if not 1_000 <= count <= 10_000_000 or not 0.0 < coverage < 1.0:
        raise ValueError(f"{count} draws for a coverage of {coverage}: it must be 1,000 to 10,000,000 and 0 to 1")
    generator = np.random.default_rng(seed)
    results = np.sort(np.asarray(function(*(one(generator, count) for one in sample)), dtype=np.float64))
    inside = round(coverage * count)
    widths = results[inside:] - results[: count - inside]
    start = int(np.argmin(widths))
    return Draws(
        float(results.mean()),
        float(results.std(ddof=1)),
        float(results[start]),
        float(results[start + inside]),
        coverage,
    )


def effective_freedom(parts: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a combined uncertainty from (part, degrees of freedom) pairs.

    Welch-Satterthwaite formula (GUM G.4.1); parts with infinite degrees of freedom may be given as ``math.inf``.
    Raises ValueError when every part is 0.
    """
    pairs = list(parts)
    total2 = sum(part * part for part, _ in pairs)
    if total2 <= 0.0:
        raise ValueError("no part has any uncertainty")
    rest = sum(part**4 / freedom for part, freedom in pairs)
    return total2 * total2 / rest if rest > 0.0 else float("inf")


def u_stops(u_rel: float) -> float:
    """Return a relative standard uncertainty in stops: u / ln 2 (1 % is 0.0144 stop)."""
    return u_rel / _LN2


def u_relative(stops: float) -> float:
    """Return a small uncertainty in stops as a relative one."""
    return stops * _LN2


def stops_ratio(a: Estimate, b: Estimate) -> Estimate:
    """Return log2(a / b) with what both share cancelled; values above 0, else ValueError."""
    if not (a.value > 0.0 and b.value > 0.0):
        raise ValueError(f"{a.value!r} over {b.value!r}: both must be above 0")
    terms = ((1.0 / (a.value * _LN2), a), (-1.0 / (b.value * _LN2), b))
    return weighted_sum(terms, log2(a.value / b.value))
