"""Which reading is wrong?  Everything that is known of a set, weighed at once.

Each light has one reading that counts.  What can speak against it:

* a prediction, from its last placement or from what the fixture gave in earlier sets;
* the same light fired again;
* all lights (or all but one) fired together: light adds, so the sum of the parts must agree.

Hypotheses: every reading is right; or one of them is wrong by a plausible cause of a plausible size (held off toward
the light by 8 to 45 cm, another cause that reads high, a cause that reads low), or the pop of all lights itself is.
Errors are Gaussian in stops.  For every hypothesis the likelihood of all observations follows in closed form (local
ones light by light, then the sums given those); ``odds`` is the ratio of the likelihood that something is wrong,
averaged over causes and sizes, to the likelihood that nothing is.  The alarm limits keep false alarms below 2 in 100
clean sets of two to six lights; they were found with ``benchmarks/trust_simulation.py``, which prints what they give.

All values are log2 of lx·s (stops) at the light's point.  Sign: positive means the reading is too high.
Standard library only.
"""

from __future__ import annotations

from math import exp, log, log2, pi, sqrt

from meterlink.model.named import NamedTuple

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["ALARM_ODDS", "ALARM_ODDS_BOTH", "ALARM_ODDS_SUM", "Hypothesis", "Member", "Suspect", "Together", "Weighing", "weigh"]

ALARM_ODDS = 4.2
"""Limit when only predictions are weighed: each light has its chance to be off."""
ALARM_ODDS_SUM = 2.2
"""Limit when only sums are: one residual has fewer ways to be off by chance."""
ALARM_ODDS_BOTH = 3.4
"""Limit when both are: what is off by chance in one is rarely so in the other."""
HELD, HIGH, LOW, SUM = "held off", "high", "low", "sum"
_LN2 = log(2.0)

CAUSE_SHARE = {HELD: 0.70, HIGH: 0.07, LOW: 0.18, SUM: 0.05}
"""How often each kind of mistake is to blame, a priori: our own estimate, no published source."""
HELD_OFF_M = (0.10, 0.14, 0.18, 0.23, 0.28, 0.34, 0.41, 0.50)
HIGH_STOPS = (0.4, 0.8, 1.3, 2.0)
LOW_STOPS = (-0.35, -0.6, -1.0, -1.6, -2.5)
SUM_STOPS = (-1.0, -0.5, -0.25, 0.25, 0.5)
SPREAD_STOPS = {HELD: 0.06, HIGH: 0.25, LOW: 0.2, SUM: 0.15}
"""Each size stands for its neighbourhood: half the usual step to the next one, as a standard deviation."""


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
    held_costs: tuple[tuple[float, float], ...] = ()
    """(held-off distance in m, stops it reads too high) for this light."""
    predicted: float | None = None
    u_predicted: float = 0.0
    again: tuple[tuple[float, float], ...] = ()
    """(value, standard uncertainty) of the same light fired again, corrected to the point."""
    shadowed: bool = False
    """Hair, rim or background light: the head may shade the face from it, wholly or not at all."""


class Together(NamedTuple):
    """One pop of several lights, receptor at the face and aimed at the camera."""

    lit: tuple[str, ...]
    value: float
    u: float


class Hypothesis(NamedTuple):
    """One way in which the set can be wrong."""

    light_id: str | None
    """None: the pop of all lights itself."""
    cause: str
    stops: float
    """By how much the reading is too high."""
    held_off_m: float | None
    weight: float
    """Posterior probability among all that can be wrong."""


class Suspect(NamedTuple):
    """A light whose reading may be wrong, with the cause that explains it best."""

    light_id: str | None
    probability: float
    """Of being the wrong one, if one is."""
    cause: str
    stops: float
    """By how much it reads too high (negative: too low), the mean over what is plausible."""
    held_off_m: float | None


class Weighing(NamedTuple):
    """The outcome."""

    odds: float
    """How much better 'something is wrong' explains what was seen than 'all is well'."""
    suspects: tuple[Suspect, ...]
    """Most probable first."""
    hypotheses: tuple[Hypothesis, ...]
    residuals: tuple[float, ...]
    """log2(measured / sum of the parts) of every pop of several lights."""
    u_residuals: tuple[float, ...]
    limit: float = ALARM_ODDS

    @property
    def alarm(self) -> bool:
        """Whether the odds reach the limit."""
        return self.odds >= self.limit


def _log_normal(x: float, variance: float) -> float:
    return -0.5 * (x * x / variance + log(2 * pi * variance))


def _local(member: Member, wrong_by: float, spread: float = 0.0) -> tuple[float, float, float]:
    """Log-likelihood of the local observations when the reading is ``wrong_by``, mean and variance of its error."""
    error, own = 0.0, member.u_own**2 + spread**2
    total = 0.0
    for value, u in member.again:
        seen = member.value - value - wrong_by
        variance = own + u * u
        total += _log_normal(seen - error, variance)
        gain = own / variance
        error += gain * (seen - error)
        own *= 1 - gain
    both = own + member.u_common**2
    if member.predicted is not None:
        seen = member.value - member.predicted - wrong_by
        variance = both + member.u_predicted**2
        total += _log_normal(seen - error, variance)
        gain = both / variance
        error += gain * (seen - error)
        both *= 1 - gain
    return total, error, both


