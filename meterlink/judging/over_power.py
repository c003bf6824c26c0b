"""A trait of one head over its power dial (duration, its form, colour), learnt from the head's own readings.

A Gaussian process in plain arithmetic: a level about which little is known before, a slope per stop that may go either way
(cut-off heads get shorter at low power, voltage-controlled ones longer: common practice, no published source), and a bend.
One reading narrows it at its own power and widens with the distance in stops from there; two tell the slope.

Values are whatever the caller measures in (log2 of seconds, mired); standard library only.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import exp, sqrt
from typing import NamedTuple

from meterlink.judging.power_curve import inverse

MOST_POWERS = 40


class Clue(NamedTuple):
    """What a trait should be: a Gaussian."""

    mean: float
    u: float


class Trait(NamedTuple):
    """A trait as one pop showed it."""

    power_stops: float
    """Of its head, from full."""
    value: float
    u_noise: float = 0.0
    """What the sensor's noise makes of it, k=1; the spread from pop to pop is the prior's."""


class Prior(NamedTuple):
    """What is known of a trait before any reading of the head."""

    mean: float
    u_level: float
    u_slope: float
    """Change per stop of power, k=1."""
    u_bend: float
    u_reading: float
    """Of one reading of the trait, from pop to pop."""
    bend_stops: float = 2.0
    """Powers farther apart than this bend independently."""


class OverPower(NamedTuple):
    """The learnt trait; ``at`` answers for any power."""

    prior: Prior
    centre: float = 0.0
    powers: tuple[float, ...] = ()
    weights: tuple[float, ...] = ()
    precision: tuple[tuple[float, ...], ...] = ()

    def at(self, power_stops: float | None) -> Clue:
        """Return mean and standard uncertainty at a power (stops from full); one more reading's own spread is not in it."""
        if power_stops is None or not self.powers:
            return Clue(self.prior.mean, _sd(self.prior, power_stops or 0.0, power_stops or 0.0, self.centre))
        row = [_covariance(self.prior, self.centre, power_stops, one) for one in self.powers]
        mean = self.prior.mean + sum(k * w for k, w in zip(row, self.weights, strict=True))
        gain = sum(a * p * b for a, line in zip(row, self.precision, strict=True) for p, b in zip(line, row, strict=True))
        own = _covariance(self.prior, self.centre, power_stops, power_stops)
        return Clue(mean, sqrt(max(own - gain, 0.0)))


def _covariance(prior: Prior, centre: float, p: float, q: float) -> float:
    bend = prior.u_bend**2 * exp(-(((p - q) / prior.bend_stops) ** 2) / 2)
    return prior.u_level**2 + prior.u_slope**2 * (p - centre) * (q - centre) + bend


def _sd(prior: Prior, p: float, q: float, centre: float) -> float:
    return sqrt(_covariance(prior, centre, p, q))


def learn_over_power(readings: Iterable[Trait], prior: Prior) -> OverPower:
    """Return the trait learnt from what one head's pops showed; without any the prior alone."""
    groups: dict[float, list[tuple[float, float]]] = {}
    for power, value, u_noise in readings:
        groups.setdefault(round(power, 1), []).append((value, 1.0 / (prior.u_reading**2 + u_noise**2)))
    powers = tuple(sorted(groups))[-MOST_POWERS:]
    if not powers:
        return OverPower(prior)
    centre = sum(powers) / len(powers)
    weights_at = {p: sum(weight for _, weight in groups[p]) for p in powers}
    matrix = [[_covariance(prior, centre, p, q) + (1.0 / weights_at[p] if p == q else 0.0) for q in powers] for p in powers]
    precision = inverse(matrix)
    off = [sum(value * weight for value, weight in groups[p]) / weights_at[p] - prior.mean for p in powers]
    weights = tuple(sum(a * b for a, b in zip(line, off, strict=True)) for line in precision)
    return OverPower(prior, centre, powers, weights, tuple(tuple(line) for line in precision))
