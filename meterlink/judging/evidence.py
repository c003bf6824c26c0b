"""Which reading is wrong?  Everything that is known of a set, weighed at once.

Each light has one reading that counts.  What can speak against it:

* a prediction, from its last placement or from what the fixture gave in earlier sets;
* the same light fired again;
* all lights (or all but one) fired together: light adds, so the sum of the parts must agree.

Hypotheses: every reading is right; or one of them is wrong by a plausible cause of a plausible size (held off toward
the light by 10 to 40 cm, another cause that reads high, a cause that reads low), or the pop of all lights itself is.
Errors are Gaussian in stops.  For every hypothesis the likelihood of all observations follows in closed form (local
ones light by light, then the sums given those); ``odds`` is the ratio of the likelihood that something is wrong,
averaged over causes and sizes, to the likelihood that nothing is.

An alarm calls her back to a light, and only so many may be false.  Where predictions are weighed every light has its
own chance to be off, so those few are kept for what is worth a new pop: sizes under ``WORTH_STOPS`` do not count in
the odds (they still count for whom to suspect, once there is an alarm).  A light so far away that no reach could cost so
much then raises no alarm by chance, and the limit for the others can be lower: a little less is found of what costs a
third of a stop, more of what costs a half.  Mistakes that read low weigh less than the dome held off, which is the
usual one, so they need to stand out further.

A dial that stands elsewhere than was said is no wrong reading: the light gives what was read, and it is the prediction that is
off, by as much as from one position of the dial to another.  It is named where it explains everything better than the mistakes of
the reading that is suspected first; without such an alarm only where the prediction is ``APART_LIMIT`` off, which is said anyway.

The limits keep false alarms below 2 in 100 clean sets of two to six lights; ``benchmarks/trust_simulation.py`` prints
what they give beside the best that any test could (likelihood ratio with the true distributions).

All values are log2 of lx·s (stops) at the light's point.  Sign: positive means the reading is too high.
Standard library only.
"""

from collections.abc import Iterable, Sequence
from math import exp, hypot, log, sqrt
from typing import NamedTuple, TypeAlias

from meterlink.judging.likelihood import HeldCost, Member, Scene, Together

ALARM_ODDS = 2.3
"""Limit when only predictions are weighed: each light has its chance to be off."""
ALARM_ODDS_SUM = 9.5
"""Limit when only sums are, with every size counted: one residual has fewer ways to be off by chance."""
ALARM_ODDS_SUM_UNDECLARED = 11.5
"""The same where nobody said that the dome touched the face for the pop of all lights: then its own place is off by chance too."""
ALARM_ODDS_BOTH = 1.8
"""Limit when both are: what is off by chance in one is rarely so in the other."""
WORTH_STOPS = 0.4
"""Beside predictions a smaller mistake does not count towards an alarm: between a third of a stop, to which a reading can be
trusted anyway, and the half stop that must not slip through."""
WORTH_RAMP_STOPS = 0.06
"""Half the width over which sizes begin to count, since each stands for its neighbourhood."""
HELD, HIGH, LOW, SUM, DIAL = "held off", "high", "low", "sum", "dial"

CAUSE_SHARE = {HELD: 0.82, HIGH: 0.06, LOW: 0.10, SUM: 0.02}
"""How often each kind of mistake is to blame, a priori: our own estimate, no published source.  Much of what reads low is
caught before, as clipped, too dim or fired too soon."""
HELD_OFF_M = (0.10, 0.13, 0.16, 0.19, 0.22, 0.25, 0.28, 0.31, 0.34, 0.37, 0.40)
"""From where a habit ends to what an arm does without noticing; what is farther off reads as high by another cause."""
HIGH_STOPS = (0.4, 0.8, 1.3, 2.0)
LOW_STOPS = (-0.35, -0.6, -1.0, -1.6, -2.5)
SUM_STOPS = (-1.0, -0.5, -0.25, 0.25, 0.5)
SPREAD_STOPS = {HIGH: 0.25, LOW: 0.2, SUM: 0.15}
"""Each size stands for its neighbourhood: half the usual step to the next one, as a standard deviation."""
LEAST_SPREAD_STOPS = 0.02


APART_LIMIT = 3.5
"""A single reading this many standard uncertainties from its prediction is named even when the whole raises no alarm, or
blames another light; lower, and this alone would call back for one clean set in two hundred."""
DIAL_SHARE = 0.3
"""How often a dial stands elsewhere, on the scale of ``CAUSE_SHARE``: our own estimate, no published source."""
U_DIAL_STOPS = 0.03
NEARLY = 0.2
"""A dial is named beside the likeliest cause when it is at least so likely, compared with that."""
USUAL_REACH_M = 0.15
"""Where a cause has to be named, a dome held off farther is the less usual the farther, by 1/e for this much."""
DECLARED_SHARE = 0.2
"""So much less usual is it, where it was said how far the dome was held off, that it was held farther."""


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
    """By how much it reads too high (negative: too low), the mean over what is plausible; of a dial: how much higher it stands."""
    held_off_m: float | None
    dial_stops: float | None = None
    """What would explain it nearly as well: its dial stands so much higher than was said."""