class _Scene:
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
        self.parts = [self._part(i, 0.0, one[1], one[2]) for i, one in enumerate(self.clean)]
        size = len(sums)
        self.totals = [sum(self.parts[i][0] for i in lit) for lit in self.lit]
        self.squares = [[sum(self.parts[i][1] for i in self.lit[a] & self.lit[b]) for b in range(size)] for a in range(size)]

    def _part(self, i: int, wrong_by: float, error: float, variance: float) -> tuple[float, float]:
        """Light of one member in a common pop, and its square times the variance of its error."""
        member = self.members[i]
        part = 2.0 ** (member.value - wrong_by - error + member.to_camera)
        variance += member.u_to_camera**2
        if member.shadowed:
            # Uniform between none and all of it: a standard deviation of 1 / sqrt(3) of the middle.
            part /= 2
            variance += 1 / (3 * _LN2 * _LN2)
        return part, part * part * variance

    def likelihood(self, wrong: int | None, wrong_by: float, spread: float = 0.0) -> tuple[float, list[float], list[float]]:
        """Log-likelihood of everything seen when reading ``wrong`` is off (None: the first sum is)."""
        local = self.clean_local
        change = square_change = 0.0
        if wrong is not None:
            changed = _local(self.members[wrong], wrong_by, spread)
            local += changed[0] - self.clean[wrong][0]
            if self.sums:
                part, square = self._part(wrong, wrong_by, changed[1], changed[2])
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
                covariance[a][b] = max(square, 0.0) / (totals[a] * totals[b])
            covariance[a][a] += self.sums[a].u ** 2
        if wrong is None:
            residuals[0] -= wrong_by
            covariance[0][0] += spread * spread
        return local + _log_gaussian(residuals, covariance), residuals, [sqrt(covariance[k][k]) for k in range(size)]


def _log_gaussian(x: list[float], covariance: list[list[float]]) -> float:
    """Log-density of a zero-mean Gaussian, by Cholesky's method."""
    size = len(x)
    if size == 1:
        return _log_normal(x[0], covariance[0][0])
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


def _possible(members: Sequence[Member], with_sum: bool) -> Iterable[tuple[int | None, str, float, float | None, float]]:
    """Yield (index, cause, stops, held-off distance, prior weight) of everything that can be wrong."""
    count = len(members)
    for i, member in enumerate(members):
        sizes = member.held_costs
        for held, stops in sizes:
            yield i, HELD, stops, held, CAUSE_SHARE[HELD] / count / len(sizes)
        for stops in HIGH_STOPS:
            yield i, HIGH, stops, None, CAUSE_SHARE[HIGH] / count / len(HIGH_STOPS)
        for stops in LOW_STOPS:
            yield i, LOW, stops, None, CAUSE_SHARE[LOW] / count / len(LOW_STOPS)
    if with_sum:
        for stops in SUM_STOPS:
            yield None, SUM, stops, None, CAUSE_SHARE[SUM] / len(SUM_STOPS)


def weigh(members: Sequence[Member], sums: Sequence[Together] = ()) -> Weighing:
    """Return the odds that one reading is wrong, and which, from all observations together.

    Without any observation beside the readings themselves the odds are 1 and nothing is suspected.
    """
    scene = _Scene(members, sums)
    clean, residuals, spreads = scene.likelihood(None, 0.0)
    seen = []
    for i, cause, stops, held, prior in _possible(members, bool(sums)):
        value, _residuals, _spreads = scene.likelihood(i, stops, SPREAD_STOPS[cause])
        seen.append((i, cause, stops, held, prior, value))
    if not seen:
        return Weighing(1.0, (), (), tuple(residuals), tuple(spreads))
    priors = sum(one[4] for one in seen)
    # Relative to the clean set, capped so that a hopeless one does not overflow.
    weights = [one[4] / priors * exp(min(600.0, one[5] - clean)) for one in seen]
    odds = sum(weights)
    hypotheses = tuple(
        Hypothesis(None if i is None else members[i].light_id, cause, stops, held, weight / odds if odds > 0 else 0.0)
        for (i, cause, stops, held, _prior, _value), weight in zip(seen, weights, strict=True)
    )
    predicted = any(member.predicted is not None for member in members)
    limit = (ALARM_ODDS_BOTH if predicted else ALARM_ODDS_SUM) if sums else ALARM_ODDS
    return Weighing(odds, _suspects(hypotheses), hypotheses, tuple(residuals), tuple(spreads), limit)


def _suspects(hypotheses: Sequence[Hypothesis]) -> tuple[Suspect, ...]:
    """Gather hypotheses by light, most probable first."""
    groups: dict[str | None, list[Hypothesis]] = {}
    for one in hypotheses:
        groups.setdefault(one.light_id, []).append(one)
    result = []
    for light_id, group in groups.items():
        total = sum(one.weight for one in group)
        if total <= 0.0:
            continue
        by_cause: dict[str, float] = {}
        for one in group:
            by_cause[one.cause] = by_cause.get(one.cause, 0.0) + one.weight
        cause = max(by_cause, key=lambda name: by_cause[name])
        chosen = [one for one in group if one.cause == cause]
        weight = sum(one.weight for one in chosen)
        stops = sum(one.weight * one.stops for one in chosen) / weight
        held = sum(one.weight * (one.held_off_m or 0.0) for one in chosen) / weight if cause == HELD else None
        result.append(Suspect(light_id, total, cause, stops, held))
    return tuple(sorted(result, key=lambda one: -one.probability))
