"""What a fixture's power dial really delivers, learnt from its own readings.

The dial says ``p`` stops from full power; the fixture gives ``p + f(p)``.  ``f`` is known a priori only to ``U_STEP`` of
a step; each pair of readings of one light that stands still and differs in power tells a difference of ``f``.  The
curve is the Gaussian posterior at the powers seen, linear between them; beyond, the prior's width comes back.

Standard library only.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from math import sqrt
from typing import Any, NamedTuple

U_STEP = 0.04
"""Stops of error (k=1) for each stop of power change of a fixture not yet learnt: our own estimate."""
U_STEP_LEAST = 0.02
"""And for any change at all: each position of a dial is a little off by itself."""
MAX_NODES = 40


class PowerCurve(NamedTuple):
    """Deviation of delivered light from the dial, at the powers seen (stops from full), with its covariance."""

    powers: tuple[float, ...] = ()
    deviations: tuple[float, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()
    pairs: int = 0
    """Pairs of readings that it was learnt from."""

    def change(self, from_stops: float, to_stops: float) -> tuple[float, float]:
        """Return (stops delivered between two settings of the dial, standard uncertainty)."""
        if from_stops == to_stops:
            return 0.0, 0.0
        asked = to_stops - from_stops
        a, b = self._weights(from_stops), self._weights(to_stops)
        if not self.pairs or a is None or b is None:
            return asked + self._partial(to_stops) - self._partial(from_stops), prior_u(asked)
        w = [wb - wa for wa, wb in zip(a, b, strict=True)]
        mean = sum(one * f for one, f in zip(w, self.deviations, strict=True))
        variance = sum(wi * wj * self.covariance[i][j] for i, wi in enumerate(w) if wi for j, wj in enumerate(w) if wj)
        return asked + mean, sqrt(max(0.0, variance) + U_STEP_LEAST**2 / 4)

    def _weights(self, power: float) -> list[float] | None:
        """Weights of the nodes in the linear interpolation at ``power``; None outside the powers seen."""
        nodes = self.powers
        if not nodes or not nodes[0] - 0.05 <= power <= nodes[-1] + 0.05:
            return None
        weights = [0.0] * len(nodes)
        power = min(max(power, nodes[0]), nodes[-1])
        for i, node in enumerate(nodes):
            if abs(node - power) < 1e-9 or len(nodes) == 1:
                weights[i] = 1.0
                return weights
            if i and nodes[i - 1] < power < node:
                part = (power - nodes[i - 1]) / (node - nodes[i - 1])
                weights[i - 1], weights[i] = 1 - part, part
                return weights
        return None

    def _partial(self, power: float) -> float:
        """Deviation at a power: learnt inside the range, that of the nearest end outside."""
        if not self.pairs:
            return 0.0
        inside = min(max(power, self.powers[0]), self.powers[-1])
        weights = self._weights(inside) or []
        return sum(w * f for w, f in zip(weights, self.deviations, strict=True))

    @property
    def worst(self) -> tuple[float, float]:
        """(power, deviation) where the dial is most wrong relative to the highest power seen; (0, 0) if unknown."""
        if not self.pairs:
            return 0.0, 0.0
        top = self.deviations[-1]
        return max(((p, f - top) for p, f in zip(self.powers, self.deviations, strict=True)), key=lambda x: abs(x[1]))


def prior_u(step_stops: float) -> float:
    """Return the uncertainty of a step of the dial that was never measured."""
    return sqrt(U_STEP_LEAST**2 + (U_STEP * step_stops) ** 2) if step_stops else 0.0


def learn_power(readings: Iterable[tuple[float | None, float, float, Hashable]]) -> PowerCurve:
    """Return the curve learnt from (power in stops, log2 of exposure, its u, what stood still) tuples.

    Only readings that share their fourth member (same light, same place) are compared; each differs from the mean of
    its group by power alone.  At most 40 distinct powers are kept.
    """
    groups: dict[Any, list[tuple[float, float, float]]] = {}
    for power, value, u, stand in readings:
        if power is not None:
            groups.setdefault(stand, []).append((round(power, 2), value - power, max(u, 0.005)))
    useful = [group for group in groups.values() if len({one[0] for one in group}) > 1]
    powers = sorted({one[0] for group in useful for one in group})[-MAX_NODES:]
    if len(powers) < 2:
        return PowerCurve()
    size = len(powers)
    index = {power: i for i, power in enumerate(powers)}
    # Information form: prior f(p) independent about 0, anchored at the highest power; one free level a group.
    top = powers[-1]
    precision = [[0.0] * size for _ in range(size)]
    target = [0.0] * size
    for i, power in enumerate(powers):
        precision[i][i] = 1.0 / (U_STEP_LEAST**2 / 4 + (U_STEP * (top - power)) ** 2)
    pairs = 0
    for group in useful:
        kept = [one for one in group if one[0] in index]
        weights = [1.0 / one[2] ** 2 for one in kept]
        total = sum(weights)
        pairs += len(kept) - 1
        for one, w in zip(kept, weights, strict=True):
            i = index[one[0]]
            precision[i][i] += w
            target[i] += w * one[1]
            # The group's unknown level is integrated out.
            for other, v in zip(kept, weights, strict=True):
                j = index[other[0]]
                precision[i][j] -= w * v / total
                target[i] -= w * v / total * other[1]
    covariance = inverse(precision)
    deviations = tuple(sum(row[j] * target[j] for j in range(size)) for row in covariance)
    return PowerCurve(tuple(powers), deviations, tuple(tuple(row) for row in covariance), pairs)


def inverse(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Inverse of a positive definite matrix by Gauss-Jordan elimination."""
    size = len(matrix)
    work = [[*row, *(1.0 if i == j else 0.0 for j in range(size))] for i, row in enumerate(matrix)]
    for i in range(size):
        pivot = max(range(i, size), key=lambda r: abs(work[r][i]))
        work[i], work[pivot] = work[pivot], work[i]
        scale = work[i][i]
        work[i] = [value / scale for value in work[i]]
        for r in range(size):
            if r != i and work[r][i]:
                factor = work[r][i]
                work[r] = [a - factor * b for a, b in zip(work[r], work[i], strict=True)]
    return [row[size:] for row in work]