class Weighing(NamedTuple):
    """What the readings of a set say together: how likely something is wrong, and whom to suspect."""

    odds: float
    """How much better 'something that is worth a new pop is wrong' explains what was seen than 'all is well'."""
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


class _Possible(NamedTuple):
    """One thing that can be wrong."""

    who: int | None
    """Number of the member; None: the first sum."""
    cause: str
    stops: float
    spread: float
    """Standard deviation of the sizes that this one stands for."""
    held_off_m: float | None
    prior: float


Way: TypeAlias = "tuple[Sequence[Member], Sequence[Together]]"
"""What is known of a set under one habit of holding the dome."""


def _possible(members: Sequence[Member], sums: Sequence[Together]) -> Iterable[_Possible]:
    """Yield everything that can be wrong and of which anything that was seen could speak."""
    lit = {one for pop in sums for one in pop.lit}
    spoken_of = [i for i, one in enumerate(members) if one.light_id in lit or one.predicted is not None or one.again]
    for i in spoken_of:
        yield from _held_off(i, members[i].held_costs, CAUSE_SHARE[HELD] / len(spoken_of))
        for cause, sizes in ((HIGH, HIGH_STOPS), (LOW, LOW_STOPS)):
            for stops in sizes:
                yield _Possible(i, cause, stops, SPREAD_STOPS[cause], None, CAUSE_SHARE[cause] / len(spoken_of) / len(sizes))
    if sums:
        for stops in SUM_STOPS:
            yield _Possible(None, SUM, stops, SPREAD_STOPS[SUM], None, CAUSE_SHARE[SUM] / len(SUM_STOPS))


def _held_off(i: int, costs: Sequence[HeldCost], prior: float) -> Iterable[_Possible]:
    """Yield the distances that a dome may have been held off, each standing for those nearer to it than to the next ones.

    Every centimetre is as likely as the next; what they cost is even within a cell.
    """
    last = len(costs) - 1
    cells = []
    for k, one in enumerate(costs):
        below, above = costs[max(0, k - 1)], costs[min(last, k + 1)]
        steps = 2 if 0 < k < last else 1
        cells.append(((above.held_off_m - below.held_off_m) / steps, (above.stops - below.stops) / steps))
        if last == 0:
            cells[0] = (1.0, one.stops / 4)
    total = sum(width for width, _ in cells)
    for one, (width, stops) in zip(costs, cells, strict=True):
        spread = max(LEAST_SPREAD_STOPS, hypot(stops / sqrt(12), one.u_stops))
        yield _Possible(i, HELD, one.stops, spread, one.held_off_m, prior * width / total)


def weigh_ways(ways: Sequence[Way]) -> Weighing:
    """Return the odds that one reading is wrong, and which, from all observations together.

    Without any observation beside the readings themselves the odds are 1 and nothing is suspected.  The dome may have been held
    in several ways, each as likely as the next beforehand.  The way is common to all that was read, so likelihoods are averaged
    over the ways and not light by light: what was read tells the way, whoever is wrong.  Members and their causes stand in the
    same order in all of them.
    """
    scenes = [Scene(members, sums) for members, sums in ways]
    clean = [scene.likelihood(None, 0.0) for scene in scenes]
    best = max(one[0] for one in clean)
    fine = sum(exp(one[0] - best) for one in clean)
    residuals, spreads = _mixed([(exp(one[0] - best) / fine, one[1], one[2]) for one in clean])
    causes = [tuple(_possible(members, sums)) for members, sums in ways]
    members = ways[-1][0]
    seen = causes[-1]
    if not seen:
        return Weighing(1.0, (), (), residuals, spreads)
    priors = sum(one.prior for one in seen)
    weights = []
    for same in zip(*causes, strict=True):
        # Relative to the clean set, capped so that a hopeless one does not overflow.
        found = (
            min(600.0, scene.likelihood(one.who, one.stops, one.spread)[0] - best)
            for scene, one in zip(scenes, same, strict=True)
        )
        weights.append(same[-1].prior / priors * sum(exp(one) for one in found) / fine)
    total = sum(weights)
    hypotheses = tuple(
        Hypothesis(
            None if one.who is None else members[one.who].light_id,
            one.cause, one.stops, one.held_off_m, weight / total if total > 0 else 0.0,
        )
        for one, weight in zip(seen, weights, strict=True)
    )  # fmt: skip
    summed = bool(ways[-1][1])
    if any(member.predicted is not None for member in members):
        limit = ALARM_ODDS_BOTH if summed else ALARM_ODDS
        odds = sum(weight * _worth(one.cause, one.stops) for one, weight in zip(seen, weights, strict=True))
    else:
        limit = _limit_of(ways[-1][1])
        odds = total
    weighing = Weighing(odds, _suspects(hypotheses), hypotheses, residuals, spreads, limit)
    return _named(weighing, scenes, best + log(fine), total)


