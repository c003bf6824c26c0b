"""How likely everything that was read of a set is, when one reading is wrong by so much, or none is.

Local observations (the same light again, a prediction) are taken light by light; the error of the reading that is left
after them goes into the sums.  Gaussian in stops; a sum's error is that of its parts to first order.

All values are log2 of lx·s (stops) at the light's point.  Sign: positive means the reading is too high.
Standard library only.
"""

from collections.abc import Sequence
from math import exp, log, log2, pi, sqrt
from typing import NamedTuple

_LN2 = log(2.0)


class HeldCost(NamedTuple):
    """What a dome that was held off toward its light costs."""

    held_off_m: float
    stops: float
    """By how much the reading is too high."""
    u_stops: float = 0.0
    """Standard uncertainty from the source: it may have a hot spot."""


class Member(NamedTuple):
    """One light of the sum: its reading and what else is known of it, in stops."""

    light_id: str
    value: float
    """log2 of its corrected exposure at the point, receptor aimed as it was metered."""
    u_own: float
    """Standard uncertainty of this one reading: pop-to-pop, noise, held-off distance."""
    u_common: float = 0.0
    """What a second reading of the same placement would share: source model, light's distance."""
    to_camera: float = 0.0
    """log2 of what the receptor sees of it when turned to the camera, 0 or less."""
    u_to_camera: float = 0.0
    held_costs: tuple[HeldCost, ...] = ()
    """What a dome held off so far would cost at this light, nearest first."""
    predicted: float | None = None
    u_predicted: float = 0.0
    again: tuple[tuple[float, float], ...] = ()
    """(value, standard uncertainty) of the same light fired again, corrected to the point."""
    dials: tuple[tuple[float, float], ...] = ()
    """Stops by which its dial may stand elsewhere than was said, and how likely each is beside the others; only with a
    prediction, which rests on what was said."""
    declared: bool = False
    """Whether it was said how far the dome was held off."""
    shadowed: bool = False
    """Hair, rim or background light: the head may shade the face from it, wholly or not at all."""


class Together(NamedTuple):
    """One pop of several lights, receptor at the face and aimed at the camera."""

    lit: tuple[str, ...]
    value: float
    u: float
    declared: bool = True
    """Whether somebody said where the dome was."""
    again: bool = False
    """Whether they were fired twice and gave the same: a third time would tell nothing."""


def normal(x: float, u: float) -> float:
    """Density of a zero-mean Gaussian of this standard deviation."""
    return exp(-0.5 * (x / u) ** 2) / (u * sqrt(2 * pi))


def log_normal(x: float, variance: float) -> float:
    """Log of that density, by the variance."""
    return -0.5 * (x * x / variance + log(2 * pi * variance))


def _local(member: Member, wrong_by: float, spread: float = 0.0) -> tuple[float, float, float]:
    """Log-likelihood of the local observations when the reading is ``wrong_by``, mean and variance of its error."""
    error, own = 0.0, member.u_own**2 + spread**2
    total = 0.0
    for value, u in member.again:
        seen = member.value - value - wrong_by
        variance = own + u * u
        total += log_normal(seen - error, variance)
        gain = own / variance
        error += gain * (seen - error)
        own *= 1 - gain
    both = own + member.u_common**2
    if member.predicted is not None:
        seen = member.value - member.predicted - wrong_by
        variance = both + member.u_predicted**2
        total += log_normal(seen - error, variance)
        gain = both / variance
        error += gain * (seen - error)
        both *= 1 - gain
    return total, error, both


def _part(member: Member, wrong_by: float, error: float, variance: float) -> tuple[float, float]:
    """Light of one member in a common pop, and its square times the variance of its error."""
    part = 2.0 ** (member.value - wrong_by - error + member.to_camera)
    variance += member.u_to_camera**2
    if member.shadowed:
        # Uniform between none and all of it: a standard deviation of 1 / sqrt(3) of the middle.
        part /= 2
        variance += 1 / (3 * _LN2 * _LN2)
    return part, part * part * variance


class Scene:
    """Members and sums with everything that does not depend on the hypothesis worked out once.

    A sum's residual has the variance of its own pop and, from each light, its share squared times the variance of that
    light's error.  With parts instead of shares the totals of the clean set need one correction for the one light
    that a hypothesis changes, so that a hypothesis costs the same in a set of three lights and in one of thirty.
    """

    def __init__(self, members: Sequence[Member], sums: Sequence[Together]) -> None:
        self.members = members
        self.sums = sums
        index = {member.light_id: i for i, member in enumerate(members)}
        self.lit = [frozenset(index[one] for one in pop.lit if one in index) for pop in sums]
        self.clean = [_local(member, 0.0) for member in members]
        self.clean_local = sum(one[0] for one in self.clean)
        self.parts = [_part(member, 0.0, one[1], one[2]) for member, one in zip(members, self.clean, strict=True)]
        size = len(sums)
        self.totals = [sum(self.parts[i][0] for i in lit) for lit in self.lit]
        self.squares = [[sum(self.parts[i][1] for i in self.lit[a] & self.lit[b]) for b in range(size)] for a in range(size)]

    def likelihood(
        self, wrong: int | None, wrong_by: float, spread: float = 0.0, instead: Member | None = None
    ) -> tuple[float, list[float], list[float]]:
        """Log-likelihood of everything seen when reading ``wrong`` is off (None: the first sum is).

        ``instead`` stands in the place of that member.
        """
        local = self.clean_local
        change = square_change = 0.0
        if wrong is not None:
            member = instead or self.members[wrong]
            changed = _local(member, wrong_by, spread)
            local += changed[0] - self.clean[wrong][0]
            if self.sums:
                part, square = _part(member, wrong_by, changed[1], changed[2])
                change, square_change = part - self.parts[wrong][0], square - self.parts[wrong][1]
        size = len(self.sums)
        if not size:
            return local, [], []
        here = [wrong is not None and wrong in lit for lit in self.lit]
        totals = [max(total + change, 1e-300) if in_it else total for total, in_it in zip(self.totals, here, strict=True)]
        residuals = [pop.value - log2(total) for pop, total in zip(self.sums, totals, strict=True)]
        covariance = [[0.0] * size for _ in range(size)]
        for a in range(size):
            for b in range(size):
                square = self.squares[a][b] + (square_change if here[a] and here[b] else 0.0)
                covariance[a][b] = max(square, 0.0) / totals[a] / totals[b]
            covariance[a][a] += self.sums[a].u ** 2
        if wrong is None:
            residuals[0] -= wrong_by
            covariance[0][0] += spread * spread
        return local + _log_gaussian(residuals, covariance), residuals, [sqrt(covariance[k][k]) for k in range(size)]


def _log_gaussian(x: list[float], covariance: list[list[float]]) -> float:
    """Log-density of a zero-mean Gaussian, by Cholesky's method."""
    size = len(x)
    if size == 1:
        return log_normal(x[0], covariance[0][0])
    lower = [[0.0] * size for _ in range(size)]
    total = -0.5 * size * log(2 * pi)
    solved: list[float] = []
    for i in range(size):
        for j in range(i + 1):
            rest = covariance[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            lower[i][j] = sqrt(max(rest, 1e-12)) if i == j else rest / lower[j][j]
        solved.append((x[i] - sum(lower[i][k] * solved[k] for k in range(i))) / lower[i][i])
        total -= log(lower[i][i]) + 0.5 * solved[i] ** 2
    return total