def _limit_of(sums: Sequence[Together]) -> float:
    if not sums:
        return ALARM_ODDS
    return ALARM_ODDS_SUM if all(one.declared for one in sums) else ALARM_ODDS_SUM_UNDECLARED


def _mixed(ways: Sequence[tuple[float, list[float], list[float]]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Mean and standard deviation of every sum's residual over (weight, residuals, standard deviations) of all ways."""
    count = len(ways[0][1])
    means = tuple(sum(weight * some[k] for weight, some, _ in ways) for k in range(count))
    squares = (sum(weight * (u[k] ** 2 + (some[k] - means[k]) ** 2) for weight, some, u in ways) for k in range(count))
    return means, tuple(sqrt(one) for one in squares)


def _named(weighing: Weighing, scenes: Sequence[Scene], clean: float, total: float) -> Weighing:
    """Put a dial that stands elsewhere first where that is likelier than every mistake of the light that is suspected first."""
    members = scenes[-1].members
    dials = []
    spoken_of = [(i, one) for i, one in enumerate(members) if weighing.alarm or _apart(one)]
    # A dial elsewhere is thought of where it brings the reading nearer to what its head should give.
    possible = [(i, *dial) for i, one in spoken_of for dial in one.dials if (one.value - (one.predicted or 0.0)) / dial[0] > 0.5]
    for i, stops, share in possible:
        moved = [scene.likelihood(i, 0.0, instead=_with_dial(scene.members[i], stops))[0] for scene in scenes]
        prior = DIAL_SHARE / len(members) * share
        dials.append((prior * sum(exp(min(600.0, one - clean)) for one in moved), members[i], stops))
    if not dials or not weighing.suspects:
        return weighing
    weight, member, stops = max(dials, key=lambda one: one[0])
    if not weighing.alarm and weight < weighing.limit:
        return weighing
    first = weighing.suspects[0]
    known = {one.light_id: one for one in members}
    own = [one for one in weighing.hypotheses if one.light_id == first.light_id]
    others = sum(total * one.weight * _usual(one, known.get(one.light_id or "")) for one in own)
    if weight <= others:
        if member.light_id == first.light_id and weight > NEARLY * others:
            return weighing._replace(suspects=(first._replace(dial_stops=stops), *weighing.suspects[1:]))
        return weighing
    if member.again:
        # Fired again as it stands it gave the same: she was told to look at its dial, and has done so.
        return weighing._replace(odds=1.0)
    odds = max(weighing.odds, weight)
    rest = [one._replace(probability=one.probability * others / (weight + others)) for one in weighing.suspects]
    dial = Suspect(member.light_id, weight / (weight + others), DIAL, stops, None)
    return weighing._replace(odds=odds, suspects=(dial, *(one for one in rest if one.light_id != member.light_id)))


def _with_dial(member: Member, stops: float) -> Member:
    """The member when its dial stands so much higher than was said."""
    assert member.predicted is not None
    return member._replace(predicted=member.predicted + stops, u_predicted=hypot(member.u_predicted, U_DIAL_STOPS))


def _apart(member: Member) -> bool:
    """Whether a reading is so far from its prediction that this is said whatever else there is."""
    if member.predicted is None:
        return False
    u = sqrt(member.u_own**2 + member.u_common**2 + member.u_predicted**2)
    return abs(member.value - member.predicted) > APART_LIMIT * u


def _usual(one: Hypothesis, member: Member | None) -> float:
    """How usual a dome held off so far is, beside the even chance that all distances have where only an alarm is asked for."""
    if one.held_off_m is None or member is None or not member.held_costs:
        return 1.0
    middle = sum(exp(-held / USUAL_REACH_M) for held in HELD_OFF_M) / len(HELD_OFF_M)
    return exp(-one.held_off_m / USUAL_REACH_M) / middle * (DECLARED_SHARE if member.declared else 1.0)


def _worth(cause: str, stops: float) -> float:
    """Part of a size's neighbourhood that is worth a new pop, 0 to 1; a wrong pop of all lights always is."""
    if cause == SUM:
        return 1.0
    return min(1.0, max(0.0, 0.5 + (abs(stops) - WORTH_STOPS) / (2 * WORTH_RAMP_STOPS)))


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
